"""All tests of a compound -> its law at the face, held against its map, and what the law is for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.constants import ZERO_C, Array
from pipeline.face import choice, curve, law, left_out, portable, readings, reservations, whole_stops
from pipeline.face.braking import Brake
from pipeline.face.cells import cells_of
from pipeline.face.inputs import Inputs, inputs_of
from pipeline.face.law import Law
from pipeline.face.portable import Setting
from pipeline.face.predict import Asked
from pipeline.face.samples import Segmented, samples_of, segmented
from pipeline.face.temperature import faces_of
from pipeline.friction.bands import Curve
from pipeline.friction.map import FrictionMap
from pipeline.friction.posterior import Curves
from pipeline.friction.selection import batch_contrasts, labels, usable
from pipeline.method import Method
from pipeline.results.face import (
    FaceBrake,
    FaceChoice,
    FaceLaw,
    FaceModel,
    FacePoint,
    HeatInput,
    LeftOutErrors,
)
from pipeline.wording import counted

FEWEST_STOPS = 24
LEAST_SPAN_K = 120.0  # of face temperatures
MOST_POINTS = 36  # of the law's curve
HELD_BACK = ("fade",)


@dataclass(frozen=True)
class FaceTest:
    """A test with its sound stops (test, batch, specimen beside the columns of docs/tables.md) and its traces."""

    __test__ = False  # not a test class, whatever its name says to a test collector

    name: str
    card: Card
    stops: pl.DataFrame
    traces: pl.DataFrame
    radius: float  # effective, by the method's rule


@dataclass(frozen=True)
class Settings:
    """What the method says: assumed conductivity W/(m K), heat share, bands, and the temperature of its windows."""

    conductivity: float
    share: float
    confidence: float
    coverage: float
    use_suspect: bool
    temperature: str
    built: float
    average: Literal["distance", "time", "energy"]


def settings_of(method: Method) -> Settings:
    friction = method.friction
    return Settings(
        method.wear.conductivity, method.wear.heat_share, friction.confidence, friction.coverage, friction.use_suspect,
        method.reduction.temperature,
        method.reduction.build_up,
        method.reduction.average,
    )  # fmt: skip


@dataclass(frozen=True)
class Found:
    """The result, and the curve with drawn curves at the reference conditions where the law is used."""

    result: FaceLaw
    curve: tuple[Curve, Curves] | None = None


def of_compound(tests: Sequence[FaceTest], map_: FrictionMap | None, settings: Settings, common: float) -> Found:
    """The compound's law; where there is none, why. Never raises for want of data."""
    inputs: dict[str, Inputs] = {}
    lacks: dict[str, str] = {}
    for test in tests:
        found = inputs_of(test.card, settings.conductivity, settings.share)
        if isinstance(found, str):
            lacks[test.name] = found
        else:
            inputs[test.name] = found
    used = [test for test in tests if test.name in inputs]
    if not used:
        return Found(FaceLaw(why="; ".join(sorted(set(lacks.values()))) or "no test with stops"))
    stops = _stops(used, settings)
    if map_ is None or len(stops) < FEWEST_STOPS:
        why = f"{len(stops)} usable stops are too few for a law; {FEWEST_STOPS} are needed"
        return Found(FaceLaw(why=why if map_ is not None else "the stops carry no map, and so no law either"))
    traces = pl.concat([t.traces.with_columns(test=pl.lit(t.name)) for t in used], how="diagonal_relaxed")
    made = segmented(samples_of(stops, traces), settings.average)
    without = len(stops) - len(made.samples)
    if len(made.samples) < FEWEST_STOPS:
        return Found(
            FaceLaw(why=f"only {counted(len(made.samples), 'stop')} with a usable trace", stops_without_trace=without)
        )
    shown = readings.read(used, inputs, settings)
    inputs = readings.losing(used, inputs, shown)
    law_ = _fitted(used, inputs, lacks, made, traces, without, map_, settings, common)
    return replace(law_, result=law_.result.model_copy(update={"thermocouples": readings.told(used, shown)}))


