"""Issued results against today's: what no longer holds, by what, and what cannot be compared."""

from __future__ import annotations

import json
import shutil

import pytest

from pipeline.cli import run
from pipeline.delta.issued import Said, judged
from pipeline.delta.releases import compared
from pipeline.errors import InputError
from pipeline.report import releases_page, sheet
from pipeline.results.model import renewed
from pipeline.wording import counted
from tests.report import makers

pytestmark = pytest.mark.usefixtures("pictures_once")


@pytest.fixture(scope="module")
def issued(tmp_path_factory):
    root = tmp_path_factory.mktemp("issued")
    arguments = makers.results_of_compound(root)
    sheet.run(**arguments)
    return root / "results"


@pytest.fixture
def today(issued, tmp_path):
    shutil.copytree(issued, tmp_path / "today")
    return tmp_path / "today"


def edited(path, change):
    content = json.loads(path.read_text())
    change(content)
    path.write_text(json.dumps(content))


COMPOUND = "first/compounds/marram-4"


def broken(found):
    return [row for row in found.methods[0].statements if row.holds is False]


def number(content, label):
    return next(n for s in content["sections"] for n in s["numbers"] if n["label"] == label)


def test_the_same_results_hold_whole(issued, today):
    (one,) = compared(issued, today).methods
    assert len(one.statements) > 100 and all(row.holds for row in one.statements)
    assert one.not_compared == [] and all(subject.causes == [] for subject in one.subjects)


@pytest.mark.parametrize(
    ("old", "new", "holds"),
    [
        (
            Said("p", "w", "0.40 (0.38 to 0.42)", 0.40, 0.38, 0.42),
            Said("p", "w", "0.419 (0.40 to 0.44)", 0.419, 0.40, 0.44),
            True,
        ),
        (Said("p", "w", "0.40 (0.38 to 0.42)", 0.40, 0.38, 0.42), Said("p", "w", "0.43", 0.43), False),
        (Said("p", "w", "0.40 (0.38 to 0.42)", 0.40, 0.38, 0.42), Said("p", "w", "0.40", 0.40, 0.36, 0.44), False),
        (Said("p", "w", "0.40 (0.38 to 0.42)", 0.40, 0.38, 0.42), Said("p", "w", "0.40", 0.40), False),
        (Said("p", "w", "412 °C", 412.4), Said("p", "w", "413 °C", 413.0), True),
        (Said("p", "w", "5", 5.0), Said("p", "w", "6", 6.0), False),
        (Said("p", "w", "met", word=True), Said("p", "w", "not met", word=True), False),
        (Said("p", "w", "not given: no data"), Said("p", "w", "0.4", 0.4), False),
        (Said("p", "w", "0.4", 0.4), None, None),
    ],
)
def test_when_a_statement_holds(old, new, holds):
    assert judged(old, new)[0] is holds


def stamped(root, settings=None, revision=1, card="c", recording="r", wear="w"):
    """Stamps on a test of a results folder, as the stages write them."""
    stamp = {"stage": "stops", "revision": revision, "software": "1", "inputs": {"card": card},
             "settings": {"revisions": {"reduction": revision}, "settings": {"reduction": settings or {"average": "time"}}}}  # fmt: skip
    edited(root / "first/tests/m4-a/summary.json", lambda c: c.update(stamp=stamp))
    edited(
        root / "first/tests/m4-a/wear.json",
        lambda c: c.update(stamp={**stamp, "stage": "wear", "inputs": {"wear": wear}}),
    )
    place = root / "channels" / "m4-a.json"
    place.parent.mkdir(exist_ok=True)
    record = {"test": "m4-a", "recordings": [{"recording": 1, "file": "1.csv", "rows": 9, "digest": recording}]}
    place.write_text(json.dumps(record))


