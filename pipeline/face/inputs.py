"""What conduction into the disc needs, each value with its uncertainty and where it comes from.

Face temperatures scale with the heat flux into the ring and with 1 / sqrt(k rho c), so what is not known well acts
through two numbers, both as factors on a logarithmic scale, and what the face loses while it brakes through a third:

    conductivity    ln(k / k0)
    flux            ln of (heat share / (ring area x thickness)) over its stated value
    heat lost       ln(h / h0), h the convection of the face in W/(m^2 K)

Values and how well each is known are those of `pipeline.heat.of_card`, the same as wear and duties take; ring and thickness
add 2 % together to the flux. The loss is what the thermocouple's course within the stops shows (`pipeline.heat.thermocouple`); where it
shows none, there is none and the third number is nil.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from pipeline.archive.card import Card
from pipeline.heat.of_card import conductivity_of, heat_share_of
from pipeline.heat.plate import Plate, plate_of
from pipeline.heat.slab import Cooling

GEOMETRY_U = 0.02  # of the logarithm
SPAN = 2.2  # standard deviations to each side that are looked at


@dataclass(frozen=True)
class Prior:
    """A heat input before the stops were looked at: value, standard uncertainty of its logarithm, and its source."""

    name: str
    value: float
    u: float
    source: Literal["card", "method", "default", "readings"]


NO_LOSS = Prior("heat lost", 0.0, 1e-3, "readings")


@dataclass(frozen=True)
class Inputs:
    """Plate and the uncertain factors of one disc; `cooling` is its loss while it brakes, None where none is shown."""

    plate: Plate
    conductivity: Prior
    share: Prior
    loss: Prior = NO_LOSS
    cooling: Cooling | None = None

    @property
    def priors(self) -> tuple[Prior, Prior, Prior]:
        return self.conductivity, self.share, self.loss

    @property
    def u(self) -> np.ndarray:
        return np.array([prior.u for prior in self.priors])

    @property
    def values(self) -> np.ndarray:
        return np.array([prior.value for prior in self.priors])

    def losing(self, convection: float, u: float, radiation: float, ambient: float) -> Inputs:
        """The same with a loss while braking: W/(m^2 K) known to `u` of its logarithm, W/(m^2 K^4), K."""
        cooling = Cooling(convection, radiation, ambient)
        return replace(self, loss=Prior("heat lost", convection, u, "readings"), cooling=cooling)


def inputs_of(card: Card, conductivity: float, share: float) -> Inputs | str:
    """The inputs of a card's disc, `conductivity` W/(m K) and heat share being the method's; or why there are none."""
    plate = plate_of(card)
    if isinstance(plate, str):
        return plate
    k, into_disc = conductivity_of(card, conductivity), heat_share_of(card, share)
    return Inputs(
        plate,
        Prior("conductivity", k.value, k.u, k.source),
        Prior("heat share", into_disc.value, float(np.hypot(into_disc.u, GEOMETRY_U)), into_disc.source),
    )
