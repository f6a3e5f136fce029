"""Wear and life of a duty's components, of all batches together and of each batch, and whose life is told.

The compound's law is the mean specimen's over all batches; where batches wear unlike that is nobody's life. So a life is

    that of all batches together    where every pair of them is shown equivalent in the wear of what ends it, in this
                                    duty's own mix of mechanisms
    the worst batch's               else: of those with a life the one whose best estimate is the shortest

Picking the shortest of n estimates picks the one that erred low: its truth lies above it more often than below, and below
the interval's lower end hardly ever. With batches alike, all that a 95 % interval misses is above. So its upper end is
taken where the largest of n errors lies with the chance 95 % (Sidak, J Am Stat Assoc 62, 1967, p. 626, from memory),

    the quantile 0.95^(1/n) of the errors, and no less than the plain interval's 0.975        n = 3: 0.983

which holds the truth of the batch picked in 95 % where batches are alike, and in up to 96 % where they are far apart.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.heat.propagation import by_source, dominant
from pipeline.results.duty import BatchLife, LifeOf, Projected, WorstLife
from pipeline.results.model import renewed
from pipeline.results.wear import BatchWear, CompoundComponent, FittedLaw, MeasuredRate, Part, Predictor
from pipeline.wear.exposure import Exposure
from pipeline.wear.measured import fitting
from pipeline.wear.parts import over_batch
from pipeline.wear.predict import interval, part_shares, sources, wear_of


@dataclass(frozen=True)
class Worn:
    """A wearing component: name, the identified law's entry of wear.json or why there is none, usable thickness
    in um. measured: where no law is identified, the measured rates that a duty like their stops may be
    projected with. read: whether the component was read at all. source: the component of wear.json; of_batch: the batch
    of it that the law is of, None for all together.
    """

    name: str
    model: FittedLaw | None
    usable_um: float | None
    why: str | None = None
    measured: tuple[MeasuredRate, ...] = ()
    read: bool = True
    source: CompoundComponent | None = None
    of_batch: BatchWear | None = None

    def law(self, stops: Exposure) -> tuple[Predictor | None, str | None]:
        """(what these stops' wear may be predicted by, why there is nothing)"""
        if self.model is not None or not self.measured:
            return self.model, self.why or "no wear law was chosen"
        entry, unlike = fitting(self.measured, stops)
        return entry, f"{self.why}; {unlike}" if self.why and unlike else self.why or unlike


@dataclass(frozen=True)
class OfBatch:
    """A batch's components."""

    batch: str
    specimens: int
    components: tuple[Worn, ...]


Alike = Callable[[CompoundComponent, Mapping[Part, float]], str | None]  # why batches are not shown equivalent in a mix


@dataclass(frozen=True)
class Lives:
    """Wear per cycle and life of components by name, the one that ends it (None where one of them has no life), and life."""

    wear: dict[str, Projected]
    each: dict[str, Projected]
    first: str | None
    cycles: Projected


@dataclass(frozen=True)
class Told:
    """The life that is told and whose it is, and what stands beside it."""

    pooled: Lives
    life: Projected
    first: str | None
    of: LifeOf | None = None
    by_batch: tuple[tuple[OfBatch, Lives], ...] = ()
    worst: tuple[OfBatch, Lives] | None = None

    def of_worst(self, why: str) -> Told:
        """The worst batch's life where that of all together is told; why: in words."""
        if self.of is None or self.of.batch is not None or self.worst is None:
            return self
        batch, lives = self.worst
        count = sum(one.cycles.value is not None for _, one in self.by_batch)
        words = f"the shortest of {count} batches" if count > 1 else "no other batch has a life"
        of = LifeOf(batch=batch.batch, why=f"{words}: {why}")
        return replace(self, life=lives.cycles, first=lives.first, of=of)


def wear_per_cycle(
    component: Worn,
    stops: Exposure,
    cycles: int,
    confidence: float,
    like: Exposure | None = None,
    *,
    most_of: int = 1,
) -> Projected:
    """Loss in um per cycle with its interval; null with the reason where no law can predict.

    like: the single stops by which a measured rate is looked for, where `stops` are weighted (default: `stops`).
    most_of: of how many it was picked as the one with most wear; see the module's text.
    """
    model, why = component.law(stops if like is None else like)
    if model is None:
        return Projected(why=why)
    try:
        loss, mean_use, draws = wear_of(model, stops)
    except ValueError as error:
        return Projected(why=str(error))
    if not np.isfinite(loss):
        return Projected(why="the law needs mu, and there is no friction curve")
    value, of_draws = loss / cycles, draws / cycles
    found = interval(value, of_draws, confidence)
    low = found.low if most_of == 1 else interval(value, of_draws, picked(confidence, most_of)).low
    ground = f"{component.why}; {model.ground}" if model.ground else None
    told = by_source(sources(model, stops, mean_use))
    return Projected(
        value=found.value, low=low, high=found.high, ground=ground, by_source=told, dominated_by=dominant(told)
    )


def picked(confidence: float, count: int) -> float:
    """Confidence of the two-sided interval of which the far end serves the one picked of `count`; see the module's text."""
    return 1 - 2 * min((1 - confidence) / 2, 1 - confidence ** (1 / count))


def life(component: Worn, per_cycle: Projected) -> Projected:
    """Cycles from new thickness to the minimum; an interval of wear that reaches zero leaves life open
    above.
    """
    if per_cycle.value is None or per_cycle.low is None or per_cycle.high is None:
        return Projected(why=per_cycle.why)
    if component.usable_um is None:
        return Projected(why=f"the card gives no thickness and minimum_thickness of the {component.name}")
    if per_cycle.value <= 0:
        return Projected(why="the law predicts no wear on this duty")
    open_ended = per_cycle.low <= 0
    return Projected(
        value=component.usable_um / per_cycle.value,
        low=component.usable_um / per_cycle.high,
        high=None if open_ended else component.usable_um / per_cycle.low,
        why="the interval of wear reaches zero: life has no upper end" if open_ended else None,
        ground=per_cycle.ground,
        by_source=per_cycle.by_source,
        dominated_by=per_cycle.dominated_by,
    )


def over_distance(cycles: Projected, length: float) -> Projected:
    """Cycles of `length` m each, as km."""
    value, low, high = (None if x is None else x * length / 1e3 for x in (cycles.value, cycles.low, cycles.high))
    return renewed(cycles, value=value, low=low, high=high)


def shortest(lives: Mapping[str, Projected]) -> str | None:
    """The component that reaches its minimum first; of those whose life is known."""
    known = {name: one.value for name, one in lives.items() if one.value is not None}
    return min(known, key=known.__getitem__) if known else None


def unknown(components: Sequence[Worn], lives: Mapping[str, Projected]) -> list[str]:
    """Components that were read and yet have no life: one of them may be the first at its minimum."""
    return [c.name for c in components if c.read and c.usable_um is not None and lives[c.name].value is None]


def lives_of(
    components: Sequence[Worn],
    stops: Exposure,
    cycles: int,
    confidence: float,
    like: Exposure | None = None,
    *,
    most_of: int = 1,
) -> Lives:
    """Wear and life over `stops`, which are of so many cycles; like and most_of: as of `wear_per_cycle`."""
    wear = {c.name: wear_per_cycle(c, stops, cycles, confidence, like, most_of=most_of) for c in components}
    lives = {c.name: life(c, wear[c.name]) for c in components}
    first = shortest(lives) if not unknown(components, lives) else None
    why = "; ".join(f"{name}: {one.why}" for name, one in lives.items() if one.value is None)
    return Lives(wear, lives, first, lives[first] if first else Projected(why=why or "no component has a wear law"))


def told(
    components: Sequence[Worn],
    batches: Sequence[OfBatch],
    alike: Alike | None,
    stops: Exposure,
    cycles: int,
    confidence: float,
    like: Exposure | None = None,
    *,
    unlike: str | None = None,
) -> Told:
    """Whose life over these stops is told, and what stands beside it; alike None: nothing shows batches equivalent.

    unlike: why one batch's life is told though batches are alike over these stops. The worst batch's row among `by_batch` is as
    `worst` has it: one life has one interval.
    """
    pooled = lives_of(components, stops, cycles, confidence, like)
    each = tuple((one, lives_of(one.components, stops, cycles, confidence, like)) for one in batches)
    known = [(one, lives) for one, lives in each if lives.cycles.value is not None]
    if not known:
        return Told(pooled, pooled.cycles, pooled.first, by_batch=each)
    worst, _ = min(known, key=lambda pair: pair[1].cycles.value or np.inf)
    lives = lives_of(worst.components, stops, cycles, confidence, like, most_of=len(known))
    each = tuple((one, lives if one is worst else own) for one, own in each)
    ending = {one.first for _, one in known} | {pooled.first}
    whys = [
        why
        for component in components
        if component.name in ending and (why := _unlike(component, alike, stops, like)) is not None
    ]
    silent = [one.batch for one, own in each if own.cycles.value is None]
    whys += [f"no life of {' and '.join(silent)}, which may be shorter"] if silent else []
    said = (
        f"every pair of batches is shown equivalent in the wear of the {' and the '.join(sorted(filter(None, ending)))}"
    )
    found = Told(pooled, pooled.cycles, pooled.first, LifeOf(why=said), each, (worst, lives))
    if not whys and unlike is None and pooled.first:
        return found
    return found.of_worst("; ".join(whys) or unlike or "")


def _unlike(component: Worn, alike: Alike | None, stops: Exposure, like: Exposure | None) -> str | None:
    """Why batches are not shown equivalent in the wear of the component over these stops."""
    model, _ = component.law(stops if like is None else like)
    name = component.name
    if model is None or component.model is None or component.source is None:
        return f"no law of the {name} to hold batches against"
    if alike is None:
        return f"nothing shows the batches equivalent in wear of the {name}"
    return alike(component.source, part_shares(model, stops))


def batch_rows(of: Told, length: float) -> list[BatchLife]:
    """Every batch as duty.json has it."""
    return [
        BatchLife(
            batch=one.batch,
            specimens=one.specimens,
            wear_um_per_cycle=lives.wear,
            life_cycles=lives.cycles,
            life_km=over_distance(lives.cycles, length),
            life_limited_by=lives.first,
            life_by_component=lives.each,
            not_parted=[c.name for c in one.components if c.of_batch is not None and c.of_batch.parted is False],
        )
        for one, lives in of.by_batch
    ]


def worst_row(of: Told, stops: Exposure, length: float) -> WorstLife | None:
    """The batch of the shortest life with its specimen that wears most in this mix."""
    if of.worst is None:
        return None
    one, lives = of.worst
    component = next((c for c in one.components if c.name == lives.first), None)
    drawn: dict[str, float] = {}
    if component is not None and component.model is not None and component.source is not None and component.of_batch:
        drawn = over_batch(component.source, component.of_batch, part_shares(component.model, stops))
    specimen = max(drawn, key=drawn.__getitem__) if drawn else None
    km = over_distance(lives.cycles, length)
    factor = None if specimen is None else drawn[specimen]
    return WorstLife(
        batch=one.batch,
        component=lives.first,
        specimen=specimen,
        specimen_factor=factor,
        life_cycles=lives.cycles,
        life_km=km,
        specimen_life_km=None if factor is None or km.value is None else km.value / factor,
    )


def shares_of(components: Sequence[Worn], stops: Exposure) -> dict[str, dict[str, float]]:
    """Share of each part in the wear of every component with a law."""
    return {
        c.name: {str(part): share for part, share in part_shares(c.model, stops).items()}
        for c in components
        if c.model is not None
    }
