"""Tests of an invented compound as the rig ran them, and as its archive tells them: stops, traces, card, readings.

The rig brings the disc to each stop's initial temperature, by its air or its heater; the film that gentle use leaves lowers
friction, so that stops take longer; everything between two readings wears.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.integrate import cumulative_trapezoid

from pipeline.archive.card import Card
from pipeline.inputs.model import parse
from pipeline.vocabulary import TRACES, conform
from pipeline.wear.readings import SCHEMA
from tests.makers import stops_frame
from tests.studies.decision_compounds import Block, Compound, Specimen
from tests.studies.decision_world import CELLS, ZERO_K, brake, cooled

AMBIENT_C, HEATER_K_S, LEAST_PAUSE_S, START_SD_K, PRESSURE_SD = 22.0, 4.0, 2.0, 1.5, 0.008
SHOWN_SD_K, ALIKE, SAMPLES = 0.4, 0.25, 48
POINTS, REPEATS = 6, 2


@dataclass(frozen=True)
class Run:
    """A test as it was; arrays over its stops. film: at the start of each stop and at the test's end [n + 1]; abraded, oxidised:
    um of the disc."""

    specimen: Specimen
    block: list[Block]
    start_c: np.ndarray
    bar: np.ndarray
    mu: np.ndarray
    seconds: np.ndarray
    idle: np.ndarray  # after each stop
    mj: np.ndarray
    mean_after_c: np.ndarray
    film: np.ndarray
    abraded: np.ndarray
    oxidised: np.ndarray
    power: np.ndarray  # mean over the braking, W/mm2 of pad


def run(of: Compound, rng: np.random.Generator | None = None) -> list[Run]:
    """The tests of all its specimens; nothing scatters without `rng`."""
    blocks = [[b for b in s.program for _ in range(b.stops)] for s in of.specimens]
    every, count = [b for own in blocks for b in own], [len(own) for own in blocks]
    ends = np.cumsum(count)
    n = len(every)
    z = (lambda: np.zeros(n)) if rng is None else (lambda: rng.normal(size=n))
    start = np.array([b.start_c for b in every]) + START_SD_K * z()
    bar = np.array([b.bar for b in every]) * (1 + PRESSURE_SD * z())
    first, last = (np.array([getattr(b, k) for b in every]) * np.pi / 30 for k in ("first", "last"))
    work = of.inertia * (first**2 - last**2) / 2
    scatter = np.concatenate([_scatter(of, own, rng) for own in blocks])
    following = np.append(start[1:], np.nan)
    following[ends - 1] = np.nan
    film = np.zeros(n)
    held, wanted = np.array([b.held for b in every]), bar
    clean = of.mu(np.array([b.start_c for b in every]))
    for _ in range(2):  # first without what the film does to friction
        mu = of.mu(start) * (1 - of.film.cover * film) * scatter
        bar = np.where(held, wanted * clean / mu, wanted)
        torque = 2 * mu * bar * 1e5 * of.piston * of.radius
        seconds = of.inertia * (first - last) / torque
        made = _rested(of, start, following, work, first, last, seconds)
        power, path = work / seconds / (2 * of.pad_area) / 1e6, of.radius * (first + last) / 2 * seconds
        films = [
            _films(of, made.face, power, path, work / 1e6, slice(e - c, e)) for e, c in zip(ends, count, strict=True)
        ]
        film = np.concatenate([f[:-1] for f in films])
    found = []
    for s, own, e, c, f in zip(of.specimens, blocks, ends, count, films, strict=True):
        rows = slice(e - c, e)
        abraded = s.abrasion * of.wear.per_mj * work[rows] / 1e6
        found.append(
            Run(s, own, start[rows], bar[rows], mu[rows], seconds[rows], made.idle[rows], work[rows] / 1e6,
                made.mean_after[rows] - ZERO_K, f, abraded, s.oxidation * made.oxidised[rows], power[rows])
        )  # fmt: skip
    return found


@dataclass(frozen=True)
class _Rested:
    face: np.ndarray  # over the braking's work, K
    idle: np.ndarray
    oxidised: np.ndarray
    mean_after: np.ndarray  # K, once the disc is even


def _rested(of: Compound, start_c, following_c, work, first, last, seconds) -> _Rested:
    """The stops and the pauses after them: until the disc's mean is where the next begins, from which it is taken to be even; it
    conducts while it evens out, then cools as one. A disc that is colder than wanted by then is heated."""
    body, ambient, n = of.body, AMBIENT_C + ZERO_K, len(work)
    profile = np.repeat((start_c + ZERO_K)[:, None], CELLS, axis=1)
    even = max(6.0, 4 * (body.thickness / 2) ** 2 * body.density * 1500 / (np.pi**2 * body.conductivity))
    g = np.full(n, of.rig_g)
    made = brake(body, profile, work, first, last, seconds, np.full(n, even), (g, g), ambient)
    mean = made.after_mean[-1]
    wanted = np.where(np.isnan(following_c), ambient + 8.0, following_c + ZERO_K)
    early = np.array(
        [np.interp(-w, -m, t) for w, m, t in zip(wanted, made.after_mean.T, made.after_time.T, strict=True)]
    )
    early = np.where(wanted > made.after_mean[0], even, np.maximum(early, LEAST_PAUSE_S))
    time, kelvin = cooled(body, mean, np.minimum(wanted, mean - 0.01), of.rig_g, ambient)
    time = np.where(wanted < mean, time, 0.0)
    heated = np.where(wanted > made.after_mean[0], (wanted - mean) / HEATER_K_S, 0.0)
    up = np.linspace(0, 1, 40)[:, None]
    oxidised = (
        _over(of, made.time, made.face) + _over(of, made.after_time, made.after_face, early) + _over(of, time, kelvin)
    )
    warming = _over(of, heated * up, mean + (wanted - mean) * up)  # after a reading that lies between: the next stop's
    oxidised[1:] += warming[:-1]
    return _Rested(made.face_over_work, early + time[-1] + heated, oxidised, mean)


def _over(of: Compound, time: np.ndarray, kelvin: np.ndarray, until: np.ndarray | None = None) -> np.ndarray:
    """um oxidised along histories [k, n], all of them or until a time [n]."""
    rate = of.wear.oxidised(kelvin, np.ones_like(kelvin))
    gone = cumulative_trapezoid(rate, time, axis=0, initial=0.0)
    if until is None:
        return gone[-1]
    return np.array([np.interp(u, t, x) for u, t, x in zip(until, time.T, gone.T, strict=True)])


def _films(of: Compound, face, power, path, mj, rows: slice) -> np.ndarray:
    g = [0.0]
    for row in zip(face[rows], power[rows], path[rows], mj[rows], strict=True):
        g.append(float(of.film.after(np.array(g[-1]), *map(np.array, row))))
    return np.array(g)


def _scatter(of: Compound, blocks: list[Block], rng: np.random.Generator | None) -> np.ndarray:
    """Of single stops' friction, neighbours alike, and a small shift of each block."""
    n = len(blocks)
    if rng is None:
        return np.ones(n)
    x = rng.normal(size=n)
    for k in range(1, n):
        x[k] = ALIKE * x[k - 1] + np.sqrt(1 - ALIKE**2) * x[k]
    number = np.cumsum([0] + [a.name != b.name for a, b in zip(blocks[1:], blocks, strict=False)])
    return np.exp(of.scatter * x + rng.normal(0, 0.001, number.max() + 1)[number])