@pytest.mark.parametrize(
    ("change", "kind", "word"),
    [
        ({"settings": {"average": "distance"}}, "method", "reduction.average: time -> distance"),
        ({"revision": 2}, "software", "revision of reduction: 1 -> 2"),
        ({"card": "d"}, "data", "card of m4-a"),
        ({"recording": "s"}, "data", "recordings of m4-a: 1.csv"),
        ({"wear": "v"}, "data", "wear readings of m4-a"),
    ],
)
def test_each_cause_is_named(issued, today, tmp_path, change, kind, word):
    shutil.copytree(issued, tmp_path / "before")
    stamped(tmp_path / "before")
    stamped(today, **change)
    edited(today / COMPOUND / "sheet.json", lambda c: number(c, "window, lower end").update(value=390.0, text="390 °C"))
    found = compared(tmp_path / "before", today)
    own = next(subject for subject in found.methods[0].subjects if subject.name == "m4-a")
    assert [(cause.kind, cause.what) for cause in own.causes] == [(kind, [word])]
    rows = broken(found)
    assert rows and all(row.what == "window, lower end" for row in rows)
    assert rows[0].causes == [kind]


def test_a_move_that_nothing_recorded_explains_says_so(issued, today):
    edited(today / COMPOUND / "sheet.json", lambda c: number(c, "window, lower end").update(value=390.0, text="390 °C"))
    assert {tuple(row.causes) for row in broken(compared(issued, today))} == {("not recorded",)}


def test_an_answer_and_a_verdict_that_changed(issued, today):
    edited(today / COMPOUND / "sheet.json", lambda c: c["targets"][0].update(met="undecided"))
    edited(today / COMPOUND / "batches.json", lambda c: c["pairs"][0].update(mu_verdict="different"))
    rows = broken(compared(issued, today))
    assert {row.part for row in rows} == {"Targets", "Conclusions"}
    assert ("equivalent", "different") in {(row.issued, row.now) for row in rows}


def test_what_changed_is_said_first_verdicts_apart_from_figures(issued, today):
    assert releases_page.verdict(compared(issued, today).methods[0]) == [
        "No verdict changed.",
        "No figure left the interval that it was issued with.",
    ]

    def change(content):
        content["targets"][0].update(met="undecided")
        number(content, "window, lower end").update(value=390.0, text="390 °C")  # issued without an interval
        known = next(n for s in content["sections"] for n in s["numbers"] if n["low"] is not None)
        known.update(value=known["high"] + 1.0, text="beyond")

    edited(today / COMPOUND / "sheet.json", change)
    found = compared(issued, today)
    said = releases_page.verdict(found.methods[0])
    assert said[0].startswith("1 verdict changed: ") and said[0].endswith(" of Marram 4.")
    beyond, bare = releases_page.figures_of(broken(found))
    assert [row.now for row in beyond] == ["beyond"] and {row.what for row in bare} == {"window, lower end"}
    assert said[1].startswith("1 figure no longer within what was issued: ")
    assert (
        said[2] == f"{counted(len(bare), 'figure')} moved that had no interval."
        and said[3] == "Nothing recorded differs."
    )
    page = releases_page.page(found)
    heads = (
        "1 verdict changed",
        "Verdicts that changed",
        "Figures that no longer hold",
        "Figures that moved and had no interval",
    )
    assert [page.index(head) for head in heads] == sorted(page.index(head) for head in heads)
    assert said[0] in releases_page.lines(found)[0]


def test_where_nothing_can_be_compared_nothing_is_said_to_hold(issued, today):
    one = compared(issued, today).methods[0]
    none = renewed(one, statements=[renewed(row, holds=None, now=None) for row in one.statements])
    assert releases_page.verdict(none)[0] == "No verdict can be compared."
    assert not any("No figure left" in said or "No verdict changed" in said for said in releases_page.verdict(none))
    page = releases_page.page(renewed(compared(issued, today), methods=[none]))
    assert "No issued statement can be compared" in page and "that can be compared holds" not in page


@pytest.mark.parametrize(
    "lost", ["first/compounds/marram-4/sheet.json", "first/compounds/marram-4", "first/tests/m4-b"]
)
def test_results_half_gone_never_read_as_nothing_changed(issued, today, lost):
    """What an issued sheet states is counted, whether or not there is something to hold it against."""
    whole = compared(issued, today).methods[0]
    shutil.rmtree(today / lost) if (today / lost).is_dir() else (today / lost).unlink()
    one = compared(issued, today).methods[0]
    printed = [row for row in whole.statements if row.part not in ("Conclusions", "Figures")]
    assert len([row for row in one.statements if row.part not in ("Conclusions", "Figures")]) == len(printed) > 100
    if "compounds" in lost:
        unsaid = [row for row in one.statements if row.holds is None]
        assert len(unsaid) == len(printed) and f"of {len(printed)} it cannot be said" in releases_page.short(one)
    said = releases_page.verdict(one)
    assert said[0] in ("No verdict changed of those that can be compared.", "No verdict can be compared.")
    assert "No figure left the interval that it was issued with." not in said
    told = " ".join(releases_page.lines(compared(issued, today)))
    page = releases_page.page(compared(issued, today))
    assert "the today" not in told + page and "by nothing recorded differs" not in page


