"""Friction by the rubbing face on the sheet: which of law and map is used and why, their errors at what was left out,
and whole stops cold, normal and hot."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from pipeline.report.document import Cell, Items, Picture, Table, Text
from pipeline.report.inputs import Inputs
from pipeline.report.source import Cited
from pipeline.results.face import FaceBatchStop, FaceLaw, FaceModel, FaceSingle, FaceStop, LeftOutErrors
from pipeline.results.model import Interval

Part = Text | Items | Table | Picture
STOP_HEAD = (
    "Stop", "Disc (°C)", "Pressure (bar)", "µ, mean", "µ by the map", "first tenth", "last tenth", "Time (s)", "Distance (m)",
    "Deceleration (m/s²)", "Hottest face by the model (°C)",
)  # fmt: skip
SINGLE_HEAD = ("Stop", "Of", "µ", "Time (s)", "Distance (m)", "Deceleration (m/s²)")
LEFT_OUT_HEAD = ("Left out", "Count", "µ, law", "µ, map", "shape, law", "shape, map")
COLUMNS: tuple[tuple[str, Callable[[FaceStop], Interval | float | None]], ...] = (
    ("mean µ", lambda s: s.mu),
    ("µ by the map", lambda s: s.map_mu),
    ("µ in the first tenth", lambda s: s.mu_start),
    ("µ in the last tenth", lambda s: s.mu_end),
    ("time", lambda s: s.time_s),
    ("distance", lambda s: s.distance_m),
    ("deceleration", lambda s: s.deceleration_mps2),
    ("hottest face", lambda s: s.face_peak_c),
)


def parts(inputs: Inputs) -> list[Part]:
    """What the friction section says of the law."""
    cited = inputs.friction.part(lambda found: found.face_law)
    if cited is None:
        return []
    law = cited.result
    if law.model is None or law.choice is None:
        return [
            Text("No law of friction at the rubbing face: {why}.", {"why": (law.why or "no reason given").rstrip(".")})
        ]
    chosen = {"law": "the law at the rubbing face", "map": "the map over stop means"}[law.choice.used]
    said: list[Part] = [
        Text(
            "Curve, window and what rests on them are those of {chosen}: {why}. The rule: {rule}.",
            {"chosen": chosen, "why": on_sheet(law.choice.why), "rule": on_sheet(law.choice.rule)},
        )
    ]
    rows = [left_out_row(one) for one in cited.each(lambda found: found.left_out)]
    said.append(
        Table(
            "Law and map at what they were not shown: root mean square errors in µ, of cells' means and of the shape "
            "within stops",
            LEFT_OUT_HEAD,
            rows,
        )
    )
    said.append(Items(heat_items(cited)))
    given = [one for one in cited.each(lambda found: found.stops) if one.result.why is None]
    if given:
        caption = (
            f"Whole stops by the law, from {given[0].result.speed_start_rpm:.0f} to "
            f"{given[0].result.speed_end_rpm:.0f} rpm at the cards' inertia: "
            "means over stops, specimens and batches with their intervals, build-up of the pressure included"
        )
        if law.choice.used == "map":
            caption += ". These are figures of the law, which was not chosen: curve and window are the map's"
        # distances need a rolling radius: without one their columns would say so in every row
        shown = [i for i, (_, pick) in enumerate(COLUMNS) if any(valued(pick(one.result)) for one in given)]
        head = [*STOP_HEAD[:3], *(STOP_HEAD[3 + i] for i in shown)]
        said.append(Table(caption, head, [stop_row(one, shown) for one in given]))
        said += single_parts(given, law.model)
        if law.after_pause:
            said.append(Text("{text}.", {"text": on_sheet(law.after_pause)}, "open"))
        lacking = {
            why for i, (_, pick) in enumerate(COLUMNS) if i not in shown and (why := why_none(pick(given[0].result)))
        }
        said += [Text("No way and no deceleration of a vehicle: {why}.", {"why": why}) for why in sorted(lacking)]
    said += [
        Text("Not given, {name}: {why}.", {"name": name_of(stop), "why": on_sheet(stop.why)}, "open")
        for stop in law.stops
        if stop.why
    ]
    said += [Text("Law and map disagree: {text}.", {"text": on_sheet(text)}, "open") for text in law.disagreements]
    return [*said, *(Text("{note}.", {"note": on_sheet(note)}, sentence=True) for note in law.notes)]


def on_sheet(text: str) -> str:
    """A sentence of friction.json with the sheet's signs and no full stop."""
    return re.sub(r"\bmu\b", "µ", text).rstrip(".")


def valued(one: Interval | float | None) -> bool:
    return (one.value if isinstance(one, Interval) else one) is not None


def why_none(one: Interval | float | None) -> str | None:
    return one.why if isinstance(one, Interval) else None


