"""One brake for gentle and for hard use: one answer over a compound's duties, and the cheapest change that would make it a yes.

    serves both                      some openings serve every duty without reservation
    serves neither at one opening    no opening serves every duty, by their intervals too where these are given
    not shown                        anything between: openings that only a reservation or an extrapolation stands against, ends
                                     that may meet, or a duty of which nothing can be said; so too where the friction of a duty's
                                     stops was not tested: then its openings are those of other stops' window, and it may have
                                     others, as far as life, wear data and film let it

Without reservation are a duty's `opening_to_run_sure` where the window's share there is not mostly extrapolated. A duty's use is its
file's `use`; unmarked it is found by the mean of its brakings' power density, weighted by energy: gentle below the compound's limit of
low-energy use (`glaze_limit`), hard above; where no test showed one, gentle below half and hard above the mean of the map's own
stops, and between them neither. Changes stand in the order of what they cost (`pipeline.duty.both_changes`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from pipeline.duty.both_changes import Duty, changes
from pipeline.results.both import GENTLE_SHARE, BothAnswer, BothDuties, DutyUse, Openings, Use
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import DutyProjection


@dataclass(frozen=True)
class Asked:
    """A duty's projection with what its file says of its use, and the mean power density of its brakings in W/mm2."""

    projection: DutyProjection
    use: Use | None
    power: float


def both(
    duties: Sequence[Asked], friction: CompoundFriction, map_power: float | None, wanted: float = 0.9
) -> BothDuties:
    """The answer over all duties; map_power: mean power density of the map's stops, W/mm2; wanted: share of the energy in the window."""
    found = [Duty(one.projection, _use(one, friction, map_power), openings_of(one), shown_of(one)) for one in duties]
    told = [duty.use for duty in found]
    lacking = [use for use in ("gentle", "hard") if use not in {one.use for one in told}]
    if lacking:
        why = f"no duty of {' and no duty of '.join(lacking)} use is given" if told else "no duty is given"
        return BothDuties(why=why, duties=told)
    common, shown = _common([d.openings for d in found]), _common([d.shown for d in found])
    answer, why = _answer(found, common, shown)
    ways, none = ([], None) if answer == "serves both" else changes(found, friction, common, wanted)
    return BothDuties(
        answer=answer,
        opening=shown,
        opening_reserved=common,
        why=why,
        duties=told,
        changes=ways,
        changes_why=none,
    )


def openings_of(one: Asked) -> Openings | None:
    """The duty's openings to run."""
    span = one.projection.opening_to_run
    return None if span is None else Openings(low=span.low, high=span.high)


def shown_of(one: Asked) -> Openings | None:
    """Those without reservation, of a duty whose window is not mostly extrapolated."""
    found = one.projection
    span = found.opening_to_run_sure
    mostly = found.support is not None and found.support.opening_basis == "mostly extrapolated"
    if span is None or mostly or (found.reserved and found.opening_to_run_sure is None):
        return None
    return Openings(low=span.low, high=span.high)


def _use(one: Asked, friction: CompoundFriction, map_power: float | None) -> DutyUse:
    """The duty's use, and what tells it."""
    limit = friction.glaze_limit.power_density_w_mm2 if friction.glaze_limit else None
    use: Use | None = one.use
    if use is not None:
        by = "its file"
    elif limit is not None:
        use = "gentle" if one.power < limit else "hard"
        by = f"power density {one.power:.2g} W/mm2 beside the limit of low-energy use, {limit:.2g}"
    elif map_power is not None:
        use = "gentle" if one.power < GENTLE_SHARE * map_power else "hard" if one.power >= map_power else None
        by = f"power density {one.power:.2g} W/mm2 beside the mean of the map's stops, {map_power:.2g}"
    else:
        by = "nothing: no power density of the tests is known"
    shown = shown_of(one)
    return DutyUse(
        duty=one.projection.duty,
        use=use,
        marked=one.use is not None,
        by=by,
        power_density_w_mm2=one.power,
        openings=openings_of(one),
        shown=shown,
        why=_against(one.projection) if shown is None else None,
    )


