"""What is cut out for a test or compound gives its stages what the whole would, and changes only where that does."""

from __future__ import annotations

import os

import pytest

from pipeline.archive.scan import scan
from pipeline.comparison.stage import together
from pipeline.compound.stage import state_sd
from pipeline.laboratory import extracts_stage
from pipeline.laboratory.extracts import (
    charts_of_compound,
    charts_of_test,
    precision_of_compound,
    rigs_of_compound,
    rigs_of_test,
)
from pipeline.results.charts import Chart, Charts, RigCharts, Wander
from pipeline.results.extracts import Extracts, places
from pipeline.results.model import read, renewed, write
from pipeline.results.precision import Component, Of, RigPrecision
from pipeline.results.rigs import Copied, Event, Examined, OfRig, Rigs, Step

OWN = frozenset({"a1", "a2"})


def finding(test, message):
    return OfRig(test=test, code="rig_shift", severity="suspect", message=message)


def examined(rig, before, after, shift=0.04):
    steps = {"friction": Step(found=True, step=0.04), "energy_ratio": Step(found=False)}
    events = [Event(date="2026-02-01", what="rebuild")]
    return Examined(
        rig=rig, date="2026-02-01", events=events, shift_relative=shift, before=before, tests=after, **steps
    )


def wander(tests, text):
    when = {"onset_date": "2026-02-01", "earliest_date": "2026-02-01", "alarm_date": "2026-03-01"}
    return Wander(rig="north", quantity="mu", subject="A", onset=tests[0], alarm=tests[-1], shift=0.03, shift_relative=0.03,
                  tests=tests, text=text, **when)  # fmt: skip


def chart(quantity, wanders):
    limits = {"single_limit": 3.0, "average_weight": 0.2, "average_limit": 0.9}
    often = {"run_length_single": 370.0, "run_length_average": 400.0}
    return Chart(
        quantity=quantity,
        subject="A",
        unit="1",
        scatter="estimated",
        sigma=0.02,
        df=5,
        wanders=wanders,
        **limits,
        **often,
    )


@pytest.fixture
def rigs():
    shifts = [examined("north", ["a1", "b1"], ["a2", "b2"]), examined("south", ["b3"], ["b4"])]
    return Rigs(
        method="m",
        epochs={"a1": "north", "a2": "north after", "b1": "north"},
        examined=[*shifts, examined("north", ["a2"], ["b2"], None)],
        shifts=shifts,
        findings=[finding("a2", "shifted"), finding("b2", "shifted")],
        copies=[Copied(test="a2", of="b1", stops=9, share=1.0, whole=True, cards_differ_in={}),
                Copied(test="b3", of="b4", stops=9, share=1.0, whole=True, cards_differ_in={})],
    )  # fmt: skip


@pytest.fixture
def charts():
    own, other = wander(["a1", "b1"], "north moved"), wander(["b1", "b2"], "north moved again")
    silent = chart("lag", [wander(["a1"], "a lag moved")])
    rig = RigCharts(rig="north", page="north", tests=["a1", "b1"], charts=[chart("mu", [own, other]), silent])
    return Charts(method="m", rigs=[rig], findings=[finding("b1", "moved")])


def test_a_test_takes_the_findings_in_it(rigs, charts):
    assert [one.message for one in rigs_of_test(rigs, "a2").findings] == ["shifted"]
    assert rigs_of_test(rigs, "a1").findings == [] and charts_of_test(charts, "a1").findings == []
    assert charts_of_test(charts, "b1").findings == charts.findings


def test_a_compound_takes_states_steps_shifts_and_copies_of_its_tests(rigs):
    cut = rigs_of_compound(rigs, OWN, frozenset({"north"}))
    assert cut.epochs == {"a1": "north", "a2": "north after"}
    assert [(one.rig, one.before, one.tests) for one in cut.shifts] == [("north", ["a1"], ["a2"])]
    assert [(one.rig, one.shift_relative) for one in cut.examined] == [("north", 0.04), ("north", None)]
    assert [one.test for one in cut.copies] == ["a2"] and cut.findings == []


