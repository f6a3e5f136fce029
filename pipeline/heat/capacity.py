"""Stored heat of a disc by its material: tabulated carbon or steel, or a constant value.

`material` is "carbon", "steel" or a constant heat capacity in J/(kg K), as a test card's disc states it.
"""

from types import ModuleType

import numpy as np

from pipeline.constants import Array, Values
from pipeline.heat import carbon, steel

_TABULATED = {"carbon": carbon, "steel": steel}

Material = str | float


def heat_capacity(temperature: Values, material: Material) -> Array:
    """cp in J/(kg K) at temperatures in K."""
    if isinstance(material, str):
        return _tabulated(material).heat_capacity(temperature)
    return np.full_like(np.asarray(temperature, float), _constant(material))


def enthalpy(temperature: Values, material: Material) -> Array:
    """Heat in J/kg from a fixed reference temperature of the material to the temperatures in K.

    The reference differs between materials: use differences only.
    """
    if isinstance(material, str):
        return _tabulated(material).enthalpy(temperature)
    return _constant(material) * np.asarray(temperature, float)


def stored(temperature: Values, material: Material) -> tuple[Array, Array]:
    """(`enthalpy`, `heat_capacity`) at temperatures in K, for those that need the two."""
    if material == "carbon":
        return carbon.stored(temperature)
    return enthalpy(temperature, material), heat_capacity(temperature, material)


def temperature_of(heat: Values, material: Material) -> Array:
    """Temperature in K at an enthalpy in J/kg: the inverse of `enthalpy`."""
    if isinstance(material, str):
        return _tabulated(material).temperature_of(heat)
    return np.asarray(heat, float) / _constant(material)


def heated(temperature: Values, heat_per_mass: Values, material: Material) -> Array:
    """Temperature in K after the heat in J/kg has been put into material at `temperature`."""
    return temperature_of(enthalpy(temperature, material) + heat_per_mass, material)


def _tabulated(material: str) -> ModuleType:
    if material not in _TABULATED:
        raise ValueError(f"no heat capacity for {material!r}: carbon, steel or a value in J/(kg K)")
    return _TABULATED[material]


def _constant(material: float) -> float:
    value = float(material)
    if not value > 0:
        raise ValueError(f"heat capacity must be positive, not {value:g} J/(kg K)")
    return value
