"""The test that would settle whether a duty glazes where nothing tested excludes it: its conditions, stops, hours and blocks.

It runs at the warm end of the openings that nothing else speaks against, where a film is least likely: harmless there, these
openings are free of reservation; glazing there, the colder ones glaze at least as fast. Its stops are a little gentler and colder
than the gentlest and coldest braking that is not bounded yet, so that by the film's direction alone they bound all of them, at
torque held by the rig, since what friction is there may not be known. There are as many that their loss, where there is none,
bounds the duty's under the target with a chance of nine in ten by the checks' scatter; the cold start of a use takes its part of
the target first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.archive.blocks import as_yaml
from pipeline.archive.card import Block, Card
from pipeline.constants import RAD_PER_S, ZERO_C, Array
from pipeline.duty.cycle import Events
from pipeline.duty.limits import Openings, Run
from pipeline.duty.project import Brake
from pipeline.heat.lumped import cooling_time
from pipeline.results.duty import RigCooling
from pipeline.results.openings import SettlingTest

Flags = NDArray[np.bool_]
GENTLER, COLDER_K = 0.02, 2.0  # under the gentlest and coldest braking that is to be bounded
WITHIN_K = 10.0  # of the warmest opening's coldest braking, the opening tested
CHANCE = 1.28  # standard uncertainties: nine in ten
CHECKS = (6, 8, 10, 12, 16, 20, 24, 32, 40)
LAST_CHECKS = 6  # after the hard use
FEWEST, MOST_STOPS = 20, 600
LEAST_LEFT = 0.1  # of the target, below which no test can settle it
NEGLIGIBLE = 0.05  # of the target: brakings that together may add less need no test
FILLING = 1.1  # mean rate to first rate of a film that begins to fill
HARD_STOPS, HARDER = 12, 1.3
BETWEEN_STOPS_S, USUAL_S = 10.0, 90.0  # on top of cooling down; from stop to stop where the rig's cooling is not known
MOST_OF_SPEED = 0.9  # of the kinetic energy that one stop may take


@dataclass(frozen=True)
class _Conditions:
    """What is to be run: opening index, power W/mm2, degC, J/mm2, stops of the duty that it must speak for, and what is left."""

    k: int
    power: float
    temperature: float
    energy: float
    stops: float
    left: float


def settling(
    events: Events,
    found: Run,
    judged: Openings,
    brake: Brake,
    cards: Sequence[Card],
    stops: Sequence[pl.DataFrame],
    rig: RigCooling | str,
    speed: float,
) -> tuple[SettlingTest | None, str | None]:
    """(the test, None) or (None, why none is named); cards and stops: of the tests, speed: the radius in m that turns the
    vehicle's speed into the shaft's."""  # fmt: skip
    if judged.span is None:
        return None, "no opening holds all else that is asked"
    if all(one.cause != "glazing" for one in judged.not_excluded):
        return None, "what was tested excludes a loss by glazing above the target"
    if brake.film.scatter is None or not any(b.purpose == "check" for card in cards for b in card.blocks):
        return None, "the scatter of matched checks is not known: repeat a block of checks first"
    tried = [(c, _design(c, cards, rig, brake)) for c in _candidates(found, judged, brake)]
    tried = [(c, design) for c, design in tried if c.left >= LEAST_LEFT * brake.glazing_loss]
    if not tried:
        return None, (
            "no test of the duty's own conditions settles it: by what the tests leave open a use's cold start alone may lose more than "
            f"the {brake.glazing_loss:.1%} that the target accepts; test use as cold as that"
        )
    short = [one for one in tried if one[1].gentle <= MOST_STOPS]
    best = max(short, key=lambda one: one[0].temperature) if short else min(tried, key=lambda one: one[1].gentle)
    return _told(*best, events, found, brake, cards, stops, speed), None


def _candidates(found: Run, judged: Openings, brake: Brake) -> list[_Conditions]:
    """Tests at the warmest opening that is open, one for each temperature at which a braking of the use begins: the warmer, the
    more brakings are colder than the test and keep their share of the target.
    """
    assert judged.span is not None
    lost, use = found.losses, found.losses.use
    own = np.flatnonzero((found.opening >= judged.span.low - 1e-9) & (found.opening <= judged.span.high + 1e-9))
    if not own.size:
        own = np.array([int(np.abs(found.opening - (judged.span.low + judged.span.high) / 2).argmin())])
    own = own[lost.high[own] > brake.glazing_loss]
    coldest = use.temperature[-1][:, own].min(axis=0)
    k = int(own[np.flatnonzero(coldest >= coldest.max() - WITHIN_K)[-1]])
    target = -float(np.log1p(-brake.glazing_loss))
    times = np.repeat(use.times, len(use.power))
    start, growth = use.temperature[:, :, k].ravel(), lost.growth[:, :, k].ravel()
    power, energy = (np.tile(x, len(use.temperature)) for x in (use.power, use.energy))
    adds = np.where(times > 0, times * np.where(times > 0, growth, 0.0), 0.0)
    order = np.argsort(adds)
    small = np.zeros(len(adds), bool)
    small[order] = np.cumsum(adds[order]) <= NEGLIGIBLE * target
    asked = ~small & (times > 0)
    return [
        _at(k, float(t), asked, start, power, energy, times, adds, target) for t in np.unique(np.floor(start[asked]))
    ]


def _at(
    k: int, coldest: float, asked: Flags, start: Array, power: Array, energy: Array, times: Array, adds: Array, target: float
) -> _Conditions:  # fmt: skip
    """A test that bounds what starts no colder: the other brakings keep what they may add now."""
    mine = asked & (start >= coldest)
    gentlest = float(power[mine].min())
    own = float(energy[mine & (power <= gentlest)].mean())
    left = target - float(adds[~mine].sum())
    return _Conditions(
        k, gentlest * (1 - GENTLER), coldest - COLDER_K, own, float(energy[mine] @ times[mine]) / own, left
    )


@dataclass(frozen=True)
class _Design:
    """Stops of a check block, gentle stops, uncertainty of the change of ln mu, hours (None: the rig's cooling is not known)."""

    checks: int
    gentle: int
    u: float
    hours: float | None


def _design(c: _Conditions, cards: Sequence[Card], rig: RigCooling | str, brake: Brake) -> _Design:
    """The numbers of stops that take the least time."""
    film = brake.film
    z = film.z_of(1 + film.groups_at(c.power / (1 - GENTLER), c.temperature + COLDER_K)) + CHANCE
    gentle_s = _seconds(c.energy * brake.rubbing.friction_area * 1e6, c.temperature, rig, brake)
    check = next(b for card in cards for b in card.blocks if b.purpose == "check")
    energy = cards[0].inertia * (check.speed_start**2 - check.speed_end**2) / 2
    start = check.initial_temperature
    check_s = None if start is None else _seconds(energy, start - ZERO_C, rig, brake)
    known = gentle_s is not None and check_s is not None
    designs = []
    for count in CHECKS:
        u = film.u_of_checks(count) or np.inf
        gentle = max(int(np.ceil(FILLING * z * u * c.stops / max(c.left, 1e-9))), FEWEST)
        seconds = gentle * (gentle_s or USUAL_S) + (2 * count + LAST_CHECKS) * (check_s or USUAL_S)
        designs.append((seconds, _Design(count, gentle, u, seconds / 3600 if known else None)))
    return min(designs, key=lambda one: one[0])[1]


def _seconds(energy: float, start_c: float, rig: RigCooling | str, brake: Brake) -> float | None:
    """Time from one stop to the next by the rig's cooling: the disc is back at its start."""
    if isinstance(rig, str):
        return None
    from pipeline.heat.capacity import heat_capacity

    start = start_c + ZERO_C
    if start <= rig.ambient + 1:
        return None
    rise = brake.heat_share * energy / (brake.disc.mass * float(heat_capacity(start, brake.disc.material)))
    cooled = cooling_time(start + rise, start, ambient=rig.ambient, conductance=rig.g, disc=brake.disc)
    return float(cooled) + BETWEEN_STOPS_S


def _told(
    c: _Conditions, design: _Design, events: Events, found: Run, brake: Brake, cards: Sequence[Card],
    stops: Sequence[pl.DataFrame], radius: float,
) -> SettlingTest:  # fmt: skip
    checks, gentle, u, hours = design.checks, design.gentle, design.u, design.hours
    blocks = _blocks(c, checks, gentle, events, brake, cards, stops, radius)
    hard = sum(b.stops for b in blocks if b.name == HARD)
    least = -float(np.expm1(-c.left * min(gentle / c.stops, 1.0)))
    text = (
        f"on a bedded specimen: {checks} checks, {gentle} stops at {c.power:.2g} W/mm2 of pad ({blocks[1].torque or 0:.0f} N m held) starting at "
        f"{c.temperature:.0f} °C, {checks} checks" + (f", {hard} hard stops, {LAST_CHECKS} checks" if hard else "")
        + f"; at the rate that matters the gentle stops lose {least:.1%} of friction, told to {u:.1%} by the checks"
    )  # fmt: skip
    why = (
        "by the rig's cool-downs, without heating up between the blocks" if hours else "the rig's cooling is not known"
    )
    return SettlingTest(
        opening=float(found.opening[c.k]),
        power_density_w_mm2=c.power,
        temperature_c=c.temperature,
        energy_density_j_mm2=c.energy,
        gentle_stops=gentle,
        check_stops=checks,
        hard_stops=hard,
        least_loss=least,
        u=u,
        hours=hours,
        hours_why=why,
        blocks=as_yaml(blocks),
        text=text,
    )


HARD = "hard use"


def _blocks(
    c: _Conditions, checks: int, gentle: int, events: Events, brake: Brake, cards: Sequence[Card],
    stops: Sequence[pl.DataFrame], radius: float,
) -> list[Block]:  # fmt: skip
    """Checks, gentle use, checks and, where the tests ran any, hard use and checks, on the first card's rig and brake."""
    card = cards[0]
    check = next(b for one in cards for b in one.blocks if b.purpose == "check")
    start, end, torque = _braking(c, events, brake, card, stops, radius)
    use = Block.model_validate(
        {
            "name": "gentle use",
            "purpose": "duty",
            "kind": "snub",
            "stops": gentle,
            "speed": [f"{start / RAD_PER_S:.0f} rpm", f"{end / RAD_PER_S:.0f} rpm"],
            "control": "torque",
            "torque": f"{torque:.0f} N m",
            "initial_temperature": f"{c.temperature:g} degC",
        }
    )
    told = [
        check.model_copy(update={"name": f"check {i + 1}", "stops": checks, "pause_before": None}) for i in range(3)
    ]
    hardest = _hardest(cards, stops)
    blocks = [told[0], use, told[1]]
    last = told[2].model_copy(update={"stops": LAST_CHECKS})
    return blocks if hardest is None else [*blocks, hardest, last]


def _braking(
    c: _Conditions, events: Events, brake: Brake, card: Card, stops: Sequence[pl.DataFrame], radius: float
) -> tuple[float, float, float]:
    """(start and end speed in rad/s, torque in N m) of a snub of that energy and power on the rig's inertia."""
    area = brake.rubbing.friction_area
    run = [float(top) for one in stops if (top := one["speed_start_rpm"].max()) is not None]  # type: ignore[arg-type]
    fastest = max(run, default=np.inf) * RAD_PER_S
    power = events.energy / events.brake_time / area / 1e6
    like = int(np.argmin(np.abs(power * (1 - GENTLER) - c.power)))
    start = min(float(events.start[like]) / radius, fastest)
    energy = min(c.energy * area * 1e6, MOST_OF_SPEED * card.inertia * start**2 / 2)
    end = float(np.sqrt(start**2 - 2 * energy / card.inertia))
    return start, end, float(np.floor(c.power * area * 1e6 * 2 / (start + end)))


def _hardest(cards: Sequence[Card], stops: Sequence[pl.DataFrame]) -> Block | None:
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
