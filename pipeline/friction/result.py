"""A fitted map -> the keys of friction.json that a test and a compound share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from pipeline.friction import bands, posterior, sensitivity, surfaces, window
from pipeline.friction.bands import Curve
from pipeline.friction.comparison import Compared
from pipeline.friction.effects import Reference
from pipeline.friction.freedom import neighbours
from pipeline.friction.friction_class import friction_class
from pipeline.friction.map import FrictionMap
from pipeline.friction.posterior import Draws
from pipeline.friction.support import THIN_BELOW
from pipeline.method.friction import Friction

ZERO_C = 273.15


@dataclass(frozen=True)
class Wanted:
    """What a target asks for: band of mu, temperature window in K; None where it does not say."""

    mu: tuple[float, float] | None = None
    temperatures: tuple[float, float] | None = None


def reference_json(reference: Reference) -> dict[str, float]:
    return {
        "temperature_c": reference.temperature - ZERO_C,
        "pressure_bar": reference.pressure / 1e5,
        "speed_rpm": reference.speed * 30 / np.pi,
        "energy_density_j_mm2": reference.energy_density / 1e6,
    }


def of_map(map_: FrictionMap, settings: Friction, wanted: Wanted, common: float) -> dict[str, Any]:
    """Curve, window, sensitivities, surfaces; `common` is the relative standard uncertainty common to all
    stops.
    """
    near = neighbours(map_.fit)
    draws = posterior.draws(near)
    curve = bands.curve(
        map_, confidence=settings.confidence, coverage=settings.coverage, common=common, near=near, draws=draws
    )
    found, band = window_json(map_, curve, draws, settings, wanted, common)
    ends = found["window"] and (found["window"]["low_c"] + ZERO_C, found["window"]["high_c"] + ZERO_C)
    return {
        "reference": reference_json(map_.reference),
        **found,
        "wanted_mu": list(band),
        "curve": curve_json(curve),
        "sensitivity": sensitivity.sensitivities(
            map_, near, confidence=settings.confidence, common=common, between=ends or None
        ),
        "surfaces": surfaces.surfaces(map_),
        "common_relative_u": common,
    }


def model_json(compared: Compared) -> dict[str, Any]:
    """What the map is made of: form, effects, what was compared, what the design can't tell apart,
    scatter.
    """
    map_ = compared.map
    return {
        "effects": "multiply mu" if map_.link == "log" else "add to mu",
        "energy_form": map_.choice.energy_form,
        "kept": list(map_.choice.kept),
        "dropped": map_.choice.dropped,
        "moved_together": [list(pair) for pair in map_.choice.tied],
        "compared": compared.table,
        "chosen_because": compared.why,
        "effective_parameters": map_.fit.effective_parameters,
        "autocorrelation": map_.fit.correlation,
        "strays_held_back": int((map_.fit.cut < 1).sum()),
    }


def curve_json(curve: Curve) -> list[dict[str, Any]]:
    columns = {
        "temperature_c": (curve.temperature - ZERO_C).round(2), "mu": curve.mu, "low": curve.low, "high": curve.high,
        "tolerance_low": curve.tolerance_low, "tolerance_high": curve.tolerance_high, "stretch": curve.stretch,
        "stops_near": curve.near, "thin": curve.near < THIN_BELOW, "u_curve": curve.u_curve, "u_common": curve.u_common,
        "scatter": curve.scatter, "dof_mean": curve.dof_mean, "dof_scatter": curve.dof_scatter, "tolerance_factor": curve.factor,
    }  # fmt: skip
    return [
        {name: value.item() for name, value in zip(columns, row, strict=True)}
        for row in zip(*columns.values(), strict=True)
    ]


def window_json(
    map_: FrictionMap, curve: Curve, draws: Draws, settings: Friction, wanted: Wanted, common: float
) -> tuple[dict[str, Any], tuple[float, float]]:
    """The contract's `window` (or null with `window_reason`) and the band of mu that it was sought in."""
    band, level = window.plateau_band(curve) if wanted.mu is None else (wanted.mu, None)
    source = "target" if wanted.mu is not None else f"within 15 % of the plateau's mean {level:.3f} (no target)"
    ends = window.widest(curve, band)
    if ends is None:
        return {"window": None, "window_reason": window.why_none(curve, band), "wanted_from": source}, band
    low, high = window.with_intervals(
        ends, map_, curve, draws, band, confidence=settings.confidence, coverage=settings.coverage, common=common
    )
    inside = (curve.temperature >= low.temperature) & (curve.temperature <= high.temperature)
    at = np.unique(np.r_[low.temperature, curve.temperature[inside], high.temperature])
    mu = np.interp(at, curve.temperature, curve.mu)
    mean = float(np.trapezoid(mu, at) / (at[-1] - at[0]))
    found = {
        "low_c": low.temperature - ZERO_C,
        "high_c": high.temperature - ZERO_C,
        "low_limited_by": low.limited_by,
        "high_limited_by": high.limited_by,
        "low_why": low.why,
        "high_why": high.why,
        "low_interval_c": interval(low),
        "high_interval_c": interval(high),
        "mu_mean": mean,
        "mu_low": float(mu.min()),
        "mu_high": float(mu.max()),
        "mu_class": friction_class(mean),
        "confidence": settings.confidence,
        "coverage": settings.coverage,
    }
    return {"window": found, "window_reason": None, "wanted_from": source}, band


def interval(end: window.End) -> dict[str, Any]:
    if end.low is None or end.high is None:
        return {"low": None, "high": None, "why": "the data end here, the material's own limit lies beyond"}
    return {"low": end.low - ZERO_C, "high": end.high - ZERO_C}
