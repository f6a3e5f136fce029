"""Which cooling openings may be run, what ends them, and what the tests cannot exclude there.

An opening may be run where, of the settled cycle,

    window       the wanted share of the energy lies in the friction window (temperature: where the friction data end first)
    glazing      no test shows that one use loses more friction than the target accepts
    wear data    bulk and face stay inside the temperatures of the wear readings (energies and powers that no opening can
                 change are told as extrapolation, and end nothing)
    life         is what the duty asks for

The openings to run are the widest unbroken range of all four. They are free of reservation ("sure") where all hold by the
careful ends: the window's inner ends, the upper bound of glazing, the lower end of life. Ends are refined by running more
openings between the last that holds and the first that fails, each requirement on its own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from pipeline.archive.duties import DutyCycle
from pipeline.constants import Array
from pipeline.duty.cycle import Air, Events, History, settle, until_warm, warm_up
from pipeline.duty.glazing import Losses, losses
from pipeline.duty.lives import Told, over_distance
from pipeline.duty.places import places
from pipeline.duty.project import Brake, exposures, life_of_use, use_exposures, window_share
from pipeline.duty.propagation import longest, surely_inside
from pipeline.duty.window_words import side_of, why_none
from pipeline.results.duty import Projected, Span
from pipeline.results.openings import Cause, NotExcluded, OpeningLimit
from pipeline.wear.exposure import Exposure
from pipeline.wear.predict import beyond
from pipeline.wording import in_percent

REFINEMENTS, BETWEEN = 3, 5
Asked = str  # a cause of OpeningLimit, or SURE
SURE = "sure"
TEMPERATURES = ("temperature", "surface temperature")  # of what `beyond` says, what an opening changes


@dataclass(frozen=True)
class Openings:
    """The openings to run and what stands behind them; `sure` are those free of reservation."""

    span: Span | None
    why: str | None
    sure: Span | None = None
    sure_why: str | None = None
    limits: tuple[OpeningLimit, ...] = ()
    not_excluded: tuple[NotExcluded, ...] = ()


@dataclass(frozen=True)
class Run:
    """One duty run at openings [k]: the settled cycle, and what each requirement comes to."""

    opening: Array
    settled: History
    losses: Losses
    stops: Sequence[Exposure] | None
    told: Sequence[Told] | None  # life of a use
    length: float  # of a cycle, m

    @property
    def lives(self) -> list[Projected] | None:
        """Life in km of a use, as it is told."""
        return None if self.told is None else [over_distance(one.life, self.length) for one in self.told]

    def upto(self, n: int) -> Run:
        """The first n openings."""
        return Run(
            self.opening[:n],
            self.settled.upto(n),
            self.losses.upto(n),
            self.stops[:n] if self.stops is not None else None,
            self.told[:n] if self.told is not None else None,
            self.length,
        )


def run(
    duty: DutyCycle,
    events: Events,
    brake: Brake,
    air: Air,
    opening: Array,
    settled: History | None = None,
    worn: bool = True,
    lived: bool | None = None,
) -> Run:
    """The duty at openings; worn: also what wear needs, which costs most of the time; lived: also the life of a use (None: where the
    duty asks for one)."""
    settled = settled or settle(events, brake.disc, air, opening, brake.heat_share)
    wanted = worn and (duty.life is not None if lived is None else lived)
    warming = warm_up(
        events, brake.disc, air, opening, count=duty.cycles, settled=settled.start, share=brake.heat_share
    )
    use = places(events, settled, warming, duty.cycles, brake)
    lost = losses(use, brake.film, brake.glazing_loss, brake.film_growth)
    stops = exposures(settled, events, brake, range(len(opening))) if worn else None
    if stops is None or not wanted:
        return Run(opening, settled, lost, stops, None, duty.length)
    first = [until_warm(warming, float(t), k, duty.cycles) for k, t in enumerate(settled.start)]
    uses = use_exposures(warming, stops, first, events, brake, duty.cycles)
    found = [life_of_use(duty, brake, whole, cycle) for whole, cycle in zip(uses, stops, strict=True)]
    return Run(opening, settled, lost, stops, found, duty.length)


def unlike_somewhere(found: Run) -> str | None:
    """Why one batch's life is told at all openings: at the first of them batches are not shown alike. None: they are at all."""
    for at, one in zip(found.opening, found.told or [], strict=False):
        if one.of is not None and one.of.batch is not None:
            return f"at opening {at:.2f} {one.of.why.split(': ', 1)[-1]}"
    return None


