"""One value per specimen: friction at reference conditions, bite at the coldest common conditions, wear rate.

Friction: the check stops (map stops where a test has no check), each moved to the reference conditions
along the compound's friction map, averaged over the specimen. Only the map's shape is used, common to all
specimens; its level cancels, so a specimen's offset stays in its own value.

    m_s = mean_i [ mu_i map(x_ref) / map(x_i) ]

Bite: stops in the coldest conditions that all batches have, grouped into cells of alike temperature,
pressure and speed; an additive model cell + specimen compares specimens within cells only.

Wear: logarithm of the disc's wear per stop, so that batches compare as a ratio.

Stops after the onset of a drift (glazing-like, sensor, undetermined) say nothing about the batch as made:
left out, and counted.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.batches.brakes import Brake
from pipeline.constants import MAD_TO_SD, Array, normal_reach
from pipeline.results.batches import BiteConditions
from pipeline.results.model import USUAL_CONFIDENCE
from pipeline.stops import cells
from pipeline.wording import counted

Shape = Callable[[pl.DataFrame], Array]

HISTORY = (
    "glazing-like",
    "sensor",
    "undetermined",
)  # drift after which stops no longer show the material as made
GROSS = 6.0  # robust standard deviations beyond which a stop is left out of its specimen's mean


class WearRate(NamedTuple):
    """Disc wear in um per stop with its interval at `confidence`; `factor` brought it to the program of the other tests.

    unscaled: why nothing could do so, where no law is identified; expected: um per stop of its program by the law
    that describes the readings best, which then says no more than whether programs are alike (None without).
    """

    value: float
    low: float
    high: float
    factor: float = 1.0
    unscaled: str | None = None
    expected: float | None = None
    confidence: float = USUAL_CONFIDENCE


@dataclass(frozen=True)
class SpecimenTest:
    """One test as the batch comparison sees it; `epoch` names the rig and its calibration state."""

    test: str
    batch: str
    specimen: str
    stops: pl.DataFrame
    rig: str = ""
    epoch: str = ""
    summary_only: bool = False
    drift_verdict: str | None = None
    drift_onset: int | None = None
    common_u: float | None = None  # relative standard uncertainty of mu common to all stops of the rig
    sensor_u: float | None = None  # the part of it from torque and pressure
    wear_rate: WearRate | None = None
    energy_per_stop_kj: float | None = None
    brake: Brake | None = None


@dataclass(frozen=True)
class Values:
    """One value per specimen with its own variance; `left_out` says what was not used."""

    specimens: tuple[tuple[str, str], ...]  # (batch, specimen)
    values: Array
    variances: Array
    counts: tuple[int, ...] = ()
    left_out: tuple[str, ...] = ()
    conditions: BiteConditions | None = None  # of bite: in which it is compared

    @property
    def batches(self) -> list[str]:
        return [batch for batch, _ in self.specimens]


def healthy(test: SpecimenTest) -> pl.DataFrame:
    """Stops of status ok before the onset of any drift that changes the specimen or the sensor."""
    stops = test.stops.filter(pl.col("status") == "ok")
    if test.drift_verdict in HISTORY and test.drift_onset is not None:
        stops = stops.filter(pl.col("stop") < test.drift_onset)
    return stops


def reference_stops(test: SpecimenTest) -> pl.DataFrame:
    """The stops a specimen's friction is read from: checks, or the map where there is no usable check."""
    stops = healthy(test).filter(pl.col("mu").is_not_null())
    checks = stops.filter(pl.col("purpose") == "check")
    return checks if len(checks) else stops.filter(pl.col("purpose") == "map")


def friction_values(tests: list[SpecimenTest], shape: Shape | None, at_reference: float | None) -> Values:
    """Friction of each specimen at the reference conditions; `shape` gives the map's mu of stops (NaN: not
    supported).

    Without a map the stops are taken as they are, and `left_out` says so.
    """
    rows: dict[tuple[str, str], list[Array]] = {}
    notes: list[str] = []
    for test in tests:
        stops = reference_stops(test)
        adjusted = stops["mu"].to_numpy().astype(float)
        if shape is not None and at_reference is not None and len(stops):
            adjusted = adjusted * at_reference / shape(stops)
            unsupported = int(np.isnan(adjusted).sum())
            if unsupported:
                notes.append(f"{test.test}: {counted(unsupported, 'stop')} outside the map's support")
                adjusted = adjusted[~np.isnan(adjusted)]
        if not len(adjusted):
            notes.append(f"{test.test}: no usable check or map stop")
            continue
        rows.setdefault((test.batch, test.specimen), []).append(adjusted)
        if test.drift_verdict in HISTORY and test.drift_onset is not None:
            notes.append(f"{test.test}: stops from {test.drift_onset} on ({test.drift_verdict} drift)")
    if shape is None:
        notes.append("no friction map: stops are compared as they ran, not at reference conditions")
    joined = {key: np.concatenate(parts) for key, parts in rows.items()}
    return _means(joined, notes)


