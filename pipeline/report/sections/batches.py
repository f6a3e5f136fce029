"""Batches: friction at reference conditions, bite and wear of each, and for every pair one of three answers."""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

from pipeline.archive.facts import number
from pipeline.report import numbers
from pipeline.report.document import FRONT, ROOM, Cell, Number, Picture, Section, Table, Text, ranked
from pipeline.report.inputs import Inputs
from pipeline.report.sections import side_by_side, targets
from pipeline.report.sections.by_batch import answer_parts
from pipeline.report.source import Cited
from pipeline.report.wear_words import name_of
from pipeline.results.batches import Batch, CompoundBatches, Difference, Margin, Pair, Quantity


class Question(NamedTuple):
    """A question of a pair: its name in the comparison, in words, and the figure behind its answer."""

    name: Quantity
    words: str
    figure: Callable[[Pair], Difference]


QUESTIONS = (
    Question("mu", "Friction at reference conditions", lambda pair: pair.mu_difference),
    Question("bite", "Bite", lambda pair: pair.bite_difference),
    Question("wear", "Disc wear ratio", lambda pair: pair.wear_ratio),
)

MANY = 9  # rows from which the order is by what is least welcome
ANSWERS = ("different", "undecided", "equivalent")
MARGINS: dict[Quantity, str] = {
    "mu": "A difference of µ at the reference conditions",
    "bite": "a difference of bite",
    "wear": "a ratio of disc wear",
}


def batches(inputs: Inputs) -> Section:
    """The batch part of the sheet."""
    source = inputs.batches
    listed = source.each(lambda found: found.batches)
    parts: list[Text | Table | Picture] = []
    if not listed:
        why = source.reason(lambda found: found.batches, "no test of the compound can be used")
        none_known = Text("Batches: not given: {why}", {"why": why}, "open", rank=FRONT)
        return Section("Batches", [none_known, *targets.by_batch(inputs)])
    parts.append(replace(side_by_side.table(inputs, by_level(listed)), rank=FRONT))
    none = "No target gives margins for this compound, so no pair can be called equivalent or different."
    parts += ranked(FRONT, margin_texts(source) or [Text(none, {}, "open")])
    pairs = answer_rows(inputs)
    if pairs:
        head = ["a", "b", "Question", "a − b (wear: a / b)", "Answer", "Why, and what would decide it"]
        caption = "Pairs: difference (wear: ratio) with its 95 % interval, and one of three answers"
        parts.append(short_pairs(inputs))
        parts.append(Table(caption, head, pairs))
        parts += answer_parts(inputs)
        caption = (
            "Friction at reference conditions of each batch with its 95 % interval; small points are specimens. Shaded: the margin about the "
            "mean of the batches. Of many batches those lowest and highest are drawn."
        )
        alt = "Friction coefficient by batch with intervals"
        parts.append(Picture("batches", caption, alt, "batches.json", ROOM))
    else:
        parts.append(Text("One batch: nothing to compare.", rank=FRONT))
    parts += targets.by_batch(inputs)
    parts += reference_parts(inputs)
    parts += facts_parts(inputs)
    found = source.result
    parts += [Text("{note}.", {"note": note.rstrip(".")}, sentence=True) for note in found.notes]
    parts += [
        Text("Left out of {what}: {items}.", {"what": what, "items": "; ".join(items)}, "open")
        for what, items in found.left_out.items()
        if items
    ]
    return Section("Batches", parts)


def reference_parts(inputs: Inputs) -> list[Text | Table | Picture]:
    """Every batch beside the reference batch that the target names."""
    judged = inputs.judged
    if judged.result.against_reference_why:
        return [Text("{why}.", {"why": judged.result.against_reference_why}, "open", sentence=True)]
    rows: list[list[Cell]] = []
    for one in judged.each(lambda found: found.against_reference):
        for row in one.each(lambda found: found.rows):
            name, asked = one.result.batch, row.result
            label, places = f"{name}: {asked.question}", 0 if asked.unit in ("°C", "km") else None
            cells: list[Cell] = [
                row.number(f"{label}: batch", lambda r: r.a, unit=asked.unit, decimals=places),
                row.number(f"{label}: reference", lambda r: r.b, unit=asked.unit, decimals=places),
                row.number(label, lambda r: r.figure, unit="" if asked.kind == "ratio" else asked.unit,
                           decimals=2 if asked.kind == "ratio" else places),
            ]  # fmt: skip
            rows.append([name, asked.question, *cells, asked.verdict])
    if not rows:
        return []
    reference = judged.result.reference_batch or ""
    head = ["Batch", "Question", "Batch's", f"Reference's, {reference}", "Difference, or ratio", "Answer"]
    return [
        Table(
            f"Every batch beside the reference batch {reference}, question by question", head, rows, units_in_cells=True
        )
    ]


