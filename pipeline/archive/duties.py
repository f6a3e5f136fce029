"""Duty cycles: duties/<duty>.yaml. Speeds in m/s, temperatures in K, times in s.

A file gives the cycle's events, or a `log` of a vehicle or rig that is cut into them (`pipeline.duty.log`).
"""

from __future__ import annotations

import difflib
import re
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PositiveInt, field_validator, model_validator

from pipeline.archive.written import Written
from pipeline.errors import InputError
from pipeline.inputs.model import Model, parse, read_yaml
from pipeline.inputs.quantities import (
    Acceleration,
    Conductance,
    Duration,
    Length,
    LinearSpeed,
    Mass,
    Share,
    Temperature,
    scale_offset,
)
from pipeline.inputs.scalars import Number, Text, as_number

# channel of a log -> dimension of its unit; speed may also be angular
LOG_CHANNELS = {
    "time": "duration",
    "speed": "linear_speed",
    "deceleration": "acceleration",
    "pressure": "pressure",
    "disc_temperature": "temperature",
    "ambient_temperature": "temperature",
}
GRAVITY = {"g": "g_0"}  # an acceleration in g is a multiple of standard gravity, not a mass


class Cooling(Model):
    h0: Conductance | None = None
    h1: Annotated[Number, Field(ge=0)] | None = None  # W/K per (m/s)^0.8
    opening: Share = 1.0

    @field_validator("opening")
    @classmethod
    def _opening(cls, value: float) -> float:
        if value > 1:
            raise ValueError("opening lies between 0 and 1 (1 = the full h1, or the rig's air as tested without one)")
        return value


class CoolingOfLog(Cooling):
    """`cooling: log`: h0 and h1 as fitted to the log's cool-downs; opening 1 is the vehicle's as logged."""


class Event(Model):
    """One braking of the cycle; `start` and `end` are the vehicle's speeds."""

    start: LinearSpeed = Field(alias="from")
    end: LinearSpeed = Field(alias="to")
    brake_time: Duration
    then: Duration
    at: LinearSpeed

    @model_validator(mode="after")
    def _slows(self) -> Event:
        if not self.start > self.end:
            raise ValueError("from must be above to")
        if self.brake_time <= 0:
            raise ValueError("brake_time must be above zero")
        return self


class _Duty(Model):
    """What a duty says however its events are given."""

    duty: Text
    vehicle_mass: Mass
    brake_share: Share
    rolling_radius: Length
    cycles: Annotated[PositiveInt, BeforeValidator(as_number), Field(le=100000)] = 1
    cooling: Cooling = Cooling()
    life: Length | None = None  # wanted, from new thickness to the minimum
    use: Literal["gentle", "hard"] | None = None

    @field_validator("brake_share")
    @classmethod
    def _share(cls, value: float) -> float:
        if not 0 < value <= 1:
            raise ValueError("brake_share lies above 0 and at most at 1")
        return value


class DutyCycle(_Duty):
    length: Length
    ambient: Temperature
    events: Annotated[tuple[Event, ...], Field(min_length=1, max_length=2000)]


class Log(Written):
    """Where a duty's log is and how it is written; `braking_above` is the deceleration that counts as braking."""

    file: Text
    braking_above: Acceleration | None = None

    @field_validator("file")
    @classmethod
    def _file(cls, value: str) -> str:
        parts = value.replace("\\", "/").split("/")
        if value.startswith(("/", "\\", "~")) or ".." in parts or re.match(r"^[A-Za-z]:", value) or "\0" in value:
            raise ValueError(
                f"{value!r} must lie beside the duty's file or below: a relative path such as logs/one.csv"
            )
        return value

    @model_validator(mode="after")
    def _channels(self) -> Log:
        for name in self.channels:
            if name not in LOG_CHANNELS:
                near = difflib.get_close_matches(name, LOG_CHANNELS, n=1, cutoff=0.0)
                raise ValueError(f"channels.{name}: unknown channel of a log; nearest known: {near[0]}")
        needed = ("speed",) if self.format in ("mdf", "tdms") else ("time", "speed")
        missing = [name for name in needed if name not in self.channels]
        if missing:
            raise ValueError(f"channels: {', '.join(missing)} missing; needed: {', '.join(needed)}")
        if self.timestamps and self.format == "mdf":
            raise ValueError("channels.time: MDF counts time in seconds; leave `time` out, or give a channel's unit")
        for name in self.channels:
            try:
                self.conversion(name)
            except ValueError as error:
                raise ValueError(f"channels.{name}: {error}") from error
        return self

    def angular(self) -> bool:
        """Whether the speed is one of turning."""
        try:
            scale_offset(self.channels["speed"].unit, "angular_speed")
        except ValueError:
            return False
        return True

    def kind(self, name: str) -> str:
        """Dimension of a channel."""
        return "angular_speed" if name == "speed" and self.angular() else LOG_CHANNELS[name]

    def conversion(self, name: str) -> tuple[float, float]:
        """Factor and offset of a channel to SI. Raises ValueError."""
        unit = self.channels[name].unit
        if name == "time" and self.timestamps:
            return 1.0, 0.0  # the clock gives seconds
        return scale_offset(GRAVITY.get(unit, unit) if name == "deceleration" else unit, self.kind(name))


class LoggedDuty(_Duty):
    """A duty by its log; `length` and `ambient` are the log's where the file gives none."""

    length: Length | None = None
    ambient: Temperature | None = None
    log: Log

    @field_validator("cooling", mode="before")
    @classmethod
    def _cooling(cls, value: Any) -> Any:
        return CoolingOfLog() if value == "log" else value

    @model_validator(mode="after")
    def _ambient(self) -> LoggedDuty:
        if self.ambient is None and "ambient_temperature" not in self.log.channels:
            raise ValueError("ambient: missing; give it, or map ambient_temperature of the log")
        return self


def load_duty(path: Path) -> DutyCycle | LoggedDuty:
    """A duty's file. Raises InputError in one line; a log is not read, but must be there."""
    content = read_yaml(path)
    if not isinstance(content, dict):
        raise InputError(f"{path.name}: is empty or not a mapping of keys; see the input format in docs/")
    if "log" not in content:
        if content.get("cooling") == "log":
            raise InputError(f"{path.name}: cooling: log needs a log; give h0 and h1, or a log instead of events")
        return parse(content, DutyCycle, path.name)
    if "events" in content:
        raise InputError(f"{path.name}: gives events and a log; keep the one that is meant")
    duty = parse(content, LoggedDuty, path.name)
    if not log_path(path, duty).exists():
        raise InputError(
            f"{path.name}: log.file: {duty.log.file!r} is not there; correct the path or put the log there"
        )
    return duty


def log_path(path: Path, duty: LoggedDuty) -> Path:
    """The log of the duty whose file is `path`."""
    return path.parent / duty.log.file
