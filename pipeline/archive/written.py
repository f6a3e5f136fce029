"""How a recording is written: format, delimiter, which column holds which channel in which unit. A test's recordings and
the log of a duty share it, and so the readers.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, field_validator, model_validator

from pipeline.inputs.model import Model
from pipeline.inputs.quantities import Length
from pipeline.inputs.scalars import Text, Truth, as_number, as_truth

TIMESTAMP = "timestamp"  # in place of time's unit: dates and times of day
FORCED = ("torque", "drive_torque")  # channels that a force at a lever arm may stand for
Dates = Literal["iso", "day_first", "month_first"]
DELIMITERS = {"\\t": "\t", "tab": "\t", "TAB": "\t", "semicolon": ";", "comma": ",", "blanks": " ", "blank": " "}
ENCODINGS = {
    "utf8": "utf-8",
    "latin1": "latin-1",
    "iso-8859-1": "latin-1",
    "utf16": "utf-16",
    "utf-16-le": "utf-16",
    "utf-16-be": "utf-16",
}


class Channel(Model):
    column: Text
    unit: Annotated[str, BeforeValidator(lambda v: "" if v is None else str(v))] = ""
    includes_drag: Truth = True
    dates: Dates = "iso"  # of timestamps: how a date is written
    arm: Length | None = None  # m: the column is a force that holds the brake's torque at this lever arm


class Written(Model):
    format: Literal["delimited", "parquet", "mdf", "tdms", "xlsx", "hdf5"] = "delimited"
    delimiter: str = ","
    decimal: Literal[".", ","] = "."
    skip_lines: Annotated[int, Field(ge=0, le=100000), BeforeValidator(as_number)] = 0
    comment: str | None = None
    units_row: Literal["auto"] | bool = "auto"
    encoding: Literal["utf-8", "latin-1", "utf-16"] = "utf-8"
    header_row: Truth = True  # delimited: without one the columns are called column 1, column 2 ...
    sheet: Text | None = None
    dataset: Text | None = None
    channels: dict[str, Channel]

    @property
    def part(self) -> str | None:
        """The wildcard by which parts of a file are recordings."""
        return self.sheet or self.dataset

    @property
    def dates(self) -> Dates:
        """How the dates of timestamps are written."""
        return self.channels["time"].dates if "time" in self.channels else "iso"

    @property
    def timestamps(self) -> bool:
        """Whether time is written as dates and times of day."""
        return "time" in self.channels and self.channels["time"].unit == TIMESTAMP

    def units_of(self, names: Iterable[str]) -> dict[str, str]:
        """Units of the channels that are mapped and count in one, by name."""
        units = {name: self.channels[name].unit for name in names if name in self.channels}
        return {name: unit for name, unit in units.items() if unit != TIMESTAMP}

    @model_validator(mode="after")
    def _beside_units(self) -> Self:
        for name, channel in self.channels.items():
            if channel.dates != "iso" and not (name == "time" and channel.unit == TIMESTAMP):
                raise ValueError(f"channels.{name}.dates: only of time with unit: {TIMESTAMP}")
            if channel.arm is not None and name not in FORCED:
                raise ValueError(f"channels.{name}.arm: only of {' and '.join(FORCED)}, whose column is then a force")
        return self

    @model_validator(mode="after")
    def _parts(self) -> Self:
        for key, form in (("sheet", "xlsx"), ("dataset", "hdf5")):
            if getattr(self, key) is not None and self.format != form:
                raise ValueError(f"{key}: only with format: {form}; this is {self.format}")
        if self.format == "xlsx" and self.decimal == ",":
            raise ValueError("decimal: cells of a workbook are numbers; leave it out")
        return self

    @field_validator("delimiter", mode="before")
    @classmethod
    def _delimiter(cls, value: Any) -> Any:
        spelled = DELIMITERS.get(value, value)
        if spelled not in (",", ";", "\t", "|", " "):
            raise ValueError(f'{value!r} is not accepted; accepted: "," ";" "|" tab blanks')
        return spelled

    @field_validator("units_row", mode="before")
    @classmethod
    def _units_row(cls, value: Any) -> Any:
        return value if value == "auto" else as_truth(value)

    @field_validator("encoding", mode="before")
    @classmethod
    def _encoding(cls, value: Any) -> Any:
        return ENCODINGS.get(str(value).lower(), str(value).lower())
