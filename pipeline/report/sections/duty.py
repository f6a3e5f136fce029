"""Duty projections: disc temperatures of the settled cycle, share in the window, wear, life, cooling opening to run."""

from collections.abc import Callable
from dataclasses import replace

from pipeline.report.document import FRONT, ROOM, Cell, Items, Listing, Number, Picture, Section, Table, Text, ranked
from pipeline.report.inputs import Inputs
from pipeline.report.sections.by_batch import asked_life, life_table, life_texts
from pipeline.report.sections.duty_log import drive_texts, log_texts, pressing_texts
from pipeline.report.sections.openings import FILM, opening_table, opening_texts
from pipeline.report.sections.support import both_table, both_texts, of_duty
from pipeline.report.source import Cited
from pipeline.report.wear_words import name_of
from pipeline.results.duty import DutyProjection, Projected, Span
from pipeline.results.sources import Sourced
from pipeline.results.support import TESTED

TITLE = "Duty projections"
HEAD = (
    "Duty",
    "Opening",
    "Lowest (°C)",
    "Highest (°C)",
    "Energy in the window (%)",
    "in glazing-prone conditions (%)",
    "Life (cycles)",
    "Life (km)",
    "ended by",
    "of",
)
GLAZING_OPEN = 0.2  # width of the share's interval above which its best value tells nothing
MEANING = (
    "Disc bulk temperature of the settled cycle. A projection rests on the friction window and wear law of this "
    "sheet and "
    "on the duty as given; it is not a measurement of the vehicle. Energy in the window goes by the braking's temperature; how much of it brakes at "
    "conditions that were tested stands beside it. Life counts from new thickness to the minimum."
)
PICTURE = Picture(
    "duty",
    "Disc temperature in the settled cycle; its lowest and highest, the share of energy inside the friction "
    "window, and "
    "life, against the cooling opening. Shaded: the friction window.",
    "Disc temperature, window share and life against cooling opening",
    "duty.json",
    FRONT,
)


def duty(inputs: Inputs) -> Section:
    """The duty part of the sheet."""
    source, listed = inputs.duty, inputs.duty.each(lambda found: found.duties)
    left_out = [
        Text("Duty file left out: {why}.", {"why": why.rstrip(".")}, "open")
        for why in source.result.duties_left_out.values()
    ]
    if not listed:
        why = source.result.unusable or ("none could be read" if left_out else "no duty file is given")
        return Section(TITLE, [Text("No duty projection: {why}", {"why": why}, rank=FRONT), *ranked(FRONT, left_out)])
    parts: list[Text | Items | Listing | Table | Picture] = [Text(MEANING, rank=ROOM)]
    rows = [duty_row(inputs, one) for one in listed]
    parts.append(Table("Projection of each duty, 95 % intervals", HEAD, rows, rank=FRONT))
    parts += opening_table(listed)
    parts += [*life_table(inputs, listed), *[text for one in listed for text in life_texts(inputs, one)]]
    wear = [row for one in listed for row in wear_rows(one)]
    if wear:
        head = ["Duty", "Component", "Thickness loss per cycle (µm; disc: both faces together)"]
        parts.append(Table("Wear per cycle, all batches together, 95 % intervals", head, wear))
    for one in listed:
        parts += texts(one)
    if any(one.result.sweep for one in listed):
        parts.append(PICTURE)
    if any(one.result.glazing_area for one in listed):
        parts.append(FILM)
    parts += [*both_texts(inputs), *both_table(inputs)]
    if len(listed) > 1:
        parts.append(common_text(inputs))
    parts += [Text("{note}.", {"note": note.rstrip(".")}, sentence=True) for note in source.result.notes]
    return Section(TITLE, [*parts, *left_out])


def energy_inside(one: Cited[DutyProjection]) -> Number:
    """Share of the duty's braking energy inside the friction window, with its interval."""
    return one.number(
        f"{one.result.duty}: energy in the window",
        lambda found: found.window_share,
        unit="%",
        factor=100.0,
        decimals=0,
        ends=lambda found: _span(found.window_share_interval),
    )


def duty_row(inputs: Inputs, one: Cited[DutyProjection]) -> list[Cell]:
    """The figures of a duty."""
    name = one.result.duty
    return [
        name,
        one.number(f"{name}: cooling opening", lambda found: found.opening, decimals=2),
        one.number(
            f"{name}: lowest temperature",
            lambda found: found.temperature_low_c,
            decimals=0,
            ends=lambda found: _span(found.temperature_low_interval),
        ),
        one.number(
            f"{name}: highest temperature",
            lambda found: found.temperature_high_c,
            decimals=0,
            ends=lambda found: _span(found.temperature_high_interval),
        ),
        inside_cell(one),
        glazing_cell(one),
        one.number(f"{name}: life", lambda found: found.life_cycles, unit="cycles", decimals=0),
        replace(one.number(f"{name}: life", lambda found: found.life_km, decimals=0), against=asked_life(inputs, name)),
        one.result.life_limited_by or "–",
        (one.result.life_of.batch if one.result.life_of else None) or "all batches",
    ]


