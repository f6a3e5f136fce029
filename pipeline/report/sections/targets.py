"""In short: one brake for both uses, a line a duty, each target met, not met or undecided with the figures that decide it."""

from dataclasses import replace

from pipeline.conformity.decision import RISK
from pipeline.report import numbers
from pipeline.report.document import FRONT, Cell, Number, Section, Table, Text, ranked, shown
from pipeline.report.inputs import Inputs, TargetFigures
from pipeline.report.sections.duty_short import short_texts as duty_texts
from pipeline.report.sections.support import both_text
from pipeline.report.source import Cited
from pipeline.results.sheet import TargetAnswer
from pipeline.results.targets import Judged, Requirement


def in_short(inputs: Inputs) -> Section:
    """The first part of the sheet."""
    told = ranked(FRONT, [*both_text(inputs), *duty_texts(inputs)])
    return Section("In short", [*told, *target_parts(inputs)])


def target_parts(inputs: Inputs) -> list[Text | Table]:
    """The decision rule, and the requirements worst first."""
    judged = inputs.judged
    listed = judged.each(lambda found: found.requirements)
    parts: list[Text | Table] = []
    if judged.result.why or not listed:
        why = judged.result.why or judged.reason(lambda found: found.requirements)
        parts.append(Text("{why}.", {"why": why.rstrip(".")}, "open", sentence=True, rank=FRONT))
    if not listed:
        return parts
    parts.append(Text("Decision rule: {rule}.", {"rule": judged.result.decision_words}, rank=FRONT))
    parts.append(Text(PROBABILITY))
    head = [
        "Target",
        "Wanted",
        "Found, in what it rests on",
        "Probability that it is met (%)",
        "Rests on",
        "Answer",
        "By",
    ]
    rows = [_row(inputs, one) for one in listed]
    parts.append(
        Table(
            "Targets, worst first; intervals are 95 %, that of single stops is their tolerance band",
            head,
            rows,
            units_in_cells=True,
            rank=FRONT,
        )
    )
    return parts


def by_batch(inputs: Inputs) -> list[Table]:
    """The requirements for every batch and pair, worst first; [] without any."""
    each = [row for one in inputs.judged.each(lambda found: found.requirements) for row in _each(one)]
    if not each:
        return []
    head = ["Target", "Batch or pair", "Found", "Probability that it is met (%)", "Answer", "By"]
    return [Table("Targets for every batch, worst first", head, each, units_in_cells=True)]


BETWEEN = f"its probability lies between {100 * RISK:.0f} and {100 * (1 - RISK):.0f} %, which would decide"


def by(judged: Judged) -> str:
    """Why an answer is not what its figures alone would say, in short; the whole reason stands with the batches."""
    first = judged.why.split("; ")[0]
    if judged.verdict != "undecided":
        return "–" if judged.why.startswith("the best estimate") else first
    if judged.conformity is not None and RISK < judged.conformity < 1 - RISK and first.startswith("the best estimate"):
        return BETWEEN
    return first


def _row(inputs: Inputs, one: Cited[Requirement]) -> list[Cell]:
    found = one.result
    answer = one.part(lambda r: r.answer)
    assert answer is not None
    target = found.target + (f" (at {found.at})" if found.at else "")
    cells = _figures(answer, found)
    return [target, wanted(inputs, one), *cells, found.rests_on, found.answer.verdict, numbers.worded(by(found.answer))]


def _each(one: Cited[Requirement]) -> list[list[Cell]]:
    return [
        [
            one.result.target,
            row.result.of,
            *_figures(row, one.result),
            row.result.verdict,
            numbers.worded(row.result.why),
        ]
        for row in one.each(lambda r: r.each)
    ]


def _figures(judged: Cited[Judged], of: Requirement) -> list[Cell]:
    """What was found and the probability of conformity."""
    label = f"{of.target}: {judged.result.of}"
    found = judged.number(label, lambda j: j.figure, unit=of.unit, decimals=DECIMALS.get(of.key))
    sure = judged.number(
        f"{label}: probability that it is met", lambda j: j.conformity, unit="", factor=100.0, decimals=1
    )
    return [replace(found, against=(of.low, of.high)), replace(sure, chance=True)]


DECIMALS = {"life": 0}
PROBABILITY = (
    "Probabilities hold for what the intervals beside them hold, by normal tails; rounded, they are never certainty. Models, "
    "and a vehicle unlike the rig, are not in them."
)


def wanted(inputs: Inputs, one: Cited[Requirement]) -> Cell:
    """The limits of a requirement with the temperatures over which they hold."""
    found = one.result
    values: dict[str, Cell] = {}
    if found.low is not None:
        values["low"] = one.number(
            f"{found.target}: lower limit", lambda r: r.low, unit=found.unit, decimals=_places(found)
        )
    if found.high is not None:
        values["high"] = one.number(
            f"{found.target}: upper limit", lambda r: r.high, unit=found.unit, decimals=_places(found)
        )
    words = "{low} to {high}" if len(values) == 2 else "at least {low}" if "low" in values else "at most {high}"
    if found.key in OVER_WINDOW and inputs.target is not None and inputs.target.result.temperature_window:
        values["from"], values["to"] = wanted_ends(inputs.target)
        words = "from {from} to {to}" + (", µ {low} to {high}" if found.low is not None else "")
    return Text(words, values, sentence=True)


OVER_WINDOW = ("window", "mu")
PLACES = {"life": 0, "disc_wear": 3, "mu_batch_margin": 3, "bite_margin": 4}


def _places(found: Requirement) -> int | None:
    return PLACES.get(found.key, 2)


def wanted_ends(target: Cited[TargetFigures]) -> tuple[Number, Number]:
    """Both ends of the target range."""
    low = target.number(
        "target range, low end",
        lambda t: t.temperature_window[0] if t.temperature_window else None,
        unit="°C",
        decimals=0,
    )
    high = target.number(
        "target range, high end",
        lambda t: t.temperature_window[1] if t.temperature_window else None,
        unit="°C",
        decimals=0,
    )
    return low, high


def answers(inputs: Inputs) -> list[TargetAnswer]:
    """The targets for sheet.json."""
    rows = []
    for one in inputs.judged.each(lambda found: found.requirements):
        answer, found = one.part(lambda r: r.answer), one.result
        assert answer is not None
        rows.append(
            TargetAnswer(
                target=found.target + (f" (at {found.at})" if found.at else ""),
                wanted=shown(wanted(inputs, one)),
                found=shown(_figures(answer, found)[0]),
                met=found.answer.verdict,
                conformity=found.answer.conformity,
                rests_on=found.rests_on,
                each=found.each,
            )
        )
    return rows
