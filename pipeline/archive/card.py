"""The test card: test.yaml as a frozen model, SI throughout (temperatures in K, shaft speeds in rad/s).

`load_card(folder)` is the only entrance. Errors are `InputError` in one line: file, key, what is wrong, what is
accepted.
"""

from __future__ import annotations

import datetime
import difflib
import re
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PositiveInt, field_validator, model_validator

from pipeline.archive.brake import Brake
from pipeline.archive.exclusions import Exclusion, refuse_twice
from pipeline.archive.sensors import Sensor, SensorLimit, limit_of
from pipeline.archive.written import FORCED, TIMESTAMP, Written
from pipeline.constants import ZERO_C
from pipeline.inputs.model import Model, load
from pipeline.inputs.quantities import (
    DIMENSIONS,
    Acceleration,
    Duration,
    Inertia,
    Length,
    Pressure,
    Temperature,
    Torque,
    reads_as,
    scale_offset,
    to_si,
)
from pipeline.inputs.scalars import Text, as_number

PURPOSES = ("bedding", "map", "check", "fade", "recovery", "duty", "drag")

# canonical channel -> dimension of its unit
CHANNELS = {
    "time": "duration",
    "speed": "angular_speed",
    "torque": "torque",
    "pressure": "pressure",
    "disc_temperature": "temperature",
    "pad_temperature": "temperature",
    "surface_temperature": "temperature",
    "ambient_temperature": "temperature",
    "air_speed": "linear_speed",
    "humidity": "share",
    "drive_torque": "torque",
    "pressure_2": "pressure",
    "caliper_temperature": "temperature",
    "displacement": "length",
    "disc_temperature_2": "temperature",
}
# what else `sensors` may state the limits of
QUANTITIES = {
    "effective_radius": "length",
    "piston_area": "area",
    "efficiency": "share",
    "threshold_pressure": "pressure",
    "inertia": "inertia",
    "conductivity": "conductivity",
    "heat_share": "share",
    "cooling": "share",
}
# units that a channel may also have
FURTHER = {
    "speed": f"; or a linear speed ({DIMENSIONS['linear_speed'][1]}) where rolling_radius is given"
} | dict.fromkeys(FORCED, f"; or a force ({DIMENSIONS['force'][1]}) with its lever arm, such as arm: 250 mm")
REQUIRED_CHANNELS = ("speed", "torque", "pressure", "disc_temperature")


class Recordings(Written):
    files: Text
    holds: Literal["stop", "series", "summary"] = "stop"
    sensors: dict[str, Sensor] | None = None

    @field_validator("files")
    @classmethod
    def _files(cls, value: str) -> str:
        parts = value.replace("\\", "/").split("/")
        if value.startswith(("/", "\\", "~")) or ".." in parts or re.match(r"^[A-Za-z]:", value):
            raise ValueError(
                f"{value!r} must stay inside the test's folder: a relative pattern such as recordings/*.csv"
            )
        return value

    @model_validator(mode="after")
    def _sensors(self) -> Recordings:
        known = {**CHANNELS, **QUANTITIES}
        for name, sensor in (self.sensors or {}).items():
            if name not in known and name not in self.channels:
                near = difflib.get_close_matches(name, known, n=1, cutoff=0.0)
                raise ValueError(f"sensors.{name}: unknown key; nearest known key: {near[0]}")
            if name in known:
                try:
                    limit_of(sensor, known[name])
                except ValueError as error:
                    raise ValueError(f"sensors.{name}: {error}") from error
        return self

    @model_validator(mode="after")
    def _channels(self) -> Recordings:
        if self.holds == "summary":
            return self
        needed = REQUIRED_CHANNELS if self.format in ("mdf", "tdms") else ("time", *REQUIRED_CHANNELS)
        missing = [name for name in needed if name not in self.channels]
        if missing:
            raise ValueError(f"channels: {', '.join(missing)} missing; needed: {', '.join(needed)}")
        if self.timestamps and self.format == "mdf":
            raise ValueError("channels.time: MDF counts time in seconds; leave `time` out, or give a channel's unit")
        for name, channel in self.channels.items():
            if name in CHANNELS and not (
                (name == "speed" and reads_as(channel.unit, "linear_speed"))
                or (name == "time" and channel.unit == TIMESTAMP)
            ):
                try:
                    scale_offset(channel.unit, "force" if channel.arm is not None else CHANNELS[name])
                except ValueError as error:
                    raise ValueError(f"channels.{name}: {error}{FURTHER.get(name, '')}") from error
        return self


