"""What each channel of the card was used for, and what the further ones say: a pyrometer, a second thermocouple; and how deep and
how late the first one reads (`pipeline.heat.thermocouple`).

*Pyrometer* (`surface_temperature`). Wear's temperatures and the law at the face rest on conduction into the disc: the face
runs ahead of the thermocouple by a rise that scales with 1 / sqrt(conductivity) and the heat share. A pyrometer sees the
face. So the rise that it shows from brake start to brake end is held against the model's under the stop's own power,

    ratio = median over stops of (shown rise / modelled rise)

and a ratio off 1 by more than twice what conductivity and heat share are known by is a finding, with the conductivity that
would explain it: k / ratio^2. An emissivity set wrong on the pyrometer shows at brake start already, where face and disc are even.

*Second thermocouple* (`disc_temperature_2`). Before braking a disc is even, so two thermocouples in it have to agree by their limits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.archive.card import Card, sensor_limit
from pipeline.conditioning.channels_file import ChannelsFile
from pipeline.conditioning.stretches import recordings_in
from pipeline.conditioning.time_base import increases, picking
from pipeline.constants import ZERO_C, Array
from pipeline.findings import Finding, finding
from pipeline.heat import slab, thermocouple
from pipeline.heat.of_card import conductivity_of, heat_share_of
from pipeline.heat.plate import Plate, plate_of
from pipeline.results.summary import ChannelUse
from pipeline.wording import counted

USES = {
    "time": "time base of everything",
    "speed": "start, end and way of every stop; friction work",
    "torque": "friction",
    "pressure": "friction; begin and end of every stop",
    "disc_temperature": "temperatures of the stops, cooling, and through both the map, wear and drift",
    "pressure_2": "held against pressure",
    "ambient_temperature": "air that the disc cools to, in wear and duty; units of the other temperatures",
    "pad_temperature": "tells whether disc and pad thermocouples were exchanged; no friction or wear rests on it",
    "surface_temperature": "the conduction that wear and the law at the face rest on is held against it",
    "disc_temperature_2": "held against the first thermocouple",
}
KEPT = "kept with the channels; no number rests on it"
CONDUCTIVITY, SHARE = 20.0, 0.95  # W/(m K), and of the heat into the disc, where the card states none
MODEL_U = 0.05  # one dimension, sampling, spot of the pyrometer
BEFORE_S, LAST_S = 0.5, 0.1
LEAST_RISE_K, FEWEST, MOST = 40.0, 5, 150
USUAL_LIMIT_K, LEAST_APART_K = 5.0, 8.0


@dataclass(frozen=True)
class Rises:
    """A channel in each stop, degC [stops]: before braking and at its end; NaN where it does not tell."""

    stop: np.ndarray
    before: Array
    end: Array


def further_channels(
    card: Card, channels: ChannelsFile, stops: pl.DataFrame, traces: pl.DataFrame
) -> tuple[list[ChannelUse], list[Finding]]:
    """A row for each channel of the card, and findings of those that contradict others; test-wide ones."""
    rows, findings = [], []
    for name in card.recordings.channels:
        use, found = _use(name, card), None
        if name in channels.names and name == "surface_temperature":
            found, more = face_beside_pyrometer(card, rises(channels, name, stops), stops, traces)
            findings += more
        elif name in channels.names and name == "disc_temperature_2":
            found, more = beside_first(card, rises(channels, name, stops), stops)
            findings += more
        rows.append(ChannelUse(channel=name, used_for=use, found=found))
    return rows, findings


def with_course(rows: list[ChannelUse], card: Card, stops: pl.DataFrame, traces: pl.DataFrame) -> list[ChannelUse]:
    """The rows with what the disc's thermocouple says of itself; `stops` with their final status."""
    return [
        row.model_copy(update={"found": course_of(card, stops, traces)}) if row.channel == "disc_temperature" else row
        for row in rows
    ]