def _means(rows: dict[tuple[str, str], Array], notes: list[str]) -> Values:
    """Specimen means less gross outliers; the variance of a mean from the scatter pooled over specimens."""
    deviations = [x - np.median(x) for x in rows.values()]
    spread = MAD_TO_SD * float(np.median(np.abs(np.concatenate(deviations)))) if rows else 0.0
    kept = {}
    for (batch, specimen), x in rows.items():
        good = np.abs(x - np.median(x)) <= GROSS * spread if spread > 0 and len(x) > 2 else np.ones(len(x), bool)
        if not good.all():
            notes.append(
                f"{batch}/{specimen}: {counted(int((~good).sum()), 'stop')} more than {GROSS:g} standard deviations off"
            )
        kept[batch, specimen] = x[good]
    counts = np.array([len(x) for x in kept.values()])
    free = int((counts - 1).sum())
    pooled = sum(float(((x - x.mean()) ** 2).sum()) for x in kept.values()) / free if free else 0.0
    return Values(
        specimens=tuple(kept),
        values=np.array([x.mean() for x in kept.values()]),
        variances=pooled / np.maximum(counts, 1),
        counts=tuple(int(c) for c in counts),
        left_out=tuple(notes),
    )


BITE = ("temperature_initial_c", "pressure_bar", "speed_start_rpm", "mu_bite")
COLD_BAND_K = 20.0


def bite_values(tests: list[SpecimenTest]) -> Values:
    """Bite of each specimen in the coldest conditions that all batches have; `conditions` says which."""
    frames = []
    for test in tests:
        stops = healthy(test).filter(pl.col("purpose").is_in(["map", "check"]))
        stops = stops.filter(*(pl.col(name).is_finite() for name in BITE), pl.col("pressure_bar") > 0)
        key = pl.lit(f"{test.batch}\x1f{test.specimen}").alias("key")
        frames.append(stops.select(*BITE, key, pl.lit(test.batch).alias("batch")))
    table = pl.concat(frames) if frames else pl.DataFrame()
    if not len(table):
        return Values((), np.zeros(0), np.zeros(0), left_out=("no stop with a bite",))
    cold = coldest_common(table)
    found = cells.levels(cold, "mu_bite")
    notes = () if found.matched else ("conditions differ between specimens: bite is compared over a band of them",)
    mean = {name: float(np.mean(cold[name].to_numpy())) for name in BITE[:3]}
    return Values(
        specimens=tuple((key.split("\x1f")[0], key.split("\x1f")[1]) for key in found.keys),
        values=found.values,
        variances=found.variances,
        counts=found.counts,
        left_out=notes,
        conditions=BiteConditions(
            temperature_c=mean["temperature_initial_c"],
            pressure_bar=mean["pressure_bar"],
            speed_rpm=mean["speed_start_rpm"],
            stops=len(cold),
        ),
    )


def coldest_common(table: pl.DataFrame) -> pl.DataFrame:
    """Stops within the band about the lowest temperature at which every specimen (or else batch) has some."""
    starts = table.sort("temperature_initial_c")
    for wanted, by in ((3, "key"), (1, "key"), (1, "batch")):
        lowest = [
            part["temperature_initial_c"][wanted - 1] if len(part) >= wanted else math.inf
            for part in starts.partition_by(by)
        ]
        centre = max(lowest)
        band = table.filter((pl.col("temperature_initial_c") - centre).abs() <= COLD_BAND_K)
        if math.isfinite(centre) and band[by].n_unique() == table[by].n_unique():
            return band
    return table


def wear_values(tests: list[SpecimenTest]) -> Values:
    """Logarithm of the disc's wear in um per stop of each specimen; a specimen of several tests has their
    mean.
    """
    rows: dict[tuple[str, str], list[tuple[float, float]]] = {}
    notes = []
    for test in tests:
        if test.wear_rate is None:
            notes.append(f"{test.test}: no wear rate of the disc")
            continue
        value, low, high, factor, *_, confidence = test.wear_rate
        if factor != 1:
            notes.append(
                f"{test.test}: another program, its wear brought to the others' by the wear law (x {factor:.2f})"
            )
        if not value > 0:
            notes.append(f"{test.test}: wear rate {value:.3g} um per stop is not above zero, it has no ratio")
            continue
        # an interval that reaches zero has no logarithm: its half-width over the value then serves
        half = math.log(high / low) / 2 if low > 0 else (high - low) / 2 / value
        rows.setdefault((test.batch, test.specimen), []).append(
            (math.log(value), (half / normal_reach(confidence)) ** 2)
        )
    pairs = [np.array(r) for r in rows.values()]
    return Values(
        specimens=tuple(rows),
        values=np.array([p[:, 0].mean() for p in pairs]),
        variances=np.array([p[:, 1].mean() / len(p) for p in pairs]),
        counts=tuple(len(p) for p in pairs),
        left_out=tuple(notes),
    )