def inside_cell(one: Cited[DutyProjection]) -> Cell:
    """Energy in the window; where a part of it rests on extrapolation, its tested and its extrapolated part apart."""
    name, inside = one.result.duty, energy_inside(one)
    support = one.part(lambda found: found.support)
    if support is None or not support.result.window_share_extrapolated or inside.value is None:
        return inside
    values: dict[str, Cell] = {
        "tested": support.number(
            f"{name}: energy in the window, tested", lambda s: s.window_share_tested, unit="", factor=100.0, decimals=0
        ),
        "beyond": support.number(
            f"{name}: energy in the window, extrapolated",
            lambda s: s.window_share_extrapolated,
            unit="",
            factor=100.0,
            decimals=0,
        ),
    }
    words = "{tested} tested + {beyond} extrapolated"
    if inside.low is not None and inside.high is not None and inside.high - inside.low >= 1.0:
        values["inside"] = replace(inside, unit="")
        words += "; together {inside}"
    return Text(words, values)


def glazing_cell(one: Cited[DutyProjection]) -> Cell:
    """Energy in glazing-prone conditions; not tested where what is known of their limit leaves a fifth of the energy open."""
    name, between = one.result.duty, one.result.glazing_share_interval
    share = one.number(
        f"{name}: energy in glazing-prone conditions",
        lambda found: found.glazing_share,
        unit="%",
        factor=100.0,
        decimals=0,
        # the limit is known to a factor: what it gives at either end
        ends=lambda found: _span(found.glazing_share_interval),
    )
    if between is None or between.high - between.low <= GLAZING_OPEN:
        return share
    ends = {
        key: one.number(f"{name}: energy in glazing-prone conditions, {words}", pick, unit="", factor=100.0, decimals=0)
        for key, words, pick in (
            ("low", "at least", lambda found: found.glazing_share_interval.low),
            ("high", "at most", lambda found: found.glazing_share_interval.high),
        )
    }
    return Text("not tested ({low} to {high})", ends, sentence=True)


def _span(found: Sourced | Span | None) -> tuple[float | None, float | None]:
    return (None, None) if found is None else (found.low, found.high)


def source_texts(one: Cited[DutyProjection]) -> list[Text]:
    """What makes the intervals of a duty's figures: the largest source of each, and what would narrow it; before it what an interval
    does not hold at all, and beside it that a width is assumed and not measured."""
    found = one.result
    asked: tuple[tuple[str, Sourced | None], ...] = (
        ("life", found.life_cycles),
        ("the highest temperature", found.temperature_high_interval),
        ("the lower end of the opening", found.opening_to_run_low),
        ("the upper end of the opening", found.opening_to_run_high),
    )
    of: dict[str, list[str]] = {}
    for what, figure in asked:
        if figure is not None and figure.dominated_by:
            why = f"{figure.dominated_by}{_assumed(found, figure)}"
            of.setdefault(_not_held(found) + why if what == "life" else why, []).append(what)
    return [
        Text("{duty}, {what}: {why}.", {"duty": found.duty, "what": " and ".join(what), "why": why})
        for why, what in of.items()
    ]


def _not_held(found: DutyProjection) -> str:
    """That the interval of a life does not hold its extrapolation, where a part of the loss is extrapolated."""
    shares, part = (found.support.wear_share if found.support else {}), found.life_limited_by
    tested = shares.get(part, 1.0) if part else min(shares.values(), default=1.0)
    if tested >= TESTED:
        return ""
    return f"its interval does not hold the extrapolation, {100 * (1 - tested):.0f} % of the loss; of what it holds, "


def _assumed(found: DutyProjection, figure: Sourced) -> str:
    """That the uncertainty of the largest source is the default, where it is."""
    largest = next(iter(figure.by_source or {}), None)
    default = any(known.name == largest and "default" in known.source for known in found.inputs)
    return f" (how uncertain the {largest} is was not measured: it is the tool's assumption)" if default else ""


def wear_rows(one: Cited[DutyProjection]) -> list[list[Cell]]:
    """Wear per cycle of every component."""
    name = one.result.duty
    return [
        [name, name_of(component), one.number(f"{name}: {name_of(component)} wear per cycle", _wear_of(component))]
        for component in one.result.wear_um_per_cycle
    ]


def _wear_of(component: str) -> Callable[[DutyProjection], Projected]:
    return lambda found: found.wear_um_per_cycle[component]


