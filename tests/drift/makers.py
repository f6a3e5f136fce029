"""Invented tests with a known drift, at stop level: what the reduction would hand to the drift stage.

Friction of a stop follows the mean of an S-shaped law over the temperatures that the surface passes through, small
slopes in pressure and speed, bedding, moisture after pauses, glaze that grows with energy where the surface is cold and
the power low and is worn off where it is hot and the power high; on it lies a scatter that neighbours share in part.
Sensors may drift. Every number is invented.
"""

from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.vocabulary import STOPS, conform


class Block(NamedTuple):
    """Stops alike: speeds rpm, pressure bar, initial temperature degC (rising by `rise` a stop), pause before in s."""

    name: str
    purpose: str
    stops: int
    speed: tuple[float, float] = (1450.0, 850.0)
    pressure: float = 25.0
    initial: float = 300.0
    rise: float = 0.0
    pause: float = 0.0


def check(number: int, stops: int = 5, pause: float = 0.0) -> Block:
    return Block(f"check {number}", "check", stops, pause=pause)


BEDDING = Block("bed-in", "bedding", 26, (1600.0, 650.0), 30.0, 230.0)
VALLEY = Block("valley use", "duty", 22, (900.0, 500.0), 14.0, 90.0)
RIDGE = Block("ridge use", "duty", 12, (1900.0, 700.0), 55.0, 360.0)
FADE = Block("fade", "fade", 11, (1900.0, 700.0), 42.0, 220.0, rise=34.0)
RECOVERY = Block("recovery", "recovery", 6, initial=250.0)


def line(temperatures: tuple[float, ...], stops: int = 2) -> list[Block]:
    return [Block(f"map {t:g} C", "map", stops, initial=t) for t in temperatures]


def plateau(stops: int = 1) -> list[Block]:
    rows = ((12.0, 1450.0, 850.0), (50.0, 1450.0, 850.0), (25.0, 1950.0, 1550.0), (35.0, 1450.0, 450.0))
    return [
        Block(f"map {t:g} C {p:g} bar {a:g}-{b:g}", "map", stops, (a, b), p, t)
        for t in (260.0, 400.0)
        for p, a, b in rows
    ]


def short_program() -> list[Block]:
    """A characterisation: about 150 stops, 31 of them checks, little low-energy use."""
    return [
        BEDDING, check(1, 6), *line((60.0, 100.0, 140.0, 180.0, 220.0, 260.0)), *plateau(2), check(2),
        *line((520.0, 580.0, 620.0, 660.0)), check(3), VALLEY._replace(stops=10), check(4), FADE, RECOVERY, check(5),
        RIDGE, check(6),
    ]  # fmt: skip


def long_program(exposures: int = 5, stops: int = 22, *, recovery: bool = True, after_each: bool = True) -> list[Block]:
    """Long low-energy use between checks, then high-energy use: about 250 stops, 59 of them checks."""
    blocks = [
        BEDDING,
        check(1, 6),
        *line((60.0, 100.0, 140.0, 180.0, 220.0, 260.0, 400.0, 500.0)),
        check(2),
        *plateau(1),
        check(3, 6),
    ]
    for k in range(exposures):
        blocks.append(VALLEY._replace(name=f"valley use {k + 1}", stops=stops))
        if after_each or k == exposures - 1:
            blocks.append(check(4 + k))
    blocks.append(check(4 + exposures))
    if recovery:
        blocks += [
            RIDGE._replace(stops=16),
            check(5 + exposures, 6),
            RIDGE._replace(name="ridge use 2", stops=8),
            check(6 + exposures, 6),
        ]
    return blocks


@dataclass(frozen=True)
class Truth:
    """What happens to a test. Losses and gains as shares; `from_stop` counts from 1 (0: never)."""

    sigma: float = 0.018
    rho: float = 0.25
    block_sigma: float = 0.003
    ratio_sigma: float = 0.003
    glaze_loss: float = 0.0  # of mu at the last check before high-energy use
    glaze_from: int = 0  # 0: as soon as there is low-energy use
    glaze_stops: float = 60.0  # low-energy stops to 63 %
    clearing_stops: float = 3.0  # high-energy stops to 37 %; infinite: never
    green: float = 0.0  # loss left when the bedding block ends
    bedding_stops: float = 30.0
    soak: float = 0.0  # loss of the first stop after a pause
    soak_stops: float = 1.5
    hot_loss: float = 0.0  # per 100 K above the checks' temperature, in undeclared hot use
    torque_step: tuple[int, float] = (0, 0.0)
    torque_ramp: tuple[int, float] = (0, 0.0)  # from stop, share reached at the test's end
    pressure_step: tuple[int, float] = (0, 0.0)  # of the gain by which the rig also controls
    pressure_ramp: tuple[int, float] = (0, 0.0)
    recorder_ramp: tuple[int, float] = (0, 0.0)  # of the recorder's gain alone
    offset_ramp: tuple[int, float] = (0, 0.0)  # bar reached at the end, seen at rest, not taken off
    surface_step: tuple[int, float] = (0, 0.0)  # a lasting loss without exposure (contamination)
    ratio_missing: bool = False
    program: list[Block] = field(default_factory=long_program)


