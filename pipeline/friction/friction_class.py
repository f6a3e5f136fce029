"""The class of a mean friction coefficient by the bounds in common use for brake linings (the ranges of SAE
J866, 2019).

Only the ranges are taken from there. The code of that standard comes from its own drag machine and procedure,
not from an inertia dynamometer, so a class given here is never that code.
"""

from __future__ import annotations

import bisect

from pipeline.results.friction_map import FrictionClass

BOUNDS = (0.15, 0.25, 0.35, 0.45, 0.55)
LETTERS = "CDEFGH"


def friction_class(mu: float) -> FrictionClass:
    """Letter and range (over, up to and including) of an unrounded mean mu; None for an open end."""
    k = bisect.bisect_left(BOUNDS, mu)
    over, to = BOUNDS[k - 1] if k else None, BOUNDS[k] if k < len(BOUNDS) else None
    return FrictionClass(letter=LETTERS[k], over=over, to=to)
