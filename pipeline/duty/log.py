"""A duty's file -> its cycle, by its events or by its log cut into them; with the log that tells its cooling."""

from __future__ import annotations

from pathlib import Path
from typing import Any, ClassVar

import numpy as np
from pydantic import ConfigDict

from pipeline.archive.duties import CoolingLog, DutyCycle, Event, Log, LoggedDuty, load_duty
from pipeline.duty.log_cut import Brakings, cut
from pipeline.duty.log_read import LogData, read_log
from pipeline.errors import InputError
from pipeline.heat.of_card import THERMOCOUPLE_U_K


class CycleWithLog(DutyCycle):
    """A cycle with a log that was read and cut; key: of the duty's file that names it."""

    model_config = ConfigDict(arbitrary_types_allowed=True)

    key: ClassVar[str]
    file: str
    data: LogData
    brakings: Brakings
    thermocouple_u: float  # K, of the bias with which its disc temperature is logged

    @staticmethod
    def of_log(log: Log, data: LogData, brakings: Brakings) -> dict[str, Any]:
        """The fields that a cycle without one does not have."""
        u = THERMOCOUPLE_U_K if log.thermocouple is None else log.thermocouple / 3**0.5
        return {"file": log.file, "data": data, "brakings": brakings, "thermocouple_u": u}


class CutCycle(CycleWithLog):
    """A cycle that was cut from a log: its temperatures judge the model."""

    key: ClassVar[str] = "log"


class DrivenCycle(CycleWithLog):
    """A cycle by events, with the log of a drive that tells the vehicle's cooling."""

    key: ClassVar[str] = "cooling_log"


def cycle_of(path: Path) -> DutyCycle:
    """The cycle of a duty's file; of one with a log a CycleWithLog. Raises InputError in one line."""
    duty = load_duty(path)
    if isinstance(duty, LoggedDuty):
        return _cut(path, duty)
    return duty if duty.cooling_log is None else _driven(path, duty, duty.cooling_log)


def _driven(path: Path, duty: DutyCycle, log: CoolingLog) -> DrivenCycle:
    data = read_log(path, log, duty.rolling_radius)
    try:
        brakings = cut(data, log.braking_above)
    except InputError as error:
        raise InputError(f"{path.name}: log {log.file}: {error}") from error
    shared = {name: getattr(duty, name) for name in DutyCycle.model_fields}
    return DrivenCycle.model_construct(**shared, **CycleWithLog.of_log(log, data, brakings))


def _cut(path: Path, duty: LoggedDuty) -> CutCycle:
    data = read_log(path, duty.log, duty.rolling_radius)
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
        }
        | CycleWithLog.of_log(duty.log, data, brakings)
    )


def _event(start: float, end: float, brake_time: float, then: float, at: float) -> Event:
    return Event.model_construct(start=start, end=end, brake_time=brake_time, then=then, at=at)


def _ambient(data: LogData) -> float:
    """Median of the log's ambient in K. Raises InputError where it has none."""
    known = data.ambient[np.isfinite(data.ambient)] if data.ambient is not None else np.zeros(0)
    if not known.size:
        raise InputError("ambient_temperature has no value; give ambient in the duty's file")
    return float(np.median(known))
