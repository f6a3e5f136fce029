"""What a reader must not miss of the duties: whether one brake serves them, and what of that was tested."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from pipeline.report import numbers
from pipeline.report.document import Cell, Number, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.source import Cited
from pipeline.results.both import DutyUse, Openings
from pipeline.results.duty import DutyProjection, DutySupport
from pipeline.results.support import Extrapolation

ANSWERS = {
    "serves both": ("one opening serves both", "good"),
    "serves neither at one opening": ("no one opening serves both", "bad"),
    "not shown": ("not shown", "open"),
}
TOGETHER = "its conditions together"
TONES = {"tested": "plain", "partly extrapolated": "open", "mostly extrapolated": "bad"}


def both_text(inputs: Inputs) -> list[Text]:
    """The answer over gentle and hard use and the kind of the cheapest change, in short; nothing where there are not both."""
    cited = inputs.duty.part(lambda found: found.both_duties)
    if cited is None or cited.result.answer is None:
        return []
    said, tone = ANSWERS[cited.result.answer]
    untested = any(duty.opening_untested for duty in inputs.duty.result.duties)
    values: dict[str, Cell] = {"answer": said}
    words = "Gentle and hard use with one brake: {answer}"
    if untested:
        words += ", by openings of which not all were tested"
        tone = "open" if tone == "good" else tone
    shared = cited.part(lambda b: b.opening)
    if shared is not None:
        values["low"], values["high"] = _ends(shared, "opening that serves both uses")
        words += ", {low} to {high}"
    if cited.result.changes:
        first = cited.result.changes[0]
        values["kind"] = first.kind
        words += ". Cheapest change: {kind}" if first.shown else ". Cheapest change, not shown yet: {kind}"
    elif cited.result.changes_why:
        values["none"] = cited.result.changes_why.rstrip(".")
        words += ". No change is known: {none}"
    return [Text(f"{words}.", values, tone)]


def both_texts(inputs: Inputs) -> list[Text]:
    """The answer over gentle and hard use with the cheapest change; nothing where there are not both."""
    cited = inputs.duty.part(lambda found: found.both_duties)
    if cited is None or cited.result.answer is None:
        return []
    found, answer = cited.result, cited.result.answer
    said, tone = ANSWERS[answer]
    values: dict[str, Cell] = {"answer": said, "why": found.why.rstrip(".")}
    words = "Gentle and hard use with one brake: {answer}"
    untested = {d.duty for d in inputs.duty.result.duties if d.opening_untested}
    pieces = []
    for k, one in enumerate(cited.each(lambda b: b.duties)):
        values[f"duty_{k}"] = one.result.duty
        ends = one.part(lambda duty: duty.openings)
        if ends is not None:
            values[f"low_{k}"], values[f"high_{k}"] = _ends(ends, f"{one.result.duty}: opening, both uses")
        told = f"{{low_{k}}} to {{high_{k}}}" if ends is not None else "none"
        if one.result.duty in untested:
            told = f"not known: friction of such stops was not tested; by the window of harder stops {told}"
            tone = "open" if tone == "good" else tone
        pieces.append(f"{{duty_{k}}} {told}")
    shared = cited.part(lambda b: b.opening)
    if shared is not None:
        values["low"], values["high"] = _ends(shared, "opening that serves both uses")
        words += ", {low} to {high}"
    words += f" (openings to run: {'; '.join(pieces)})"
    words += ": {why}." if answer == "not shown" else "."
    if found.changes:
        change = found.changes[0]
        values |= {
            "kind": change.kind,
            "change": change.words.removeprefix(f"{change.kind.replace('per', 'for each')}: ").rstrip("."),
        }
        words += (
            " Cheapest change: {kind}: {change}."
            if change.shown
            else " Cheapest change, not shown yet: {kind}: {change}."
        )
    elif found.changes_why:
        values["none"] = found.changes_why.rstrip(".")
        words += " No change is known: {none}."
    return [Text(words, values, tone)]


def _ends(span: Cited[Openings], label: str) -> tuple[Cell, Cell]:
    return (
        span.number(f"{label}, from", lambda s: s.low, decimals=2),
        span.number(f"{label}, to", lambda s: s.high, decimals=2),
    )


def both_table(inputs: Inputs) -> list[Table]:
    """Every duty's use and openings, and the changes in the order of what they cost."""
    cited = inputs.duty.part(lambda found: found.both_duties)
    if cited is None or cited.result.answer is None:
        return []
    head = ["Duty", "Use", "Told by", "Openings to run", "without reservation", "What stands against it"]
    untested = {d.duty for d in inputs.duty.result.duties if d.opening_untested}
    uses = [_use_row(one, one.result.duty in untested) for one in cited.each(lambda b: b.duties)]
    tables = [Table("Gentle and hard use: the openings of each duty", head, uses)]
    ways: list[list[Cell]] = [
        [c.kind, "yes" if c.shown else "no", numbers.worded(c.words)] for c in cited.result.changes
    ]
    if ways:
        caption = "What would make one brake serve both, the cheapest first"
        tables.append(Table(caption, ["Change", "Shown by the tests", "What to do"], ways))
    return tables


def _use_row(one: Cited[DutyUse], untested: bool) -> list[Cell]:
    found, spans = one.result, list[Cell]()
    for pick, label in ((lambda d: d.openings, "openings to run"), (lambda d: d.shown, "openings without reservation")):
        span = one.part(pick)
        if span is None:
            spans.append("none")
            continue
        low, high = _ends(span, f"{found.duty}: {label}")
        words = "not known (by the window of harder stops {low} to {high})" if untested else "{low} to {high}"
        spans.append(Text(words, {"low": low, "high": high}, sentence=True))
    return [found.duty, found.use or "neither", found.by, *spans, numbers.worded(found.why or "–")]