def course_of(card: Card, stops: pl.DataFrame, traces: pl.DataFrame) -> str:
    """What the thermocouple's course within the stops says of its place and of the heat lost meanwhile, in words."""
    plate = plate_of(card)
    if isinstance(plate, str):
        return f"depth and lag not told: {plate}"
    known = (conductivity_of(card, CONDUCTIVITY), heat_share_of(card, SHARE))
    read = thermocouple.of_test(card, plate, stops, traces, known)
    return f"depth and lag not told: {read}" if isinstance(read, str) else thermocouple.words(read)


def _use(name: str, card: Card) -> str:
    if name == "drive_torque":
        simulated = card.inertia_mechanical is not None
        return (
            "energy balance: what the drive gives of the inertia"
            if simulated
            else "not used: the card states no inertia_mechanical"
        )
    return USES.get(name, KEPT)


def rises(channels: ChannelsFile, name: str, stops: pl.DataFrame) -> Rises:
    """The channel's mean before each braking and at its end, by recording and time."""
    rows = stops.with_row_index("row").filter(pl.col("start_s").is_finite(), pl.col("end_s").is_finite())
    by_recording: dict[int, list[tuple[int, float, float]]] = {}
    for recording, *braking in rows.sort("start_s").select("recording", "row", "start_s", "end_s").iter_rows():
        by_recording.setdefault(recording, []).append(tuple(braking))
    total, count = np.zeros((2, len(stops))), np.zeros((2, len(stops)))
    for part in channels.parts(["recording", "time", name]):
        times, values = (part[column].cast(pl.Float64).to_numpy() for column in ("time", name))
        for recording, own in recordings_in(part["recording"].to_numpy()):
            if recording not in by_recording:
                continue
            known = picking(~(np.isnan(values[own]) | np.isnan(times[own])))
            time, value = times[own][known], values[own][known]
            if not increases(time):
                order = time.argsort(kind="stable")
                time, value = time[order], value[order]
            begins = [start - BEFORE_S for _, start, _ in by_recording[recording]]
            # What belongs to the next stop already is no longer this one's.
            for (row, start, end), first, until in zip(
                by_recording[recording], begins, [*begins[1:], np.inf], strict=True
            ):
                a, begun, behind = time.searchsorted([first, start, until])
                last, b = np.minimum(time.searchsorted([end - LAST_S, end], "right"), behind)
                for k, seen in enumerate((value[a : min(begun, b)], value[max(last, a) : b])):
                    total[k, row] += np.add.reduce(seen)
                    count[k, row] += seen.size
    with np.errstate(invalid="ignore"):
        before, at_end = total / count - ZERO_C
    return Rises(stops["stop"].to_numpy(), before, at_end)


def face_beside_pyrometer(
    card: Card, shown: Rises, stops: pl.DataFrame, traces: pl.DataFrame
) -> tuple[str, list[Finding]]:
    """What the comparison came to in words, and the finding where model and pyrometer disagree."""
    plate = plate_of(card)
    if isinstance(plate, str):
        return f"not compared: {plate}, which conduction needs", []
    initial = _floats(stops, "temperature_initial_c")
    modelled = modelled_rise(card, plate, stops, traces)
    rise, model = shown.end - shown.before, modelled
    good = np.isfinite(rise) & (model > LEAST_RISE_K)
    if good.sum() < FEWEST:
        return (
            f"not compared: {counted(int(good.sum()), 'stop')} with it that warm the face enough, {FEWEST} are needed",
            [],
        )
    ratio = float(np.median(rise[good] / model[good]))
    offset = float(np.median((shown.before - initial)[good]))
    u_k = conductivity_of(card, CONDUCTIVITY).u
    u = float(np.sqrt((u_k / 2) ** 2 + heat_share_of(card, SHARE).u ** 2 + MODEL_U**2))
    words = (
        f"over {int(good.sum())} stops it rises by {ratio:.2f} of what conduction gives for the face (known to {100 * u:.0f} %); "
        f"before braking it reads {offset:+.0f} K beside the thermocouple"
    )
    if ratio > 0 and abs(np.log(ratio)) <= 2 * u:
        return words, []
    k = conductivity_of(card, CONDUCTIVITY).value
    would = (
        f"a conductivity of {k / ratio**2:.0f} in place of {k:.0f} W/(m K) would explain it"
        if ratio > 0.2
        else "no conductivity explains it"
    )
    message = f"the pyrometer's {words}: {would}; so would a spot beside the rubbed ring, or a wrong emissivity"
    evidence = {"ratio": ratio, "relative_u": u, "stops": int(good.sum()), "offset_k": offset, "conductivity": k}
    return words, [finding("face_temperature_off", message, channel="surface_temperature", evidence=evidence)]


