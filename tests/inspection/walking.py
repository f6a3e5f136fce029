"""What a person does between `new-test` and `run`: fills in the blanks, and puts right what was guessed wrongly."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import yaml

from pipeline.cli import run
from pipeline.inputs.blanks import BLANK, blanks
from pipeline.inputs.quantities import reads_as, scale_offset
from pipeline.inspection.unit_guess import kinds_of
from tests.inspection.archives import Archive
from tests.inspection.messy import GERMAN, STAMPS, Mess, units, write

CHANNELS = ("time", "speed", "torque", "pressure", "disc_temperature")
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


@dataclass(frozen=True)
class Edited:
    """What a person did to a card: lines edited; guesses right and sure, right with a doubt, put right with or without one."""

    lines: int
    right: int
    doubted: int
    wrong_doubted: int
    wrong: int


def answers_of(one: Archive) -> dict[str, str]:
    """What the person who has the archive knows of rig, brake and specimen."""
    brake = one.brake
    return ANSWERS | {
        "inertia": f"{one.rig.inertia:g} kg m^2",
        "compound": one.material.name,
        "brake.effective_radius": f"{brake.effective_radius_mm:g} mm",
        "brake.pad_area": f"{brake.pad_area_cm2:g} cm^2",
        "brake.pistons_per_side": f"[{', '.join(f'{d:g} mm' for d in brake.pistons_mm)}]",
        "recordings.channels.torque.arm": f"{1e3 * one.mess.arm:g} mm",
    }


def completed(one: Archive, card: Path) -> Edited:
    """The card of an archive completed as that person would: blanks, what the brake has beyond, guesses that are wrong."""
    lines = fill(card, answers_of(one))
    text = card.read_text(encoding="utf-8").splitlines()
    for key, value, default in (
        ("efficiency", one.brake.efficiency, 1.0),
        ("threshold_pressure", one.brake.threshold_bar, 0.0),
    ):
        if value != default:
            at = next(i for i, line in enumerate(text) if line.startswith(f"  # {key}: "))
            text[at] = f"  {key}: {value:g}{' bar' if key == 'threshold_pressure' else ''}"
            lines += 1
    counts = Counter()
    for channel in CHANNELS:
        at = next((i for i, line in enumerate(text) if re.match(rf"    {channel}: \{{", line)), None)
        if at is None:  # a file's own time needs no mapping
            counts["right"] += 1
            continue
        said = yaml.safe_load(text[at])[channel]
        right = said["column"] == column_of(one.mess, channel) and same_unit(said["unit"], one.mess, channel)
        doubted = "# guessed" in text[at]
        counts[("doubted" if doubted else "right") if right else ("wrong_doubted" if doubted else "wrong")] += 1
        if not right:
            true = {"column": column_of(one.mess, channel), "unit": unit_of(one.mess, channel)}
            text[at] = f"    {channel}: {json.dumps(said | true, ensure_ascii=False)}"
            lines += 1
    lines += purposes(one, text)
    card.write_text("\n".join(text) + "\n", encoding="utf-8")
    return Edited(lines, counts["right"], counts["doubted"], counts["wrong_doubted"], counts["wrong"])


def column_of(mess: Mess, channel: str) -> str:
    """The name of a channel's column as the file has it."""
    if mess.headless:
        return f"column {1 + mess.order.index(channel)}"
    name = mess.names[channel]
    return f"{name} [{ {**units(), **mess.units}[channel] }]" if mess.shown == "names" else name


def unit_of(mess: Mess, channel: str) -> str:
    if channel == "time" and mess.clock in STAMPS:
        return "timestamp"
    return {**units(), **mess.units}[channel]


def same_unit(said: str, mess: Mess, channel: str) -> bool:
    true = unit_of(mess, channel)
    kinds = (
        ("force",) if channel == "torque" and mess.arm else ("duration",) if channel == "time" else kinds_of(channel)
    )
    return said == true or any(
        reads_as(said, kind)
        and reads_as(true, kind)
        and np.allclose(scale_offset(said, kind), scale_offset(true, kind), rtol=1e-4)
        for kind in kinds
    )


def purposes(one: Archive, text: list[str]) -> int:
    """What a block was for, put right where the blocks found are those run; lines edited."""
    begin = next(i for i, line in enumerate(text) if line.startswith("blocks:"))
    at = [i for i in range(begin + 1, len(text)) if text[i].startswith("  - {")]
    found = [yaml.safe_load(text[i])[0] for i in at]
    if [b["stops"] for b in found] != [b.stops for b in one.program]:
        return 0
    wrong = [
        (i, block) for i, said, block in zip(at, found, one.program, strict=True) if said["purpose"] != block.purpose
    ]
    for i, block in wrong:
        text[i] = re.sub(r"purpose: \w+", f"purpose: {block.purpose}", text[i], count=1)
    return len(wrong)
