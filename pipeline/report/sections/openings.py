"""The cooling openings to run: what limits them, what the tests cannot exclude there, friction lost to a film, and the test that
would settle it."""

from __future__ import annotations

from pipeline.report import numbers
from pipeline.report.document import FRONT, Cell, Listing, Picture, Table, Text
from pipeline.report.source import Cited
from pipeline.results.duty import RIG_AIR, DutyProjection
from pipeline.results.openings import OPEN_WORDS, FilmLoss, SettlingTest

CAUSES = {
    "window": "friction window",
    "temperature": "end of the friction data",
    "glazing": "glazing",
    "wear data": "end of the wear data",
    "life": "wanted life",
}
FILM = Picture(
    "film",
    "What the tests say of a film (glazing) over initial temperature and power density of the pad, at the growth by which one use "
    "loses what the target accepts. Dark: shown to glaze; light: shown harmless; hatched: not tested. Marks: use between checks in "
    "tests, filled where it glazed, open where it was harmless, small where it told neither; crosses: the duty's brakings at its "
    "opening.",
    "Glazing over initial temperature and power density, with the duty's brakings",
    "duty.json /duties/*/glazing_area, friction.json /film",
    FRONT,
)


def opening_text(one: Cited[DutyProjection]) -> Text:
    """The cooling opening to run, or why none is given."""
    name, span = one.result.duty, one.part(lambda found: found.opening_to_run)
    if span is None:
        why = one.reason(lambda found: found.opening_to_run)
        return Text("{duty}: opening to run: not given: {why}", {"duty": name, "why": why}, "open")
    values: dict[str, Cell] = {
        "duty": name,
        "low": span.number(f"{name}: opening from", lambda found: found.low, decimals=2),
        "high": span.number(f"{name}: opening to", lambda found: found.high, decimals=2),
    }
    full = full_opening(one.result)
    if one.result.opening_untested:
        text = (
            "{duty}: opening to run: not known: friction of such stops was not tested (by the window of harder stops it would be "
            f"{{low}} to {{high}}; 1 = {full})"
        )
        values["causes"] = not_ruled_out(one.result)
        return Text(f"{text}; not ruled out: {{causes}}." if values["causes"] else f"{text}.", values, "open")
    words = f"{{duty}}: cooling opening to run: {{low}} to {{high}} (1 = {full})"
    if not one.result.reserved:
        return Text(f"{words}.", values)
    values["causes"] = not_ruled_out(one.result)
    return Text(f"{words}; not ruled out: {{causes}}.", values, "open")


def opening_table(listed: list[Cited[DutyProjection]]) -> list[Table]:
    """Ends of the cooling opening to run with their intervals, what limits them and what dominates the intervals; [] without any."""
    rows: list[list[Cell]] = []
    for one in listed:
        found, name = one.result, one.result.duty
        if found.opening_to_run is None:
            why = one.reason(lambda duty: duty.opening_to_run)
            rows.append([name, f"none: {numbers.worded(why)}", "–", not_ruled_out(found) or "–", "–"])
            continue
        low = one.number(
            f"{name}: lower end of the opening", lambda d: d.opening_to_run_low, decimals=2, why="not known"
        )
        high = one.number(
            f"{name}: upper end of the opening", lambda d: d.opening_to_run_high, decimals=2, why="not known"
        )
        by = (
            "not known, as friction of such stops was not tested; by the window of harder stops "
            if found.opening_untested
            else ""
        )
        said = Text(f"{by}{{low}}", {"low": low}, sentence=True)
        ends = (found.opening_to_run_low, found.opening_to_run_high)
        made = "; ".join(dict.fromkeys(end.dominated_by for end in ends if end is not None and end.dominated_by))
        rows.append([name, said, high, not_ruled_out(found) or "–", made or "–"])
    if not rows:
        return []
    head = ["Duty", "Opening to run, from", "to", "Not ruled out", "What makes the intervals"]
    return [
        Table(
            "Cooling openings to run (1 is the duty's full cooling), ends with 95 % intervals",
            head,
            rows,
            units_in_cells=True,
            rank=FRONT,
        )
    ]


def not_ruled_out(found: DutyProjection) -> str:
    """What may go wrong at the openings to run, in a word each."""
    return ", ".join(dict.fromkeys(OPEN_WORDS[item.cause] for item in found.not_excluded))