def modelled_rise(card: Card, plate: Plate, stops: pl.DataFrame, traces: pl.DataFrame) -> Array:
    """Rise of the face in K from brake start to brake end by conduction under each stop's own power; NaN where it has no trace,
    and beyond an even choice of MOST stops."""
    out = np.full(len(stops), np.nan)
    have = set(traces["stop"].unique().to_list())
    rows = [i for i, stop in enumerate(stops["stop"].to_list()) if stop in have]
    rows = [rows[i] for i in np.unique(np.linspace(0, len(rows) - 1, min(MOST, len(rows))).astype(int))] if rows else []
    initial, duration, energy = (_floats(stops, c) for c in ("temperature_initial_c", "duration_s", "energy_kj"))
    rows = [i for i in rows if np.isfinite(initial[i]) and np.isfinite(duration[i]) and np.isfinite(energy[i])]
    if not rows:
        return out
    by_stop = traces.filter(pl.col("time_s") >= 0).partition_by("stop", as_dict=True)
    width = 80
    time, power = np.zeros((len(rows), width)), np.zeros((len(rows), width))
    for k, i in enumerate(rows):
        own = by_stop.get((stops["stop"][i],))
        time[k] = np.linspace(0.0, max(duration[i], 1e-3), width)
        if own is None or len(own) < FEWEST:
            continue
        product = np.nan_to_num(_floats(own, "torque_nm") * _floats(own, "speed_rpm"))
        shape = np.maximum(np.interp(time[k], _floats(own, "time_s"), product), 0.0)
        work = np.trapezoid(shape, time[k])
        power[k] = shape * energy[i] * 1e3 / work if work > 0 else 0.0
    surface, _ = slab.conduct(
        time,
        (power + np.roll(power, 1, axis=1)) / 2 * heat_share_of(card, SHARE).value / (2 * plate.ring_area),
        initial[rows] + ZERO_C,
        half_thickness=plate.half_thickness,
        conductivity=conductivity_of(card, CONDUCTIVITY).value,
        density=plate.density,
        material=plate.material,
        passes=2,
    )
    out[rows] = surface[:, -1] - surface[:, 0]
    return out


def beside_first(card: Card, shown: Rises, stops: pl.DataFrame) -> tuple[str, list[Finding]]:
    """The second thermocouple beside the first before braking, in words, and the finding where they disagree."""
    apart = shown.before - _floats(stops, "temperature_initial_c")
    apart = apart[np.isfinite(apart)]
    if apart.size < FEWEST:
        return f"not compared: {counted(apart.size, 'stop')} with both, {FEWEST} are needed", []
    middle = float(np.median(apart))
    spread = float(np.subtract(*np.percentile(apart, [95, 5])))
    limits = [sensor_limit(card, name, "temperature") for name in ("disc_temperature", "disc_temperature_2")]
    allowed = max(sum((limit and limit.absolute) or USUAL_LIMIT_K for limit in limits), LEAST_APART_K)
    words = f"before braking it reads {middle:+.1f} K beside the first (median of {apart.size} stops; nine in ten within {spread:.0f} K)"
    if abs(middle) <= allowed:
        return words, []
    message = f"the second thermocouple: {words}; their limits allow {allowed:.0f} K"
    evidence = {"median_k": middle, "allowed_k": allowed, "stops": int(apart.size)}
    return words, [finding("thermocouples_disagree", message, channel="disc_temperature_2", evidence=evidence)]


def _floats(table: pl.DataFrame, name: str) -> Array:
    return table[name].cast(pl.Float64).fill_null(float("nan")).to_numpy().astype(float)