class Block(Model):
    """One block of the schedule; speeds in rad/s at the shaft, temperatures in K."""

    name: Text
    purpose: Literal["bedding", "map", "check", "fade", "recovery", "duty", "drag"]
    kind: Literal["stop", "snub", "drag"]
    stops: Annotated[PositiveInt, Field(le=100000), BeforeValidator(as_number)]
    speed: tuple[str, ...]
    speed_start: float = 0.0
    speed_end: float = 0.0
    pressure: Pressure | None = None
    torque: Torque | None = None
    deceleration: Acceleration | None = None
    control: Literal["pressure", "torque", "deceleration"] = "pressure"
    initial_temperature: Temperature | None = None
    pause_before: Duration | None = None
    duration: Duration | None = None
    interval: Duration | None = None

    @field_validator("speed", mode="before")
    @classmethod
    def _speed(cls, value: Any) -> Any:
        values = value if isinstance(value, list | tuple) else [value]
        if not 1 <= len(values) <= 2:
            raise ValueError("write [from, to] or one speed")
        return tuple(str(v) for v in values)


COLDEST_K, HOTTEST_K, LONGEST_S = 213.15, 2273.15, 3.6e7  # of a soak


class Dwell(Model):
    """A soak of the specimens at a temperature (K) for a time (s), without a stop: in the furnace or the rig's heater."""

    after_stop: Annotated[int, Field(ge=0, le=10_000_000), BeforeValidator(as_number)]
    temperature: Temperature
    duration: Duration
    note: Annotated[str, BeforeValidator(lambda v: "" if v is None else str(v))] = ""

    @model_validator(mode="after")
    def _possible(self) -> Dwell:
        if not HOTTEST_K >= self.temperature >= COLDEST_K:
            raise ValueError(
                f"temperature: {self.temperature - ZERO_C:.0f} degC is no soak of a disc (-60 to 2000 degC)"
            )
        if not 0 < self.duration <= LONGEST_S:
            raise ValueError(f"duration: {self.duration / 3600:.4g} h is no soak (above 0, at most 10000 h)")
        return self


class Card(Model):
    """A whole test card. `test` is the folder's name."""

    test: str = ""
    schema_: Annotated[Literal[1], BeforeValidator(lambda v: int(v) if str(v).strip() == "1" else v)] = Field(
        alias="schema"
    )
    compound: Text
    batch: Text
    specimen: Text
    date: datetime.date
    rig: Text
    procedure: Annotated[str, BeforeValidator(lambda v: "" if v is None else str(v))] = ""
    notes: Annotated[str, BeforeValidator(lambda v: "" if v is None else str(v))] = ""
    brake: Brake
    inertia: Inertia
    inertia_mechanical: Inertia | None = None
    rolling_radius: Length | None = None
    recordings: Recordings
    blocks: Annotated[tuple[Block, ...], Field(min_length=1, max_length=5000)]
    wear: Text | None = None
    dwells: Annotated[tuple[Dwell, ...], Field(max_length=500)] = ()
    exclude: Annotated[tuple[Exclusion, ...], Field(max_length=5000)] = ()
    remarks: Annotated[str, BeforeValidator(lambda v: "" if v is None else str(v))] = ""

    @property
    def simulates_inertia(self) -> bool:
        """Whether the drive makes up for a part of the inertia that the rig's discs do not have."""
        return self.inertia_mechanical is not None and self.inertia_mechanical < self.inertia * (1 - 1e-9)

    @field_validator("wear")
    @classmethod
    def _wear(cls, value: str | None) -> str | None:
        if value is not None and (value.startswith(("/", "\\", "~")) or ".." in value.replace("\\", "/").split("/")):
            raise ValueError(f"{value!r} must stay inside the test's folder")
        return value

    @model_validator(mode="before")
    @classmethod
    def _block_speeds(cls, content: Any) -> Any:
        """Blocks' speeds in rad/s: a linear speed needs rolling_radius, which stands beside inertia."""
        if not isinstance(content, dict) or not isinstance(content.get("blocks"), list):
            return content
        radius = content.get("rolling_radius")
        radius_m = to_si(radius, "length") if radius is not None else None
        blocks = [_with_speeds(block, position, radius_m) for position, block in enumerate(content["blocks"])]
        return {**content, "blocks": blocks}

    @model_validator(mode="after")
    def _consistent(self) -> Card:
        if self.inertia_mechanical is not None and self.inertia_mechanical > self.inertia * (1 + 1e-9):
            raise ValueError("inertia_mechanical must not be above inertia (inertia is the total)")
        speed = self.recordings.channels.get("speed")
        if speed is not None and self.rolling_radius is None and reads_as(speed.unit, "linear_speed"):
            raise ValueError(
                f"recordings.channels.speed: {speed.unit!r} is a linear speed and needs rolling_radius; give it beside "
                "inertia, or the shaft's unit (rpm, rad/s)"
            )
        refuse_twice(self.exclude)
        stops = [dwell.after_stop for dwell in self.dwells]
        if stops != sorted(stops):
            raise ValueError("dwells: state them in the order run; after_stop goes back")
        for entry, exclusion in enumerate(self.exclude, start=1):
            if exclusion.date is not None and exclusion.date < self.date:
                raise ValueError(
                    f"exclude.entry {entry}.date: {exclusion.date} is before the test's own date {self.date}"
                )
        return self


