"""The end of a run and its plan: the same content as a table on a terminal, as lines on a pipe and as one JSON document."""

import io
import json
import re
import sys
from pathlib import Path

from pipeline.cli import ending
from pipeline.cli.summary import Failed, MethodEnd, RunEnd, TestEnd, Worst
from pipeline.results.archive import LeftOut, LeftOver, Skipped
from pipeline.results.summary import StopCounts
from pipeline.workspace.telling import Job

TESTS = [
    TestEnd(
        "t1", "Marram 4", "of use", None, StopCounts(ok=20, suspect=1, rejected=2), drift="glazing-like from stop 12",
        window="100 to 400 °C", worst=Worst("suspect", "dropout", 2, "stop 4: no number"), lost=("wear is not given: line 3",),
    ),
    TestEnd("t2", "Marram 4", "no stop of use", None, StopCounts(ok=0, suspect=21)),
    TestEnd("t3", None, "unusable", "test.yaml: inertia: missing\x1b[2J"),
]  # fmt: skip
METHOD = MethodEnd(
    "first",
    Path("/r/first/index.html"),
    TESTS,
    [Skipped(folder="old stuff", why="no card")],
    [LeftOut(file="x.yaml", why="x.yaml: moo")],
    [LeftOver(folder="tests/t0", why="the archive has no such test")],
)
RAN = [(Job(4, "stops", "t1", "first"), 2.5), (Job(5, "stops", "t2", "first"), 1.5), (Job(6, "rigs", "", "first"), 1.0)]
WAITS = [Job(7, "sheet", "marram-4", "first")]
END = RunEnd([METHOD], RAN, 70.0, 25, [Failed("wear", "t1", "the disk is full")], WAITS, Path("/r/run.log"), 1)
PLAN = ending.Planned(
    [
        Job(1, "friction", "t1", "first", ("setting changed: friction.coverage 0.9 to 0.95",)),
        Job(2, "friction", "t2", "first", ("setting changed: friction.coverage 0.9 to 0.95",)),
        Job(3, "rigs", "", "first", ("follows stops",)),
    ],
    12,
    None,
    61.0,
)


class Terminal(io.StringIO):
    encoding = "utf-8"

    def isatty(self):
        return True


def on_terminal(monkeypatch, work):
    """What reaches a terminal of 120 columns without colours, by lines, each without styles and runs of spaces."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.setenv("NO_COLOR", "1")
    stream = Terminal()
    monkeypatch.setattr(sys, "stdout", stream)
    work()
    monkeypatch.undo()
    printed = stream.getvalue()
    assert "\x1b[3" not in printed and "\x1b[2J" not in printed
    return [" ".join(re.sub("\x1b\\[[01]m", "", row).split()) for row in printed.splitlines()]


def test_a_pipe_gets_a_line_per_test_then_what_ran_and_what_failed(capsys, monkeypatch):
    monkeypatch.setenv("FORCE_COLOR", "1")
    ending.show(END, as_json=False)
    printed = capsys.readouterr().out
    assert "\x1b" not in printed
    assert printed.splitlines() == [
        "first: t1: 20 ok, 1 suspect, 2 rejected; drift glazing-like from stop 12; window 100 to 400 °C; "
        "worst finding: suspect, dropout (2 times), stop 4: no number",
        "first: t1: wear is not given: line 3",
        "first: t2: no stop of use: 0 ok, 21 suspect, 0 rejected",
        "first: t3: unusable: test.yaml: inertia: missing\\x1b[2J",
        "first: old stuff: skipped: no card",
        "first: x.yaml: left out: moo",
        "first: tests/t0: left over: the archive has no such test",
        "first: 3 tests, 1 of use, 1 without a stop of use, 1 unusable; 1 folder skipped, 1 file left out, 1 folder left over; open /r/first/index.html",
        "ran: 3 stages in 1 min: stops 2, rigs 1",
        "tests reduced: t1, t2",
        "up to date: 25 stages",
        "failed: wear of t1: the disk is full",
        "not run: 1 stage behind what failed",
        "log: /r/run.log",
    ]


def test_a_terminal_gets_a_table_with_the_same_content(monkeypatch):
    rows = on_terminal(monkeypatch, lambda: ending.show(END, as_json=False))
    assert "test ok suspect rejected drift window worst finding" in rows
    assert any(
        row.startswith("t1 20 1 2 glazing-like from stop 12 100 to 400 °C suspect, dropout (2 times)") for row in rows
    )
    assert "t2 0 21 0 no stop of use none" in rows
    assert "t3 unusable test.yaml: inertia: missing\\x1b[2J" in rows
    texts = (
        "first: t1: wear is not given: line 3",
        "first: tests/t0: left over: the archive has no such test",
        "first: old stuff: skipped: no card",
        *ending.run_lines(END),
    )
    assert set(texts) <= set(rows)


def test_the_document_holds_what_the_table_and_the_lines_hold(capsys):
    ending.show(END, as_json=True)
    found = json.loads(capsys.readouterr().out)
    (method,) = found["methods"]
    assert [test["state"] for test in method["tests"]] == ["of use", "no stop of use", "unusable"]
    assert method["tests"][0]["stops"] == {"ok": 20, "suspect": 1, "rejected": 2}
    assert method["tests"][0]["worst"]["code"] == "dropout" and method["tests"][0]["lost"] == [
        "wear is not given: line 3"
    ]
    assert method["skipped"] == [{"folder": "old stuff", "why": "no card"}]
    assert found["failed"] == [{"stage": "wear", "subject": "t1", "why": "the disk is full"}]
    first = found["ran"][0]
    assert (first["stage"], first["subject"], first["seconds"]) == ("stops", "t1", 2.5)
    assert (found["exit_code"], found["up_to_date"], found["log"]) == (1, 25, "/r/run.log")
    assert [one["stage"] for one in found["not_run"]] == ["sheet"]


def test_a_plan_tells_what_would_run_and_why_the_like_together(capsys):
    ending.show_plan(PLAN, as_json=False)
    assert capsys.readouterr().out.splitlines() == [
        "first: friction: t1, t2: setting changed: friction.coverage 0.9 to 0.95",
        "first: rigs: follows stops",
        "3 stages would run in about 1 min; 12 stages up to date; nothing was run",
    ]
    ending.show_plan(PLAN, as_json=True)
    found = json.loads(capsys.readouterr().out)
    assert [one["subject"] for one in found["would_run"]] == ["t1", "t2", ""] and found["up_to_date"] == 12


def test_a_plan_of_nothing_says_so(capsys):
    ending.show_plan(ending.Planned([], 28, None, 0.0), as_json=False)
    assert capsys.readouterr().out == "nothing would run; 28 stages up to date; nothing was run\n"


def test_a_plan_on_a_terminal_is_a_table(monkeypatch):
    rows = on_terminal(monkeypatch, lambda: ending.show_plan(PLAN, as_json=False))
    assert "first: friction t1, t2 setting changed: friction.coverage 0.9 to 0.95" in rows