def single_parts(given: Sequence[Cited[FaceStop]], model: FaceModel) -> list[Part]:
    """Table of single stops, and of the batches, at each of the stops."""
    rows: list[list[Cell]] = []
    for stop in given:
        name = name_of(stop.result)
        alone = stop.part(lambda s: s.single)
        rows += [single_row(alone, name, "a single stop")] if alone is not None else []
        rows += [single_row(one, name, f"batch {one.result.batch}") for one in stop.each(lambda s: s.batches)]
    if not rows:
        return []
    head: Sequence[str] = SINGLE_HEAD
    if model.brake.rolling_radius is None:
        head, rows = head[:4], [row[:4] for row in rows]
    caption = (
        f"Where {100 * model.coverage:.0f} % of {model.single_stops} lie (at {100 * model.confidence:.0f} % confidence), "
        "and the mean of each batch tested; at the stops and pressures of the table above"
    )
    return [Table(caption, head, rows)]


def single_row(one: Cited[FaceSingle] | Cited[FaceBatchStop], name: str, what: str) -> list[Cell]:
    """A stop as a single one or by one batch."""
    label = f"{name}, {what}"
    return [
        name,
        what,
        one.number(f"{label}: µ", lambda s: s.mu),
        one.number(f"{label}: time", lambda s: s.time_s),
        one.number(f"{label}: distance", lambda s: s.distance_m),
        one.number(f"{label}: deceleration", lambda s: s.deceleration_mps2),
    ]


def left_out_row(one: Cited[LeftOutErrors]) -> list[Cell]:
    """Errors of law and map at one kind of what was left out."""
    what = one.result.what
    return [
        what,
        one.number(f"{what} compared", lambda r: r.count, decimals=0),
        one.number(f"{what}: rms error of the law", lambda r: r.law, decimals=4),
        one.number(f"{what}: rms error of the map", lambda r: r.map, decimals=4),
        one.number(f"{what}: rms error of the law in the shape", lambda r: r.shape_law, decimals=4),
        one.number(f"{what}: rms error of a map in the shape", lambda r: r.shape_map, decimals=4),
    ]


UNITS = {"conductivity": "W/(m K)", "heat lost": "W/(m² K)"}
SOURCES = {
    "card": "the card's",
    "method": "the method's",
    "default": "an assumed",
    "readings": "what the thermocouples' readings within the stops show,",
}


def heat_items(cited: Cited[FaceLaw]) -> list[tuple[str, Cell]]:
    """Conductivity, heat share and loss while braking as the friction of the stops asks for them."""
    rows: list[tuple[str, Cell]] = []
    for one in cited.each(lambda found: found.heat):
        heat = one.result
        unit = UNITS.get(heat.name, "")
        decimals = {"": 2, "W/(m K)": 1}.get(unit, 0)
        values: dict[str, Cell] = {
            "value": one.number(heat.name, lambda h: h.value, unit=unit, decimals=decimals),
            "u": one.number(
                f"relative uncertainty of the {heat.name}", lambda h: h.u, unit="%", factor=100.0, decimals=0
            ),
            "before": one.number(f"{heat.name} before", lambda h: h.before, unit=unit, decimals=decimals),
            "source": SOURCES[heat.source],
            "before_u": one.number(
                f"relative uncertainty of the {heat.name} before",
                lambda h: h.before_u,
                unit="%",
                factor=100.0,
                decimals=0,
            ),
        }
        words = (
            "{value} give or take {u} within the model, from the stops' friction held by {source} {before} give or take "
            "{before_u}; no measurement of the disc"
        )
        name = "heat lost from a face while braking" if heat.name == "heat lost" else heat.name
        rows.append((f"Effective {name} of the law", Text(words, values, sentence=True)))
    return rows


def name_of(stop: FaceStop) -> str:
    return stop.name + (f" at {stop.wanted}" if stop.wanted else "")


def stop_row(one: Cited[FaceStop], shown: Sequence[int]) -> list[Cell]:
    """One whole stop, with the COLUMNS of these numbers."""
    name = name_of(one.result)
    pressure = one.number(f"{name}: pressure", lambda s: s.pressure_bar, unit="bar", decimals=1)
    if one.result.wanted is None:
        pressure = one.number(f"{name}: pressure", lambda s: s.pressure_bar.value, unit="bar", decimals=1)
    cells: list[Cell] = [
        name,
        one.number(f"{name}: initial temperature of the disc", lambda s: s.temperature_c, decimals=0),
        pressure,
    ]
    # the map was asked at the reference pressure only
    return [
        *cells,
        *(
            "" if pick(one.result) is None else one.number(f"{name}: {words}", pick)
            for words, pick in (COLUMNS[i] for i in shown)
        ),
    ]
