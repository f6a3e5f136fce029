"""A duty projected: its settled cycle, life, openings to run, the test that would settle what stays open, and what all that rests on."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence

import numpy as np

from pipeline.archive.duties import CoolingOfLog, DutyCycle
from pipeline.constants import ZERO_C, Array
from pipeline.duty.air import Cooled, Recorded, of_log
from pipeline.duty.burnt import burnt_of
from pipeline.duty.cycle import Air, Events, History, events_of, settle, warm_up
from pipeline.duty.driven import driven
from pipeline.duty.film_area import film_area
from pipeline.duty.limits import Openings, of_one_batch, openings, run, unlike_somewhere
from pipeline.duty.log import CutCycle, DrivenCycle
from pipeline.duty.log_cooling import cooling as cooling_of_log
from pipeline.duty.log_result import log_result
from pipeline.duty.map_test import map_test
from pipeline.duty.pressing import Pressing, line_pressures, soak
from pipeline.duty.project import Brake, inside_window, project, window_share
from pipeline.duty.propagation import opening_ends, share_span, temperature_ends
from pipeline.duty.reserved import reserved
from pipeline.duty.settling import settling
from pipeline.duty.settling_log import with_log
from pipeline.duty.support import Braked, FrictionRun, braked, over_openings
from pipeline.duty.sweep import GRID, rows
from pipeline.method.duty import Duty
from pipeline.results.duty import (
    CycleHistory,
    DutyCooling,
    DutyProjection,
    DutySupport,
    Projected,
    RigCooling,
    Span,
    WornDisc,
)
from pipeline.results.model import renewed
from pipeline.results.sources import Sourced
from pipeline.results.support import Extrapolation
from pipeline.tested.told import in_words

RIG_AIR = Extrapolation(
    of="cooling",
    direction="air speed",
    unit="m/s",
    share=1.0,
    words="the rig's air speed is not recorded; its air is taken at any speed",
)


def nothing(duty: DutyCycle, why: str) -> DutyProjection:
    """A duty of which nothing can be said."""
    nothing = Projected(why=why)
    return DutyProjection(
        duty=duty.duty,
        opening=duty.cooling.opening,
        wear_um_per_cycle={"disc": nothing, "pad": nothing},
        life_cycles=nothing,
        life_km=nothing,
        why=why,
        opening_to_run_why=why,
    )


def duty_projected(
    duty: DutyCycle,
    brake: Brake,
    rig: RigCooling | str,
    settings: Duty,
    pressing: Pressing | None,
    tests: Sequence[Recorded],
    stated: Callable[[DutyCycle], Cooled | str],
) -> DutyProjection:
    """A duty projected, with what its log came to where it was cut from one, or where one tells its cooling."""
    if isinstance(duty, DrivenCycle):
        base = stated(duty)
        if isinstance(base, str):
            return nothing(duty, base)
        found, of_drive = driven(duty, base, brake)
        projected = _projected(duty, brake, found, settings, pressing, tests, rig, logged=of_drive.used)
        return renewed(projected, cooling_log=of_drive)
    if not isinstance(duty, CutCycle):
        return _projected(duty, brake, stated(duty), settings, pressing, tests, rig)
    fitted = cooling_of_log(
        duty.data, duty.brakings.events, brake.disc, duty.ambient, settings.confidence, duty.thermocouple_u
    )
    cooled = of_log(duty, fitted, brake) if isinstance(duty.cooling, CoolingOfLog) else stated(duty)
    air = None if isinstance(cooled, str) else cooled.air
    told = log_result(duty, events_of(duty), brake.disc, air, fitted, brake.heat_share)
    return renewed(_projected(duty, brake, cooled, settings, pressing, tests, rig), log=told)


def _projected(
    duty: DutyCycle,
    brake: Brake,
    cooled: Cooled | str,
    settings: Duty,
    pressing: Pressing | None,
    tests: Sequence[Recorded],
    rig: RigCooling | str,
    *,
    logged: bool = False,
) -> DutyProjection:
    """logged: whether a log of the duty tells its cooling."""
    if isinstance(cooled, str):
        return nothing(duty, cooled)
    air = cooled.air
    events = events_of(duty)
    opening = np.append(GRID, duty.cooling.opening)
    try:
        settled = settle(events, brake.disc, air, opening, brake.heat_share)
    except ArithmeticError as error:
        return nothing(duty, str(error))
    warming = warm_up(
        events,
        brake.disc,
        air,
        duty.cooling.opening,
        count=duty.cycles,
        settled=float(settled.start[-1]),
        share=brake.heat_share,
    )
    brakings = brakings_of(duty, events, settled, brake, pressing)
    found = run(duty, events, brake, air, opening, settled, lived=True)
    brake = dataclasses.replace(brake, unlike=unlike_somewhere(found))
    found = of_one_batch(found, brake.unlike)
    projected = project(duty, events, settled, warming, brake, len(opening) - 1, brakings)
    grid = found.upto(len(GRID))
    judged = openings(duty, events, brake, air, grid, settings.window_share)
    one, several = found.losses.at(len(opening) - 1, brake.glazing_loss)
    cards, stops = [t.card for t in tests], [t.stops for t in tests]
    settled_by, no_test = settling(events, grid, judged, brake, cards, stops, rig, duty.rolling_radius)
    if settled_by is not None and not logged:
        settled_by = with_log(settled_by, grid, brake, air, cooled.known.u)
    rig_air = air.fixed_speed is not None
    stands, tested = _support(projected.support, events, settled, brake, brakings, judged.span, rig_air=rig_air)
    named, no_map_test = map_test(duty, events, brakings, GRID, judged.span)
    stands = renewed(stands, map_test=named, map_test_why=no_map_test)
    if tested is not None and pressing is not None:
        judged = reserved(judged, stands, GRID, *tested, life=duty.life is not None)
    low, high = temperature_ends(settled, len(opening) - 1, brake.confidence)
    share = projected.window_share
    share_ends, share_sources = (
        (None, None) if share is None else share_span(settled, events, brake, len(opening) - 1, share)
    )
    ends = (None, None) if judged.span is None else _ends(judged, settled, events, brake, settings.window_share)
    return renewed(
        projected,
        extrapolated=[in_words(entry) for entry in stands.extrapolations],
        support=stands,
        glazing_loss=one,
        glazing_loss_three_uses=several,
        glazing_loss_wanted=brake.glazing_loss,
        temperature_low_interval=low,
        temperature_high_interval=high,
        window_share_interval=share_ends,
        window_share_by_source=share_sources,
        inputs=[*brake.inputs, cooled.known],
        opening_to_run_low=ends[0],
        opening_to_run_high=ends[1],
        opening_to_run=judged.span,
        opening_to_run_why=judged.why,
        reserved=bool(judged.not_excluded) if judged.span else None,
        opening_to_run_sure=judged.sure,
        opening_to_run_sure_why=judged.sure_why,
        limits=judged.limits,
        not_excluded=judged.not_excluded,
        settling_test=settled_by,
        settling_test_why=no_test,
        glazing_area=film_area(duty, events, found, brake, len(opening) - 1),
        energy_kj=[e / 1e3 for e in events.energy.tolist()],
        cooling=DutyCooling(h0_w_k=air.h0, h1=air.h1, source=cooled.source, rig_air_at_any_speed=rig_air),
        burnt=burnt_of(projected, brake),
        worn_disc=_worn_disc(duty, events, brake, air),
        sweep=rows(duty, events, found, brake, brakings),
        history=_history(settled, events, len(opening) - 1),
        line_pressure_bar=(
            line_pressures(
                duty, events, settled, brake.temperature_kind, len(opening) - 1, pressing, brakings.covered[:, -1]
            )
            if pressing
            else []
        ),
        line_pressure_of=pressing.why if pressing else None,
        line_pressure_why=None if pressing else "no friction map of the compound",
        soak=soak(settled, len(opening) - 1, brake.disc, air, brake.window[1] if brake.window else None),
    )


def brakings_of(duty: DutyCycle, events: Events, settled: History, brake: Brake, pressing: Pressing | None) -> Braked:
    """The settled cycle's brakings at all its openings as friction sees them, at the line pressure that is told: that of the batch with
    the least friction where batches are not shown alike, which presses harder than all together."""
    openings = range(settled.braking.shape[2])
    known, area = FrictionRun.of(pressing, brake.rubbing), brake.rubbing.friction_area
    return braked(duty, events, settled, brake.temperature_kind, openings, known, area)


def _ends(
    judged: Openings, settled: History, events: Events, brake: Brake, wanted: float
) -> tuple[Sourced | None, Sourced | None]:
    """Both ends of the openings to run with the intervals that the window gives them; an end that something else sets has none."""
    span = judged.span
    drawn = opening_ends(settled, events, brake, GRID, wanted, span) if span else None
    if span is None or drawn is None:
        return None, None
    found = []
    for own, side, at in zip(drawn, ("low", "high"), (span.low, span.high), strict=True):
        causes = [one.cause for one in judged.limits if one.side == side and abs(one.at - at) < 1e-9]
        other = [cause for cause in causes if cause not in ("window", "temperature")]
        found.append(Sourced(value=at, why=f"{' and '.join(other)} sets it, not the window") if other else own)
    return found[0], found[1]


def _support(
    stands: DutySupport | None,
    events: Events,
    settled: History,
    brake: Brake,
    brakings: Braked,
    span: Span | None,
    *,
    rig_air: bool,
) -> tuple[DutySupport, tuple[Array, Array] | None]:
    """(what the duty's opening rests on, with the opening to run and the air, and at each opening of the sweep the share of the energy
    in the window and tested, and in the window; None without a window)."""
    assert stands is not None
    found = renewed(stands, extrapolations=[*stands.extrapolations, *([RIG_AIR] if rig_air else [])])
    share = window_share(settled, events, brake)
    if share is None:
        return found, None
    count = len(GRID)
    inside = inside_window(settled, brake)
    tested = np.array([brakings.share(k, inside[:, k]) for k in range(count)])
    if span is not None:
        ends, basis = over_openings(GRID, tested, share[:count], span.low, span.high)
        found = renewed(found, opening_tested=ends, opening_basis=basis)
    return found, (tested, share[:count])


def _worn_disc(duty: DutyCycle, events: Events, brake: Brake, air: Air) -> WornDisc | None:
    """The settled cycle of a disc at its minimum thickness: it stores less heat and swings further."""
    if brake.worn_mass is None:
        return None
    disc = dataclasses.replace(brake.disc, mass=brake.worn_mass)
    settled = settle(events, disc, air, np.array([duty.cooling.opening]), brake.heat_share)
    share = window_share(settled, events, brake)
    return WornDisc(
        mass_kg=brake.worn_mass,
        temperature_low_c=float(settled.lowest()[0]) - ZERO_C,
        temperature_high_c=float(settled.highest()[0]) - ZERO_C,
        window_share=None if share is None else float(share[0]),
    )


def _history(settled: History, events: Events, index: int) -> CycleHistory:
    """Bulk temperature over the settled cycle at the duty's opening, for the plot."""
    time: list[float] = []
    temperature: list[float] = []
    now = 0.0
    for e in range(len(events.energy)):
        for path, seconds in ((settled.braking, events.brake_time[e]), (settled.cooling, events.then[e])):
            points = path[e, :, index]
            time += (now + seconds * np.linspace(0, 1, len(points))).tolist()
            temperature += (points - ZERO_C).tolist()
            now += float(seconds)
    return CycleHistory(time_s=[round(t, 3) for t in time], temperature_c=[round(t, 2) for t in temperature])
