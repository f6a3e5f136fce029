"""`check` and `run` never disagree: what one refuses the other refuses, over cards and recordings changed in many ways.

The run is that of the stages which decide whether a test can be used: recordings and stops, in this process.
"""

import itertools
from pathlib import Path

import numpy as np
import pytest

from pipeline.method import Method, settings_of
from pipeline.recordings import stage as recordings
from pipeline.results.findings import Findings
from pipeline.results.model import read
from pipeline.results.record import Record
from pipeline.stops import stage as stops
from pipeline.workspace.check import checked_place
from tests.inputs.wrong import PLACES, ROWS, recording, write

#: changes that leave a card that can be read, most of them wrong by much: (of the card, in place of)
CHANGES = (
    ("column: t, unit: s}", "column: t, unit: ms}"), ("column: t, unit: s}", "column: t, unit: min}"), ("column: t, unit: s}", "column: t, unit: h}"),
    ("unit: rpm", "unit: rad/s"), ("unit: rpm", "unit: deg/s"), ("unit: rpm", "unit: rev/s"), ("unit: N m", "unit: kN m"), ("unit: N m", "unit: lbf in"),
    ("unit: bar", "unit: MPa"), ("unit: bar", "unit: Pa"), ("unit: bar", "unit: psi"), ("unit: degC", "unit: K"), ("unit: degC", "unit: degF"),
    ("holds: stop", "holds: series"), ("inertia: 26", "inertia: 2600"), ("inertia: 26", "inertia: 0.26"), ("134 mm", "128 mm"),
    ("52 cm^2", "220 cm^2"), ("pressure: 40 bar", "pressure: 400 bar"), ("pressure: 40 bar", "pressure: 4 bar"), ("    stops: 2", "    stops: 90"),
    ("[1500 rpm, 700 rpm]", "[15000 rpm, 7000 rpm]"), ("kind: snub", "kind: stop"), ("recordings/*.csv", "recordings/0001.csv"),
    ("holds: stop", "holds: stop\n  skip_lines: 1"), ("holds: stop", "holds: stop\n  units_row: false"), ("holds: stop", 'holds: stop\n  delimiter: ";"'),
    ("holds: stop", "holds: stop\n  comment: t"), ("column: Mb", "column: T1 "), ("column: p,", 'column: "-p",'), ("column: T1", "column: T2"),
    ("format: delimited", "format: parquet"), ("format: delimited", "format: tdms"), ("[30 mm, 34 mm, 38 mm]", "[3 mm]"),
    ("outer_diameter: 312 mm", "outer_diameter: 269 mm"), ("pad_area: 52 cm^2", "pad_area: 52 cm^2\n  threshold_pressure: 45 bar"),
)  # fmt: skip
#: changes of the recordings: (name, every file's new text from its text)
SPOILT = (
    ("pressure counts the other way", lambda text: _with_column(text, 3, lambda p: -p)),
    ("pressure stays at rest", lambda text: _with_column(text, 3, lambda p: 0.0)),
    ("the shaft stands", lambda text: _with_column(text, 1, lambda n: 0.0)),
    ("torque counts the other way", lambda text: _with_column(text, 2, lambda m: -m)),
    ("two rows", lambda text: "".join(text.splitlines(keepends=True)[:4])),
    ("no rows", lambda text: "".join(text.splitlines(keepends=True)[:2])),
    ("no torque", lambda text: _with_column(text, 2, lambda m: float("nan"))),
    ("half of the values are words", lambda text: text.replace(".1", ".x").replace(".2", ".x").replace(".3", ".x")),
    ("sampled once a second", lambda text: "".join((lines := text.splitlines(keepends=True))[:2] + lines[2::100])),
    ("cut before the braking", lambda text: "".join(text.splitlines(keepends=True)[:90])),
)  # fmt: skip


def _with_column(text, at, change):
    lines = text.splitlines()
    rows = [line.split(",") for line in lines[2:]]
    for row in rows:
        row[at] = f"{change(float(row[at])):.6f}"
    return "\n".join([*lines[:2], *(",".join(row) for row in rows)]) + "\n"


def by_check(archive: Path) -> list[str]:
    return [problem.message for problem in checked_place(archive).problems if problem.level == "unusable"]


