"""The stops of a test one by one, for its page: what was recorded, what conditioning made of it, and what it says.

A page opened from disk cannot read files, but it may load scripts. So the traces stand in `traces/<nn>.js` beside the page, ten
stops a file, each file one call of the page's own function, loaded when one of its stops is asked for. Raw traces come from
the channels of the recording, conditioned ones from traces.parquet. A recording with more samples than a screen shows is
thinned so that the least and the largest torque and pressure of every stretch stay, and the page says how many were left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.conditioning.channels_file import BATCH_ROWS, frames
from pipeline.conditioning.survey import GUARD_S
from pipeline.constants import RPM, ZERO_C
from pipeline.report import finding_table, frame, numbers, render
from pipeline.report.per_test_findings import OfStages
from pipeline.results import write_text
from pipeline.results.findings import Found
from pipeline.results.summary import TestSummary

A_FILE = 10  # stops
MOST = 1200  # samples of a raw trace that is not thinned; twice the dots that a panel is wide
STRETCHES = 300  # of a thinned one, each with its extremes
AFTER_S = 0.5  # of the recording after the end of braking
PART_ROWS = BATCH_ROWS  # of the recorded channels in memory at a time
NEEDED = ("time", "speed", "torque", "pressure", "disc_temperature")
RAW = ("speed_rpm", "torque_nm", "pressure_bar", "disc_temperature_c")
CONDITIONED = ("time_s", "mu", "torque_nm", "pressure_bar", "speed_rpm", "disc_temperature_c")


@dataclass(frozen=True)
class Corrected:
    """Settings of conditioning that a trace is read with."""

    zero_window_s: float
    filter_cutoff_hz: float


def address(stop: int) -> str:
    """The file of a stop, as the page beside it writes it."""
    return f"traces/{(stop - 1) // A_FILE + 1:02d}.js"


def written(
    folder: Path, found: OfStages, findings: Sequence[Found], channels: Path, settings: Corrected | None
) -> list[Path]:
    """Write the script files into `folder`/traces; their paths.

    channels: the test's recorded channels, which need not exist (a test of reduced rows has none). Files of stops that
    the test no longer has are removed.
    """
    raw = Raw(channels, found.stops.iter_rows(named=True), settings)
    conditioned = {stop: part for (stop,), part in found.traces.group_by(["stop"], maintain_order=True)}
    told: dict[int, list[Found]] = {}
    for item in findings:
        if item.stop is not None:
            told.setdefault(item.stop, []).append(item)
    files: dict[str, dict[str, Any]] = {}
    for row in found.stops.iter_rows(named=True):
        content = one_stop(row, raw, conditioned.get(row["stop"]), found.summary, told.get(row["stop"], []), settings)
        files.setdefault(address(row["stop"]), {})[str(row["stop"])] = content
    for name, content in files.items():
        write_text(folder / name, f"stopsheet.take({render.script_json(content)});\n")
    for path in (folder / "traces").glob("*.js"):
        if f"traces/{path.name}" not in files:
            path.unlink()
    return [folder / name for name in files]


def one_stop(
    row: Mapping[str, Any],
    raw: Raw,
    conditioned: pl.DataFrame | None,
    summary: TestSummary,
    findings: Sequence[Found],
    settings: Corrected | None,
) -> dict[str, Any]:
    """All that the page shows of one stop; `row` is its row of stops.parquet."""
    recorded, (drawn, of) = raw.around(row)
    shown: dict[str, Any] = {}
    if conditioned is not None:
        shown = {name: frame.significant(conditioned[name].to_numpy(), 4) for name in CONDITIONED}
    return {
        "raw": recorded,
        "conditioned": shown,
        "windows": windows(row, settings),
        "note": thinning(len(shown.get("time_s", ())), drawn, of),
        "facts": facts(row),
        "corrections": corrections(row, summary, settings),
        "findings": [
            {"severity": item.severity, "code": item.code, "message": numbers.worded(item.message), "where": line.where,
             "evidence": line.evidence_text, "action": item.action}
            for item in findings for line in finding_table.rows([item])
        ],
    }  # fmt: skip


class Raw:
    """The recorded channels around each of the stops, (n,) each, SI. The file is gone through once, in parts of bounded size: a
    series may be larger than the memory."""

    def __init__(self, path: Path, stops: Iterable[Mapping[str, Any]], settings: Corrected | None) -> None:
        self.of: dict[int, list[dict[str, np.ndarray]]] = {}
        spans: dict[int, list[tuple[int, float, float]]] = {}
        for row in stops:
            if row["start_s"] is not None:
                spans.setdefault(row.get("recording") or 0, []).append((row["stop"], *_span(row, settings)))
        if not path.is_file():
            return
        import pyarrow.parquet as pq

        with pq.ParquetFile(path) as file:
            have = [name for name in NEEDED if name in file.schema_arrow.names]
            for table in frames(file, ["recording", *have], PART_ROWS) if "time" in have else ():
                for (recording,), part in table.group_by(["recording"], maintain_order=True):
                    self._keep({name: part[name].to_numpy() for name in have}, spans.get(int(recording), []))

    def _keep(self, channels: dict[str, np.ndarray], spans: Sequence[tuple[int, float, float]]) -> None:
        """What a part of a recording holds of the stops, each from one time to another."""
        time = channels["time"]
        known = time[np.isfinite(time)]
        first, last = (float(known.min()), float(known.max())) if known.size else (np.inf, -np.inf)
        for stop, start, end in spans:
            if start <= last and end >= first:
                inside = np.flatnonzero((time >= start) & (time <= end))
                if inside.size:
                    self.of.setdefault(stop, []).append({name: values[inside] for name, values in channels.items()})

    def around(self, row: Mapping[str, Any]) -> tuple[dict[str, Any], tuple[int, int]]:
        """Channels from the zero window to a little after the stop, in the units of the page, time from its brake start;
        and how many samples the recording has there. Nothing where it is not kept."""
        parts = self.of.get(row["stop"])
        if not parts:
            return {}, (0, 0)
        channels = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
        count = channels["time"].size
        kept = thinned(np.arange(count), [channels[name] for name in ("torque", "pressure") if name in channels])
        scales = (("speed", RPM, 0.0), ("torque", 1.0, 0.0), ("pressure", 1e-5, 0.0), ("disc_temperature", 1.0, ZERO_C))
        shown = {"time_s": times(channels["time"][kept] - row["start_s"])}
        for name, (channel, factor, zero) in zip(RAW, scales, strict=True):
            if channel in channels:
                shown[name] = frame.significant(channels[channel][kept] * factor - zero, 5 if channel == "speed" else 4)
        return shown, (int(kept.size), count)


def _span(row: Mapping[str, Any], settings: Corrected | None) -> tuple[float, float]:
    """From the zero window to a little after the end of a stop, as the recording counts (s)."""
    start, end = row["start_s"], row.get("end_s")
    end = start + (row["duration_s"] or 0.0) if end is None else end
    return start - ((settings.zero_window_s if settings else 0.5) + GUARD_S + 0.1), end + AFTER_S


def times(seconds: np.ndarray) -> list[float | None] | dict[str, float]:
    """Times of samples to 0.1 ms, as `from`, `step` and `count` where they are evenly spaced."""
    count = seconds.size
    step = float(seconds[-1] - seconds[0]) / (count - 1) if count > 1 else 0.0
    if count > 2 and np.allclose(seconds, seconds[0] + step * np.arange(count), rtol=0, atol=5e-5):
        return {"from": round(float(seconds[0]), 5), "step": round(step, 9), "count": count}
    return [round(float(one), 4) for one in seconds]


def thinned(inside: np.ndarray, channels: Sequence[np.ndarray]) -> np.ndarray:
    """The rows `inside`, or of many the first of every stretch and the rows of each channel's extremes in it."""
    if inside.size <= MOST:
        return inside
    kept = []
    for part in np.array_split(inside, STRETCHES):
        kept.append(part[0])
        for values in channels:
            own = values[part]
            if np.isfinite(own).any():
                kept += [part[np.nanargmin(own)], part[np.nanargmax(own)]]
    return np.unique([*kept, inside[-1]])