class Made(NamedTuple):
    """Stops table, first truly affected stop by glaze (None without), true loss at the last check before recovery."""

    stops: pl.DataFrame
    glaze_onset: int | None
    loss: float


def made(truth: Truth, seed: int) -> Made:
    """The stops of one test."""
    rng = np.random.default_rng(seed)
    rows = _plan(truth.program)
    n = len(rows["stop"])
    temperature = rows["initial"] + 2.0 * rng.standard_normal(n)
    pressure = rows["pressure"] * (1 + 0.006 * rng.standard_normal(n))
    start, end = rows["start"] + 2.5 * rng.standard_normal(n), rows["end"]
    energy = 0.5 * 26.0 * ((start * np.pi / 30) ** 2 - (end * np.pi / 30) ** 2) / 1e3
    rise = energy / (1.62 * 1.3)
    mu = _law(temperature, temperature + 1.6 * rise + 60)
    mu = mu * (1 - 0.035 * np.log(pressure / 25)) * (1 - 0.045 * np.log((start + end) / 2300))
    torque = 2 * 0.97 * 1e5 * 2.4e-3 * 0.126 * (pressure - 0.4) * mu
    power = torque * (start + end) / 2 * np.pi / 30 / 9400
    glaze, onset, loss = _glaze(truth, rows, temperature, power)
    ln = np.log1p(-glaze) + _scatter(truth, rows, rng)
    ln += np.log1p(-np.minimum(0.5, truth.green * np.exp((rows["bedded"] - rows["stop"]) / truth.bedding_stops)))
    ln += np.log1p(-truth.soak * np.exp(-rows["since_pause"] / truth.soak_stops) * (rows["since_pause"] < 1e6))
    ln += np.log1p(-truth.hot_loss * np.maximum(0, temperature - 320) / 100 * (rows["purpose"] == "duty"))
    ln += np.log1p(-_step(rows, truth.surface_step))
    gain = _step(rows, truth.torque_step) + _ramp(rows, truth.torque_ramp)
    control = _step(rows, truth.pressure_step) + _ramp(rows, truth.pressure_ramp)
    recorder = _ramp(rows, truth.recorder_ramp)
    offset = _ramp(rows, truth.offset_ramp)
    seen = mu * np.exp(ln) * (1 + gain) / (1 + control) / (1 + recorder) * pressure / (pressure + offset)
    ratio = (1 + gain) * (1 + truth.ratio_sigma * rng.standard_normal(n))
    frame = pl.DataFrame({
        "stop": rows["stop"], "file": [f"recordings/{i:04d}.csv" for i in rows["stop"]], "block": rows["name"].tolist(),
        "purpose": rows["purpose"].tolist(), "kind": ["snub"] * n, "start_s": rows["clock"], "end_s": rows["clock"] + 3.0,
        "duration_s": np.full(n, 3.0), "speed_start_rpm": start, "speed_end_rpm": end,
        "pressure_bar": pressure * (1 + recorder) + offset, "torque_nm": torque * (1 + gain) * np.exp(ln), "mu": seen,
        "mu_u": 0.01 * seen, "temperature_initial_c": temperature, "temperature_mean_c": temperature + rise,
        "energy_kj": energy * ratio, "kinetic_energy_kj": np.full(n, np.nan) if truth.ratio_missing else energy,
        "energy_ratio": np.full(n, np.nan) if truth.ratio_missing else ratio,
        "power_density_w_mm2": power * np.exp(ln) * (1 + gain), "status": ["ok"] * n, "run_number": rows["stop"],
        "control": ["pressure"] * n, "idle_before_s": rows["idle"], "target_pressure_bar": rows["pressure"],
        "target_temperature_c": rows["initial"], "pressure_plateau_bar": pressure * (1 + recorder) + offset,
        "pressure_rest_bar": 0.12 + offset + 0.015 * rng.standard_normal(n),
    })  # fmt: skip
    return Made(conform(frame, STOPS), onset, loss)


