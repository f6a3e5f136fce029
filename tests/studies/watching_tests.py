"""Tests to be watched: sound ones of varied programs, bedding, scatter, moisture and fade, and ones that go wrong.

Friction, heat, moisture, glaze and wear are the rig simulator's (`rig_samples.simulator`, at the level of stops). Laid over
them is what that has not and sound tests have: wandering over tens of stops, a daily swing, heavy tails, single stops in
doubt. None of it is a model that the method uses: its scatter is autoregressive from stop to stop, with a shift per block.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.inputs.model import parse
from pipeline.results.findings import Found
from pipeline.vocabulary import STOPS, conform
from pipeline.wear.readings import read_wear
from rig_samples.simulator import MARRAM_4, Brake, Identity, Material, Rig, Sensors, Style, simulate_stops
from rig_samples.simulator.card import card
from rig_samples.simulator.program import (
    BEDDING,
    FADE,
    HOT_USE,
    RECOVERY,
    RIDGE_USE,
    Block,
    check,
    plateau_map,
    temperature_line,
)
from rig_samples.simulator.sensors import Change

GENTLE = Block("valley use", "duty", 20, speed=(900.0, 500.0), pressure=14.0, initial=90.0)
DOUBTED = 0.01  # share of sound stops that carry a finding all the same


class Compound(NamedTuple):
    """What the tests of a compound share: material and rig, and the scatter beside the rig's own."""

    material: Material
    rig: Rig
    wander: float  # standard deviation of a wandering over tens of stops
    swing: float  # of a day
    tails: float  # of t-distributed single deviations, four degrees of freedom


class Watched(NamedTuple):
    """A test as it was run. onset: first stop touched by what is wrong (None: sound); loss: true share of friction lost
    after each stop; worn: true share of the thickness that the disc may lose, used up at the end."""

    card: Card
    stops: pl.DataFrame
    readings: pl.DataFrame
    found: list[Found]
    onset: int | None
    loss: np.ndarray
    worn: float


def compound(rng: np.random.Generator) -> Compound:
    """A compound and its rig, drawn at random."""
    material = MARRAM_4.varied(
        glaze_loss=0.0,
        green=float(rng.uniform(0.05, 0.25)),
        bedding_mj_m2=float(rng.uniform(8.0, 22.0)),
        moisture_soak=float(rng.uniform(0.05, 0.25)),
        transition_c=float(rng.uniform(190.0, 235.0)),
        mu_hot=float(rng.uniform(0.35, 0.55)),
    )
    rig = Rig(
        scatter=float(rng.uniform(0.008, 0.022)),
        scatter_correlation=float(rng.uniform(0.0, 0.5)),
        humidity=float(rng.uniform(0.3, 0.95)),
        level_scatter=float(rng.uniform(0.003, 0.01)),
        start_scatter_k=float(rng.uniform(1.0, 4.0)),
    )
    return Compound(
        material,
        rig,
        wander=float(rng.uniform(0.0, 0.005)),
        swing=float(rng.uniform(0.0, 0.004)),
        tails=float(rng.choice([0.0, 0.006])),
    )


def program(rng: np.random.Generator, *, gentle: int | None = None) -> list[Block]:
    """A program of bedding, map and use with checks between; gentle: so many stretches of gentle use one after the other,
    then hard use, in place of use as it comes."""
    checks = iter(range(1, 99))
    stops = int(rng.integers(4, 7))

    def next_check() -> Block:
        pause = float(rng.uniform(2.0, 16.0)) * 3600.0 if rng.random() < 0.15 else None
        return check(next(checks), stops, reading=bool(rng.random() < 0.5), pause_before=pause)

    cold = tuple(float(t) for t in sorted(rng.choice(np.arange(60.0, 280.0, 20.0), 6, replace=False)))
    blocks = [
        replace(BEDDING, stops=int(rng.integers(16, 34))),
        next_check(),
        *temperature_line(cold),
        next_check(),
        *plateau_map(),
        next_check(),
    ]
    if gentle is not None:
        uses = [replace(GENTLE, stops=22)] * gentle + [replace(RIDGE_USE, stops=14)]
    else:
        kinds = [
            [replace(GENTLE, stops=int(rng.integers(8, 30)))],
            [replace(RIDGE_USE, stops=int(rng.integers(6, 16)))],
            [replace(HOT_USE, stops=int(rng.integers(6, 12)))],
            [FADE, RECOVERY],
            temperature_line((520.0, 580.0, 640.0)),
        ]
        uses = [block for k in rng.integers(0, len(kinds), int(rng.integers(3, 8))) for block in [*kinds[k], None]]
    for number, use in enumerate(uses, 1):
        if use is None:
            blocks.append(next_check())
        else:
            blocks.append(replace(use, name=f"{use.name}, {number}"))
            blocks += [next_check()] if gentle is not None else []
    return [*blocks[:-1], replace(blocks[-1], reading=True)]


