"""Page one: what the sheet is about, eight questions with their answers, one figure, and what limits it.

The answers that are least welcome stand first: a reader who sees no more than this page must not think better of the
compound than the sheet does. Every figure is one of the sheet's, and each row leads to the part where it stands.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from pipeline.report import numbers
from pipeline.report.document import FRONT, Cell, Items, Number, Picture, Section, Table, Text, Where
from pipeline.report.inputs import Inputs
from pipeline.report.sections.closing import from_data
from pipeline.report.sections.friction import window_ends
from pipeline.report.sections.honest import off_text
from pipeline.report.sections.openings import not_ruled_out
from pipeline.report.sections.stability import glazing_untested, loss_of
from pipeline.report.sections.support import ANSWERS, of_duty_in_short, support_texts
from pipeline.report.source import Cited
from pipeline.report.wear_words import identified, name_of
from pipeline.results.batches import Pair
from pipeline.results.friction_history import Question, Side, Sides

TITLE = "Answers"
FIRST = ("bad", "open", "plain", "good")  # tones in the order of the rows
TONES = {
    "yes": "good", "no": "bad", "not shown": "open", "not given": "open",
    "met": "good", "not met": "bad", "undecided": "open",
    "equivalent": "good", "different": "bad",
    "identified": "good", "not identified": "open",
    "tested": "good", "partly extrapolated": "open", "mostly extrapolated": "bad", "not known": "open",
}  # fmt: skip
HOLDS = ("no", "not shown", "yes")  # worst first
MOST_NAMED = 3
VALID = (
    "Valid for the specimens and the rig stated, inside the temperatures, pressures, speeds, energies and powers tested. "
    "Intervals are 95 % unless stated. The rig is not the vehicle; an item not given is not known, and is not a pass."
)


@dataclass(frozen=True)
class Row:
    """A question, its answer in the words of the results, the figure behind it, and the part that tells more."""

    question: str
    answer: str
    figure: Cell
    where: str
    tests: Sequence[str]  # behind the answer
    tone: str = ""

    @property
    def said(self) -> Text:
        """The answer in its tone."""
        return Text("{answer}", {"answer": self.answer}, self.tone or TONES.get(self.answer, "open"))

    @property
    def rank(self) -> int:
        """Place in the table: what is least welcome first."""
        return FIRST.index(self.said.tone)


def answers(inputs: Inputs) -> Section:
    """The first part of the sheet."""
    rows = sorted((row for ask in ASKED for row in ask(inputs)), key=lambda row: row.rank)
    table = Table(
        "What was asked and what the results answer, the least welcome first; intervals are 95 %",
        ["Question", "Answer", "Figure", "Tests", "Where"],
        [[row.question, row.said, row.figure, _count(row), Where(row.where)] for row in rows],
        units_in_cells=True,
    )
    return Section(TITLE, [Items(identity_items(inputs)), table, PICTURE, *limits(inputs)])


def _count(row: Row) -> Number:
    found = sorted(set(row.tests))
    return Number(
        f"tests behind: {row.question}", len(found), "", "tests/*/summary.json", f"count of {', '.join(found)}"
    )


def _of_batches(inputs: Inputs, *batches: str) -> list[str]:
    """Names of the tests used, of these batches alone where some are given."""
    return [test.test for test in inputs.usable if not batches or (test.card and test.card.batch in batches)]


PICTURE = Picture(
    "overview",
    "Left: µ over temperature at the reference conditions with the confidence band of the mean, the tolerance band of one stop, the target "
    "band, and the batches' own curves where they differ; beneath it the temperatures tested, of the friction window, wanted, and of each "
    "duty in its settled cycle at the opening given. Right: µ of the batches (any two inside the shade differ by less than the margin); "
    "disc wear on map and duty blocks; use between checks by initial temperature and power density, filled where it glazed, open where it "
    "was harmless, small where it told neither, crosses the duties' brakings. Bars are 95 % intervals; of many batches the outermost are drawn.",
    "Friction coefficient over temperature with the ranges tested, wanted and used; batches, wear and glazing",
    "friction.json, batches.json, wear.json, duty.json, the target's file",
)


def identity_items(inputs: Inputs) -> list[tuple[str, Cell]]:
    """Compound, batches, specimens, dates, rigs, method and what the sheet was made from."""
    cards = [test.card for test in inputs.tests if test.card]
    dates = sorted({card.date.isoformat() for card in cards})
    batches = {card.batch: sorted({c.specimen for c in cards if c.batch == card.batch}) for card in cards}
    told = "; ".join(f"{batch}: {', '.join(found)}" for batch, found in sorted(batches.items()))
    procedures = sorted({card.procedure for card in cards if card.procedure})
    run = " to ".join([dates[0], dates[-1]][: len(dates)]) if dates else "dates not given"
    return [
        ("Compound", inputs.compound),
        ("Batches and specimens", told or "not given"),
        ("Tests", f"{len(inputs.usable)} used of {len(inputs.tests)}, run {run}"),
        ("Rigs", ", ".join(sorted({card.rig for card in cards})) or "not given"),
        ("Procedures", "; ".join(procedures) or "not given"),
        ("Method, digest", f"{inputs.method}, {inputs.digest}"),
        ("Results, digest", inputs.results_digest),
    ]


def _targets(inputs: Inputs) -> list[Row]:
    question = "Does the compound meet its targets?"
    listed: list[str] = [one.answer.verdict for one in inputs.judged.result.requirements]
    if not listed:
        why = inputs.judged.result.why or inputs.judged.reason(lambda found: found.requirements)
        return [Row(question, "not given", why, "In short", _of_batches(inputs))]
    worst = next(word for word in ("not met", "undecided", "met") if word in listed)
    values: dict[str, Cell] = {
        name: Number(f"targets {word}", listed.count(word), "", inputs.judged.file, f"count of requirements {word}")
        for name, word in (("no", "not met"), ("open", "undecided"), ("yes", "met"))
    }
    missed = [
        one.target.partition(":")[0] for one in inputs.judged.result.requirements if one.answer.verdict == "not met"
    ]
    words = "{no} not met, {open} undecided, {yes} met"
    if missed:
        values["missed"] = "; ".join(missed[:MOST_NAMED]) + (" and others" if len(missed) > MOST_NAMED else "")
        words += ". Not met: {missed}"
    said = Text(words, values, sentence=True)
    return [Row(question, worst, said, "In short", _of_batches(inputs))]


def _holds(inputs: Inputs) -> list[Row]:
    """The worst answer of the batches together and of each by itself."""
    found = inputs.friction.result
    low, high = window_ends(inputs)
    values: dict[str, Cell] = {"low": low, "high": high}
    figure = "window {low} to {high}" if found.window else "window {low}"
    told = [("", found.holds)] + [(one.batch, one.holds) for one in found.by_batch]
    known = [(batch, holds) for batch, holds in told if holds is not None]
    worst = min(known, key=lambda one: HOLDS.index(one[1].answer), default=None)
    if worst is None:
        question = "Does friction hold over the wanted temperatures?"
        return [Row(question, "not given", Text(figure, values, sentence=True), "Friction", _of_batches(inputs))]
    batch, holds = worst
    if batch:
        values["batch"] = batch
        figure = "batch {batch} by itself; all together: " + figure
    question = f"Does friction hold over the wanted temperatures, at {holds.at or 'the reference conditions'}?"
    behind = _of_batches(inputs, *([batch] if batch else []))
    return [Row(question, holds.answer, Text(figure, values, sentence=True), "Friction", behind)]


def _side(inputs: Inputs, pick: Callable[[Sides], Side], question: str) -> list[Row]:
    sides = inputs.friction.result.sides
    if sides is None:
        return []
    side = pick(sides)
    told = [one for word in ("no", "not shown", "yes") for one in side.questions if one.answer == word]
    figure = _figure_of(inputs, told[0]) if told else numbers.worded(side.text)
    behind = [test.test for test in inputs.usable if (test.stops["purpose"] == "duty").any()]
    return [Row(question, side.answer, figure, "Friction", behind)]


def _figure_of(inputs: Inputs, asked: Question) -> Cell:
    """What a side's answer rests on: of a no the facts, with the friction that was lost where a drift is the reason."""
    if asked.answer != "no":
        return numbers.worded(f"{asked.question}: {asked.answer}")
    values: dict[str, Cell] = {"said": asked.text.rstrip(".")}
    words = "{said}"
    for k, test in enumerate(inputs.usable):
        if asked.text.startswith(f"{test.test}:") and test.drift.result.mu_loss is not None:
            values[f"loss_{k}"] = loss_of(test)
            words += f"; µ lost: {{loss_{k}}}"
    return Text(words, values)


