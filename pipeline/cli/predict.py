"""`stopsheet predict`: a whole stop at wanted conditions by a compound's law at the face, inside what was tested."""

from __future__ import annotations

import json
from pathlib import Path

from pipeline.results import places
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.face import FaceBatchStop, FaceStop
from pipeline.results.model import Interval, read

REFUSED = 3
FLAGS = {"speed_from": "--from", "speed_to": "--to"} | {
    name: f"--{name}" for name in ("temperature", "pressure", "torque", "deceleration", "inertia")
}


NAMED = {"heat lost": "convection of a face while it brakes, in W/(m² K),"}


def predict(
    *,
    results: Path,
    compound: str,
    method: str | None,
    speeds: tuple[str, str],
    temperature: str,
    pressure: str | None,
    torque: str | None,
    deceleration: str | None,
    inertia: str | None,
    as_json: bool,
) -> int:
    """Print the stop; 3 where it would leave what was tested, with the direction and how far."""
    from pipeline.face.asked import Wanted, stop_of

    found = friction_of(results, compound, method)
    wanted = Wanted(*speeds, temperature, pressure, torque, deceleration, inertia)
    stop = stop_of(found, wanted, FLAGS)
    if as_json:
        print(json.dumps(stop.model_dump(mode="json", by_alias=True), indent=1))
    else:
        print(words(found, stop))
    return REFUSED if stop.why else 0


def friction_of(results: Path, compound: str, method: str | None) -> CompoundFriction:
    """A compound's friction.json, the compound given as the cards name it or as its folder is called."""
    return read(places.compound_in(places.method_in(results, method), compound) / "friction.json", CompoundFriction)


def words(found: CompoundFriction, stop: FaceStop) -> str:
    """The stop for a reader."""
    rows = [
        f"{found.compound}, method {found.method}: from {stop.speed_start_rpm:.0f} to {stop.speed_end_rpm:.0f} rpm, disc at "
        f"{stop.temperature_c:.0f} °C" + (f", for {stop.wanted}" if stop.wanted else "")
    ]
    if stop.why:
        return f"{rows[0]}\nnot given, outside what was tested: {stop.why}"
    alone = stop.single
    shown: list[tuple[str, Interval, Interval | None, str, int]] = [
        ("line pressure", stop.pressure_bar, alone.pressure_bar if alone else None, " bar", 1),
        ("µ, mean over the stop", stop.mu, alone.mu if alone else None, "", 3),
        ("µ in the first tenth", stop.mu_start, None, "", 3),
        ("µ in the last tenth", stop.mu_end, None, "", 3),
        ("mean torque", stop.torque_nm, alone.torque_nm if alone else None, " N m", 0),
        ("time", stop.time_s, alone.time_s if alone else None, " s", 2),
        ("distance", stop.distance_m, alone.distance_m if alone else None, " m", 1),
        ("mean deceleration", stop.deceleration_mps2, alone.deceleration_mps2 if alone else None, " m/s²", 2),
        ("hottest face, by the model", stop.face_peak_c, None, " °C", 0),
    ]
    wanted = {"torque": "mean torque", "deceleration": "mean deceleration"}.get(stop.sought or "")
    rows += [
        f"  {name + ':':28}{_told(value, unit, places, as_wanted=name == wanted)}{_alone(single, places)}"
        for name, value, single, unit, places in shown
    ]
    rows += [f"  batch {one.batch + ':':22}{_of_batch(one)}" for one in stop.batches]
    return "\n".join([*rows, *_footing(found, stop)])


def _of_batch(one: FaceBatchStop) -> str:
    shown = [("µ ", one.mu, "", 3), ("", one.time_s, " s", 2), ("", one.distance_m, " m", 1)]
    shown.append(("", one.deceleration_mps2, " m/s²", 2))
    return "; ".join(
        name + _told(value, unit, places) for name, value, unit, places in shown if value.value is not None
    )


def _footing(found: CompoundFriction, stop: FaceStop) -> list[str]:
    """What the intervals are of, and every reservation."""
    law = found.face_law
    if law is None or law.model is None:
        return []
    model = law.model
    rows = [
        f"in brackets: {100 * model.confidence:.0f} % intervals of the mean over stops, specimens and the batches tested"
        + (", for a batch of the mean over its specimens" if stop.batches else ""),
        f"single: where {100 * model.coverage:.0f} % of {model.single_stops} lie (at {100 * model.confidence:.0f} % confidence)",
    ]
    if stop.sought:
        rows.append("what was wanted holds for the mean; the intervals are those that the stated pressure gives")
    heat = "; ".join(
        f"{NAMED.get(one.name, one.name)} {one.value:.3g} (before the stops were looked at {one.before:.3g})"
        for one in law.heat
    )
    rows.append(
        f"face temperatures rest on effective values of the law, no measurement of the disc: {heat}; the interval of the "
        "hottest face is by what was known of them before"
    )
    said = [*law.notes, *law.disagreements]
    if law.choice is not None and law.choice.used == "map":
        said = [one for one in said if one not in law.choice.why]  # what bars the law from windows is told once
        said.insert(0, f"windows of this compound rest on the map and not on the law: {law.choice.why}")
    if stop.batches:
        said.append("a batch that was not tested may lie elsewhere")
    said.append("stops of a map follow one another; a first stop after a pause, or in the wet, is none of these")
    return [*rows, *(f"reservation: {one}" for one in said)]


def _told(value: Interval, unit: str, places: int, as_wanted: bool = False) -> str:
    if value.value is None:
        return f"not given: {value.why}"
    said = f"{value.value:.{places}f}{unit}" + (", as wanted" if as_wanted else "")
    if value.low is None or value.high is None or value.low == value.high:
        return said
    return f"{said} ({value.low:.{places}f} to {value.high:.{places}f})"


def _alone(value: Interval | None, places: int) -> str:
    """The interval of a single stop."""
    if value is None or value.low is None or value.high is None:
        return ""
    return f"; single: {value.low:.{places}f} to {value.high:.{places}f}"
