"""What each setting does alone: it adds up, a setting that does nothing gets nothing, and what comes of two together is told apart."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from pipeline.delta import shares, shares_stage
from pipeline.delta.alone import Place, Side, side_of, with_one
from pipeline.delta.conclusions import OfTest
from pipeline.delta.stage import test_side as concluded_in
from pipeline.method import Method
from pipeline.results.friction import TestFriction
from pipeline.results.shares import SettingShare
from pipeline.results.summary import TestSummary
from tests.makers import stops_frame
from tests.report import contents
from tests.stops.makers import Application, Rig, reduce, write_test

APPS = [Application(mu=lambda x: 0.30 + 0.04 * x, temperature=t, block=f"map {t}") for t in (80, 160, 320)]
SENSORS = "sensors: {torque: {accuracy: 0.2 %}, pressure: {accuracy: 0.25 %}}"
#: a ring of 312 and 220 mm: mean radius, and 2/3 (ro^3 - ri^3) / (ro^2 - ri^2) at uniform pressure
MEAN, UNIFORM = (156 + 110) / 2, 2 / 3 * (156**3 - 110**3) / (156**2 - 110**2)
BY_RADIUS = MEAN / UNIFORM - 1  # mu is torque over force and radius
SETTINGS = {"radius": "uniform_pressure", "average": "time", "thermocouple_lag": "2 s"}


@pytest.fixture(scope="module")
def place(tmp_path_factory):
    """A test whose card leaves the radius to the method."""
    base = tmp_path_factory.mktemp("shares")
    write_test(base, APPS, Rig(), radius="", sensors=SENSORS)
    return Place(base / "t1", base / "t1.parquet", base / "t1.json", None, None, None)


def side(place: Place, **reduction) -> Side:
    base = place.folder.parent
    reduce(base, reduction=reduction)
    into = base / "results" / "first" / "tests" / "t1"
    found = side_of(into, concluded_in(into))
    return Side(found.stops, found.excluded, lambda: found.traces(), found.summary, found.concluded)


@pytest.fixture(scope="module")
def found(place, tmp_path_factory):
    first, second = side(place), side(place, **SETTINGS)
    methods = Method(), Method.model_validate({"reduction": SETTINGS})
    room = tmp_path_factory.mktemp("room")
    content, moved = shares_stage.shared(methods, {"t1": first}, {"t1": second}, {"t1": place}, room)
    assert not list(room.iterdir())
    return content, moved


def test_a_setting_that_scales_mu_moves_it_by_that_much(found):
    content, moved = found
    assert len(moved) == content.stops == content.stops_of == len(APPS)
    assert moved["reduction.radius"].to_numpy() == pytest.approx(BY_RADIUS, rel=1e-6)
    own = next(one for one in content.settings if one.name == "reduction.radius")
    assert own.every.mean == pytest.approx(BY_RADIUS, rel=1e-6)
    assert [row.stops for row in own.classes] == [1, 1, 1]


def test_a_setting_that_does_nothing_gets_nothing(found):
    content, moved = found
    assert (moved["reduction.thermocouple_lag"] == 0.0).all()
    assert content.settings[-1].name == "reduction.thermocouple_lag"  # the least last


def test_what_two_do_together_is_told_apart(found):
    """Both scale a stop's mu, so together they do (1 + a)(1 + b) - 1, which is a b more than each alone."""
    _, moved = found
    a, b = moved["reduction.radius"].to_numpy(), moved["reduction.average"].to_numpy()
    assert np.abs(b).min() > 1e-3
    assert moved[shares.INTERACTION].to_numpy() == pytest.approx(a * b, abs=1e-8)


def test_means_add_up_to_that_of_all_together(found):
    content, _ = found
    for place, row in enumerate(content.together.classes):
        parts = [*content.settings, content.interaction]
        assert sum(part.classes[place].mean for part in parts) == pytest.approx(row.mean, abs=1e-12)
    assert content.reductions == 3


def test_all_settings_one_after_the_other_are_the_second_method(place):
    first, second = Method(), Method.model_validate({"reduction": SETTINGS})
    method = first
    for key in SETTINGS:
        method = with_one(method, second, f"reduction.{key}")
    assert method == second and with_one(first, first, "reduction.radius") == first