def _gentle(inputs: Inputs) -> list[Row]:
    return _side(inputs, lambda sides: sides.low_energy, "Is friction kept in gentle use?")


def _batches(inputs: Inputs) -> list[Row]:
    pairs = inputs.batches.each(lambda found: found.pairs)
    if not pairs:
        return []
    worst = min(pairs, key=_apart)
    label = f"{worst.result.a} and {worst.result.b}: difference of µ"
    values: dict[str, Cell] = {
        "a": worst.result.a, "b": worst.result.b, "mu": worst.number(label, lambda pair: pair.mu_difference),
    }  # fmt: skip
    figure = Text("{a} less {b}: µ {mu}", values)
    behind = _of_batches(inputs, worst.result.a, worst.result.b)
    return [Row("Are the batches alike in friction?", worst.result.mu_verdict, figure, "Batches", behind)]


def _apart(pair: Cited[Pair]) -> tuple[int, float]:
    found = pair.result
    order = ("different", "undecided", "equivalent").index(found.mu_verdict)
    return order, -abs(found.mu_difference.value or 0.0)


def _both(inputs: Inputs) -> list[Row]:
    cited = inputs.duty.part(lambda found: found.both_duties)
    if cited is None or cited.result.answer is None:
        return []
    said, tone = ANSWERS[cited.result.answer]
    untested = {duty.duty for duty in inputs.duty.result.duties if duty.opening_untested}
    tone = "open" if untested and tone == "good" else tone
    values, pieces = dict[str, Cell](), []
    for k, one in enumerate(cited.each(lambda both: both.duties)):
        name, span = one.result.duty, one.part(lambda use: use.openings)
        values[f"duty_{k}"] = name
        told = "none"
        if span is not None:
            values[f"low_{k}"] = span.number(f"{name}: openings to run, from", lambda s: s.low, decimals=2)
            values[f"high_{k}"] = span.number(f"{name}: openings to run, to", lambda s: s.high, decimals=2)
            told = f"{{low_{k}}} to {{high_{k}}}"
        if name in untested:
            told = f"not known, as friction of such stops was not tested (by the window of harder stops {told})"
        pieces.append(f"{{duty_{k}}} {told}")
    figure = Text(f"cooling openings: {'; '.join(pieces)}", values)
    question = "Does one brake serve gentle and hard use?"
    return [Row(question, said, figure, "Duty projections", _of_batches(inputs), tone)]


