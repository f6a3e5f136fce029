"""Identity, rig and method: what was tested, on what, how it was evaluated."""

from collections.abc import Callable
from typing import NamedTuple

from pipeline.report.card_figures import CardFigures
from pipeline.report.document import FRONT, Cell, Items, Number, Section, Table, Text
from pipeline.report.inputs import Inputs, OfTest


class Fact(NamedTuple):
    """A figure of the card: in words, where it stands, its unit and decimals on the sheet."""

    words: str
    pick: Callable[[CardFigures], float | int | None]
    unit: str
    decimals: int


RADIUS = "Effective radius stated"
RIG = (
    Fact("Inertia at the brake shaft", lambda c: c.inertia, "kg m²", 2),
    Fact("of it mechanical", lambda c: c.inertia_mechanical, "kg m²", 2),
    Fact(RADIUS, lambda c: c.brake.effective_radius, "mm", 1),
    Fact("Friction ring, outer diameter", lambda c: c.brake.friction_ring.outer_diameter, "mm", 1),
    Fact("Friction ring, inner diameter", lambda c: c.brake.friction_ring.inner_diameter, "mm", 1),
    Fact("Piston area of one side", lambda c: c.brake.piston_area, "cm²", 2),
    Fact("Friction face of one pad", lambda c: c.brake.pad_area, "cm²", 1),
    Fact("Pads, both sides", lambda c: c.brake.pads, "", 0),
    Fact("Efficiency of the caliper", lambda c: c.brake.efficiency, "", 3),
    Fact("Threshold pressure", lambda c: c.brake.threshold_pressure, "bar", 2),
    Fact("Disc thickness, new", lambda c: c.brake.disc.thickness, "mm", 2),
    Fact("Disc thickness, minimum", lambda c: c.brake.disc.minimum_thickness, "mm", 2),
    Fact("Disc mass", lambda c: c.brake.disc.mass, "kg", 3),
    Fact("Disc density", lambda c: c.brake.disc.density, "g/cm³", 3),
    Fact("Rolling radius", lambda c: c.rolling_radius, "mm", 0),
)


def identity(inputs: Inputs) -> Section:
    """Compound, batches, specimens and tests."""
    cards = [test.card for test in inputs.tests if test.card]
    rows: list[list[Cell]] = []
    for test in inputs.tests:
        if test.card:
            card = test.card
            state = (
                "unusable"
                if test.unusable
                else ("summary rows only, not reprocessable" if card.recordings.holds == "summary" else "used")
            )
            rows.append(
                [
                    test.test,
                    card.batch,
                    card.specimen,
                    card.date.isoformat(),
                    card.rig,
                    card.procedure or "not given",
                    state,
                ]
            )
        else:
            rows.append([test.test, *["not given: test.yaml cannot be used"] * 5, "unusable"])
    facts: list[tuple[str, Cell]] = [
        ("Compound", inputs.compound),
        ("Batches", ", ".join(sorted({card.batch for card in cards})) or "not given"),
        ("Rigs", ", ".join(sorted({card.rig for card in cards})) or "not given"),
    ]
    parts: list[Items | Table | Text] = [
        Items(facts),
        Table("Tests on this sheet", ["Test", "Batch", "Specimen", "Date", "Rig", "Procedure", "State"], rows),
    ]
    parts += [
        Text("Test {test} is not used: {why}", {"test": t.test, "why": str(t.unusable)}, "bad")
        for t in inputs.tests
        if t.unusable
    ]
    parts += [
        Text("Remarks on test {test}: {remarks}", {"test": t.test, "remarks": t.card.remarks})
        for t in inputs.tests
        if t.card and t.card.remarks
    ]
    return Section("Identity", parts)


def rig_and_method(inputs: Inputs) -> Section:
    """The brake's figures where the tests agree, a table where they differ; the method's choices, digest and
    version.
    """
    tests = [test for test in inputs.tests if test.card]
    same: list[tuple[str, Cell]] = []
    differ = []
    for fact in RIG:
        shown = [_shown(test, fact, fact.unit) for test in tests]
        if not shown or all(not number.given for number in shown):
            if fact.words == RADIUS and shown:
                same.append((RADIUS, "not stated; from the friction ring by the method's radius rule"))
        elif len({number.value for number in shown}) == 1:
            same.append((fact.words, shown[0]))
        else:
            differ.append(fact)
    parts: list[Items | Table | Text] = [Items(same)]
    if differ:
        head = ["Test", *[f"{fact.words} ({fact.unit})" if fact.unit else fact.words for fact in differ]]
        rows: list[list[Cell]] = [[test.test, *[_shown(test, fact, "") for fact in differ]] for test in tests]
        parts.append(Table("Where the tests' cards differ", head, rows))
    parts.append(Items(method_rows(inputs), rank=FRONT))
    parts += calibration_table(inputs)
    parts.append(
        Text(
            "Energy and power density refer to the friction area of all pads together; heat and surface temperature "
            "to the swept ring."
        )
    )
    return Section("Rig and method", parts)


def _shown(test: OfTest, fact: Fact, unit: str) -> Number:
    return test.facts.number(fact.words, fact.pick, unit=unit, decimals=fact.decimals)


def calibration_table(inputs: Inputs) -> list[Table]:
    """The corrections that the rigs' calibrations gave, a row a test and figure; none without any."""
    rows: list[list[Cell]] = []
    for test in inputs.usable:
        for one in test.summary.each(lambda s: s.calibrations):
            found = one.result
            what, unit = found.quantity.replace("_", " "), "" if found.unit == "1" else found.unit
            label = f"{test.test}: {what} by calibration of {found.found}"
            value = one.number(label, lambda c: c.value, unit=unit, decimals=4)
            u = one.number(f"{label}, u", lambda c: c.u, unit=unit, decimals=4, why="none stated: counted as 0")
            rows.append([test.test, what, value, u, found.found, found.since, "; ".join(found.later) or "–"])
    head = [
        "Test",
        "Figure",
        "Value",
        "Standard uncertainty",
        "Found",
        "In effect from",
        "Later events that may end it",
    ]
    caption = (
        "Corrections of torque and pressure by the rigs' calibrations: (reading less zero) over gain, before all else"
    )
    return [Table(caption, head, rows)] if rows else []


def method_rows(inputs: Inputs) -> list[tuple[str, Cell]]:
    """The choices of the method that decide a number, and what identifies it."""
    reduction, conditioning = inputs.settings.reduction, inputs.settings.conditioning
    yes = {True: "yes", False: "no"}
    return [
        ("Method", inputs.method),
        ("Method digest (SHA-256 of all settings and revisions)", inputs.digest),
        ("Software", f"stopsheet {inputs.software}"),
        ("Nominal µ averaged by", reduction.average),
        ("Friction radius rule", reduction.radius.replace("_", " ")),
        (
            "Temperature of a stop",
            {"initial": "at brake start", "mean": "time mean in the stop", "peak": "peak", "end": "at brake end"}[
                reduction.temperature
            ],
        ),
        ("Drag torque subtracted", yes[bool(reduction.drag_correction)]),
        ("Lag corrected", yes[bool(conditioning.lag_correction)]),
        ("Corrected by the rigs' calibrations, where there are any", yes[bool(conditioning.calibrations)]),
    ]
