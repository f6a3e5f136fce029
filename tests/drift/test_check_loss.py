"""What checks take off a film is told from how they come back after gentle use."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.drift.check_loss import After, left_over, share_a_check
from pipeline.results.drift import Scatter

SCATTER = Scatter(sigma=0.01, rho=0.25, u_rho=0.08, block_sigma=0.0015, exposed=1.0, dof=100.0)


def uses(k: float, rng: np.random.Generator, count: int = 12, checks: int = 8) -> list[After]:
    """Uses that cost 2 to 15 %, each check after them taking a share k of the film, with scatter alike in neighbours."""
    found = []
    for lost in rng.uniform(0.02, 0.15, count):
        noise = np.zeros(checks)
        x = rng.normal(size=checks)
        for j in range(checks):
            noise[j] = x[j] if j == 0 else 0.25 * noise[j - 1] + np.sqrt(1 - 0.25**2) * x[j]
        residual = -lost * np.exp(-k * (np.arange(checks) + 0.5)) + 0.01 * noise
        found.append(After(-float(residual.mean()), residual))
    return found


def test_the_share_that_a_check_takes_is_found_and_its_uncertainty_is_honest():
    rng = np.random.default_rng(4)
    found = np.array([share_a_check(uses(0.08, rng), SCATTER) for _ in range(200)])
    assert found[:, 0].mean() == pytest.approx(0.08, abs=0.008)
    assert found[:, 0].std() == pytest.approx(found[:, 1].mean(), rel=0.2)


def test_the_mean_of_checks_that_clear_shows_less_than_was_lost():
    loss, (share, u) = 0.05, left_over(8, (0.08, 0.01))
    shown = loss * np.exp(-0.08 * (np.arange(8) + 0.5)).mean()
    assert loss * share == pytest.approx(shown) and 0 < u < 0.05
    assert left_over(8, (0.0, 0.0)) == (1.0, 0.0) and left_over(0, (0.1, 0.01)) == (1.0, 0.0)


def test_checks_that_add_to_a_film_or_of_which_nothing_is_known_take_nothing_off():
    assert share_a_check([After(0.05, np.linspace(0.0, -0.05, 8))], SCATTER)[0] == 0.0
    assert share_a_check([After(0.05, np.zeros(2))], SCATTER) == share_a_check([], SCATTER) == (0.0, 0.0)
    assert share_a_check([After(0.05, np.zeros(8))], None) == (0.0, 0.0)