def _stops(tests: Sequence[FaceTest], settings: Settings) -> pl.DataFrame:
    """Stops of purpose map and check that brake down from a speed."""
    stops = pl.concat([t.stops for t in tests], how="diagonal_relaxed")
    stops = usable(stops, ("map", "check"), "initial", settings.use_suspect)
    needed = ("pressure_bar", "speed_start_rpm", "speed_end_rpm", "energy_density_j_mm2")
    return stops.filter((pl.col("kind") != "drag").fill_null(True), *(pl.col(c).is_finite() for c in needed))


def _fitted(
    tests: Sequence[FaceTest],
    inputs: dict[str, Inputs],
    lacks: dict[str, str],
    made: Segmented,
    traces: pl.DataFrame,
    without: int,
    map_: FrictionMap,
    settings: Settings,
    common: float,
) -> Found:
    table = made.samples.table
    heat = inputs[str(table["test"][0])]
    faces = faces_of(made.samples, inputs, heat)
    spread = np.ptp(faces.at(np.zeros(law.HEAT))[0][made.samples.inside])
    if spread < LEAST_SPAN_K:
        return Found(FaceLaw(why=f"face temperatures span {spread:.0f} K only; a law needs {LEAST_SPAN_K:.0f} K"))
    cells, specimens = cells_of(table), labels(table, ["batch", "specimen"])
    try:
        fit = law.fit(made, faces, heat.u, cells, specimens, contrasts_of(table))
    except np.linalg.LinAlgError:
        return Found(FaceLaw(why="the stops cannot carry a law: too few, or too alike", stops_without_trace=without))
    setting = Setting(
        brake_of(tests[0], heat), common, settings.confidence, settings.coverage, settings.built, settings.average
    )
    model = portable.model_of(fit, heat, setting)
    brakes = {t.name: _brake(t, inputs[t.name], model.build_up_s, settings.built, settings.average) for t in tests}
    errors, decided = compared(
        fit, map_, brakes, {t.name: t.card.inertia for t in tests}, heat, tests, traces, settings
    )
    found: tuple[Curve, Curves] | None = None
    points: list[FacePoint] = []
    said: list[str] = []
    reference = _reference(map_, model)
    temperatures, near = _grid(map_)
    if settings.temperature == "initial":
        found = curve.curve(model, temperatures, reference, near)
        points, said = beside(found[0] if found else None, map_)
    notes = [f"{name}: left out of the law: {why}" for name, why in lacks.items()]
    doubts, barred = reservations.of_heat(fit, heat)
    notes += doubts
    if barred and decided.used == "law":
        decided = decided.model_copy(update={"used": "map", "why": f"{decided.why}; but {barred}"})
    if found is not None:
        notes += whole_stops.begins_above(model, temperatures, found[0].temperature, reference)
    if settings.temperature != "initial" and decided.used == "law":
        why = f"{decided.why}; but windows are in the {settings.temperature} temperature, which the law does not know"
        decided = decided.model_copy(update={"used": "map", "why": why})
    whole = whole_stops.three_stops(model, reference, map_, None if found is None else found[0].temperature)
    result = FaceLaw(
        after_pause=whole_stops.after_pause([t.stops for t in tests], whole[0].temperature_c), stops_used=len(table), stops_without_trace=without, heat=heat_rows(fit, heat), left_out=errors, choice=decided,
        stops=whole, curve=points, disagreements=said, notes=notes, model=model,
    )  # fmt: skip
    return Found(result, found if decided.used == "law" else None)