def texts(one: Cited[DutyProjection]) -> list[Text | Listing]:
    """What a duty's figures rest on, in sentences."""
    found = one.result
    name: dict[str, Cell] = {"duty": found.duty}
    said: list[Text | Listing] = [
        *log_texts(one),
        *drive_texts(one),
        *opening_texts(one),
        *window_texts(one),
        *source_texts(one),
        *pressing_texts(one),
    ]
    grounds = [life.ground for life in found.life_by_component.values() if life.ground]
    if grounds:
        said.append(Text("{duty}: life rests on no law: {ground}.", name | {"ground": "; ".join(grounds)}, "open"))
    if found.settled_within_use is False:
        label = f"{found.duty}: highest temperature in a use"
        highest = one.number(label, lambda duty: duty.highest_in_use_c, decimals=0)
        words = (
            "{duty}: one use ends before the disc has settled; highest temperature in a use {highest}. Wear and "
            "life are "
            "those of the use, the temperatures in the table those of the settled cycle."
        )
        said.append(Text(words, name | {"highest": highest}))
    worn = one.part(lambda duty: duty.worn_disc)
    if worn:
        label = f"{found.duty}: highest temperature, worn disc"
        highest = worn.number(label, lambda disc: disc.temperature_high_c, decimals=0)
        words = (
            "{duty}: wear and life are reckoned with the new disc's mass; worn to its minimum it reaches "
            "{highest} in the "
            "settled cycle."
        )
        said.append(Text(words, name | {"highest": highest}))
    said += burnt_texts(one)
    if found.support is not None:
        said += of_duty(one)
        test = found.support.map_test
        if test is not None:
            words = "{duty}: its friction would be tested by {what}; the blocks stand ready for a card in duty.json (support.map_test)."
            said.append(Text(words, name | {"what": test.text}, "open"))
    elif found.extrapolated:
        beyond = "; ".join(found.extrapolated)
        said.append(Text("{duty} goes beyond what the rig has shown: {beyond}.", name | {"beyond": beyond}, "bad"))
    return said


def window_texts(one: Cited[DutyProjection]) -> list[Text]:
    """The window that the duty is held against, where it is not the compound's."""
    window = one.part(lambda duty: duty.window_of)
    if window is None:
        return []
    name = one.result.duty
    facts: dict[str, Cell] = {"duty": name, "why": window.result.why}
    if window.result.low_c is None:
        return [Text("{duty} has no window: {why}.", facts, "open")]
    facts |= {
        "low": window.number(f"{name}: window from", lambda w: w.low_c, unit="°C", decimals=0),
        "high": window.number(f"{name}: window to", lambda w: w.high_c, unit="°C", decimals=0),
    }
    words = "{duty}: energy in the window and the openings to run go by {low} to {high}: {why}"
    if window.result.pooled_low_c is None:
        return [Text(words + ".", facts)]
    facts |= {
        "from": window.number(f"{name}: compound's window from", lambda w: w.pooled_low_c, unit="°C", decimals=0),
        "to": window.number(f"{name}: compound's window to", lambda w: w.pooled_high_c, unit="°C", decimals=0),
    }
    return [Text(words + "; all batches together {from} to {to}.", facts)]


def common_text(inputs: Inputs) -> Text:
    """One opening for all duties, or why there is none."""
    span = inputs.duty.part(lambda found: found.common_opening)
    if span is None:
        why = inputs.duty.reason(lambda found: found.common_opening).rstrip(".")
        known = not any(duty.opening_untested for duty in inputs.duty.result.duties)
        said = "No opening serves all duties: {why}." if known else "No opening is shown to serve all duties: {why}."
        return Text(said, {"why": why}, "open")
    values: dict[str, Cell] = {
        "low": span.number("common opening from", lambda found: found.low, decimals=2),
        "high": span.number("common opening to", lambda found: found.high, decimals=2),
    }
    return Text("One opening serves all duties: {low} to {high}.", values, "good")


def burnt_texts(one: Cited[DutyProjection]) -> list[Text]:
    """What oxidation takes of the disc by the end of its life, held against where strength is in doubt. A caution only."""
    burnt, name = one.part(lambda duty: duty.burnt), one.result.duty
    if burnt is None:
        return []
    found = burnt.result
    if found.burnt is None:
        return [
            Text(
                "{duty}: what oxidation takes of the disc is not given: {why}.",
                {"duty": name, "why": found.why or "no figure"},
                "open",
            )
        ]
    values: dict[str, Cell] = {
        "duty": name,
        "burnt": burnt.number(
            f"{name}: mass burnt as wear of the faces", lambda b: b.burnt, unit="%", factor=100.0, decimals=1
        ),
        "inside": burnt.number(
            f"{name}: mass burnt that no thickness shows", lambda b: b.inside, unit="%", factor=100.0
        ),
        "limit": burnt.number(
            f"{name}: mass loss by oxidation from which strength is in doubt",
            lambda b: b.limit,
            unit="%",
            factor=100.0,
            decimals=0,
        ),
    }
    values["of"] = f" (batch {found.batch}, which burns most)" if found.batch else ""
    words = (
        "{duty}: worn to its minimum the disc{of} has lost by oxidation {burnt} of its new mass as wear of the faces, and beside what the thickness shows {inside}. A few per cent "
        "cost carbon-carbon some tens of per cent of its strength (common practice); from {limit} on, "
    )
    ending = (
        "which is passed, strength at that thickness is in doubt and the minimum thickness alone does not cover it: have it tested on oxidised discs."
        if found.beyond
        else "which is not passed by these figures, it would be in doubt; that is no proof of strength."
    )
    return [Text(words + ending, values, "bad" if found.beyond else "open", rank=FRONT if found.beyond else ROOM)]
