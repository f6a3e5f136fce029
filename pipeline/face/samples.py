"""The stops of a compound as arrays of one length, and their windows divided into segments of equal friction work.

Samples within a stop are no independent witnesses: eight means a stop carry its shape, and what they have in common is
modelled (`pipeline.face.scatter`). A segment's friction is the mean of ln mu weighted by friction work, so that a law that
is linear in its coefficients for every sample stays so for the segment, however steep friction is within it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from scipy import sparse

from pipeline.constants import RAD_PER_S, ZERO_C, Array

SEGMENTS = 8
FEWEST_SAMPLES = 12  # inside the window
DENSE = 16  # samples from brake start that all count, where the face warms fastest; every other one after them
COLUMNS = ("time_s", "speed_rpm", "torque_nm", "pressure_bar", "disc_temperature_c", "mu")


@dataclass(frozen=True)
class Samples:
    """Arrays [stops, n], SI, padded by repeating the last sample; rows as in `table`.

    energy: friction work in J up to the sample, drawn to the stop's own; inside: in the evaluation window with a mu.
    """

    table: pl.DataFrame
    time: Array
    speed: Array
    pressure: Array
    energy: Array
    mu: Array
    inside: np.ndarray
    initial: Array  # [stops] K
    measured: Array  # thermocouple, K

    def __len__(self) -> int:
        return len(self.initial)


@dataclass(frozen=True)
class Segmented:
    """Samples with the segment means over them: `average` [segments of all stops, samples] is a sparse matrix of weights.

    y: mean ln mu [stops, SEGMENTS]; share: weight of each segment in the method's average over the window, alike.
    """

    samples: Samples
    average: sparse.csr_array
    y: Array
    share: Array

    def mean(self, values: Array) -> Array:
        """Segment means of values a sample, [stops, n] or [stops, n, columns] -> [stops, SEGMENTS(, columns)]."""
        stops, n, *more = values.shape
        flat = self.average @ values.reshape(stops * n, int(np.prod(more)))
        return flat.reshape(stops, SEGMENTS, *more)


def samples_of(table: pl.DataFrame, traces: pl.DataFrame) -> Samples:
    """Samples of the stops in `table` (columns of docs/tables.md) that have a trace; others are left out.

    `table` and `traces` also carry `test` where they are of several tests.
    """
    keys = ["test", "stop"] if "test" in table.columns else ["stop"]
    table = table.with_row_index("row").with_columns(pl.col("row").cast(pl.Int64))
    parts = (
        traces.filter(pl.col("time_s") >= 0, *(pl.col(c).is_finite() for c in COLUMNS[:4]))
        .join(table.select(*keys, "row"), on=keys, how="inner")
        .sort("row", "time_s")
        .with_columns(place=pl.int_range(pl.len()).over("row"))
        .filter((pl.col("place") < DENSE) | (pl.col("place") % 2 == 0))
        .with_columns(place=pl.int_range(pl.len()).over("row"))
    )
    row, place = parts["row"].to_numpy(), parts["place"].to_numpy()
    count = np.bincount(row, minlength=len(table))
    inside = np.bincount(row, parts["mu"].is_finite().fill_null(False).to_numpy(), minlength=len(table))
    good = (inside >= FEWEST_SAMPLES) & table["energy_kj"].is_finite().fill_null(False).to_numpy()
    good &= table["temperature_initial_c"].is_finite().fill_null(False).to_numpy()
    width = max(int(count.max(initial=0)), 2)
    repeat = np.minimum(np.arange(width)[None], np.maximum(count - 1, 0)[:, None])
    found = {}
    for name in COLUMNS:
        values = np.full((len(table), width), np.nan)
        values[row, place] = parts[name].cast(pl.Float64).fill_null(float("nan")).to_numpy()
        if name == "mu":
            found[name] = values[good]
        else:
            found[name] = np.take_along_axis(values, repeat, axis=1)[good]
    used = table.filter(pl.Series(good)).drop("row")
    return _in_si(used, found)


def _in_si(table: pl.DataFrame, found: dict[str, Array]) -> Samples:
    time, speed = found["time_s"], found["speed_rpm"] * RAD_PER_S
    power = np.maximum(found["torque_nm"], 0.0) * speed
    work = np.cumsum(np.diff(time, axis=1, prepend=time[:, :1]) * _with_before(power), axis=1)
    total = table["energy_kj"].to_numpy() * 1e3
    # decimated samples keep the shape of the power, the stop's own integral its size
    scale = np.clip(np.divide(total, work[:, -1], out=np.ones_like(total), where=work[:, -1] > 0), 0.5, 2.0)
    return Samples(
        table=table,
        time=time,
        speed=speed,
        pressure=found["pressure_bar"] * 1e5,
        energy=work * scale[:, None],
        mu=found["mu"],
        inside=np.isfinite(found["mu"]) & (found["mu"] > 0) & (speed > 0) & (found["pressure_bar"] > 0),
        initial=table["temperature_initial_c"].to_numpy() + ZERO_C,
        measured=found["disc_temperature_c"] + ZERO_C,
    )


def _with_before(values: Array) -> Array:
    """Mean of each sample and the one before it."""
    return (values + np.roll(values, 1, axis=1)) / 2


def segmented(samples: Samples, average: str = "distance") -> Segmented:
    """Windows cut into SEGMENTS parts of equal friction work; stops that leave a part without a sample are left out.

    average: the method's, distance, time or energy.
    """
    step = np.where(samples.inside, np.gradient(samples.energy, axis=1), 0.0)
    step = np.maximum(step, 0.0) + np.where(samples.inside, 1e-9, 0.0)
    done = np.cumsum(step, axis=1) - step / 2
    segment = np.minimum((SEGMENTS * done / np.maximum(done[:, -1:], 1e-12)).astype(int), SEGMENTS - 1)
    stops, n = step.shape
    held = np.zeros((stops, SEGMENTS))
    np.add.at(held, (np.arange(stops)[:, None], segment), step)
    whole = np.asarray((held > 0).all(axis=1))
    samples, step, segment, held = kept(samples, whole), step[whole], segment[whole], held[whole]
    stops = len(samples)
    row = np.arange(stops)[:, None] * SEGMENTS + segment
    weight = step / np.take_along_axis(held, segment, axis=1)
    use = samples.inside
    averaging = sparse.csr_array(
        (weight[use], (row[use], np.arange(stops * n).reshape(stops, n)[use])), shape=(stops * SEGMENTS, stops * n)
    )
    span = np.gradient(samples.time, axis=1)
    flow = np.where(use, {"distance": samples.speed * span, "time": span, "energy": step}[average], 0.0)
    share = np.zeros((stops, SEGMENTS))
    np.add.at(share, (np.arange(stops)[:, None], segment), flow)
    made = Segmented(samples, averaging, np.zeros((stops, SEGMENTS)), share / share.sum(axis=1, keepdims=True))
    return replace(made, y=made.mean(np.log(np.where(use, samples.mu, 1.0))))


def kept(samples: Samples, rows: np.ndarray) -> Samples:
    """The samples of some stops (a mask or row numbers)."""
    arrays = {
        name: getattr(samples, name)[rows]
        for name in ("time", "speed", "pressure", "energy", "mu", "inside", "initial", "measured")
    }
    chosen = np.flatnonzero(rows) if rows.dtype == bool else rows
    return replace(samples, table=samples.table[chosen.tolist()], **arrays)
