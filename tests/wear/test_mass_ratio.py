"""The ratio of mass to thickness over several tests: its interval holds the mean as often as it says, and narrows with tests."""

import numpy as np
import pytest
from scipy import special

from pipeline.results.model import Interval
from pipeline.wear.mass_ratio import mean_ratio


def told(values: np.ndarray, u: float) -> list[Interval]:
    return [Interval(value=v, low=v * np.exp(-1.96 * u), high=v * np.exp(1.96 * u)) for v in values.tolist()]


@pytest.mark.parametrize("between", [0.0, 0.02])
def test_the_interval_holds_the_mean(between: float) -> None:
    rng = np.random.default_rng(3)
    u, held = 0.02, []
    for _ in range(400):
        values = np.exp(np.log(1.05) + between * rng.normal(size=7) + u * rng.normal(size=7))
        found = mean_ratio(told(values, u), 0.95)
        held.append(found.low <= 1.05 <= found.high)
    assert 0.92 <= np.mean(held) <= 0.99


@pytest.mark.parametrize("confidence", [0.68, 0.9, 0.99])
def test_the_readings_own_uncertainty_is_the_same_at_any_confidence(confidence: float) -> None:
    """What a test's interval is wide by its confidence is no uncertainty of its readings."""
    values, u, reach = np.full(4, 1.05), 0.02, special.ndtri((1 + confidence) / 2)
    ratios = [Interval(value=v, low=v * np.exp(-reach * u), high=v * np.exp(reach * u)) for v in values.tolist()]
    found = mean_ratio(ratios, confidence)
    assert np.log(found.high / found.low) / 2 == pytest.approx(reach * u / 2)


def test_more_tests_narrow_it_and_one_is_itself() -> None:
    few, many = (mean_ratio(told(np.full(n, 1.05), 0.02), 0.95) for n in (2, 8))
    assert many.high - many.low == pytest.approx((few.high - few.low) / 2, rel=0.01)
    (one,) = told(np.array([1.1]), 0.03)
    assert mean_ratio([one], 0.95) == one
    assert mean_ratio([], 0.95) is None and mean_ratio([Interval(why="not read")], 0.95) is None
