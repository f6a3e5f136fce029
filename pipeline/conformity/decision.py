"""Decision rules of a statement of conformity, and their risk.

A figure y with an interval is held against limits. The probability of conformity is the share of what the figure may be
that lies inside them,

    p = P(low <= Y <= high),

Y normal on either side of y, with the ends of its interval at that normal's points of the interval's own confidence (at 95 % the 2.5 and
97.5 % points): an interval that is wider above than below stays so. For intervals by Student's t this is the careful side: at few degrees of freedom their 5 % points
lie nearer to y than the normal's between the same ends.

guard_band    met where p >= 95 %, not met where p <= 5 %, else undecided: of each answer the risk of being wrong (the specific
              risk of what was judged) is at most 5 %
shared_risk   met where y is inside the limits, else not met: near a limit the risk of being wrong is up to 50 %; p is told

ISO/IEC 17025:2017, 7.8.6 asks that the rule and its risk be documented; rules and risks are those of JCGM 106:2012 (simple
acceptance and guarded acceptance; from memory).
"""

from __future__ import annotations

import math

from pipeline.archive.targets import Decision
from pipeline.constants import normal_reach
from pipeline.results.model import USUAL_CONFIDENCE, Interval
from pipeline.results.targets import Met

RISK = 0.05

WORDS: dict[Decision, str] = {
    "guard_band": "guard band: met only where the probability of conformity is at least 95 %, not met where it is at most "
    "5 %, else undecided; of each answer the risk of being wrong is at most 5 %, as far as the interval beside it holds what may be wrong "
    "(not a model used beyond its data, nor a vehicle unlike the rig)",
    "shared_risk": "shared risk: met where the best estimate lies inside the limit, else not met; near a limit the risk that "
    "an answer is wrong is up to 50 %, and the probability of conformity is told beside it",
}


def probability(
    figure: Interval, low: float | None = None, high: float | None = None, *, confidence: float = USUAL_CONFIDENCE
) -> float | None:
    """Probability that the figure, with an interval of this confidence, lies inside the limits; None without a value or an interval on
    the side that counts."""
    below = _share_below(figure, low, confidence) if low is not None else 0.0
    up_to = _share_below(figure, high, confidence) if high is not None else 1.0
    return None if below is None or up_to is None else max(0.0, up_to - below)


def room(
    figure: Interval, low: float | None = None, high: float | None = None, *, confidence: float = USUAL_CONFIDENCE
) -> float | None:
    """Standard deviations between the figure and the limit that it is nearer to, negative outside; None as `probability`.

    Orders what is surely met, where probabilities are all 1.
    """
    if figure.value is None:
        return None
    sides = [(low, figure.low, 1.0), (high, figure.high, -1.0)]
    found = []
    for limit, end, sign in sides:
        if limit is None:
            continue
        away = sign * (figure.value - limit)
        if away < 0:  # outside: the side that faces the limit is the other one
            end = figure.high if sign > 0 else figure.low
        if end is None:
            return None
        sd = abs(end - figure.value) / normal_reach(confidence)
        found.append(away / sd if sd > 0 else math.copysign(math.inf, away))
    return min(found, default=None)


def _share_below(figure: Interval, limit: float, confidence: float) -> float | None:
    """P(Y < limit) by the side of the figure on which the limit lies."""
    if figure.value is None:
        return None
    end = figure.low if limit < figure.value else figure.high
    if end is None:
        return None
    sd = abs(end - figure.value) / normal_reach(confidence)
    if sd == 0:
        return float(limit > figure.value)
    return 0.5 * (1 + math.erf((limit - figure.value) / sd / math.sqrt(2)))


def inside(figure: Interval, low: float | None, high: float | None) -> bool | None:
    """Whether the best estimate lies inside the limits; None without one."""
    if figure.value is None:
        return None
    return (low is None or figure.value >= low) and (high is None or figure.value <= high)


def decided(rule: Decision, held: bool | None, conformity: float | None) -> Met:
    """The answer; `held`: whether the best estimate lies inside, `conformity`: the probability that the figure does."""
    if rule == "shared_risk":
        return "undecided" if held is None else "met" if held else "not met"
    if conformity is None:
        return "undecided"
    if conformity >= 1 - RISK:
        return "met"
    return "not met" if conformity <= RISK else "undecided"