def full_opening(found: DutyProjection) -> str:
    """What an opening of 1 stands for: the duty's own cooling where its file gives it, else the rig's."""
    rig = found.cooling is None or found.cooling.source.startswith(RIG_AIR)
    return "the rig's air as tested" if rig else "the duty's full h1"


def opening_texts(one: Cited[DutyProjection]) -> list[Text | Listing]:
    """Everything about the openings of a duty."""
    found, name = one.result, one.result.duty
    said: list[Text | Listing] = [opening_text(one)]
    sure = one.part(lambda duty: duty.opening_to_run_sure)
    if sure is not None:
        values: dict[str, Cell] = {
            "duty": name,
            "low": sure.number(f"{name}: opening free of reservation from", lambda span: span.low, decimals=2),
            "high": sure.number(f"{name}: opening free of reservation to", lambda span: span.high, decimals=2),
        }
        said.append(Text("{duty}: free of any reservation: {low} to {high}.", values, "good"))
    elif found.opening_to_run is not None and found.opening_to_run_sure_why:
        why = found.opening_to_run_sure_why.rstrip(".")
        said.append(Text("{duty}: no opening is free of reservation: {why}.", {"duty": name, "why": why}, "open"))
    for limit in one.each(lambda duty: duty.limits):
        at = limit.number(f"{name}: limit by the {CAUSES[limit.result.cause]}", lambda item: item.at, decimals=2)
        way = "no lower than" if limit.result.side == "low" else "no higher than"
        cells: dict[str, Cell] = {"duty": name, "cause": CAUSES[limit.result.cause], "at": at, "why": limit.result.why}
        if found.opening_untested and limit.result.cause == "window":
            text = f"{{duty}}: {{cause}} of harder stops: {way} {{at}}; friction of such stops was not tested; {{why}}."
            said.append(Text(text, cells, "open"))
            continue
        said.append(Text(f"{{duty}}: {{cause}}: {way} {{at}}; {{why}}.", cells))
    for open_ in found.not_excluded:
        cells = {"duty": name, "cause": CAUSES[open_.cause], "why": open_.why.rstrip(".")}
        said.append(Text("{duty}: not ruled out ({cause}): {why}.", cells, "open"))
    said += loss_texts(one)
    test = one.part(lambda duty: duty.settling_test)
    if test is not None:
        said += test_texts(name, test)
    elif found.reserved and found.settling_test_why:
        why = found.settling_test_why.rstrip(".")
        said.append(Text("{duty}: no test is named: {why}.", {"duty": name, "why": why}, "open"))
    return said


def loss_texts(one: Cited[DutyProjection]) -> list[Text]:
    """Friction lost to a film at the duty's own opening."""
    said = []
    name = one.result.duty
    for words, loss in (
        ("one use", one.part(lambda duty: duty.glazing_loss)),
        ("three uses in a row", one.part(lambda duty: duty.glazing_loss_three_uses)),
    ):
        if loss is not None:
            said.append(_loss_text(name, words, loss))
    return said


def _loss_text(name: str, words: str, loss: Cited[FilmLoss]) -> Text:
    label = f"{name}: friction lost to a film in {words}"
    low = loss.number(f"{label}, at least", lambda found: found.low, unit="%", factor=100.0, decimals=1)
    cells: dict[str, Cell] = {"duty": name, "words": words, "low": low}
    if loss.result.high is None:
        cells["why"] = loss.result.high_why or ""
        text = (
            "{duty}: friction lost to a film in {words} at its opening: {low} or more, not bounded from above: {why}."
        )
        return Text(text, cells, "open")
    cells["high"] = loss.number(f"{label}, at most", lambda found: found.high, unit="%", factor=100.0, decimals=1)
    return Text("{duty}: friction lost to a film in {words} at its opening: {low} to {high}.", cells)


def test_texts(name: str, test: Cited[SettlingTest]) -> list[Text | Listing]:
    """The test that would settle it, with its blocks."""
    cells: dict[str, Cell] = {
        "duty": name,
        "text": test.result.text.rstrip("."),
        "opening": test.number(
            f"{name}: opening of the test that settles glazing", lambda one: one.opening, decimals=2
        ),
    }
    words = "{duty}: a test would settle it, with the conditions of opening {opening}: {text}"
    if test.result.hours is not None:
        cells["hours"] = test.number(f"{name}: time of that test", lambda one: one.hours, decimals=1)
        words += "; about {hours} on the rig"
    return [
        Text(f"{words}.", cells),
        Listing(f"{name}: blocks of that test, for a card's `blocks:`", test.result.blocks),
    ]