def _with_speeds(block: Any, position: int, radius_m: float | None) -> Any:
    if not isinstance(block, dict) or "speed" not in block:
        return block
    for key in ("speed_start", "speed_end"):
        if key in block:
            raise ValueError(f"blocks.entry {position + 1}.{key}: unknown key; nearest known key: speed")
    values = block["speed"] if isinstance(block["speed"], list) else [block["speed"]]
    if len(values) not in (1, 2):
        raise ValueError(
            f"blocks.entry {position + 1}.speed: {len(values)} speeds; write [start, end], of a drag one speed"
        )
    speeds = [_shaft_speed(value, position, radius_m) for value in values]
    kind = block.get("kind")
    if kind == "drag":
        speeds = [speeds[0], speeds[-1]]
    elif len(speeds) == 1:
        speeds = [speeds[0], 0.0]
    if kind == "snub" and len(values) == 2 and not speeds[0] > speeds[1]:
        raise ValueError(f"blocks.entry {position + 1}.speed: a snub goes from a higher to a lower speed")
    if kind == "stop" and len(values) == 2 and not speeds[0] > speeds[1]:
        raise ValueError(f"blocks.entry {position + 1}.speed: a stop goes from a speed down to rest")
    return {**block, "speed_start": speeds[0], "speed_end": speeds[1]}


def _shaft_speed(value: Any, position: int, radius_m: float | None) -> float:
    try:
        return to_si(value, "angular_speed")
    except ValueError as error:
        try:
            linear = to_si(value, "linear_speed")
        except ValueError:
            raise ValueError(
                f"blocks.entry {position + 1}.speed: {error}; or a linear speed with rolling_radius"
            ) from error
        if radius_m is None:
            raise ValueError(
                f"blocks.entry {position + 1}.speed: {value!r} is a linear speed and needs rolling_radius"
            ) from error
        return linear / radius_m


def load_card(folder: Path) -> Card:
    """The card of the test in `folder` (folder/test.yaml). Raises InputError in one line."""
    card = load(folder / "test.yaml", Card, inside=folder.parent)
    return card.model_copy(update={"test": folder.name})


def sensor_limit(card: Card, name: str, dimension: str) -> SensorLimit | None:
    """Stated limits of one sensor or quantity as a half-width in SI; None when the card states none.

    `accuracy` as a share is of `full_scale` where that is given, else relative to the value; with a unit it is
    absolute. Raises ValueError when the text cannot be read.
    """
    sensor = (card.recordings.sensors or {}).get(name)
    return None if sensor is None else limit_of(sensor, dimension)


def full_scales(card: Card) -> dict[str, float]:
    """Stated full scales of torque (N m) and pressure (Pa)."""
    limits = {name: sensor_limit(card, name, CHANNELS[name]) for name in ("torque", "pressure")}
    return {n: limit.full_scale for n, limit in limits.items() if limit is not None and limit.full_scale is not None}
