"""Identity, rig and method: what was tested, on what, how it was evaluated."""

from pipeline.report.document import Cell, Items, Section, Table, Text
from pipeline.report.inputs import Inputs

RIG = (
    ("Inertia at the brake shaft", "/inertia", "kg m²", 2), ("of it mechanical", "/inertia_mechanical", "kg m²", 2),
    ("Effective radius stated", "/brake/effective_radius", "mm", 1), ("Friction ring, outer diameter", "/brake/friction_ring/outer_diameter", "mm", 1),
    ("Friction ring, inner diameter", "/brake/friction_ring/inner_diameter", "mm", 1), ("Piston area of one side", "/brake/piston_area", "cm²", 2),
    ("Friction face of one pad", "/brake/pad_area", "cm²", 1), ("Pads, both sides", "/brake/pads", "", 0),
    ("Efficiency of the caliper", "/brake/efficiency", "", 3), ("Threshold pressure", "/brake/threshold_pressure", "bar", 2),
    ("Disc thickness, new", "/brake/disc/thickness", "mm", 2), ("Disc thickness, minimum", "/brake/disc/minimum_thickness", "mm", 2),
    ("Disc mass", "/brake/disc/mass", "kg", 3), ("Disc density", "/brake/disc/density", "g/cm³", 3), ("Rolling radius", "/rolling_radius", "mm", 0),
)  # fmt: skip


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
        ("Compound", inputs.compound), ("Batches", ", ".join(sorted({card.batch for card in cards})) or "not given"),
        ("Rigs", ", ".join(sorted({card.rig for card in cards})) or "not given"),
    ]  # fmt: skip
    parts: list[Items | Table | Text] = [
        Items(facts),
        Table("Tests on this sheet", ["Test", "Batch", "Specimen", "Date", "Rig", "Procedure", "State"], rows),
    ]
    parts += [
        Text("Test {test} is not used: {why}", {"test": t.test, "why": str(t.unusable)}, "bad")
        for t in inputs.tests
        if t.unusable
    ]
    return Section("Identity", parts)


def rig_and_method(inputs: Inputs) -> Section:
    """The brake's figures where the tests agree, a table where they differ; the method's choices, digest and version."""
    tests = [test for test in inputs.tests if test.card]
    same: list[tuple[str, Cell]] = []
    differ = []
    for label, pointer, unit, decimals in RIG:
        shown = [test.facts.number(label, pointer, unit, decimals=decimals) for test in tests]
        if not shown or all(not number.given for number in shown):
            if pointer == "/brake/effective_radius" and shown:
                same.append((label, "not stated; from the friction ring by the method's radius rule"))
        elif len({number.value for number in shown}) == 1:
            same.append((label, shown[0]))
        else:
            differ.append((label, pointer, unit, decimals))
    parts: list[Items | Table | Text] = [Items(same)]
    if differ:
        head = ["Test", *[f"{label} ({unit})" if unit else label for label, _, unit, _ in differ]]
        rows: list[list[Cell]] = [
            [test.test, *[test.facts.number(label, p, "", decimals=d) for label, p, _, d in differ]] for test in tests
        ]
        parts.append(Table("Where the tests' cards differ", head, rows))
    parts.append(Items(method_rows(inputs)))
    parts.append(
        Text(
            "Energy and power density refer to the friction area of all pads together; heat and surface temperature to the swept ring."
        )
    )
    return Section("Rig and method", parts)


def method_rows(inputs: Inputs) -> list[tuple[str, Cell]]:
    """The choices of the method that decide a number, and what identifies it."""
    reduction, conditioning = inputs.settings.reduction, inputs.settings.conditioning
    yes = {True: "yes", False: "no"}
    return [
        ("Method", inputs.method), ("Method digest (SHA-256 of all settings and revisions)", inputs.digest), ("Software", f"stopsheet {inputs.software}"),
        ("Nominal µ averaged by", reduction.average), ("Friction radius rule", reduction.radius.replace("_", " ")),
        ("Temperature of a stop", {"initial": "at brake start", "mean": "time mean in the stop", "peak": "peak", "end": "at brake end"}[reduction.temperature]),
        ("Drag torque taken off", yes[bool(reduction.drag_correction)]), ("Lag corrected", yes[bool(conditioning.lag_correction)]),
    ]  # fmt: skip