def of_one_batch(found: Run, why: str | None) -> Run:
    """The run with the worst batch's life wherever that of all together was told; why: None leaves it as it is."""
    if found.told is None or why is None:
        return found
    return replace(found, told=[one.of_worst(why) for one in found.told])


def holds(found: Run, duty: DutyCycle, events: Events, brake: Brake, wanted: float) -> dict[Asked, NDArray[np.bool_]]:
    """Whether each requirement holds at each opening [k], and, as SURE, whether all do by their careful ends."""
    share = window_share(found.settled, events, brake)
    assert share is not None
    good: dict[Asked, NDArray[np.bool_]] = {
        "window": share >= wanted - 1e-12,
        "glazing": found.losses.low <= brake.glazing_loss,
    }
    sure = good["window"] & (found.losses.high <= brake.glazing_loss)
    sure &= surely_inside(found.settled, events, brake, wanted)
    if found.stops is not None:
        good["wear data"] = np.array([not beyond_wear(brake, stops) for stops in found.stops])
        sure &= good["wear data"]
    if duty.life is not None and found.lives is not None:
        asked = duty.life / 1e3
        good["life"] = np.array([one.value is None or one.value >= asked for one in found.lives])
        sure &= np.array([one.low is not None and one.low >= asked for one in found.lives])
    return good | {SURE: sure}


def beyond_wear(brake: Brake, stops: Exposure) -> list[str]:
    """In words, the temperatures beyond those of the wear readings."""
    said = []
    for component in brake.components:
        model, _ = component.law(stops)
        if model is not None:
            texts = [text for text in beyond(model, stops) if text.startswith(TEMPERATURES)]
            said += [f"wear of the {component.name}: {text}" for text in texts]
    return said


def openings(duty: DutyCycle, events: Events, brake: Brake, air: Air, found: Run, wanted: float) -> Openings:
    """The openings to run of a duty run over the whole sweep (`found`, openings rising)."""
    if window_share(found.settled, events, brake) is None:
        why = brake.window_why or "the compound has no window"
        return Openings(None, why, None, why)
    good = holds(found, duty, events, brake, wanted)
    sure = good.pop(SURE)
    whole = np.logical_and.reduce(list(good.values()))
    if not whole.any():
        why = _why_none(found, events, brake, good, wanted)
        return Openings(None, why, None, why)
    first, last = longest(whole)
    brackets = _brackets(good, first, last)
    within = sure.copy()
    within[:first], within[last + 1 :] = False, False
    if within.any():
        a, b = longest(within)
        brackets |= {(SURE, "low"): (a, a - 1), (SURE, "high"): (b, b + 1)}
    ends = _refined(duty, events, brake, air, found.opening, brackets, wanted)
    low = max(
        (at for (_, side), at in ends.items() if side == "low" and _ != SURE), default=float(found.opening[first])
    )
    high = min(
        (at for (_, side), at in ends.items() if side == "high" and _ != SURE), default=float(found.opening[last])
    )
    span = Span(low=low, high=high)
    limits = [
        OpeningLimit(
            cause=_cause(cause, side, found, events, brake, k),
            at=at,
            side=side,
            why=_why(cause, found, duty, events, brake, k, wanted),
        )
        for (cause, side), at in ends.items()
        if cause != SURE and 0 <= (k := brackets[cause, side][1]) < len(found.opening)
    ]
    limits.sort(key=lambda one: abs(one.at - (span.low if one.side == "low" else span.high)))
    free = Span(low=max(ends[SURE, "low"], low), high=min(ends[SURE, "high"], high)) if within.any() else None
    at_ends = run(duty, events, brake, air, np.array([low, high]))
    inner = surely_inside(found.settled, events, brake, wanted) if brake.window_inner is not None else whole
    open_ = _not_excluded(found, at_ends, duty, brake, span, first, last, inner)
    sure_why = None if free else _why_not_sure(open_)
    return Openings(span, None, free, sure_why, tuple(limits), tuple(open_))