def test_a_test_that_was_added_leaves_the_verdict_whole(issued, today):
    shutil.copytree(today / "first/tests/m4-a", today / "first/tests/m4-z")
    assert releases_page.verdict(compared(issued, today).methods[0])[0] == "No verdict changed."


def test_a_window_that_moved_inside_its_interval_still_holds(issued, today):
    def moved(content):
        content["window"].update(low_c=content["window"]["low_c"] + 3.0, low_interval_c={"low": 220.0, "high": 240.0})

    known = {"low": 220.0, "high": 240.0}
    both = (issued / COMPOUND / "friction.json").read_text()
    try:
        edited(issued / COMPOUND / "friction.json", lambda c: c["window"].update(low_interval_c=known))
        edited(today / COMPOUND / "friction.json", moved)
        row = next(
            r for r in compared(issued, today).methods[0].statements if r.what == "window" and r.of == "Marram 4"
        )
    finally:
        (issued / COMPOUND / "friction.json").write_text(both)
    assert row.holds and row.part == "Figures" and row.why == "moved by no more than half the width of its interval"


def test_files_of_another_form_are_named_and_the_rest_goes_on(issued, today):
    edited(today / COMPOUND / "duty.json", lambda c: c.update(unheard_of=1))
    (today / COMPOUND / "wear.json").write_text("{broken")
    (today / "first/tests/m4-a/drift.json").unlink()
    (one,) = compared(issued, today).methods
    told = {row.file: row.why for row in one.not_compared}
    assert set(told) == {"compounds/marram-4/duty.json", "compounds/marram-4/wear.json", "tests/m4-a/drift.json"}
    assert all(why.startswith("cannot be compared because") for why in told.values())
    assert all(row.holds for row in one.statements)  # nothing is concluded from what cannot be read


@pytest.mark.parametrize(
    "content", ["", "[]", '{"sections": 3}', '{"sections": [{"numbers": [{"value": "x"}, 5]}, 7], "targets": [1]}']
)
def test_a_sheet_that_is_none_gives_no_traceback(issued, today, content):
    (today / COMPOUND / "sheet.json").write_text(content)
    (one,) = compared(issued, today).methods
    of_other_files = ("Conclusions", "Figures")
    assert not any(row.holds for row in one.statements if row.part not in of_other_files)


def test_tests_and_methods_on_one_side_only(issued, today):
    shutil.rmtree(today / "first/tests/m4-b")
    shutil.copytree(today / "first", today / "second")
    found = compared(issued, today / "first")
    assert "tests/m4-b" in {row.file for row in found.methods[0].not_compared}
    assert compared(issued / "first", today / "second").methods[0].b == "second"


def test_folders_without_results_are_refused(issued, tmp_path):
    for folder in (tmp_path, tmp_path / "none"):
        with pytest.raises(InputError, match=r"results|folder"):
            compared(issued, folder)


def test_the_command_prints_and_writes(issued, today, tmp_path, capsys):
    edited(today / COMPOUND / "sheet.json", lambda c: number(c, "window, lower end").update(value=390.0, text="390 °C"))
    assert run(["delta", str(issued), str(today), "--into", str(tmp_path / "out")]) == 0
    assert "no longer hold" in capsys.readouterr().out
    page = (tmp_path / "out" / "statements.html").read_text()
    assert "window, lower end" in page and "390 °C" in page
    assert json.loads((tmp_path / "out" / "statements.json").read_text())["methods"]
    assert run(["delta", str(issued), str(tmp_path / "nowhere")]) == 2
    before = sorted(today.rglob("*"))
    assert run(["delta", str(issued), str(today), "--into", str(today / "first" / "new")]) == 2
    assert sorted(today.rglob("*")) == before  # neither side is written to
    assert "Traceback" not in capsys.readouterr().err
