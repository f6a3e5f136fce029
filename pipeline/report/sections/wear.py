"""Wear: intervals and rates of every component, the law with its intervals and the temperatures that support it."""

from collections.abc import Callable, Mapping
from dataclasses import replace

from pipeline.report import numbers
from pipeline.report.document import FRONT, ROOM, Cell, Items, Picture, Section, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.sections import wear_short
from pipeline.report.sections.by_batch import wear_parts
from pipeline.report.source import Cited
from pipeline.report.wear_words import identified, law_words, name_of, spoken
from pipeline.results.wear import CompoundComponent, FittedLaw

FIT: tuple[tuple[str, Callable[[FittedLaw], float | None], int], ...] = (
    ("χ²/dof", lambda law: law.chi2_per_dof, 2),
    ("AICc", lambda law: law.aicc, 1),
    ("leave-one-out error", lambda law: law.loo_rmse_um, 2),
)
EXCESS = 1.02  # of a ratio's lower end: a clear excess of mass
MOVED = 1.0  # standard uncertainties by which readings move a heat input before it is told
Components = Mapping[str, Cited[CompoundComponent]]


def wear(inputs: Inputs) -> Section:
    """The wear part of the sheet."""
    source = inputs.wear
    components = source.named(lambda found: found.components or {})
    if not components:
        why = source.reason(lambda found: found.components)
        return Section("Wear", [Text("Wear: not given: {why}", {"why": why}, "open", rank=FRONT)])
    parts: list[Text | Items | Table | Picture] = [law_text(name, found) for name, found in components.items()]
    parts += [*wear_short.rates(inputs, components), *wear_short.mechanisms(components), *wear_short.dimensions(inputs)]
    parts.append(
        Picture(
            "wear",
            "Left: interval wear by the chosen law against the measured, with twice the readings' standard "
            "uncertainty. Right: wear rate by "
            "interval. All tests.",
            "Wear by the law against measured wear, and wear rate by interval",
            "tests/*/wear.json",
        )
    )
    parts.append(
        Picture(
            "wear_law",
            "Left: the chosen law over temperature with its 95 % band, inside the data's range. Right: wear by cause "
            "and purpose of the "
            "blocks, by the chosen law.",
            "Wear law over temperature and shares of wear",
            "wear.json, tests/*/wear.json",
            ROOM,
        )
    )
    head = ["Component", "Law", "χ² per degree of freedom", "AICc", "Leave-one-out error (µm)", "State"]
    parts.append(Table("Laws fitted to the interval totals", head, law_rows(components)))
    parameters = parameter_rows(components)
    if parameters:
        head = ["Component", "Law", "Parameter", "Value", "Unit"]
        parts.append(Table("Parameters of the chosen laws, 95 % intervals", head, parameters))
        parts += [text for name, found in components.items() for text in source_texts(name, found.result)]
    parts += [*soak_table(components), *wear_parts(inputs)]
    parts.append(Items([mass_item(name, found) for name, found in components.items()]))
    parts += [
        Text("Left out of wear: {test}: {why}.", {"test": test, "why": why.rstrip(".")}, "open")
        for test, why in source.result.wear_left_out.items()
    ]
    parts += [Text("{note}", {"note": note}, sentence=True) for note in source.result.notes]
    return Section("Wear", parts)


def law_rows(components: Components) -> list[list[Cell]]:
    """Every law of every component with its misfit and what it is."""
    return [
        [
            name_of(name),
            spoken(law.result.model),
            *(
                replace(
                    law.number(f"{name_of(name)} {law.result.model}: {words}", pick, unit="", decimals=d), brief=True
                )
                for words, pick, d in FIT
            ),
            state(law.result, found.result),
        ]
        for name, found in components.items()
        for law in found.each(lambda component: component.models)
    ]


def mass_item(name: str, found: Cited[CompoundComponent]) -> tuple[str, Cell]:
    ratio = found.result.mass_to_thickness
    more = ratio is not None and ratio.low is not None and ratio.low > EXCESS
    words = f"Mass loss over thickness loss, {name_of(name)}"
    words += ": more went than the thickness tells, from inside or from faces that were not measured" if more else ""
    return words, found.number(f"{name_of(name)}: mass over thickness", lambda component: component.mass_to_thickness)


def state(law: FittedLaw, component: CompoundComponent) -> str:
    """Chosen, identified, effective, in words with the reason."""
    said = ["chosen"] if law.model == component.chosen else []
    said += ["identified"] if law.identified else ["not identified"]
    said += ["effective parameters"] if law.effective else []
    return ", ".join(said) + (f": {law.why}" if law.why else "")


