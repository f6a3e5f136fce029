"""One duty projected: temperatures, shares, wear and life at the duty's opening."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from pipeline.archive.duties import DutyCycle
from pipeline.constants import ZERO_C, Array
from pipeline.drift.film import Film
from pipeline.duty import rubbing as exposed
from pipeline.duty.cycle import MOST_WARMING, Events, History, settles_within, side_by_side
from pipeline.duty.lives import (
    Alike,
    OfBatch,
    Told,
    Worn,
    batch_rows,
    over_distance,
    shares_of,
    told,
    wear_per_cycle,
    worst_row,
)
from pipeline.duty.rubbing import Plate
from pipeline.duty.support import Braked, FrictionRun, WornBy, braked, of_duty, worn_by
from pipeline.heat.lumped import Disc
from pipeline.heat.propagation import NODE
from pipeline.results.duty import BatchLife, DutyProjection, DutySupport, Span
from pipeline.results.model import USUAL_CONFIDENCE, renewed
from pipeline.results.sources import HeatInput, InputName
from pipeline.tested.told import in_words
from pipeline.wear.exposure import Exposure


@dataclass(frozen=True)
class GentleLimit:
    """Limit of low-energy use: power density per pad area in W/mm2 between its ends, and the start temperature in
    degC up to which glazing was seen to grow. An end that is not known is None.
    """

    power: float
    temperature_c: float
    power_low: float | None = None
    power_high: float | None = None


@dataclass(frozen=True)
class Brake:
    """The brake and what the tests say of the compound on it; temperatures of the window and limits in
    degC.
    """

    disc: Disc
    plate: Plate | None
    rubbing: exposed.Rubbing
    components: tuple[Worn, ...]
    heat_share: float = 1.0
    temperature_kind: str = "initial"
    window: tuple[float, float] | None = None
    window_inner: tuple[float, float] | None = None  # by the inner and the outer ends of the window's intervals
    window_outer: tuple[float, float] | None = None
    window_confidence: float = USUAL_CONFIDENCE  # of the intervals of its ends
    window_why: str | None = None
    glazing: GentleLimit | None = None
    glazing_why: str | None = None
    film: Film = field(default_factory=Film)
    glazing_loss: float = 0.05  # share of mu that the target accepts to lose over one use
    film_growth: float = 0.0005  # mm2/J, of a stop of the warm-up where no test glazed
    window_by_data: tuple[bool, bool] = (False, False)  # whether the friction data end before the band does
    confidence: float = 0.95
    batches: tuple[OfBatch, ...] = ()
    alike: Alike | None = None  # why batches are not shown equivalent in the wear of a component in a mix of mechanisms
    unlike: str | None = None  # why not somewhere in a duty's sweep: one batch's life is told at all its openings
    worn_mass: float | None = None  # of the disc at minimum thickness
    inputs: tuple[HeatInput, ...] = ()  # heat inputs that temperatures rest on, as known before any reading

    def known_input(self, name: InputName) -> HeatInput | None:
        """What is known of a heat input."""
        return next((one for one in self.inputs if one.name == name), None)

    def factors(self, name: InputName) -> tuple[float, float]:
        """Factors on an input at its nodes."""
        one = self.known_input(name)
        u = 0.0 if one is None else one.u
        return float(np.exp(-NODE * u)), float(np.exp(NODE * u))

    @property
    def known(self) -> FrictionRun:
        """What is known of friction where there is no map: the curve's temperatures."""
        return FrictionRun.of(None, self.rubbing)


def window_share(
    settled: History, events: Events, brake: Brake, window: tuple[float, float] | None = None
) -> Array | None:
    """Share of the settled cycle's energy whose stop temperature lies in the window, at each opening [k]."""
    window = window or brake.window
    if window is None:
        return None
    low, high = window
    inside = _inside(settled, brake, low, high)
    return np.asarray(events.energy @ inside / events.energy.sum(), float)


def inside_window(settled: History, brake: Brake) -> Array:
    """1 where a braking's temperature lies in the compound's window, [e, k]."""
    assert brake.window is not None
    return _inside(settled, brake, *brake.window)