def support_texts(inputs: Inputs) -> list[Text]:
    """Where the window and the comparison of batches leave what was run; nothing of what stays inside."""
    said: list[Text] = []
    window = inputs.friction.each(lambda found: found.extrapolated)
    if window:
        words, values = beyond("window", window)
        said.append(Text(f"The window goes beyond what was run: {words}.", values, "open"))
    for entry in inputs.batches.result.extrapolated:
        words = "{of} goes beyond what was run: {what}."
        said.append(Text(words, {"of": entry.of, "what": entry.words}, "open", sentence=True))
    return said


def of_duty(one: Cited[DutyProjection]) -> list[Text]:
    """Where a duty leaves what was run, and the share of its energy in the window that was tested."""
    support, name = one.part(lambda found: found.support), one.result.duty
    if support is None or not support.result.extrapolations:
        return []
    said, values = beyond(name, support.each(lambda s: s.extrapolations))
    shares, of_shares = _shares(one, support)
    words = f"{{duty}} goes beyond what was run: {shares}. Beyond: {said}."
    return [Text(words, {**values, **of_shares, "duty": name}, _tone(support.result))]


def of_duty_in_short(one: Cited[DutyProjection], open_: str) -> list[Text]:
    """The same in a line without the ranges, which stand with the duty; `open_`: what is not excluded at its openings."""
    support, name = one.part(lambda found: found.support), one.result.duty
    values: dict[str, Cell] = {"duty": name, "open": open_}
    if support is None or not support.result.extrapolations:
        return [Text("{duty}: not excluded: {open}.", values, "open")] if open_ else []
    shares, of_shares = _shares(one, support)
    where: dict[str, list[str]] = {}
    for entry in support.result.extrapolations:
        of = "wear" if entry.of.startswith("wear of") else entry.of
        where.setdefault(of, []).append(TOGETHER if entry.direction == "combination" else entry.direction)
    values["where"] = "; ".join(f"{of} by {', '.join(dict.fromkeys(what))}" for of, what in where.items())
    words = f"{{duty}}: {shares}" + ("; not excluded: {open}" if open_ else "") + ". Beyond the tests: {where}."
    return [Text(words, values | of_shares, _tone(support.result))]


def _shares(one: Cited[DutyProjection], support: Cited[DutySupport]) -> tuple[str, dict[str, Cell]]:
    """How much of a duty's energy brakes at conditions that were tested, in words with places, and the values."""
    name, found = one.result.duty, support.result

    def share(label: str, pick: Callable[[DutySupport], float | None]) -> Number:
        return support.number(f"{name}: energy {label}", pick, unit="%", factor=100.0, decimals=0)

    if not found.window_share_tested and not found.window_share_extrapolated:
        tested = share("at tested conditions", lambda s: s.friction_share)
        return "{tested} of its energy brakes at conditions that were tested", {"tested": tested}
    values: dict[str, Cell] = {
        "opening": one.number(f"{name}: cooling opening", lambda d: d.opening, decimals=2),
        "tested": share("in the window, tested", lambda s: s.window_share_tested),
        "extrapolated": share("in the window, extrapolated", lambda s: s.window_share_extrapolated),
    }
    words = (
        "at opening {opening}, {tested} of its energy brakes in the window at conditions that were tested, {extrapolated} in it "
        "by extrapolation"
    )
    return words, values


def _tone(found: DutySupport) -> str:
    mostly = "mostly extrapolated" in (found.window_basis, found.opening_basis, found.life_basis)
    return "bad" if mostly else "open"


def beyond(label: str, entries: Sequence[Cited[Extrapolation]]) -> tuple[str, dict[str, Cell]]:
    """(words with places, values) of entries; what is beyond alike is told once."""
    alike: dict[str, list[Cited[Extrapolation]]] = {}
    for one in entries:
        alike.setdefault(one.result.words, []).append(one)
    pieces: dict[str, list[str]] = {}
    values = dict[str, Cell]()
    for k, group in enumerate(alike.values()):
        first, own = group[0], f"beyond_{k}"
        entry, whose = first.result, _together([one.result.of for one in group])
        said = pieces.setdefault(whose, [])
        if entry.value is None or entry.low is None or entry.high is None:
            values[f"{own}_words"] = entry.words
            said.append(f"{{{own}_words}}")
            continue
        name, unit = f"{label}: {entry.of}, {entry.direction}", numbers.unit_words(entry.unit)
        values |= {
            f"{own}_name": entry.direction,
            f"{own}_value": first.number(f"{name}", lambda e: e.value, unit=unit, decimals=_places(entry)),
            f"{own}_low": first.number(f"{name}, lowest run", lambda e: e.low, unit=unit, decimals=_places(entry)),
            f"{own}_high": first.number(f"{name}, highest run", lambda e: e.high, unit=unit, decimals=_places(entry)),
        }
        way = "up to" if entry.value > entry.high else "down to"
        said.append(f"{{{own}_name}} {way} {{{own}_value}}, run from {{{own}_low}} to {{{own}_high}}")
    for k, whose in enumerate(pieces):
        values[f"of_{k}"] = whose
    words = "; ".join(f"{{of_{k}}}: {', '.join(said)}" for k, said in enumerate(pieces.values()))
    return words, values


def _places(entry: Extrapolation) -> int:
    return {"°C": 0, "rpm": 0, "W/mm2": 2}.get(entry.unit, 1)


def _together(names: Sequence[str]) -> str:
    distinct = list(dict.fromkeys(names))
    wear = [name.removeprefix("wear of the ") for name in distinct if name.startswith("wear of the ")]
    rest = [name for name in distinct if not name.startswith("wear of the ")]
    return ", ".join([*rest, *([f"wear of the {' and '.join(wear)}"] if wear else [])])