def _life(inputs: Inputs) -> list[Row]:
    listed = inputs.duty.each(lambda found: found.duties)
    if not listed:
        return []
    question = "How long does the brake last, at the shortest?"
    known = [one for one in listed if one.result.life_km.value is not None]
    if not known:
        figure: Cell = listed[0].number(f"{listed[0].result.duty}: life", lambda duty: duty.life_km, decimals=0)
        return [Row(question, "not known", figure, "Duty projections", _worn(inputs))]
    one = min(known, key=lambda duty: duty.result.life_km.value or 0.0)
    found = one.result
    basis = found.support.life_basis if found.support else None
    life = one.number(f"{found.duty}: life", lambda duty: duty.life_km, decimals=0)
    unknown = "" if len(known) == len(listed) else "; of other duties not known"
    figure = Text(f"{{duty}}: {{life}}{unknown}", {"duty": found.duty, "life": life})
    of = [found.life_of.batch] if found.life_of and found.life_of.batch else []
    behind = [test for test in _worn(inputs) if test in _of_batches(inputs, *of)]
    return [Row(question, basis or "not given", figure, "Duty projections", behind)]


def _worn(inputs: Inputs) -> list[str]:
    """Names of the tests whose readings of wear are used."""
    return [test for part in (inputs.wear.result.components or {}).values() for test in part.tests]


