"""The test card: test.yaml as a frozen model, SI throughout (temperatures in K, shaft speeds in rad/s).

`load_card(folder)` is the only entrance. Errors are `InputError` in one line: file, key, what is wrong, what is
accepted.
"""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field, field_validator, model_validator

from pipeline.archive.block import Block, with_speeds
from pipeline.archive.brake import Brake
from pipeline.archive.exclusions import Exclusion, refuse_twice
from pipeline.archive.sensors import Sensor, SensorLimit, limit_of
from pipeline.archive.written import FORCED, TIMESTAMP, Written
from pipeline.constants import ZERO_C
from pipeline.errors import Unfit
from pipeline.inputs.model import Model, load
from pipeline.inputs.quantities import (
    DIMENSIONS,
    Duration,
    Inertia,
    Length,
    Temperature,
    reads_as,
    scale_offset,
    to_si,
)
from pipeline.inputs.refusals import nearest
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
    "speed": f"or a linear speed ({DIMENSIONS['linear_speed'][1]}) where rolling_radius is given"
} | dict.fromkeys(FORCED, f"or a force ({DIMENSIONS['force'][1]}) with its lever arm, such as arm: 250 mm")
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
            raise Unfit(
                f"{value!r} must stay inside the test's folder",
                "a relative pattern such as recordings/*.csv",
                "put the recordings into the test's folder, and write the path from there",
            )
        return value

    @model_validator(mode="after")
    def _sensors(self) -> Recordings:
        known = {**CHANNELS, **QUANTITIES}
        for name, sensor in (self.sensors or {}).items():
            place = ("sensors", name)
            if name not in known and name not in self.channels:
                near = nearest(name, list(known))
                listed = f"nearest known key: {near}" if near else f"known keys: {', '.join(known)}"
                raise Unfit("unknown key", listed, f"write {near}" if near else "leave it out", at=place)
            if name in known:
                try:
                    limit_of(sensor, known[name])
                except ValueError as error:
                    raise Unfit.of(error).below(*place) from error
        return self

    @model_validator(mode="after")
    def _channels(self) -> Recordings:
        if self.holds == "summary":
            return self
        self.refuse_missing(REQUIRED_CHANNELS if self.format in ("mdf", "tdms") else ("time", *REQUIRED_CHANNELS))
        self.refuse_counted_time()
        self.refuse_column_twice()
        return self

    @model_validator(mode="after")
    def _units(self) -> Recordings:
        if self.holds == "summary":
            return self
        for name, channel in self.channels.items():
            if name in CHANNELS and not (
                (name == "speed" and reads_as(channel.unit, "linear_speed"))
                or (name == "time" and channel.unit == TIMESTAMP)
            ):
                try:
                    scale_offset(channel.unit, "force" if channel.arm is not None else CHANNELS[name])
                except ValueError as error:
                    further = FURTHER.get(name)
                    refused = Unfit.of(error).with_(further) if further else Unfit.of(error)
                    raise refused.below("channels", name, "unit") from error
        return self


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
            raise Unfit(
                f"{self.temperature - ZERO_C:.0f} degC is no soak of a disc",
                "-60 to 2000 degC",
                "correct the number or its unit",
                at=("temperature",),
            )
        if not 0 < self.duration <= LONGEST_S:
            raise Unfit(
                f"{self.duration / 3600:.4g} h is no soak",
                "above 0, at most 10000 h",
                "correct the number or its unit",
                at=("duration",),
            )
        return self


STAND_IN: dict[str, Any] = {
    "schema": "1",
    "compound": "-",
    "batch": "-",
    "specimen": "-",
    "date": "2000-01-01",
    "rig": "-",
    "brake": {
        "friction_ring": {"outer_diameter": "312 mm", "inner_diameter": "220 mm"},
        "pistons_per_side": ["38 mm"],
        "pad_area": "52 cm^2",
    },
    "inertia": "22 kg m^2",
    "recordings": {
        "files": "recordings/*.csv",
        "channels": {
            "time": {"column": "- t", "unit": "s"},
            "speed": {"column": "- n", "unit": "rpm"},
            "torque": {"column": "- M", "unit": "N m"},
            "pressure": {"column": "- p", "unit": "bar"},
            "disc_temperature": {"column": "- T", "unit": "degC"},
        },
    },
    "blocks": [{"name": "-", "purpose": "map", "kind": "stop", "stops": "1", "speed": "1000 rpm"}],
}


