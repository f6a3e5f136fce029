"""How much of a duty's conclusions rests on what was tested, by the rule of `pipeline.tested.run`.

Friction (mu, line pressure, share in the window) is known where the map's stops cover a braking in temperature, pressure, start
speed, energy density and power density, and the map itself has a value. The pressure is the one that the braking needs by the map.
Without a map the curve's temperatures are all there is to go by.

Wear is known where the stops between the readings cover a braking in temperature, energy density and power density. Of an oxidation
law the oxidising part of the loss is known only at surface temperatures at which oxidation was seen in the readings (`range.oxidation_c`):
what the law makes of colder or hotter surfaces counts as extrapolated, however well the braking itself is covered. So the measure
of wear is the loss: a duty that hardly oxidises by any account is not called extrapolated for the term that it does not need.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from pipeline.archive.duties import DutyCycle
from pipeline.constants import RAD_PER_S, ZERO_C, Array
from pipeline.duty.cycle import Events, History
from pipeline.duty.pressing import Pressing, needed
from pipeline.duty.rubbing import Rubbing, attributed
from pipeline.friction.tested import run_of
from pipeline.results.duty import DutySupport, Span
from pipeline.results.support import Basis, Extrapolation, basis_of
from pipeline.results.wear import Conditions, Predictor
from pipeline.tested.run import ENERGY_DENSITY, POWER_DENSITY, PRESSURE, SPEED, TEMPERATURE, Flags, Run
from pipeline.tested.told import extrapolations
from pipeline.wear.exposure import GRID_K, Exposure
from pipeline.wear.predict import law_of, wear_by_stop

UNIT_MM2 = 1e6
OXIDISING = 0.05  # share of the loss from which oxidation where it was not seen is told
NO_VALUE = "the map has no value there: conditions that the tests moved together, or a part of the curve that they did not show"


@dataclass(frozen=True)
class FrictionRun:
    """The map's stops as conditions that were run, and what turns a braking into a pressure; `pressing` None: no map."""

    run: Run
    pressing: Pressing | None = None

    @classmethod
    def of(cls, pressing: Pressing | None, rubbing: Rubbing) -> FrictionRun:
        """Of the compound's map; without one of the curve, by its temperatures alone."""
        if pressing is None:
            return cls(Run.of({TEMPERATURE: rubbing.curve_c}))
        return cls(run_of(pressing.map_), pressing)


