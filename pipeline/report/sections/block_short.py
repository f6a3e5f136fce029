"""The table of blocks that stands in front of a sheet: a row a block that is no part of the map, µ of the batches side by side.

Of many batches the ones with the lowest and the highest µ over these blocks stand there; the whole table follows.
"""

from __future__ import annotations

from pipeline.report.document import FRONT, Cell, Table
from pipeline.report.inputs import Inputs
from pipeline.report.source import Cited
from pipeline.results.friction_blocks import Block

MOST_BATCHES = 4
Rows = dict[str, dict[str, Cited[Block]]]  # block, batch: the row of friction.json


def short_table(inputs: Inputs) -> list[Table]:
    """Blocks of bedding, checks, fade, recovery and duty in the order run; [] where there are none."""
    rows: Rows = {}
    for one in inputs.friction.each(lambda f: f.blocks):
        if one.result.purpose != "map":
            rows.setdefault(one.result.block, {})[one.result.batch or "–"] = one
    batches = list(dict.fromkeys(batch for row in rows.values() for batch in row))
    if not rows:
        return []
    shown = batches if len(batches) <= MOST_BATCHES else _ends(rows, batches)
    head = ["Block", "Purpose", *(f"µ, {batch}" if len(batches) > 1 else "µ" for batch in shown), "Stops used of run",
            "Start (°C)", "Pressure (bar)", "Speed (rpm)", "Energy (kJ)"]  # fmt: skip
    caption = "Blocks in the order run but for the map's: mean µ by batch, 95 % intervals; conditions are means of the first batch shown, stops of all shown"
    if len(shown) < len(batches):
        caption += f"; of {len(batches)} batches those lowest and highest in µ"
    return [Table(caption, head, [_row(block, row, shown) for block, row in rows.items()], rank=FRONT)]


def _ends(rows: Rows, batches: list[str]) -> list[str]:
    """The batch lowest and the one highest in µ, by the mean over the blocks that it ran; one without a µ is neither."""
    level: dict[str, float] = {}
    for batch in batches:
        found = [row[batch].result.mu.value for row in rows.values() if batch in row]
        given = [value for value in found if value is not None]
        if given:
            level[batch] = sum(given) / len(given)
    ordered = sorted(level, key=lambda batch: level[batch]) or batches
    return list(dict.fromkeys([ordered[0], ordered[-1]]))


def _row(block: str, row: dict[str, Cited[Block]], shown: list[str]) -> list[Cell]:
    one = next((row[batch] for batch in shown if batch in row), next(iter(row.values())))
    name = f"{block}, {one.result.batch or '–'}"
    mus: list[Cell] = [
        row[batch].number(f"{block}, {batch}: µ", lambda b: b.mu) if batch in row else "–" for batch in shown
    ]
    counts = [row[batch].result for batch in shown if batch in row] or [one.result]
    return [
        block,
        one.result.purpose or "–",
        *mus,
        f"{sum(found.used for found in counts)} of {sum(found.stops for found in counts)}",
        one.number(f"{name}: start", lambda b: b.temperature_initial_c.mean, unit="", decimals=0, why="not recorded"),
        one.number(f"{name}: pressure", lambda b: b.pressure_bar.mean, unit="", decimals=1, why="not recorded"),
        one.number(f"{name}: speed", lambda b: b.speed_start_rpm.mean, unit="", decimals=0, why="not recorded"),
        one.number(f"{name}: energy", lambda b: b.energy_kj.mean, unit="", decimals=0, why="not recorded"),
    ]