class Card(Model):
    """A whole test card. `test` is the folder's name."""

    derived: ClassVar = ("test",)
    bounds: ClassVar = {
        "inertia": ("0.0001 kg m^2", "100000 kg m^2"),
        "inertia_mechanical": ("0.0001 kg m^2", "100000 kg m^2"),
        "rolling_radius": ("20 mm", "5 m"),
    }
    stand_in: ClassVar = STAND_IN
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
    levels: Literal["schedule", "recordings"] = (
        "schedule"  # where the blocks' levels come from: read off the recordings they vouch for nothing
    )
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
            raise Unfit(
                f"{value!r} must stay inside the test's folder", "a relative path such as wear.csv", "put it there"
            )
        return value

    @model_validator(mode="before")
    @classmethod
    def _block_speeds(cls, content: Any) -> Any:
        """Blocks' speeds in rad/s: a linear speed needs rolling_radius, which stands beside inertia."""
        if not isinstance(content, dict) or not isinstance(content.get("blocks"), list):
            return content
        radius = content.get("rolling_radius")
        try:
            radius_m = to_si(radius, "length") if radius is not None else None
        except ValueError:
            radius_m = 1.0
        if radius_m is not None and radius_m <= 0:
            radius_m = 1.0  # what is wrong with a radius is told at its own key
        blocks = [with_speeds(block, radius_m) for block in content["blocks"]]
        return {**content, "blocks": blocks}

    @model_validator(mode="after")
    def _consistent(self) -> Card:
        if self.inertia_mechanical is not None and self.inertia_mechanical > self.inertia * (1 + 1e-9):
            raise Unfit(
                f"{self.inertia_mechanical:g} kg m^2 is above inertia, which is the total",
                f"at most {self.inertia:g} kg m^2",
                "correct one of the two",
                at=("inertia_mechanical",),
                beside=[("inertia",)],
            )
        return self

    @model_validator(mode="after")
    def _linear_speed(self) -> Card:
        speed = self.recordings.channels.get("speed")
        if speed is not None and self.rolling_radius is None and reads_as(speed.unit, "linear_speed"):
            raise Unfit(
                f"{speed.unit!r} is a linear speed and needs rolling_radius",
                "the shaft's unit (rpm, rad/s); a linear one beside rolling_radius",
                "give rolling_radius beside inertia",
                at=("recordings", "channels", "speed"),
                beside=[("rolling_radius",)],
            )
        return self

    @model_validator(mode="after")
    def _pauses(self) -> Card:
        """A pause is looked up by the block's name."""
        first: dict[str, int] = {}
        for number, block in enumerate(self.blocks):
            other = self.blocks[first.setdefault(block.name, number)]
            if block.pause_before != other.pause_before:
                raise Unfit(
                    f"{block.name!r} is the name of block {first[block.name] + 1} too, which has another pause_before",
                    "a name of its own for each block",
                    f"write another, such as {block.name} {number + 1}",
                    at=("blocks", number, "name"),
                    beside=[("blocks", first[block.name])],
                )
        return self

    @model_validator(mode="after")
    def _order(self) -> Card:
        refuse_twice(self.exclude)
        stops = [dwell.after_stop for dwell in self.dwells]
        if stops != sorted(stops):
            raise Unfit(
                "after_stop goes back",
                "soaks in the order run",
                "state them in the order run",
                at=("dwells",),
            )
        for entry, exclusion in enumerate(self.exclude):
            if exclusion.date is not None and exclusion.date < self.date:
                raise Unfit(
                    f"{exclusion.date} is before the test's own date {self.date}",
                    f"{self.date} or later",
                    "correct one of the dates",
                    at=("exclude", entry, "date"),
                    beside=[("date",)],
                )
        return self


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