def facts_parts(inputs: Inputs) -> list[Text | Table | Picture]:
    """The batches' facts beside their figures, and numeric ones drawn against friction and wear."""
    facts, listed = inputs.facts, inputs.batches.each(lambda found: found.batches)
    rows: list[list[Cell]] = [
        [
            batch.result.batch,
            *[
                _fact(facts.file, batch.result.batch, *one)
                for one in zip(facts.columns, facts.of[batch.result.batch], strict=True)
            ],
            batch.number(f"batch {batch.result.batch}: µ", lambda found: found.mu),
            batch.number(f"batch {batch.result.batch}: wear per stop", lambda found: found.wear_um_per_stop),
        ]
        for batch in listed
        if batch.result.batch in facts.of
    ]
    if not rows:
        return []
    head = ["Batch", *facts.columns, "µ at reference conditions", "Disc wear (µm per stop, both faces)"]
    caption = f"Facts of the batches, as {facts.file} gives them"
    said = Text(
        "Facts stand beside the figures; no cause is claimed: batches that differ in one thing may differ in others."
    )
    drawn = Picture(
        "facts",
        "Numeric facts against µ at reference conditions and disc wear of each batch.",
        "Facts against µ and wear",
        f"facts/{facts.file}, batches.json",
    )
    return [Table(caption, head, rows), said, *([drawn] if has_numbers(inputs) else [])]


def has_numbers(inputs: Inputs) -> bool:
    """Whether a fact is a number in two batches at least."""
    columns = zip(*inputs.facts.of.values(), strict=True) if inputs.facts.of else ()
    return any(sum(number(text) is not None for text in column) > 1 for column in columns)


def _fact(file: str, batch: str, column: str, text: str) -> Cell:
    value = number(text)
    if value is None:
        return text or "–"
    places = len(text.replace(",", ".").partition(".")[2]) if "e" not in text.lower() else None
    return Number(f"batch {batch}: {column}", value, "", f"facts/{file}", f"/{batch}/{column}", decimals=places)


#: keys of a target in what a customer reads
KEYS = {"mu_batch_margin": "margin of µ", "bite_margin": "margin of bite", "wear_batch_ratio": "margin of wear"}


def in_words(source: str) -> str:
    """Where a margin is from, as batches.json has it, without keys."""
    for key, words in KEYS.items():
        source = source.replace(key, words)
    return numbers.worded(source)


def margin_texts(source: Cited[CompoundBatches]) -> list[Text]:
    """The margins that the answers were given by, and the conditions at which bite was compared."""
    said = []
    for name, words in MARGINS.items():
        margin = margin_of(source, name)
        if margin is None:
            continue
        values: dict[str, Cell] = {
            "low": margin.number(f"margin of {name}, lower", lambda m: m.low),
            "high": margin.number(f"margin of {name}, upper", lambda m: m.high),
            "what": words,
            "source": in_words(margin.result.source),
        }
        template = "{what} counts as equivalent from {low} to {high} ({source})."
        if margin.result.relative is not None:
            values["share"] = margin.number(f"margin of {name}, share", lambda m: m.relative, unit="%", factor=100.0)
            values["level"] = margin.number(f"level that the margin of {name} is a share of", lambda m: m.level)
            template = "{what} counts as equivalent from {low} to {high}: {share} of {level} ({source})."
        said.append(Text(template, values, sentence=True))
    bite = source.part(lambda found: found.conditions.bite if found.conditions else None)
    if bite is not None:
        conditions: dict[str, Cell] = {
            "temperature": bite.number("bite compared at", lambda at: at.temperature_c, decimals=0),
            "pressure": bite.number("bite compared at, pressure", lambda at: at.pressure_bar, decimals=1),
            "speed": bite.number("bite compared at, speed", lambda at: at.speed_rpm, decimals=0),
        }
        words = "Bite is compared in the coldest conditions that all batches have: {temperature}, {pressure}, {speed}."
        said.append(Text(words, conditions))
    return said