def stops_of(of: Compound, test: Run, rng: np.random.Generator) -> pl.DataFrame:
    """The stops table."""
    b, n = test.block, len(test.block)
    first, last, wanted = (np.array([getattr(x, k) for x in b]) for k in ("first", "last", "start_c"))
    middle = (first + last) / 2 * np.pi / 30
    shown = test.start_c + of.bias_k + rng.normal(0, SHOWN_SD_K, n)
    begins = 60.0 + np.concatenate([[0.0], np.cumsum(test.seconds + test.idle)[:-1]])
    area, bar = 2 * of.pad_area * 1e6, np.array([x.bar for x in b])
    torque = 2 * test.mu * test.bar * 1e5 * of.piston * of.radius
    end = test.mean_after_c + of.bias_k
    return stops_frame(
        n, block=[x.name for x in b], purpose=[x.purpose for x in b], start_s=begins, end_s=begins + test.seconds,
        duration_s=test.seconds, speed_start_rpm=first, speed_end_rpm=last, pressure_bar=test.bar, torque_nm=torque,
        mu=test.mu, mu_bite=test.mu, mu_start=test.mu, mu_end=test.mu, mu_time=test.mu, mu_distance=test.mu, mu_energy=test.mu,
        temperature_initial_c=shown, temperature_end_c=end, temperature_mean_c=(shown + end) / 2,
        temperature_peak_c=end, energy_kj=1e3 * test.mj, kinetic_energy_kj=1e3 * test.mj,
        energy_density_j_mm2=1e6 * test.mj / area, power_density_w_mm2=test.power,
        sliding_distance_m=of.radius * middle * test.seconds, idle_before_s=np.append(np.nan, test.idle[:-1]),
        target_pressure_bar=bar, target_temperature_c=wanted, pressure_plateau_bar=test.bar,
        window_end_s=test.seconds, ambient_c=AMBIENT_C, temperature_final_c=end,
    )  # fmt: skip