def compared(
    fit: Law,
    map_: FrictionMap,
    brakes: dict[str, Brake],
    inertias: dict[str, float],
    heat: Inputs,
    tests: Sequence[FaceTest],
    traces: pl.DataFrame,
    settings: Settings,
) -> tuple[list[LeftOutErrors], FaceChoice]:
    """Errors of law and map at cells, blocks and fade stops left out, and what they decide."""
    table = fit.segmented.samples.table
    mu, at_heat = table["mu"].to_numpy(), heat.values
    flat = np.exp(fit.segmented.y) - (fit.segmented.share * np.exp(fit.segmented.y)).sum(axis=1, keepdims=True)
    rows, decided = [], None
    for what, groups in (("cells", fit.cells), ("blocks", left_out.blocks_of(table))):
        if groups.max() < 2:
            continue
        own = left_out.law_errors(fit, brakes, inertias, groups, at_heat)
        of_map = left_out.by_group(left_out.map_errors(map_, table, groups), mu, groups)
        of_law = left_out.by_group(own.mean, mu, groups)
        both = np.isfinite(of_map) & np.isfinite(of_law)
        rows.append(_row(what, of_law[both], of_map[both], own.shape, flat))
        decided = decided or choice.choose(of_law, of_map)
    held = _held_back(fit, map_, brakes, inertias, tests, traces, at_heat, settings)
    rows += [held] if held is not None else []
    return rows, decided or choice.choose(np.zeros(0), np.zeros(0))


def _row(what: str, law_: Array, of_map: Array, shape: Array, flat: Array) -> LeftOutErrors:
    return LeftOutErrors(
        what=what, count=len(law_), law=left_out.rms(law_), map=left_out.rms(of_map), shape_law=left_out.rms(shape),
        shape_map=left_out.rms(flat), why=None if len(law_) else "neither gives a value",
    )  # fmt: skip


def _held_back(
    fit: Law,
    map_: FrictionMap,
    brakes: dict[str, Brake],
    inertias: dict[str, float],
    tests: Sequence[FaceTest],
    traces: pl.DataFrame,
    heat: Array,
    settings: Settings,
) -> LeftOutErrors | None:
    """Fade stops, which neither was shown; those that both give a value for."""
    stops = pl.concat([t.stops for t in tests], how="diagonal_relaxed")
    stops = usable(stops, HELD_BACK, "initial", settings.use_suspect)
    stops = stops.filter(pl.col("speed_end_rpm").is_finite(), (pl.col("kind") != "drag").fill_null(True))
    if stops.is_empty():
        return None
    made = segmented(samples_of(stops, traces), settings.average)
    known = {
        tuple(row): i
        for row, i in zip(fit.segmented.samples.table.select("batch", "specimen").rows(), fit.specimens, strict=True)
    }
    table = made.samples.table
    if table.is_empty():
        return LeftOutErrors(what="fade stops", count=0, why="none has a usable trace")
    place = {specimen: int(np.flatnonzero(fit.specimens == specimen)[0]) for specimen in known.values()}
    specimens = np.array([known.get(tuple(row), 0) for row in table.select("batch", "specimen").rows()])
    batches = fit.batches[[place[specimen] for specimen in specimens]]
    one = np.zeros(len(table), int)
    errors = left_out.errors_of(fit, made, brakes, inertias, fit.coefficients[None, :], one, specimens, batches, heat)
    of_map = left_out.map_errors_at(map_, table)
    both, mu = np.isfinite(of_map), table["mu"].to_numpy()
    shown = both if both.any() else np.ones_like(both)
    flat = np.exp(made.y) - (made.share * np.exp(made.y)).sum(axis=1, keepdims=True)

    def in_mu(errors: Array) -> Array:
        return np.asarray(mu[shown] * -np.expm1(-errors[shown]))

    why = None if both.any() else "the map gives no value at the fade's conditions"
    return LeftOutErrors(
        what="fade stops", count=int(shown.sum()), law=left_out.rms(in_mu(errors.mean)), map=left_out.rms(in_mu(of_map)),
        shape_law=left_out.rms(errors.shape[shown]), shape_map=left_out.rms(flat[shown]) if both.any() else None, why=why,
    )  # fmt: skip


def contrasts_of(table: pl.DataFrame) -> Array | None:
    """Contrasts of each stop's batch that sum to zero over the batches; None where batches cannot be told from specimens."""
    names, contrasts = batch_contrasts(table)
    return None if contrasts is None else contrasts[[names.index(batch) for batch in table["batch"]]]


