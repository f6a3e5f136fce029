"""tables.xlsx of a test: its stops, friction, wear, budget and findings for spreadsheets, from the stages' own files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipeline.archive.card import Card, load_card
from pipeline.errors import InputError
from pipeline.report import per_test_findings
from pipeline.report.per_test_findings import OfStages
from pipeline.report.typed_table import table
from pipeline.results import version
from pipeline.results.findings import Findings, Found
from pipeline.results.friction_blocks import Block
from pipeline.results.friction_map import CurvePoint
from pipeline.results.model import read
from pipeline.results.summary import Share
from pipeline.results.wear import BlockWear, TestWear, WearInterval
from pipeline.results.workbook import Worksheet, write_workbook
from pipeline.vocabulary import STOPS


def run(*, folder: Path, method: str, record: Path, into: Path) -> None:
    """Write `into`/tables.xlsx; arguments as for the test's page."""
    found = per_test_findings.load(into, record)
    findings = read(into / "findings.json", Findings).findings
    try:
        card, why = load_card(folder), None
    except InputError as error:
        card, why = None, str(error)
    about = _about(folder.name, method, card, why or found.unusable)
    write_workbook(into / "tables.xlsx", [about, *tables(found, findings)], dated=card.date if card else None)


def tables(found: OfStages, findings: list[Found]) -> list[Worksheet]:
    """Everything but the first worksheet, which says what the test is."""
    wear = found.wear.components or {}
    by_component = [((name,), part) for name, part in wear.items()]
    return [
        _stops(found),
        table("Blocks", [((), block) for block in found.friction.blocks], Block),
        table("Friction curve", [((), point) for point in found.friction.curve], CurvePoint),
        table(
            "Wear intervals", [(lead, one) for lead, part in by_component for one in part.intervals], WearInterval, "component"
        ),
        table("Wear by block", [(lead, one) for lead, part in by_component for one in part.blocks], BlockWear, "component"),
        _laws(found.wear),
        table("Uncertainty of mu", [((), share) for share in found.summary.budget], Share),
        table("Findings", [((), one) for one in findings], Found),
    ]  # fmt: skip


def _about(test: str, method: str, card: Card | None, unusable: str | None) -> Worksheet:
    rows: list[list[Any]] = [["test", test], ["method", method], ["made by", f"stopsheet {version()}"]]
    if card is not None:
        rows += [
            ["compound", card.compound],
            ["batch", card.batch],
            ["specimen", card.specimen],
            ["date", card.date.isoformat()],
            ["rig", card.rig],
            ["procedure", card.procedure],
        ]
    if unusable:
        rows.append(["unusable", unusable])
    rows.append(
        [
            "columns",
            "the unit stands in brackets in each header; docs/tables.md and docs/results.md tell what each means",
        ]
    )
    return Worksheet("About", ["what", "text"], rows)


def _stops(found: OfStages) -> Worksheet:
    unit = {column.name: column.unit for column in STOPS}
    names = found.stops.columns
    head = [f"{name} ({unit[name]})" if unit.get(name) else name for name in names]
    return Worksheet("Stops", head, found.stops.rows())


def _laws(wear: TestWear) -> Worksheet:
    """Parameters of every law that was fitted."""
    rows = [
        [component, law.model, law.model == part.chosen, law.identified, name, one.value, one.low, one.high, one.unit, law.why]
        for component, part in (wear.components or {}).items()
        for law in part.models
        for name, one in law.parameters.items()
    ]  # fmt: skip
    head = ["component", "law", "chosen", "identified", "parameter", "value", "low", "high", "unit", "why"]
    return Worksheet("Wear laws", head, rows)
