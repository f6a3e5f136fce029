"""The log of an invented compound's vehicle in a duty, as a recorder would have written it: speed, line pressure, disc and air temperature.

The world's own disc (`decision_world`) is driven through the uses, each from a cold disc: its true share of the heat and its true
cooling, which differs a little from drive to drive; a driver who never brakes twice alike. A thermocouple under the face lags, scatters
and has a bias, now and then beyond the limits that its owner states; it and the air's are sampled once a second. The files are read as a user's are.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import yaml
from scipy.signal import lfilter

from pipeline.archive.duties import DutyCycle
from pipeline.duty.log import cycle_of
from pipeline.results.openings import SettlingLog
from tests.studies.decision_compounds import Compound, Duty, Event
from tests.studies.decision_world import CELLS, ZERO_K, brake

HZ, STEPS = 10.0, (24, 24)
NOISE_K, LAG_S, DEPTH = 1.0, 3.0, 0.3  # of the disc's thermocouple; depth: share of the face's lead that it shows
AIR_SD_K, AIR_NOISE_K, DAYS_K = 1.0, 0.3, 3.0  # of the air's; from day to day
DRIVES = 0.03  # of convection from drive to drive
SPEEDS, TIMES, PAUSES = 0.015, 0.05, 0.08  # how a driver differs, relative
STAND_S, PULL_S, HOLD_S, ROLL_S = 5.0, 25.0, 10.0, 60.0
BETWEEN_S = 12 * 3600.0


def drive_of(
    of: Compound,
    duty: Duty,
    content: dict[str, Any],
    asked: SettlingLog,
    rng: np.random.Generator,
    bias_k: float | None = None,
) -> DutyCycle:
    """The duty with its log, read from files as the project reads them; content: of the duty's file."""
    bias = asked.thermocouple_k / 3**0.5 * rng.normal() if bias_k is None else bias_k
    air_bias = AIR_SD_K * rng.normal()
    uses = driven(of, duty, asked, (bias, air_bias), rng)
    begins = np.arange(len(uses)) * BETWEEN_S
    table = pl.concat([one.with_columns(t=pl.col("t") + begin) for one, begin in zip(uses, begins, strict=True)])
    channels = {
        "time": ("t", "s"), "speed": ("v", "km/h"), "pressure": ("p", "bar"),
        "disc_temperature": ("disc", "degC"), "ambient_temperature": ("air", "degC"),
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        table.write_csv(Path(folder) / "drive.csv", float_precision=3)
        log = {
            "file": "drive.csv",
            "opening": f"{asked.opening:.6g}",
            "thermocouple": f"{asked.thermocouple_k:g} K",
            "channels": {name: {"column": column, "unit": unit} for name, (column, unit) in channels.items()},
        }
        path = Path(folder) / f"{duty.name}.yaml"
        path.write_text(yaml.safe_dump(content | {"cooling_log": log}), encoding="utf-8")
        return cycle_of(path)


def driven(
    of: Compound, duty: Duty, asked: SettlingLog, bias: tuple[float, float], rng: np.random.Generator
) -> list[pl.DataFrame]:
    """The uses, all at once: t s, v km/h, p bar at HZ, disc and air in degC once a second. bias: of disc and air, K."""
    body, n = of.body, asked.uses
    ambient = duty.ambient_c + DAYS_K * rng.normal(size=n)
    cooled = duty.cooled * np.exp(DRIVES * rng.normal(size=n))
    part = body.widths / body.widths.sum()
    profile = np.repeat(ambient[:, None] + ZERO_K, CELLS, axis=1)
    t = np.full(n, STAND_S + PULL_S + HOLD_S)
    events = [_as_driven(e, n, rng) for _ in range(duty.cycles) for e in duty.events]
    first = events[0][0]
    knots = [(0 * t, 0 * t), (0 * t + STAND_S, 0 * t), (0 * t + STAND_S + PULL_S, first), (t, first)]  # times, speeds
    warm, pressed = [(0 * t, ambient), (t, ambient)], []
    for number, (first, last, seconds, then, at) in enumerate(events):
        work = duty.brake_share * duty.vehicle_mass * (first**2 - last**2) / 2 / 3.6**2
        g = tuple(cooled * (duty.h0 + asked.opening * duty.h1 * (v / 3.6) ** 0.8) for v in ((first + last) / 2, at))
        warm.append((t, profile @ part - ZERO_K))
        one = brake(body, profile, work, first, last, seconds, then, g, ambient[:, None] + ZERO_K, steps=STEPS)  # type: ignore[arg-type]
        profile = one.end
        shown = one.after_mean + DEPTH * (one.after_face - one.after_mean) - ZERO_K
        warm += zip(t + seconds + one.after_time, shown, strict=True)
        pressed.append((t, t + seconds))
        t = t + seconds
        knots.append((t, last))
        following = events[number + 1][0] if number + 1 < len(events) else at
        held = _between(last, following, at)
        t = t + then
        knots += [(t - 0.75 * then, held), (t - 0.25 * then, held), (t, following)]
    knots += [(t + ROLL_S, 0 * t), (t + ROLL_S + STAND_S, 0 * t)]
    path, braked, temperature = (np.array(one) for one in (knots, pressed, warm))
    return [
        _sampled(path[..., k], braked[..., k], temperature[..., k], float(ambient[k]), *bias, rng) for k in range(n)
    ]


def _as_driven(e: Event, n: int, rng: np.random.Generator) -> tuple[np.ndarray, ...]:
    """Speeds from and to in km/h, seconds, pause in s and the speed that cools alike in it, of each use [n]."""
    off = rng.normal(size=(4, n))
    speeds = (e.first * (1 + SPEEDS * off[0]), e.last * (1 + SPEEDS * off[1]))
    return *speeds, e.seconds * (1 + TIMES * off[2]), e.then * (1 + PAUSES * off[3]), np.full(n, e.at)


def _between(last: np.ndarray, following: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The speed held through half of a pause, at which the mean of v^0.8 is that of `at`; an even pull on either side."""
    low, high = 0.0 * at, 2 * at
    for _ in range(30):
        middle = (low + high) / 2
        pulls = [(a + (middle - a) * (np.arange(50)[:, None] + 0.5) / 50) ** 0.8 for a in (last, following)]
        mean = (pulls[0].mean(axis=0) + pulls[1].mean(axis=0)) / 4 + middle**0.8 / 2
        low, high = np.where(mean < at**0.8, middle, low), np.where(mean < at**0.8, high, middle)
    return (low + high) / 2


def _sampled(
    knots: np.ndarray,
    pressed: np.ndarray,
    warm: np.ndarray,
    ambient: float,
    bias: float,
    air_bias: float,
    rng: np.random.Generator,
) -> pl.DataFrame:
    t = np.arange(0.0, knots[-1, 0], 1 / HZ)
    n = len(t)
    on = ((t[:, None] >= pressed[:, 0]) & (t[:, None] < pressed[:, 1])).any(axis=1)
    true = np.interp(t, warm[:, 0], warm[:, 1])
    keep = 1 - 1 / (HZ * LAG_S)
    shown, _ = lfilter([1 - keep], [1, -keep], true, zi=[keep * true[0]])  # of the first order
    second = np.arange(n) % int(HZ) == 0
    disc = np.where(second, shown + bias + NOISE_K * rng.normal(size=n), np.nan)
    air = np.where(second, ambient + air_bias + AIR_NOISE_K * rng.normal(size=n), np.nan)
    return pl.DataFrame(
        {
            "t": t,
            "v": np.maximum(np.interp(t, knots[:, 0], knots[:, 1]) + 0.3 * rng.normal(size=n), 0),
            "p": np.where(on, 18.0, 0.4) + 0.2 * rng.normal(size=n),
            "disc": np.round(disc, 1),
            "air": np.round(air, 1),
        }
    ).with_columns(pl.col("disc", "air").fill_nan(None))
