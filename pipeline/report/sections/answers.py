"""Friction's answers and landmarks for the sheet: over the target range, on both duties' sides, and what marks the
curve.
"""

from collections.abc import Callable

from pipeline.report import numbers
from pipeline.report.document import ROOM, Cell, Table, Text
from pipeline.report.inputs import Inputs, OfTest
from pipeline.report.source import Cited
from pipeline.results.compound_friction import OfBatch
from pipeline.results.friction_map import Bite, BiteAt, Landmark, Landmarks

TONES = {"yes": "good", "no": "bad", "not shown": "open"}
MARKS: tuple[tuple[Callable[[Landmarks], Landmark], str, str], ...] = (
    (lambda m: m.cold_friction, "Cold friction", ""),
    (lambda m: m.transition, "Transition, where µ climbs fastest", "°C"),
    (lambda m: m.plateau, "Plateau", ""),
    (lambda m: m.high_temperature_change, "Change of µ from the plateau to the hottest", ""),
)
PLACES: tuple[tuple[Callable[[Landmark], float | None], str], ...] = (
    (lambda m: m.temperature_c, "at"),
    (lambda m: m.from_c, "from"),
    (lambda m: m.to_c, "to"),
)
BITES: tuple[tuple[Callable[[Bite], BiteAt | None], str], ...] = (
    (lambda b: b.reference, "Bite at the checks"),
    (lambda b: b.coldest, "Bite in the coldest tenth of the map"),
)


def holds_text(inputs: Inputs) -> list[Text]:
    """Whether friction holds over the target range: yes, no or not shown, with the temperatures that decide."""
    holds = inputs.friction.part(lambda found: found.holds)
    if holds is None:
        return []
    values: dict[str, Cell] = {
        "low": holds.number("target range from", lambda h: h.from_c, decimals=0),
        "high": holds.number("target range to", lambda h: h.to_c, decimals=0),
        "answer": holds.result.answer,
        "why": holds.result.why.rstrip("."),
    }
    values["at"] = holds.result.at or "the reference conditions"
    said = "Does friction hold over the target range, {low} to {high}, at {at}? {answer}: {why}."
    return [Text(said, values, TONES[holds.result.answer])]


def batch_parts(inputs: Inputs) -> list[Text | Table]:
    """What the window over all batches hides: each batch's own, and where a further batch may lie."""
    parts = list[Text | Table]()
    rows = [_batch_row(batch) for batch in inputs.friction.each(lambda found: found.by_batch)]
    if rows:
        head = ["Batch", "Window from (°C)", "to (°C)", "Holds over the target range", "By"]
        by = " by the law; these are the map's" if inputs.friction.result.window_by == "law" else ""
        title = f"Each batch by itself: the window above is that of the batches taken together{by}"
        parts.append(Table(title, head, rows, rank=ROOM))
    further = inputs.friction.result.further_batch
    if further is not None and further.value is None:
        said = "The bands hold for the batches tested. A further batch: not given: {why}."
        why = further.why or inputs.friction.reason(lambda found: found.further_batch)
        parts.append(Text(said, {"why": why}, "open"))
    elif further is not None:
        said = (
            "The bands hold for further specimens of the batches tested. The mean µ of a further batch at the "
            "reference conditions: {mu}."
        )
        mu = inputs.friction.number("µ of a further batch", lambda found: found.further_batch)
        parts.append(Text(said, {"mu": mu}, "open"))
    return parts


def _batch_row(batch: Cited[OfBatch]) -> list[Cell]:
    found = batch.result
    name, none = found.batch, found.window_reason or "no window"
    low = batch.number(
        f"batch {name}: window, lower end", lambda b: b.window.low_c if b.window else None, decimals=0, why=none
    )
    high = batch.number(
        f"batch {name}: window, upper end", lambda b: b.window.high_c if b.window else None, decimals=0, why=none
    )
    holds = found.holds
    return [name, low, high, holds.answer if holds else "not given", numbers.worded(holds.why) if holds else "–"]


def sides_parts(inputs: Inputs) -> list[Table]:
    """What the low-energy and the high-energy side of the data each show, question by question."""
    sides = inputs.friction.result.sides
    if sides is None:
        return []
    rows: list[list[Cell]] = []
    for side, words in ((sides.low_energy, "low energy"), (sides.high_energy, "high energy")):
        rows += [[words, numbers.worded(one.question), one.answer, numbers.worded(one.text)] for one in side.questions]
        rows.append([words, "taken together", side.answer, ""])
    caption = "The low-energy and the high-energy side: what each shows (yes only where the data show it)"
    return [Table(caption, ["Side", "Question", "Answer", "By"], rows, rank=ROOM)]


def landmark_rows(inputs: Inputs) -> list[list[Cell]]:
    """Cold friction, transition, plateau, change at high temperature, with intervals and where they lie."""
    marks = inputs.friction.part(lambda found: found.landmarks)
    if marks is None:
        return []
    rows: list[list[Cell]] = []
    for pick, words, unit in MARKS:
        mark = marks.part(pick)
        if mark is None:
            continue
        sign = f" ({mark.result.sign})" if mark.result.sign else ""
        known = {said: place for place, said in PLACES if place(mark.result) is not None}
        where: dict[str, Cell] = {
            said: mark.number(f"{words}, {said}", place, decimals=0) for said, place in known.items()
        }
        at = Text(" ".join(f"{said} {{{said}}}" for said in where) or "–", where, sentence=True)
        rows.append([words + sign, marks.number(words, pick, unit=unit), at])
    return rows


def bite_rows(inputs: Inputs) -> list[list[Cell]]:
    """Bite (mean of the first half second) at the checks and when coldest, and its share of the stop's mean."""
    bite = inputs.friction.part(lambda found: found.bite)
    rows: list[list[Cell]] = []
    for pick, words in BITES if bite is not None else ():
        at = bite.part(pick) if bite is not None else None
        if at is not None:
            where: dict[str, Cell] = {
                "at": at.number(f"{words}, at", lambda b: b.temperature_c, decimals=0),
                "ratio": at.number(f"{words} over mean", lambda b: b.ratio, decimals=2),
            }
            said = Text("at {at}; {ratio} of the mean of the stop", where, sentence=True)
            rows.append([words, at.number(words, lambda b: b.mu_bite), said])
    return rows


def pause_rows(inputs: Inputs) -> list[list[Cell]]:
    """The first stop after a pause that strays most from what is expected, by test, from each test's own
    friction.json.
    """
    return [row for test in inputs.usable for row in _worst_pause(test)]


def _worst_pause(test: OfTest) -> list[list[Cell]]:
    pauses = test.friction.each(lambda found: found.pauses)
    if not pauses:
        return []
    pause = max(pauses, key=lambda one: abs(one.result.ratio - 1))
    read, label = pause.number, f"{test.test}, stop {pause.result.stop} after a pause"
    return [
        [
            test.test,
            read(f"{label}: stop", lambda p: p.stop),
            read(f"{label}: pause", lambda p: p.pause_h, decimals=1),
            read(f"{label}: start", lambda p: p.temperature_c, decimals=0, why="not recorded"),
            read(f"{label}: over expected", lambda p: p.ratio),
            read(f"{label}: bite over expected", lambda p: p.bite_ratio, why="no bite"),
            read(f"{label}: stops to normal", lambda p: p.stops_to_normal, why="not within the stops looked at"),
        ]
    ]
