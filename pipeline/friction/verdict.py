"""Does friction hold over the target range? Three answers, with the temperatures behind them.

yes: at every wanted temperature the tolerance band lies inside the target band of mu. no: at some temperature
fewer single stops than the coverage lie inside, shown with the confidence (their share is below it in nearly
all curves drawn). not shown: anything between, or no data there.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from scipy import special

from pipeline.friction.bands import Curve
from pipeline.friction.posterior import Curves, weighted_quantile
from pipeline.results.friction_map import Holds, Stretch

ZERO_C = 273.15
HOLDS, FAILS, OPEN, NO_DATA = "yes", "no", "not shown", "no data"


def share_inside(drawn: Curves, link: str, wanted: tuple[float, float]) -> np.ndarray:
    """Share of single stops inside the target band for every drawn curve and grid temperature."""
    low, high = (np.log(w) for w in wanted) if link == "log" else wanted
    sd = np.sqrt(drawn.variance)
    return special.ndtr((high - drawn.z) / sd) - special.ndtr((low - drawn.z) / sd)


def by_temperature(
    curve: Curve, drawn: Curves, link: str, wanted: tuple[float, float], *, coverage: float, confidence: float
) -> np.ndarray:
    """Answer at every grid temperature: yes, no or not shown."""
    inside = (curve.tolerance_low >= wanted[0]) & (curve.tolerance_high <= wanted[1])
    most = weighted_quantile(share_inside(drawn, link, wanted), drawn.weight, confidence)
    return np.where(inside, HOLDS, np.where(most < coverage, FAILS, OPEN))


def over_window(
    curve: Curve, answers: np.ndarray, wanted_mu: tuple[float, float], between: tuple[float, float]
) -> Holds:
    """The answer over the wanted temperatures (K) with the ranges (degC) that fail, are not shown or have
    no data.
    """
    ranges = pieces(curve, answers, between)
    failing = [describe(curve, r, wanted_mu) for r in ranges if r[2] == FAILS]
    open_ = [describe(curve, r, wanted_mu) for r in ranges if r[2] in (OPEN, NO_DATA)]
    answer = FAILS if failing else OPEN if open_ else HOLDS
    texts = [r.what for r in (failing or open_)]
    return Holds(
        answer=answer,
        from_c=between[0] - ZERO_C,
        to_c=between[1] - ZERO_C,
        fails=failing,
        not_shown=open_,
        why="; ".join(texts) or "the tolerance band lies inside the target band at every wanted temperature",
    )


def pieces(curve: Curve, answers: np.ndarray, between: tuple[float, float]) -> list[tuple[float, float, str]]:
    """Wanted temperatures cut into ranges of one answer; between grid points the more careful neighbour
    counts.
    """
    low, high = between
    rank = {HOLDS: 0, OPEN: 1, FAILS: 2}
    found: list[tuple[float, float, str]] = []

    def add(a: float, b: float, answer: str) -> None:
        a, b = max(a, low), min(b, high)
        if b - a <= 1e-6:
            return
        if found and found[-1][2] == answer and abs(found[-1][1] - a) < 1e-6:
            found[-1] = (found[-1][0], b, answer)
        else:
            found.append((a, b, answer))

    at = low
    for k in np.unique(curve.stretch):
        rows = np.flatnonzero(curve.stretch == k)
        t = curve.temperature[rows]
        add(at, float(t[0]), NO_DATA)
        for i, j in pairwise(rows):
            answer = max(answers[i], answers[j], key=lambda a: rank[str(a)])
            add(float(curve.temperature[i]), float(curve.temperature[j]), str(answer))
        at = max(at, float(t[-1]))
    add(at, high, NO_DATA)
    return found


def describe(curve: Curve, piece: tuple[float, float, str], wanted: tuple[float, float]) -> Stretch:
    low, high, answer = piece
    span = f"{low - ZERO_C:.0f} to {high - ZERO_C:.0f} C"
    if answer == NO_DATA:
        return Stretch(from_c=low - ZERO_C, to_c=high - ZERO_C, what=f"no data from {span}")
    rows = (curve.temperature >= low - 1e-6) & (curve.temperature <= high + 1e-6)
    lowest, highest = float(curve.tolerance_low[rows].min()), float(curve.tolerance_high[rows].max())
    sides = []
    if lowest < wanted[0]:
        sides.append(f"the tolerance band reaches down to {lowest:.3f} (wanted from {wanted[0]:.3g})")
    if highest > wanted[1]:
        sides.append(f"the tolerance band reaches up to {highest:.3f} (wanted to {wanted[1]:.3g})")
    word = "fails" if answer == FAILS else "is not shown to hold"
    return Stretch(from_c=low - ZERO_C, to_c=high - ZERO_C, what=f"{word} from {span}: {' and '.join(sides)}")
