"""A duty's file -> its cycle, by its events or by its log cut into them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from pydantic import ConfigDict

from pipeline.archive.duties import DutyCycle, Event, LoggedDuty, load_duty
from pipeline.duty.log_cut import Brakings, cut
from pipeline.duty.log_read import LogData, read_log
from pipeline.errors import InputError


class CutCycle(DutyCycle):
    """A cycle that was cut from a log, with the log: its temperatures judge the model."""

    model_config = ConfigDict(arbitrary_types_allowed=True)

    file: str
    data: LogData
    brakings: Brakings


def cycle_of(path: Path) -> DutyCycle:
    """The cycle of a duty's file; of one with a log a CutCycle. Raises InputError in one line."""
    duty = load_duty(path)
    return duty if isinstance(duty, DutyCycle) else _cut(path, duty)


def _cut(path: Path, duty: LoggedDuty) -> CutCycle:
    data = read_log(path, duty)
    try:
        brakings = cut(data, duty.log.braking_above)
        events = tuple(_event(e.begin.speed, e.end.speed, e.seconds, e.then, e.at) for e in brakings.events)
        ambient = duty.ambient if duty.ambient is not None else _ambient(data)
    except InputError as error:
        raise InputError(f"{path.name}: log {duty.log.file}: {error}") from error
    shared = {name: getattr(duty, name) for name in type(duty).model_fields if name in DutyCycle.model_fields}
    # built, not parsed: the values have no units any more
    return CutCycle.model_construct(
        **shared
        | {
            "length": duty.length or data.distance,
            "ambient": ambient,
            "events": events,
            "file": duty.log.file,
            "data": data,
            "brakings": brakings,
        }
    )


def _event(start: float, end: float, brake_time: float, then: float, at: float) -> Event:
    return Event.model_construct(start=start, end=end, brake_time=brake_time, then=then, at=at)


def _ambient(data: LogData) -> float:
    """Median of the log's ambient in K. Raises InputError where it has none."""
    known = data.ambient[np.isfinite(data.ambient)] if data.ambient is not None else np.zeros(0)
    if not known.size:
        raise InputError("ambient_temperature has no value; give ambient in the duty's file")
    return float(np.median(known))
