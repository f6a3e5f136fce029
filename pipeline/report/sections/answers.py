"""Friction's answers and landmarks for the sheet: over the wanted window, on both duties' sides, and what marks the curve."""

from collections.abc import Mapping

from pipeline.report import numbers
from pipeline.report.document import Cell, Table, Text
from pipeline.report.inputs import Inputs

TONES = {"yes": "good", "no": "bad", "not shown": "open"}
MARKS = (
    ("cold_friction", "Cold friction", ""), ("transition", "Transition, where µ climbs fastest", "°C"), ("plateau", "Plateau", ""),
    ("high_temperature_change", "Change of µ from the plateau to the hottest", ""),
)  # fmt: skip


def holds_text(inputs: Inputs) -> list[Text]:
    """Whether friction holds over the wanted window: yes, no or not shown, with the temperatures that decide."""
    source = inputs.friction
    holds = source.get("/holds")
    if not isinstance(holds, Mapping):
        return []
    values: dict[str, Cell] = {
        "low": source.number("wanted window from", "/holds/from_c", "°C", decimals=0),
        "high": source.number("wanted window to", "/holds/to_c", "°C", decimals=0),
        "answer": str(holds.get("answer") or numbers.MISSING), "why": str(holds.get("why")).rstrip("."),
    }  # fmt: skip
    said = "Does friction hold over the wanted window, {low} to {high}? {answer}: {why}."
    return [Text(said, values, TONES.get(str(holds.get("answer")), "open"))]


def batch_parts(inputs: Inputs) -> list[Text | Table]:
    """What the window over all batches hides: each batch's own, and where a further batch may lie."""
    source, parts = inputs.friction, list[Text | Table]()
    rows: list[list[Cell]] = []
    for i, row in enumerate(source.get("/by_batch") or []):
        name, base, holds = str(row.get("batch")), f"/by_batch/{i}/window", row.get("holds") or {}
        ends: list[Cell] = [
            source.number(f"batch {name}: window, {words}", f"{base}/{key}", "°C", decimals=0,
                          why=str(row.get("window_reason") or "no window"))
            for key, words in (("low_c", "lower end"), ("high_c", "upper end"))
        ]  # fmt: skip
        rows.append([name, *ends, str(holds.get("answer") or "not given"), str(holds.get("why") or "–")])
    if rows:
        head = ["Batch", "Window from (°C)", "to (°C)", "Holds over the wanted window", "By"]
        parts.append(Table("Each batch by itself: the window above is that of the batches taken together", head, rows))
    further = source.get("/further_batch")
    if isinstance(further, Mapping):
        if further.get("value") is None:
            why = source.reason("/further_batch/value")
            parts.append(
                Text("The bands hold for the batches tested. A further batch: not given: {why}.", {"why": why}, "open")
            )
        else:
            said = "The bands hold for further specimens of the batches tested. The mean µ of a further batch at the reference conditions: {mu}."
            parts.append(Text(said, {"mu": source.number("µ of a further batch", "/further_batch")}, "open"))
    return parts


def sides_parts(inputs: Inputs) -> list[Table]:
    """What the low-energy and the high-energy side of the data each show, question by question."""
    sides = inputs.friction.get("/sides")
    if not isinstance(sides, Mapping):
        return []
    rows: list[list[Cell]] = []
    for key, words in (("low_energy", "low energy"), ("high_energy", "high energy")):
        side = sides.get(key) or {}
        for question in side.get("questions") or []:
            rows.append(
                [
                    words,
                    str(question.get("question")),
                    str(question.get("answer") or numbers.MISSING),
                    str(question.get("text")),
                ]
            )
        if side:
            rows.append([words, "taken together", str(side.get("answer") or numbers.MISSING), ""])
    caption = "The low-energy and the high-energy side: what each shows (yes only where the data show it)"
    return [Table(caption, ["Side", "Question", "Answer", "By"], rows)] if rows else []


def landmark_items(inputs: Inputs) -> list[tuple[str, Cell]]:
    """Cold friction, transition, plateau, change at high temperature, with intervals and where they lie."""
    marks = inputs.friction.get("/landmarks")
    if not isinstance(marks, Mapping):
        return []
    rows: list[tuple[str, Cell]] = []
    for key, words, unit in MARKS:
        mark = marks.get(key)
        if not isinstance(mark, Mapping):
            continue
        sign = f" ({mark['sign']})" if mark.get("sign") else ""
        rows.append((words + sign, inputs.friction.number(words, f"/landmarks/{key}", unit)))
        for place, said in (("temperature_c", "at"), ("from_c", "from"), ("to_c", "to")):
            if mark.get(place) is not None:
                name = f"{words}, {said}"
                rows.append((name, inputs.friction.number(name, f"/landmarks/{key}/{place}", "°C", decimals=0)))
    return rows


def bite_items(inputs: Inputs) -> list[tuple[str, Cell]]:
    """Bite (mean of the first half second) at the checks and when coldest, and its share of the stop's mean."""
    rows: list[tuple[str, Cell]] = []
    for key, words in (("reference", "Bite at the checks"), ("coldest", "Bite in the coldest tenth of the map")):
        if inputs.friction.get(f"/bite/{key}"):
            read = inputs.friction.number
            rows.append((words, read(words, f"/bite/{key}/mu_bite")))
            rows.append((f"{words}, at", read(f"{words}, at", f"/bite/{key}/temperature_c", "°C", decimals=0)))
            rows.append(
                (f"{words}, over the mean of the stop", read(f"{words} over mean", f"/bite/{key}/ratio", decimals=2))
            )
    return rows


def pause_rows(inputs: Inputs) -> list[list[Cell]]:
    """The first stop after a pause that strays most from what is expected, by test, from each test's own friction.json."""
    rows: list[list[Cell]] = []
    for test in inputs.usable:
        pauses = [(i, p) for i, p in enumerate(test.friction.get("/pauses") or []) if p.get("ratio") is not None]
        for i, pause in sorted(pauses, key=lambda item: -abs(item[1]["ratio"] - 1))[:1]:
            read, base = test.friction.number, f"/pauses/{i}"
            label = f"{test.test}, stop {pause.get('stop')} after a pause"
            rows.append([
                test.test, read(f"{label}: stop", f"{base}/stop"), read(f"{label}: pause", f"{base}/pause_h", "h", decimals=1),
                read(f"{label}: start", f"{base}/temperature_c", "°C", decimals=0), read(f"{label}: over expected", f"{base}/ratio"),
                read(f"{label}: bite over expected", f"{base}/bite_ratio", why="no bite"),
                read(f"{label}: stops to normal", f"{base}/stops_to_normal", why="not within the stops looked at"),
            ])  # fmt: skip
    return rows