Bracket = tuple[int, int]  # index of the last opening that holds, of the first that fails (beyond the sweep: none)


def _brackets(good: Mapping[Asked, NDArray[np.bool_]], first: int, last: int) -> dict[tuple[Asked, str], Bracket]:
    """For each requirement and side, where it first fails going away from the openings to run."""
    found: dict[tuple[Asked, str], Bracket] = {}
    for cause, own in good.items():
        below, above = np.flatnonzero(~own[:first]), np.flatnonzero(~own[last + 1 :])
        if below.size:
            found[cause, "low"] = (int(below[-1]) + 1, int(below[-1]))
        if above.size:
            found[cause, "high"] = (last + int(above[0]), last + 1 + int(above[0]))
    return found


def _refined(
    duty: DutyCycle,
    events: Events,
    brake: Brake,
    air: Air,
    grid: Array,
    brackets: Mapping[tuple[Asked, str], Bracket],
    wanted: float,
) -> dict[tuple[Asked, str], float]:
    """Each end moved from the opening that holds towards the one that fails (the sweep's own end stays)."""
    ends = {key: (float(grid[a]), float(grid[b]) if 0 <= b < len(grid) else None) for key, (a, b) in brackets.items()}
    for _ in range(REFINEMENTS):
        moving = {key: np.linspace(a, b, BETWEEN + 2)[1:-1] for key, (a, b) in ends.items() if b is not None}
        if not moving:
            break
        worn = any(cause in ("wear data", "life", SURE) for cause, _ in moving)
        tried = run(duty, events, brake, air, np.concatenate(list(moving.values())), worn=worn)
        good = holds(tried, duty, events, brake, wanted)
        for position, (key, at) in enumerate(moving.items()):
            own = good[key[0]][position * BETWEEN : (position + 1) * BETWEEN]
            ends[key] = _closer(ends[key], at, own)
    return {key: holding for key, (holding, _) in ends.items()}


def _closer(end: tuple[float, float | None], at: Array, good: NDArray[np.bool_]) -> tuple[float, float | None]:
    """The last opening that holds and the first that fails, on the way from one to the other."""
    holding, fails = end
    failing = np.flatnonzero(~good)
    reached = int(failing[0]) if len(failing) else len(at)
    return float(at[reached - 1]) if reached else holding, float(at[reached]) if reached < len(at) else fails


def _cause(cause: str, side: str, found: Run, events: Events, brake: Brake, k: int) -> Cause:
    """The window's end is the data's where friction was not measured beyond it."""
    if cause != "window":
        return cause  # type: ignore[return-value]
    cold, hot = side_of(found.settled, events, brake, k)
    by_data = brake.window_by_data[0] if cold >= hot else brake.window_by_data[1]
    return "temperature" if by_data else "window"


def _why(cause: str, found: Run, duty: DutyCycle, events: Events, brake: Brake, k: int, wanted: float) -> str:
    """Why a requirement fails at the opening of index k."""
    at = f"at {found.opening[k]:.2f}"
    if cause == "glazing":
        return f"{at} one use loses {in_percent(found.losses.low[k], 1)} of friction or more by what glazed in tests; the target accepts {in_percent(brake.glazing_loss, 1)}"
    if cause == "wear data" and found.stops is not None:
        return f"{at} {'; '.join(beyond_wear(brake, found.stops[k]))}"
    if cause == "life" and found.lives is not None and duty.life is not None:
        return f"{at} life is {found.lives[k].value:.0f} km, the duty asks for {duty.life / 1e3:.0f}"
    share = window_share(found.settled, events, brake)
    assert share is not None
    cold, hot = side_of(found.settled, events, brake, k)
    sides = [f"{in_percent(x)} {word}" for x, word in ((cold, "too cold"), (hot, "too hot")) if x > 0]
    return f"{at} {in_percent(share[k])} of the energy lies in the window ({', '.join(sides)}); {in_percent(wanted)} is wanted"


