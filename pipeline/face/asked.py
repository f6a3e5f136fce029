"""A stop that somebody asks for, in values with units, and the law's answer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, NamedTuple

from pipeline.errors import InputError
from pipeline.inputs.quantities import DIMENSIONS, to_si
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.face import FaceModel, FaceStop

if TYPE_CHECKING:
    from pipeline.face.predict import Asked


class Wanted(NamedTuple):
    """Values with units as a person writes them; of pressure, torque and deceleration one."""

    speed_from: str
    speed_to: str
    temperature: str
    pressure: str | None = None
    torque: str | None = None
    deceleration: str | None = None
    inertia: str | None = None


SPEEDS = ("speed_from", "speed_to")
QUANTITIES = {
    **dict.fromkeys(SPEEDS, "angular_speed"),
    "deceleration": "acceleration",
}  # others are called as they are measured
PRESSING = ("pressure", "torque", "deceleration")


def stop_of(found: CompoundFriction, wanted: Wanted, named: Mapping[str, str]) -> FaceStop:
    """The stop by the compound's law at the face, or in it why that does not give it.

    named: what the caller calls each of the values, for messages. Raises InputError where the compound has no law, or a
    value cannot be.
    """
    from pipeline.face import predict

    law = found.face_law
    if law is None or law.model is None:
        _refuse_unreadable(wanted, named)  # what is mended first, the law can be asked for
        why = found.unusable or (law.why if law else None) or "its results hold none; run again"
        raise InputError(f"{found.compound}: no law at the face: {why}")
    return predict.stop(predict.Drawn.of(law.model), asked(law.model, wanted, named))


def asked(model: FaceModel, wanted: Wanted, named: Mapping[str, str]) -> Asked:
    """The values in SI."""
    from pipeline.face.predict import Asked

    given = [name for name in PRESSING if getattr(wanted, name) is not None]
    first = _speed(named["speed_from"], wanted.speed_from, model)
    last = _speed(named["speed_to"], wanted.speed_to, model)
    for name, value in (("speed_from", first), ("speed_to", last)):
        if value < 0:
            raise InputError(f"{named[name]}: {getattr(wanted, name)!r} is a negative speed; give speeds from 0 up")
    if not first > last:
        raise InputError(f"{named['speed_from']} must be above {named['speed_to']}")
    initial = _si(named["temperature"], wanted.temperature, "temperature")
    if initial <= 0:
        raise InputError(f"{named['temperature']}: {wanted.temperature!r} is not above absolute zero")
    mass = model.brake.inertia if wanted.inertia is None else _above_zero(named["inertia"], wanted.inertia, "inertia")
    if len(given) != 1:
        one_of = f"{', '.join(named[name] for name in PRESSING[:-1])} and {named[PRESSING[-1]]}"
        raise InputError(f"give one of {one_of}, not {' and '.join(given) or 'none'}")
    if wanted.pressure is not None:
        pressure = _above_zero(named["pressure"], wanted.pressure, "pressure")
        return Asked("asked", initial, first, last, mass, pressure=pressure)
    if wanted.torque is not None:
        torque = _above_zero(named["torque"], wanted.torque, "torque")
        return Asked("asked", initial, first, last, mass, torque=torque, wanted=f"a mean torque of {wanted.torque}")
    if model.brake.rolling_radius is None:
        raise InputError(
            f"{named['deceleration']} needs a rolling radius, which the test cards do not give; use {named['torque']}"
        )
    slowing = _above_zero(named["deceleration"], str(wanted.deceleration), "acceleration")
    return Asked(
        "asked",
        initial,
        first,
        last,
        mass,
        torque=mass * slowing / model.brake.rolling_radius,
        wanted=f"a mean deceleration of {wanted.deceleration}",
        sought="deceleration",
    )


def _refuse_unreadable(wanted: Wanted, named: Mapping[str, str]) -> None:
    """InputError for a value that no law could be asked for."""
    for name, text in wanted._asdict().items():
        if text is not None and not (name in SPEEDS and _is(text, "linear_speed")):
            _si(named[name], text, QUANTITIES.get(name, name))


def _is(text: str, dimension: str) -> bool:
    try:
        to_si(text, dimension)
    except ValueError:
        return False
    return True


def _si(called: str, text: str, dimension: str) -> float:
    try:
        return to_si(text, dimension)
    except ValueError as error:
        raise InputError(f"{called}: {error}") from None


def _above_zero(called: str, text: str, dimension: str) -> float:
    value = _si(called, text, dimension)
    if value <= 0:
        raise InputError(f"{called}: {text!r} must be above zero")
    return value


def _speed(called: str, text: str, model: FaceModel) -> float:
    """A shaft speed, or a vehicle's where the cards give a rolling radius; rad/s."""
    try:
        return to_si(text, "angular_speed")
    except ValueError:
        if model.brake.rolling_radius is None:
            return _si(called, text, "angular_speed")
    try:
        return to_si(text, "linear_speed") / model.brake.rolling_radius
    except ValueError as error:
        raise InputError(f"{called}: {error}, or of the shaft: {DIMENSIONS['angular_speed'][1]}") from None
