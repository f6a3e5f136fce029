"""A whole stop at wanted conditions, by a compound's law at the face."""

from __future__ import annotations

from pipeline.face.asked import Wanted, stop_of
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.face import FaceStop


def predict_stop(
    friction: CompoundFriction,
    *,
    speed_from: str,
    speed_to: str,
    temperature: str,
    pressure: str | None = None,
    torque: str | None = None,
    deceleration: str | None = None,
    inertia: str | None = None,
) -> FaceStop:
    """A stop with its friction, time, way and hottest face, each with its interval, as `stopsheet predict` gives it.

    friction: of a compound, `results.compound(...).friction`. All values are text with a unit ("1450 rpm", "25 bar",
    "150 degC"); speeds are the shaft's, or the vehicle's where the cards give a rolling radius; temperature: of the disc
    at brake start. Give one of pressure, torque (mean) and deceleration (mean); inertia: the cards' without one.

    Where the stop would leave what was tested nothing is given, and `why` says in which direction and how far. Raises
    InputError where the compound has no law or a value cannot be. Reservations stand in `friction.face_law`.
    """
    wanted = Wanted(speed_from, speed_to, temperature, pressure, torque, deceleration, inertia)
    return stop_of(friction, wanted, {name: name for name in Wanted._fields})