def thinning(conditioned: int, shown: int, recorded: int) -> str:
    """How many samples are drawn of how many there are."""
    if not conditioned and not recorded:
        return "No trace of this stop is kept."
    if not recorded:
        return f"Conditioned: {conditioned} samples, evenly chosen. Recorded samples are not kept for the page."
    raw = (
        f"As recorded: all {recorded} samples."
        if shown == recorded
        else f"As recorded: {shown} of {recorded} samples; the extremes of torque and pressure of each of {STRETCHES} stretches are kept."
    )
    return f"{raw} Conditioned: {conditioned} samples, evenly chosen for drawing; the figures of the stop rest on all."


def windows(row: Mapping[str, Any], settings: Corrected | None) -> list[tuple[str, float, float]]:
    """(kind, from, to) in s from brake start: where zeros were read, the evaluation window, the braking."""
    found = []
    if settings:
        found.append(("zero", -round(settings.zero_window_s + GUARD_S, 4), -GUARD_S))
    if row.get("window_start_s") is not None and row.get("window_end_s") is not None:
        found.append(("evaluation", round(row["window_start_s"], 4), round(row["window_end_s"], 4)))
    if row.get("duration_s") is not None:
        found.append(("braking", 0.0, round(row["duration_s"], 4)))
    return found


