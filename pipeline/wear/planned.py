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

from pipeline.archive.card import Card
from pipeline.errors import InputError
from pipeline.method.wear import Wear
from pipeline.wear.components import component
from pipeline.wear.exposure import Exposure, interval_groups
from pipeline.wear.laws import LAWS, Constants, Design, Law, design, stop_wear, totals
from pipeline.wear.planned_stops import Assumed, planned_stops
from pipeline.wear.result import constants_of
from pipeline.wear.selection import Choice, choose
from pipeline.wording import counted


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
    after = readings_after(card, read_after)
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


def readings_after(card: Card, read_after: Sequence[str] | None) -> np.ndarray:
    """Stops after which wear is read, one before the first among them; read_after: blocks, all by default."""
    names = [block.name for block in card.blocks]
    wanted = set(names if read_after is None else read_after)
    unknown = sorted(wanted - set(names))
    if unknown:
        raise InputError(f"read after {', '.join(unknown)}: no such block; blocks: {', '.join(names)}")
    ends = np.cumsum([block.stops for block in card.blocks])
    return np.array([0, *(end for name, end in zip(names, ends, strict=True) if name in wanted)])


def words(found: Foreseen) -> str:
    """The check as text to print."""
    lines = [
        f"{found.test or 'planned test'}: {counted(len(found.intervals), 'interval')} between readings, "
        f"u {found.reading_u_um:g} um a reading"
    ]
    lines += [
        f"  to stop {i.to_stop}: {counted(i.stops, 'stop')}, {i.energy_mj:.2f} MJ, about {i.wear_um:.0f} um"
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
