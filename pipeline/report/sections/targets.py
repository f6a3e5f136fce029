"""In short: each target met, not met or not shown, with the figures that decide it."""

from pipeline.report.document import Cell, Number, Section, Table, Text
from pipeline.report.inputs import Inputs, TargetFigures
from pipeline.report.sections.friction import window_text
from pipeline.report.sections.honest import off_text, pooled_text
from pipeline.report.source import Cited
from pipeline.report.wear_words import identified, law_words, name_of
from pipeline.results.friction_map import Holds
from pipeline.results.model import Interval
from pipeline.results.sheet import Met, TargetAnswer
from pipeline.results.wear import CompoundWear

MET: Met = "met"
MISSED: Met = "not met"
OPEN: Met = "not shown"


def in_short(inputs: Inputs) -> Section:
    """The first part of the sheet."""
    parts: list[Text | Table] = [window_text(inputs), *off_text(inputs), *pooled_text(inputs)]
    for component, cited in sorted(inputs.wear.named(lambda found: found.components or {}).items()):
        found = cited.result
        rate = cited.number(
            f"{name_of(component)}: wear per stop", lambda c: c.rates.um_per_stop if c.rates else None, unit="µm"
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
    holds = inputs.friction.result.holds
    if holds is not None:
        rows.append(_holds_row(holds, target))
    elif target.result.temperature_window:
        rows += _window_rows(inputs, target)
    if target.result.disc_wear is not None:
        rows.append(_wear_row(inputs, target))
    return rows


def _holds_row(holds: Holds, target: Cited[TargetFigures]) -> list[Cell]:
    """The answer of the friction stage over the wanted window and band."""
    low, high = wanted_ends(target)
    values: dict[str, Cell] = {
        "low": low,
        "high": high,
        "least": target.number("wanted µ, lower", lambda t: t.mu[0] if t.mu else None, decimals=2),
        "most": target.number("wanted µ, upper", lambda t: t.mu[1] if t.mu else None, decimals=2),
    }
    wanted = Text("from {low} to {high}, µ {least} to {most}", values)
    answer = {"yes": MET, "no": MISSED, "not shown": OPEN}[holds.answer]
    at = f" at {holds.at}" if holds.at else ""
    return [f"Friction inside the wanted band over the wanted window{at}", wanted, holds.why, answer]


def wanted_ends(target: Cited[TargetFigures]) -> tuple[Number, Number]:
    """Both ends of the wanted window."""
    low = target.number(
        "wanted window, low end",
        lambda t: t.temperature_window[0] if t.temperature_window else None,
        unit="°C",
        decimals=0,
    )
    high = target.number(
        "wanted window, high end",
        lambda t: t.temperature_window[1] if t.temperature_window else None,
        unit="°C",
        decimals=0,
    )
    return low, high


def _window_rows(inputs: Inputs, target: Cited[TargetFigures]) -> list[list[Cell]]:
    low, high = wanted_ends(target)
    read, window = inputs.friction.number, inputs.friction.result.window
    found_low = read("window, low end", lambda f: f.window.low_c if f.window else None, decimals=0)
    found_high = read("window, high end", lambda f: f.window.high_c if f.window else None, decimals=0)
    low_answer = end_answer(low, found_low, "low", window.low_limited_by if window else None)
    high_answer = end_answer(high, found_high, "high", window.high_limited_by if window else None)
    return [
        ["Friction window reaches down to", low, found_low, low_answer],
        ["Friction window reaches up to", high, found_high, high_answer],
    ]


def end_answer(wanted: Number, found: Number, name: str, limited_by: str | None) -> Met:
    """Met when the window reaches the wanted end; short of it: not met when the band limits it, not shown when the
    data do.
    """
    if wanted.value is None or found.value is None:
        return OPEN
    reached = found.value <= wanted.value if name == "low" else found.value >= wanted.value
    if reached:
        return MET
    return MISSED if limited_by == "band" else OPEN


def _wear_row(inputs: Inputs, target: Cited[TargetFigures]) -> list[Cell]:
    wanted = target.number("wanted disc wear per stop and face, at most", lambda t: t.disc_wear, decimals=3)
    label = "disc wear per stop and face on map and duty blocks"
    found = inputs.wear.number(label, _loss_of_disc, unit="µm")
    return ["Disc wear per stop and face on map and duty blocks, at most", wanted, found, at_most(wanted, found)]


def _loss_of_disc(wear: CompoundWear) -> Interval | None:
    if not wear.components or "disc" not in wear.components:
        return None
    disc = wear.components["disc"]
    return disc.map_and_duty.um_per_stop_per_face if disc.map_and_duty else None


def at_most(wanted: Number, found: Number) -> Met:
    """Met when the whole interval lies at or under the limit, not met when it lies above, else not shown."""
    if wanted.value is None or found.value is None:
        return OPEN
    if found.low is None or found.high is None:
        return OPEN
    if found.high <= wanted.value:
        return MET
    return MISSED if found.low > wanted.value else OPEN


def answers(inputs: Inputs) -> list[TargetAnswer]:
    """The targets for sheet.json."""
    return [
        TargetAnswer.model_validate({"target": row[0], "wanted": _said(row[1]), "found": _said(row[2]), "met": row[3]})
        for row in target_rows(inputs)
    ]


def _said(cell: Cell) -> str:
    return cell if isinstance(cell, str) else cell.text