def by_level(listed: Sequence[Cited[Batch]]) -> list[Cited[Batch]]:
    """The batches, of many those farthest from the middle of µ first: what a table cut to the page must not leave out."""
    values = sorted(one.result.mu.value for one in listed if one.result.mu.value is not None)
    if len(listed) <= MANY or not values:
        return list(listed)
    middle = values[len(values) // 2]
    return sorted(listed, key=lambda one: -abs((one.result.mu.value or middle) - middle))


def margin_of(source: Cited[CompoundBatches], name: Quantity) -> Cited[Margin] | None:
    """The margin of a quantity; None where no target gives one."""
    return source.part(lambda found: found.margins[name]) if source.result.margins.get(name) else None


def short_pairs(inputs: Inputs) -> Table:
    """A row a pair with the three answers, what is least welcome first; the reasons stand in the table after it."""
    listed = inputs.batches.each(lambda found: found.pairs)
    listed.sort(key=lambda pair: sorted(ANSWERS.index(answer) for answer in pair.result.verdicts.values()))
    rows: list[list[Cell]] = []
    for pair in listed:
        cells: list[Cell] = [f"{pair.result.a} and {pair.result.b}"]
        for question in QUESTIONS:
            label = f"{pair.result.a} and {pair.result.b}: {question.words.lower()}"
            figure: Cell = pair.number(label, question.figure)
            if question.name == "wear":
                figure = _with_deciding_part(pair, figure)
            cells += [figure, pair.result.verdicts[question.name]]
        rows.append([*cells, numbers.worded(pair.result.caveat or "–")])
    head = ["Pair", "µ, difference", "Answer", "Bite, difference", "Answer", "Disc wear, ratio", "Answer", "Caveat"]
    caption = "Pairs of batches against the margins, 95 % intervals: the first less the second, or over it"
    return Table(caption, head, rows, rank=FRONT)


def _with_deciding_part(pair: Cited[Pair], ratio: Cell) -> Cell:
    """The ratio as run, and the part of the wear that lies farthest off where the answer is that part's: a ratio inside the margin beside
    an answer that denies it would contradict itself."""
    parts = [one for one in pair.each(lambda found: found.wear) if one.result.matters and one.result.ratio.value]
    off = [one for one in parts if one.result.verdict != "equivalent"]
    if not off or pair.result.wear_verdict == "equivalent":
        return ratio
    part = max(off, key=lambda one: abs(math.log(one.result.ratio.value or 1.0)))
    found = part.result
    name = f"{name_of(found.component)}, {found.duty or found.part}"
    label = f"{pair.result.a} and {pair.result.b}: wear of {name}"
    values: dict[str, Cell] = {"run": ratio, "part": name, "ratio": part.number(label, lambda row: row.ratio)}
    return Text("as run {run}; {part} {ratio}", values, sentence=True)


def answer_rows(inputs: Inputs) -> list[list[Cell]]:
    """One row a pair and question: figure with interval, answer, reason, caveat."""
    pairs = inputs.batches.each(lambda found: found.pairs)
    asked = [(pair, question) for pair in pairs for question in QUESTIONS]
    if len(asked) > MANY:  # what a table cut to the page must not leave out stands first
        asked.sort(key=lambda one: ANSWERS.index(one[0].result.verdicts[one[1].name]))
    return [answer_row(pair, question) for pair, question in asked]


def answer_row(pair: Cited[Pair], question: Question) -> list[Cell]:
    """A pair's answer to a question."""
    found = pair.result
    said = [found.whys[question.name], f"caveat: {found.caveat}" if found.caveat else None]
    figure = pair.number(f"{found.a} and {found.b}: {question.words.lower()}", question.figure)
    why = numbers.worded("; ".join(text for text in said if text) or "–")
    return [found.a, found.b, question.words, figure, found.verdicts[question.name], why]
