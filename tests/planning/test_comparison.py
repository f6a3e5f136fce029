"""What a planned comparison can show: by hand, by the archive's own power function, and in how it must move."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.batches import power
from pipeline.planning.comparison import MOST_SPECIMENS, Design, Rule, chances, shown, specimens_needed
from pipeline.planning.components import Component, Scatter, Stops, left_of


def scatter(specimen: float = 0.006, stop: float = 0.0, high: float | None = None, **stops: float) -> Scatter:
    own = Component(specimen, None, high, 4, "test")
    return Scatter("mu", 0.45, own, Stops(stop, **stops), {"last": 2}, "check stop")


sds = st.floats(0.001, 0.05)
margins = st.floats(0.005, 0.08)
counts = st.integers(2, 20)


def test_mean_of_stops_by_hand() -> None:
    """Independent stops leave 1/n; two neighbours alike by rho leave (1 + rho)/2; blocks do not share."""
    assert left_of((12,), 0.0) == pytest.approx(1 / 12)
    assert left_of((2,), 0.3) == pytest.approx((1 + 0.3) / 2)
    assert left_of((3,), 0.5) == pytest.approx((3 + 2 * (2 * 0.5 + 0.25)) / 9)
    assert left_of((2, 2), 0.3) == pytest.approx((1 + 0.3) / 4)
    with_shift = Stops(0.01, 0.0, 0.004)
    assert with_shift.left((5, 5)) == pytest.approx(math.sqrt(0.01**2 / 10 + 0.004**2 / 2))


def test_mean_of_neighbours_is_what_a_drawn_series_shows() -> None:
    rng = np.random.default_rng(3)
    rho, runs = 0.4, 40_000
    x = rng.normal(size=(runs, 6))
    for k in range(1, 6):
        x[:, k] = rho * x[:, k - 1] + math.sqrt(1 - rho**2) * x[:, k]
    assert x.mean(axis=1).var() == pytest.approx(left_of((6,), rho), rel=0.03)


def test_a_power_table_is_met() -> None:
    """Two-sided 5 %, difference of half a standard deviation, chance 0.8: 64 of each (standard tables), no margin."""
    rule = Rule(None, 0.05, 0.8)
    found = [chances(scatter(1.0), Design(n, n, (1,)), rule, 0.5)[1] for n in (63, 64)]
    assert found[0] < 0.8 < found[1] and found[1] == pytest.approx(0.8014596, abs=1e-5)


def test_the_answers_of_an_archive_are_planned_with_its_own_power_function() -> None:
    sd, n = 0.0135, 4
    found = shown(scatter(sd), Design(n, n, (1,)), Rule((-0.03, 0.03)))
    assert found.equivalent == pytest.approx(
        power.power_equivalent(0.0, sd * math.sqrt(2 / n), 2 * n - 2, -0.03, 0.03), abs=1e-12
    )
    at = power.power_different(found.difference, sd * math.sqrt(2 / n), 2 * n - 2, -0.03, 0.03)
    assert at == pytest.approx(0.8, abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(sds, margins, counts, counts, st.integers(1, 6))
def test_more_specimens_never_lower_the_power(sd: float, margin: float, n: int, m: int, more: int) -> None:
    """Of `equivalent` between batches that are alike, and of `different` between batches beyond the margin.

    Two one-sided tests that hardly ever pass do so by a scatter that came out small by chance, as it does most with the
    fewest specimens: below their own 5 % level the chance of `equivalent` is no power and may fall.
    """
    rule, s = Rule((-margin, margin)), scatter(sd)
    few, many = Design(n, m, (6,)), Design(n + more, m, (6,))
    apart = 1.5 * margin + sd
    alike = chances(s, few, rule, 0.0)[0]
    assert alike < 0.05 or chances(s, many, rule, 0.0)[0] >= alike - 1e-9
    assert chances(s, many, rule, apart)[1] >= chances(s, few, rule, apart)[1] - 1e-4


@settings(deadline=None, max_examples=60)
@given(sds, counts, counts)
def test_a_zero_margin_gives_no_chance_of_equivalent(sd: float, n: int, m: int) -> None:
    assert chances(scatter(sd), Design(n, m, (6,)), Rule((0.0, 0.0)), 0.0)[0] == 0.0


@settings(deadline=None, max_examples=60)
@given(sds, margins, counts)
def test_the_pessimistic_end_never_shows_more(sd: float, margin: float, n: int) -> None:
    s, design, rule = scatter(sd, high=3 * sd), Design(n, n, (6,)), Rule((-margin, margin))
    good, bad = (shown(s, design, rule, case) for case in ("as found", "pessimistic"))
    assert bad.equivalent <= good.equivalent + 1e-12
    assert bad.difference >= good.difference - 1e-9


def test_needed_specimens_are_the_fewest() -> None:
    s, rule = scatter(0.012, 0.01), Rule((-0.02, 0.02))
    n = specimens_needed(s, (6, 4), rule)
    assert n is not None
    assert [chances(s, Design(k, k, (6, 4)), rule, 0.0)[0] >= 0.8 for k in (n - 1, n)] == [False, True]


def test_a_batch_that_is_there_limits_what_the_next_can_show() -> None:
    """Two specimens of the last batch: beyond some number, further specimens of the next one add next to nothing."""
    s, rule = scatter(0.016), Rule((-0.02, 0.02))
    assert specimens_needed(s, (12,), rule, present=2) is None
    assert specimens_needed(s, (12,), rule) is not None


def test_one_specimen_never_answers() -> None:
    for design in (Design(1, 5, (6,)), Design(5, 1, (6,))):
        found = shown(scatter(), design, Rule((-0.03, 0.03)))
        assert found.equivalent is None and found.difference is None and "one specimen" in found.why
    assert specimens_needed(scatter(1e-9), (6,), Rule((-1.0, 1.0)), present=1) is None


def test_further_batches_lend_scatter_and_cost_pairs() -> None:
    """Their degrees of freedom help `equivalent`; their pairs, by Holm's first step, cost `different`."""
    s, rule = scatter(0.012), Rule((-0.03, 0.03))
    alone, beside = Design(3, 3, (6,)), Design(3, 3, (6,), (4, 4))
    assert (alone.df, beside.df, alone.pairs, beside.pairs) == (4, 10, 1, 6)
    assert chances(s, beside, rule, 0.0)[0] > chances(s, alone, rule, 0.0)[0]


def test_a_state_of_the_rig_costs_both_answers() -> None:
    s, rule = scatter(0.006), Rule((-0.02, 0.02))
    same, other = Design(4, 4, (6,)), Design(4, 4, (6,), known=0.006)
    assert chances(s, other, rule, 0.0)[0] < chances(s, same, rule, 0.0)[0]
    assert shown(s, other, rule).difference > shown(s, same, rule).difference


def test_no_stop_to_read_from_and_no_upper_end_are_said() -> None:
    assert "no check stop" in shown(scatter(), Design(3, 3, ()), Rule((-0.03, 0.03))).why
    assert "no upper end" in shown(scatter(), Design(3, 3, (6,)), Rule((-0.03, 0.03)), "pessimistic").why
    assert MOST_SPECIMENS >= 50