def test_where_one_setting_differs_nothing_is_reduced_again(place, tmp_path):
    first, second = side(place), side(place, radius="uniform_pressure")
    methods = Method(), Method.model_validate({"reduction": {"radius": "uniform_pressure"}})
    nowhere = Place(Path("none"), Path("none"), Path("none"), None, None, None)
    content, moved = shares_stage.shared(methods, {"t1": first}, {"t1": second}, {"t1": nowhere}, tmp_path)
    assert content.reductions == 0 and content.interaction is None
    assert content.settings[0].every == content.together.every
    assert (moved[shares.INTERACTION] == 0.0).all()


def test_a_setting_that_leaves_nothing_of_a_test_is_said(tmp_path):
    write_test(tmp_path, APPS, Rig(), series=True)
    own = Place(tmp_path / "t1", tmp_path / "t1.parquet", tmp_path / "t1.json", None, None, None)
    first = side(own)
    changed = {"segmentation": {"turning_speed": "5000 rpm"}, "reduction": {"average": "time"}}
    methods = Method(), Method.model_validate(changed)
    content, moved = shares_stage.shared(methods, {"t1": first}, {"t1": first}, {"t1": own}, tmp_path)
    assert content.left_out["t1"].startswith("with segmentation.turning_speed alone: ")
    assert moved.is_empty() and content.stops == 0 and content.together.every is None


def judged(mu, low=None, high=None, drift=None):
    """A test with these mu and this window."""
    window = contents.window(low_c=low, high_c=high) if low is not None else None
    friction = TestFriction.model_validate({"test": "t", "window": window, "window_reason": None if window else "none"})
    return Side(stops_frame(len(mu), mu=np.array(mu)), None, None, TestSummary(test="t"), OfTest(friction=friction))


def test_ends_of_windows_add_up_and_a_missing_window_is_none():
    first = {"t": judged([0.4], 140.0, 600.0), "u": judged([0.4], 140.0, 600.0)}
    one = {"t": judged([0.42], 146.0, 600.0), "u": judged([0.42])}
    two = {"t": judged([0.39], 138.0, 601.0), "u": judged([0.39], 140.0, 600.0)}
    both = {"t": judged([0.41], 145.0, 603.0), "u": judged([0.41], 141.0, 600.0)}
    runs = {"s.one": one, "s.two": two, shares.TOGETHER: both}
    moved = shares.moves(first, runs)
    every = {name: shares.share(first, run, moved, name, {}) for name, run in runs.items()}
    alone = [SettingShare(name=name, **every[name].model_dump()) for name in ("s.one", "s.two")]
    rest = shares.interaction(moved, alone, every[shares.TOGETHER])
    assert [end.low_k for end in every["s.one"].windows] == [6.0, None]
    assert [(end.low_k, end.high_k) for end in rest.windows] == [(1.0, 2.0), (None, None)]
    assert moved[shares.INTERACTION].to_list() == pytest.approx([0.0, 0.0], abs=1e-12)


def test_a_window_that_no_setting_was_asked_of_is_not_said_to_stay():
    """Two settings may move it there and back: where it was not fitted under each, nothing is known of either alone."""
    first = {"t": judged([0.4], 140.0, 600.0)}
    kept = {"t": Side(first["t"].stops, None, None, TestSummary(test="t"), first["t"].concluded)}
    second = {"t": judged([0.4], 140.01, 600.0)}
    runs = {"reduction.average": kept, "wear.law": kept, shares.TOGETHER: second}
    moved = shares.moves(first, runs)
    every = {name: shares.share(first, run, moved, name, {}).windows[0] for name, run in runs.items()}
    assert (every["reduction.average"].low_k, every["reduction.average"].high_k) == (None, None)
    assert (every["wear.law"].low_k, every["wear.law"].high_k) == (0.0, 0.0)  # a law of wear moves no window
    assert every[shares.TOGETHER].low_k == pytest.approx(0.01)


def test_a_stop_without_mu_in_one_run_is_left_out_of_all():
    first, one = judged([0.4, 0.5]), judged([0.42, 0.52])
    two = Side(stops_frame(2, mu=pl.Series([0.4, None])), None, None, TestSummary(test="t"), OfTest())
    runs = {"s.one": {"t": one}, "s.two": {"t": two}, shares.TOGETHER: {"t": one}}
    moved = shares.moves({"t": first}, runs)
    assert moved["stop"].to_list() == [1]
    assert shares.with_mu({"t": first}, {"t": one}) == 2


def test_no_setting_and_no_test_give_no_share(tmp_path):
    content, moved = shares_stage.shared((Method(), Method()), {}, {}, {}, tmp_path)
    assert content.settings == [] and moved.is_empty() and content.together.every is None
    assert shares.table(moved).is_empty()
