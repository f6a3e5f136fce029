"""What a law gets wrong at a kind of use: its size told from the kinds' residuals, and what it does to a parameter's interval."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.wear.between_specimens import with_scatter
from pipeline.wear.chi2 import Problem
from pipeline.wear.inference import infer
from pipeline.wear.kinds import Kinds, departure
from pipeline.wear.laws import LAWS, design
from pipeline.wear.misfit import quantile
from pipeline.wear.selection import with_model_u
from tests.wear import makers, warm_world

TRUTH = {"a": 7.0, "B": 0.03, "Ea": 150.0}
SPECIMENS = 5


def readings(rng: np.random.Generator, tau: float, noise_um: float = 0.8) -> tuple[Problem, Kinds, np.ndarray]:
    """Five specimens of 4 % scatter in one program, the law off by tau at each kind of use, alike in all of them."""
    made = warm_world.world()
    loss = makers.true_loss("oxidation", TRUTH, made)
    _, groups = makers.measured(loss, made, rng, noise_um=noise_um)
    own = groups @ loss
    off = 1 + tau * rng.normal(size=len(own))
    k = len(own)
    y = np.concatenate([own * off * f for f in 1 + 0.04 * rng.normal(size=SPECIMENS)]) + noise_um * rng.normal(
        size=k * SPECIMENS
    )
    kinds, specimens = Kinds(np.tile(np.arange(k), SPECIMENS)), np.repeat(np.arange(SPECIMENS), k)
    intervals = design(made.stops, np.tile(groups, (SPECIMENS, 1)))
    problem = Problem(
        LAWS["oxidation"], intervals, makers.CONSTANTS, y, noise_um**2 * np.eye(len(y)), 300.0, between_dof=8.0
    )
    return problem, kinds, specimens


def fitted(rng: np.random.Generator, tau: float, held: float) -> tuple[Problem, Kinds]:
    bare, kinds, specimens = readings(rng, tau)
    return with_scatter(with_model_u(bare, held, kinds), specimens, 0.08), kinds


def test_kinds_are_sets_of_blocks():
    kinds = Kinds.named([["a", "b"], ["b", "a"], ["a"]])
    assert kinds.of.tolist() == [0, 0, 1] and kinds.shared and not Kinds.each(3).shared
    assert kinds.common(np.array([1.0, 2.0, 3.0])).tolist() == [[1, 2, 0], [2, 4, 0], [0, 0, 9]]
    assert kinds.split(np.array([1.0, 2.0, 3.0])).tolist() == [[1, 0], [2, 0], [0, 3]]


def test_the_departure_is_what_it_is_on_average():
    """Its square is unbiased (80 worlds, nine kinds less three parameters each), whatever the covariance held before."""
    for held in (0.01, 0.05):
        found = []
        for seed in range(40):
            problem, kinds = fitted(np.random.default_rng(seed), 0.05, held)
            found.append(departure(problem, kinds, held))
        assert np.sqrt(np.mean(np.square(found))) == pytest.approx(0.05, rel=0.3)


def test_a_law_that_is_right_departs_by_little():
    found = [departure(*fitted(np.random.default_rng(seed), 0.0, 0.01), 0.01) for seed in range(20)]
    assert np.median(found) < 0.012


def test_a_departure_common_to_specimens_widens_a_shape_more_than_one_of_each_reading():
    bare, kinds, specimens = readings(np.random.default_rng(1), 0.0)
    width = []
    for one in (Kinds.each(len(bare.y)), kinds):
        found = infer(with_scatter(with_model_u(bare, 0.05, one), specimens, 0.08), 0.95)
        width.append(found.intervals[2, 1] - found.intervals[2, 0])
    assert width[1] > 1.4 * width[0]


def test_a_shape_is_known_from_the_readings_and_a_rate_from_the_specimens():
    """Student's factor of five specimens' scatter belongs to the rate, whose variance is that scatter, and not to the activation energy."""
    bare, kinds, specimens = readings(np.random.default_rng(2), 0.0)
    found = infer(with_scatter(with_model_u(bare, 0.01, kinds), specimens, 0.08), 0.95)
    assert found.dofs[0] < 20 and found.dofs[2] > 40
    alone = infer(replace(found.problem, between=None, between_dof=np.inf), 0.95)
    assert (alone.dofs == alone.scale_dof).all()
    assert found.intervals[2, 1] - found.intervals[2, 0] == pytest.approx(
        (alone.intervals[2, 1] - alone.intervals[2, 0])
        / np.sqrt(alone.scale * quantile(0.95, alone.scale_dof) / quantile(0.95, found.dofs[2])),
        rel=0.05,
    )


@pytest.mark.parametrize("held", [0.01, 0.05])
def test_one_kind_of_use_alone_tells_no_departure(held):
    """Its whole loss is in the rates: what is left of it beside them is rounding, and divided by itself was a law wrong by 10⁵ %."""
    problem, _, specimens = readings(np.random.default_rng(3), 0.0)
    one = Kinds(np.zeros(len(problem.y), np.int64))
    assert departure(with_scatter(with_model_u(problem, held, one), specimens, 0.08), one, held) == held
    # and without scatter between specimens, where the rates follow the loss exactly
    assert departure(with_model_u(problem, held, one), one, held) == held
