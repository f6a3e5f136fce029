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
MOST_OF_SPEED = 0.9  # of the kinetic energy that one stop may take


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
    """(start and end speed in rad/s, torque in N m) of a snub of that energy and power on the rig's inertia."""
    area, inertia, events = rig.brake.rubbing.friction_area, rig.cards[0].inertia, rig.events
    run = [float(top) for one in rig.stops if (top := one["speed_start_rpm"].max()) is not None]  # type: ignore[arg-type]
    power = events.energy / events.brake_time / area / 1e6
    like = int(np.argmin(np.abs(power - use.power)))
    start = min(float(events.start[like]) / rig.radius, max(run, default=np.inf) * RAD_PER_S)
    energy = min(use.energy * area * 1e6, MOST_OF_SPEED * inertia * start**2 / 2)
    end = float(np.sqrt(start**2 - 2 * energy / inertia))
    return start, end, float(round(use.power * area * 1e6 * 2 / (start + end)))


def on_rig(rig: Rig, use: Gentle) -> Gentle:
    """The use with the energy that one stop on the rig takes, and so many stops more as make its work."""
    start, end, _ = _braking(rig, use)
    energy = rig.cards[0].inertia * (start**2 - end**2) / 2 / (rig.brake.rubbing.friction_area * 1e6)
    return replace(use, energy=energy, stops=max(round(use.stops * use.energy / energy), 1))


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