def _inside(settled: History, brake: Brake, low: float, high: float) -> Array:
    """1 where a braking's temperature lies between low and high, both included, [e, k]."""
    temperature = brakings_at(settled, brake.temperature_kind)
    return ((temperature >= low) & (temperature <= high)).astype(float)


def brakings_at(settled: History, kind: str) -> Array:
    """The method's temperature of each braking in degC, [e, k]."""
    path = settled.braking
    value = {"initial": path[:, 0], "mean": path.mean(axis=1), "end": path[:, -1], "peak": path.max(axis=1)}
    return np.asarray(value[kind] - ZERO_C, float)


def glazing_share(
    settled: History, events: Events, brake: Brake, power: float | None = None, temperature: float | None = None
) -> Array | None:
    """Share of the settled cycle's energy under the limit of low-energy use, at each opening [k].

    Cold is what starts below the window, or below the temperature up to which glazing was seen to grow:
    nothing says that it stops growing there. `power` and `temperature` replace the limits.
    """
    if brake.glazing is None:
        return None
    power = brake.glazing.power if power is None else power
    temperature = cold_below(brake) if temperature is None else temperature
    density = events.energy / events.brake_time / brake.rubbing.friction_area / 1e6
    gentle = (density < power).astype(float)
    # in the temperature at which a stop begins, whatever temperature the method's window is in
    cold = (settled.braking[:, 0] - ZERO_C <= temperature).astype(float)
    return np.asarray((events.energy * gentle) @ cold / events.energy.sum(), float)


def cold_below(brake: Brake) -> float:
    """Start temperature in degC under which gentle braking counts as glazing-prone."""
    assert brake.glazing is not None
    seen = brake.glazing.temperature_c
    return seen if brake.window is None else max(seen, brake.window[0])


def glazing_interval(settled: History, events: Events, brake: Brake, opening: int) -> Span | None:
    """Glazing share by the limit's own ends: what was seen to glaze, and what was not seen to be harmless."""
    if brake.glazing is None:
        return None
    limit = brake.glazing
    seen = glazing_share(settled, events, brake, limit.power_low, limit.temperature_c)
    unknown = glazing_share(settled, events, brake, limit.power_high or np.inf)
    assert seen is not None and unknown is not None
    return Span(low=float(seen[opening]), high=float(unknown[opening]))


Excess = tuple[
    Array, Array, Array
]  # face above bulk as stated, and at both nodes of the conductivity (as of `rubbing.excess_of`)


def conducted(history: History, events: Events, brake: Brake, openings: Sequence[int]) -> Excess | None:
    """How far the face rises above the bulk at each of these openings; None where wear goes by the bulk's temperature."""
    plate, share = _plate(brake), brake.heat_share
    if plate is None:
        return None
    excess = exposed.excess_of(history, events, plate, share, openings)
    if not _oxidises(brake) or brake.known_input("conductivity") is None:
        return excess, excess, excess
    low, high = (
        exposed.excess_of(history, events, replace(plate, conductivity=k), share, openings)
        for k in np.multiply(plate.conductivity, brake.factors("conductivity"))
    )
    return excess, low, high


def exposures(
    history: History, events: Events, brake: Brake, openings: Sequence[int], face: Excess | None = None
) -> list[Exposure]:
    """Exposure of a cycle at each of these openings (indices), and where wear asks for it with each heat input at its nodes.

    How far the face rises above the bulk goes by the flux, next to nothing by the bulk's own temperature: it is conducted once, and
    at the nodes of the conductivity. face: as of `conducted`, where it is known already.
    """
    plate, share = _plate(brake), brake.heat_share
    face = face or conducted(history, events, brake, openings)

    def made(run: History, excess: Array | None, through: float = 1.0) -> list[Exposure]:
        kind, own = brake.temperature_kind, plate and replace(plate, conductivity=plate.conductivity * through)
        return exposed.of_cycles(run, events, brake.rubbing, own, share, kind, openings, excess)

    excess = None if face is None else face[0]
    found = made(history, excess)
    if not _oxidises(brake):
        return found
    ends: dict[InputName, tuple[list[Exposure], list[Exposure]]] = {}
    for name, (low, high) in history.nodes.items():
        down, up = brake.factors(name) if name == "heat share" else (1.0, 1.0)
        ends[name] = (
            made(low, None if excess is None else excess * down),
            made(high, None if excess is None else excess * up),
        )
    if face is not None and brake.known_input("conductivity") is not None:
        down, up = brake.factors("conductivity")
        ends["conductivity"] = (made(history, face[1], down), made(history, face[2], up))
    return [
        replace(one, nodes={name: (low[i], high[i]) for name, (low, high) in ends.items()})
        for i, one in enumerate(found)
    ]


