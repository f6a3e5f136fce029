"""The test that would settle whether a duty glazes where nothing tested excludes it: its conditions, stops, hours and blocks.

It is one use of the duty itself where that can be run as blocks (`pipeline.duty.settling_use`). Else it is of alike stops, and bounds the
brakings of the settled cycle.

It runs at the warm end of the openings that nothing else speaks against, where a film is least likely. Its first gentle use is a
little gentler and colder than the gentlest and coldest braking that is not bounded yet: harmless there, these openings are free of
reservation, by the film's direction alone. Its second is as hard and warm as the duty's hardest and warmest: glazing there, every
braking of every such opening glazes at least as fast. Each begins on a face that hard use has cleared.

The first has as many stops that their loss, where there is none, bounds the duty's under the target with a chance of nine in ten by
the checks' scatter, the cold start of a use taking its part of the target before; the second has the work of a whole use.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.archive.blocks import as_yaml
from pipeline.archive.card import Card
from pipeline.constants import ZERO_C, Array
from pipeline.duty.cycle import Events
from pipeline.duty.limits import Openings, Run
from pipeline.duty.places import Places
from pipeline.duty.project import Brake
from pipeline.duty.settling_blocks import HARD, LAST_CHECKS, Gentle, Rig, blocks_of, hardest, on_rig
from pipeline.duty.settling_use import WholeUse, whole_use
from pipeline.heat.capacity import heat_capacity
from pipeline.heat.lumped import cooling_time
from pipeline.results.duty import RigCooling
from pipeline.results.openings import SettlingTest
from pipeline.wording import counted, in_percent

Flags = NDArray[np.bool_]
GENTLER, COLDER_K = 0.02, 2.0  # under the gentlest and coldest braking that is to be bounded
COLD_START_K = 30.0  # under the settled cycle's coldest start, to which a test may reach into a use's cold start
WITHIN_K = 10.0  # of the warmest opening's coldest braking, the opening tested
CHANCE = 1.28  # standard uncertainties: nine in ten
SHOWN_U = 5.0  # standard uncertainties of a loss at the rate that matters, for the second use to show it
CHECKS = (6, 8, 10, 12, 16, 20, 24, 32, 40)
FEWEST, MOST_STOPS = 20, 600
# more checks after a whole use take off themselves what it left, and their mean tells less than it cost
MOST_OF_USE = 8
BEFORE = 3  # times as many checks on the clean faces before it, which they leave as they are
LEAST_LEFT = 0.2  # of the target, below which no test can settle it
FIRST_LOOK = 2.80  # standard uncertainties off the target that let a test end half-way
RUNS = (1, 2, 3, 4, 6, 8, 10, 12)  # how often a program of a whole use is run, each time between checks of its own
MOST_RUNS = 16  # of all programs together
TOLD = 0.08  # of the target: a loss of a whole use that lies no further from it is not told from it
NEGLIGIBLE = 0.05  # of the target: brakings that together may add less need no test
FILLING = 1.1  # mean rate to first rate of a film that begins to fill
BETWEEN_STOPS_S, USUAL_S = 10.0, 90.0  # on top of cooling down; from stop to stop where the rig's cooling is not known


def settling(
    events: Events,
    found: Run,
    judged: Openings,
    brake: Brake,
    cards: Sequence[Card],
    stops: Sequence[pl.DataFrame],
    cooling: RigCooling | str,
    radius: float,
) -> tuple[SettlingTest | None, str | None]:
    """(the test, None) or (None, why none is named); cards and stops: of the tests, radius: of the duty's wheel, m."""  # fmt: skip
    if judged.span is None:
        return None, "no opening holds all else that is asked"
    if all(one.cause != "glazing" for one in judged.not_excluded):
        return None, "what was tested excludes a loss by glazing above the target"
    rig = Rig(events, radius, brake, cards, stops)
    if brake.film.scatter is None or rig.check is None:
        return None, "the scatter of matched checks is not known: repeat a block of checks first"
    own = _open_openings(found, judged, brake)
    whole = whole_use(found, own, rig, cooling) if own.size else None
    if whole is not None and whole.count <= MOST_STOPS:
        return _whole_told(whole, found, rig, cooling), None
    tried = [(c, _design(c, rig, cooling)) for c in _candidates(found, own, brake)]
    tried = [(c, design) for c, design in tried if c.left >= LEAST_LEFT * brake.glazing_loss]
    if not tried:
        return None, (
            "no test of the settled cycle's conditions settles it: by what the tests show a use's cold start alone is likely to lose "
            f"most of the {in_percent(brake.glazing_loss, 1)} that the target accepts, or more; test gentle use between the temperatures at which "
            "it glazed and those of the settled cycle"
        )
    short = [one for one in tried if one[1].gentle.stops <= MOST_STOPS]
    best = max(short, key=lambda one: one[0].temperature) if short else min(tried, key=lambda one: one[1].gentle.stops)
    return _told(*best, found, rig), None


