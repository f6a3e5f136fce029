"""Invented brake applications with a known answer: a rig's channels, and the truth behind them.

The rotor obeys I dw/dt = -(T + drag) exactly (integrating factor, 2 kHz); friction is given as mu over time; the sensors add
gain, offset, delay, ripple and noise. The truth is averaged from the noiseless fine series over the window that the
docs/contract.md defines, by code of its own.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

FINE = 2000.0
AREA = float(np.pi / 4 * (0.030**2 + 0.034**2 + 0.038**2))
RADIUS, EFFICIENCY, THRESHOLD, INERTIA, PAD_AREA = 0.134, 0.97, 0.4e5, 22.0, 0.0052
RPM = np.pi / 30


@dataclass(frozen=True)
class Application:
    """What the rig was asked to do; speeds rpm, pressure bar, temperatures degC."""

    kind: str = "snub"
    speed: tuple[float, float] = (1500.0, 500.0)
    pressure: float = 40.0
    mu: float | Callable[[np.ndarray], np.ndarray] = 0.42
    torque: float | None = None  # wanted level (N m) where the rig controls torque
    duration: float | None = None  # of a drag, s
    temperature: float = 300.0
    block: str = "map 1"
    purpose: str = "map"
    before: float = 1.0
    after: float = 1.5
    line_time: float = 0.04  # s, first order after a ramp
    ramp: float = 400.0  # bar/s


@dataclass(frozen=True)
class Rig:
    """The rig and its sensors as they really are."""

    rate: float = 100.0
    drag: tuple[float, float] = (5.0, 0.03)
    torque_gain: float = 1.0
    torque_offset: float = 0.0
    torque_noise: float = 4.0
    torque_delay: float = 0.0
    pressure_gain: float = 1.0
    pressure_offset: float = 0.0
    pressure_noise: float = 0.08
    pressure_delay: float = 0.0
    speed_noise: float = 0.5
    temperature_noise: float = 0.5
    ripple: tuple[float, float] = (0.0, 0.0)
    includes_drag: bool = True
    radius: float = RADIUS
    area: float = AREA
    inertia: float = INERTIA
    inertia_mechanical: float | None = None
    threshold: float = THRESHOLD


@dataclass(frozen=True)
class Truth:
    mu_time: float
    mu_distance: float
    mu_energy: float
    energy: float
    speed_start: float
    speed_end: float
    start: float
    end: float
    window: tuple[float, float]
    torque: float
    pressure: float
    extra: dict[str, Any] = field(default_factory=dict)


def recorded(app: Application, rig: Rig, rng: np.random.Generator) -> tuple[dict[str, np.ndarray], Truth]:
    """Channels (SI, time from 0) of one application, and its truth."""
    (t, p, torque, w, _), truth = _motion(app, rig)
    drag = np.where(w > 1e-6, rig.drag[0] + rig.drag[1] * w, 0.0)
    ripple = _ripple(rig, t, w)
    seen = rig.torque_gain * (torque * (1 + ripple) + (drag if rig.includes_drag else 0.0)) + rig.torque_offset
    at = np.arange(0.0, t[-1], 1 / rig.rate)

    def sample(values: np.ndarray, delay: float = 0.0) -> np.ndarray:
        return np.interp(at - delay, t, values)

    n = at.size
    heat = np.cumsum(torque * w) / FINE
    temperature = app.temperature + 273.15 + heat / (1.7 * 1400.0)
    channels = {
        "time": at,
        "speed": np.abs(sample(w) + rig.speed_noise * RPM * rng.standard_normal(n)),
        "torque": sample(seen, rig.torque_delay) + rig.torque_noise * rng.standard_normal(n),
        "pressure": rig.pressure_gain * sample(p, rig.pressure_delay)
        + rig.pressure_offset
        + 1e5 * rig.pressure_noise * rng.standard_normal(n),
        "disc_temperature": sample(temperature) + rig.temperature_noise * rng.standard_normal(n),
    }
    if rig.inertia_mechanical is not None:
        share = 1 - rig.inertia_mechanical / rig.inertia
        braking = torque > 1.0
        channels["drive_torque"] = sample(np.where(braking, (torque + drag) * share, drag))
    return channels, truth


@lru_cache(maxsize=96)
def _motion(app: Application, rig: Rig) -> tuple[tuple[np.ndarray, ...], Truth]:
    """Fine series of time, pressure, torque, speed, mu, and their truth; the release is where the target speed (or time) is reached.

    Hundreds of tests make the same applications, and nearly all of these are over in a quarter of the longest time.
    """
    longest = app.duration or 40.0
    series = None if app.kind == "drag" else _motion_within(longest / 4, app, rig)
    series = series or _motion_within(longest, app, rig, always=True)
    assert series
    for values in series:
        values.flags.writeable = False
    return series, _truth(app, *series)


def _motion_within(
    longest: float, app: Application, rig: Rig, *, always: bool = False
) -> tuple[np.ndarray, ...] | None:
    """The series, followed for `longest` seconds of braking; None where the application is not over by then."""
    t = np.arange(0.0, longest + app.before + app.after, 1 / FINE)
    s = np.maximum(t - app.before, 0.0)
    mu = np.full_like(t, app.mu) if not callable(app.mu) else app.mu(s)
    factor = 2 * EFFICIENCY * rig.area * rig.radius

    def level(release: int) -> tuple[np.ndarray, np.ndarray]:
        if app.torque is None:
            wanted = np.minimum(app.ramp * s, app.pressure) * 1e5
        else:
            wanted = np.minimum(s / 0.15, 1.0) * (t > app.before) * app.torque / (factor * mu) + rig.threshold * (s > 0)
        wanted = np.where(np.arange(t.size) < release, wanted, 0.0)
        p = _first_order(wanted, app.line_time)
        return p, factor * mu * np.maximum(p - rig.threshold, 0.0)

    w0, w1 = app.speed[0] * RPM, app.speed[1] * RPM
    if app.kind == "drag":
        release = int((app.before + (app.duration or 10.0)) * FINE)
        p, torque = level(release)
        w = np.full_like(t, w0)
        keep = t < app.before + (app.duration or 10.0) + app.after
    else:
        p, torque = level(t.size)
        w = _speed(t, torque, w0, rig, app.before)
        release = int(np.argmax(w <= max(w1, 1e-3)))
        if not always and (release == 0 or release + int((0.6 + app.after) * FINE) >= t.size):
            return None
        release += int(0.3 * FINE) if app.kind == "stop" else 0  # held a little at standstill
        p, torque = level(release)
        w = _speed(t, torque, w0, rig, app.before)
        if app.kind == "snub":
            low = int(release + 0.3 * FINE)
            w[low:] = w[low]
            torque[low:] = 0.0
        else:
            rest = int(np.argmax(w <= 0))
            w[rest:] = 0.0
        keep = np.arange(t.size) < release + int(app.after * FINE)
    torque = np.where(w > 0, torque, 0.0)
    return t[keep], p[keep], torque[keep], w[keep], mu[keep]


def _first_order(wanted: np.ndarray, time: float) -> np.ndarray:
    from scipy.signal import lfilter

    a = np.exp(-1 / (FINE * time))
    return lfilter([1 - a], [1, -a], wanted)


def _speed(t: np.ndarray, torque: np.ndarray, w0: float, rig: Rig, before: float) -> np.ndarray:
    """Exact motion under torque(t) and drag a + b w from `before` on; the drive holds the speed until then."""
    a, b = rig.drag
    s = np.maximum(t - before, 0.0)
    rate = b / rig.inertia
    push = np.exp(rate * s) * (torque + a) * (t >= before) / rig.inertia
    integral = np.r_[0.0, np.cumsum((push[1:] + push[:-1]) / 2 / FINE)]
    return np.exp(-rate * s) * (w0 - integral)


def _ripple(rig: Rig, t: np.ndarray, w: np.ndarray) -> np.ndarray:
    angle = np.cumsum(w) / FINE
    return rig.ripple[0] * np.cos(angle + 0.3) + rig.ripple[1] * np.cos(2 * angle + 1.1)


def _truth(app: Application, t: np.ndarray, p: np.ndarray, torque: np.ndarray, w: np.ndarray, mu: np.ndarray) -> Truth:
    on = int(np.argmax(p > 1e5))
    over = on + int(np.argmax((p[on:] < 0.6e5) | (w[on:] <= 0.5)))
    inside = slice(on, over)
    level = torque if app.torque is not None else p
    plateau = np.median(level[(on + over) // 2 : over])
    first = on + int(np.argmax(level[inside] >= 0.95 * plateau))
    last = over
    if app.kind != "drag":
        # Above the speed the rig was told to end at, not the one left after the pressure has run down.
        last = on + int(np.argmax(w[inside] <= app.speed[1] * RPM + 0.03 * w[on]))
        last = last if last > on else over
    held = slice(first, last)
    m, tq, ws = mu[held], torque[held], w[held]
    half = on + int(np.argmax(p[inside] >= 0.5 * np.median(p[(on + over) // 2 : over])))
    bite = slice(half, min(half + int(0.5 * FINE), over))
    tenth = (last - first) // 10

    def mean(part: slice) -> float:
        return float((mu[part] * w[part]).sum() / w[part].sum())

    extra = {
        "mu_bite": mean(bite),
        "mu_start": mean(slice(first, first + tenth)),
        "mu_end": mean(slice(last - tenth, last)),
        "mu_min": float(np.quantile(m, 0.02)),
        "mu_max": float(np.quantile(m, 0.98)),
        "distance": float(w[inside].sum() / FINE * RADIUS),
        "deceleration": _fully_developed(t[inside], w[inside] * 0.33) if app.kind == "stop" else None,
    }
    return Truth(
        mu_time=float(m.mean()),
        mu_distance=float((m * ws).sum() / ws.sum()),
        mu_energy=float((m * ws * tq).sum() / (ws * tq).sum()),
        energy=float((torque * w)[inside].sum() / FINE),
        speed_start=float(w[on]),
        speed_end=float(w[over - 1]),
        start=float(t[on]),
        end=float(t[over - 1]),
        window=(float(t[first]), float(t[last - 1])),
        torque=float(tq.mean()),
        pressure=float(p[held].mean()),
        extra=extra,
    )


def _fully_developed(t: np.ndarray, v: np.ndarray) -> float:
    """UN R13: (0.8 v0)^2 less (0.1 v0)^2 over twice the distance between the two."""
    s = np.r_[0.0, np.cumsum((v[1:] + v[:-1]) / 2 * np.diff(t))]
    a, b = int(np.argmax(v <= 0.8 * v[0])), int(np.argmax(v <= 0.1 * v[0]))
    return float((v[a] ** 2 - v[b] ** 2) / (2 * (s[b] - s[a])))


def card_text(
    apps: Sequence[Application], rig: Rig, *, units: dict[str, str] | None = None, more: dict[str, str] | None = None,
    **changes: str,
) -> str:  # fmt: skip
    """A test card for these applications in blocks as they come; `changes` replace sensors, holds, extra, blocks.

    units: channel -> the unit that the card states; more: further channels -> their unit.
    """
    unit = {
        "time": "s",
        "speed": "rpm",
        "torque": "N m",
        "pressure": "bar",
        "disc_temperature": "degC",
        "drive_torque": "N m",
    }
    unit |= units or {}
    further = "".join(f"\n    {name}: {{column: {name}, unit: {u}}}" for name, u in (more or {}).items())
    sensors = changes.get(
        "sensors",
        "sensors: {torque: {full_scale: 3000 N m, accuracy: 0.2 %}, pressure: {full_scale: 160 bar, accuracy: 0.25 %}, "
        "disc_temperature: {accuracy: 4 K}, effective_radius: {accuracy: 0.5 mm}}",
    )
    drive = f"drive_torque: {{column: D, unit: {unit['drive_torque']}}}" if rig.inertia_mechanical is not None else ""
    mechanical = f"inertia_mechanical: {rig.inertia_mechanical} kg m^2" if rig.inertia_mechanical is not None else ""
    return f"""\
