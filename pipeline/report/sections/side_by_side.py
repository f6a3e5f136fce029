"""The batches of a compound side by side: one row a batch, its friction, window, drift, bite and wear, and how it compares.

Nothing is judged here: each answer is that of the results, the worst of a batch's tests or pairs where there are several.
"""

from __future__ import annotations

from collections.abc import Sequence

from pipeline.report import verdicts
from pipeline.report.document import Cell, Table, Text
from pipeline.report.inputs import Inputs, OfTest
from pipeline.report.sections.stability import glazing_untested
from pipeline.report.source import Cited
from pipeline.results.batches import Batch, Pair, Quantity, Verdict
from pipeline.results.compound_friction import CompoundFriction, OfBatch
from pipeline.results.drift import TestDrift
from pipeline.results.friction_map import Holds, Window

HOLDS = {"yes": "good", "no": "bad", "not shown": "open"}
PAIRS: dict[Verdict, str] = {"different": "bad", "undecided": "open", "equivalent": "good"}  # the worst first
QUESTIONS: dict[Quantity, str] = {"mu": "friction", "bite": "bite", "wear": "wear"}
TONES = ("bad", "open", "good")
HEAD = (
    "Batch",
    "Tests",
    "µ at reference conditions",
    "Friction window (°C)",
    "Target range held",
    "Drift",
    "Bite, coldest conditions all batches have",
    "Disc wear (µm per stop, both faces)",
    "Beside the other batches",
)
CAPTION = "The batches side by side, with 95 % intervals; specimens, not stops, are the replicates"


def table(inputs: Inputs, listed: Sequence[Cited[Batch]]) -> Table:
    """One row for every batch, in the order given."""
    return Table(CAPTION, HEAD, [_row(inputs, one) for one in listed])


def _row(inputs: Inputs, batch: Cited[Batch]) -> list[Cell]:
    name = batch.result.batch
    window, holds = _window(inputs, name)
    return [
        name,
        _tests(batch),
        batch.number(f"batch {name}: µ", lambda found: found.mu),
        window,
        holds,
        _drift(inputs, batch.result.tests),
        batch.number(f"batch {name}: bite", lambda found: found.bite),
        batch.number(f"batch {name}: wear per stop", lambda found: found.wear_um_per_stop),
        _beside(inputs, name),
    ]


def _tests(batch: Cited[Batch]) -> Cell:
    name, tests = batch.result.batch, batch.result.tests
    values: dict[str, Cell] = {f"test_{k}": test for k, test in enumerate(tests)}
    values["specimens"] = batch.number(f"batch {name}: specimens", lambda found: found.specimens, decimals=0)
    return Text("{specimens}: " + ", ".join(f"{{test_{k}}}" for k in range(len(tests))), values)


def _window(inputs: Inputs, name: str) -> tuple[Cell, Cell]:
    """The batch's own window and whether friction holds over the target's range; of a single batch, the compound's."""
    own = [one for one in inputs.friction.each(lambda found: found.by_batch) if one.result.batch == name]
    whole = inputs.friction.result
    if own:
        found: OfBatch | CompoundFriction = own[0].result
        ends = _ends(own[0], f"batch {name}")
    elif len(inputs.batches.result.batches) == 1:
        found, ends = whole, _ends(inputs.friction, f"batch {name}")
    else:
        return "not given", "not given"
    why = (found.window_reason or "").rstrip(".")
    none: Cell = Text("no window: {why}", {"why": why}) if why else "no window"
    return ends or none, _held(found.holds, found.wanted_from or whole.wanted_from)


def _ends(cited: Cited[OfBatch] | Cited[CompoundFriction], label: str) -> Cell | None:
    window: Cited[Window] | None = cited.part(_of_window)
    if window is None:
        return None
    low = window.number(f"{label}: window, lower end", lambda w: w.low_c, unit="", decimals=0)
    high = window.number(f"{label}: window, upper end", lambda w: w.high_c, unit="", decimals=0)
    return Text("{low} to {high}", {"low": low, "high": high})


def _of_window(found: OfBatch | CompoundFriction) -> Window | None:
    return found.window


def _held(holds: Holds | None, wanted_from: str | None) -> Cell:
    if holds is None:
        return "no target" if wanted_from not in (None, "target") else "not given"
    return Text("{answer}", {"answer": holds.answer}, HOLDS[holds.answer])


def _drift(inputs: Inputs, names: list[str]) -> Cell:
    """The worst verdict of the batch's tests, where it began; none seen is open where no test could have shown glazing."""
    told = [(one, *_tone(one)) for one in inputs.usable if one.test in names]
    if not told:
        return "not given"
    test, tone, word = min(told, key=lambda one: TONES.index(one[1]))
    if tone == "good":
        untested = glazing_untested(inputs) is not None
        return Text(
            "{answer}",
            {"answer": "none seen; glazing not tested" if untested else "none"},
            "open" if untested else "good",
        )
    values: dict[str, Cell] = {"answer": word, "test": test.test}
    if test.drift.result.onset_stop is None:
        return Text("{answer} in {test}", values, tone)
    values["onset"] = test.drift.number(f"{test.test}: onset stop", _onset, decimals=0, ends=_onset_ends)
    return Text("{answer} in {test} from stop {onset}", values, tone)


def _onset(drift: TestDrift) -> int | None:
    return drift.onset_stop


def _onset_ends(drift: TestDrift) -> tuple[float | None, float | None]:
    return drift.onset_low, drift.onset_high


def _tone(test: OfTest) -> tuple[str, str]:
    verdict = test.drift.result.verdict
    return ("open", "not given") if verdict is None else (verdicts.DRIFT[verdict][0], verdict)


def _beside(inputs: Inputs, name: str) -> Cell:
    """The worst answer over the pairs of the batch, with which batch in which question; then the other answers likewise."""
    pairs = [pair for pair in inputs.batches.result.pairs if name in (pair.a, pair.b)]
    if not pairs:
        return "one batch"
    said = [(verdict, told) for verdict in PAIRS if (told := _told(pairs, name, verdict))]
    worst, first = said[0]
    values: dict[str, Cell] = {"answer": worst, "first": first}
    pieces = ["{answer} {first}"]
    for k, (verdict, told) in enumerate(said[1:]):
        values |= {f"answer_{k}": verdict, f"told_{k}": told}
        pieces.append(f"{{answer_{k}}} {{told_{k}}}")
    return Text("; ".join(pieces), values, PAIRS[worst])


def _told(pairs: list[Pair], name: str, verdict: Verdict) -> str:
    """`in friction: M4-2407; in wear: M4-2405, M4-2407`, or nothing."""
    found = []
    for quantity, words in QUESTIONS.items():
        others = [pair.b if pair.a == name else pair.a for pair in pairs if pair.verdicts[quantity] == verdict]
        if others:
            found.append(f"in {words} ({', '.join(others)})")
    return ", ".join(found)
