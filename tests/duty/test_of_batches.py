"""Window and line pressure of a duty where batches are not shown equivalent in friction."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from scipy import special

from pipeline.duty.of_batches import mu_unlike, pressing_of, window_of
from pipeline.duty.one_duty import brakings_of
from pipeline.duty.pressing import Pressing, line_pressures, needed
from pipeline.duty.rubbing import Rubbing
from pipeline.report.sections.duty import window_texts
from pipeline.report.sections.duty_log import pressing_texts
from pipeline.report.source import Cited
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.compound_friction import OfBatch as Friction
from pipeline.results.duty import CompoundDuty, DutyProjection, Projected
from pipeline.results.friction_map import CurvePoint, EndInterval, FrictionClass, Window
from tests.duty.makers import brake, duty_cycle
from tests.duty.test_pressing import SETUP, asked, map_  # noqa: F401

UNLIKE = "batches are not shown equivalent in µ: a and b different"


def window(low: float, high: float, half: float = 5.0) -> Window:
    ends = [EndInterval(low=x - half, high=x + half) for x in (low, high)]
    return Window(
        low_c=low, high_c=high, low_limited_by="band", high_limited_by="data", low_why=f"{low}", high_why=f"{high}",
        low_interval_c=ends[0], high_interval_c=ends[1], mu_mean=0.45, mu_low=0.4, mu_high=0.5, confidence=0.95, coverage=0.9,
        mu_class=FrictionClass.model_validate({"class": "F", "over": 0.35, "to": 0.45}),
    )  # fmt: skip


def friction(**windows: Window | None) -> CompoundFriction:
    rows = [Friction(batch=n, window=w, window_reason=None if w else "no band") for n, w in windows.items()]
    return CompoundFriction(compound="x", stops_used=1, window=window(160, 640), by_batch=rows)


def test_the_window_is_that_of_the_batches_together() -> None:
    found, told = window_of(friction(a=window(150, 650), b=window(170, 660, 9.0), c=window(140, 610)), UNLIKE)
    assert (found.window.low_c, found.window.high_c) == (170, 610) == (told.low_c, told.high_c)
    assert (found.window.low_interval_c.low, found.window.low_interval_c.high) == (161, 179)
    assert (found.window.high_interval_c.low, found.window.high_interval_c.high) == (605, 615)
    assert UNLIKE in told.why and "from b below and c above" in told.why
    assert (told.pooled_low_c, told.pooled_high_c) == (160, 640)


def by_data(one: Window, *, low: bool = False, high: bool = False) -> Window:
    """The window with ends where the data end, which have no interval."""
    none = EndInterval(why="the data end here")
    ends = {**({"low_interval_c": none} if low else {}), **({"high_interval_c": none} if high else {})}
    return one.model_copy(update=ends)


def test_an_end_that_one_batchs_data_set_keeps_what_is_known_of_the_others() -> None:
    """b's data end at 600 and a's band at 605 +- 20: the window of both may end at 585."""
    given = friction(a=window(150, 605, 20.0), b=by_data(window(170, 600), high=True))
    found, _ = window_of(given, UNLIKE)
    assert (found.window.high_c, found.window.high_interval_c.low, found.window.high_interval_c.high) == (600, 585, 600)
    assert (found.window.low_interval_c.low, found.window.low_interval_c.high) == (165, 175)
    both, _ = window_of(
        friction(a=by_data(window(150, 605), high=True), b=by_data(window(170, 600), high=True)), UNLIKE
    )
    assert both.window.high_interval_c.low is None and both.window.high_interval_c.why == "the data end here"


def test_batches_shown_equivalent_keep_the_compounds_window() -> None:
    given = friction(a=window(150, 650), b=window(170, 660))
    assert window_of(given, None) == (given, None)
    assert window_of(friction(), UNLIKE)[1] is None


@pytest.mark.parametrize(
    ("other", "said"), [(None, "batch b has no window: no band"), (window(20, 140), "do not meet: a begins at 150")]
)
def test_no_window_where_a_batch_has_none_or_they_do_not_meet(other, said) -> None:
    found, told = window_of(friction(a=window(150, 650), b=other), UNLIKE)
    assert found.window is None and said in found.window_reason and said in told.why and told.low_c is None


def test_pairs_say_which_batches_are_not_alike() -> None:
    pairs = [SimpleNamespace(a=a, b=b, mu_verdict=v) for a, b, v in (("a", "b", "equivalent"), ("a", "c", "undecided"))]
    assert mu_unlike(pairs) == "batches are not shown equivalent in µ: a and c undecided"
    assert mu_unlike(pairs[:1]) is None and mu_unlike([]) is None


def curve(mu: float, u: float = 0.01) -> list[CurvePoint]:
    ends = {"low": mu * (1 - 1.96 * u), "high": mu * (1 + 1.96 * u)}
    return [CurvePoint.model_construct(temperature_c=t, mu=mu, **ends) for t in (50.0, 600.0)]


def test_line_pressure_is_for_the_batch_with_the_least_friction(map_) -> None:  # noqa: F811
    events, history, mu = asked(map_, 573.15, 40.0)
    level = float(map_.predict(map_.reference.temperature).mu[0])
    rows = [Friction.model_construct(batch=n, curve=curve(f * level)) for n, f in (("a", 1.03), ("b", 0.9))]
    given = CompoundFriction.model_construct(by_batch=rows)
    plain = Pressing(map_, SETUP)
    worst = pressing_of(plain, given, UNLIKE)
    assert worst.batch == "b" and worst.factor == pytest.approx(0.9) and UNLIKE in worst.why
    (found,) = line_pressures(duty_cycle(), events, history, "initial", 0, worst)
    (pooled,) = line_pressures(duty_cycle(), events, history, "initial", 0, plain)
    assert found.batch == "b" and found.pooled_bar == pytest.approx(pooled.value) and found.value > pooled.value
    threshold = SETUP.threshold / 1e5
    # harder pressed the map itself has another friction: 1 / 0.9 but for that
    assert (found.value - threshold) / (pooled.value - threshold) == pytest.approx(pooled.mu / found.mu, rel=1e-6)
    assert found.mu == pytest.approx(0.9 * mu, rel=0.02)
    assert (found.high - found.low) / found.value > (pooled.high - pooled.low) / pooled.value
    assert pressing_of(plain, given, None) is plain
    silent = replace(plain, why=None)
    lacking = pressing_of(
        silent, CompoundFriction.model_construct(by_batch=[rows[0], friction(c=None).by_batch[0]]), UNLIKE
    )
    assert "no friction of c at the reference, which may be lower" in lacking.why


def test_what_was_tested_is_asked_at_the_pressure_that_is_told(map_) -> None:  # noqa: F811
    """The batch with the least friction presses harder than all together: beyond what the map's stops were pressed with."""
    events, history, _ = asked(map_, 573.15, 40.0)
    made = brake(rubbing=Rubbing(SETUP.friction_area, np.array([40.0, 640.0]), np.array([0.45, 0.45])))
    for pressing in (Pressing(map_, SETUP), Pressing(map_, SETUP, "b", 0.4, 0.01, "by b")):
        found = brakings_of(duty_cycle(), events, history, made, pressing)
        pressure = needed(duty_cycle(), events, np.array([573.15]), pressing).pressure[0] / 1e5
        entry = [one for one in found.entries(0) if one.direction == "pressure"]
        assert bool(entry) == (pressing.batch is not None)
        assert not entry or entry[0].value == pytest.approx(pressure)