def law_text(name: str, cited: Cited[CompoundComponent]) -> Text:
    """The chosen law of a component, why it, and the temperatures that support it."""
    found = cited.result
    if found.chosen is None:
        why = cited.reason(lambda component: component.chosen)
        said = "{component}: no law is chosen: {why}"
        return Text(said, {"component": name_of(name), "why": why}, "open", sentence=True, rank=FRONT)
    words: dict[str, Cell] = {"component": name_of(name), "law": spoken(found.chosen)}
    if not identified(found):
        said = (
            "{component}: {none}. The {law} law stands in as a description of these tests, and nothing follows from "
            "it beyond them."
        )
        return Text(said, words | {"none": law_words(found)}, "open", sentence=True, rank=FRONT)
    values = words | {"why": f" ({found.chosen_why})" if found.chosen_why else ""}
    span = cited.part(lambda component: component.temperature_range_c)
    if span is not None:
        values |= {
            "low": span.number(f"{name}: law supported from", lambda ends: ends[0], unit="°C", decimals=0),
            "high": span.number(f"{name}: law supported to", lambda ends: ends[1], unit="°C", decimals=0),
        }
        said = "{component}: the {law} law is chosen{why}. The data support it from {low} to {high}, not beyond."
        if found.chosen == "oxidation":
            said = (
                "{component}: the {law} law is chosen{why}. The readings show its oxidation where the surface was at {low} to {high}; "
                "below and above it is the law drawn on."
            )
        return Text(said, values, sentence=True, rank=FRONT)
    said = (
        "{component}: the {law} law is chosen{why}. It holds inside the temperatures and powers of these tests, "
        "not beyond."
    )
    return Text(said, values, sentence=True, rank=FRONT)


def source_texts(name: str, found: CompoundComponent) -> list[Text]:
    """What makes the intervals of an identified law's parameters, and where readings moved a heat input."""
    law, said = found.identified_law, []
    of: dict[str, list[str]] = {}
    for parameter, one in (law.parameters if law else {}).items():
        if one.dominated_by:
            of.setdefault(one.dominated_by, []).append(parameter)
    for why, which in of.items():
        values: dict[str, Cell] = {"component": name_of(name), "which": " and ".join(which), "why": why}
        said.append(Text("{component}, interval of {which}: {why}.", values, sentence=True))
    moved = [one for one in (law.inputs if law else []) if abs(one.shift) > MOVED]
    if moved:
        words = "; ".join(f"{one.name} by {one.shift:+.1f} of its standard uncertainty" for one in moved)
        values = {"component": name_of(name), "words": words}
        text = "{component}: the readings go with heat inputs other than stated: {words}. The law is at these."
        said.append(Text(text, values, "open", sentence=True))
    return said


def parameter_rows(components: Components) -> list[list[Cell]]:
    """Parameters of the chosen laws."""
    return [
        [
            name_of(name),
            spoken(law.result.model),
            parameter,
            one.number(f"{name_of(name)}: {parameter}", lambda found: found, unit=""),
            numbers.unit_words(one.result.unit) or "1",
        ]
        for name, found in components.items()
        for law in found.each(lambda component: component.models)
        if law.result.model == found.result.chosen
        for parameter, one in law.named(lambda fitted: fitted.parameters).items()
    ]


def soak_table(components: Components) -> list[Table]:
    """Soaks without a stop between two readings: what was lost, and what the compound's law gives for it; [] without any."""
    rows: list[list[Cell]] = []
    for name, found in components.items():
        for k, one in enumerate(found.each(lambda component: component.intervals), 1):
            interval = one.result
            if interval.dwell_h is None or interval.from_stop != interval.to_stop:
                continue
            label = f"{name.replace('_', ' ')}, {interval.test}, interval {k}: soak"
            rows.append([
                name.replace("_", " "), interval.test or "",
                one.number(f"{label}, hours", lambda i: i.dwell_h, decimals=1),
                one.number(f"{label}, temperature", lambda i: i.dwell_c, decimals=0),
                one.number(f"{label}, loss", lambda i: i.wear_um, decimals=1),
                one.number(f"{label}, standard uncertainty of the loss", lambda i: i.wear_u_um, decimals=1),
                one.number(f"{label}, loss by the law", lambda i: i.predicted_um, decimals=1, why="no law"),
            ])  # fmt: skip
    if not rows:
        return []
    head = ["Component", "Test", "Hours", "°C", "Loss (µm)", "its u (µm)", "by the law (µm)"]
    return [Table("Soaks without a stop: oxidation alone, at a temperature that is known", head, rows)]
