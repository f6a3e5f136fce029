"""A curve with its bands -> its points and its window as results."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from pipeline.friction import window
from pipeline.friction.bands import Curve
from pipeline.friction.friction_class import friction_class
from pipeline.friction.map import FrictionMap
from pipeline.friction.posterior import Curves
from pipeline.friction.support import THIN_BELOW
from pipeline.friction.wanted import Wanted
from pipeline.method.friction import Friction
from pipeline.results.friction_map import CurvePoint, EndInterval, Window, WindowEstimate

ZERO_C = 273.15


def curve_points(curve: Curve, answers: np.ndarray, tested: np.ndarray) -> list[CurvePoint]:
    """The curve with its bands, a point a supported temperature; tested [n]: whether stops were run near it."""
    columns = {
        "temperature_c": (curve.temperature - ZERO_C).round(2), "mu": curve.mu, "low": curve.low, "high": curve.high,
        "tolerance_low": curve.tolerance_low, "tolerance_high": curve.tolerance_high, "stretch": curve.stretch,
        "stops_near": curve.near, "thin": curve.near < THIN_BELOW, "u_curve": curve.u_curve, "u_common": curve.u_common,
        "scatter": curve.scatter, "dof_mean": curve.dof_mean, "dof_scatter": curve.dof_scatter, "tolerance_factor": curve.factor,
        "inside_wanted": answers, "tested": tested,
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
    estimate: WindowEstimate | None  # its ends by best estimate


def window_found(map_: FrictionMap, curve: Curve, drawn: Curves, settings: Friction, wanted: Wanted) -> WindowFound:
    """`window` of docs/contract.md, or the reason that there is none."""
    band, level = window.plateau_band(curve) if wanted.mu is None else (wanted.mu, None)
    source = "target" if wanted.mu is not None else f"within 15 % of the plateau's mean {level:.3f} (no target)"
    ends = window.widest(curve, band)
    estimate = estimate_found(map_.link, curve, drawn, settings, band, ends)
    if ends is None:
        return WindowFound(None, window.why_none(curve, band), source, band, estimate)
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
    return WindowFound(found, None, source, band, estimate)


def estimate_found(
    link: str,
    curve: Curve,
    drawn: Curves,
    settings: Friction,
    band: tuple[float, float],
    careful: tuple[window.End, window.End] | None,
) -> WindowEstimate | None:
    """The ends by best estimate, of the range that has the most of the careful window; None where it lies inside nowhere."""
    middle = window.estimated(curve, link, settings.coverage)
    ends = window.around(middle, band, careful)
    if ends is None:
        return None
    low, high = window.with_intervals(
        ends, middle, drawn, link, band, confidence=settings.confidence, coverage=settings.coverage
    )
    return WindowEstimate(
        low_c=low.temperature - ZERO_C,
        high_c=high.temperature - ZERO_C,
        low_limited_by=low.limited_by,
        high_limited_by=high.limited_by,
        low_interval_c=interval(low),
        high_interval_c=interval(high),
        confidence=settings.confidence,
        coverage=settings.coverage,
    )


def interval(end: window.End) -> EndInterval:
    if end.low is None or end.high is None:
        return EndInterval(why="the data end here, the material's own limit lies beyond")
    return EndInterval(low=end.low - ZERO_C, high=end.high - ZERO_C, beyond_data=end.beyond)
