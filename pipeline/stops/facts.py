"""The card's facts as the reduction takes them: geometry, inertia, gains of the uncertainty budget."""

import numpy as np

from pipeline.archive.card import Card, sensor_limit
from pipeline.archive.sensors import SensorLimit
from pipeline.errors import InputError
from pipeline.method.reduction import Reduction
from pipeline.stops.radius import effective_radius
from pipeline.stops.reduction import Setup
from pipeline.stops.uncertainty import Gains, gain_and_zero, relative_limit

SOURCES = {
    "torque": "torque",
    "pressure": "pressure",
    "piston_area": "area",
    "effective_radius": "length",
    "efficiency": "share",
    "threshold_pressure": "pressure",
}


def setup_of(card: Card, settings: Reduction) -> Setup:
    """Geometry and inertia of the test, with the method's rule where the card gives no effective radius."""
    brake = card.brake
    if brake.effective_radius is not None:
        radius = brake.effective_radius
    else:
        ring = brake.friction_ring
        if ring is None:
            raise InputError("brake: give friction_ring or effective_radius")
        radius = effective_radius(ring.outer_diameter, ring.inner_diameter, settings.radius)
    return Setup(
        piston_area=brake.piston_area,
        radius=radius,
        threshold=brake.threshold_pressure,
        efficiency=brake.efficiency,
        friction_area=brake.friction_area,
        inertia=card.inertia,
        inertia_mechanical=card.inertia_mechanical if card.simulates_inertia else None,
        rolling_radius=card.rolling_radius,
        average=settings.average,
        drag_correction=settings.drag_correction,
        build_up=settings.build_up,
        least_window=settings.least_window,
    )


def gains_of(
    card: Card, settings: Reduction, setup: Setup, *, torque: float, pressure: float
) -> tuple[Gains, dict[str, bool]]:
    """Common relative uncertainties from the card's sensors, and which of them are stated.

    torque, pressure: largest in use (SI), what a limit without a full scale is referred to.
    """
    limits = {name: sensor_limit(card, name, dimension) for name, dimension in SOURCES.items()}
    torque_gain, torque_zero = gain_and_zero(limits["torque"], torque)
    pressure_gain, pressure_zero = gain_and_zero(limits["pressure"], pressure)
    gains = Gains(
        torque=torque_gain,
        pressure=pressure_gain,
        area=relative_limit(limits["piston_area"], setup.piston_area),
        radius=relative_limit(limits["effective_radius"], setup.radius),
        efficiency=relative_limit(limits["efficiency"], setup.efficiency),
        correlation=settings.torque_pressure_correlation,
        torque_zero=torque_zero,
        pressure_zero=pressure_zero,
        threshold=threshold_u(limits["threshold_pressure"], setup.threshold, settings),
    )
    return gains, {name: limit is not None for name, limit in limits.items()}


def threshold_u(limit: SensorLimit | None, value: float, settings: Reduction) -> float:
    """Standard uncertainty of the threshold pressure (Pa): as stated, else the method's limits; never nil.

    A card that gives no threshold is reduced with 0, which is too low for any seal: its limits are the wider ones.
    """
    half = 0.0
    if limit is not None:
        half = limit.relative * value if limit.relative is not None else limit.absolute or 0.0
    if half <= 0:
        half = settings.threshold_accuracy if value > 0 else settings.threshold_unknown
    return float(half / np.sqrt(3))


def temperature_limit(card: Card) -> float | None:
    """Standard uncertainty of a disc temperature from its sensor's accuracy (K); None where none is stated."""
    limit = sensor_limit(card, "disc_temperature", "temperature")
    if limit is None or limit.absolute is None:
        return None
    return float(limit.absolute / np.sqrt(3))
