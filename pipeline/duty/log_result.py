"""What a duty's log came to, as it stands in duty.json."""

from __future__ import annotations

from pipeline.archive.duties import CoolingOfLog
from pipeline.duty.cycle import Air, Events
from pipeline.duty.log import CutCycle
from pipeline.duty.log_cooling import compared
from pipeline.duty.log_cut import Braking
from pipeline.heat.lumped import Disc
from pipeline.results.duty import DutyLog, LogCooling, LoggedEvent
from pipeline.results.model import renewed

KMH = 3.6


def log_result(
    duty: CutCycle, events: Events, disc: Disc, air: Air | None, cooling: LogCooling, share: float
) -> DutyLog:
    """The cut, the model against the log's temperature, the fitted cooling; `air`: the projection's, if it has any."""
    cut, data = duty.brakings, duty.data
    temperature = None
    if air is not None:
        temperature = compared(data, events, cut.events, disc, air, duty.cooling.opening, share)
    why = "the log has no deceleration channel, and speeds do not judge themselves"
    if data.deceleration is not None:
        why = "the recorded deceleration has holes in every braking"
    return DutyLog(
        file=duty.file,
        told_by=cut.told_by,
        duration_s=float(data.time[-1]),
        distance_km=data.distance / 1e3,
        events=[_event(one) for one in cut.events],
        work_ratio=cut.work,
        work_ratio_why=why if cut.work is None else None,
        temperature=temperature,
        cooling=renewed(cooling, used=air is not None and isinstance(duty.cooling, CoolingOfLog)),
        notes=list(cut.notes),
    )


def _event(one: Braking) -> LoggedEvent:
    return LoggedEvent(
        start_s=one.begin.time,
        from_kmh=one.begin.speed * KMH,
        to_kmh=one.end.speed * KMH,
        brake_time_s=one.seconds,
        then_s=one.then,
        at_kmh=one.at * KMH,
        work_ratio=one.work,
    )