@dataclass(frozen=True)
class _Conditions:
    """What is to be run: opening index, power W/mm2, degC, J/mm2, stops of the duty that it must speak for, and what is left of the
    target in ln mu; hardest: the second use.
    """

    k: int
    power: float
    temperature: float
    energy: float
    stops: float
    left: float
    hardest: Gentle


def _open_openings(found: Run, judged: Openings, brake: Brake) -> NDArray[np.int64]:
    """Indices of the openings to run at which a film is not excluded."""
    assert judged.span is not None
    own = np.flatnonzero((found.opening >= judged.span.low - 1e-9) & (found.opening <= judged.span.high + 1e-9))
    if not own.size:
        own = np.array([int(np.abs(found.opening - (judged.span.low + judged.span.high) / 2).argmin())])
    return np.asarray(own[found.losses.high[own] > brake.glazing_loss], np.int64)


def _candidates(found: Run, own: NDArray[np.int64], brake: Brake) -> list[_Conditions]:
    """Tests at the warmest of the openings `own`, one for each temperature at which a braking of the use begins: the warmer, the
    more brakings are colder than the test and keep their share of the target.
    """
    lost, use = found.losses, found.losses.use
    if not own.size:
        return []
    coldest = use.temperature[-1][:, own].min(axis=0)
    k = int(own[np.flatnonzero(coldest >= coldest.max() - WITHIN_K)[-1]])
    target = -float(np.log1p(-brake.glazing_loss))
    times = np.repeat(use.times, len(use.power))
    start, growth = use.colder[:, :, k].ravel(), lost.growth[:, :, k].ravel()
    power, energy = (np.tile(x, len(use.temperature)) for x in (use.power, use.energy))
    adds = np.where(times > 0, times * np.where(times > 0, growth, 0.0), 0.0)
    order = np.argsort(adds)
    small = np.zeros(len(adds), bool)
    small[order] = np.cumsum(adds[order]) <= NEGLIGIBLE * target
    asked = ~small & (times > 0)
    of_event = np.asarray(asked.reshape(use.temperature.shape[:2]).any(axis=0), bool)
    second = _hardest(use, own, of_event)
    tried = [
        _at(k, float(t), asked, start, power, energy, times, adds, target, second)
        for t in np.unique(np.floor(start[asked]))
    ]
    # what is known to glaze at the rate that matters needs no test, and a use's cold start is not tested for its own sake
    matters = target / float(use.times @ np.full(len(use.times), use.energy.sum()))
    coldest_settled = float(use.colder[-1, :, k].min())
    return [c for c in tried if c.temperature >= coldest_settled - COLD_START_K and not _glazes(c, brake, matters)]


def _glazes(c: _Conditions, brake: Brake, rate: float) -> bool:
    at = np.array([c.temperature])
    return any(float(brake.film.at_least(use, c.power, at)[0][0]) >= rate for use in brake.film.grown)


def _hardest(use: Places, own: NDArray[np.int64], asked: Flags) -> Gentle:
    """The hardest braking that is not bounded, as warm as the warmest at these openings, as often as makes the work of one use."""
    power = np.where(asked, use.power, -np.inf)
    like, warm = int(np.argmax(power)), float(use.temperature[-1][np.ix_(asked, own)].max())
    work = float((use.times * use.energy.sum()).sum())
    energy = float(use.energy[like])
    return Gentle(float(use.power[like]), float(np.ceil(warm)), energy, int(np.ceil(work / energy)))


def _at(
    k: int, coldest: float, asked: Flags, start: Array, power: Array, energy: Array, times: Array, adds: Array, target: float,
    second: Gentle,
) -> _Conditions:  # fmt: skip
    """A test that bounds what starts no colder: the other brakings keep what they may add now."""
    mine = asked & (start >= coldest)
    gentlest = float(power[mine].min())
    own = float(energy[mine & (power <= gentlest)].mean())
    left = target - float(adds[~mine].sum())
    stops = float(energy[mine] @ times[mine]) / own
    return _Conditions(k, gentlest * (1 - GENTLER), coldest - COLDER_K, own, stops, left, second)


