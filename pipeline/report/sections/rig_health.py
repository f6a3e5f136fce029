"""The rig behind the numbers: how its air cools the disc, and the torque ripple of a test."""

from __future__ import annotations

import polars as pl

from pipeline.report.document import FRONT, Cell, Number, Text
from pipeline.report.inputs import Inputs, OfTest
from pipeline.report.source import Cited
from pipeline.results.duty import RigCooling

RIPPLES = (("ripple_1_pct", "once"), ("ripple_2_pct", "twice"))
RIPPLE_HEAD = ("Torque ripple once a turn (%)", "twice (%)")


def cooling_text(inputs: Inputs) -> Text:
    """How the rig's air cools the disc, from the pauses between stops."""
    found = inputs.duty.result.rig_cooling
    if not isinstance(found, RigCooling):
        why = found or inputs.duty.reason(lambda d: d.rig_cooling, "no pause between stops was looked at")
        return Text("Cooling of the disc on the rig: not given: {why}.", {"why": why.rstrip(".")}, "open", rank=FRONT)
    cited = Cited(inputs.duty.file, found, "/rig_cooling")
    values: dict[str, Cell] = {
        "g": cited.number("the rig's cooling of the disc", lambda c: c.g, ends=lambda c: (c.low, c.high)),
        "pauses": cited.number("pauses that tell it", lambda c: c.pauses),
        "left": cited.number("pauses that cool unlike the others", lambda c: c.left_out),
        "radiating": "fitted with it" if found.radiating_fitted else "as the card or the method has it",
        "air": "recorded" if found.ambient_recorded else "not recorded and assumed",
    }
    said = (
        "Cooling of the disc on the rig by its air: {g} for the whole disc, from {pauses} pauses between stops ({left} left out, as the disc cooled "
        "otherwise there); radiation {radiating}; temperature of the air {air}."
    )
    return Text(said, values, rank=FRONT)


def ripple_cells(test: OfTest) -> list[Cell]:
    """Median torque ripple of the ok stops once and twice a turn, in per cent of the mean torque."""
    cells: list[Cell] = []
    file, ok = f"tests/{test.test}/stops.parquet", test.stops.filter(pl.col("status") == "ok")
    for column, words in RIPPLES:
        value = ok[column].median() if column in ok.columns else None
        shown = float(value) if isinstance(value, int | float) else None
        key = f"/median of {column} over rows where status is ok"
        why = "no stop has one, as too few samples a turn were recorded"
        label = f"{test.test}: torque ripple {words} a turn, median"
        cells.append(Number(label, shown, "", file, key, decimals=2, why=why, brief=True))
    return cells