def sound(of: Compound, seed: int, rng: np.random.Generator) -> Watched:
    """A sound test, which uses up 15 to 70 % of what its parts may lose."""
    return _made(of, program(rng), seed, rng, worn=float(rng.uniform(0.15, 0.70)))


def glazing(of: Compound, loss: float, seed: int, rng: np.random.Generator) -> Watched:
    """Gentle use in five stretches that costs about the share `loss` of friction at their end."""
    material = of.material.varied(glaze_loss=loss / 0.66)
    return _made(of._replace(material=material), program(rng, gentle=5), seed, rng, cause="glazing")


def torque_drift(of: Compound, size: float, seed: int, rng: np.random.Generator) -> Watched:
    """A torque chain whose gain begins to drift at stop 80 and is off by `size` a hundred stops later."""
    change = Change(from_stop=80, per_stop=size / 100.0)
    return _made(of, program(rng), seed, rng, cause="torque", sensors=Sensors(torque_gain_change=change))


def worn_out(of: Compound, share: float, seed: int, rng: np.random.Generator) -> Watched:
    """A disc of which the program uses up more than there is."""
    return _made(of, program(rng), seed, rng, cause="wear", worn=share)


def sensor_fault(of: Compound, seed: int, rng: np.random.Generator) -> Watched:
    """A thermocouple that is off from a stop on: a finding at each stop from there."""
    test = _made(of, program(rng), seed, rng)
    first = int(rng.integers(30, test.stops.height - 40))
    found = [_found(n, "thermocouple_open") for n in range(first, test.stops.height + 1)]
    return test._replace(found=[*test.found, *found], onset=first)


def _made(
    of: Compound,
    blocks: list[Block],
    seed: int,
    rng: np.random.Generator,
    *,
    cause: str | None = None,
    worn: float = 0.4,
    sensors: Sensors | None = None,
) -> Watched:
    made = simulate_stops(blocks, of.material, seed=seed, rig=of.rig, sensors=sensors)
    n = made.stops.height
    factor = np.exp(_besides(of, n, rng))
    stops = made.stops.with_columns(pl.col("mu", "torque_nm") * pl.Series(factor))
    lost = float(made.wear_truth["disc_um"][-1]) / 1e3, float(made.wear_truth["pad_inner_um"][-1]) / 1e3
    brake = replace(
        Brake(),
        disc_minimum_mm=Brake().disc_thickness_mm - lost[0] / worn,
        pad_minimum_mm=max(2.0, Brake().pad_thickness_mm - lost[1] / min(worn, 0.7)),
    )
    found = [_found(int(k) + 1, str(rng.choice(_CODES))) for k in np.flatnonzero(rng.random(n) < DOUBTED)]
    onset = {
        None: None,
        "glazing": next((i + 1 for i, row in enumerate(made.truth["purpose"]) if row == "duty"), None),
        "torque": 80,
        "wear": 1,
    }[cause]
    return Watched(
        _card(blocks, of, made.disc, brake),
        conform(stops, STOPS),
        made.wear,
        found,
        onset,
        of.material.glaze_loss * made.truth["glaze"].to_numpy(),
        worn,
    )


_CODES = ("time_gap", "dropout", "held_value", "clipped_end")


def _found(stop: int, code: str) -> Found:
    return Found(code=code, severity="suspect", stop=stop, message=f"stop {stop}: as simulated")


def _besides(of: Compound, n: int, rng: np.random.Generator) -> np.ndarray:
    """ln of what a test's friction does besides the simulator's, at each of n stops."""
    steps = rng.standard_normal(n)
    wandering = np.zeros(n)
    for k in range(1, n):
        wandering[k] = 0.96 * wandering[k - 1] + np.sqrt(1 - 0.96**2) * steps[k]
    day = of.swing * np.sin(2 * np.pi * (np.arange(n) / float(rng.uniform(60.0, 160.0)) + rng.random()))
    tails = of.tails * np.clip(rng.standard_t(4, n), -6.0, 6.0)
    return of.wander * wandering + day + tails


def _card(blocks: list[Block], of: Compound, disc: object, brake: Brake) -> Card:
    who = Identity(of.material.name, "M4-1", "A", "2026-01-12")
    columns = ["time_s", "speed_rpm", "torque_nm", "pressure_bar", "disc_temperature_c"]
    content = card(who, blocks, of.material, brake, of.rig, disc, columns, Style())  # type: ignore[arg-type]
    return parse(content, Card, "test.yaml")


def readings_of(test: Watched, room: Path) -> pl.DataFrame:
    """The wear readings as the tool reads them from a file."""
    path = room / "wear.csv"
    test.readings.write_csv(path)
    return read_wear(path)[0]