@pytest.mark.parametrize("confidence", [0.68, 0.99])
def test_a_batchs_curve_is_known_as_well_whatever_the_confidence_of_its_band(map_, confidence) -> None:  # noqa: F811
    reach, u, level = special.ndtri((1 + confidence) / 2), 0.01, float(map_.predict(map_.reference.temperature).mu[0])
    ends = {"low": level * (1 - reach * u), "high": level * (1 + reach * u)}
    points = [CurvePoint.model_construct(temperature_c=t, mu=level, **ends) for t in (50.0, 600.0)]
    given = CompoundFriction.model_construct(by_batch=[Friction.model_construct(batch="a", curve=points)])
    assert pressing_of(Pressing(map_, SETUP), given, UNLIKE, confidence).factor_u == pytest.approx(u)


def test_the_sheet_says_whose_window_and_whose_friction(map_) -> None:  # noqa: F811
    events, history, _ = asked(map_, 573.15, 40.0)
    pressing = Pressing(map_, SETUP, "b", 0.9, 0.01, "by b")
    life = Projected(why="none")
    _, told = window_of(friction(a=window(150, 650), b=window(170, 660)), UNLIKE)
    found = DutyProjection(
        duty="hill", opening=0.5, life_cycles=life, life_km=life, window_of=told, line_pressure_of=pressing.why,
        line_pressure_bar=line_pressures(duty_cycle(), events, history, "initial", 0, pressing),
    )  # fmt: skip
    (one,) = Cited("duty.json", CompoundDuty(compound="x", duties=[found])).each(lambda d: d.duties)
    assert any("all batches together" in text.template for text in pressing_texts(one))
    assert "openings to run go by" in window_texts(one)[0].template
