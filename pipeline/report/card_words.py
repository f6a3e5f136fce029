"""What a test's card says, in the units an engineer writes: rows for the pages and the sheet."""

import math

from pipeline.archive.card import Card
from pipeline.constants import ZERO_C


def identity_rows(card: Card) -> list[tuple[str, str]]:
    """Who and what was tested, on which rig, when; free text as it was written."""
    rows = [
        ("Compound", card.compound),
        ("Batch", card.batch),
        ("Specimen", card.specimen),
        ("Date", card.date.isoformat()),
        ("Rig", card.rig),
        ("Procedure", card.procedure or "not given"),
    ]
    if card.notes:
        rows.append(("Notes", card.notes))
    if card.remarks:
        rows.append(("Remarks", card.remarks))
    return rows


def block_rows(card: Card) -> list[list[str]]:
    """The schedule, one row a block: name, purpose, kind, stops, speeds, level held, temperature at start."""
    rows = []
    for block in card.blocks:
        rpm = [f"{w * 30 / math.pi:.0f}" for w in (block.speed_start, block.speed_end)]
        speed = rpm[0] if block.kind == "drag" else f"{rpm[0]} to {rpm[1]}"
        held = {
            "pressure": None if block.pressure is None else f"{block.pressure / 1e5:.3g} bar",
            "torque": None if block.torque is None else f"{block.torque:.4g} N m",
            "deceleration": None if block.deceleration is None else f"{block.deceleration:.3g} m/s²",
        }[block.control]
        start = "not stated" if block.initial_temperature is None else f"{block.initial_temperature - ZERO_C:.0f} °C"
        rows.append(
            [
                block.name,
                block.purpose,
                block.kind,
                str(block.stops),
                f"{speed} rpm",
                f"{block.control} {held or 'not stated'}",
                start,
            ]
        )
    return rows
