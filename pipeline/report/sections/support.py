"""What a reader must not miss of the duties: whether one brake serves them, and what of that was tested."""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.report.document import Cell, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.source import Cited
from pipeline.results.both import BothDuties, Openings
from pipeline.results.duty import DutyProjection
from pipeline.results.support import Extrapolation

ANSWERS = {
    "serves both": ("one opening serves both", "good"),
    "serves neither at one opening": ("no one opening serves both", "bad"),
    "not shown": ("not shown", "open"),
}
TONES = {"tested": "plain", "partly extrapolated": "open", "mostly extrapolated": "bad"}


def both_texts(inputs: Inputs) -> list[Text]:
    """The answer over gentle and hard use with the cheapest change; nothing where there are not both."""
    found = inputs.duty.result.both_duties
    if found is None or found.answer is None:
        return []
    said, tone = ANSWERS[found.answer]
    values: dict[str, Cell] = {"answer": said, "why": found.why.rstrip(".")}
    words = "Gentle and hard use with one brake: {answer}: {why}."
    if found.changes:
        change = found.changes[0]
        values |= {"kind": change.kind, "change": change.words.removeprefix("an opening for each duty: ").rstrip(".")}
        words += (
            " Cheapest change: {kind}: {change}."
            if change.shown
            else " Cheapest change, not shown yet: {kind}: {change}."
        )
    elif found.changes_why:
        values["none"] = found.changes_why.rstrip(".")
        words += " No change is known: {none}."
    return [Text(words, values, tone)]


def both_table(inputs: Inputs) -> list[Table]:
    """Every duty's use and openings, and the changes in the order of what they cost."""
    found: BothDuties | None = inputs.duty.result.both_duties
    if found is None or found.answer is None:
        return []
    uses: list[list[Cell]] = [
        [one.duty, one.use or "neither", one.by, _span(one.openings), _span(one.shown), one.why or "–"]
        for one in found.duties
    ]
    head = ["Duty", "Use", "Told by", "Openings to run", "without reservation", "What stands against the others"]
    tables = [Table("Gentle and hard use: the openings of each duty", head, uses)]
    ways: list[list[Cell]] = [[c.kind, "yes" if c.shown else "no", c.words] for c in found.changes]
    if ways:
        caption = "What would make one brake serve both, the cheapest first"
        tables.append(Table(caption, ["Change", "Shown by the tests", "What to do"], ways))
    return tables


def _span(span: Openings | None) -> str:
    return "none" if span is None else f"{span.low:.2f} to {span.high:.2f}"


def support_texts(inputs: Inputs) -> list[Text]:
    """Where the window and each duty leave what was run; nothing of what stays inside."""
    said: list[Text] = []
    window = inputs.friction.result.extrapolated
    if window:
        said.append(Text("The window goes beyond what was run: {what}.", {"what": in_short(window)}, "open"))
    for one in inputs.duty.each(lambda found: found.duties):
        said += _of_duty(one)
    return said


def _of_duty(one: Cited[DutyProjection]) -> list[Text]:
    support, name = one.part(lambda found: found.support), one.result.duty
    if support is None or not support.result.extrapolations:
        return []
    found = support.result
    values: dict[str, Cell] = {"duty": name, "what": in_short(found.extrapolations)}
    words = "{duty} goes beyond what was run: {what}."
    if found.window_share_tested is not None:
        values |= {
            "opening": one.number(f"{name}: cooling opening", lambda d: d.opening, decimals=2),
            "tested": support.number(
                f"{name}: energy in the window, tested",
                lambda s: s.window_share_tested,
                unit="%",
                factor=100.0,
                decimals=0,
            ),
            "beyond": support.number(
                f"{name}: energy in the window, extrapolated",
                lambda s: s.window_share_extrapolated,
                unit="%",
                factor=100.0,
                decimals=0,
            ),
        }
        words = (
            "{duty} goes beyond what was run: at opening {opening} {tested} of its energy brakes in the window at conditions "
            "that were tested, {beyond} in it by extrapolation. Beyond: {what}."
        )
    worst = [x for x in (found.window_basis, found.opening_basis, found.life_basis) if x]
    mostly = "mostly extrapolated" in worst
    return [Text(words, values, "bad" if mostly else "open")]


def in_short(entries: Sequence[Extrapolation]) -> str:
    """Entries in a line; what is beyond alike is told once."""
    alike: dict[str, list[str]] = {}
    for one in entries:
        alike.setdefault(one.words, []).append(one.of)
    return "; ".join(f"{_together(names)}: {words}" for words, names in alike.items())


def _together(names: Sequence[str]) -> str:
    distinct = list(dict.fromkeys(names))
    wear = [name.removeprefix("wear of the ") for name in distinct if name.startswith("wear of the ")]
    rest = [name for name in distinct if not name.startswith("wear of the ")]
    return ", ".join([*rest, *([f"wear of the {' and '.join(wear)}"] if wear else [])])