def _against(found: DutyProjection) -> str:
    """Why a duty has no opening, or none without reservation."""
    if found.opening_to_run is None:
        return found.opening_to_run_why or found.why or "no opening to run"
    said = [one.why for one in found.not_excluded]
    told = any(one.cause == "window" for one in found.not_excluded)
    if not told and found.support is not None and found.support.opening_basis == "mostly extrapolated":
        tested = found.support.opening_tested
        share = 100 * (tested.high if tested else 0.0)
        some = f"at most {share:.0f} %" if share >= 0.5 else "none"
        said.insert(0, f"{some} of its energy brakes in the window at conditions that were tested")
    return "; ".join(said) or found.opening_to_run_sure_why or "none holds by the careful ends of the intervals"


def _common(spans: Sequence[Openings | None]) -> Openings | None:
    """What all have in common; None where one has nothing or they do not meet."""
    known = [span for span in spans if span is not None]
    if len(known) < len(spans):
        return None
    low, high = max(span.low for span in known), min(span.high for span in known)
    return Openings(low=low, high=high) if low <= high else None


def _answer(found: Sequence[Duty], common: Openings | None, shown: Openings | None) -> tuple[BothAnswer, str]:
    if shown is not None:
        return (
            "serves both",
            f"every duty runs without reservation at openings from {shown.low:.2f} to {shown.high:.2f}",
        )
    unknown = [d for d in found if d.openings is None and d.found.window_share is None]
    if unknown:
        whys = "; ".join(f"{d.name}: {d.found.window_share_why or d.use.why}" for d in unknown)
        return "not shown", f"nothing can be said of {whys}"
    if common is not None:
        against = "; ".join(f"{d.name}: {d.use.why}" for d in found if d.shown is None)
        apart = against or "the openings without reservation do not meet"
        return (
            "not shown",
            f"nothing tested speaks against openings from {common.low:.2f} to {common.high:.2f}, but {apart}",
        )
    told = "; ".join(f"{d.name} {d.found.opening_words}" for d in found)
    if (by := _may_meet(found)) is not None:
        return "not shown", f"the openings do not meet ({told}), but {by}"
    return "serves neither at one opening", f"no opening serves all: {told}"


def _may_meet(found: Sequence[Duty]) -> str | None:
    """By what the openings may meet: the outer ends of their intervals, where these are given, or openings of a duty whose stops'
    friction was not tested; None where they do not."""
    wide, unknown = [], []
    for duty in found:
        if _untested(duty):
            unknown.append(duty.name)
            wide.append(_by_other_limits(duty))
            continue
        if duty.openings is None:
            return None
        first, last = duty.found.opening_to_run_low, duty.found.opening_to_run_high
        low = first.low if first is not None and first.low is not None else duty.openings.low
        high = last.high if last is not None and last.high is not None else duty.openings.high
        wide.append((low, high))
    if max(low for low, _ in wide) > min(high for _, high in wide):
        return None
    stops = f"the friction of the stops of {' and '.join(unknown)} was not tested: where they may run is not known"
    return stops if unknown else "by their intervals they may"


def _untested(duty: Duty) -> bool:
    """Whether the duty's openings, or that it has none, go by a window of other stops than its own."""
    support = duty.found.support
    none = duty.openings is None and support is not None and support.window_basis == "mostly extrapolated"
    return duty.found.opening_untested or none


def _by_other_limits(duty: Duty) -> tuple[float, float]:
    """The openings that all limits but the window leave."""
    others = [one for one in duty.found.limits if one.cause not in ("window", "temperature")]
    low = max((one.at for one in others if one.side == "low"), default=0.0)
    high = min((one.at for one in others if one.side == "high"), default=1.0)
    return low, high
