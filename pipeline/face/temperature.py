"""Face temperature of every sample as a smooth function of the two uncertain heat inputs.

Conduction (`pipeline.heat.slab`) is run for all stops at once at a few values of conductivity and flux; between them the
temperature is interpolated by polynomials, so that a fit may try as many values as it likes for nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.constants import Array
from pipeline.face.inputs import SPAN, Inputs
from pipeline.face.samples import Samples
from pipeline.heat import slab

CONDUCTIVITIES, FLUXES = 5, 2
NODES, GRADING = 12, 1.45


@dataclass(frozen=True)
class Faces:
    """Face temperature in K at the grid of inputs, [conductivities, fluxes, stops, n], with the grids (logarithms)."""

    kelvin: Array
    conductivity: Array
    flux: Array

    def at(self, theta: Array) -> tuple[Array, Array, Array]:
        """(temperature, its slope in ln k, its slope in ln flux), each [stops, n], at theta = (ln k/k0, ln flux factor)."""
        a, da = _lagrange(self.conductivity, theta[0])
        b, db = _lagrange(np.exp(self.flux), np.exp(theta[1]))
        return (
            np.einsum("i,j,ijsn->sn", a, b, self.kelvin),
            np.einsum("i,j,ijsn->sn", da, b, self.kelvin),
            np.einsum("i,j,ijsn->sn", a, db * np.exp(theta[1]), self.kelvin),
        )


def faces_of(samples: Samples, inputs: dict[str, Inputs], heat: Inputs) -> Faces:
    """Faces of stops, each by its test's own plate; `heat` spans the grid (inputs that the tests share)."""
    conductivity = heat.conductivity.u * SPAN * np.cos(np.pi * (np.arange(CONDUCTIVITIES) + 0.5) / CONDUCTIVITIES)[::-1]
    flux = heat.share.u * SPAN * np.array([-0.6, 0.6])
    kelvin = np.empty((CONDUCTIVITIES, FLUXES, *samples.time.shape))
    names = samples.table["test"].to_numpy() if "test" in samples.table.columns else np.full(len(samples), "")
    step = np.diff(samples.energy, axis=1, prepend=samples.energy[:, :1])
    span = np.diff(samples.time, axis=1, prepend=samples.time[:, :1])
    power = np.divide(step, span, out=np.zeros_like(step), where=span > 0)
    ln_k, ln_flux = (grid.ravel() for grid in np.meshgrid(conductivity, flux, indexing="ij"))
    for name in np.unique(names):
        rows, own = np.flatnonzero(names == name), inputs[str(name)]
        # the whole grid at once: [grid x stops, n]
        each = np.repeat(np.arange(ln_k.size), rows.size)
        which = np.tile(rows, ln_k.size)
        surface, _ = slab.conduct(
            samples.time[which],
            power[which] * (own.share.value * np.exp(ln_flux[each]) / (2 * own.plate.ring_area))[:, None],
            samples.initial[which],
            half_thickness=own.plate.half_thickness,
            conductivity=own.conductivity.value * np.exp(ln_k[each]),
            density=own.plate.density,
            material=own.plate.material,
            nodes=NODES,
            grading=GRADING,
            passes=2,
        )
        kelvin[:, :, rows] = surface.reshape(CONDUCTIVITIES, FLUXES, rows.size, -1)
    return Faces(kelvin, conductivity, flux)


def _lagrange(nodes: Array, x: float) -> tuple[Array, Array]:
    """Weights of the values at the nodes for the interpolating polynomial at x, and for its slope."""
    value, slope = np.ones(nodes.size), np.zeros(nodes.size)
    for i, own in enumerate(nodes):
        others = np.delete(nodes, i)
        value[i] = np.prod((x - others) / (own - others))
        slope[i] = sum(
            np.prod((x - np.delete(others, j)) / (own - np.delete(others, j))) / (own - others[j])
            for j in range(others.size)
        )
    return value, slope


def tests_of(table: pl.DataFrame) -> list[str]:
    """Names of the tests in a table of stops; one without a name where it is of one test."""
    return table["test"].unique(maintain_order=True).to_list() if "test" in table.columns else [""]