def _oxidises(brake: Brake) -> bool:
    """Whether some wear law knows temperatures, be it a batch's alone."""
    return any(c.model is not None and c.model.model == "oxidation" for c in _components(brake))


def _components(brake: Brake) -> list[Worn]:
    """Components of all batches together and of each batch: whatever is projected has to find its exposure."""
    return [*brake.components, *(one for batch in brake.batches for one in batch.components)]


def use_exposure(warming: Sequence[History], settled: Exposure, events: Events, brake: Brake, cycles: int) -> Exposure:
    """Exposure of a whole use of `cycles` at one opening: the warming ones, then the settled one as often as is left."""
    ((whole),) = use_exposures(warming, [settled], [min(len(warming), cycles)], events, brake, cycles)
    return whole


def use_exposures(
    warming: Sequence[History],
    settled: Sequence[Exposure],
    first: Sequence[int],
    events: Events,
    brake: Brake,
    cycles: int,
) -> Iterator[Exposure]:
    """Exposure of a whole use of `cycles` at each opening [k]: its `first` [k] cycles of `warming`, then the settled one as often as
    is left.

    One opening is made after another, for their histories are large; what the face rises above the bulk is conducted for all at once.
    """
    run = [thinned(n) for n in first]
    each = [side_by_side([warming[c].part(slice(k, k + 1)) for c, _ in parts]) for k, parts in enumerate(run)]
    bare = side_by_side([replace(one, nodes={}) for one in each])
    face = conducted(bare, events, brake, range(bare.braking.shape[2]))
    at, rows = 0, len(events.energy)
    for history, parts, own in zip(each, run, settled, strict=True):
        till = at + len(parts) * rows
        risen = None if face is None else (face[0][at:till], face[1][at:till], face[2][at:till])
        found = exposures(history, events, brake, range(len(parts)), risen)
        warm = [(one, float(weight)) for one, (_, weight) in zip(found, parts, strict=True)]
        yield exposed.of_use([*warm, (own, float(cycles - sum(weight for _, weight in parts)))])
        at = till


