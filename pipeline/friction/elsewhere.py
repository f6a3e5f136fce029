"""The windows of the places of `pipeline.friction.places`, and the verdict at the place that a target asks for."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.friction import bands, effects, places, posterior, tested, verdict
from pipeline.friction.bands import Curve
from pipeline.friction.curve_window import WindowFound, curve_points, window_found
from pipeline.friction.freedom import Neighbours
from pipeline.friction.map import FrictionMap
from pipeline.friction.places import Place
from pipeline.friction.posterior import Curves, Draws
from pipeline.friction.wanted import Wanted
from pipeline.method.friction import Friction
from pipeline.results.friction_map import Holds, Stretch, WindowAt

ZERO_C = 273.15
STEP_K = 10.0
FITS = 24  # drawn fits that the windows here make do with


@dataclass(frozen=True)
class Elsewhere:
    """The windows beside the reference's, and the verdict at the place asked for (None where none is asked, or nothing is
    wanted there)."""

    windows: list[WindowAt]
    why: str | None  # why there is none at the conditions run
    holds: Holds | None


def elsewhere(
    map_: FrictionMap,
    near: Neighbours,
    draws: Draws,
    settings: Friction,
    wanted: Wanted,
    common: float,
    band: tuple[float, float],
    *,
    corners: bool = True,
) -> Elsewhere:
    """Windows at the corners of what was run, in the reference's target band of mu, and at what the target asks for; without
    `corners` there alone."""
    found = places.corners(map_) if corners else []
    why = None if found or not corners else places.why_no_corner(map_)
    if wanted.at is not None:
        found = [places.asked(map_, *wanted.at), *found]
    windows, holds, draws = [], None, posterior.thinned(draws, FITS)
    for place in found:
        if place.why is not None or not place.stretches:
            windows.append(empty(place, place.why or "no temperature is supported there"))
            holds = holds or refused(place, wanted)
            continue
        curve, drawn = at_place(map_, near, draws, place, settings, common)
        answers = verdict.by_temperature(
            curve, drawn, map_.link, band, coverage=settings.coverage, confidence=settings.confidence
        )
        window = window_found(map_, curve, drawn, settings, Wanted(mu=band))
        windows.append(given(map_, place, curve, answers, window))
        if place.asked and wanted.mu is not None and wanted.temperatures is not None:
            over = verdict.over_window(curve, answers, wanted.mu, wanted.temperatures)
            holds = over.model_copy(update={"at": words(place)})
    return Elsewhere(windows, why, holds)


def at_place(
    map_: FrictionMap, near: Neighbours, draws: Draws, place: Place, settings: Friction, common: float
) -> tuple[Curve, Curves]:
    """The curve at the place with its bands, and drawn curves."""
    candidates = effects.linear(
        np.array([place.pressure]), np.array([place.speed]), np.array([place.energy_density]), map_.reference,
        map_.choice.energy_form,
    )[0]  # fmt: skip
    candidates = np.where([name in map_.missing for name in effects.NAMES], 0.0, candidates)
    grid = bands.grid(place.stretches, STEP_K)
    curve = bands.curve(
        map_, confidence=settings.confidence, coverage=settings.coverage, common=common, near=near, draws=draws,
        temperature=grid, candidates=candidates,
    )  # fmt: skip
    x = map_.kept_effects(np.broadcast_to(candidates, (grid[0].size, 3)))
    return curve, posterior.curves(draws, near, map_.link, grid[0], x, common)


def words(place: Place) -> str:
    return f"{place.pressure / 1e5:.3g} bar and {place.energy_density / 1e6:.3g} J/mm2"


def empty(place: Place, why: str) -> WindowAt:
    return WindowAt(
        pressure_bar=place.pressure / 1e5,
        speed_rpm=place.speed * 30 / np.pi,
        energy_density_j_mm2=place.energy_density / 1e6,
        asked=place.asked,
        window_reason=why,
    )


def given(map_: FrictionMap, place: Place, curve: Curve, answers: np.ndarray, found: WindowFound) -> WindowAt:
    t, at = curve.temperature, (place.pressure, place.speed, place.energy_density)
    return WindowAt(
        pressure_bar=place.pressure / 1e5,
        speed_rpm=place.speed * 30 / np.pi,
        energy_density_j_mm2=place.energy_density / 1e6,
        asked=place.asked,
        from_c=float(t[0] - ZERO_C),
        to_c=float(t[-1] - ZERO_C),
        window=found.window,
        window_reason=found.reason,
        window_estimate=found.estimate,
        curve=curve_points(curve, answers, tested.along(map_, t, at)),
        extrapolated=tested.of_curve(map_, t, at, found.window),
    )


def refused(place: Place, wanted: Wanted) -> Holds | None:
    """The verdict where the place asked for lies outside what was run: not shown, with the reason."""
    if not place.asked or wanted.mu is None or wanted.temperatures is None:
        return None
    low, high = (t - ZERO_C for t in wanted.temperatures)
    why = f"the target asks for {words(place)}: {place.why}"
    return Holds(
        answer="not shown",
        from_c=low,
        to_c=high,
        not_shown=[Stretch(from_c=low, to_c=high, what=why)],
        why=why,
        at=words(place),
    )
