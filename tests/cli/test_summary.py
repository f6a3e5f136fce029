"""What a run says at its end: a line per test with its worst finding, and a code that is 0 only where every test is of use."""

from pathlib import Path

import pytest

from pipeline.cli import ending
from pipeline.cli.summary import UNUSABLE, Failed, RunEnd, exit_code, failures, method_end
from pipeline.results import write_json
from pipeline.results.fault import Fault
from pipeline.workspace.telling import Job
from tests.report import contents

OK = {"ok": 20, "suspect": 1, "rejected": 0}
NONE = {"ok": 0, "suspect": 21, "rejected": 0}


def finding(code, severity, message, stop=None, file=None):
    return {"code": code, "severity": severity, "stop": stop, "file": file, "message": message}


def results(root: Path, tests: dict, skipped=(), left_out=()) -> Path:
    """The JSON files of one method that the end of a run reads; `tests` maps an id to (counts, findings)."""
    rows = []
    for test, (counts, findings) in tests.items():
        folder = root / "first" / "tests" / test
        why = "test.yaml: inertia: missing" if counts is None else None
        rows.append({"test": test, "compound": "M", "status": "unusable" if why else "ok", "why": why})
        write_json(folder / "summary.json", {"test": test, "stops": counts or {}, "unusable": why})
        write_json(folder / "findings.json", {"test": test, "findings": findings})
        write_json(folder / "drift.json", {"test": test, "verdict": "glazing-like", "onset_stop": 12})
        window = contents.window(low_c=100.0, high_c=400.0, high_limited_by="band")
        write_json(folder / "friction.json", {"test": test, "window": window})
    content = {
        "method": "first",
        "software": "v1",
        "tests": rows,
        "skipped": [{"folder": f, "why": w} for f, w in skipped],
        "left_out": [{"file": f, "why": w} for f, w in left_out],
    }
    write_json(root / "first" / "archive.json", content)
    return root


def outcome(root, use_suspect, faults=(), jobs=(), said=()):
    """The end of a run over these results printed on a pipe; its exit code."""
    methods = [method_end(root / name, suspect_too) for name, suspect_too in use_suspect.items()]
    failed = failures(faults, jobs, said)
    end = RunEnd(methods, [], 0.0, 0, failed, [], None, exit_code(methods, faults))
    ending.show(end, as_json=False)
    return end.code


def test_a_usable_test_has_its_counts_its_verdicts_and_its_worst_finding(tmp_path, capsys):
    found = [
        finding("dropout", "suspect", "stop 4: no number", stop=4),
        finding("dropout", "suspect", "stop 5: no number", stop=5),
        finding("averages_differ", "info", "apart", stop=1),
    ]
    assert outcome(results(tmp_path, {"t1": (OK, found)}), {"first": False}) == 0
    first, last, ran = capsys.readouterr().out.splitlines()
    assert first == (
        "first: t1: 20 ok, 1 suspect, 0 rejected; drift glazing-like from stop 12; window 100 to 400 °C;"
        " worst finding: suspect, dropout (2 times), stop 4: no number"
    )
    assert last == f"first: 1 test, 1 of use; open {tmp_path / 'first' / 'index.html'}"
    assert ran == "ran: nothing"


def test_information_alone_is_no_worst_finding(tmp_path, capsys):
    outcome(results(tmp_path, {"t1": (OK, [finding("averages_differ", "info", "apart")])}), {"first": False})
    assert "worst" not in capsys.readouterr().out


def test_no_usable_stop_ends_with_3_and_gives_no_verdict(tmp_path, capsys):
    """Torque in another unit than declared: every stop is suspect, and a verdict from none of them would mislead."""
    found = [finding("balance_off", "suspect", "energy balance 0.74: is inertia right?")]
    root = results(tmp_path, {"good": (OK, []), "bad": (NONE, found)})
    assert outcome(root, {"first": False}) == UNUSABLE
    printed = capsys.readouterr().out.splitlines()
    assert printed[1] == (
        "first: bad: no stop of use: 0 ok, 21 suspect, 0 rejected;"
        " worst finding: suspect, balance_off, energy balance 0.74: is inertia right?"
    )
    assert "2 tests, 1 of use, 1 without a stop of use" in printed[-2]


def test_suspect_stops_are_of_use_where_the_method_takes_them(tmp_path, capsys):
    assert outcome(results(tmp_path, {"t1": (NONE, [])}), {"first": True}) == 0
    assert "no stop of use" not in capsys.readouterr().out


def test_an_unusable_test_ends_with_3_and_its_reason(tmp_path, capsys):
    assert outcome(results(tmp_path, {"t1": (None, [])}), {"first": False}) == UNUSABLE
    assert "first: t1: unusable: test.yaml: inertia: missing" in capsys.readouterr().out


def test_what_was_skipped_or_left_out_is_named(tmp_path, capsys):
    lost = [finding("wear_file_invalid", "suspect", "wear.csv: line 3: no number", file="wear.csv")]
    root = results(
        tmp_path,
        {"t1": (OK, lost)},
        skipped=[("old stuff", "the folder's name is not allowed")],
        left_out=[("x.yaml", "x.yaml: moo: unknown key")],
    )
    outcome(root, {"first": False})
    printed = capsys.readouterr().out
    assert "worst" not in printed  # said on a line of its own
    assert "first: t1: wear is not given: wear.csv: line 3: no number" in printed
    assert "first: old stuff: skipped: the folder's name is not allowed" in printed
    assert "first: x.yaml: left out: moo: unknown key" in printed
    assert "; 1 folder skipped, 1 file left out; open" in printed


def test_a_fault_of_ours_ends_with_1_and_its_reason(tmp_path, capsys):
    root = results(tmp_path, {"t1": (None, [])})
    fault = Fault("wear", "t1", "ours", "fault of ours in stage wear; /r/wear.json.fault.txt has the details", "v1", 2)
    assert outcome(root, {"first": False}, [fault]) == 1
    assert f"failed: wear of t1: {fault.why}" in capsys.readouterr().out.splitlines()


def test_a_stage_that_failed_is_told_by_its_own_last_words():
    jobs = [Job(1, "wear", "t1", "first"), Job(2, "wear", "t2", "first"), Job(3, "rigs", "", "first")]
    said = ["stopsheet: t1: stage wear: /r/wear.json: the disk is full", "stopsheet: t2: stage wear was killed"]
    assert failures([], jobs, said) == [
        Failed("wear", "t1", "/r/wear.json: the disk is full"),
        Failed("wear", "t2", "was killed"),
        Failed("rigs", "", "ended before it could say why; the log may"),
    ]


@pytest.mark.parametrize("name", ["summary.json", "findings.json", "drift.json"])
def test_a_file_that_is_missing_hides_no_test(tmp_path, capsys, name):
    root = results(tmp_path, {"t1": (OK, [])})
    (root / "first" / "tests" / "t1" / name).unlink()
    assert outcome(root, {"first": False}) == (UNUSABLE if name == "summary.json" else 0)
    assert "first: t1: " in capsys.readouterr().out


def test_a_text_of_the_archive_steers_no_terminal(tmp_path, capsys):
    lost = [finding("wear_file_invalid", "suspect", "wear.csv: \x9b2J\x1b[2J\nall well")]
    outcome(results(tmp_path, {"t1": (OK, lost)}), {"first": False})
    printed = capsys.readouterr().out
    assert "\x9b" not in printed and "\x1b" not in printed and "\nall well" not in printed
