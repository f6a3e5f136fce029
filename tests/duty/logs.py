"""Logs of a drive with known events: speed by pieces of constant acceleration, marched here, with noise; as files."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import yaml

G = 9.80665
# from km/h, to km/h, brake time s, pause s, holding the speed (km/h) reached before the next
STOPS = ((140.0, 62.0, 4.1, 21.0), (96.0, 20.0, 5.3, 30.0), (150.0, 0.0, 8.2, 41.0), (88.0, 47.0, 2.4, 16.0))
LEAD = 12.0


@dataclass(frozen=True)
class Drive:
    """Times of the pieces and speeds at their ends, km/h; and where the brakings are."""

    time: np.ndarray
    speed: np.ndarray
    begins: np.ndarray
    ends: np.ndarray


def drive(stops: tuple[tuple[float, float, float, float], ...] = STOPS, lead: float = LEAD) -> Drive:
    """Held speed, braking, then some coasting at 0.3 m/s2, an even pull to the next start speed and held speed again."""
    time, speed, begins, ends = [0.0, lead], [stops[0][0], stops[0][0]], [], []
    for k, (high, low, seconds, pause) in enumerate(stops):
        assert speed[-1] == high
        begins.append(time[-1])
        ends.append(time[-1] + seconds)
        time.append(ends[-1])
        speed.append(low)
        following = stops[k + 1][0] if k + 1 < len(stops) else stops[0][0]
        coast = 3.0 if low > 10 else 0.0
        if coast:
            time.append(time[-1] + coast)
            speed.append(low - 0.3 * coast * 3.6)
        else:
            time.append(time[-1] + 5.0)
            speed.append(low)
        left = ends[-1] + pause - time[-1]
        time += [time[-1] + 0.7 * left, time[-1] + left]
        speed += [following, following]
    return Drive(np.array(time), np.array(speed), np.array(begins), np.array(ends))


def samples(one: Drive, hz: float, *, noise: float = 0.3, seed: int = 1, shift: float = 0.0) -> pl.DataFrame:
    """t s, v km/h, a m/s2 (positive in braking), p bar; noise of the speed in km/h."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, one.time[-1], 1 / hz)
    v = np.interp(t, one.time, one.speed)
    braked = ((t[:, None] >= one.begins) & (t[:, None] < one.ends)).any(axis=1)
    piece = np.clip(np.searchsorted(one.time, t, side="right") - 1, 0, len(one.time) - 2)
    a = -(np.diff(one.speed) / np.maximum(np.diff(one.time), 1e-9))[piece] / 3.6
    return pl.DataFrame({
        "t": t + shift,
        "v": np.maximum(v + rng.normal(0, noise, t.size), 0),
        "a": a + rng.normal(0, 0.1, t.size),
        "p": np.where(braked, 30.0, 0.4) + rng.normal(0, 0.2, t.size),
    })  # fmt: skip


UNITS = {"time": ("t", "s"), "speed": ("v", "km/h"), "deceleration": ("a", "m/s^2"), "pressure": ("p", "bar")}


def duty_file(folder: Path, log: dict[str, Any], **facts: Any) -> Path:
    """The duty's file that names a log; `facts` overwrite its keys, None takes one away."""
    content: dict[str, Any] = {
        "duty": "logged route",
        "vehicle_mass": "1180 kg",
        "brake_share": 0.29,
        "rolling_radius": "330 mm",
        "cycles": 40,
        "ambient": "22 degC",
        "cooling": {"h0": "6 W/K", "h1": 1.9, "opening": 0.5},
        "log": log,
    }
    content = {key: value for key, value in (content | facts).items() if value is not None}
    path = folder / "logged.yaml"
    path.write_text(yaml.safe_dump(content), encoding="utf-8")
    return path


def channels(*names: str, **units: str) -> dict[str, dict[str, str]]:
    return {name: {"column": UNITS[name][0], "unit": units.get(name, UNITS[name][1])} for name in ("time", *names)}