@dataclass(frozen=True)
class Braked:
    """A cycle's brakings at several openings as friction sees them: points [k e, d], opening by opening."""

    friction: FrictionRun
    points: Array
    valued: Flags  # whether the map has a value [k e]
    energy: Array  # [e]

    @cached_property
    def covered(self) -> Flags:
        """Whether friction is known, [e, k]."""
        each = self.friction.run.covered(self.points) & self.valued
        return each.reshape(-1, len(self.energy)).T

    def share(self, position: int, inside: Array | None = None) -> float:
        """Share of the energy whose friction was tested (and that lies `inside` [e], 1 or 0) at one of the openings."""
        known = self.covered[:, position] * (1.0 if inside is None else inside)
        return float(self.energy @ known / self.energy.sum())

    def entries(self, position: int) -> list[Extrapolation]:
        """Where friction leaves what was run at one of the openings."""
        size = len(self.energy)
        first = (position % (len(self.points) // size)) * size
        rows = slice(first, first + size)
        points, found = self.points[rows], extrapolations("friction", self.friction.run, self.points[rows], self.energy)
        alone = self.friction.run.covered(points) & ~self.valued[rows]
        if alone.any():
            found.append(
                Extrapolation(
                    of="friction",
                    direction="combination",
                    unit="1",
                    events=[int(i) + 1 for i in np.flatnonzero(alone)],
                    share=float(self.energy[alone].sum() / self.energy.sum()),
                    words=NO_VALUE,
                )
            )
        return found


def braked(
    duty: DutyCycle,
    events: Events,
    settled: History,
    kind: str,
    openings: Sequence[int],
    friction: FrictionRun,
    friction_area: float,
) -> Braked:
    """The settled cycle's brakings at these openings; friction_area in m2."""
    temperature = np.concatenate([attributed(settled, kind, k) for k in openings])
    times = len(openings)
    columns = {
        TEMPERATURE: temperature,
        SPEED: np.tile(events.start / duty.rolling_radius / RAD_PER_S, times),
        ENERGY_DENSITY: np.tile(events.energy / friction_area / UNIT_MM2, times),
        POWER_DENSITY: np.tile(events.energy / events.brake_time / friction_area / UNIT_MM2, times),
    }
    valued = np.ones(temperature.size, bool)
    if friction.pressing is not None:
        press = needed(duty, events, temperature + ZERO_C, friction.pressing)
        columns[PRESSURE], valued = press.pressure / 1e5, press.valued
    return Braked(friction, friction.run.points(columns), valued, events.energy)


# --- wear


def wear_run(span: Conditions | None, friction_area: float) -> Run:
    """Conditions of the stops behind a law or a measured rate; of one that gives no stops its ranges."""
    if span is not None and not span.run:
        energy = None if span.energy_mj is None else [e / friction_area for e in span.energy_mj]
        ranges = {TEMPERATURE: span.temperature_c, ENERGY_DENSITY: energy, POWER_DENSITY: span.power_w_mm2}
        return Run.of_ranges(ranges)
    rows = np.array(span.run if span else [], float).reshape(-1, 3)
    return Run.of(
        {
            TEMPERATURE: rows[:, 2],
            ENERGY_DENSITY: rows[:, 0] / friction_area,
            POWER_DENSITY: rows[:, 1],
        }
    )


@dataclass(frozen=True)
class WornBy:
    """A component's loss over a cycle and how much of it its readings cover, 1."""

    share: float
    entries: list[Extrapolation]


def worn_by(name: str, model: Predictor, stops: Exposure, friction_area: float) -> WornBy:
    """How a component's loss over these stops stands; without conditions in the law's range nothing can be said against it."""
    loss = np.maximum(wear_by_stop(model, stops)[0], 0.0)
    total = max(float(loss.sum()), 1e-300)
    of = f"wear of the {name}"
    run = wear_run(model.span, friction_area)
    covered, found = np.ones(len(stops), bool), list[Extrapolation]()
    if len(run):
        points = run.points(
            {
                TEMPERATURE: stops.temperature_c,
                ENERGY_DENSITY: stops.energy_mj / friction_area,
                POWER_DENSITY: stops.power_w_mm2,
            }
        )
        covered = run.covered(points)
        found = extrapolations(of, run, points, loss)
    unseen, entries = _unseen(of, model, stops, total)
    known = np.where(covered, np.maximum(loss - unseen, 0.0), 0.0)
    return WornBy(float(known.sum()) / total, [*found, *entries, *_face(of, model, stops, loss)])


def _unseen(of: str, model: Predictor, stops: Exposure, total: float) -> tuple[Array, list[Extrapolation]]:
    """(loss of each stop [n] by oxidation where it was not seen, entries)."""
    span = model.span.oxidation_c if model.span else None
    nothing = np.zeros(len(stops))
    if model.model != "oxidation" or not span:
        return nothing, []
    law, constants, values, _ = law_of(model)
    low, high = span[0] + ZERO_C, span[1] + ZERO_C
    lost, found = nothing, []
    for side, where in ((-1, low - 1e-6 > GRID_K), (1, high + 1e-6 < GRID_K)):
        part = dataclasses.replace(stops, braking_s=stops.braking_s * where, dwell_s=stops.dwell_s * where)
        own = law.columns(part, values[-1], constants)[:, 1] * values[1]
        lost = lost + own
        share = float(own.sum()) / total
        if share >= OXIDISING:
            time = (part.braking_s + part.dwell_s).sum(axis=0)
            at = float(GRID_K[time > 0].max() if side > 0 else GRID_K[time > 0].min()) - ZERO_C
            found.append(
                Extrapolation(
                    of=of,
                    direction="oxidising temperature",
                    unit="°C",
                    value=at,
                    low=span[0],
                    high=span[1],
                    share=share,
                    words=f"oxidation of a surface {'above' if side > 0 else 'below'} what the readings show it at, "
                    f"{span[0]:.0f} to {span[1]:.0f} °C",
                )
            )
    return lost, found


def _face(of: str, model: Predictor, stops: Exposure, loss: Array) -> list[Extrapolation]:
    """A surface hotter than the readings' ever was."""
    known = model.span.surface_c if model.span else None
    time = stops.braking_s + stops.dwell_s
    if not known or not time.any():
        return []
    hottest = np.array([GRID_K[row > 0].max(initial=0.0) for row in time]) - ZERO_C
    over = hottest > known[1] + 1e-6
    if not over.any():
        return []
    return [
        Extrapolation(
            of=of,
            direction="face temperature",
            unit="°C",
            value=float(hottest.max()),
            low=known[0],
            high=known[1],
            events=[int(i) + 1 for i in np.flatnonzero(over)],
            share=float(loss[over].sum() / max(float(loss.sum()), 1e-300)),
            words=f"surface up to {hottest.max():.0f} °C, the readings' reached {known[1]:.0f} °C",
        )
    ]


# --- a duty's conclusions together


def of_duty(brakings: Braked, position: int, inside: Array | None, worn: dict[str, WornBy]) -> DutySupport:
    """A duty's conclusions at one of the brakings' openings; inside [e]: 1 where a braking lies in the window, None without one."""
    tested = beside = basis = None
    if inside is not None:
        whole = float(brakings.energy @ inside / brakings.energy.sum())
        tested = brakings.share(position, inside)
        beside = max(whole - tested, 0.0)
        basis = basis_of(tested / whole if whole > 0 else brakings.share(position))
    wear = {name: one.share for name, one in worn.items()}
    return DutySupport(
        friction_share=brakings.share(position),
        window_share_tested=tested,
        window_share_extrapolated=beside,
        window_basis=basis,
        wear_share=wear,
        wear_basis={name: basis_of(share) for name, share in wear.items()},
        extrapolations=[*brakings.entries(position), *(entry for one in worn.values() for entry in one.entries)],
    )


def over_openings(
    grid: Array, tested: Array, share: Array, low: float, high: float
) -> tuple[Span | None, Basis | None]:
    """(lowest and highest share in the window and tested over openings low to high, how it stands at its best) by those of the grid
    [k]; between two openings of the grid the nearer one speaks."""
    own = (grid >= low - 1e-9) & (grid <= high + 1e-9)
    if not own.any():
        own = np.arange(len(grid)) == int(np.abs(grid - (low + high) / 2).argmin())
    values = tested[own]
    part = np.divide(values, share[own], out=np.zeros_like(values), where=share[own] > 0)
    return Span(low=float(values.min()), high=float(values.max())), basis_of(float(part.max()))
