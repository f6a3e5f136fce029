"""Traces of a test as arrays of one length, and what they say of force times distance."""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.archive.brake import Brake
from pipeline.constants import ZERO_C, Array
from pipeline.wear.surface import Samples

HOTTEST_K, COLDEST_K = 2073.15, 213.15
COLUMNS = ("time_s", "speed_rpm", "torque_nm", "pressure_bar", "disc_temperature_c")


def samples_of(table: pl.DataFrame, traces: pl.DataFrame, brake: Brake) -> tuple[Samples, np.ndarray]:
    """(Samples, integral of the clamp force over the sliding distance in N m [stops]) of the stops of `table`.

    Samples are padded to [stops, n] by repeating the last. A stop without a trace has two samples of its mean power;
    its force is the window's mean. Temperatures that no disc has count as not recorded: the last good one stands.
    """
    stop = {
        name: _floats(table, name) for name in ("duration_s", "energy_kj", "temperature_initial_c", "temperature_end_c")
    }
    duration, energy = np.nan_to_num(stop["duration_s"]), np.nan_to_num(stop["energy_kj"]) * 1e3
    initial = stop["temperature_initial_c"] + ZERO_C
    count, arrays = _padded(table, traces)
    bare = count < 2
    share = np.linspace(0, 1, arrays["time_s"].shape[1])
    end = np.maximum(duration, 1e-3)
    last = np.where(np.isnan(stop["temperature_end_c"]), initial, stop["temperature_end_c"] + ZERO_C)
    time = np.where(bare[:, None], end[:, None] * share, arrays["time_s"])
    measured = np.where(
        bare[:, None], initial[:, None] + (last - initial)[:, None] * share, arrays["disc_temperature_c"] + ZERO_C
    )
    measured = np.where((measured > COLDEST_K) & (measured < HOTTEST_K), measured, np.nan)
    inside = time <= duration[:, None] + 1e-9
    speed = np.where(inside, arrays["speed_rpm"] * np.pi / 30, 0.0)
    power = np.maximum(np.nan_to_num(arrays["torque_nm"]) * np.nan_to_num(speed), 0.0)
    power = _matched(np.where(bare[:, None], (energy / end)[:, None], power), time, energy)
    made = Samples(time, _bridged(measured, initial), power, duration, initial)
    return made, _force_distance(table, brake, arrays["pressure_bar"], speed, time, bare)


def _floats(table: pl.DataFrame, name: str) -> np.ndarray:
    return table[name].cast(pl.Float64).fill_null(float("nan")).to_numpy().astype(float)


def _padded(table: pl.DataFrame, traces: pl.DataFrame) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """(samples of each stop [stops], columns [stops, n] with the last sample repeated)."""
    rows = table.select(pl.col("stop"), row=pl.int_range(pl.len())).drop_nulls()
    parts = (
        traces.filter(pl.col("time_s") >= 0)
        .sort("stop", "time_s")
        .join(rows, on="stop", how="inner", maintain_order="left")
        .with_columns(place=pl.int_range(pl.len()).over("row"))
    )
    row, place = parts["row"].to_numpy(), parts["place"].to_numpy()
    count = np.bincount(row, minlength=table.height)
    width = max(int(count.max(initial=0)), 2)
    repeat = np.minimum(np.arange(width)[None], np.maximum(count - 1, 0)[:, None])
    columns = {}
    for name in COLUMNS:
        values = np.full((table.height, width), np.nan)
        values[row, place] = _floats(parts, name)
        columns[name] = np.take_along_axis(values, repeat, axis=1)
    return count, columns


def _matched(power: np.ndarray, time: np.ndarray, energy: np.ndarray) -> np.ndarray:
    """Power scaled so that its integral is the stop's friction work: decimated samples keep the shape only."""
    work = np.trapezoid(power, time, axis=1)
    factor = np.divide(energy, work, out=np.ones_like(energy), where=work > 0)
    return power * np.clip(factor, 0.5, 2.0)[:, None]


def _bridged(measured: np.ndarray, initial: np.ndarray) -> np.ndarray:
    """NaN runs of a row replaced by its last good value, or the initial temperature."""
    filled = np.column_stack([initial, measured])
    good = np.isfinite(filled)
    index = np.maximum.accumulate(np.where(good, np.arange(filled.shape[1]), 0), axis=1)
    return np.take_along_axis(filled, index, axis=1)[:, 1:]


def _force_distance(
    table: pl.DataFrame, brake: Brake, pressure_bar: Array, speed: Array, time: Array, bare: NDArray[np.bool_]
) -> Array:
    """Distance-weighted mean clamp force times sliding distance; the window's mean force where the trace does not
    say.
    """

    def force(bar: Array) -> Array:
        return brake.efficiency * np.maximum(bar * 1e5 - brake.threshold_pressure, 0.0) * brake.piston_area

    turned = np.trapezoid(speed, time, axis=1)
    pushed = np.trapezoid(np.where(speed > 0, force(pressure_bar), 0.0) * speed, time, axis=1)
    mean = force(_floats(table, "pressure_bar"))
    told = ~bare & (turned > 0) & np.isfinite(pushed)
    mean = np.where(told, np.divide(pushed, turned, out=np.zeros_like(pushed), where=told), mean)
    return mean * _floats(table, "sliding_distance_m")
