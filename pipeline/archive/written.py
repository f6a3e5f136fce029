"""How a recording is written: format, delimiter, which column holds which channel in which unit. A test's recordings and
the log of a duty share it, and so the readers.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, Field, field_validator, model_validator

from pipeline.errors import Unfit
from pipeline.inputs.model import Model
from pipeline.inputs.quantities import Length
from pipeline.inputs.refusals import nearest
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

    def refuse_missing(self, needed: Iterable[str]) -> None:
        """Raises Unfit where a needed channel is not mapped."""
        needed = tuple(needed)
        missing = [name for name in needed if name not in self.channels]
        if missing:
            near = {name: nearest(name, [c for c in self.channels if c not in needed]) for name in missing}
            meant = [f"write {name} in place of {other}" for name, other in near.items() if other]
            raise Unfit(
                f"{', '.join(missing)} missing",
                f"needed: {', '.join(needed)}",
                "; ".join(meant) or "map it to its column",
                at=("channels",),
            )

    def refuse_counted_time(self) -> None:
        """Raises Unfit for timestamps of a format that has none."""
        if self.timestamps and self.format == "mdf":
            raise Unfit(
                "MDF counts time in seconds",
                "no `time`, or a channel with its unit",
                "leave `time` out, or give a channel's unit",
                at=("channels", "time"),
                beside=[("format",)],
            )

    def refuse_column_twice(self) -> None:
        """Raises Unfit where two channels are one column: one of them is then measured by nothing."""
        seen: dict[str, str] = {}
        for name, channel in self.channels.items():
            other = seen.setdefault(channel.column, name)
            if other != name:
                raise Unfit(
                    f"column {channel.column!r} is mapped twice, as {other} and as {name}",
                    "a column of its own for each channel",
                    "correct the one that is wrong",
                    at=("channels", name, "column"),
                    beside=[("channels", other)],
                )

    @model_validator(mode="after")
    def _beside_units(self) -> Self:
        for name, channel in self.channels.items():
            if channel.dates != "iso" and not (name == "time" and channel.unit == TIMESTAMP):
                raise Unfit(
                    "only of time",
                    f"dates of time with unit {TIMESTAMP}",
                    "leave it out",
                    at=("channels", name, "dates"),
                )
            if channel.arm is not None and name not in FORCED:
                raise Unfit(
                    f"only of {' and '.join(FORCED)}, whose column is then a force",
                    f"an arm of {' or '.join(FORCED)}",
                    "leave it out",
                    at=("channels", name, "arm"),
                )
        return self

    @model_validator(mode="after")
    def _parts(self) -> Self:
        for key, form in (("sheet", "xlsx"), ("dataset", "hdf5")):
            if getattr(self, key) is not None and self.format != form:
                raise Unfit(
                    f"only with format {form}; this is {self.format}",
                    f"with format {self.format} no {key}",
                    "leave it out, or correct format",
                    at=(key,),
                    beside=[("format",)],
                )
        if self.format == "xlsx" and self.decimal == ",":
            raise Unfit(
                "cells of a workbook are numbers",
                "no decimal with format xlsx",
                "leave it out",
                at=("decimal",),
                beside=[("format",)],
            )
        return self

    @field_validator("delimiter", mode="before")
    @classmethod
    def _delimiter(cls, value: Any) -> Any:
        spelled = DELIMITERS.get(value, value)
        if spelled not in (",", ";", "\t", "|", " "):
            raise Unfit(f"{value!r} is not accepted", '"," ";" "|" tab blanks', "write one of them, in quotes")
        return spelled

    @field_validator("units_row", mode="before")
    @classmethod
    def _units_row(cls, value: Any) -> Any:
        return value if value == "auto" else as_truth(value)

    @field_validator("encoding", mode="before")
    @classmethod
    def _encoding(cls, value: Any) -> Any:
        return ENCODINGS.get(str(value).lower(), str(value).lower())
