"""Figures of two compounds' files held against each other: window ends, plateau, wear laws, fade, life on common duties.

From two figures with intervals of one confidence the difference (of logarithms: the ratio) has their standard uncertainties in quadrature;
each side's own is taken from the half-width on the side towards the other figure. With a margin the two one-sided tests decide as
for batches; without one `different` means that the 95 % interval excludes none, and nothing is ever `equivalent`.
"""

from __future__ import annotations

import math

from pipeline.batches import equivalence
from pipeline.batches.equivalence import Estimate
from pipeline.constants import normal_reach
from pipeline.results.batches import Verdict
from pipeline.results.comparison import Compared
from pipeline.results.model import USUAL_CONFIDENCE, Interval

NO_MARGIN = "no margin is stated for it, so it can be different and never equivalent"


def compared(
    question: str,
    a: Interval,
    b: Interval,
    *,
    unit: str = "",
    ratio: bool = False,
    margin: tuple[float, float] | None = None,
    conditions: str = "",
    refused: str | None = None,
    confidence: float = USUAL_CONFIDENCE,
) -> Compared:
    """The row of a question; `margin` in the figure's own terms, `refused` says why no answer may be given, `confidence` is that of the
    figures' intervals."""
    estimate = _estimate(a, b, ratio, normal_reach(confidence))
    show = math.exp if ratio else float
    figure, verdict, why = (
        Interval(why="a figure or its interval is missing"),
        "undecided",
        "a figure or its interval is missing",
    )
    if estimate is not None:
        low, high = equivalence.interval(estimate)
        figure = Interval(value=show(estimate.value), low=show(low), high=show(high))
        verdict, why = _verdict(estimate, margin, ratio, (low, high))
    else:
        why = a.why or b.why or why
    if refused is not None:
        verdict, why = "undecided", refused
    return Compared(
        question=question, unit=unit, a=a, b=b, kind="ratio" if ratio else "difference", figure=figure,
        margin=None if margin is None else list(margin), verdict=verdict, conditions=conditions, why=why,
    )  # fmt: skip


def _verdict(
    estimate: Estimate, margin: tuple[float, float] | None, ratio: bool, ends: tuple[float, float]
) -> tuple[Verdict, str]:
    apart = not ends[0] <= 0 <= ends[1]
    if margin is None:
        if apart:
            return "different", f"the 95 % interval excludes {'one' if ratio else 'zero'}; {NO_MARGIN}"
        return (
            "undecided",
            f"the 95 % interval holds {'one' if ratio else 'zero'}; {NO_MARGIN}; a margin or more specimens would decide it",
        )
    inside = (math.log(margin[0]), math.log(margin[1])) if ratio else margin
    found = equivalence.verdict(estimate, *inside, equivalence.p_difference(estimate))
    if found == "undecided":
        shown = (
            "a difference is shown, yet the estimate is not beyond the margin" if apart else "no difference is shown"
        )
        return found, f"the interval reaches beyond the margin; {shown}; more specimens would decide it"
    return found, "by both figures' intervals"


def _estimate(a: Interval, b: Interval, ratio: bool, reach: float) -> Estimate | None:
    if a.value is None or b.value is None or (ratio and (a.value <= 0 or b.value <= 0)):
        return None
    above = a.value > b.value
    sds = (_sd(a, above, ratio, reach), _sd(b, not above, ratio, reach))
    if sds[0] is None or sds[1] is None:
        return None
    value = math.log(a.value / b.value) if ratio else a.value - b.value
    return Estimate(value, math.hypot(sds[0], sds[1]), math.inf)


def _sd(figure: Interval, towards_low: bool, ratio: bool, reach: float) -> float | None:
    """Standard uncertainty by the end of the interval towards the other figure, the wider end where that is missing."""
    end = figure.low if towards_low else figure.high
    if end is None or figure.value is None or (ratio and end <= 0):
        return None
    apart = math.log(end / figure.value) if ratio else end - figure.value
    return abs(apart) / reach
