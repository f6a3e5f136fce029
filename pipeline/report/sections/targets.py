"""In short: each target met, not met or not shown, with the figures that decide it."""

from pipeline.report.document import Cell, Number, Section, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.sections.friction import window_text
from pipeline.report.sections.honest import off_text, pooled_text
from pipeline.report.wear_words import identified, law_words, name_of

MET, MISSED, OPEN = "met", "not met", "not shown"


def in_short(inputs: Inputs) -> Section:
    """The first part of the sheet."""
    parts: list[Text | Table] = [window_text(inputs), *off_text(inputs), *pooled_text(inputs)]
    for component, found in sorted((inputs.wear.get("/components") or {}).items()):
        rate = inputs.wear.number(
            f"{name_of(component)}: wear per stop", f"/components/{component}/rates/um_per_stop", "µm"
        )
        said = "Wear of {component}: {rate} per stop, {law}." if rate.given else "Wear of {component}: {rate}; {law}."
        words: dict[str, Cell] = {"component": name_of(component), "rate": rate, "law": law_words(found)}
        parts.append(Text(said, words, "plain" if identified(found) and rate.given else "open"))
    parts.append(drift_text(inputs))
    rows = target_rows(inputs)
    if rows:
        parts.append(Table("Targets", ["Target", "Wanted", "Found", "Answer"], rows, units_in_cells=True))
    else:
        parts.append(Text("No target file for this compound: nothing is called met or not met.", {}, "open"))
    return Section("In short", parts)


def drift_text(inputs: Inputs) -> Text:
    """The tests' drift verdicts; a test without one is told with its reason and makes no good news of the others."""
    told = {test.test: test.drift.result.verdict for test in inputs.usable}
    seen = [f"{verdict} in {test}" for test, verdict in told.items() if verdict not in (None, "none")]
    open_ = [
        f"not given in {test.test}, because {test.drift.reason(lambda d: d.verdict).rstrip('.')}"
        for test in inputs.usable
        if told[test.test] is None
    ]
    none = "none in any test" if told else "no test can be used"
    tone = "bad" if seen else "open" if open_ or not told else "good"
    return Text("Drift: {said}.", {"said": "; ".join([*seen, *open_]) or none}, tone)


def target_rows(inputs: Inputs) -> list[list[Cell]]:
    """Target, wanted, found, answer."""
    target = inputs.target
    if target is None:
        return []
    rows: list[list[Cell]] = []
    if inputs.friction.get("/holds"):
        rows.append(_holds_row(inputs))
    elif target.get("/temperature_window"):
        rows += _window_rows(inputs)
    if target.get("/disc_wear") is not None:
        rows.append(_wear_row(inputs))
    return rows


def _holds_row(inputs: Inputs) -> list[Cell]:
    """The answer of the friction stage over the wanted window and band."""
    holds = inputs.friction.get("/holds")
    assert inputs.target is not None
    read = inputs.target.number
    wanted = Text("from {low} to {high}, µ {least} to {most}", {
        "low": read("wanted window, low end", "/temperature_window/0", "°C", decimals=0),
        "high": read("wanted window, high end", "/temperature_window/1", "°C", decimals=0),
        "least": read("wanted µ, lower", "/mu/0", decimals=2), "most": read("wanted µ, upper", "/mu/1", decimals=2)})  # fmt: skip
    answer = {"yes": MET, "no": MISSED}.get(str(holds.get("answer")), OPEN)
    return ["Friction inside the wanted band over the wanted window", wanted, str(holds.get("why")), answer]


def _window_rows(inputs: Inputs) -> list[list[Cell]]:
    target, friction = inputs.target, inputs.friction
    assert target is not None
    rows: list[list[Cell]] = []
    window = friction.get("/window")
    for index, name, words in (
        (0, "low", "Friction window reaches down to"),
        (1, "high", "Friction window reaches up to"),
    ):
        wanted = target.number(f"wanted window, {name} end", f"/temperature_window/{index}", "°C", decimals=0)
        found = friction.number(f"window, {name} end", f"/window/{name}_c", "°C", decimals=0)
        answer = end_answer(wanted, found, name, window.get(f"{name}_limited_by") if window else None)
        rows.append([words, wanted, found, answer])
    return rows


def end_answer(wanted: Number, found: Number, name: str, limited_by: str | None) -> str:
    """Met when the window reaches the wanted end; short of it: not met when the band limits it, not shown when the data do."""
    if wanted.value is None or found.value is None:
        return OPEN
    reached = found.value <= wanted.value if name == "low" else found.value >= wanted.value
    if reached:
        return MET
    return MISSED if limited_by == "band" else OPEN


def _wear_row(inputs: Inputs) -> list[Cell]:
    target = inputs.target
    assert target is not None
    wanted = target.number("wanted disc wear per stop and face, at most", "/disc_wear", "µm", decimals=3)
    pointer = "/components/disc/map_and_duty/um_per_stop_per_face"
    found = inputs.wear.number("disc wear per stop and face on map and duty blocks", pointer, "µm")
    return ["Disc wear per stop and face on map and duty blocks, at most", wanted, found, at_most(wanted, found)]


def at_most(wanted: Number, found: Number) -> str:
    """Met when the whole interval lies at or under the limit, not met when it lies above, else not shown."""
    if wanted.value is None or found.value is None:
        return OPEN
    if found.low is None or found.high is None:
        return OPEN
    if found.high <= wanted.value:
        return MET
    return MISSED if found.low > wanted.value else OPEN


def answers(inputs: Inputs) -> list[dict[str, object]]:
    """The targets for sheet.json: {"target", "wanted", "found", "met"}, met one of met, not met, not shown."""
    return [
        {"target": row[0], "wanted": _said(row[1]), "found": _said(row[2]), "met": row[3]}
        for row in target_rows(inputs)
    ]


def _said(cell: Cell) -> str:
    return cell if isinstance(cell, str) else cell.text
