"""Before a test runs: what its planned blocks and readings could tell about wear.

The card's blocks are run on paper (energies from inertia and speeds, brake times from pressure and an assumed mu,
pauses from an assumed cooling), the losses of an assumed law are put where the readings will be, without noise, and
the same fit that will judge the test says what it would find: the law it would choose, and how wide each parameter's
interval would be. The condition of the design matrix (columns of length one) says how alike the law's terms are: 1
parted, 100 hardly, 1000 not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.archive.card import Block, Card
from pipeline.constants import ZERO_C
from pipeline.errors import InputError
from pipeline.heat import lumped
from pipeline.heat.capacity import heated
from pipeline.method.wear import Wear
from pipeline.wear.components import component
from pipeline.wear.cooling import fitted_curve, radiation_per_mass
from pipeline.wear.exposure import Exposure, interval_groups, residence
from pipeline.wear.laws import LAWS, Constants, Design, Law, design, stop_wear, totals
from pipeline.wear.of_stops import plate_of
from pipeline.wear.result import constants_of
from pipeline.wear.selection import Choice, choose
from pipeline.wear.surface import Plate, Samples, modelled

AMBIENT_K = 295.15
SPIN_UP_S = 8.0  # least time between two stops
HEATING_K_S = 5.0
DRAG_S = 10.0
SAMPLES = 40


@dataclass(frozen=True)
class Assumed:
    """What has to be assumed before anything was measured."""

    mu: float = 0.4
    cooling_w_k: float = 20.0
    mechanical_um_mj: float = 7.0
    oxidation_um_s: float = 0.02  # at th0
    activation_kj_mol: float = 150.0
    power_exponent: float = 0.5
    regime_ratio: float = 2.0


@dataclass(frozen=True)
class PlannedInterval:
    """Stops between two planned readings, their friction work and the wear to be expected."""

    to_stop: int
    stops: int
    energy_mj: float
    wear_um: float


@dataclass(frozen=True)
class ForeseenParameter:
    """A parameter of a law assumed true, and the ends of the interval in which it would be read; None: open."""

    value: float
    low: float | None
    high: float | None
    unit: str


@dataclass(frozen=True)
class ForeseenLaw:
    """What the readings would tell of a law if it were the true one."""

    identified: bool
    would_be_chosen: str | None
    why: str | None
    parameters: dict[str, ForeseenParameter]
    condition: float | None  # of the design; None: infinite


@dataclass(frozen=True)
class Foreseen:
    """What the wear readings of a planned test could tell."""

    test: str
    intervals: list[PlannedInterval]
    reading_u_um: float
    assumed: Assumed
    laws: dict[str, ForeseenLaw]


def check_design(
    card: Card,
    *,
    read_after: Sequence[str] | None = None,
    reading_u_um: float = 1.0,
    assumed: Assumed | None = None,
    settings: Wear | None = None,
) -> Foreseen:
    """What the disc's wear readings could tell: per law assumed true, what the fit would choose and how wide
    intervals would be.

    read_after: blocks after which wear is read (default: every block), a reading before the first stop besides;
    reading_u_um: standard uncertainty of a reading's mean. Raises InputError where the card lacks what the paper run
    needs, or a block named is not in it.
    """
    assumed, settings = assumed or Assumed(), settings or Wear()
    stops = planned_stops(card, assumed, settings)
    after = _readings(card, read_after)
    groups = interval_groups(np.arange(1, len(stops) + 1), after[:-1], after[1:])
    intervals = design(stops, groups)
    part = component("disc", card)
    constants = constants_of(part, settings)
    k = len(groups)
    covariance = reading_u_um**2 * (2 * np.eye(k) - np.eye(k, k=1) - np.eye(k, k=-1))
    laws = {}
    for law in LAWS.values():
        truth = _truth(law, stops, constants, assumed)
        y = groups @ stop_wear(law, stops, truth, constants)
        choice = choose(
            intervals, y, covariance, np.inf, constants, confidence=settings.confidence, model_u=settings.model_u
        )
        laws[law.name] = _foreseen(law, truth, choice, condition(law, intervals, truth, constants))
    expected = _expected(groups, stops, constants, assumed)
    return Foreseen(
        test=card.test,
        intervals=[
            PlannedInterval(int(b), int(b - a), float(g @ stops.energy_mj), float(w))
            for a, b, g, w in zip(after[:-1], after[1:], groups, expected, strict=True)
        ],
        reading_u_um=reading_u_um,
        assumed=assumed,
        laws=laws,
    )


def _expected(groups: np.ndarray, stops: Exposure, constants: Constants, assumed: Assumed) -> np.ndarray:
    law = LAWS["oxidation"]
    return groups @ stop_wear(law, stops, _truth(law, stops, constants, assumed), constants)


def _foreseen(law: Law, truth: np.ndarray, choice: Choice, cond: float) -> ForeseenLaw:
    own = choice.candidate(law.name)
    parameters = {}
    for i, (name, unit) in enumerate(law.parameters):
        low, high = own.found.intervals[i] if own.found else (np.nan, np.nan)
        parameters[name] = ForeseenParameter(
            value=float(truth[i]),
            low=float(low) if np.isfinite(low) else None,
            high=float(high) if np.isfinite(high) else None,
            unit=unit,
        )
    return ForeseenLaw(
        identified=own.identified,
        would_be_chosen=choice.chosen,
        why=own.why or None,
        parameters=parameters,
        condition=cond if np.isfinite(cond) else None,
    )


def condition(law: Law, intervals: Design, parameters: np.ndarray, constants: Constants) -> float:
    """Condition number of the law's derivatives per interval, each column scaled to length one; infinite when one is
    nil.

    parameters: [p], the rates and then the shape.
    """
    n = len(law.rates)
    shape = parameters[n:] if law.shape else np.zeros(1)
    columns = totals(law, intervals, shape, constants)[0]
    if law.shape and law.name != "two_regime":
        step = 1e-3 * (law.limits[1] - law.limits[0])
        up, down = totals(law, intervals, np.array([shape[0] + step, shape[0] - step]), constants)
        columns = np.column_stack([columns, (up - down) @ parameters[:n] / (2 * step)])
    size = np.linalg.norm(columns, axis=0)
    if columns.shape[0] < columns.shape[1] or not (size > 0).all():
        return float("inf")
    return float(np.linalg.cond(columns / size))


def _truth(law: Law, stops: Exposure, constants: Constants, assumed: Assumed) -> np.ndarray:
    a = assumed.mechanical_um_mj
    if law.name == "distance":
        return np.array([a * stops.energy_mj.sum() / (stops.force_distance_n_m.sum() * constants.distance_factor)])
    if law.name == "power":
        middle = float(np.median(stops.power_w_mm2)) / constants.p0_w_mm2
        return np.array([a * middle**-assumed.power_exponent, assumed.power_exponent])
    if law.name == "oxidation":
        return np.array([a, assumed.oxidation_um_s, assumed.activation_kj_mol])
    if law.name == "two_regime":
        levels = np.unique(stops.temperature_c)
        cut = (levels[levels.size // 2] + levels[max(levels.size // 2 - 1, 0)]) / 2
        return np.array([a, a * assumed.regime_ratio, cut])
    return np.array([a])


def _readings(card: Card, read_after: Sequence[str] | None) -> np.ndarray:
    names = [block.name for block in card.blocks]
    wanted = set(names if read_after is None else read_after)
    unknown = sorted(wanted - set(names))
    if unknown:
        raise InputError(f"read after {', '.join(unknown)}: no such block; blocks: {', '.join(names)}")
    ends = np.cumsum([block.stops for block in card.blocks])
    return np.array([0, *(end for name, end in zip(names, ends, strict=True) if name in wanted)])


def planned_stops(card: Card, assumed: Assumed, settings: Wear) -> Exposure:
    """Exposure of the card's stops as planned. Raises InputError where the card lacks the disc's facts."""
    plate = plate_of(card, settings)
    if not isinstance(plate, Plate):
        raise InputError(f"test.yaml: the planned wear cannot be worked out: {plate}")
    disc = card.brake.disc
    bulk = lumped.Disc(plate.mass, plate.material, (disc.emissivity or 0.0) * (disc.cooled_area or 0.0))
    rows, now = [], AMBIENT_K
    for block in card.blocks:
        energy, duration, path = _braking(block, card, assumed)
        for k in range(block.stops):
            idle, now = _pause(block, k, now, duration, bulk, assumed)
            rows.append((energy, duration, path, now, idle))
            now = float(heated(now, energy / plate.mass, plate.material))
    energy, duration, path, initial, before = np.array(rows, float).T
    return _exposed(energy, duration, path, initial, np.append(before[1:], 3600.0), plate, card)


def _braking(block: Block, card: Card, assumed: Assumed) -> tuple[float, float, float]:
    """(friction work J, brake time s, clamp force x distance N m) of a stop of the block."""
    brake = card.brake
    ring = brake.friction_ring
    radius = brake.effective_radius or (ring.outer_diameter + ring.inner_diameter) / 4  # type: ignore[union-attr]
    force = brake.efficiency * max((block.pressure or 0.0) - brake.threshold_pressure, 0.0) * brake.piston_area
    torque = 2 * assumed.mu * force * radius
    if block.control == "torque" and block.torque:
        torque = block.torque
    if block.control == "deceleration" and block.deceleration:
        torque = card.inertia * block.deceleration / (card.rolling_radius or 0.33)
    if torque <= 0:
        raise InputError(f"test.yaml: block {block.name!r} states no pressure, torque or deceleration to plan with")
    if block.kind == "drag":
        duration = block.duration or DRAG_S
        energy = torque * block.speed_start * duration
    else:
        energy = card.inertia * (block.speed_start**2 - block.speed_end**2) / 2
        duration = card.inertia * (block.speed_start - block.speed_end) / torque
    return energy, duration, energy / (2 * assumed.mu)


def _pause(
    block: Block, k: int, now: float, duration: float, disc: lumped.Disc, assumed: Assumed
) -> tuple[float, float]:
    """(idle s before the stop, its initial temperature K) of stop k of the block from a disc at `now`."""
    if block.interval is not None and k > 0:
        idle = max(block.interval - duration, SPIN_UP_S)
        cooled = lumped.advance(now, idle, ambient=AMBIENT_K, conductance=assumed.cooling_w_k, disc=disc)
        return idle, float(cooled)
    target = block.initial_temperature or now
    if target >= now:
        idle = (target - now) / HEATING_K_S
    else:
        idle = float(
            lumped.cooling_time(
                now, max(target, AMBIENT_K + 2), ambient=AMBIENT_K, conductance=assumed.cooling_w_k, disc=disc
            )
        )
    return max(idle, SPIN_UP_S, (block.pause_before or 0.0) if k == 0 else 0.0), target


def _exposed(
    energy: np.ndarray,
    duration: np.ndarray,
    path: np.ndarray,
    initial: np.ndarray,
    idle: np.ndarray,
    plate: Plate,
    card: Card,
) -> Exposure:
    share = np.linspace(0, 1, SAMPLES)
    time = duration[:, None] * share
    power = (energy / duration)[:, None] * (1.5 - share)  # falls with the speed
    samples = Samples(time, np.broadcast_to(initial[:, None], time.shape), power, duration, initial)
    following = np.append(initial[1:], np.nan)
    disc = card.brake.disc
    speeds = np.full(len(duration), 3.0), np.ones(len(duration))  # a power that falls from 1.5 to 0.5 of its mean
    curve = fitted_curve(
        initial,
        energy / plate.mass,
        following,
        idle,
        duration,
        speeds,
        ambient=AMBIENT_K,
        material=plate.material,
        radiation=radiation_per_mass(disc.emissivity, disc.cooled_area, disc.mass),
    )
    history = modelled(samples, idle, following, plate, curve)
    dwell = np.sum([residence(*stretch) for stretch in history.after], axis=0)
    dwell[1:] += residence(*history.heating)[:-1]
    return Exposure(
        energy_mj=energy / 1e6,
        force_distance_n_m=path,
        power_w_mm2=energy / duration / card.brake.friction_area / 1e6,
        temperature_c=initial - ZERO_C,
        braking_s=residence(*history.braking),
        dwell_s=dwell,
    )


def words(found: Foreseen) -> str:
    """The check as text to print."""
    lines = [
        f"{found.test or 'planned test'}: {len(found.intervals)} intervals between readings, "
        f"u {found.reading_u_um:g} um a reading"
    ]
    lines += [
        f"  to stop {i.to_stop}: {i.stops} stops, {i.energy_mj:.2f} MJ, about {i.wear_um:.0f} um"
        for i in found.intervals
    ]
    for name, law in found.laws.items():
        state = "can be told" if law.identified and law.would_be_chosen == name else "cannot be told"
        cond = "infinite" if law.condition is None else f"{law.condition:.0f}"
        lines.append(f"{name}: {state} (condition {cond})" + (f": {law.why}" if law.why else ""))
        if law.would_be_chosen != name:
            lines.append(f"  a test of it would be read as {law.would_be_chosen or 'no law'}")
        for parameter, p in law.parameters.items():
            low, high = (("open" if end is None else f"{end:.3g}") for end in (p.low, p.high))
            lines.append(f"  {parameter} {p.value:.3g} {p.unit} would be read as {low} to {high}")
    return "\n".join(lines)
