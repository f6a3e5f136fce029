"""A fitted map -> the part of friction.json that a test and a compound share."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipeline.friction import bands, pauses, posterior, sensitivity, sides, surfaces, verdict, window
from pipeline.friction.bands import Curve
from pipeline.friction.comparison import Compared
from pipeline.friction.diagnostics import diagnostics
from pipeline.friction.freedom import neighbours
from pipeline.friction.friction_class import friction_class
from pipeline.friction.map import FrictionMap
from pipeline.friction.posterior import Curves
from pipeline.friction.support import THIN_BELOW
from pipeline.friction.transition import landmarks
from pipeline.method.friction import Friction
from pipeline.results.compound_friction import OfBatch
from pipeline.results.friction import OfMap
from pipeline.results.friction_history import Sides
from pipeline.results.friction_map import CurvePoint, EndInterval, Gap, Holds, MapModel, Reference, Window

ZERO_C = 273.15


@dataclass(frozen=True)
class Wanted:
    """What a target asks for: band of mu, temperature window in K; None where it does not say."""

    mu: tuple[float, float] | None = None
    temperatures: tuple[float, float] | None = None


def reference_of(map_: FrictionMap) -> Reference:
    """The reference conditions; null with the reason where a condition was not recorded."""
    reference = map_.reference
    values = {
        "temperature_c": reference.temperature - ZERO_C,
        "pressure_bar": reference.pressure / 1e5,
        "speed_rpm": reference.speed * 30 / np.pi,
        "energy_density_j_mm2": reference.energy_density / 1e6,
    }
    keys = {"pressure": "pressure_bar", "speed": "speed_rpm", "energy": "energy_density_j_mm2"}
    gone = {keys[name]: "not recorded" for name in map_.missing}
    return Reference.model_validate({**values, **dict.fromkeys(gone), "why": gone or None})


def of_map(map_: FrictionMap, settings: Friction, wanted: Wanted, common: float) -> OfMap:
    """Curve, window, verdict, landmarks, sensitivities, surfaces, diagnostics of a fitted map.

    `common` is the relative standard uncertainty common to all stops.
    """
    confidence, coverage = settings.confidence, settings.coverage
    near = neighbours(map_.fit)
    draws = posterior.draws(near)
    curve = bands.curve(map_, confidence=confidence, coverage=coverage, common=common, near=near, draws=draws)
    reference = reference_of(map_)
    if curve.temperature.size == 0:
        why = "no two stops are near enough in temperature to support a value"
        return OfMap(reference=reference, window_reason=why, curve_reason=why)
    drawn = posterior.curves(
        draws, near, map_.link, curve.temperature, map_.fit.no_effects(curve.temperature.size), common
    )
    found = window_found(map_, curve, drawn, settings, wanted)
    between = (found.window.low_c + ZERO_C, found.window.high_c + ZERO_C) if found.window else None
    answers = verdict.by_temperature(curve, drawn, map_.link, found.band, coverage=coverage, confidence=confidence)
    return OfMap(
        stops_used=len(map_.stops),
        reference=reference,
        window=found.window,
        window_reason=found.reason,
        wanted_from=found.source,
        wanted_mu=list(found.band),
        holds=holds(curve, answers, wanted),
        curve=curve_points(curve, answers),
        landmarks=landmarks(curve, drawn, confidence),
        sensitivity=sensitivity.sensitivities(map_, near, confidence=confidence, common=common, between=between),
        surfaces=surfaces.surfaces(map_),
        bite=pauses.bite(map_),
        diagnostics=diagnostics(map_),
        gaps=gaps(map_),
        common_relative_u=common,
    )


def of_batch(batch: str, map_: FrictionMap, settings: Friction, wanted: Wanted, common: float) -> OfBatch:
    """Curve, window and verdict of one batch's own map."""
    near = neighbours(map_.fit)
    draws = posterior.draws(near)
    curve = bands.curve(
        map_, confidence=settings.confidence, coverage=settings.coverage, common=common, near=near, draws=draws
    )
    if curve.temperature.size == 0:
        why = "no temperature is supported by the data"
        return OfBatch(batch=batch, window_reason=why, curve_reason=why)
    drawn = posterior.curves(
        draws, near, map_.link, curve.temperature, map_.fit.no_effects(curve.temperature.size), common
    )
    found = window_found(map_, curve, drawn, settings, wanted)
    answers = verdict.by_temperature(
        curve, drawn, map_.link, found.band, coverage=settings.coverage, confidence=settings.confidence
    )
    return OfBatch(
        batch=batch,
        window=found.window,
        window_reason=found.reason,
        wanted_from=found.source,
        holds=holds(curve, answers, wanted),
        curve=curve_points(curve, answers),
    )


