"""A duty in one line, for the sheet's first part: opening, what it rests on, what is not ruled out, life, film, and the test that would
settle the film."""

from __future__ import annotations

from dataclasses import replace

from pipeline.report.document import Cell, Text
from pipeline.report.inputs import Inputs
from pipeline.report.sections.by_batch import asked_life
from pipeline.report.sections.duty import common_text, energy_inside
from pipeline.report.sections.openings import opening_text
from pipeline.report.source import Cited
from pipeline.results.duty import DutyProjection
from pipeline.wording import counted


def short_texts(inputs: Inputs) -> list[Text]:
    """A line a duty, and that no opening serves all where nothing else says so."""
    listed = inputs.duty.each(lambda found: found.duties)
    said = [line(one, inputs.settings.duty.window_share, asked_life(inputs, one.result.duty)) for one in listed]
    both = inputs.duty.result.both_duties
    if len(listed) > 1 and inputs.duty.result.common_opening is None and (both is None or both.answer is None):
        said.append(common_text(inputs))
    return said


def line(one: Cited[DutyProjection], wanted: float, life: tuple[float | None]) -> Text:
    """One duty in one line; wanted: share of the energy in the window, 1; life: km asked for, if any."""
    found, opening = one.result, opening_text(one)
    values: dict[str, Cell] = {"opening": Text(opening.template.rstrip("."), opening.values)}
    pieces = ["{opening}"]
    for words, own in (_rests_on(one), _life(one, life), _film(one), _settled_by(one)):
        if words:
            pieces.append(words)
            values |= own
    tone = opening.tone
    if found.window_share is not None and found.window_share < wanted:
        tone = "open" if found.window_share else "bad"
    if tone == "plain" and _basis(found) not in (None, "tested"):
        tone = "open"
    return Text(f"{'; '.join(pieces)}.", values, tone)


def _basis(found: DutyProjection) -> str | None:
    return None if found.support is None else found.support.opening_basis or found.support.window_basis


def _rests_on(one: Cited[DutyProjection]) -> tuple[str, dict[str, Cell]]:
    """Energy in the window at the opening given, and how much of it brakes at conditions that were tested."""
    found, name = one.result, one.result.duty
    if found.window_share is None:
        return "", {}
    values: dict[str, Cell] = {
        "share": energy_inside(one),
        "at": one.number(f"{name}: cooling opening", lambda d: d.opening, decimals=2),
    }
    words = "at the opening given, {at}, {share} of its energy in the friction window"
    support = one.part(lambda d: d.support)
    if support is not None and found.window_share:
        values["tested"] = support.number(
            f"{name}: energy in the window, tested", lambda s: s.window_share_tested, unit="%", factor=100.0, decimals=0
        )
        values["beyond"] = support.number(
            f"{name}: energy in the window, extrapolated",
            lambda s: s.window_share_extrapolated,
            unit="%",
            factor=100.0,
            decimals=0,
        )
        words += ": {tested} at conditions that were tested, {beyond} by extrapolation"
    return words, values


def _life(one: Cited[DutyProjection], asked: tuple[float | None]) -> tuple[str, dict[str, Cell]]:
    """Life, and whose; the reason of one that is not given stands in the duties' part."""
    found = one.result
    if found.life_km.value is None:
        return "life not known", {}
    value = one.number(f"{found.duty}: life", lambda d: d.life_km, decimals=0)
    values: dict[str, Cell] = {"life": replace(value, against=asked)}
    words = "life {life}"
    if found.life_of is not None and found.life_of.batch is not None:
        values["batch"] = found.life_of.batch
        words += " (batch {batch})"
    basis = found.support.life_basis if found.support else None
    return words + ("" if basis in (None, "tested") else f", {basis}"), values


def _film(one: Cited[DutyProjection]) -> tuple[str, dict[str, Cell]]:
    """Friction that a film may take in one use, by its upper bound."""
    loss = one.part(lambda d: d.glazing_loss)
    if loss is None:
        return "", {}
    if loss.result.high is None:
        return "film in one use: not bounded by any test", {}
    high = loss.number(
        f"{one.result.duty}: friction lost to a film in one use, at most",
        lambda f: f.high,
        unit="%",
        factor=100.0,
        decimals=1,
    )
    return "film in one use: may take up to {film} of friction at the opening given", {"film": high}


def _settled_by(one: Cited[DutyProjection]) -> tuple[str, dict[str, Cell]]:
    """Rig hours of the test that settles whether it glazes, with the log that is to come before it."""
    test = one.part(lambda d: d.settling_test)
    if test is None or test.result.hours is None:
        return "", {}
    hours = test.number(f"{one.result.duty}: time of the test that settles the film", lambda t: t.hours, decimals=1)
    if test.result.log is not None:
        return "a log of {uses} and then a test of {hours} settle the film", {
            "uses": counted(test.result.log.uses, "use"),
            "hours": hours,
        }
    return "a test of {hours} settles the film", {"hours": hours}