schema: 1
compound: Marram 4
batch: M4-9901
specimen: A
date: 2026-03-02
rig: north
brake:
  friction_ring: {{outer_diameter: 312 mm, inner_diameter: 220 mm}}
  {changes.get("radius", "effective_radius: 134 mm")}
  pistons_per_side: [30 mm, 34 mm, 38 mm]
  pad_area: 52 cm^2
  efficiency: 0.97
  threshold_pressure: 0.4 bar
inertia: {changes.get("inertia", "22 kg m^2")}
{mechanical}
rolling_radius: 330 mm
recordings:
  files: recordings/*.csv
  holds: {changes.get("holds", "stop")}
  channels:
    time: {{column: t, unit: {unit["time"]}}}
    speed: {{column: n, unit: {unit["speed"]}}}
    torque: {{column: Mb, unit: {unit["torque"]}, includes_drag: {str(rig.includes_drag).lower()}}}
    pressure: {{column: p, unit: {unit["pressure"]}}}
    disc_temperature: {{column: T1, unit: {unit["disc_temperature"]}}}
    {drive}{further}
  {sensors}
blocks:
{changes.get("blocks") or blocks_text(apps)}
"""


def blocks_text(apps: Sequence[Application]) -> str:
    groups: list[tuple[Application, int]] = []
    for app in apps:
        if groups and groups[-1][0].block == app.block:
            groups[-1] = (groups[-1][0], groups[-1][1] + 1)
        else:
            groups.append((app, 1))
    lines = []
    for app, count in groups:
        speed = f"{app.speed[0]} rpm" if app.kind == "drag" else f"[{app.speed[0]} rpm, {app.speed[1]} rpm]"
        level = (
            f"control: torque, torque: {app.torque} N m" if app.torque is not None else f"pressure: {app.pressure} bar"
        )
        lasting = f", duration: {app.duration} s" if app.duration is not None else ""
        lines.append(
            f"  - {{name: {app.block}, purpose: {app.purpose}, kind: {app.kind}, stops: {count}, speed: {speed}, "
            f"{level}, initial_temperature: {app.temperature} degC{lasting}}}"
        )
    return "\n".join(lines)


def write_test(
    base: Path, apps: Sequence[Application], rig: Rig, *, seed: int = 1, rigs: Sequence[Rig] | None = None,
    series: bool = False, change: Callable[[int, dict[str, np.ndarray]], dict[str, np.ndarray]] | None = None,
    pause: float = 60.0, name: str = "t1", continuous: bool = False, **card: Any,
) -> tuple[Path, list[Truth]]:  # fmt: skip
    """A test's folder with its card, channels file and ingest record, as the channels stage writes them.

    `rigs`: one per application (calibrations drawn anew); `series`: all in one recording, with `continuous` the recorder
    runs on through the pauses, in which the drive brings the shaft to the next speed; `change` damages a recording.
    """
    rng = np.random.default_rng(seed)
    folder = base / name
    folder.mkdir(parents=True)
    text = card_text(apps, rig, holds="series" if series else "stop", **card)
    (folder / "test.yaml").write_text(text, encoding="utf-8")
    frames, truths, recordings, clock = [], [], [], 100.0
    for i, app in enumerate(apps):
        channels, truth = recorded(app, rigs[i] if rigs else rig, rng)
        channels["time"] = channels["time"] + clock
        truth = replace(
            truth,
            start=truth.start + clock,
            end=truth.end + clock,
            window=(truth.window[0] + clock, truth.window[1] + clock),
        )
        channels = change(i, channels) if change else channels
        if continuous and i + 1 < len(apps):
            channels = _with_pause(channels, apps[i + 1], rigs[i] if rigs else rig, pause, rng)
        clock = float(channels["time"][-1]) + (1 / rig.rate if continuous else pause)
        number = 1 if series else i + 1
        frames.append(pl.DataFrame({"recording": np.full(channels["time"].size, number, dtype=np.int32)} | channels))
        truths.append(truth)
        if not series or not recordings:
            recordings.append(record_of(number, channels))
        recordings[-1]["last_time"] = float(channels["time"][-1])
    pl.concat(frames).write_parquet(base / f"{name}.parquet")
    record = {
        "test": name,
        "unusable": None,
        "holds": "series" if series else "stop",
        "recordings": recordings,
        "findings": [],
    }
    (base / f"{name}.json").write_text(json.dumps(record), encoding="utf-8")
    return folder, truths


def _with_pause(
    c: dict[str, np.ndarray], following: Application, rig: Rig, pause: float, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    """The channels with `pause` seconds behind: shaft brought to the next speed, brake open, disc cooling or heated."""
    n = int(pause * rig.rate)
    share = np.minimum(np.linspace(0, 1.25, n), 1.0)
    speed = np.median(c["speed"][-20:]) * (1 - share) + following.speed[0] * RPM * share
    drag = np.where(speed > 0.5, rig.drag[0] + rig.drag[1] * speed, 0.0) * rig.includes_drag
    heat = c["disc_temperature"][-1] * (1 - share) + (following.temperature + 273.15) * share
    behind = {
        "time": c["time"][-1] + np.arange(1, n + 1) / rig.rate,
        "speed": np.abs(speed + rig.speed_noise * RPM * rng.standard_normal(n)),
        "torque": rig.torque_gain * drag + rig.torque_offset + rig.torque_noise * rng.standard_normal(n),
        "pressure": rig.pressure_offset + 1e5 * rig.pressure_noise * rng.standard_normal(n),
        "disc_temperature": heat + rig.temperature_noise * rng.standard_normal(n),
    }
    return {name: np.concatenate([values, behind[name]]) for name, values in c.items()}


def record_of(number: int, channels: dict[str, np.ndarray]) -> dict[str, Any]:
    return {
        "recording": number, "file": f"recordings/stop_{number:03d}.csv", "rows": channels["time"].size, "digest": str(number),
        "first_time": float(channels["time"][0]), "last_time": float(channels["time"][-1]), "duplicate_of": None, "error": None,
    }  # fmt: skip


@dataclass(frozen=True)
class Reduction:
    stops: pl.DataFrame
    traces: pl.DataFrame
    summary: dict[str, Any]
    findings: list[dict[str, Any]]


def reduce(
    base: Path, name: str = "t1", *, rig: Path | None = None, uncorrected: str | None = None, **sections: dict[str, Any]
) -> Reduction:
    """Run the stops stage on a test that `write_test` wrote, with settings given per section (SI values)."""
    from pipeline.method import Method, settings_of
    from pipeline.stops import stage

    method = Method.model_validate(sections)
    settings = settings_of(method, "stops")
    into = base / "results" / "first" / "tests" / name
    stage.run(
        folder=base / name,
        channels=base / f"{name}.parquet",
        record=base / f"{name}.json",
        settings=settings,
        into=into,
        rig=rig,
        uncorrected=uncorrected,
    )
    return Reduction(
        pl.read_parquet(into / "stops.parquet"),
        pl.read_parquet(into / "traces.parquet"),
        json.loads((into / "summary.json").read_text(encoding="utf-8")),
        json.loads((into / "stops_findings.json").read_text(encoding="utf-8"))["findings"],
    )