def by_run(folder: Path, room: Path) -> str | None:
    into = room / "first" / "tests" / folder.name
    into.mkdir(parents=True)
    channels, record = room / "channels.parquet", room / "channels.json"
    recordings.run(folder, channels, record)
    if read(record, Record).unusable is not None:
        return read(record, Record).unusable
    stops.run(folder=folder, channels=channels, record=record, settings=settings_of(Method(), "stops"), into=into)
    return read(into / "stops_findings.json", Findings).unusable


def refuse_disagreement(tmp_path: Path) -> bool:
    """Fail where only one of the two refuses; whether both do."""
    folder = tmp_path / "archive" / "t"
    check, run = by_check(tmp_path / "archive"), by_run(folder, tmp_path / "room")
    assert bool(check) == (run is not None), f"check: {check}; run: {run}"
    return bool(check)


def changed(tmp_path: Path, *changes: tuple[str, str]) -> None:
    write(tmp_path)
    card = tmp_path / PLACES["card"]
    text = card.read_text()
    for old, new in changes:
        text = text.replace(old, new)
    card.write_text(text)


def test_the_sound_test_is_refused_by_neither(tmp_path):
    write(tmp_path)
    assert not refuse_disagreement(tmp_path)


def some_heavy(rows, every):
    """The rows, all but each `every`-th one for the longer run."""
    return [pytest.param(row, marks=[] if at % every == 0 else pytest.mark.heavy) for at, row in enumerate(rows)]


@pytest.mark.parametrize("change", some_heavy(CHANGES, 2), ids=[new.strip() for _, new in CHANGES])
def test_they_agree_on_a_changed_card(tmp_path, change):
    changed(tmp_path, change)
    refuse_disagreement(tmp_path)


@pytest.mark.parametrize(("name", "spoil"), SPOILT, ids=[name for name, _ in SPOILT])
@pytest.mark.parametrize("holds", ["stop", "series"])
def test_they_agree_on_spoilt_recordings(tmp_path, name, spoil, holds):
    changed(tmp_path, ("holds: stop", f"holds: {holds}"))
    for path in (tmp_path / "archive" / "t" / "recordings").iterdir():
        path.write_text(spoil(path.read_text()))
    refuse_disagreement(tmp_path)


@pytest.mark.parametrize("row", some_heavy([row for row in ROWS if row.file == "card"], 6), ids=lambda row: row.name)
def test_they_agree_on_a_wrong_card(tmp_path, row):
    """Those of the table of wrong inputs."""
    write(tmp_path)
    card = tmp_path / PLACES["card"]
    card.write_text(card.read_text().replace(row.old, row.new, 1))
    refuse_disagreement(tmp_path)


@pytest.mark.parametrize("unit", ["ms", "min", "h"])
def test_both_refuse_a_whole_test_whose_time_is_in_another_unit(tmp_path, unit):
    """Of many stops a run tells it, and can reduce none of them."""
    changed(tmp_path, ("column: t, unit: s}", f"column: t, unit: {unit}}}"), ("    stops: 2", "    stops: 6"))
    for number in range(4, 8):
        (tmp_path / "archive" / "t" / "recordings" / f"{number:04d}.csv").write_text(recording(number))
    assert refuse_disagreement(tmp_path)
    assert any(f"time is in s labelled {unit}" in message for message in by_check(tmp_path / "archive"))


PAIRS = list(itertools.combinations(range(len(CHANGES)), 2))


def pairs(count: int, seed: int) -> list[tuple[int, int]]:
    drawn = np.random.default_rng(seed).choice(len(PAIRS), count, replace=False)
    return [PAIRS[at] for at in drawn]


@pytest.mark.parametrize("pair", pairs(5, 1), ids=str)
def test_they_agree_on_two_changes_at_once(tmp_path, pair):
    changed(tmp_path, *(CHANGES[at] for at in pair))
    refuse_disagreement(tmp_path)


@pytest.mark.heavy
@pytest.mark.parametrize("pair", pairs(300, 2)[::5], ids=str)
def test_they_agree_on_many_pairs_of_changes(tmp_path, pair):
    changed(tmp_path, *(CHANGES[at] for at in pair))
    refuse_disagreement(tmp_path)