@dataclass(frozen=True)
class _Design:
    """Stops of a check block, the gentle uses, uncertainty of a change of ln mu, hours (None: the rig's cooling is not known)."""

    checks: int
    gentle: Gentle
    second: Gentle | None
    u: float
    hours: float | None


def _design(c: _Conditions, rig: Rig, cooling: RigCooling | str) -> _Design:
    """The numbers of stops that take the least time."""
    film, check, area = rig.brake.film, rig.check, rig.brake.rubbing.friction_area * 1e6
    assert check is not None
    z = film.z_of(1 + film.groups_at(c.power / (1 - GENTLER), c.temperature + COLDER_K)) + CHANCE
    energy = rig.cards[0].inertia * (check.speed_start**2 - check.speed_end**2) / 2
    start = check.initial_temperature
    check_s = None if start is None else _seconds(energy, start - ZERO_C, cooling, rig.brake)
    gentle_s = _seconds(c.energy * area, c.temperature, cooling, rig.brake)
    second_s = _seconds(c.hardest.energy * area, c.hardest.temperature, cooling, rig.brake)
    known = None not in (check_s, gentle_s, second_s)
    cleared = hardest(rig.cards, rig.stops) is not None
    designs = []
    for count in CHECKS:
        u = film.u_of_checks(count) or np.inf
        stops = max(int(np.ceil(FILLING * z * u * c.stops / max(c.left, 1e-9))), FEWEST)
        shows = (
            SHOWN_U * u / -np.log1p(-rig.brake.glazing_loss)
        )  # uses whose loss, at the target, is beyond the scatter
        further = max(int(np.ceil(c.hardest.stops * max(shows, 1.0))), FEWEST)
        seconds = stops * (gentle_s or USUAL_S) + (2 * count + LAST_CHECKS) * (check_s or USUAL_S)
        if cleared:
            seconds += further * (second_s or USUAL_S) + 2 * count * (check_s or USUAL_S)
        first = on_rig(rig, Gentle(c.power, c.temperature, c.energy, stops))
        hard = Gentle(c.hardest.power, c.hardest.temperature, c.hardest.energy, further)
        second = on_rig(rig, hard) if cleared else None
        designs.append((seconds, _Design(count, first, second, u, seconds / 3600 if known else None)))
    return min(designs, key=lambda one: one[0])[1]


def _seconds(energy: float, start_c: float, rig: RigCooling | str, brake: Brake) -> float | None:
    """Time from one stop to the next by the rig's cooling: the disc is back at its start."""
    if isinstance(rig, str):
        return None
    start = start_c + ZERO_C
    if start <= rig.ambient + 1:
        return None
    rise = brake.heat_share * energy / (brake.disc.mass * float(heat_capacity(start, brake.disc.material)))
    cooled = cooling_time(start + rise, start, ambient=rig.ambient, conductance=rig.g, disc=brake.disc)
    return float(cooled) + BETWEEN_STOPS_S


def _told(c: _Conditions, design: _Design, found: Run, rig: Rig) -> SettlingTest:
    first, second, checks = design.gentle, design.second, design.checks
    blocks = blocks_of(rig, checks, [[first], [second]] if second else [[first]])
    hard = sum(b.stops for b in blocks if b.name.startswith(HARD))
    least = -float(np.expm1(-c.left * first.stops * first.energy / (c.stops * c.energy)))
    then = f", hard use and {checks} checks" if hard else ""
    text = f"on a bedded specimen: {checks} checks, {_use(first)}, {checks} checks{then}"
    if second is not None:
        text += f"; where the first use cost friction, then {_use(second)}, {checks} checks, hard use and {LAST_CHECKS} checks"
    text += f"; at the rate that matters the first use loses {in_percent(least, 1)} of friction, told to {in_percent(design.u, 1)} by the checks"
    known = "by the rig's cool-downs, both uses, without heating up between the blocks"
    return SettlingTest(
        opening=float(found.opening[c.k]),
        power_density_w_mm2=first.power,
        temperature_c=first.temperature,
        energy_density_j_mm2=first.energy,
        gentle_stops=first.stops,
        second_power_density_w_mm2=second.power if second else None,
        second_temperature_c=second.temperature if second else None,
        second_stops=second.stops if second else None,
        check_stops=checks,
        hard_stops=hard,
        least_loss=least,
        u=design.u,
        hours=design.hours,
        hours_why=known if design.hours else "the rig's cooling is not known",
        blocks=as_yaml(blocks),
        text=text,
    )


