"""What planned wear readings would show: the law's parameters and the life on a duty, for so many specimens.

The archive's own law is taken for the truth: the planned stops wear by it, each specimen by its own factor, and the
losses between the planned readings go through the compound's wear analysis as measured ones do. Factors are drawn at
even quantiles of a normal distribution and stretched to the wanted scatter exactly, so that no chance of a draw decides.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy import special

from pipeline.archive.card import Card
from pipeline.archive.duties import DutyCycle
from pipeline.constants import Array
from pipeline.duty.air import Recorded
from pipeline.duty.projections import project_all
from pipeline.method import Method
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.model import renewed
from pipeline.results.wear import CompoundComponent, CompoundWear, Predictor
from pipeline.wear.components import component
from pipeline.wear.compound import pooled_over
from pipeline.wear.exposure import Exposure, interval_groups
from pipeline.wear.intervals import Intervals
from pipeline.wear.mass import MassLoss
from pipeline.wear.members import Member, WearRecord
from pipeline.wear.of_stops import ExposureOfTest, inputs_of
from pipeline.wear.predict import law_of, losses

NOISE_DOF = 20.0  # that the planned readings' noise is known by


@dataclass(frozen=True)
class Reading:
    """Planned readings: standard uncertainty of one (um), the blocks after which they are taken (None: all)."""

    u_um: float = 1.0
    after: tuple[str, ...] | None = None


@dataclass(frozen=True)
class Parameter:
    """A parameter of the archive's law and the ends between which it would be read; None: open."""

    name: str
    unit: str
    value: float
    low: float | None
    high: float | None


@dataclass(frozen=True)
class Life:
    """What the readings show: the law chosen and whether identified, its parameters, and the disc's component."""

    chosen: str | None
    identified: bool
    parameters: tuple[Parameter, ...]
    component: CompoundComponent
    why: str | None = None


def even_factors(specimens: int, scatter: float) -> Array:
    """Factors of the specimens on the law: even normal quantiles of their logarithm, of mean 0 and standard deviation
    `scatter` exactly."""
    if specimens < 2:
        return np.ones(1)
    drawn = special.ndtri((np.arange(specimens) + 0.5) / specimens)
    return np.asarray(np.exp(scatter * drawn / drawn.std(ddof=1)))


def foreseen(
    law: Predictor,
    card: Card,
    run: Exposure,
    specimens: int,
    scatter: float,
    reading: Reading,
    method: Method,
) -> Life:
    """What so many specimens of the card's program would show of the disc's wear by the archive's law.

    run: the planned stops of one specimen; scatter: relative standard deviation between specimens.
    """
    name = law_of(law)[0].name
    after = reading_stops(card, reading.after)
    count = len(run)
    groups = interval_groups(np.arange(1, count + 1), after[:-1], after[1:])
    loss = groups @ losses(law, run)
    k = len(loss)
    covariance = reading.u_um**2 * (2 * np.eye(k) - np.eye(k, k=1) - np.eye(k, k=-1))
    part = component("disc", card)
    exposure = ExposureOfTest(
        stops=run, run_number=np.arange(1, count + 1), block=[b.name for b in card.blocks for _ in range(b.stops)],
        purpose=[b.purpose for b in card.blocks for _ in range(b.stops)], filled=0, dwell_known=1.0, surface="modelled",
        curve=None, inputs=inputs_of(card, method.wear, modelled=True),
    )  # fmt: skip
    members = []
    for number, factor in enumerate(even_factors(specimens, scatter), start=1):
        own = card.model_copy(update={"test": f"planned {number}", "specimen": str(number), "batch": "planned"})
        measured = Intervals(
            after[:-1], after[1:], factor * loss, covariance, NOISE_DOF, "planned readings", single_um=reading.u_um
        )
        record = WearRecord(own, pl.DataFrame(), pl.DataFrame(), [], None)
        members.append(
            Member(record, exposure, part, measured, groups, np.ones(k, bool), [MassLoss() for _ in range(k)])
        )
    found = pooled_over(members, method.wear)
    own_law = next((entry for entry in found.models if entry.model == name), None)
    parameters = []
    for key, stated in law.parameters.items():
        seen = own_law.parameters.get(key) if own_law else None
        ends = (None, None) if seen is None else (seen.low, seen.high)
        parameters.append(Parameter(key, stated.unit, float(stated.value or 0.0), *ends))
    chosen = found.chosen_law
    right = bool(chosen and chosen.identified and chosen.model == name)
    why = None if right else (own_law.why if own_law and own_law.why else found.chosen_why)
    return Life(found.chosen, right, tuple(parameters), found, why)


def reading_stops(card: Card, after: Sequence[str] | None) -> np.ndarray:
    """Stops after which wear is read, the one before the first among them. Raises InputError for an unknown block."""
    from pipeline.wear.planned import readings_after

    return readings_after(card, after)


@dataclass(frozen=True)
class DutyLife:
    """Life on a duty in km and its half width as a share, by the planned readings; None with `why`. by_source: shares of its variance."""

    duty: str
    life_km: float | None
    half: float | None
    limited_by: str | None
    why: str | None = None
    by_source: Mapping[str, float] | None = None


def on_duty(
    duty: DutyCycle,
    life: Life,
    tests: Sequence[Recorded],
    friction: CompoundFriction,
    wear: CompoundWear,
    method: Method,
) -> DutyLife:
    """The disc's life on a duty by what the planned readings would show, all else as the archive has it."""
    components = {**(wear.components or {}), "disc": life.component}
    projected = project_all(
        [duty], tests, friction=friction, wear=renewed(wear, components=components), settings=method.duty,
        wear_settings=method.wear, temperature_kind=method.reduction.temperature,
    ).duties[0]  # fmt: skip
    disc = projected.life_by_component.get("disc")
    if disc is None or disc.value is None or disc.low is None:
        return DutyLife(duty.duty, None, None, None, (disc.why if disc else projected.why) or "no life of the disc")
    km = disc.value * duty.length / 1e3
    if disc.high is None:
        return DutyLife(duty.duty, km, None, projected.life_limited_by, disc.why)
    half = (disc.high - disc.low) / 2 / disc.value
    if half > 1:
        why = "the interval is wider than the life itself"
        return DutyLife(duty.duty, km, None, projected.life_limited_by, why, disc.by_source)
    return DutyLife(duty.duty, km, half, projected.life_limited_by, by_source=disc.by_source)
