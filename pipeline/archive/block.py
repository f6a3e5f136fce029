"""One block of a test's schedule, as a card plans it; SI, speeds at the shaft."""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal

from pydantic import BeforeValidator, Field, PositiveInt, field_validator

from pipeline.errors import Unfit
from pipeline.inputs.model import Model
from pipeline.inputs.quantities import Acceleration, Dimension, Duration, Pressure, Temperature, Torque, to_si
from pipeline.inputs.scalars import Text, as_number

FASTEST = 10472.0  # rad/s at the shaft: 100000 rpm


def _refused(value: Any) -> Any:
    """What `with_speeds` refused is raised where it belongs: beside all else that is wrong in the file."""
    if isinstance(value, Unfit):
        raise value
    return value


ShaftSpeed = Annotated[float, BeforeValidator(_refused), Dimension("angular_speed")]


class Block(Model):
    """One block of the schedule; speeds in rad/s at the shaft, temperatures in K."""

    derived: ClassVar = ("speed_start", "speed_end")
    bounds: ClassVar = {
        "pressure": ("0 bar", "2000 bar"),
        "torque": ("0 N m", "1000 kN m"),
        "deceleration": ("0.001 m/s^2", "200 m/s^2"),
        "initial_temperature": ("-60 degC", "2000 degC"),
        "pause_before": ("0 s", "10000 h"),
        "duration": ("0.01 s", "100 h"),
        "interval": ("0.1 s", "1000 h"),
    }
    name: Text
    purpose: Literal["bedding", "map", "check", "fade", "recovery", "duty", "drag"]
    kind: Literal["stop", "snub", "drag"]
    stops: Annotated[PositiveInt, Field(le=100000), BeforeValidator(as_number)]
    speed: tuple[str, ...]
    speed_start: ShaftSpeed = 0.0
    speed_end: ShaftSpeed = 0.0
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
            raise Unfit(f"{len(values)} speeds", "[from, to], or one speed", "write [from, to] or one speed")
        return tuple(str(v) for v in values)


def with_speeds(block: Any, radius_m: float | None) -> Any:
    """A block as it is written with its speeds (rad/s) beside; what is wrong with them in their place. radius_m: None where none is given."""
    if not isinstance(block, dict):
        return block
    for key in block:
        if key in Block.derived:
            unknown = Unfit("unknown key", "nearest known key: speed", "write speed: [start, end]")
            return {**block, key: unknown}
    try:
        return {**block, **_speeds(block, radius_m)} if block.get("speed") is not None else block
    except Unfit as error:  # told of the key that was written
        return {**block, "speed_start": error.below("..", "speed")}


def _speeds(block: dict[str, Any], radius_m: float | None) -> dict[str, float]:
    """Speeds at both ends (rad/s). Raises Unfit."""
    values = block["speed"] if isinstance(block["speed"], list) else [block["speed"]]
    if len(values) not in (1, 2):
        raise Unfit(f"{len(values)} speeds", "[start, end]; of a drag one speed", "write [start, end]")
    speeds = [_shaft_speed(value, radius_m) for value in values]
    kind = block.get("kind")
    if kind == "drag":
        speeds = [speeds[0], speeds[-1]]
    elif len(speeds) == 1:
        speeds = [speeds[0], 0.0]
    if kind == "snub" and len(values) == 2 and not speeds[0] > speeds[1]:
        raise Unfit("a snub goes from a higher to a lower speed", "[higher, lower]", "set the higher speed first")
    if kind == "stop" and len(values) == 2 and not speeds[0] > speeds[1]:
        raise Unfit("a stop goes from a speed down to rest", "[speed, 0 rpm]", "set the higher speed first")
    return {"speed_start": speeds[0], "speed_end": speeds[1]}


def _shaft_speed(value: Any, radius_m: float | None) -> float:
    try:
        found = to_si(value, "angular_speed")
    except ValueError as error:
        try:
            linear = to_si(value, "linear_speed")
        except ValueError:
            raise Unfit.of(error).with_("or a linear speed with rolling_radius") from error
        if radius_m is None:
            raise Unfit(
                f"{value!r} is a linear speed and needs rolling_radius",
                "the shaft's speed (rpm, rad/s); a linear one beside rolling_radius",
                "give rolling_radius beside inertia",
                beside=[("..", "..", "..", "rolling_radius")],  # from the block's speed
            ) from error
        found = linear / radius_m
    if not 0 <= found <= FASTEST:
        raise Unfit(
            f"{value!r} is outside what there can be", "0 to 100000 rpm at the shaft", "correct the number or its unit"
        )
    return found