def _why_none(found: Run, events: Events, brake: Brake, good: Mapping[Asked, NDArray[np.bool_]], wanted: float) -> str:
    """Why no opening holds all: the requirement that none holds, or the ranges that do not meet."""
    if not good["window"].any():
        share = window_share(found.settled, events, brake)
        assert share is not None
        return why_none(events, found.settled, brake, found.opening, share, wanted)
    said = []
    for cause, own in good.items():
        if own.all():
            continue
        first, last = longest(own) if own.any() else (0, 0)
        where = f"{found.opening[first]:.2f} to {found.opening[last]:.2f}" if own.any() else "at no opening"
        said.append(f"{cause} holds {where}")
    return f"no opening holds all that is asked: {'; '.join(said)}"


def _not_excluded(
    found: Run, at_ends: Run, duty: DutyCycle, brake: Brake, span: Span, first: int, last: int, inner: NDArray[np.bool_]
) -> list[NotExcluded]:
    """What may fail at the openings to run although nothing that was tested shows it; at_ends: the duty run at both ends of them;
    inner: whether the window holds the wanted share by its inner ends, at each opening [k]."""
    said = []
    inside = slice(first, last + 1)
    opening = np.concatenate([[span.low], found.opening[inside], [span.high]])
    ends = at_ends.losses.high
    glazed = np.concatenate([ends[:1], found.losses.high[inside], ends[1:]])
    if (glazed > brake.glazing_loss).any():
        words = [_glazing_words(float(at), float(high), brake) for at, high in zip(opening, glazed, strict=True)]
        said.append(_open("glazing", opening, glazed > brake.glazing_loss, -glazed, words))
    if duty.life is not None and found.lives is not None and at_ends.lives is not None:
        asked = duty.life / 1e3
        lives = [at_ends.lives[0], *found.lives[inside], at_ends.lives[1]]
        lows = np.array([-np.inf if one.low is None else one.low for one in lives])
        if (lows < asked).any():
            words = [_life_words(float(at), one, asked) for at, one in zip(opening, lives, strict=True)]
            said.append(_open("life", opening, lows < asked, lows, words))
    if brake.window_inner is not None and not inner[inside].any():
        why = "by the inner ends of the window's interval no opening holds the wanted share of the energy in it"
        said.append(NotExcluded(cause="window", low=span.low, high=span.high, why=why))
    return said


def _open(cause: Cause, opening: Array, where: NDArray[np.bool_], good: Array, words: Sequence[str]) -> NotExcluded:
    """Over the openings [n] from the first to the last concerned; the reason is that of the least good [n] of them."""
    own = np.flatnonzero(where)
    worst = int(own[np.argmin(good[own])])
    return NotExcluded(cause=cause, low=float(opening[own[0]]), high=float(opening[own[-1]]), why=words[worst])


def _glazing_words(at_opening: float, high: float, brake: Brake) -> str:
    at = f"at {at_opening:.2f}"
    if np.isfinite(high):
        return (
            f"{at} one use may lose up to {in_percent(high, 1)} of friction to a film by what the tests leave open; "
            f"the target accepts {in_percent(brake.glazing_loss, 1)}"
        )
    return f"{at} no use as gentle and as cold as the duty's, or more so, was tested: nothing bounds what a film takes"


def _life_words(opening: float, one: Projected, asked: float) -> str:
    if one.value is None:
        return f"life is not known ({one.why}); the duty asks for {asked:.0f} km"
    low = "has no lower end" if one.low is None else f"may be as short as {one.low:.0f} km"
    return f"at {opening:.2f} life {low}; the duty asks for {asked:.0f}"


def _why_not_sure(open_: Sequence[NotExcluded]) -> str:
    return "; ".join(one.why for one in open_) or "by the inner ends of the window's interval none of them holds"
