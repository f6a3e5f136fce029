"""Planned wear readings: a law and a life known the better, the more specimens and the better the readings."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from pipeline.errors import InputError
from pipeline.method import Method
from pipeline.planning import life, tries
from pipeline.results.wear import Fixed, Parameter, Predictor
from pipeline.wear.planned_stops import Assumed, planned_stops
from tests.wear.test_planned import WIDE, card

LAW = Predictor(
    model="oxidation",
    parameters={name: Parameter(value=value, unit=unit) for name, value, unit in
                (("a", 7.0, "um/MJ"), ("B", 0.04, "um/s"), ("Ea", 150.0, "kJ/mol"))},
    fixed=Fixed(th0_k=873.15),
    joint={"a": [7.0], "B": [0.04], "Ea": [150.0]},
)  # fmt: skip


@cache
def planned(specimens: int, scatter: float, u_um: float = 1.0) -> life.Life:
    wide = card(WIDE)
    run = planned_stops(wide, Assumed(), Method().wear)
    return life.foreseen(LAW, wide, run, specimens, scatter, life.Reading(u_um), Method())


def half(found: life.Life, name: str) -> float:
    one = next(p for p in found.parameters if p.name == name)
    assert one.low is not None and one.high is not None and one.low < one.value < one.high
    return (one.high - one.low) / 2


def test_the_archives_law_is_read_again() -> None:
    found = planned(2, 0.08)
    assert (found.chosen, found.identified, found.why) == ("oxidation", True, None)
    assert [p.name for p in found.parameters] == ["a", "B", "Ea"]


def test_more_specimens_know_the_rate_better() -> None:
    assert half(planned(4, 0.08), "a") < half(planned(2, 0.08), "a")


def test_better_readings_know_the_activation_energy_better() -> None:
    assert half(planned(2, 0.08), "Ea") < 0.8 * half(planned(2, 0.08, 3.0), "Ea")


def test_a_pessimistic_scatter_knows_the_rate_worse() -> None:
    assert half(planned(2, 0.20), "a") > half(planned(2, 0.08), "a")


COOLED = {"cooling": 0.64, "heat share": 0.18, "wear readings": 0.10, "conductivity": 0.08}


@pytest.mark.parametrize(
    ("half", "within", "shares", "said"),
    [
        (0.33, 0.20, COOLED, "the cooling alone leaves +-0.264, which more specimens do not narrow: log the vehicle's"),
        (0.33, 0.30, COOLED, "the cooling alone"),  # the most of it, though by itself within what is wanted
        (0.33, 0.15, {"wear readings": 0.7, "conductivity": 0.3}, "the conductivity alone leaves +-0.181"),
        (0.33, 0.20, {"wear readings": 0.9, "cooling": 0.1}, None),
        (0.33, 0.20, {"wear readings": 1.0}, None),
        (0.33, 0.20, None, None),
    ],
)
def test_where_no_specimen_helps_the_plan_names_what_would(half, within, shares, said) -> None:
    """A life that the duty's cooling leaves open is no matter of specimens, and of no other program."""
    found = {"as found": life.DutyLife("ridge route", 1000.0, half, "disc", by_source=shares)}
    words = tries._last_words({12: (half, 2 * half)}, within, "1", tries._untold(found, within))
    assert words.startswith("not with 12 specimens of this program: as found +-0.33")
    assert (said or "another program is needed") in words
    assert ("another program" in words) == (said is None)


def test_factors_have_the_wanted_scatter_exactly() -> None:
    for n in (2, 3, 9):
        logs = np.log(life.even_factors(n, 0.13))
        assert logs.std(ddof=1) == pytest.approx(0.13) and logs.mean() == pytest.approx(0.0)
    assert life.even_factors(1, 0.13).tolist() == [1.0]


def test_an_unknown_block_to_read_after_is_refused() -> None:
    with pytest.raises(InputError, match="no such block"):
        life.reading_stops(card(WIDE), ["nowhere"])
