"""A whole test card from what was found and said: blanks for what only the user knows, guesses marked by a comment."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

from pipeline.archive.scan import printable
from pipeline.inputs.blanks import BLANK
from pipeline.inspection.blocks import Block, grouped, line_of
from pipeline.inspection.brakings import Braking
from pipeline.inspection.card import GUESSED, quoted, recordings_lines
from pipeline.inspection.look import Look
from pipeline.inspection.said import date_of

SCHEMA = "# yaml-language-server: $schema="
# key -> what to write there
WANTED = {
    "compound": "name of the friction material",
    "batch": "its batch",
    "specimen": "the specimen of the batch, such as A",
    "date": "day of the test, such as 2026-03-02",
    "rig": "id of the dynamometer",
    "brake.effective_radius": "such as 134 mm; or friction_ring: {outer_diameter: 312 mm, inner_diameter: 220 mm} in its place",
    "brake.pistons_per_side": "diameters on one side of the disc, such as [30 mm, 34 mm]",
    "brake.pad_area": "friction face of one pad, such as 52 cm^2",
    "inertia": "total at the brake shaft, such as 22 kg m^2",
    "rolling_radius": "such as 330 mm: the recordings count a linear speed",
}

# what a run can do without, as comments that a person takes the mark off
FURTHER_OF_BRAKE = (
    "  # efficiency: 0.97  # without it 1",
    "  # threshold_pressure: 0.4 bar  # without it 0 bar",
    "  # disc: {mass: 1.7 kg, thickness: 28 mm, minimum_thickness: 24 mm, density: 1.78 g/cm^3, heat_capacity: carbon}  # for wear and duty",
)

LEVELS = (
    "levels: recordings  # guessed: the levels of the blocks were read off the recordings and so vouch for no unit; hold them against "
    "the schedule, then write schedule"
)


def card_text(
    look: Look, brakings: Sequence[Braking], holds: str, files: str, *, good: Mapping[str, str], unclear: Mapping[str, str],
    schema: str, schedule: Sequence[str] | None = None, where: str = "the recordings",
) -> str:  # fmt: skip
    """The text of test.yaml. files: pattern of the recordings; good, unclear: what was said of the test (`said.taken`); schema: place of
    the card's JSON Schema; schedule: lines of blocks, where a table gave them; where: who said it.
    """
    said = dict(good)
    if "date" not in said and (day := date_of(look.table.begins)) is not None:
        said["date"] = day
    told = {key: f"from {where}" for key in good}
    told |= {"date": "of the first timestamp"} if "date" not in good and "date" in said else {}
    inertia = (
        f"; torque and speed mean about {look.inertia:.3g} kg m^2, drag included" if math.isfinite(look.inertia) else ""
    )

    def line(key: str, text: str = "", beside: str = "") -> str:
        name = key.rsplit(".", 1)[-1]
        if key in said:
            value = said[key] if re.match(r"^\[.*\]$", said[key]) or key == "date" else quoted(said[key])
            return f"{text}{name}: {value}  # {told[key]}{beside}"
        unread = f"; {where} say {printable(unclear[key])[:60]!r}" if key in unclear else ""
        value = f"[{BLANK}]" if key == "brake.pistons_per_side" else BLANK
        return f"{text}{name}: {value}  # {WANTED[key]}{unread}{beside}"

    lines = [
        f"{SCHEMA}{schema}",
        f"# {BLANK} marks what only you know; '{GUESSED}' what the recordings suggest: look at both. `stopsheet check` lists the blanks.",
        "schema: 1",
        *(line(key) for key in ("compound", "batch", "specimen", "date", "rig")),
        *([line("procedure")] if "procedure" in said else []),
        *([line("notes")] if "notes" in said else []),
        "brake:",
        *(line(f"brake.{key}", "  ") for key in ("effective_radius", "pistons_per_side", "pad_area")),
        *FURTHER_OF_BRAKE,
        line("inertia", beside=inertia),
        *([line("rolling_radius")] if look.linear or "rolling_radius" in said else []),
        *recordings_lines(look, files, holds),
        *([LEVELS] if schedule is None and brakings else []),
        "blocks:  # in the order run",
        *(schedule if schedule is not None else block_lines(grouped(brakings), look.linear)),
    ]
    if "wear" in said:
        lines.append(line("wear"))
    return "\n".join(lines) + "\n"


def block_lines(blocks: Sequence[Block], linear: bool) -> list[str]:
    """Lines of the card's blocks; a blank one where none was found."""
    if not blocks:
        return [
            f"  - {{name: {BLANK}, purpose: map, kind: snub, stops: {BLANK}, speed: [{BLANK}, {BLANK}], pressure: {BLANK}, "
            f"initial_temperature: {BLANK}}}  # one line a block, such as stops: 6, speed: [1500 rpm, 500 rpm], pressure: 40 bar, initial_temperature: 300 degC"
        ]
    return [line_of(block, linear) for block in blocks]
