"""The delta of two methods: stops matched, settings named, conclusions side by side, comparability said."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.delta import comparable, conclusions, per_stop, stage
from pipeline.delta.settings import differing
from pipeline.method import Method
from pipeline.method.drift import Drift
from pipeline.method.reduction import Reduction
from pipeline.results import read_json, write_json, write_parquet, write_text
from pipeline.results.batches import Answer, CompoundBatches, Difference, Pair
from pipeline.results.both import BothDuties
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.delta import Range, StatusChange
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty, DutyProjection, Projected
from pipeline.results.friction import TestFriction
from pipeline.results.model import renewed
from pipeline.results.sheet import Sheet, TargetAnswer
from pipeline.results.summary import TestSummary
from pipeline.results.wear import FittedLaw, TestComponent, TestWear
from pipeline.vocabulary import DELTA, STOPS, empty
from tests.makers import stops_frame
from tests.report import contents


def test_stops_of_both_methods_side_by_side():
    a = stops_frame(4, mu=np.array([0.40, 0.41, 0.42, 0.43]))
    b = stops_frame(4, mu=np.array([0.40, 0.42, 0.42, 0.40]), status=["ok", "ok", "suspect", "ok"])
    delta = per_stop.matched("t1", a, b)
    assert delta.columns[: len(DELTA)] == [c.name for c in DELTA]
    assert delta["mu_difference"].to_list() == pytest.approx([0.0, 0.01, 0.0, -0.03])
    assert per_stop.status_changes(delta) == [
        StatusChange(test="t1", stop=3, block="map 1", status_a="ok", status_b="suspect", stop_a=3, stop_b=3)
    ]
    assert per_stop.largest(delta, 1)[0].stop == 4
    view = per_stop.overview(delta)
    assert (view.mu_unchanged, view.energy_unchanged, view.status_changed) == (2, 4, 1)
    assert view.change.largest == pytest.approx(-0.03)


def test_a_series_segmented_otherwise_is_matched_by_start():
    # one file holds all; the second method misses the second of four stops, so its numbers shift
    start = np.array([10.0, 50.0, 90.0, 130.0])
    a = stops_frame(4, file="recordings/all.csv", start_s=start, mu=np.array([0.1, 0.2, 0.3, 0.4]))
    b = stops_frame(3, file="recordings/all.csv", start_s=start[[0, 2, 3]] + 0.02, mu=np.array([0.1, 0.3, 0.4]))
    delta = per_stop.matched("t1", a, b)
    assert delta["mu_difference"].to_list() == [pytest.approx(0.0), None, pytest.approx(0.0), pytest.approx(0.0)]
    assert delta["stop_b"].to_list() == [1, None, 2, 3]
    assert per_stop.overview(delta).only_a == 1


def test_the_same_results_differ_in_nothing():
    frame = stops_frame(6)
    delta = per_stop.matched("t1", frame, frame)
    view = per_stop.overview(delta)
    assert view.mu_unchanged == view.with_mu_in_both == 6
    classes = per_stop.by_class(delta)
    assert comparable.answer(delta, classes, [], []).answer == "yes"


def test_rejected_stops_and_empty_tables_keep_their_rows():
    a = stops_frame(2, mu=pl.Series([None, 0.4], dtype=pl.Float64), status=["rejected", "ok"])
    delta = per_stop.matched("t1", a, a)
    assert delta["mu_difference"].to_list() == [None, 0.0]
    none = per_stop.matched("t1", empty(STOPS), empty(STOPS))
    assert len(none) == 0 and none.columns[:3] == ["test", "stop", "block"]
    assert per_stop.overview(none).change.median is None


def test_a_change_of_cold_stops_only_is_said_by_temperature():
    cold = np.repeat([60.0, 300.0], 20)
    a = stops_frame(40, temperature_initial_c=cold, mu=0.42, mu_u=0.003)
    b = stops_frame(40, temperature_initial_c=cold, mu=np.where(cold < 100, 0.46, 0.42), mu_u=0.003)
    delta = per_stop.matched("t1", a, b)
    found = comparable.answer(delta, per_stop.by_class(delta), [], [])
    assert found.answer == "in part"
    said = "µ of old and new stops is not comparable below 100 °C (+9.5 %); it is from 250 to 400 °C."
    assert found.text.replace("\u00a0", " ") == said


def test_stops_of_one_temperature_are_told_apart_by_their_energy():
    energy = np.repeat([10.0, 30.0], 20)
    a = stops_frame(40, energy_density_j_mm2=energy, mu_u=0.003)
    b = stops_frame(40, energy_density_j_mm2=energy, mu=np.where(energy < 20, 0.40, 0.42), mu_u=0.003)
    delta = per_stop.matched("t1", a, b)
    assert per_stop.energy_edges(delta) == [20.0]
    found = comparable.answer(delta, per_stop.by_class(delta), [], [])
    assert [(r.low_j_mm2, r.high_j_mm2, r.comparable) for r in found.ranges] == [
        (None, 20.0, False),
        (20.0, None, True),
    ]
    assert found.answer == "no"  # half of one class


def test_stops_of_an_energy_that_do_not_compare_leave_no_yes():
    """One stop in thirty moves by less than 5 % of all stops: its class compares, that of its energy does not."""
    energy = np.r_[np.full(10, 10.0), np.full(90, 30.0)]
    mu = np.where(np.arange(100) < 3, 0.40, 0.42)
    a, b = (stops_frame(100, energy_density_j_mm2=energy, mu=m, mu_u=0.003) for m in (np.full(100, 0.42), mu))
    delta = per_stop.matched("t1", a, b)
    found = comparable.answer(delta, per_stop.by_class(delta), [], [])
    assert [row.comparable for row in found.classes] == [True] and "except stops below 20 J/mm²" in found.text
    assert found.answer == "in part"


def test_stops_without_a_temperature_are_not_said_to_have_no_mu():
    frame = stops_frame(5, temperature_initial_c=pl.Series([None] * 5, dtype=pl.Float64))
    delta = per_stop.matched("t1", frame, frame)
    text = comparable.answer(delta, per_stop.by_class(delta), [], []).text
    assert "has a temperature at its start" in text
    alone = comparable.answer(delta, per_stop.by_class(delta), [], ["t1"]).text
    assert alone == "No stop of a test that was reduced anew has µ in both methods."


def test_an_energy_that_most_temperatures_leave_alone_is_an_exception():
    frame = {"energy_density_j_mm2": np.r_[np.full(4, 10.0), np.full(96, 30.0)], "mu_u": 0.003}
    delta = per_stop.matched(
        "t1", stops_frame(100, **frame), stops_frame(100, mu=np.r_[np.full(4, 0.40), np.full(96, 0.42)], **frame)
    )
    rows = comparable.ranges(delta)
    assert rows == []  # four stops of a hundred are no class of their own
    frame["energy_density_j_mm2"] = np.r_[np.full(10, 10.0), np.full(190, 30.0)]
    both = per_stop.matched(
        "t1", stops_frame(200, **frame), stops_frame(200, mu=np.r_[np.full(10, 0.40), np.full(190, 0.42)], **frame)
    )
    cells = [
        Range(
            low_c=250.0,
            high_c=400.0,
            high_j_mm2=20.0,
            stops=10,
            comparable=False,
            relative_p05=-0.05,
            relative_p95=-0.04,
        )
    ]
    classes = [renewed(row, comparable=True) for row in per_stop.by_class(both)]
    said = comparable.sentence(classes, cells).replace("\u00a0", " ")
    assert said == (
        "µ of old and new stops is comparable at every temperature, except stops below 20 J/mm² from 250 to 400 °C (−5.0 to −4.0 %)."
    )


@pytest.mark.parametrize(
    ("values", "edges"),
    [
        ([], []),
        ([20.0] * 10, []),
        ([20.0, 20.5] * 10, []),
        ([8.0, 21.0, 40.0] * 10, [10.0, 30.0]),
        ([0.0, -1.0, 20.0], []),
    ],
)
def test_edges_of_energy_lie_in_gaps_between_energies_run(values, edges):
    delta = pl.DataFrame({"energy_density_j_mm2": pl.Series(values, dtype=pl.Float64)})
    assert per_stop.energy_edges(delta) == edges


def test_a_change_everywhere_is_not_comparable():
    delta = per_stop.matched("t1", stops_frame(10, mu_u=0.003), stops_frame(10, mu=0.40, mu_u=0.003))
    assert comparable.answer(delta, per_stop.by_class(delta), [], []).answer == "no"


def test_settings_that_differ_by_name():
    rows = differing(Method(), Method(reduction=Reduction(average="time"), drift=Drift(false_alarm_rate="2 %")))
    assert [row.name for row in rows] == ["reduction.average", "drift.false_alarm_rate"]
    assert (rows[0].a, rows[0].b) == ("distance", "time")
    assert rows[0].meaning
    assert differing(Method(), Method()) == []


def window(low, high, **known):
    return conclusions.OfCompound(
        friction=contents.of_compound(window=contents.window(low_c=low, high_c=high, **known))
    )


KNOWN = {"low_interval_c": {"low": 295.0, "high": 305.0}, "high_interval_c": {"low": 570.0}}


def test_windows_count_as_changed_beyond_what_their_ends_are_known_to():
    def rows(low, high):
        a, b = window(300.0, 580.0, **KNOWN), window(low, high, **KNOWN)
        return conclusions.of_compound("Marram 4", a, b)

    inside = rows(304.0, 581.0)[0]
    assert (inside.kind, inside.moved, inside.changed) == ("figure", "inside", False)
    beyond = rows(312.0, 580.0)[0]
    assert (beyond.kind, beyond.moved, beyond.changed, beyond.b) == ("figure", "beyond", True, "312 to 580 °C")
    assert rows(300.2, 580.0)[0].moved == "no"  # printed alike
    gone = conclusions.OfCompound(
        friction=CompoundFriction(compound="Marram 4", window_reason="band below the target everywhere")
    )
    row = conclusions.of_compound("Marram 4", window(300.0, 580.0), gone)[0]
    assert row.kind == "verdict" and row.changed and row.b == "none: band below the target everywhere"


def test_ends_without_an_interval_are_said_to_have_none():
    row = conclusions.of_compound("Marram 4", window(300.0, 580.0), window(304.0, 580.0))[0]
    assert (row.moved, row.changed) == ("no interval", True)


def test_an_opening_with_another_reservation_is_another_verdict():
    def side(low, reserved=None):
        life = Projected(why="no law")
        duty = DutyProjection(
            duty="valley", opening=0.5, life_cycles=life, life_km=life, opening_to_run={"low": low, "high": 0.9},
            opening_to_run_low={"value": low, "low": low - 0.05, "high": low + 0.05}, reserved=reserved,
        )  # fmt: skip
        return conclusions.OfCompound(duty=CompoundDuty(compound="c", duties=[duty]))

    def row(a, b):
        return next(r for r in conclusions.of_compound("c", a, b) if r.what == "opening to run on valley")

    assert (row(side(0.20), side(0.23)).kind, row(side(0.20), side(0.23)).moved) == ("figure", "inside")
    assert row(side(0.20), side(0.30)).moved == "beyond"
    other = row(side(0.20), side(0.20, reserved=True))
    assert other.kind == "verdict" and other.changed


def test_verdicts_side_by_side():
    wear = TestWear(test="t", components={"disc": TestComponent(chosen="energy")})
    summary = TestSummary(test="t1")
    steady, fell = TestDrift(test="t1", verdict="none"), TestDrift(test="t1", verdict="glazing-like", onset_stop=80)
    a, b = (conclusions.OfTest(summary=summary, wear=wear, drift=drift) for drift in (steady, fell))
    rows = {r.what: r for r in conclusions.of_test("t1", a, b)}
    assert rows["drift"].changed and rows["drift onset (stop)"].changed
    assert not rows["wear law of disc"].changed
    assert not rows["usable"].changed


def test_another_reason_of_a_no_is_no_changed_verdict_and_an_absent_test_is_not_usable():
    def side(why, usable=None):
        friction = TestFriction.model_validate({"test": "t1", "window": None, "window_reason": why})
        return conclusions.OfTest(summary=TestSummary(test="t1", unusable=usable), friction=friction)

    a, b = side("µ is 0.312 at most", "no stop has 20 bar"), side("µ is 0.314 at most", "no stop has 21 bar")
    assert not any(row.changed for row in conclusions.of_test("t1", a, b))
    rows = {r.what: r for r in conclusions.of_test("t1", a, side("µ is 0.3 at most"))}
    assert rows["usable"].changed and rows["usable"].b == "yes"
    gone = {r.what: r for r in conclusions.of_test("t1", side("none"), conclusions.OfTest())}
    assert gone["usable"].b is None and gone["usable"].changed


def test_batches_duties_and_targets():
    def side(verdict, share, met):
        mu, open_ = Answer(Difference(value=0.01), verdict), Answer(Difference(value=0.0), "undecided")
        life = Projected(why="no law")
        duty = DutyProjection(duty="valley", opening=0.5, window_share=share, life_cycles=life, life_km=life)
        return conclusions.OfCompound(
            batches=CompoundBatches(compound="c", pairs=[Pair.of("b1", "b2", None, mu=mu, bite=open_, wear=open_)]),
            duty=CompoundDuty(compound="c", duties=[duty]),
            sheet=Sheet(compound="c", targets=[TargetAnswer(target="disc_wear", wanted="", found="", met=met)]),
        )

    rows = {
        r.what: r
        for r in conclusions.of_compound(
            "Marram 4", side("equivalent", 0.90, "met"), side("undecided", 0.903, "not met")
        )
    }
    assert rows["mu of b1 and b2"].changed
    assert not rows["bite of b1 and b2"].changed
    assert not rows["share of energy in the window on valley"].changed
    assert rows["target disc_wear"].changed


def test_another_answer_over_both_uses_is_a_conclusion():
    def side(answer):
        both = None if answer is None else BothDuties(answer=answer, why="so")
        return conclusions.OfCompound(duty=CompoundDuty(compound="c", both_duties=both))

    def row(a, b):
        found = conclusions.of_compound("c", side(a), side(b))
        return next((r for r in found if r.what == "gentle and hard use on one opening"), None)

    assert row("serves both", "not shown").changed and not row("not shown", "not shown").changed
    assert row(None, "serves both").changed and row(None, None) is None


def workspace(root):
    write_text(
        root / "config.yaml",
        "archive: archive\nresults: results\nmethods: [m/first.yaml, m/other.yaml]\ncompare: [[first, other]]\n",
    )
    write_text(root / "m/first.yaml", "")
    write_text(root / "m/other.yaml", "reduction: {average: time}\n")
    for test, holds in (("t1", "stop"), ("old", "summary")):
        write_text(root / "archive" / test / "test.yaml", "schema: 1\ncompound: Marram 4\n")
        write_json(root / "results/channels" / f"{test}.json", {"test": test, "holds": holds})
        for method, mu in (("first", 0.42), ("other", 0.42 if holds == "summary" else 0.43)):
            into = root / "results" / method / "tests" / test
            write_parquet(into / "stops.parquet", stops_frame(12, mu=mu, mu_u=0.003))
            write_json(into / "summary.json", {"test": test, "unusable": None})
            write_json(into / "drift.json", {"test": test, "verdict": "none" if method == "first" else "undetermined"})
    return root / "config.yaml"


def test_the_stage_writes_both_files(tmp_path):
    config, into = workspace(tmp_path), tmp_path / "out"
    stage.run(config=config, a="first", b="other", into=into)
    table, content = pl.read_parquet(into / "delta.parquet"), read_json(into / "delta.json")
    assert table["test"].unique().sort().to_list() == ["old", "t1"]
    assert [row["name"] for row in content["settings"]] == ["reduction.average"]
    assert content["not_reprocessable"] == ["old"]
    assert content["comparable"]["answer"] == "no"
    assert content["verdict"][0] == "2 verdicts changed: drift of old; drift of t1."
    assert content["verdict"][-1] == "Kept as reduced rows and not reduced anew: old."
    assert {(r["name"], r["b"]) for r in content["changed"]} == {("t1", "undetermined"), ("old", "undetermined")}
    assert not list(into.glob("*.part"))


def test_an_archive_without_results_is_said(tmp_path):
    config = workspace(tmp_path)
    for path in (tmp_path / "results").rglob("stops.parquet"):
        path.unlink()
    stage.run(config=config, a="first", b="other", into=tmp_path / "out")
    assert read_json(tmp_path / "out" / "delta.json")["comparable"]["answer"] == "no"


def test_a_law_that_is_not_identified_is_told_as_none():
    def of(identified):
        law = FittedLaw(model="energy", parameters={}, identified=identified, effective=False)
        disc = TestComponent(chosen="energy", models=[law])
        return conclusions.OfTest(wear=TestWear(test="t1", components={"disc": disc}))

    rows = {r.what: r for r in conclusions.of_test("t1", of(True), of(False))}
    law = rows["wear law of disc"]
    assert (law.a, law.b) == ("energy", "none identified (energy as a description)")
    assert law.changed
