"""What would make a brake serve gentle and hard use, the cheapest first.

    an opening per duty    each duty has openings of its own: a setting
    hard stops between     the gentle duty's film is what parts them, and use that the tests showed to take a film off, run after so many
                           cycles, keeps the loss under what is accepted: so many stops as in that test, taking the loss per cycle as even;
                           the interval's careful ends count (largest loss, smallest share regained)
    a test                 what stands open is not shown either way: the conditions to run
    a margin of mu         the target band widened to what single stops have over the temperatures of the duty at the other's openings

The last costs no work but a concession, and stands last. A change is `shown` where nothing of it rests on a reservation.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.results.both import Change, DutyUse, HardStops, Openings
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import DutyProjection, SweepRow
from pipeline.results.film import FilmCleared
from pipeline.results.friction_map import CurvePoint
from pipeline.results.openings import OPEN_WORDS

LEAST_REGAINED = 0.5  # share of the loss below which stops did not take the film off


@dataclass(frozen=True)
class Duty:
    """A duty's projection with its use and its openings, all and without reservation."""

    found: DutyProjection
    use: DutyUse
    openings: Openings | None
    shown: Openings | None

    @property
    def name(self) -> str:
        return self.found.duty

    @property
    def open_(self) -> str:
        """In a word each, what stands against its openings."""
        causes = list(dict.fromkeys(OPEN_WORDS[one.cause] for one in self.found.not_excluded))
        return ", ".join(causes) or self.use.why or "nothing is shown"


def changes(
    duties: Sequence[Duty], friction: CompoundFriction, common: Openings | None, wanted: float
) -> tuple[list[Change], str | None]:
    """(changes, why there are none); common: openings that serve all with reservations; wanted: share of the energy in the window."""
    found = [
        *_opening_per_duty(duties, common),
        *_hard_stops(duties, friction, wanted),
        *_test(duties, common),
        *(_margin(duties, friction, wanted) if common is None else []),
    ]
    return found, None if found else "the tests show no change that would: no duty alone has an opening to run"


def _opening_per_duty(duties: Sequence[Duty], common: Openings | None) -> list[Change]:
    """An opening of its own for each duty; of no use where one opening serves all with the same reservations."""
    own = {d.name: d.openings for d in duties}
    if common is not None and any(d.shown is None for d in duties):
        return []
    if any(span is None for span in own.values()):
        return []
    shown = all(d.shown is not None for d in duties)
    best = {d.name: d.shown or d.openings for d in duties}
    told = {d.name: d.found.opening_words for d in duties if d.found.opening_untested}
    said = "; ".join(
        f"{name} {told.get(name) or f'{span.low:.2f} to {span.high:.2f}'}" for name, span in best.items() if span
    )
    reserved = [f"{d.name}: {d.open_}" for d in duties if d.shown is None]
    words = f"an opening for each duty: {said}" + (f"; not ruled out: {'; '.join(reserved)}" if reserved else "")
    return [Change(kind="an opening per duty", shown=shown, words=words, openings=_known(best))]


def _known(spans: dict[str, Openings | None]) -> dict[str, Openings]:
    return {name: span for name, span in spans.items() if span is not None}


# --- hard stops between


def _hard_stops(duties: Sequence[Duty], friction: CompoundFriction, wanted: float) -> list[Change]:
    """At openings that serve all duties but for the gentle ones' film, where use that was seen to take one off is known."""
    filmed = [d for d in duties if _filmed(d)]
    if not filmed or friction.film is None:
        return []
    cleared = [
        one
        for one in friction.film.cleared
        if one.regained.value is not None and (one.regained.low or 0.0) >= LEAST_REGAINED
    ]
    if not cleared:
        return []
    best = min(cleared, key=lambda one: (one.stops, one.power_density_w_mm2))
    spans = [_without_film(d, wanted) if d in filmed else d.openings for d in duties]
    if any(span is None for span in spans):
        return []
    low, high = max(s.low for s in spans if s), min(s.high for s in spans if s)
    if low > high:
        return []
    plans = [plan for d in filmed if (plan := _plan(d, best, low, high)) is not None]
    if len(plans) < len(filmed) or len({plan.opening for plan in plans}) > 1:
        return []  # one brake has one opening
    at = plans[0].opening
    shown = all(d.shown is not None for d in duties if d not in filmed) and all(
        _loss(d, at)[1] is not None for d in filmed
    )
    itself = [d.name for d in duties if d.use.use == "hard" and _as_hard(d, best, at)]
    said = "; ".join(
        f"at opening {p.opening:.2f}, after every {p.after_cycles} cycles of {p.duty} {p.stops} hard stops from {p.temperature_c:.0f} °C at "
        f"{p.power_density_w_mm2:.2g} W/mm2, which regained {_percent(p.regained.low)} to {_percent(p.regained.high)} of the loss in {p.test}"
        for p in plans
    )
    said += f"; {' and '.join(itself)} brakes as hard and may stand for them" if itself else ""
    return [
        Change(
            kind="hard stops between",
            shown=shown,
            words=said if shown else f"{said}; how much each cycle loses is not bounded by the tests",
            openings={d.name: Openings(low=low, high=high) for d in duties},
            hard_stops=plans,
        )
    ]


