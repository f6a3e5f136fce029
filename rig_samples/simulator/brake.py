"""Brake and rig: geometry, rotor, hydraulic line, bearing drag and the scatter of control."""

from dataclasses import dataclass
from math import pi

RPM = pi / 30.0  # rad/s of one rpm


@dataclass(frozen=True)
class Brake:
    """Brake as its card states it; lengths in mm, areas in cm2 and mm2."""

    ring_outer_mm: float = 296.0
    ring_inner_mm: float = 206.0
    effective_radius_mm: float = 126.0
    pistons_mm: tuple[float, ...] = (28.0, 32.0, 36.0)
    pad_area_cm2: float = 47.0
    pads: int = 2
    efficiency: float = 0.97
    threshold_bar: float = 0.4
    disc_mass_kg: float = 1.77
    disc_thickness_mm: float = 28.0
    disc_minimum_mm: float = 24.0
    pad_mass_kg: float = 0.21
    pad_thickness_mm: float = 25.0
    pad_minimum_mm: float = 11.0

    @property
    def piston_area(self) -> float:
        """m2, the pistons of one side."""
        return sum(pi / 4.0 * (d * 1e-3) ** 2 for d in self.pistons_mm)

    @property
    def ring_area(self) -> float:
        """m2, one face of the swept ring."""
        return pi / 4.0 * (self.ring_outer_mm**2 - self.ring_inner_mm**2) * 1e-6

    @property
    def pad_face(self) -> float:
        """m2, the friction faces of all pads."""
        return self.pads * self.pad_area_cm2 * 1e-4

    @property
    def torque_per_bar(self) -> float:
        """N m of torque for one bar above the threshold at a friction coefficient of 1."""
        return 2.0 * self.efficiency * 1e5 * self.piston_area * self.effective_radius_mm * 1e-3


@dataclass(frozen=True)
class Rig:
    """Rotor and control; SI unless the name says otherwise."""

    inertia: float = 26.0
    inertia_mechanical: float | None = None  # below `inertia` the drive simulates the rest
    rolling_radius: float = 0.318
    drag_nm: float = 5.0
    drag_nm_s: float = 0.03
    line_time: float = 0.045  # first-order build-up of the line pressure
    line_rate_bar_s: float = 450.0
    pressure_limit_bar: float = 120.0
    sample_rate: float = 100.0
    before: float = 1.0  # recorded before the brake command and after release
    after: float = 1.5
    ripple: tuple[float, float] = (0.004, 0.006)  # torque amplitude at shaft orders 1 and 2
    humidity: float = 0.9  # moisture that the surface reaches in the hall's air
    moisture_time: float = 2.5 * 3600.0
    scatter: float = 0.015  # of mu, stop to stop, AR(1)
    scatter_correlation: float = 0.25
    flutter: float = 0.006  # of mu within a stop
    level_scatter: float = 0.006  # of the wanted pressure, torque or deceleration
    speed_scatter_rpm: float = 2.5
    start_scatter_k: float = 1.5  # of the initial temperature about the wanted one
    heating: bool = True  # induction heater brings the disc up to a block's initial temperature

    def drag(self, speed: float) -> float:
        """Torque of bearings and windage at a speed in rad/s; none at standstill."""
        return self.drag_nm + self.drag_nm_s * speed if speed > 0.0 else 0.0
