"""A rig's dated events: rigs/<rig>.yaml; and what its calibrations found, as it bears on a test.

A calibration compares what a sensor reads with what is there: reading = gain x true + zero. The gain is therefore above 1
where the sensor reads too much, and the zero is what it reads where there is nothing.

A figure holds from its event's date on, or, with `back_to`, from that earlier date on, until a later event states the
same figure, or up to `until` (that day left out), where the sensor was adjusted. The later event stands from its own
beginning on. Two events that both claim to know the same figure on the same days and differ are refused.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BeforeValidator, model_validator

from pipeline.errors import Unfit
from pipeline.inputs.model import Model
from pipeline.inputs.quantities import Share, to_si
from pipeline.inputs.scalars import Text, as_number

Quantity = Literal["torque_gain", "torque_zero", "pressure_gain", "pressure_zero"]
QUANTITIES: tuple[Quantity, ...] = ("torque_gain", "torque_zero", "pressure_gain", "pressure_zero")
LEAST_GAIN, LARGEST_GAIN = 0.5, 2.0  # beyond, it is a unit that is wrong and no calibration


def _as_mapping(value: Any) -> Any:
    """A bare value is one without an uncertainty."""
    return value if isinstance(value, dict) or value is None else {"value": value}


def _u_of_gain(value: Any) -> float:
    u = to_si(str(value), "share")
    if u < 0:
        raise Unfit(f"{value!r} must not be negative", "zero or more", "correct the number")
    return u


def _in(dimension: str, *, negative: bool) -> BeforeValidator:
    def parse(value: Any) -> float:
        found = to_si(value, dimension)
        if found < 0 and not negative:
            raise Unfit(f"{value!r} must not be negative", "zero or more", "correct the number")
        return found

    return BeforeValidator(parse)


def _possible(gain: float) -> float:
    if not LEAST_GAIN <= gain <= LARGEST_GAIN:
        raise Unfit(
            f"{gain:g} is no gain, which is the reading over the true value",
            f"{LEAST_GAIN:g} to {LARGEST_GAIN:g}",
            "correct the number; beyond that a unit is wrong",
        )
    return gain


class GainFigure(Model):
    """Reading over true value, and its standard uncertainty (a number or a share)."""

    value: Annotated[float, AfterValidator(_possible), BeforeValidator(as_number)]
    u: Annotated[float, BeforeValidator(_u_of_gain)] | None = None


class TorqueFigure(Model):
    """Torque read where there is none (N m), and its standard uncertainty."""

    value: Annotated[float, _in("torque", negative=True)]
    u: Annotated[float, _in("torque", negative=False)] | None = None


class PressureFigure(Model):
    """Pressure read where there is none (Pa), and its standard uncertainty."""

    value: Annotated[float, _in("pressure", negative=True)]
    u: Annotated[float, _in("pressure", negative=False)] | None = None


class RigEvent(Model):
    date: datetime.date
    what: Literal["rebuild", "calibration", "sensor"]
    note: Annotated[str, BeforeValidator(lambda v: "" if v is None else str(v))] = ""
    torque_gain: Annotated[GainFigure | None, BeforeValidator(_as_mapping)] = None
    torque_zero: Annotated[TorqueFigure | None, BeforeValidator(_as_mapping)] = None
    pressure_gain: Annotated[GainFigure | None, BeforeValidator(_as_mapping)] = None
    pressure_zero: Annotated[PressureFigure | None, BeforeValidator(_as_mapping)] = None
    back_to: datetime.date | None = None
    until: datetime.date | None = None

    @property
    def since(self) -> datetime.date:
        """First day on which its figures hold."""
        return self.back_to or self.date

    @property
    def states(self) -> tuple[Quantity, ...]:
        """Which figures it states."""
        return tuple(name for name in QUANTITIES if getattr(self, name) is not None)

    @model_validator(mode="before")
    @classmethod
    def _one_u(cls, content: Any) -> Any:
        """`u` of the event itself belongs to its only figure."""
        if not isinstance(content, dict) or "u" not in content:
            return content
        stated = [name for name in QUANTITIES if content.get(name) is not None]
        own = _as_mapping(content[stated[0]]) if len(stated) == 1 else None
        if own is None or "u" in own:
            raise Unfit(
                "u of which figure?",
                "u beside one figure alone",
                "write it with each, as in torque_gain: {value: 1.012, u: 0.002}",
                at=("u",),
            )
        return {**{k: v for k, v in content.items() if k != "u"}, stated[0]: {**own, "u": content["u"]}}

    @model_validator(mode="after")
    def _span(self) -> RigEvent:
        if not self.states and (self.back_to or self.until):
            raise Unfit(
                "back_to and until belong to a figure, and this event states none",
                f"one of {', '.join(QUANTITIES)}",
                "state the figure, or leave the date out",
            )
        if self.back_to is not None and self.back_to > self.date:
            raise Unfit(
                f"{self.back_to} is after the event's date {self.date}",
                f"{self.date} or earlier",
                "correct it; from the event on needs no back_to",
                at=("back_to",),
            )
        if self.until is not None and self.until <= self.since:
            raise Unfit(
                f"{self.until} is not after {self.since}, from which the figures hold",
                f"later than {self.since}",
                "correct one of the dates",
                at=("until",),
            )
        return self


class Scatter(Model):
    """Standard deviations of the rig's charts from test to test, where earlier work knows them: shares of mu, bite and
    wear, the energy ratio's own, torque (N m), pressure (Pa), lag (s).
    """

    mu: Share | None = None
    bite: Share | None = None
    wear: Share | None = None
    energy_ratio: Share | None = None
    torque_zero: Annotated[float, _in("torque", negative=False)] | None = None
    pressure_zero: Annotated[float, _in("pressure", negative=False)] | None = None
    lag: Annotated[float, _in("duration", negative=False)] | None = None

    @model_validator(mode="after")
    def _above_zero(self) -> Scatter:
        for name, value in self:
            if value is not None and value <= 0:
                raise Unfit("a scatter of nothing makes every test an alarm", "above zero", "leave it out", at=(name,))
        return self


class Rig(Model):
    stand_in: ClassVar = {"rig": "-", "events": [{"date": "2000-01-01", "what": "sensor"}]}
    rig: Text
    reference_compound: Text | None = None
    scatter: Scatter | None = None
    events: tuple[RigEvent, ...] = ()

    @model_validator(mode="after")
    def _no_contradiction(self) -> Rig:
        events = sorted(self.events, key=lambda event: event.date)
        for name in QUANTITIES:
            for a, b in combinations([e for e in events if name in e.states], 2):
                meet = b.since < (a.until or datetime.date.max) and a.since < (b.until or datetime.date.max)
                if meet and b.since <= a.date and getattr(a, name) != getattr(b, name):
                    raise Unfit(
                        f"events of {a.date} and {b.date} state different values of {name} for the same days (from "
                        f"{max(a.since, b.since)})",
                        "one value for each day",
                        "correct back_to, or give the earlier one an until",
                        at=("events", self.events.index(b)),
                    )
        return self


@dataclass(frozen=True)
class Calibration:
    """A figure in effect for a test. value, u: SI, u None where none is stated; later: events since that may have
    ended it.
    """

    quantity: Quantity
    value: float
    u: float | None
    found: datetime.date
    since: datetime.date
    later: tuple[str, ...] = ()


def in_effect(rig: Rig, date: datetime.date) -> tuple[Calibration, ...]:
    """The calibrations of the rig that hold on a date, one a quantity at most."""
    return tuple(_found(rig, date))


def _found(rig: Rig, date: datetime.date) -> Iterator[Calibration]:
    for name in QUANTITIES:
        begun = [event for event in rig.events if name in event.states and event.since <= date]
        if not begun:
            continue
        last = max(begun, key=lambda event: (event.since, event.date))
        if last.until is not None and date >= last.until:
            continue
        figure = getattr(last, name)
        later = tuple(
            f"{event.what} {event.date}"
            for event in sorted(rig.events, key=lambda event: event.date)
            if event.what != "rebuild" and last.date < event.date <= date
        )
        yield Calibration(name, figure.value, figure.u, last.date, last.since, later)