def test_a_further_test_of_another_compound_leaves_it_as_it_is(rigs, charts):
    more = renewed(
        rigs,
        epochs={**rigs.epochs, "b9": "north"},
        shifts=[renewed(one, tests=[*one.tests, "b9"]) for one in rigs.shifts],
        examined=[renewed(one, before=["b8", *one.before]) for one in rigs.examined],
        findings=[*rigs.findings, finding("b9", "shifted")],
    )
    on = frozenset({"north"})
    assert rigs_of_compound(more, OWN, on) == rigs_of_compound(rigs, OWN, on)
    assert rigs_of_test(more, "a2") == rigs_of_test(rigs, "a2")
    (rig,) = charts.rigs
    busier = renewed(
        charts, rigs=[renewed(rig, tests=[*rig.tests, "b9"], charts=[renewed(c, sigma=0.021) for c in rig.charts])]
    )
    assert charts_of_compound(busier, "A", OWN) == charts_of_compound(charts, "A", OWN)


def test_a_compound_takes_the_moves_that_touch_its_tests(charts):
    cut = charts_of_compound(charts, "A", OWN)
    assert [(one.text, one.tests) for one in cut.wanders] == [("north moved", ["a1"])]
    assert [one for one in charts.wanders if OWN & set(one.tests)] == [
        renewed(one, tests=["a1", "b1"]) for one in cut.wanders
    ]


@pytest.mark.parametrize("told", [None, 0.02])
def test_the_scatter_between_states_of_the_rigs_is_that_of_the_whole(told):
    def of(quantity, compound, value):
        component = Component(value=value, df=3.0) if value else Component(why="one state")
        return Of(
            quantity=quantity,
            compound=compound,
            conditions="c",
            components={"rig": component, "batch": Component(value=0.1)},
        )

    whole = RigPrecision(
        quantities=[of("mu", "A", 0.03), of("mu", "B", 0.05), of("mu", None, told), of("wear", None, 0.3)]
    )
    cut = precision_of_compound(whole, "A")
    assert state_sd(cut, "A") == state_sd(whole, "A")
    assert [(one.quantity, one.compound) for one in cut.quantities] == [("mu", "A"), ("mu", None)]
    other = renewed(
        whole, quantities=[of("mu", "A", 0.03), of("mu", "B", 0.06), of("mu", None, told), of("wear", None, 0.2)]
    )
    assert precision_of_compound(other, "A") == cut


def test_two_cuts_of_one_file_are_what_both_compounds_take(rigs):
    a, b = (
        rigs_of_compound(rigs, frozenset(tests), frozenset({"north", "south"}))
        for tests in (["a1", "a2"], ["b1", "b2", "b3"])
    )
    both = together([a, b])
    assert both.epochs == rigs.epochs and both.copies == rigs.copies
    assert [(one.rig, one.tests) for one in both.shifts] == [("north", ["a2", "b2"])]
    assert together([rigs]) == renewed(rigs, method=None, examined=[], findings=[])


def test_what_does_not_change_is_left_untouched(tmp_path, rigs, charts):
    for test, compound in (("a1", "A"), ("a2", "A"), ("b1", "B")):
        folder = tmp_path / "archive" / test
        folder.mkdir(parents=True)
        (folder / "test.yaml").write_text(f"compound: {compound}\nrig: north\n")
    results = tmp_path / "results" / "m"

    def cut(rigs):
        write(results / "rigs.json", rigs)
        write(results / "charts.json", charts)
        write(results / "precision.json", RigPrecision(method="m"))
        extracts_stage.run(archive=tmp_path / "archive", results=results, into=results,
                           **{name: results / f"{name}.json" for name in ("rigs", "charts", "precision")})  # fmt: skip
        written = places(results, list(scan(tmp_path / "archive").tests), ["a", "b"])
        assert all(path.is_file() for path in written)
        anew = {str(path.relative_to(results)) for path in written if path.stat().st_mtime > 1}
        for path in written:
            os.utime(path, (1, 1))
        return anew, read(results / "extracts.json", Extracts)

    changed = renewed(rigs, findings=[finding("a2", "shifted by more"), *rigs.findings[1:]])
    _, before = cut(rigs)
    again, same = cut(rigs)
    assert again == set() and same == before
    anew, after = cut(changed)
    assert anew == {"tests/a2/extracts/rigs.json"}
    assert {name for name in after.files if after.files[name] != before.files[name]} == {"tests/a2/extracts/rigs.json"}
