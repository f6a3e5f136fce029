"""A fitted map -> the part of friction.json that a test and a compound share."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from pipeline.friction import bands, effects, pauses, posterior, sensitivity, sides, surfaces, tested, verdict
from pipeline.friction.bands import Curve
from pipeline.friction.comparison import Compared
from pipeline.friction.curve_window import curve_points, window_found
from pipeline.friction.diagnostics import diagnostics
from pipeline.friction.elsewhere import elsewhere
from pipeline.friction.freedom import neighbours
from pipeline.friction.interaction import SHIFT_K
from pipeline.friction.lack_of_fit import lack_of_fit
from pipeline.friction.likelihood import USUAL_SCATTER
from pipeline.friction.map import FrictionMap
from pipeline.friction.transition import landmarks
from pipeline.friction.wanted import Wanted
from pipeline.method.friction import Friction
from pipeline.results.compound_friction import OfBatch
from pipeline.results.friction import OfMap
from pipeline.results.friction_history import Sides
from pipeline.results.friction_map import Gap, Holds, MapModel, Reference, Shift

ZERO_C = 273.15


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
    at = tested.reference_conditions(map_)
    others = elsewhere(map_, near, draws, settings, wanted, common, found.band)
    return OfMap(
        stops_used=len(map_.stops),
        reference=reference,
        window=found.window,
        window_reason=found.reason,
        window_estimate=found.estimate,
        wanted_from=found.source,
        wanted_mu=list(found.band),
        windows_at=others.windows,
        windows_at_why=others.why,
        holds=others.holds or holds(curve, answers, wanted),
        curve=curve_points(curve, answers, tested.along(map_, curve.temperature, at)),
        extrapolated=tested.of_curve(map_, curve.temperature, at, found.window),
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
    at = tested.reference_conditions(map_)
    others = elsewhere(map_, near, draws, settings, wanted, common, found.band, corners=False)
    return OfBatch(
        batch=batch,
        window=found.window,
        window_reason=found.reason,
        window_estimate=found.estimate,
        wanted_from=found.source,
        holds=others.holds or holds(curve, answers, wanted),
        curve=curve_points(curve, answers, tested.along(map_, curve.temperature, at)),
        extrapolated=tested.of_curve(map_, curve.temperature, at, found.window),
        asked=others.windows[0] if others.windows else None,
    )


def holds(curve: Curve, answers: np.ndarray, wanted: Wanted) -> Holds | None:
    """The answer over the target range; None without a target for both temperatures and mu."""
    if wanted.mu is None or wanted.temperatures is None:
        return None
    return verdict.over_window(curve, answers, wanted.mu, wanted.temperatures)


def gaps(map_: FrictionMap) -> list[Gap]:
    """Temperature ranges between supported stretches, in degC: no value is given there."""
    stretches = map_.support.stretches()
    return [Gap(from_c=a[1] - ZERO_C, to_c=b[0] - ZERO_C) for a, b in pairwise(stretches)]


def of_sides(map_: FrictionMap, found: OfMap, wanted: Wanted) -> Sides | None:
    """The verdict over both duties; None without a target band of mu."""
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
        interacts=map_.fit.data.interaction is not None,
        shifts=shifts(map_),
        lack_of_fit=lack_of_fit(map_),
        compared=compared.table,
        chosen_because=compared.why,
        effective_parameters=map_.fit.effective_parameters,
        autocorrelation=map_.fit.correlation,
        strays_held_back=int((map_.fit.cut < 1).sum()),
    )


def shifts(map_: FrictionMap) -> list[Shift]:
    """How far each condition moves the curve, from its lowest to its highest run, the others at the reference."""
    fit, found = map_.fit, map_.fit.data.interaction
    if found is None:
        return []
    first = fit.fixed + fit.data.segments + 1
    own = slice(first, first + found.shift.size)
    moved = []
    for k, name in enumerate(map_.choice.kept):
        ends = fit.no_effects(2)
        ends[:, k] = fit.data.linear[:, k].min(), fit.data.linear[:, k].max()
        low, high = found.features(ends)
        u = (
            np.sqrt((high - low) @ fit.solved.inverse[own, own] @ (high - low) * fit.inflation)
            * SHIFT_K
            / USUAL_SCATTER
        )
        moved.append(Shift(condition=effects.WORDS[name], kelvin=float((high - low) @ found.shift), u=float(u)))
    return moved
