"""Splines, likelihood and tolerance factors as numerical cores."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.friction import posterior, smooth, tolerance
from pipeline.friction.freedom import half_width
from pipeline.friction.likelihood import penalised
from pipeline.friction.map import fit_map
from pipeline.method.friction import Friction
from tests.friction.makers import Law, compound

FEW = settings(deadline=None, max_examples=40)


@FEW
@given(st.integers(6, 40), st.floats(250, 400), st.floats(30, 900), st.lists(st.floats(0, 1), min_size=1, max_size=20))
def test_splines_add_up_to_one_and_keep_straight_lines(segments: int, low: float, span: float, at: list[float]) -> None:
    x = low + span * np.array(at)
    basis = smooth.bspline_basis(x, low, low + span, segments)
    knots = low + span / segments * np.arange(-1, segments + 2)
    assert basis.sum(axis=1) == pytest.approx(np.ones(x.size), abs=1e-12)
    assert basis @ knots == pytest.approx(x, rel=1e-9)


def test_end_values_are_held_outside_the_range() -> None:
    ends = smooth.bspline_basis(np.array([200.0, 300.0, 800.0, 900.0]), 300, 800, 20)
    assert (ends[0] == ends[1]).all() and (ends[3] == ends[2]).all()
    assert ends[1, :4] == pytest.approx([1 / 6, 4 / 6, 1 / 6, 0])
    assert ends[2, -4:] == pytest.approx([0, 1 / 6, 4 / 6, 1 / 6])


def test_spline_slope_is_its_derivative() -> None:
    x, h = np.linspace(310, 790, 50), 1e-4
    up, down = (smooth.bspline_basis(x + way * h, 300, 800, 20) for way in (1, -1))
    slope = smooth.bspline_basis(x, 300, 800, 20, slope=True)
    assert np.allclose((up - down) / (2 * h), slope, atol=1e-6)


def test_bends_are_second_differences() -> None:
    segments = 12
    differences = np.diff(np.eye(segments + 3), n=2, axis=0)
    assert np.allclose(differences @ smooth.bends(segments), np.eye(segments + 1), atol=1e-10)


def test_likelihood_gradient() -> None:
    """The gradient in closed form against differences, every kind of variance at once."""
    rng = np.random.default_rng(2)
    stops = compound(Law(), rng, batches=2, specimens=2, batch_sd=0.02)
    data = fit_map(stops, Friction()).fit.data
    theta = rng.normal(0, 0.4, 5 + 3 + 2 + 2)
    theta[9] = 0.3
    gradient = penalised(data, theta)[1]
    step = 1e-5
    for k in range(theta.size):
        move = step * np.eye(theta.size)[k]
        slope = (penalised(data, theta + move)[0] - penalised(data, theta - move)[0]) / (2 * step)
        assert gradient[k] == pytest.approx(slope, rel=1e-4, abs=1e-4), k


@FEW
@given(st.floats(0.5, 0.99), st.floats(0.5, 0.99), st.floats(2, 200), st.floats(0, 2))
def test_tolerance_factor_grows_with_what_is_not_known(
    coverage: float, confidence: float, dof: float, ratio: float
) -> None:
    k = float(tolerance.two_sided(coverage, confidence, dof, ratio))
    assert np.isfinite(k) and k > 0
    assert float(tolerance.two_sided(coverage, confidence, dof, ratio + 0.1)) > k
    assert float(tolerance.two_sided(min(coverage + 0.005, 0.995), confidence, dof, ratio)) > k


def test_tolerance_factor_with_all_known_is_the_normal_quantile() -> None:
    assert float(tolerance.two_sided(0.9, 0.95, 1e7, 0.0)) == pytest.approx(1.6449, abs=2e-3)


def test_tolerance_factor_beyond_the_search_is_wide_and_no_hole() -> None:
    found = tolerance.two_sided(0.9, 0.95, np.array([1.0, 8.0]), np.array([1e14, 0.25]))
    assert np.isfinite(found[0]) and found[0] >= np.exp(12) * (1 - 1e-9)
    assert found[1] == float(tolerance.two_sided(0.9, 0.95, 8, 0.25))  # each alone, whatever stands beside it


def test_tolerance_factor_by_simulation() -> None:
    """Mean known to half the scatter, scatter from 8 degrees of freedom: the band holds 90 % in 95 % of
    20000 trials.
    """
    from scipy import special

    rng = np.random.default_rng(5)
    k = float(tolerance.two_sided(0.9, 0.95, 8, 0.25))
    off, sd = rng.normal(0, 0.5, 20000), np.sqrt(rng.chisquare(8, 20000) / 8)
    held = special.ndtr(off + k * sd) - special.ndtr(off - k * sd)
    assert (held >= 0.9).mean() == pytest.approx(0.95, abs=0.006)


def test_half_width_is_students_where_enough_is_known() -> None:
    dof = np.array([10.0, 30.0, 1000.0])
    assert half_width(dof, 0.95) == pytest.approx([2.2281, 2.0423, 1.9623], rel=0.011)
    few = half_width(np.array([1.0, 2.0, 3.0]), 0.95)
    assert (np.diff(few) < 0).all() and few[-1] > half_width(dof, 0.95)[0]


def test_normal_points_fill_the_quantiles_evenly() -> None:
    from scipy import special

    points = special.ndtr(posterior.normal_points(200, 3))
    assert ((points > 0) & (points < 1)).all()
    assert points.mean(axis=0) == pytest.approx([0.5] * 3, abs=0.02)
    assert len(np.unique(points, axis=0)) == 200


def test_normal_points_are_those_of_the_radical_inverses() -> None:
    """Halton 1960: the digits of 1, 2, 3, ... in bases 2 and 3, mirrored at the point."""
    from scipy import special

    expected = [(1 / 2, 1 / 3), (1 / 4, 2 / 3), (3 / 4, 1 / 9), (1 / 8, 4 / 9)]
    assert special.ndtr(posterior.normal_points(4, 2)) == pytest.approx(np.array(expected), abs=1e-12)


@pytest.mark.skipif(np.lib.NumpyVersion(np.__version__) < "2.0.0", reason="numpy weighs no quantiles before 2.0")
def test_weighted_quantile_is_numpys() -> None:
    rng = np.random.default_rng(1)
    values, weight = rng.normal(size=(200, 3)), rng.uniform(size=200)
    weight /= weight.sum()
    for share in (0.025, 0.5, 0.95):
        theirs = np.quantile(values, share, axis=0, weights=weight, method="inverted_cdf")
        assert posterior.weighted_quantile(values, weight, share).tolist() == theirs.tolist()


def test_weighted_quantile() -> None:
    values = np.array([[3.0, 30.0], [1.0, 10.0], [2.0, 20.0]])
    assert posterior.weighted_quantile(values, np.array([0.2, 0.7, 0.1]), 0.5).tolist() == [1.0, 10.0]
    assert posterior.weighted_quantile(values, np.array([0.2, 0.7, 0.1]), 0.95).tolist() == [3.0, 30.0]