def _as_hard(duty: Duty, cleared: FilmCleared, opening: float) -> bool:
    """Whether a hard duty's brakings are like those that took the film off, by their mean power and their coldest start."""
    row = min(duty.found.sweep, key=lambda one: abs(one.opening - opening), default=None)
    hot = row is not None and row.temperature_low_c >= cleared.temperature_c
    return hot and duty.use.power_density_w_mm2 >= cleared.power_density_w_mm2


def _percent(share: float | None) -> str:
    return "an unknown share" if share is None else f"{100 * share:.0f} %"


def _filmed(duty: Duty) -> bool:
    """Whether a film limits a gentle duty's openings, or is not excluded at them."""
    found = duty.found
    return duty.use.use == "gentle" and "glazing" in {
        *(x.cause for x in found.limits),
        *(x.cause for x in found.not_excluded),
    }


def _without_film(duty: Duty, wanted: float) -> Openings | None:
    """Openings of the sweep that hold the wanted share of the energy in the window and stay inside every limit but glazing."""
    good = [row.opening for row in duty.found.sweep if (row.window_share or 0.0) >= wanted]
    low, high = min(good, default=1.0), max(good, default=0.0)
    for limit in duty.found.limits:
        if limit.cause != "glazing":
            low, high = (max(low, limit.at), high) if limit.side == "low" else (low, min(high, limit.at))
    return Openings(low=low, high=high) if low <= high else None


def _rows(duty: Duty) -> list[SweepRow]:
    """Rows of the sweep inside the openings to run."""
    own = duty.openings
    if own is None:
        return []
    return [row for row in duty.found.sweep if own.low - 1e-9 <= row.opening <= own.high + 1e-9]


def _loss(duty: Duty, opening: float) -> tuple[float | None, float | None]:
    """(best, largest) share of mu lost over one use at the row of the sweep next to an opening."""
    rows = [row for row in duty.found.sweep if row.glazing_loss is not None]
    if not rows:
        return None, None
    row = min(rows, key=lambda one: abs(one.opening - opening))
    assert row.glazing_loss is not None
    return row.glazing_loss.value, row.glazing_loss.high


def _plan(duty: Duty, cleared: FilmCleared, low: float, high: float) -> HardStops | None:
    """Where and how often: at the end of the common openings at which least is lost; the loss taken even over the cycles."""
    wanted, cycles = duty.found.glazing_loss_wanted, duty.found.cycles
    ends = {at: _loss(duty, at) for at in (low, high)}
    known = {at: (most if most is not None else best) for at, (best, most) in ends.items()}
    losses = {at: loss for at, loss in known.items() if loss is not None}
    if not losses or wanted is None or cycles is None:
        return None
    at = min(losses, key=lambda one: losses[one])
    # what is not regained stays: the level settles at loss / regained, so each stretch may lose wanted x regained
    regained = min(cleared.regained.low or 0.0, 1.0)
    per_cycle = max(losses[at], 1e-9) / cycles
    after = math.floor(wanted * regained / per_cycle)
    if after < 1:
        return None
    return HardStops(
        duty=duty.name,
        opening=at,
        stops=cleared.stops,
        after_cycles=min(after, cycles),
        power_density_w_mm2=cleared.power_density_w_mm2,
        temperature_c=cleared.temperature_c,
        regained=cleared.regained,
        test=cleared.test,
    )


