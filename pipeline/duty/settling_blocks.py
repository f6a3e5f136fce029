"""The blocks of the test that settles a duty's glazing, in a card's form, on the rig and brake of the compound's first test."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.archive.block import Block
from pipeline.archive.card import Card
from pipeline.constants import RAD_PER_S
from pipeline.duty.cycle import Events
from pipeline.duty.project import Brake

HARD = "hard use"
LAST_CHECKS = 6  # after hard use that nothing gentle follows
HARD_STOPS, HARDER = 12, 1.3
MOST_OF_TOP = 0.9  # of the highest speed that the tests ran, for the mean of a snub
MOST_OF_MIDDLE = 0.5  # of the mean speed, from it to either end of a snub: nine tenths of the kinetic energy go


@dataclass(frozen=True)
class Gentle:
    """Alike stops of gentle use: W/mm2 and J/mm2 of pad, degC at their start, and how many."""

    power: float
    temperature: float
    energy: float
    stops: int


@dataclass(frozen=True)
class Rig:
    """What the blocks are built from: the duty's events and the radius (m) that turns the vehicle's speed into the shaft's, the
    brake, and the tests' cards and stops.
    """

    events: Events
    radius: float
    brake: Brake
    cards: Sequence[Card]
    stops: Sequence[pl.DataFrame]

    @property
    def check(self) -> Block | None:
        """The tests' check block."""
        return next((b for card in self.cards for b in card.blocks if b.purpose == "check"), None)


def blocks_of(rig: Rig, checks: int, uses: Sequence[Sequence[Gentle]], before: int | None = None) -> list[Block]:
    """Checks, gentle use, checks and, where the tests ran any, hard use and checks; again for each further use. A use has blocks of alike stops.

    before: check stops on the clean faces before a use, where they are not as many as after it.
    """
    assert rig.check is not None
    hard = hardest(rig.cards, rig.stops)
    found: list[Block] = []

    def check(count: int) -> Block:
        number = sum(b.purpose == "check" for b in found) + 1
        return rig.check.model_copy(update={"name": f"check {number}", "stops": count, "pause_before": None})  # type: ignore[union-attr]

    before = before or checks
    found.append(check(before))
    for number, use in enumerate(uses, 1):
        name = f"gentle use {number}" if len(uses) > 1 else "gentle use"
        names = [name] if len(use) == 1 else [f"{name}, {i}" for i in range(1, len(use) + 1)]
        found += [gentle_block(rig, one, own) for one, own in zip(use, names, strict=True)]
        found += [check(checks)]
        if hard is not None:
            found += [hard.model_copy(update={"name": HARD if number == 1 else f"{HARD} {number}"})]
            found += [check(LAST_CHECKS if number == len(uses) else before)]
    return found


def gentle_block(rig: Rig, use: Gentle, name: str) -> Block:
    """Snubs at torque held by the rig: what friction is there may not be known."""
    start, end, torque = _braking(rig, use)
    return Block.model_validate(
        {
            "name": name,
            "purpose": "duty",
            "kind": "snub",
            "stops": use.stops,
            "speed": [f"{start / RAD_PER_S:.1f} rpm", f"{end / RAD_PER_S:.1f} rpm"],
            "control": "torque",
            "torque": f"{torque:.0f} N m",
            "initial_temperature": f"{use.temperature:g} degC",
        }
    )


def _braking(rig: Rig, use: Gentle) -> tuple[float, float, float]:
    """(start and end speed in rad/s, torque in N m) of a snub of that energy and power on the rig's inertia, as far as its speeds go.

    About the mean speed of the duty's braking: at its power a stop then takes as long and slides as far for the same work, whatever the
    inertia.
    """
    area = rig.brake.rubbing.friction_area
    middle, most = _speeds(rig, use)
    half = min(use.energy * area * 1e6 / rig.cards[0].inertia / middle / 2, most)
    return middle + half, middle - half, float(round(use.power * area * 1e6 / middle))


def _speeds(rig: Rig, use: Gentle) -> tuple[float, float]:
    """(mean speed in rad/s of the duty's braking of that power, how far a snub about it may go to either side).

    A mean speed that the rig was never run at is left for the highest that it was.
    """
    events = rig.events
    run = [float(top) for one in rig.stops if (top := one["speed_start_rpm"].max()) is not None]  # type: ignore[arg-type]
    top = max(run, default=np.inf) * RAD_PER_S
    power = events.energy / events.brake_time / rig.brake.rubbing.friction_area / 1e6
    like = int(np.argmin(np.abs(power - use.power)))
    middle = min(float(events.start[like] + events.end[like]) / 2 / rig.radius, MOST_OF_TOP * top)
    return middle, min(top - middle, MOST_OF_MIDDLE * middle)


def on_rig(rig: Rig, use: Gentle) -> Gentle:
    """The same work in stops that the rig takes: as they are, or as many more as make each small enough."""
    middle, half = _speeds(rig, use)
    most = rig.cards[0].inertia * 2 * middle * half / (rig.brake.rubbing.friction_area * 1e6)
    stops = max(int(np.ceil(use.stops * use.energy / most - 1e-9)), use.stops)
    return replace(use, energy=use.stops * use.energy / stops, stops=stops)


def hardest(cards: Sequence[Card], stops: Sequence[pl.DataFrame]) -> Block | None:
    """The tests' hardest block of use, where it is clearly harder than the checks."""
    found: list[tuple[float, Block]] = []
    check = 0.0
    mean = pl.col("power_density_w_mm2").mean()
    for card, one in zip(cards, stops, strict=True):
        power = {str(name): float(p or 0.0) for name, p in one.group_by("block").agg(mean).iter_rows()}
        found += [
            (power.get(b.name, 0.0), b) for b in card.blocks if b.purpose in ("duty", "fade") and b.kind != "drag"
        ]
        check = max([check, *(power.get(b.name, 0.0) for b in card.blocks if b.purpose == "check")])
    power_of, block = max(found, key=lambda pair: pair[0], default=(0.0, None))
    if block is None or power_of < HARDER * check:
        return None
    count = max(block.stops, HARD_STOPS)
    return block.model_copy(
        update={"name": HARD, "purpose": "duty", "stops": count, "pause_before": None, "interval": None}
    )
