"""What speaks for and against each cause of a change: every item a number with its interval and threshold, in words.

`answer` is "steady", "moved", "unclear" (the interval covers both) or "missing" for a channel; "yes", "no", "unclear"
or "untested" for a question. The half of the loss is the usual threshold: a cause that explains less than half of it
is not the cause.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array
from pipeline.drift.change import Change, channel_levels
from pipeline.drift.contrast import Difference
from pipeline.drift.matching import finite_median
from pipeline.drift.monitoring import Watch
from pipeline.drift.series import Series
from pipeline.drift.trend import monotone_trend
from pipeline.method.drift import Drift
from pipeline.results.drift import Answer, Item, Trend

GROWN = 2.0  # ln likelihood by which growth with low-energy use must beat a step


def _missing(words: str, unit: str = "1") -> Item:
    return Item(answer="missing", unit=unit, words=words)


def _changed(answer: Answer, d: Difference, threshold: float, words: str) -> Item:
    """A channel that changed by a share, held against a change of its logarithm."""
    value, low, high = d.share()
    return Item(answer=answer, value=value, low=low, high=high, threshold=threshold, unit="share", words=words)


def _steady(d: Difference, threshold: float) -> Answer:
    """Steady: the interval lies inside +-threshold; moved: it lies beyond; else unclear."""
    if d.low > -threshold and d.high < threshold:
        return "steady"
    if (d.low > 0 or d.high < 0) and abs(d.value) >= threshold:
        return "moved"
    return "unclear"


def torque_chain(s: Series, index: NDArray[np.int64], phase: NDArray[np.str_], loss: float, settings: Drift) -> Item:
    """Energy ratio in the fallen phase against before: it moves with the torque chain, not with the material."""
    d = _difference(s, index, s.ratio, phase, settings, 0.001)
    if d is None:
        return _missing("the energy ratio is missing, so a drift of the torque chain cannot be excluded")
    threshold = max(0.5 * abs(np.log1p(-loss)), settings.torque_change / 2)
    answer = _steady(d, threshold)
    value, low, high = d.share()
    said = {
        "steady": "steady, so the torque chain is not the cause",
        "moved": "moved, so the torque chain is a cause",
        "unclear": "not known well enough to clear the torque chain",
    }[answer]
    words = (
        f"energy ratio changed by {_pct(value)} ({_pct(low)} to {_pct(high)}) against {_pct(-loss)} in friction: {said}"
    )
    return _changed(answer, d, threshold, words)


def pressure_level(s: Series, index: NDArray[np.int64], phase: NDArray[np.str_], loss: float, settings: Drift) -> Item:
    """Recorded pressure over the wanted: it leaves the schedule where the recorder alone drifts."""
    d = _difference(s, index, s.level, phase, settings, 0.001)
    if d is None:
        return _missing("the schedule wants no pressure to compare the recorded one with", "share")
    threshold = 0.5 * abs(np.log1p(-loss))
    answer = _steady(d, threshold)
    if answer == "moved" and np.sign(d.value) == -np.sign(loss):
        answer = "unclear"  # the pressure went the way that would raise friction
    value, low, high = d.share()
    said = {
        "steady": "steady",
        "moved": "moved, so the recorded pressure left the schedule's and is the cause",
        "unclear": "not clear enough to exclude the recorder",
    }[answer]
    words = f"pressure against the schedule's changed by {_pct(value)} ({_pct(low)} to {_pct(high)}): {said}"
    return _changed(answer, d, threshold, words)


def second_pressure(s: Series, index: NDArray[np.int64], phase: NDArray[np.str_], loss: float, settings: Drift) -> Item:
    """First over second pressure sensor."""
    d = _difference(s, index, s.second, phase, settings, 0.001)
    if d is None:
        return _missing("no second pressure sensor", "share")
    threshold = 0.5 * abs(np.log1p(-loss))
    answer = _steady(d, threshold)
    value, low, high = d.share()
    said = {"steady": "they agree", "moved": "they part, so a pressure sensor is the cause", "unclear": "not clear"}[
        answer
    ]
    words = f"first pressure sensor over second changed by {_pct(value)} ({_pct(low)} to {_pct(high)}): {said}"
    return _changed(answer, d, threshold, words)


def rest_pressure(s: Series, index: NDArray[np.int64], phase: NDArray[np.str_], loss: float, settings: Drift) -> Item:
    """Pressure at rest in the fallen phase against before, and the share of friction that an offset of it makes."""
    d = _difference(s, index, s.rest, phase, settings, 0.005)
    if d is None:
        return _missing("no pressure at rest was recorded", "bar")
    at = float(finite_median(s.pressure[index]))
    threshold = max(settings.rest_pressure_change / 1e5, 0.25 * abs(loss) * at)
    answer = _steady(d, threshold)
    said = {
        "steady": "steady",
        "moved": "moved, so the pressure sensor is a cause",
        "unclear": "not known well enough to clear the pressure sensor",
    }[answer]
    words = (
        f"pressure at rest changed by {d.value:+.2f} bar ({d.low:+.2f} to {d.high:+.2f}), which is"
        f" {_pct(d.value / at)} of the checks' pressure: {said}"
    )
    return Item(answer=answer, value=d.value, low=d.low, high=d.high, threshold=threshold, unit="bar", words=words)


def _difference(
    s: Series, index: NDArray[np.int64], values: Array, phase: NDArray[np.str_], settings: Drift, floor: float
) -> Difference | None:
    levels = channel_levels(s, index, values, phase, floor, floor)
    return None if levels is None else levels.difference("fallen", "before", settings.confidence)


def pressure_pattern(s: Series, w: Watch, change: Change) -> Item:
    """Size of the loss in gentle use over that in the checks, against the ratio that a pressure offset would make.

    An offset of the pressure weighs as 1/p; glaze and gains take the same share at all pressures, though cold stops can
    feel a glaze more. It supports, it does not decide.
    """
    checks, use = change.onset.size_checks, change.onset.size_use
    if not (checks and use) or not len(w.use):
        return _missing("the loss was not seen at two pressures")
    offset = finite_median(s.pressure[w.deciding]) / finite_median(s.pressure[w.use])
    ratio = use / checks
    answer: Answer = "unclear" if abs(ratio - offset) < abs(ratio - 1) else "steady"
    words = (
        f"the loss in use at {finite_median(s.pressure[w.use]):.0f} bar was {ratio:.1f} times that at the checks at"
        f" {finite_median(s.pressure[w.deciding]):.0f} bar; an offset of the pressure would make it {offset:.1f} times,"
        " glaze about the same"
    )
    return Item(answer=answer, value=ratio, threshold=offset, words=words)


def in_stop_rise(s: Series, index: NDArray[np.int64], phase: NDArray[np.str_], settings: Drift) -> Item:
    """Change of the in-stop rise (mu_end over mu_start) at the checks: supporting only, it can go either way with
    glaze.
    """
    d = _difference(s, index, s.rise, phase, settings, 0.001)
    if d is None:
        return _missing("no in-stop rise")
    value, low, high = d.share()
    words = f"in-stop rise changed by {_pct(value)} ({_pct(low)} to {_pct(high)}); supporting evidence only"
    return _changed(_steady(d, 0.02), d, 0.02, words)


def trend(s: Series, index: NDArray[np.int64], settings: Drift) -> Trend:
    """Theil-Sen slope of the watched stops of the largest group (of ln mu per 100 stops, a share) with the Mann-Kendall p.

    The variance allows for autocorrelation; a test with fall and recovery has no single trend, which the slope hides.
    """
    group = s.group[index]
    own = index[group == np.bincount(group).argmax()]
    if len(own) < 6:
        return Trend(why="too few stops in one group")
    own = own[:: max(1, -(-len(own) // 300))]
    found = monotone_trend(s.ln_mu[own], s.stop[own], confidence=settings.confidence, correlated=True)
    return Trend(
        share_per_100_stops=100 * found.slope,
        low=100 * found.low,
        high=100 * found.high,
        p=found.p,
        variance_factor=found.variance_factor,
    )


class Exposure(NamedTuple):
    """Low-energy stops between two stops: how many, their power density and initial temperature (5 and 95 %)."""

    stops: int
    power: tuple[float, float] | None
    temperature: tuple[float, float] | None


def low_energy_use(s: Series, start: int, end: int) -> Exposure:
    """Low-energy stops from stop number `start` to before `end`."""
    own = (s.low > 0) & (s.stop >= start) & (s.stop < end)
    if not own.any():
        return Exposure(0, None, None)
    return Exposure(int(own.sum()), _range(s.power[own]), _range(s.temperature[own]))


def _range(values: Array) -> tuple[float, float] | None:
    values = values[np.isfinite(values)]
    if not len(values):
        return None
    return float(np.quantile(values, 0.05)), float(np.quantile(values, 0.95))


def exposure_item(use: Exposure, settings: Drift) -> Item:
    """Whether there was low-energy use enough to lay the fall to."""
    answer: Answer = "yes" if use.stops >= settings.least_exposure else "no"
    where = ""
    if use.power:
        where = f" at {use.power[0]:.2g} to {use.power[1]:.2g} W/mm2 of pad"
    if use.temperature:
        where += f", starting at {use.temperature[0]:.0f} to {use.temperature[1]:.0f} °C"
    words = f"{use.stops} low-energy stops lie between the onset and the last check before recovery{where}"
    return Item(answer=answer, value=use.stops, threshold=settings.least_exposure, unit="stops", words=words)


def growth_item(change: Change, exposed: bool) -> Item:
    """Log likelihood of a loss that grows with low-energy use over a step and over a loss that grows with any stop."""
    gain, unit = change.onset.gain, "ln likelihood"
    if not exposed or "glaze" not in gain:
        words = "no low-energy use for the loss to grow with"
        return Item(answer="untested", threshold=GROWN, unit=unit, words=words)
    over_step = gain["glaze"] - gain.get("step", 0.0)
    over_time = change.onset.top["glaze"] - change.onset.top.get("ramp", 0.0)
    answer: Answer
    if over_step >= GROWN and over_time >= -1.0:
        answer, said = "yes", "it grew with low-energy use"
    elif over_step <= -GROWN:
        answer, said = "no", "it came as a step"
    elif over_time <= -1.0:
        answer, said = "no", "it grew with every stop, whatever its energy"
    else:
        answer, said = "unclear", "a step and growth with low-energy use cannot be separated"
    words = (
        f"growth with low-energy use against a step: {over_step:+.1f}, against growth with any stop:"
        f" {over_time:+.1f} in ln likelihood; {said}"
    )
    return Item(answer=answer, value=over_step, threshold=GROWN, unit=unit, words=words)


def _pct(share: float) -> str:
    return f"{100 * share:+.1f} %"
