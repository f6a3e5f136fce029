"""Units that a channel may be in though the card says another: the one table of them, and what each slip does to a
reading.

A channel recorded in unit V and labelled U is read as

    SI value read = factor x true SI value + offset,    factor = f(U) / f(V)

with f the SI value of one unit. The rows are the units in which rigs and their exports give these quantities (common
practice); their sizes are those of the unit definitions that read the card (SI brochure; NIST SP 811).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from pipeline.constants import ZERO_C
from pipeline.inputs.quantities import reads_as, scale_offset

UNITS: dict[str, tuple[str, ...]] = {
    "pressure": ("bar", "MPa", "kPa", "psi", "kgf/cm^2", "Pa"),
    "torque": ("N m", "lbf ft", "lbf in", "daN m", "kgf m", "kN m"),
    "force": ("N", "daN", "kgf", "lbf", "kN"),
    "angular_speed": ("rpm", "rad/s", "rev/s", "deg/s"),
    "linear_speed": ("km/h", "m/s", "mph"),
    "duration": ("s", "ms", "min", "h"),
    "temperature": ("degC", "degF", "K"),
    "inertia": ("kg m^2", "lb ft^2"),
}
SPELLED = {"rev/s": "rps"}
APART = 0.05  # |ln| of the factor: units nearer than this are within the accuracy of levels and of the balance
SAME = 0.04  # |ln| within which a measured ratio is a slip's


@dataclass(frozen=True)
class Slip:
    """Values in `actual` under the label `labelled`: read = factor x true + offset, SI."""

    actual: str
    labelled: str
    factor: float
    offset: float = 0.0

    @property
    def text(self) -> str:
        return f"{self.actual} labelled {self.labelled}"

    def celsius(self, true: np.ndarray) -> np.ndarray:
        """What true temperatures (degC) are read as (degC)."""
        return self.factor * (true + ZERO_C) + self.offset - ZERO_C


@lru_cache(maxsize=128)
def slips(dimension: str, labelled: str | None = None) -> tuple[Slip, ...]:
    """Every slip of a dimension: onto one label, or (None) onto each unit of the table.

    A shaft speed that the card labels with a linear unit slips among linear units, a torque that it labels with one of force among those.
    """
    if dimension == "torque" and labelled is not None and reads_as(labelled, "force"):
        dimension = "force"
    if dimension == "angular_speed" and labelled is not None and reads_as(labelled, "linear_speed"):
        dimension = "linear_speed"
    found = []
    for label in (labelled,) if labelled is not None else UNITS[dimension]:
        f, zero = scale_offset(SPELLED.get(label, label), dimension)
        for unit in UNITS[dimension]:
            g, other = scale_offset(SPELLED.get(unit, unit), dimension)
            if np.isclose(f, g, rtol=1e-6) and np.isclose(zero, other, atol=1e-6):
                continue
            found.append(Slip(unit, label, f / g, zero - other * f / g))
    return tuple(found)


def named(dimension: str, ratio: float, labelled: str | None = None, *, tolerance: float = SAME) -> list[Slip]:
    """Slips that would turn a channel's level by `ratio`, nearest first: onto the card's label if any fits, else any
    other.

    The second because a conversion may have been made twice, or forgotten, before the file was written. Units nearer
    than APART to each other are told only where they are all that fits.
    """
    if not (np.isfinite(ratio) and ratio > 0):
        return []
    for label in dict.fromkeys((labelled, None)):
        near = [
            (abs(np.log(ratio / slip.factor)), slip)
            for slip in slips(dimension, label)
            if abs(np.log(ratio / slip.factor)) < tolerance and abs(np.log(slip.factor)) > APART
        ]
        if near:
            return [slip for _, slip in sorted(near, key=lambda pair: pair[0])]
    return []


def texts(found: Sequence[Slip]) -> list[str]:
    return [slip.text for slip in found]
