"""Laws by batch: factors of abrasion and oxidation, what a batch's readings cannot part, and how often intervals hold."""

import numpy as np
import pytest

from pipeline.duty.lives import picked
from tests.wear import makers
from tests.wear.batch_world import APART, Batch, fitted, piece, true_wear, wear_of

WIDE = [piece(makers.WIDE, 31 + i) for i in range(6)]
COLD = piece(tuple(makers.Block(c, stops=12) for c in (120, 160, 200)), 41)
HOT = piece(tuple(makers.Block(c, stops=12) for c in (560, 620, 660)), 42)
# One kind of stop again and again: abrasion and oxidation go together.
ONE = piece((makers.Block(560, stops=18),) * 6, 43)


def test_abrasion_that_differs_by_batch_is_found_and_is_no_misfit_of_the_law():
    batches = [Batch(1.0, 1.0, (WIDE[0], WIDE[1])), Batch(1.3, 1.0, (WIDE[2], WIDE[3])), Batch(1.0, 1.0, (WIDE[4],))]
    found, fit = fitted(batches, np.random.default_rng(1), scatter=0.02)
    assert found.misfit_p > 0.01 and found.roughness == 0
    ratio = fit.batches[1].factors / fit.batches[0].factors
    assert ratio == pytest.approx([1.3, 1.0], abs=0.06)
    for number, batch in enumerate(batches):
        for use in (COLD, HOT):
            wear = wear_of(fit, number, use)
            assert wear.low < true_wear(batch, use) < wear.high
            assert wear.value == pytest.approx(true_wear(batch, use), rel=0.05)


def test_a_batch_of_one_program_is_scaled_by_one_factor_and_says_so():
    batches = [Batch(1.0, 1.0, (WIDE[0], WIDE[1])), Batch(1.0, 1.0, (WIDE[2], WIDE[3])), Batch(1.3, 1.3, (ONE, ONE))]
    _, fit = fitted(batches, np.random.default_rng(2), scatter=0.02)
    told, untold = fit.batches[0], fit.batches[2]
    assert told.apart < 0.15 and untold.apart > APART
    assert untold.factors[0] == pytest.approx(untold.factors[1], rel=0.05)

    def width(number, use):
        wear = wear_of(fit, number, use)
        return (wear.high - wear.low) / wear.value

    assert width(2, ONE) < 1.5 * width(0, ONE)
    assert width(2, COLD) > 2 * width(0, COLD)


def test_a_batch_of_one_specimen_is_known_no_better_than_specimens_scatter():
    batches = [Batch(1.0, 1.0, (WIDE[0], WIDE[1])), Batch(1.0, 1.0, (WIDE[2],))]
    _, fit = fitted(batches, np.random.default_rng(3), scatter=0.02)
    one, two = (np.ptp(np.quantile(fit.batches[i].factor_sets[:, 0], [0.025, 0.975])) for i in (1, 0))
    assert one == pytest.approx(np.sqrt(2) * two, rel=0.2)


def held(compounds, seed, scatter=0.08):
    """How often 95 % intervals of wear in a cold and a hot use hold the truth: of every batch; of the batch that wears most by
    its estimate, by its plain interval and by the one that holds that it was picked."""
    rng = np.random.default_rng(seed)
    every, plain, widened = [], [], []
    for _ in range(compounds):
        alike = rng.random() < 0.5
        batches = [
            Batch(*np.exp(rng.normal(0, 0.0 if alike else 0.15, 2)), tuple(rng.choice(WIDE, 2, replace=False)))
            for _ in range(rng.integers(2, 4))
        ]
        _, fit = fitted(batches, rng, scatter=scatter, together=rng.choice([0.0, 0.5, 1.0]))
        for use in (COLD, HOT):
            wears = [wear_of(fit, number, use) for number in range(len(batches))]
            truths = [true_wear(batch, use) for batch in batches]
            inside = [one.low < truth < one.high for one, truth in zip(wears, truths, strict=True)]
            worst = int(np.argmax([one.value for one in wears]))
            every += inside
            plain.append(inside[worst])
            low = wear_of(fit, worst, use, picked(0.95, len(batches))).low
            widened.append(low < truths[worst] < wears[worst].high)
    return np.mean(every), np.mean(plain), np.mean(widened)


def test_intervals_of_a_batchs_wear_hold_the_truth():
    every, *_ = held(12, 5)
    assert every >= 0.85  # of some 60, not independent


@pytest.mark.heavy
@pytest.mark.parametrize(("scatter", "least"), [(0.03, 0.95), (0.08, 0.93), (0.12, 0.88)])
def test_intervals_of_every_batchs_wear_hold_the_truth_where_specimens_scatter_as_expected(scatter, least):
    """Two specimens a batch say little of their scatter: 8 % is expected. Where it is less, intervals are wider than they need."""
    found = held(150, 6, scatter)
    print(scatter, *np.round(found, 3))
    assert all(least <= one for one in found)
