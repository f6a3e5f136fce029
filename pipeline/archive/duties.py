"""Duty cycles: duties/<duty>.yaml. Speeds in m/s, temperatures in K, times in s.

A file gives the cycle's events, or a `log` of a vehicle or rig that is cut into them (`pipeline.duty.log`). Beside events a `cooling_log`
of the vehicle in the duty tells its cooling (`pipeline.duty.driven`).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field, PositiveInt, field_validator, model_validator

from pipeline.archive.written import Written
from pipeline.errors import Complaint, InputError, Unfit
from pipeline.inputs.model import Model, mapping_of, parse
from pipeline.inputs.quantities import (
    Acceleration,
    Conductance,
    Duration,
    Length,
    LinearSpeed,
    Mass,
    Share,
    Temperature,
    TemperatureDifference,
    scale_offset,
)
from pipeline.inputs.refusals import nearest
from pipeline.inputs.scalars import Number, Text, as_number
from pipeline.inputs.yaml_text import line_of, text_of

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
        return _at_most_full(value)


def _at_most_full(opening: float) -> float:
    if opening > 1:
        raise Unfit(
            f"{opening:g} is no opening",
            "0 to 1 (1: the full h1, or the rig's air as tested without one)",
            "correct the share",
        )
    return opening


class CoolingOfLog(Cooling):
    """`cooling: log`: h0 and h1 as fitted to the log's cool-downs; opening 1 is the vehicle's as logged."""


class Event(Model):
    """One braking of the cycle; `start` and `end` are the vehicle's speeds."""

    bounds: ClassVar = {
        "start": ("0 km/h", "1500 km/h"),
        "end": ("0 km/h", "1500 km/h"),
        "at": ("0 km/h", "1500 km/h"),
        "brake_time": ("0 s", "1 h"),
        "then": ("0 s", "1000 h"),
    }
    start: LinearSpeed = Field(alias="from")
    end: LinearSpeed = Field(alias="to")
    brake_time: Duration
    then: Duration
    at: LinearSpeed

    @model_validator(mode="after")
    def _slows(self) -> Event:
        if not self.start > self.end:
            raise Unfit(
                f"from ({3.6 * self.start:g} km/h) must be above to ({3.6 * self.end:g} km/h)",
                "a higher speed at from",
                "set the higher one first",
            )
        if self.brake_time <= 0:
            raise Unfit(
                "brake_time must be above zero", "a time such as 2.6 s", "correct the number", at=("brake_time",)
            )
        return self


class _Duty(Model):
    """What a duty says however its events are given."""

    bounds: ClassVar = {
        "vehicle_mass": ("1 kg", "500000 kg"),
        "rolling_radius": ("20 mm", "5 m"),
        "life": ("1 m", "10000000 km"),
        "length": ("1 m", "100000 km"),
        "ambient": ("-90 degC", "200 degC"),
    }
    stand_in: ClassVar = {
        "duty": "-", "vehicle_mass": "1000 kg", "brake_share": "0.3", "rolling_radius": "330 mm", "length": "1 km",
        "ambient": "20 degC",
        "events": [{"from": "100 km/h", "to": "50 km/h", "brake_time": "2 s", "then": "10 s", "at": "80 km/h"}],
    }  # fmt: skip
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
            raise Unfit(f"{value:g} is no share of one brake", "above 0, at most 1 (or 100 %)", "correct the share")
        return value


class Log(Written):
    """Where a duty's log is and how it is written; `braking_above` is the deceleration that counts as braking, `thermocouple` the limits
    of the bias with which the disc temperature is logged, as installed.
    """

    bounds: ClassVar = {"thermocouple": ("0.1 K", "50 K")}
    file: Text
    braking_above: Acceleration | None = None
    thermocouple: TemperatureDifference | None = None

    @field_validator("file")
    @classmethod
    def _file(cls, value: str) -> str:
        parts = value.replace("\\", "/").split("/")
        if value.startswith(("/", "\\", "~")) or ".." in parts or re.match(r"^[A-Za-z]:", value) or "\0" in value:
            raise Unfit(
                f"{value!r} must lie beside the duty's file or below",
                "a relative path such as logs/one.csv",
                "put the log there",
            )
        return value

    @model_validator(mode="after")
    def _channels(self) -> Log:
        for name in self.channels:
            if name not in LOG_CHANNELS:
                near = nearest(name, list(LOG_CHANNELS))
                mend = f"write {near}, or leave it out" if near else "leave it out"
                raise Unfit(
                    "unknown channel of a log", f"known: {', '.join(LOG_CHANNELS)}", mend, at=("channels", name)
                )
        self.refuse_missing(("speed",) if self.format in ("mdf", "tdms") else ("time", "speed"))
        self.refuse_counted_time()
        self.refuse_column_twice()
        for name in self.channels:
            try:
                self.conversion(name)
            except ValueError as error:
                raise Unfit.of(error).below("channels", name, "unit") from error
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


class CoolingLog(Log):
    """A drive of the duty's vehicle, laden as the duty says, with its disc temperature."""

    opening: Share | None = None  # at which it was driven; None: the duty's own

    @field_validator("opening")
    @classmethod
    def _opening(cls, value: float | None) -> float | None:
        return None if value is None else _at_most_full(value)

    @model_validator(mode="after")
    def _temperature(self) -> CoolingLog:
        self.refuse_missing(("disc_temperature",))
        return self


class DutyCycle(_Duty):
    length: Length
    ambient: Temperature
    events: Annotated[tuple[Event, ...], Field(min_length=1, max_length=2000)]
    cooling_log: CoolingLog | None = None


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
            raise Unfit(
                "missing",
                "number and unit, such as 20 degC",
                "give it, or map ambient_temperature of the log",
                at=("ambient",),
                beside=[("log",)],
            )
        return self


def load_duty(path: Path) -> DutyCycle | LoggedDuty:
    """A duty's file. Raises InputError; a log is not read, but must be there."""
    text = text_of(path)
    content = mapping_of(text, path.name, DutyCycle)

    def refused(key: str, found: str, accepted: str, mend: str) -> InputError:
        return InputError(Complaint(path.name, found, accepted, mend, line_of(text, tuple(key.split("."))), key))

    if "log" not in content:
        if content.get("cooling") == "log":
            raise refused(
                "cooling", "log needs a log", "h0 and h1, or a log", "give h0 and h1, or a log instead of events"
            )
        duty: DutyCycle | LoggedDuty = parse(content, DutyCycle, path.name, text)
    elif "events" in content:
        mend = "keep the one that is meant; a log that tells the cooling of these events is a cooling_log"
        raise refused("log", "stands beside events", "events or a log", mend)
    else:
        duty = parse(content, LoggedDuty, path.name, text)
    log = log_of(duty)
    if log is not None and not log_path(path, log).exists():
        key = "log.file" if isinstance(duty, LoggedDuty) else "cooling_log.file"
        raise refused(key, f"{log.file!r} is not there", "a file beside this one or below",
                      "correct the path or put the log there")  # fmt: skip
    return duty


def log_of(duty: DutyCycle | LoggedDuty) -> Log | None:
    """The log that a duty's file names: the one that is cut into its events, or the one of its cooling."""
    return duty.log if isinstance(duty, LoggedDuty) else duty.cooling_log


def log_path(path: Path, log: Log) -> Path:
    """A log of the duty whose file is `path`."""
    return path.parent / log.file