def traces_of(of: Compound, test: Run, stops: pl.DataFrame) -> pl.DataFrame:
    """The braking of each stop, even samples: constant torque, a speed that falls evenly, a thermocouple that says little."""
    n, x = len(test.mj), np.linspace(0, 1, SAMPLES)
    first, last, start, torque = (
        stops[k].to_numpy() for k in ("speed_start_rpm", "speed_end_rpm", "temperature_initial_c", "torque_nm")
    )
    flat = {
        "stop": np.repeat(np.arange(1, n + 1), SAMPLES),
        "time_s": (test.seconds[:, None] * x).ravel(),
        "speed_rpm": (first[:, None] + (last - first)[:, None] * x).ravel(),
        "torque_nm": np.repeat(torque, SAMPLES),
        "pressure_bar": np.repeat(test.bar, SAMPLES),
        "disc_temperature_c": np.repeat(start, SAMPLES),
        "mu": np.repeat(test.mu, SAMPLES),
    }
    return conform(pl.DataFrame(flat), TRACES)


def readings_of(of: Compound, test: Run, rng: np.random.Generator) -> pl.DataFrame:
    """The disc's thickness after each block that is read, every point twice, as a wear file is read."""
    gone = np.concatenate([[0.0], np.cumsum(test.abraded + test.oxidised)])
    after = [0] + [
        k + 1
        for k, b in enumerate(test.block)
        if b.read and (k + 1 == len(test.block) or test.block[k + 1].name != b.name)
    ]
    place = rng.normal(0, 12, POINTS)
    rows = []
    for stop in after:
        for point in range(POINTS):
            for _ in range(REPEATS):
                um = 28000.0 + place[point] - gone[stop] + rng.normal(0, of.reading_um)
                rows.append((len(rows) + 2, stop, "disc", "thickness", str(point + 1), None, round(um, 1) * 1e-6, 1e-7))
    return pl.DataFrame(rows, schema=SCHEMA, orient="row")


def card_of(of: Compound, s: Specimen, blocks: list[dict] | None = None) -> Card:
    """The test's card: ring, disc and what is stated of it, accuracy of the thermocouple; blocks of its program, or those given."""
    disc = {
        "mass": "1.77 kg", "thickness": "28 mm", "minimum_thickness": f"{28 - of.usable_um / 1e3:g} mm", "density": "1.78 g/cm^3",
        "heat_capacity": "carbon" if of.body.capacity is None else f"{of.body.capacity:.6g} J/(kg K)",
        "emissivity": "0.85", "cooled_area": "950 cm^2",
    }  # fmt: skip
    if of.stated_conductivity is not None:
        disc["conductivity"] = f"{of.stated_conductivity:.6g} W/(m K)"
    if of.stated_share is not None:
        disc["heat_share"] = f"{100 * of.stated_share:g} %"
    units = {"time": "s", "speed": "rpm", "torque": "N m", "pressure": "bar", "disc_temperature": "degC"}
    content = {
        "schema": "1", "compound": "Invented", "batch": s.batch, "specimen": s.letter, "date": "2026-01-05", "rig": "bench",
        "brake": {
            "friction_ring": {"outer_diameter": "296 mm", "inner_diameter": "206 mm"}, "effective_radius": f"{of.radius * 1e3:g} mm",
            "pistons_per_side": [f"{1e3 * np.sqrt(4 * of.piston / np.pi):.5f} mm"], "pad_area": f"{of.pad_area * 1e4:g} cm^2",
            "pads": "2", "disc": disc,
            "pad": {"mass": "0.21 kg", "thickness": "25 mm", "minimum_thickness": "11 mm", "density": "1.78 g/cm^3"},
        },
        "inertia": f"{of.inertia:g} kg m^2", "rolling_radius": "318 mm",
        "recordings": {
            "files": "*.csv", "channels": {name: {"column": name, "unit": unit} for name, unit in units.items()},
            "sensors": {"disc_temperature": {"accuracy": "3 K"}},
        },
        "blocks": blocks or [
            {"name": b.name, "purpose": b.purpose, "kind": "snub", "stops": str(b.stops), "speed": [f"{b.first:g} rpm", f"{b.last:g} rpm"],
             "pressure": f"{b.bar:.4g} bar", "initial_temperature": f"{b.start_c:.5g} degC"}
            for b in s.program
        ],
        "wear": "wear.csv",
    }  # fmt: skip
    return parse(content, Card, "test.yaml").model_copy(update={"test": f"{s.batch}-{s.letter}".lower()})


def program_of(of: Compound, s: Specimen, blocks: list[dict]) -> tuple[Block, ...]:
    """Blocks in a card's form as the rig runs them; a torque that is held is that of a pressure on a clean disc."""
    said = [{k: [str(x) for x in v] if isinstance(v, list) else str(v) for k, v in one.items()} for one in blocks]
    made = []
    for b in card_of(of, s, said).blocks:
        assert b.initial_temperature is not None
        start, first, last = b.initial_temperature - ZERO_K, b.speed_start * 30 / np.pi, b.speed_end * 30 / np.pi
        torque = None if b.torque is None else b.torque / (2 * float(of.mu(np.array(start))) * of.piston * of.radius)
        pascal = b.pressure if b.pressure is not None else torque
        assert pascal is not None, b
        made.append(Block(b.name, b.purpose, start, pascal / 1e5, first, last, b.stops, held=b.torque is not None))
    return tuple(made)