def holds(curve: Curve, answers: np.ndarray, wanted: Wanted) -> Holds | None:
    """The answer over the wanted window; None without a target for both temperatures and mu."""
    if wanted.mu is None or wanted.temperatures is None:
        return None
    return verdict.over_window(curve, answers, wanted.mu, wanted.temperatures)


def gaps(map_: FrictionMap) -> list[Gap]:
    """Temperature ranges between supported stretches, in degC: no value is given there."""
    stretches = map_.support.stretches()
    return [Gap(from_c=a[1] - ZERO_C, to_c=b[0] - ZERO_C) for a, b in pairwise(stretches)]


def of_sides(map_: FrictionMap, found: OfMap, wanted: Wanted) -> Sides | None:
    """The verdict over both duties; None without a wanted band of mu."""
    if wanted.mu is None:
        return None
    start, end = wanted.temperatures or (None, None)
    low = sides.low_energy(map_, found, wanted.mu, start)
    return sides.verdict(low, sides.high_energy(found, wanted.mu, end))


def model_of(compared: Compared) -> MapModel:
    """What the map is made of: form, effects, what was compared, what the design can't tell apart,
    scatter.
    """
    map_ = compared.map
    return MapModel(
        effects="multiply mu" if map_.link == "log" else "add to mu",
        energy_form=map_.choice.energy_form,
        kept=list(map_.choice.kept),
        dropped=map_.choice.dropped,
        moved_together=[list(pair) for pair in map_.choice.tied],
        compared=compared.table,
        chosen_because=compared.why,
        effective_parameters=map_.fit.effective_parameters,
        autocorrelation=map_.fit.correlation,
        strays_held_back=int((map_.fit.cut < 1).sum()),
    )


def curve_points(curve: Curve, answers: np.ndarray) -> list[CurvePoint]:
    """The curve with its bands, a point a supported temperature."""
    columns = {
        "temperature_c": (curve.temperature - ZERO_C).round(2), "mu": curve.mu, "low": curve.low, "high": curve.high,
        "tolerance_low": curve.tolerance_low, "tolerance_high": curve.tolerance_high, "stretch": curve.stretch,
        "stops_near": curve.near, "thin": curve.near < THIN_BELOW, "u_curve": curve.u_curve, "u_common": curve.u_common,
        "scatter": curve.scatter, "dof_mean": curve.dof_mean, "dof_scatter": curve.dof_scatter, "tolerance_factor": curve.factor,
        "inside_wanted": answers,
    }  # fmt: skip
    return [
        CurvePoint.model_validate({name: value.item() for name, value in zip(columns, row, strict=True)})
        for row in zip(*columns.values(), strict=True)
    ]


@dataclass(frozen=True)
class WindowFound:
    """The window or why there is none, and the band of mu that it was sought in with its source."""

    window: Window | None
    reason: str | None
    source: str
    band: tuple[float, float]


def window_found(map_: FrictionMap, curve: Curve, drawn: Curves, settings: Friction, wanted: Wanted) -> WindowFound:
    """`window` of docs/contract.md, or the reason that there is none."""
    band, level = window.plateau_band(curve) if wanted.mu is None else (wanted.mu, None)
    source = "target" if wanted.mu is not None else f"within 15 % of the plateau's mean {level:.3f} (no target)"
    ends = window.widest(curve, band)
    if ends is None:
        return WindowFound(None, window.why_none(curve, band), source, band)
    low, high = window.with_intervals(
        ends, curve, drawn, map_.link, band, confidence=settings.confidence, coverage=settings.coverage
    )
    inside = (curve.temperature >= low.temperature) & (curve.temperature <= high.temperature)
    at = np.unique(np.r_[low.temperature, curve.temperature[inside], high.temperature])
    mu = np.interp(at, curve.temperature, curve.mu)
    mean = float(np.trapezoid(mu, at) / (at[-1] - at[0]))
    found = Window(
        low_c=low.temperature - ZERO_C,
        high_c=high.temperature - ZERO_C,
        low_limited_by=low.limited_by,
        high_limited_by=high.limited_by,
        low_why=low.why,
        high_why=high.why,
        low_interval_c=interval(low),
        high_interval_c=interval(high),
        mu_mean=mean,
        mu_low=float(mu.min()),
        mu_high=float(mu.max()),
        mu_class=friction_class(mean),
        confidence=settings.confidence,
        coverage=settings.coverage,
    )
    return WindowFound(found, None, source, band)


def interval(end: window.End) -> EndInterval:
    if end.low is None or end.high is None:
        return EndInterval(why="the data end here, the material's own limit lies beyond")
    return EndInterval(low=end.low - ZERO_C, high=end.high - ZERO_C)