def _given(row: Mapping[str, Any], name: str, unit: str, decimals: int | None = None) -> str | None:
    value = row.get(name)
    if not numbers.is_number(value):
        return None
    said = numbers.plain(value, unit) if decimals is None else numbers.rounded(value, decimals)
    return f"{said}{numbers.unit_suffix(unit)}"


def facts(row: Mapping[str, Any]) -> list[tuple[str, str]]:
    """What the stop was and what it gave, as names and values; what is not given is left out, but for friction."""
    mu, own, common = (row.get(name) for name in ("mu", "mu_u_stop", "mu_u_common"))
    parts = [
        f"{name} {numbers.rounded(u, 4)}"
        for name, u in (("the stop's own", own), ("common to all stops", common))
        if numbers.is_number(u)
    ]
    said = "not given: the stop is rejected" if row["status"] == "rejected" else "not given"
    if numbers.is_number(mu):
        said = f"{numbers.rounded(mu, 4)}, u {numbers.fixed(row.get('mu_u'), 4)}"
        said += f" ({', '.join(parts)})" if parts else ""
    ends = [_given(row, name, "", 3) for name in ("mu_start", "mu_end", "mu_min", "mu_max")]
    rows = [
        ("µ and its standard uncertainty", said),
        ("Bite, first half second", _given(row, "mu_bite", "", 3)),
        ("µ from the first to the last tenth", f"{ends[0]} to {ends[1]}" if ends[0] and ends[1] else None),
        ("µ in the window, 2nd to 98th percentile", f"{ends[2]} to {ends[3]}" if ends[2] and ends[3] else None),
        ("Disc at start, at end, peak", _several(row, ("temperature_initial_c", "temperature_end_c", "temperature_peak_c"), "°C")),
        ("Pressure, mean and plateau", _several(row, ("pressure_bar", "pressure_plateau_bar"), "bar")),
        ("Torque, mean", _given(row, "torque_nm", "N m")),
        ("Speed, from and to", _several(row, ("speed_start_rpm", "speed_end_rpm"), "rpm")),
        ("Duration", _given(row, "duration_s", "s", 2)),
        ("Friction work", _given(row, "energy_kj", "kJ")),
        ("Energy and power density", " and ".join(filter(None, (_given(row, "energy_density_j_mm2", "J/mm²"), _given(row, "power_density_w_mm2", "W/mm²")))) or None),
        ("Energy ratio", _given(row, "energy_ratio", "", 4)),
        ("Deceleration (MFDD)", _given(row, "deceleration_mps2", "m/s²", 2)),
        ("Raw file", row["file"]),
    ]  # fmt: skip
    return [(name, value) for name, value in rows if value]


def _several(row: Mapping[str, Any], names: Sequence[str], unit: str) -> str | None:
    found = [_given(row, name, unit) for name in names]
    return ", ".join(one or numbers.MISSING for one in found) if any(found) else None


def corrections(row: Mapping[str, Any], summary: TestSummary, settings: Corrected | None) -> list[tuple[str, str]]:
    """What conditioning took off this stop's channels, as names and values."""
    offsets, lag = summary.offsets, summary.lag_s
    moved = None
    if lag is not None and lag.applied is not None and lag.late:
        moved = f"{lag.late} by {1e3 * abs(lag.applied):.1f}{numbers.unit_suffix('ms')}"
    rows = [
        ("Pressure at rest", _given(row, "pressure_rest_bar", "bar", 3)),
        ("Torque offset of the test", None if offsets is None or offsets.torque_nm is None else f"{offsets.torque_nm:.2f}{numbers.unit_suffix('N m')}"),
        ("Torque zero of this stop beside it", _given(row, "torque_zero_own_nm", "N m", 2)),
        ("Drag torque at the window's mean speed", _given(row, "drag_torque_nm", "N m", 2)),
        ("Moved for lag", moved or ("nothing" if lag is not None else None)),
        ("Low-pass", f"{settings.filter_cutoff_hz:.3g}{numbers.unit_suffix('Hz')}" if settings else None),
    ]  # fmt: skip
    return [(name, value) for name, value in rows if value]