def heat_rows(fit: Law, heat: Inputs) -> list[HeatInput]:
    u = np.sqrt(np.diag(fit.covariance)[fit.places["heat"]])
    return [
        HeatInput(
            name=prior.name,
            source="method" if prior.source == "default" else prior.source,
            before=prior.value,
            before_u=prior.u,
            value=prior.value * float(np.exp(fit.theta[i])),
            u=float(u[i]),
        )
        for i, prior in enumerate(heat.priors)
        if prior.value
    ]


def brake_of(test: FaceTest, heat: Inputs) -> FaceBrake:
    card, plate = test.card, heat.plate
    return FaceBrake(
        ring_area=plate.ring_area, half_thickness=plate.half_thickness, density=plate.density, heat_capacity=plate.material,
        push=card.brake.efficiency * card.brake.piston_area, threshold=card.brake.threshold_pressure, radius=test.radius,
        inertia=card.inertia, rolling_radius=card.rolling_radius, pad_friction_area=card.brake.friction_area,
        radiation=0.0 if heat.cooling is None else heat.cooling.radiation, ambient_k=None if heat.cooling is None else heat.cooling.ambient,
    )  # fmt: skip


def _brake(test: FaceTest, heat: Inputs, build_up: float, built: float, average: str) -> Brake:
    card = test.card.brake
    return Brake(
        heat.plate,
        card.efficiency * card.piston_area,
        card.threshold_pressure,
        test.radius,
        build_up,
        built,
        average,
        heat.cooling,
    )


def _reference(map_: FrictionMap, model: FaceModel) -> Asked:
    """The map's reference conditions as a stop: from its speed down by its energy density."""
    at, b = map_.reference, model.brake
    energy = at.energy_density * b.pad_friction_area
    last = float(np.sqrt(max(at.speed**2 - 2 * energy / b.inertia, 0.0)))
    return Asked("normal", at.temperature, at.speed, last, b.inertia, pressure=at.pressure)


def _grid(map_: FrictionMap) -> tuple[Array, Array]:
    """Initial temperatures (K) of the map's support for the law's curve, and the stops near each."""
    from pipeline.friction.bands import grid

    t, _ = grid(map_.support.stretches())
    t = t[:: max(1, t.size // MOST_POINTS)] if t.size else t
    return t, map_.support.near(t)


def beside(found: Curve | None, map_: FrictionMap) -> tuple[list[FacePoint], list[str]]:
    """The law's curve beside the map's, and where their difference is beyond its own 95 % interval, in words."""
    if found is None:
        return [], []
    from scipy.special import ndtri

    of_map = map_.predict(found.temperature)
    # the calibration common to all stops moves both alike, so it is no part of their difference
    apart = np.abs(np.log(found.mu / of_map.mu)) > ndtri(0.975) * np.hypot(
        found.u_curve / found.mu, of_map.se / of_map.mu
    )
    points = [
        FacePoint(
            temperature_c=float(found.temperature[i] - ZERO_C), mu=found.mu[i], low=found.low[i], high=found.high[i],
            tolerance_low=found.tolerance_low[i], tolerance_high=found.tolerance_high[i],
            map_mu=of_map.mu[i] if of_map.supported[i] else None, apart=bool(apart[i]),
        )
        for i in range(found.temperature.size)
    ]  # fmt: skip
    said = []
    edges = np.flatnonzero(np.diff(np.r_[0, apart.astype(int), 0]))
    for first, last in zip(edges[::2], edges[1::2] - 1, strict=True):
        worst = first + int(np.argmax(np.abs(found.mu - of_map.mu)[first : last + 1]))
        t = found.temperature - ZERO_C
        ends = dict.fromkeys(f"{t[end]:.0f}" for end in (first, last))
        said.append(
            f"{' to '.join(ends)} °C: law and map lie apart by more than both are uncertain; most at "
            f"{t[worst]:.0f} °C, µ {found.mu[worst]:.3f} by the law, {of_map.mu[worst]:.3f} by the map"
        )
    return points, said