# --- a test


def _test(duties: Sequence[Duty], common: Openings | None) -> list[Change]:
    """The test that settles what stands open; none where nothing does."""
    open_ = [d for d in duties if d.shown is None and (d.openings is not None or d.found.window_share is None)]
    if not open_:
        return []
    said, settling = [], None
    for duty in open_:
        if duty.found.settling_test is not None:
            settling = settling or duty.found.settling_test
            said.append(f"{duty.name}: {duty.found.settling_test.text}")
        support = duty.found.support
        entries = support.extrapolations if support else []
        lacking = [e.words for e in entries if e.of == "friction" and e.share is not None]
        if support is not None and support.map_test is not None:
            said.append(f"{duty.name}: {support.map_test.text}")
        elif lacking:
            said.append(f"{duty.name}: map stops at what it needs and no stop was run at: {'; '.join(lacking)}")
    if not said:
        return []
    alone = common is not None
    words = "; ".join(said) + (
        "" if alone else "; it settles each duty's own openings, and one opening for all only if they then meet"
    )
    return [Change(kind="a test", shown=False, words=words, test=settling)]


# --- a margin of mu


def _margin(duties: Sequence[Duty], friction: CompoundFriction, wanted: float) -> list[Change]:
    """By how much the target band of mu must widen for the openings of one duty to serve the other too."""
    band = friction.wanted_mu
    if band is None or not friction.curve or any(d.openings is None for d in duties):
        return []
    if any(d.found.opening_untested for d in duties):  # mu of its stops is not known: no margin of it can be named
        return []
    found: list[tuple[float, float, float]] = []
    for host in duties:
        for row in _rows(host):
            if not all(_fails_by_mu_alone(d, row.opening, wanted) for d in duties):
                continue
            ends = [_needed(d, row.opening, friction.curve) for d in duties]
            if any(one is None for one in ends):
                continue
            low = min(one[0] for one in ends if one)
            high = max(one[1] for one in ends if one)
            found.append(
                (max(band[0] - low, high - band[1], 0.0), row.opening, low if band[0] - low >= high - band[1] else high)
            )
    if not found:
        return []
    margin, at, limit = min(found)
    if margin <= 0:
        return []
    words = (
        f"mu of single stops {'down' if limit < band[0] else 'up'} to {limit:.2f} accepted, {margin:.2f} beyond the wanted "
        f"{band[0]:.2f} to {band[1]:.2f}: opening {at:.2f} would then serve all"
    )
    shown = all(d.shown is not None for d in duties)
    return [
        Change(
            kind="a margin of mu",
            shown=shown,
            words=words if shown else f"{words}, as far as it was tested",
            openings={d.name: Openings(low=at, high=at) for d in duties},
            mu_margin=margin,
            mu_limit=limit,
        )
    ]


def _fails_by_mu_alone(duty: Duty, opening: float, wanted: float) -> bool:
    """Whether an opening is one of the duty's, or is none for its friction window alone."""
    own = duty.openings
    if own is not None and own.low - 1e-9 <= opening <= own.high + 1e-9:
        return True
    row = min(duty.found.sweep, key=lambda one: abs(one.opening - opening), default=None)
    others = [x for x in duty.found.limits if x.cause not in ("window", "temperature")]
    passed = any(opening < x.at if x.side == "low" else opening > x.at for x in others)
    return row is not None and (row.window_share or 0.0) < wanted and not passed


def _needed(duty: Duty, opening: float, curve: Sequence[CurvePoint]) -> tuple[float, float] | None:
    """Lowest and highest mu of single stops over the duty's temperatures at the row of the sweep next to an opening; None where the
    curve does not reach them."""
    row = min(duty.found.sweep, key=lambda one: abs(one.opening - opening), default=None)
    if (
        row is None
        or row.temperature_low_c < curve[0].temperature_c
        or row.temperature_high_c > curve[-1].temperature_c
    ):
        return None
    below = [p for p in curve if p.temperature_c <= row.temperature_low_c]
    above = [p for p in curve if p.temperature_c >= row.temperature_high_c]
    inside = [p for p in curve if below[-1].temperature_c <= p.temperature_c <= above[0].temperature_c]
    return min(p.tolerance_low for p in inside), max(p.tolerance_high for p in inside)
