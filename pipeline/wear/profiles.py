"""Intervals of a law's parameters read off profiles: chi2 minimised over all other parameters, instead of the
curvature at the minimum. They are honest where a parameter is loose, one-sided or at a bound, and open where the data
do not close them.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from pipeline.wear.chi2 import Problem, Surface, surface


def profile_interval(
    problem: Problem, fine: Surface, best: np.ndarray, index: int, limit: float
) -> tuple[float, float]:
    """Where parameter `index` lets chi2 rise to the limit, from its best value down and up; NaN where it does not
    (open).
    """
    law = problem.law
    profile: Callable[[float], float]
    if law.shape and index == len(law.rates):
        if law.name == "two_regime":
            return _transition_interval(problem, fine, limit)
        profile = lambda v: float(surface(problem, np.array([v])).chi2[0])  # noqa: E731
        return (
            _crossing(profile, best[index], law.limits[0], limit),
            _crossing(profile, best[index], law.limits[1], limit),
        )
    profile = lambda v: _rate_profile(problem, fine, index, v)  # noqa: E731
    low = 0.0 if profile(0.0) <= limit else _crossing(profile, best[index], 0.0, limit)
    size = max(best[index], _rate_size(fine, index))
    return low, _crossing(profile, best[index], best[index] + 1000 * size, limit, size)


def _transition_interval(problem: Problem, fine: Surface, limit: float) -> tuple[float, float]:
    """From the last stop surely in the cold regime to the first surely in the hot one: in between nothing was
    braked.
    """
    inside = fine.shapes[fine.chi2 <= limit]
    known = problem.intervals.stops.temperature_c
    known = known[np.isfinite(known)]
    low = known[known < inside.min()].max() if inside.min() > fine.shapes[0] else np.nan
    high = known[known > inside.max()].min() if inside.max() < fine.shapes[-1] else np.nan
    return float(low), float(high)


def _rate_size(fine: Surface, index: int) -> float:
    """Size of a rate whose term alone would move chi2 by one, at the best shape."""
    column = fine.columns[fine.chi2.argmin(), :, index]
    return 1.0 / max(float(np.sqrt(column @ column)), 1e-300)


def _rate_profile(problem: Problem, fine: Surface, index: int, value: float) -> float:
    """Lowest chi2 over shapes and the other rate with rate `index` held at value; infinite where a rate is beyond numbers."""
    rest = problem.target - fine.columns[:, :, index] * value
    with np.errstate(over="ignore"):  # infinite is beyond every limit, as it should be
        squared = (rest**2).sum(axis=1)
    if fine.columns.shape[2] == 1:
        return float(squared.min())
    other = fine.columns[:, :, 1 - index]
    side = (other * rest).sum(axis=1)
    with np.errstate(over="ignore", invalid="ignore"):
        gain = np.maximum(side, 0) ** 2 / np.maximum((other**2).sum(axis=1), 1e-300)
        return float(np.where(np.isinf(squared), np.inf, squared - gain).min())


def _crossing(
    profile: Callable[[float], float], start: float, end: float, limit: float, size: float | None = None
) -> float:
    """Where the profile passes the limit on the way from start to end; NaN where it does not (open)."""
    from scipy import optimize

    inside, step = start, (size or abs(end - start) / 40) * np.sign(end - start)
    while abs(inside - start) < abs(end - start) * (1 - 1e-12):
        outside = inside + step
        if abs(outside - start) >= abs(end - start):
            outside = end
        if profile(outside) > limit:
            return float(
                optimize.brentq(lambda v: profile(v) - limit, inside, outside, xtol=1e-9 * abs(outside) + 1e-15)
            )
        inside, step = outside, step * (1.6 if size else 1.0)
    return float("nan")
