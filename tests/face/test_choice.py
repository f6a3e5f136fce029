"""Which of law and map is used: by margin and by test, both."""

import numpy as np

from pipeline.face.choice import LEAST_P, MARGIN, by_signs, choose


def errors(size: float, cells: int = 30, seed: int = 0) -> np.ndarray:
    return size * np.random.default_rng(seed).normal(size=cells)


def test_a_law_that_is_clearly_better_is_used() -> None:
    found = choose(errors(0.004), errors(0.02, seed=1))
    assert found.used == "law"
    assert found.p_value is not None and found.p_value < LEAST_P
    assert "0.0" in found.why and "30 cells" in found.why


def test_a_law_that_is_worse_or_alike_is_not() -> None:
    assert choose(errors(0.02), errors(0.004, seed=1)).used == "map"
    assert choose(errors(0.01), errors(0.01, seed=1)).used == "map"


def test_better_by_less_than_the_margin_is_not_enough_however_sure() -> None:
    base = errors(0.01, cells=400)
    found = choose(base * (1 - MARGIN / 2), base)
    assert found.p_value is not None and found.p_value < 1e-3
    assert found.used == "map"


def test_one_lucky_cell_is_not_enough() -> None:
    law, of_map = np.full(20, 0.01), np.full(20, 0.009)
    of_map[0] = 0.2
    assert choose(law, of_map).used == "map"


def test_few_cells_leave_the_map() -> None:
    found = choose(errors(0.001, cells=5), errors(0.05, cells=5))
    assert found.used == "map" and found.p_value is None and "too few" in found.why


def test_cells_that_one_of_them_refuses_do_not_count() -> None:
    of_map = errors(0.02, seed=1)
    of_map[:25] = np.nan
    assert choose(errors(0.004), of_map).used == "map"


def test_a_map_that_is_wrong_in_the_cold_alone_is_found_out() -> None:
    """Six of forty cells are off by far; in the others the stops' own scatter decides which of the two is nearer."""
    scatter = errors(0.004, cells=40)
    of_map = scatter + errors(0.001, cells=40, seed=2)
    of_map[:6] += 0.03
    assert choose(scatter, of_map).used == "law"


def test_alike_errors_pass_the_test_as_often_as_they_may() -> None:
    rng = np.random.default_rng(3)
    low = [by_signs(rng.normal(size=40)) < LEAST_P for _ in range(300)]
    assert 0.02 < np.mean(low) < 0.09