def _plan(program: list[Block]) -> dict[str, np.ndarray]:
    rows: dict[str, list] = {k: [] for k in ("name", "purpose", "start", "end", "pressure", "initial", "idle", "block")}
    for b, block in enumerate(program):
        for k in range(block.stops):
            rows["name"].append(block.name)
            rows["purpose"].append(block.purpose)
            rows["start"].append(block.speed[0])
            rows["end"].append(block.speed[1])
            rows["pressure"].append(block.pressure)
            rows["initial"].append(block.initial + block.rise * k)
            rows["idle"].append(block.pause if k == 0 and block.pause else 34.0 if block.purpose == "fade" else 100.0)
            rows["block"].append(b)
    out = {k: np.array(v) for k, v in rows.items()}
    n = len(out["name"])
    out["stop"] = np.arange(1, n + 1)
    out["clock"] = np.cumsum(out["idle"] + 3.0)
    beds = np.flatnonzero(out["purpose"] == "bedding")
    out["bedded"] = np.full(n, out["stop"][beds[-1]] if len(beds) else 1)
    since = np.full(n, 1e9)
    for start in np.flatnonzero(out["idle"] > 3600):
        since[start:] = np.arange(n - start)
    out["since_pause"] = since
    return out


def _law(low: np.ndarray, high: np.ndarray) -> np.ndarray:
    """Mean of 0.155 + 0.315 S((T - 172)/12) over the temperatures from low to high."""

    def integral(t: np.ndarray) -> np.ndarray:
        return 12.0 * np.logaddexp(0, (t - 172.0) / 12.0)

    return 0.155 + 0.315 * (integral(high) - integral(low)) / (high - low)


def _logistic(x: np.ndarray) -> np.ndarray:
    return 1 / (1 + np.exp(-np.clip(x, -40, 40)))


def _glaze(
    truth: Truth, rows: dict, temperature: np.ndarray, power: np.ndarray
) -> tuple[np.ndarray, int | None, float]:
    n = len(temperature)
    if truth.glaze_loss <= 0:
        return np.zeros(n), None, 0.0
    growth = _logistic((235 - temperature) / 15) * _logistic((4.0 - power) / 0.6) / truth.glaze_stops
    growth[rows["stop"] < truth.glaze_from] = 0.0
    growth[growth < 1e-4] = 0.0
    if truth.glaze_from == 0:
        growth[np.cumsum(rows["purpose"] == "duty") == 0] = 0.0
    removal = _logistic((temperature - 250) / 15) * _logistic((power - 14.0) / 0.8) / truth.clearing_stops
    state, g = np.zeros(n), 0.0
    for i in range(n):
        state[i] = g
        g = g + growth[i] * (1 - g) - min(1.0, removal[i]) * g
    onset = int(rows["stop"][np.argmax(state > 0)]) if (state > 0).any() else None
    hard = np.flatnonzero((removal > 0.1 / truth.clearing_stops) & (rows["stop"] > (onset or 0)))
    end = hard[0] if len(hard) and onset else n
    checks = np.flatnonzero((rows["purpose"] == "check") & (np.arange(n) < end))
    reached = state[rows["block"] == rows["block"][checks[-1]]].mean() if len(checks) else 0.0
    if onset is None or not len(checks) or rows["stop"][checks[-1]] < onset:  # no check after the use
        reached = state[:end].max()
    loss = state * truth.glaze_loss / max(reached, 1e-9)
    return np.minimum(loss, 0.9), onset, truth.glaze_loss


def _scatter(truth: Truth, rows: dict, rng: np.random.Generator) -> np.ndarray:
    n = len(rows["stop"])
    noise = rng.standard_normal(n)
    out = np.empty(n)
    out[0] = noise[0]
    for i in range(1, n):
        out[i] = truth.rho * out[i - 1] + np.sqrt(1 - truth.rho**2) * noise[i]
    shift = truth.block_sigma * rng.standard_normal(rows["block"].max() + 1)
    return truth.sigma * out + shift[rows["block"]]


def _step(rows: dict, step: tuple[int, float]) -> np.ndarray:
    return np.where(rows["stop"] >= step[0], step[1], 0.0) if step[0] else np.zeros(len(rows["stop"]))


def _ramp(rows: dict, ramp: tuple[int, float]) -> np.ndarray:
    if not ramp[0]:
        return np.zeros(len(rows["stop"]))
    return ramp[1] * np.clip((rows["stop"] - ramp[0] + 1) / (rows["stop"][-1] - ramp[0] + 1), 0, None)


def with_readings(program: list[Block], pause: float = 18000.0) -> list[Block]:
    """The program with the disc off the rig for a wear reading before every third check."""
    out, checks = [], 0
    for block in program:
        checks += block.purpose == "check"
        out.append(block._replace(pause=pause) if block.purpose == "check" and checks % 3 == 0 else block)
    return out


def other(truth: Truth, **changes: object) -> Truth:
    """The same test with some of its truth changed."""
    return replace(truth, **changes)  # type: ignore[arg-type]