def thinned(count: int) -> list[tuple[int, int]]:
    """Of the first `count` cycles those that stand for all, each with how many it stands for: the later ones differ less and less
    from their neighbours, so from the eighth on one in the middle stands for a growing number of them."""
    found, at = [], 0
    while at < count:
        size = min(max(at // 4, 1), count - at)
        found.append((at + size // 2, size))
        at += size
    return found


def life_of_use(duty: DutyCycle, brake: Brake, whole: Exposure, cycle: Exposure) -> Told:
    """Life of a use, as it is told; cycle: the settled one."""
    return told(
        brake.components, brake.batches, brake.alike, whole, duty.cycles, brake.confidence, cycle, unlike=brake.unlike
    )


def _plate(brake: Brake) -> Plate | None:
    """Surface temperatures cost time and matter to oxidation only."""
    needed = any(c.measured or (c.model is not None and c.model.model == "oxidation") for c in _components(brake))
    return brake.plate if needed else None


def support(
    brakings: Braked,
    position: int,
    settled: History,
    brake: Brake,
    stops: Exposure,
    opening: int,
    components: Sequence[Worn] | None = None,
) -> DutySupport:
    """How the conclusions at an opening (index into `settled`; `position` into the brakings' openings) stand to what was tested;
    `stops` is the settled cycle's exposure there; components: whose wear is told (None: that of all batches together)."""
    worn = worn_of(components or brake.components, stops, brake)
    inside = None if brake.window is None else _inside(settled, brake, *brake.window)[:, opening]
    return of_duty(brakings, position, inside, worn)


def worn_of(components: Sequence[Worn], stops: Exposure, brake: Brake) -> dict[str, WornBy]:
    """How each component's loss over these stops stands to what its readings cover; by name, of those that have a law."""
    laws = {component.name: component.law(stops)[0] for component in components}
    return {
        name: worn_by(name, law, stops, brake.rubbing.friction_area)
        for name, law in laws.items()
        if law is not None and law.joint is not None
    }


def components_told(of: Told, brake: Brake) -> Sequence[Worn]:
    """The components of whom a life is told: the worst batch's, else those of all batches together."""
    one_batch = of.worst is not None and of.of is not None and of.of.batch is not None
    return of.worst[0].components if of.worst is not None and one_batch else brake.components


def _rows(of: Told, brake: Brake, whole: Exposure, cycle: Exposure, length: float) -> list[BatchLife]:
    """Every batch as duty.json has it, with what its own wear rests on."""
    rows = []
    for row, (batch, _) in zip(batch_rows(of, length), of.by_batch, strict=True):
        worn = worn_of(batch.components, cycle, brake)
        rows.append(
            renewed(
                row,
                wear_shares=shares_of(batch.components, whole),
                wear_share={name: one.share for name, one in worn.items()},
                extrapolations=[entry for one in worn.values() for entry in one.entries],
            )
        )
    return rows


def project(
    duty: DutyCycle,
    events: Events,
    settled: History,
    warming: Sequence[History],
    brake: Brake,
    opening: int,
    brakings: Braked | None = None,
) -> DutyProjection:
    """The duty's figures at one of the run openings (index); `brakings` are the settled cycle's at openings of which it is the last
    (None: without a map).

    Temperatures and shares are the settled cycle's; wear and life are the use's, its warming cycles included.
    """
    (cycle,) = exposures(settled, events, brake, [opening])
    whole = use_exposure(warming, cycle, events, brake, duty.cycles)
    of = life_of_use(duty, brake, whole, cycle)
    inside, gentle = window_share(settled, events, brake), glazing_share(settled, events, brake)
    within = settles_within(list(warming), float(settled.start[opening]), duty.cycles)
    known = brakings or braked(
        duty, events, settled, brake.temperature_kind, [opening], brake.known, brake.rubbing.friction_area
    )
    stands = support(known, -1, settled, brake, cycle, opening, components_told(of, brake))
    no_limit = brake.glazing_why or "no test shows where glazing-like drift begins"
    return DutyProjection(
        duty=duty.duty,
        opening=duty.cooling.opening,
        cycles=duty.cycles,
        temperature_low_c=float(settled.lowest()[opening]) - ZERO_C,
        temperature_high_c=float(settled.highest()[opening]) - ZERO_C,
        settled_within_use=within,
        cycles_until_warm=len(warming) if within and len(warming) < MOST_WARMING else None,
        highest_in_use_c=max(float(h.highest()[0]) for h in warming) - ZERO_C,
        window_share=None if inside is None else float(inside[opening]),
        window_share_why=(brake.window_why or "the compound has no window") if inside is None else None,
        glazing_share=None if gentle is None else float(gentle[opening]),
        glazing_share_interval=glazing_interval(settled, events, brake, opening),
        glazing_share_why=no_limit if gentle is None else None,
        wear_um_per_cycle=of.pooled.wear,
        wear_um_per_settled_cycle={c.name: wear_per_cycle(c, cycle, 1, brake.confidence) for c in brake.components},
        wear_shares=shares_of(brake.components, whole),
        life_cycles=of.life,
        life_km=over_distance(of.life, duty.length),
        life_limited_by=of.first,
        life_by_component=of.pooled.each,
        life_of=of.of,
        pooled_life_cycles=of.pooled.cycles if brake.batches else None,
        pooled_life_km=over_distance(of.pooled.cycles, duty.length) if brake.batches else None,
        by_batch=_rows(of, brake, whole, cycle, duty.length),
        worst=worst_row(of, whole, duty.length),
        extrapolated=[in_words(one) for one in stands.extrapolations],
        support=renewed(stands, life_basis=stands.wear_basis.get(of.first) if of.first else None),
    )
