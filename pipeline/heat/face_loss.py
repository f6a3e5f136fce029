"""How far a disc's bare faces lie under what conduction of the friction heat gives, by what they radiate themselves.

A face that gives off q W/m^2 while the disc cools evenly lies under the disc's mean by

    q L / (3 k),      q = r (T^4 - Ta^4),     r = emissivity x Stefan-Boltzmann constant x bare share of the ring

with L half the thickness (the parabola of an evenly cooled slab with one flux at its face; Carslaw & Jaeger, Conduction of Heat in
Solids, 1959, section 3.8). What the edges, the hat and a vented disc's ducts give off comes from the whole thickness. The bare share is
the rings less the pads. Convection is taken from the whole thickness too: what part of it leaves by the faces depends on the ducts,
which no card tells; a solid disc's face lies lower by that. The parabola is taken as formed: it forms in L^2 / (pi^2 alpha), 1 to 10 s,
while radiation changes over tens of seconds.
"""

from __future__ import annotations

import numpy as np

from pipeline.constants import Array
from pipeline.heat.lumped import STEFAN_BOLTZMANN

AMBIENT_K = 295.0  # its fourth power is one hundredth of a hot face's


def below(kelvin: Array, radiating: float, half_thickness: float, conductivity: float) -> Array:
    """The face's temperature in K where it would be at `kelvin` without its own radiation (r, W/(m^2 K^4))."""
    if not radiating:
        return kelvin
    squared = kelvin * kelvin
    drop = radiating * half_thickness / (3 * conductivity)
    # one step of Newton's method: the face radiates at its own temperature
    return np.asarray(kelvin - drop * (squared * squared - AMBIENT_K**4) / (1 + 4 * drop * squared * kelvin), float)


def bare(emissivity: float | None, ring_area: float, pads_area: float) -> float:
    """r of the faces in W/(m^2 K^4); ring_area: of one face, pads_area: of all pads on both, m^2. 0 without an emissivity."""
    return STEFAN_BOLTZMANN * (emissivity or 0.0) * max(1 - pads_area / (2 * ring_area), 0.0)
