"""A seeded part of the stage's studies; that they can fail is heavy."""

import numpy as np
import pytest

from tests.studies import conditioning, mu_coverage


def test_mu_u_covers_the_truth_and_is_not_wide():
    """Forty of the study's stops, ten draws: a coverage of 95 % or a ratio of 1 lie well inside these."""
    found = mu_coverage.figures(mu_coverage.study(0.08, 7, ("gain and zero",)))
    assert found.stops == 40
    assert found.coverage >= 0.75
    assert 0.5 < found.ratio < 1.6


@pytest.mark.heavy
def test_a_sensor_that_errs_only_under_load_is_told_by_the_study_too():
    """The study can fail: errors that a rest reading does not show are not covered at low pressure."""
    rows = [r for r in mu_coverage.study(0.08, 7, ("level",)) if r.pressure == 8.0]
    assert mu_coverage.figures(rows).ratio < 0.6


def test_conditioning_brings_the_hard_case_within_reach():
    found = conditioning.study(0.1, 3)
    assert found
    for kind, by_way in found.items():
        assert np.abs(by_way["default method"]).max() < 0.004, kind
        assert np.abs(by_way["both left in"]).max() > 2 * np.abs(by_way["default method"]).max(), kind