def _wear(inputs: Inputs) -> list[Row]:
    parts = inputs.wear.named(lambda found: found.components or {})
    question = "Do the readings identify how it wears?"
    if not parts:
        return [Row(question, "not given", inputs.wear.reason(lambda w: w.components), "Wear", [])]
    values, pieces = dict[str, Cell](), []
    for k, (name, one) in enumerate(sorted(parts.items())):
        values[f"name_{k}"] = name_of(name) + (", both faces," if name == "disc" else "")
        values[f"rate_{k}"] = one.number(
            f"{name_of(name)}: wear per stop", lambda c: c.rates.um_per_stop if c.rates else None, unit="µm"
        )
        pieces.append(f"{{name_{k}}} {{rate_{k}}}")
    answer = "identified" if all(identified(one.result) for one in parts.values()) else "not identified"
    figure = Text(f"per stop as run: {'; '.join(pieces)}", values)
    return [Row(question, answer, figure, "Wear", _worn(inputs))]


def _drift(inputs: Inputs) -> list[Row]:
    told = [test.drift.result.verdict for test in inputs.usable]
    values: dict[str, Cell] = {
        name: Number(f"tests with {words}", number, "", "tests/*/drift.json", f"count of tests with {words}")
        for name, words, number in (
            ("seen", "a drift seen", sum(verdict not in (None, "none") for verdict in told)),
            ("none", "none seen", told.count("none")),
            ("open", "no verdict", told.count(None)),
        )
    }
    figure = Text("tests: {seen} with a drift seen, {none} with none seen, {open} without a verdict", values)
    seen = sorted({verdict for verdict in told if verdict not in (None, "none")})
    untested = glazing_untested(inputs) is not None
    none = "none seen; glazing not tested" if untested else "none"
    answer = ", ".join(seen) or ("undetermined" if None in told or not told else none)
    tone = "bad" if seen else "open" if None in told or not told or untested else "good"
    return [Row("Did friction drift within a test?", answer, figure, "Stability", _of_batches(inputs), tone)]


ASKED: tuple[Callable[[Inputs], list[Row]], ...] = (_targets, _holds, _gentle, _batches, _both, _life, _wear, _drift)


def limits(inputs: Inputs) -> list[Text]:
    """What limits the sheet: a further batch, extrapolations, what is not excluded, and where it holds."""
    found = [Text(VALID, rank=FRONT)]  # first, as what has no room on the page stands in the appendix
    further = inputs.friction.result.further_batch
    if further is not None:
        mu = inputs.friction.number("µ of a further batch", lambda f: f.further_batch)
        found.append(Text("A further batch, mean µ at the reference conditions: {mu}.", {"mu": mu}, "open"))
    found += [*off_text(inputs), *support_texts(inputs)]
    for one in inputs.duty.each(lambda f: f.duties):
        found += of_duty_in_short(one, not_ruled_out(one.result))
    untested = glazing_untested(inputs)
    if untested is not None:
        found.append(Text("Glazing is not excluded: {why}.", {"why": untested}, "open"))
    found += [Text("{why}", {"why": text}, "open") for text in from_data(inputs)]
    return found
