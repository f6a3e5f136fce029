"""What a person does between `new-test` and `run`: fills in the blanks, and puts right what was guessed wrongly."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import yaml

from pipeline.cli import run
from pipeline.inputs.blanks import BLANK, blanks
from tests.inspection.messy import GERMAN, Mess, units, write

PLAIN = Mess("plain", GERMAN, units())
ANSWERS = {
    "compound": "Marram 4", "batch": "M4-2406", "specimen": "A", "date": "2026-03-02", "rig": "north", "inertia": "26 kg m^2",
    "rolling_radius": "318 mm",
}  # fmt: skip


def made(tmp_path: Path, mess: Mess, *options: str) -> Path:
    source = tmp_path / "source"
    write(mess, source)
    folder = tmp_path / "archive" / "t1"
    assert run(["new-test", str(folder), "--from", str(source), *options]) == 0
    return folder


def filled(folder: Path, truth: Path) -> None:
    """Blanks replaced by what the sound card of the simulated test says; nothing else is touched."""
    brake = yaml.safe_load((truth / "test.yaml").read_text())["brake"]
    pistons = f"[{', '.join(brake['pistons_per_side'])}]"
    own = {
        "brake.effective_radius": brake["effective_radius"],
        "brake.pad_area": brake["pad_area"],
        "brake.pistons_per_side": pistons,
    }
    fill(folder / "test.yaml", ANSWERS | own)


def fill(card: Path, answers: Mapping[str, str]) -> int:
    """The blanks of a card answered by key; how many lines were edited. Raises KeyError for a blank without an answer."""
    lines = card.read_text(encoding="utf-8").splitlines()
    asked = blanks("\n".join(lines))
    for one in asked:
        at = one.line - 1
        lines[at] = re.sub(rf"\[?{BLANK}\]?", lambda _, value=answers[one.key]: value, lines[at], count=1)
    card.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return len({one.line for one in asked})
