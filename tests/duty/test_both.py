"""Both duties with one brake: a table of cases, each with the answer and the changes that its making implies."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from pipeline.duty.both import Asked, both
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import DutyProjection

GRID = np.linspace(0.0, 1.0, 21)


def duty(
    name: str,
    run: tuple[float, float] | None,
    sure: tuple[float, float] | None = None,
    *,
    window: tuple[float, float] | None = None,
    temperature: float = 400.0,
    **facts: Any,
) -> DutyProjection:
    """A duty with its openings to run, those without reservation, and a sweep whose window holds from `window[0]` to `window[1]`; its
    disc lies at `temperature` closed and 200 K lower open."""
    held = window or run or (2.0, 2.0)
    loss = facts.pop("loss", None)  # in one use with the opening, or a share of it that rises with the opening
    lost = loss if callable(loss) or loss is None else lambda o, share=loss: share * o
    rows = [
        {
            "opening": float(o),
            "temperature_low_c": temperature - 200 * o,
            "temperature_high_c": temperature - 200 * o + 30,
            "window_share": float(held[0] - 1e-9 <= o <= held[1] + 1e-9),
            "glazing_loss": None if lost is None else {"value": lost(float(o)), "high": lost(float(o))},
        }
        for o in GRID
    ]
    spans = {"opening_to_run": run, "opening_to_run_sure": sure}
    given = {key: None if span is None else {"low": span[0], "high": span[1]} for key, span in spans.items()}
    nothing = {"value": None, "why": "not asked"}
    return DutyProjection.model_validate(
        {"duty": name, "opening": 0.5, "cycles": 30, "window_share": 1.0, "life_cycles": nothing, "life_km": nothing,
         "reserved": sure != run, "sweep": rows, **given} | facts
    )  # fmt: skip


def gentle(*args: Any, **facts: Any) -> Asked:
    return Asked(duty("valley", *args, **facts), "gentle", 1.5)


def hard(*args: Any, **facts: Any) -> Asked:
    return Asked(duty("ridge", *args, **facts), "hard", 10.0)


def friction(**facts: Any) -> CompoundFriction:
    return CompoundFriction.model_validate({"compound": "c", **facts})


def kinds(found) -> list[str]:
    return [change.kind for change in found.changes]


EXTRAPOLATED = {
    "support": {"friction_share": 0.0, "opening_basis": "mostly extrapolated", "opening_tested": {"low": 0.0, "high": 0.1},
                "extrapolations": [{"of": "friction", "direction": "energy density", "unit": "J/mm2", "value": 3.4, "share": 1.0,
                                    "words": "energy density down to 3.4 J/mm2, run from 10.0 to 28.9 J/mm2"}]}
}  # fmt: skip
GLAZING_OPEN = {"not_excluded": [{"cause": "glazing", "low": 0.3, "high": 0.6, "why": "no gentle use was run so hot"}]}
NO_WINDOW = {"window_share": None, "window_share_why": "the compound has no window"}


@pytest.mark.parametrize(
    ("one", "other", "answer", "opening", "reserved"),
    [
        (gentle((0.2, 0.6), (0.2, 0.6)), hard((0.4, 1.0), (0.5, 1.0)), "serves both", (0.5, 0.6), (0.4, 0.6)),
        (gentle((0.2, 0.6), (0.2, 0.45)), hard((0.4, 1.0), (0.5, 1.0)), "not shown", None, (0.4, 0.6)),
        (gentle((0.2, 0.6), None, **GLAZING_OPEN), hard((0.4, 1.0), (0.5, 1.0)), "not shown", None, (0.4, 0.6)),
        (gentle((0.2, 0.6), (0.2, 0.6), **EXTRAPOLATED), hard((0.4, 1.0), (0.5, 1.0)), "not shown", None, (0.4, 0.6)),
        (gentle((0.0, 0.3), (0.0, 0.3)), hard((0.4, 1.0), (0.5, 1.0)), "serves neither at one opening", None, None),
        (gentle((0.0, 0.3), None), hard((0.4, 1.0), (0.5, 1.0)), "serves neither at one opening", None, None),
        (gentle(None), hard((0.4, 1.0), (0.5, 1.0)), "serves neither at one opening", None, None),
        (gentle(None, **NO_WINDOW), hard(None, **NO_WINDOW), "not shown", None, None),
        (gentle((0.0, 0.4), (0.0, 0.4)), hard((0.4, 1.0), (0.4, 1.0)), "serves both", (0.4, 0.4), (0.4, 0.4)),
    ],
)
def test_answers(one: Asked, other: Asked, answer: str, opening: Any, reserved: Any) -> None:
    for order in ([one, other], [other, one]):
        found = both(order, friction(), None)
        assert found.answer == answer, found.why
        spans = [s and (s.low, s.high) for s in (found.opening, found.opening_reserved)]
        assert spans == [opening, reserved]
        assert (found.changes == [] and found.changes_why is None) == (answer == "serves both")


def test_ends_that_may_meet_by_their_intervals_are_not_shown_apart() -> None:
    first = {"opening_to_run_high": {"value": 0.38, "low": 0.33, "high": 0.42}}
    found = both([gentle((0.0, 0.38), (0.0, 0.3), **first), hard((0.40, 1.0), (0.5, 1.0))], friction(), None)
    assert found.answer == "not shown" and "by their intervals they may" in found.why
    far = both([gentle((0.0, 0.30), (0.0, 0.3), **first), hard((0.45, 1.0), (0.5, 1.0))], friction(), None)
    assert far.answer == "serves neither at one opening"


NO_OPENING = {"support": EXTRAPOLATED["support"] | {"opening_basis": None, "window_basis": "mostly extrapolated"}}


def limited(side: str, at: float, cause: str) -> dict[str, Any]:
    return {"limits": [{"cause": cause, "at": at, "side": side, "why": "by hand"}]}


@pytest.mark.parametrize(
    ("one", "answer"),
    [
        (gentle((0.0, 0.3), (0.0, 0.3), **EXTRAPOLATED), "not shown"),
        (gentle((0.0, 0.3), None, **EXTRAPOLATED, **limited("high", 0.3, "window")), "not shown"),
        (gentle((0.0, 0.3), None, **EXTRAPOLATED, **limited("high", 0.6, "life")), "not shown"),
        (gentle(None, **NO_OPENING), "not shown"),
        # what the tests do show apart stays so
        (gentle((0.0, 0.3), None, **EXTRAPOLATED, **limited("high", 0.3, "life")), "serves neither at one opening"),
        (gentle((0.0, 0.3), (0.0, 0.3)), "serves neither at one opening"),
    ],
)
def test_openings_of_stops_that_were_never_run_are_not_shown_apart(one: Asked, answer: str) -> None:
    found = both([one, hard((0.4, 1.0), (0.5, 1.0))], friction(), None)
    assert found.answer == answer
    assert ("friction of the stops of valley was not tested" in (found.why or "")) == (answer == "not shown")


def test_apart_without_reservation_an_opening_per_duty_is_the_cheapest_change() -> None:
    found = both([gentle((0.0, 0.3), (0.0, 0.25)), hard((0.4, 1.0), (0.5, 1.0))], friction(), None)
    (change,) = found.changes
    assert change.kind == "an opening per duty" and change.shown
    assert {name: (s.low, s.high) for name, s in change.openings.items()} == {
        "valley": (0.0, 0.25),
        "ridge": (0.5, 1.0),
    }


def test_apart_with_a_reservation_the_test_stands_beside_it() -> None:
    found = both([gentle((0.0, 0.3), (0.0, 0.3), **EXTRAPOLATED), hard((0.4, 1.0), (0.5, 1.0))], friction(), None)
    assert kinds(found) == ["an opening per duty", "a test"]
    assert (
        not found.changes[0].shown
        and "valley not known: friction of such stops was not tested" in found.changes[0].words
    )
    assert "3.4 J/mm2" in found.changes[1].words


def test_one_opening_that_only_a_reservation_stands_against_asks_for_the_test() -> None:
    found = both([gentle((0.2, 0.6), None, **EXTRAPOLATED), hard((0.4, 1.0), (0.5, 1.0))], friction(), None)
    assert kinds(found) == ["a test"]


FILM = {"uses": [], "rate_that_matters_per_stop": 0.001,
        "cleared": [{"test": "t1", "stops": 12, "temperature_c": 250.0, "power_density_w_mm2": 8.0,
                     "regained": {"value": 0.97, "low": 0.9, "high": 1.05}}]}  # fmt: skip
GLAZES = {
    "limits": [{"cause": "glazing", "at": 0.3, "side": "high", "why": "colder it glazes"}],
    "glazing_loss_wanted": 0.05,
}


def test_hard_stops_between_come_as_often_as_the_loss_asks() -> None:
    """At opening 0.4 one use of 30 cycles loses 0.4 x 0.25 = 10 %; 5 % x 0.9 regained last 13 cycles."""
    one = gentle((0.0, 0.3), (0.0, 0.3), window=(0.0, 0.6), loss=0.25, **GLAZES)
    found = both([one, hard((0.4, 1.0), (0.4, 1.0))], friction(film=FILM), None)
    assert found.answer == "serves neither at one opening"
    change = next(c for c in found.changes if c.kind == "hard stops between")
    assert change.shown
    (plan,) = change.hard_stops
    assert (plan.opening, plan.after_cycles, plan.stops, plan.test) == (0.4, 13, 12, "t1")
    assert kinds(found)[:2] == ["an opening per duty", "hard stops between"]


@pytest.mark.parametrize(
    "film",
    [
        None,
        FILM | {"cleared": []},
        FILM | {"cleared": [FILM["cleared"][0] | {"regained": {"value": 0.6, "low": 0.1, "high": 0.9}}]},
    ],
)
def test_no_hard_stops_where_no_test_showed_them_to_help(film: Any) -> None:
    one = gentle((0.0, 0.3), (0.0, 0.3), window=(0.0, 0.6), loss=0.25, **GLAZES)
    assert "hard stops between" not in kinds(both([one, hard((0.4, 1.0), (0.4, 1.0))], friction(film=film), None))


def test_two_gentle_duties_that_want_hard_stops_at_openings_of_their_own_get_none() -> None:
    """One loses least at 0.4, the other at 0.6: a brake has one opening."""
    one = gentle((0.0, 0.3), (0.0, 0.3), window=(0.0, 0.6), loss=0.25, **GLAZES)
    other = Asked(
        duty("vale", (0.0, 0.3), (0.0, 0.3), window=(0.0, 0.6), loss=lambda o: 0.25 * (1 - o), **GLAZES), "gentle", 1.5
    )
    ridge = hard((0.4, 1.0), (0.4, 1.0))
    for alone in (one, other):
        assert "hard stops between" in kinds(both([alone, ridge], friction(film=FILM), None))
    assert "hard stops between" not in kinds(both([one, other, ridge], friction(film=FILM), None))


def point(celsius: float) -> dict[str, Any]:
    """Single stops from 0.20 at 50 degC on, up by 0.001 a kelvin to 0.42."""
    low = min(0.20 + 0.001 * (celsius - 50), 0.42)
    return {
        "temperature_c": celsius, "mu": low + 0.03, "low": low, "high": low, "tolerance_low": low, "tolerance_high": low + 0.06,
        "stretch": 0, "stops_near": 9, "thin": False, "u_curve": 0.0, "u_common": 0.0, "scatter": 0.01, "dof_mean": 9.0,
        "dof_scatter": 9.0, "tolerance_factor": 2.0, "inside_wanted": "yes",
    }  # fmt: skip


def test_a_margin_of_mu_is_what_single_stops_have_at_the_other_duties_openings() -> None:
    """At opening 0.5 the gentle duty's disc comes down to 300 - 100 = 200 degC, where single stops have 0.35."""
    known = friction(wanted_mu=[0.38, 0.56], curve=[point(float(c)) for c in range(50, 701, 10)])
    found = both(
        [
            gentle((0.0, 0.3), (0.0, 0.3), temperature=300.0),
            hard((0.5, 1.0), (0.5, 1.0), window=(0.0, 1.0), temperature=500.0),
        ],
        known,
        None,
    )
    change = next(c for c in found.changes if c.kind == "a margin of mu")
    assert change.mu_limit == pytest.approx(0.35) and change.mu_margin == pytest.approx(0.03)
    assert change.openings["valley"].low == pytest.approx(0.5)
    assert kinds(found) == ["an opening per duty", "a margin of mu"]


@pytest.mark.parametrize(
    ("power", "facts", "map_power", "use"),
    [
        (1.0, {"glaze_limit": {"power_density_w_mm2": 1.5, "text": "t"}}, None, "gentle"),
        (2.0, {"glaze_limit": {"power_density_w_mm2": 1.5, "text": "t"}}, 9.0, "hard"),
        (3.0, {}, 8.0, "gentle"),
        (5.0, {}, 8.0, None),
        (8.5, {}, 8.0, "hard"),
        (5.0, {}, None, None),
    ],
)
def test_an_unmarked_use_is_found_by_its_power_density(power: float, facts: Any, map_power: Any, use: Any) -> None:
    (found,) = both([Asked(duty("d", (0.0, 1.0)), None, power)], friction(**facts), map_power).duties
    assert found.use == use and not found.marked and found.by != "its file"
    marked = both([Asked(duty("d", (0.0, 1.0)), "hard", power)], friction(**facts), map_power).duties[0]
    assert (marked.use, marked.marked) == ("hard", True)


def test_without_both_uses_there_is_no_answer() -> None:
    found = both([gentle((0.0, 0.3), (0.0, 0.3))], friction(), None)
    assert found.answer is None and found.why == "no duty of hard use is given"
