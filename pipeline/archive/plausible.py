"""Facts of a card that no brake test has, or few: told, and used as they are.

The ranges are common practice and wide; most have no witness but themselves, so a value inside them can still be
wrong (docs/silent_faults_study.md says what stays unseen). Where two facts of the card contradict each other (mass
and ring, pad and ring, radius and ring), that is told too.
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator

from pipeline.archive.card import Card

OLDEST = datetime.date(1960, 1, 1)
AHEAD = datetime.timedelta(days=2)  # time zones and a clock that is a little ahead
EFFICIENCY = 0.90
THRESHOLD_PA = 1.5e5
RADIUS = 0.03  # beyond the ring's mean and its radius at uniform pressure
RADIUS_OF_PAD = (0.5, 10.0)  # over the side of a square as large as the pad: a centimetre for a millimetre lies outside
PISTONS_OF_PAD = (0.15, 1.0)
MASS_OF_RING = (0.5, 3.0)  # vents and lightening; a hat and drive
DENSITY = {"carbon": (1300.0, 2300.0), "other": (1300.0, 9000.0)}
WEARABLE = 0.97  # smallest thickness of new above which next to nothing may wear
ACCURACY = (1e-5, 0.05)  # of full scale or reading


def unusual(card: Card, today: datetime.date) -> Iterator[tuple[str, str]]:
    """(key, what is unusual about it) of each such fact; today: the date of the run."""
    if card.date > today + AHEAD:
        yield "date", f"{card.date} lies in the future"
    elif card.date < OLDEST:
        yield "date", f"{card.date} is older than any recorded test"
    yield from _brake(card)
    yield from _parts(card)
    for name, sensor in (card.recordings.sensors or {}).items():
        share = sensor.accuracy.strip().removesuffix("%").strip()
        if sensor.accuracy.strip().endswith("%") and name in ("torque", "pressure"):
            value = float(share) / 100
            if not ACCURACY[0] < value <= ACCURACY[1]:
                yield f"sensors.{name}.accuracy", f"{sensor.accuracy}: sensors of 0.002 % to 5 % are usual"


def _brake(card: Card) -> Iterator[tuple[str, str]]:
    brake, ring = card.brake, card.brake.friction_ring
    if not EFFICIENCY <= brake.efficiency <= 1.0:
        yield "brake.efficiency", f"{brake.efficiency:g}: calipers reach {EFFICIENCY:g} to 1; mu is inversely as it"
    if brake.threshold_pressure > THRESHOLD_PA:
        yield (
            "brake.threshold_pressure",
            f"{brake.threshold_pressure / 1e5:g} bar: above {THRESHOLD_PA / 1e5:g} bar is rare",
        )
    if brake.pads % 2:
        yield "brake.pads", f"{brake.pads}: a disc has pads on both faces"
    share = brake.piston_area / brake.pad_area
    if not PISTONS_OF_PAD[0] <= share <= PISTONS_OF_PAD[1] * max(brake.pads // 2, 1):
        yield "brake.pistons_per_side", f"their area is {share:.2f} of one pad's"
    if ring is None and brake.effective_radius is not None:
        sides = brake.effective_radius / math.sqrt(brake.pad_area)
        if not RADIUS_OF_PAD[0] <= sides <= RADIUS_OF_PAD[1]:
            yield (
                "brake.effective_radius",
                f"{1e3 * brake.effective_radius:g} mm: {sides:.2g} times the side of a pad of {1e4 * brake.pad_area:g} cm^2; "
                f"{RADIUS_OF_PAD[0]:g} to {RADIUS_OF_PAD[1]:g} are usual",
            )
    if ring is None or brake.swept_area is None:
        return
    if brake.friction_area > 2 * brake.swept_area:
        yield (
            "brake.pad_area",
            f"the pads ({1e4 * brake.friction_area:.0f} cm^2) are larger than the ring's faces "
            f"({2e4 * brake.swept_area:.0f} cm^2)",
        )
    if brake.effective_radius is not None:
        outer, inner = ring.outer_diameter, ring.inner_diameter
        mean, even = (outer + inner) / 4, (outer**3 - inner**3) / (3 * (outer**2 - inner**2))
        low, high = mean * (1 - RADIUS), even * (1 + RADIUS)
        if not low <= brake.effective_radius <= high:
            yield (
                "brake.effective_radius",
                f"{1e3 * brake.effective_radius:g} mm: the friction ring's lies at {1e3 * low:.0f} to "
                f"{1e3 * high:.0f} mm",
            )


def _parts(card: Card) -> Iterator[tuple[str, str]]:
    brake = card.brake
    for name, part in (("disc", brake.disc), ("pad", brake.pad)):
        if part.thickness and part.minimum_thickness and part.minimum_thickness >= WEARABLE * part.thickness:
            yield (
                f"brake.{name}.minimum_thickness",
                f"{1e3 * part.minimum_thickness:g} mm leaves next to nothing of {1e3 * part.thickness:g} mm to wear",
            )
        kind = "carbon" if brake.disc.heat_capacity == "carbon" else "other"
        low, high = DENSITY[kind]
        if part.density and not low <= part.density <= high:
            yield f"brake.{name}.density", f"{part.density / 1e3:g} g/cm^3"
    disc, ring = brake.disc, brake.swept_area
    if ring and disc.mass and disc.thickness and disc.density:
        share = disc.mass / (ring * disc.thickness * disc.density)
        if not (MASS_OF_RING[0] <= share <= MASS_OF_RING[1] and math.isfinite(share)):
            yield "brake.disc", f"its mass is {share:.2f} of its friction ring's by thickness and density"
