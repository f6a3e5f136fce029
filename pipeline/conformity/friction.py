"""Friction over the target range held against the target band: single stops, and the mean.

Single stops: at every wanted temperature the share `coverage` of stops has to lie inside the band. Two points of the
probability of that are known: a half where mu -+ z s touches the band (s the scatter of a stop, z the normal factor of the
coverage), the confidence c where the tolerance band mu -+ k s does. Between and beyond

    p = Phi(z_c (d / s - z) / (k - z)),        d = distance of mu from the nearer limit,

the worst temperature counts, and the friction stage's own answer (yes, no, not shown) bounds it: yes is at least c, no at
most 1 - c; what it calls not shown is neither at least 95 % nor at most 5 %. Two-sided z is used though mostly one limit is near: the careful side.

Without a target band the window's own ends (about the plateau) are held against the wanted ones.

Mean: P(low <= mean mu <= high) by the curve's own band at each wanted temperature, the worst counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy import special

from pipeline.conformity.decision import RISK, probability, room
from pipeline.results.friction_map import CurvePoint, Holds, Window
from pipeline.results.model import USUAL_CONFIDENCE, Interval

Band = tuple[float, float]
Span = tuple[float, float]  # degC
LEAST_STEP = 1e-9


@dataclass(frozen=True)
class Found:
    """What was found over the target range: the figure at the worst temperature, and the probability of conformity."""

    figure: Interval
    conformity: float | None
    held: bool | None
    why: str
    temperature_c: float | None = None
    room: float | None = None  # standard deviations to the limit; negative outside
    tested: float | None = None  # share of what it rests on that was tested; None where that is not asked


def single_stops(
    curve: Sequence[CurvePoint],
    holds: Holds | None,
    band: Band,
    span: Span,
    coverage: float,
    confidence: float = USUAL_CONFIDENCE,
) -> Found:
    """Share of single stops in the band over the target range; the figure is mu with its tolerance band where worst.

    confidence: of the tolerance band, and of the friction stage's answer.
    """
    if holds is None:
        return Found(Interval(why="no answer over the target range"), None, None, "no answer over the target range")
    points = wanted_points(curve, span)
    if points is None:
        return Found(Interval(why=holds.why), None, None, holds.why)
    worst = min(points, key=lambda p: _apart(p, band))
    raw = stops_conform(worst, band, coverage, confidence)
    open_ = min(confidence, 1 - RISK) - 1e-6
    bounds = {"yes": (confidence, 1.0), "no": (0.0, round(1 - confidence, 12)), "not shown": (1 - open_, open_)}[
        holds.answer
    ]
    found = min(max(raw, bounds[0]), bounds[1])
    figure = Interval(value=worst.mu, low=worst.tolerance_low, high=worst.tolerance_high)
    return Found(figure, found, found >= 0.5, holds.why, worst.temperature_c, _apart(worst, band))


def _apart(point: CurvePoint, band: Band) -> float:
    """Standard deviations of single stops between the curve and the limit that is nearer."""
    distance = min(point.mu - band[0], band[1] - point.mu)
    return distance / max(point.scatter, LEAST_STEP)


def stops_conform(point: CurvePoint, band: Band, coverage: float, confidence: float = USUAL_CONFIDENCE) -> float:
    """Probability that at least the coverage of single stops lies inside the band at this temperature."""
    z, sure = float(special.ndtri((1 + coverage) / 2)), float(special.ndtri(confidence))
    distance = min(point.mu - band[0], band[1] - point.mu)
    if point.scatter <= LEAST_STEP:
        return float(distance >= 0)
    apart = max(point.tolerance_factor - z, 1e-3)
    return float(special.ndtr(sure * (distance / point.scatter - z) / apart))


def mean(curve: Sequence[CurvePoint], band: Band, span: Span, confidence: float = USUAL_CONFIDENCE) -> Found:
    """Mean mu over the target range; the figure is the curve with its band, of this confidence, where worst."""
    points = wanted_points(curve, span)
    if points is None:
        why = "the curve does not reach over the target range"
        return Found(Interval(why=why), None, None, why)

    def near(point: CurvePoint) -> float:
        found = room(Interval(value=point.mu, low=point.low, high=point.high), *band, confidence=confidence)
        return -math.inf if found is None else found

    worst = min(points, key=near)
    figure = Interval(value=worst.mu, low=worst.low, high=worst.high)
    held = all(band[0] <= point.mu <= band[1] for point in points)
    why = f"mean mu at the worst wanted temperature, {worst.temperature_c:.0f} °C"
    sure = probability(figure, *band, confidence=confidence) or 0.0
    return Found(figure, sure, held, why, worst.temperature_c, near(worst))


def ends(window: Window | None, reason: str | None, span: Span) -> Found:
    """The window held against the wanted one where no band is stated; the figure is the end that is worse, in degC.

    An end that only the data limit is not shown to be short.
    """
    if window is None:
        why = reason or "there is no window"
        return Found(Interval(why=why), None, None, why)
    low = Interval(value=window.low_c, low=window.low_interval_c.low, high=window.low_interval_c.high)
    high = Interval(value=window.high_c, low=window.high_interval_c.low, high=window.high_interval_c.high)
    sure_of = window.confidence
    sides = [
        (
            low,
            probability(low, high=span[0], confidence=sure_of),
            window.low_c <= span[0],
            window.low_limited_by,
            window.low_why,
        ),
        (
            high,
            probability(high, low=span[1], confidence=sure_of),
            window.high_c >= span[1],
            window.high_limited_by,
            window.high_why,
        ),
    ]
    figure, sure, held, by, why = min(sides, key=lambda side: (side[2], 0.0 if side[1] is None else side[1]))
    if not held and by == "data":
        return Found(figure, None, None, f"the window ends where the data end: {why}")
    return Found(figure, sure, held, why)


def wanted_points(curve: Sequence[CurvePoint], span: Span) -> list[CurvePoint] | None:
    """The curve's points over the target range with the one beyond either end; None where the curve does not reach or
    has a gap there."""
    low, high = span
    below = [p for p in curve if p.temperature_c <= low + LEAST_STEP]
    above = [p for p in curve if p.temperature_c >= high - LEAST_STEP]
    if not below or not above:
        return None
    first, last = below[-1], above[0]
    if first.stretch != last.stretch:
        return None
    points = [_at(curve, low)] if first.temperature_c < low - 1e-6 else [first]
    points += [p for p in curve if low < p.temperature_c < high]
    points += [_at(curve, high)] if last.temperature_c > high + 1e-6 else [last]
    return points


def _at(curve: Sequence[CurvePoint], temperature: float) -> CurvePoint:
    """The curve between two of its points, linearly."""
    after = next(i for i, p in enumerate(curve) if p.temperature_c > temperature)
    a, b = curve[after - 1], curve[after]
    share = (temperature - a.temperature_c) / (b.temperature_c - a.temperature_c)
    names = ("mu", "low", "high", "tolerance_low", "tolerance_high", "scatter", "tolerance_factor")
    between = {name: _mix(getattr(a, name), getattr(b, name), share) for name in names}
    return a.model_copy(update={"temperature_c": temperature, **between})


def _mix(a: float, b: float, share: float) -> float:
    return a + share * (b - a) if math.isfinite(share) else a