def _whole_told(whole: WholeUse, found: Run, rig: Rig, cooling: RigCooling | str) -> SettlingTest:
    """One use of the duty between checks: what it loses is held against the target itself."""
    film, brake, check = rig.brake.film, rig.brake, rig.check
    assert check is not None
    wanted, programs = -float(np.log1p(-brake.glazing_loss)), whole.programs
    told = [
        (r, n, (film.u_of_checks(n, BEFORE * n) or np.inf) / float(np.sqrt(r)))
        for r in RUNS
        for n in CHECKS
        if n <= MOST_OF_USE and r * len(programs) <= MOST_RUNS
    ]
    if hardest(rig.cards, rig.stops) is None:
        # nothing clears the faces between two runs
        told = [one for one in told if one[0] == 1]
        programs = programs[:1]
    runs, checks, u = next((one for one in told if film.z * one[2] <= TOLD * wanted), told[-1])
    before = BEFORE * checks
    blocks = blocks_of(rig, checks, [one for one in programs for _ in range(runs)], before)
    hard = sum(b.stops for b in blocks if b.name.startswith(HARD))
    area, start = brake.rubbing.friction_area * 1e6, check.initial_temperature
    energy = rig.cards[0].inertia * (check.speed_start**2 - check.speed_end**2) / 2
    check_s = None if start is None else _seconds(energy, start - ZERO_C, cooling, brake)
    every = [one for stops in programs for one in stops]
    seconds = [_seconds(one.energy * area, one.temperature, cooling, brake) for one in every]
    known = check_s is not None and None not in seconds
    total = runs * sum(one.stops * (s or USUAL_S) for one, s in zip(every, seconds, strict=True))
    total += (runs * len(programs) * (before + checks) + (LAST_CHECKS if hard else 0)) * (check_s or USUAL_S)
    hours = total / 3600 if known else None
    powers = [one.power for one in every]
    text = (
        f"on a bedded specimen: {before} checks, one use of the duty as it runs at opening {found.opening[whole.k]:.2f}{_programs(programs)} "
        f"({whole.count} stops in {max(len(one) for one in programs)} blocks, at {min(powers):.2g} to {max(powers):.2g} W/mm2 of pad)"
        f", {checks} checks{', hard use and checks' if hard else ''}{_over(runs, u, programs)}; what it loses is what one use loses, held "
        f"against the {in_percent(brake.glazing_loss, 1)} that the target accepts and told to {in_percent(u, 1)} by the checks"
    )  # fmt: skip
    return SettlingTest(
        opening=float(found.opening[whole.k]),
        power_density_w_mm2=whole.mean("power"),
        temperature_c=whole.mean("temperature"),
        energy_density_j_mm2=whole.mean("energy"),
        gentle_stops=runs * sum(one.stops for one in every),
        check_stops=checks,
        hard_stops=hard,
        least_loss=brake.glazing_loss,
        u=u,
        hours=hours,
        hours_why="by the rig's cool-downs, without heating up between the blocks"
        if hours
        else "the rig's cooling is not known",
        blocks=as_yaml(blocks),
        text=text,
    )


def _programs(programs: Sequence[Sequence[Gentle]]) -> str:
    """Where the stops of each program begin."""
    ends = [f"{one[0].temperature:.0f} to {one[-1].temperature:.0f} °C" for one in programs]
    if len(ends) == 1:
        return f", starting at {ends[0]}"
    return (
        f", starting as cold as its brakings may by what is known of the duty's heat ({ends[0]}), and, where that cost friction, as they "
        f"settle ({ends[1]})"
    )


def _over(runs: int, u: float, programs: Sequence[Sequence[Gentle]]) -> str:
    """How often the whole is run, and after the first half how far off the target its mean lets one stop.

    Two looks at one result: at z = 2.80 half-way and 1.98 at the end they err together as often as one look at 1.96 (O'Brien and Fleming
    1979, Biometrics 35, 549; the figures from memory).
    """
    each = " each" if len(programs) > 1 else ""
    if runs == 1:
        return ""
    half = runs // 2
    off = FIRST_LOOK * u * float(np.sqrt(runs / half))
    early = (
        f" (the first {half} do where their mean is {in_percent(off, 1)} or more off the target)" if runs > 2 else ""
    )
    return f", {runs} times over{each}{early}"


def _use(one: Gentle) -> str:
    return f"{counted(one.stops, 'stop')} at {one.power:.2g} W/mm2 of pad starting at {one.temperature:.0f} °C"
