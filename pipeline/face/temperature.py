"""Face temperature of every sample as a smooth function of the uncertain heat inputs.

Conduction (`pipeline.heat.slab`) is run for all stops at once at a few values of conductivity, flux and loss; between them the
temperature is interpolated by polynomials, so that a fit may try as many values as it likes for nothing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from pipeline.constants import Array
from pipeline.face.inputs import SPAN, Inputs
from pipeline.face.samples import Samples
from pipeline.heat import slab

CONDUCTIVITIES, FLUXES = 5, 2
LESS_LOSS = 0.7  # factor of the loss at which its effect is taken
NODES, GRADING = 12, 1.45


@dataclass(frozen=True)
class Faces:
    """Face temperature in K at the grid of inputs, [conductivities, fluxes, stops, n], with the grids (logarithms); `per_loss`
    [stops, n]: change for as much loss again. A loss lowers the face nearly in proportion, whatever conductivity and flux."""

    kelvin: Array
    conductivity: Array
    flux: Array
    per_loss: Array

    def at(self, theta: Array) -> tuple[Array, Array]:
        """Temperature [stops, n] and its slopes [stops, n, 3] at theta = (ln k/k0, ln flux factor, ln h/h0)."""
        a, da = _lagrange(self.conductivity, theta[0])
        b, db = _lagrange(np.exp(self.flux), np.exp(theta[1]))
        parts = ((a, b), (da, b), (a, db * np.exp(theta[1])))
        kelvin, in_k, in_flux = (np.einsum("i,j,ijsn->sn", *weights, self.kelvin) for weights in parts)
        factor = np.exp(theta[2])
        slopes = np.stack([in_k, in_flux, factor * self.per_loss], axis=-1)
        return kelvin + (factor - 1) * self.per_loss, slopes


def faces_of(samples: Samples, inputs: dict[str, Inputs], heat: Inputs) -> Faces:
    """Faces of stops, each by its test's own plate; `heat` spans the grid (inputs that the tests share)."""
    conductivity = heat.conductivity.u * SPAN * np.cos(np.pi * (np.arange(CONDUCTIVITIES) + 0.5) / CONDUCTIVITIES)[::-1]
    flux = heat.share.u * SPAN * np.array([-0.6, 0.6])
    kelvin = np.empty((CONDUCTIVITIES * FLUXES, *samples.time.shape))
    per_loss = np.zeros(samples.time.shape)
    names = samples.table["test"].to_numpy() if "test" in samples.table.columns else np.full(len(samples), "")
    step = np.diff(samples.energy, axis=1, prepend=samples.energy[:, :1])
    span = np.diff(samples.time, axis=1, prepend=samples.time[:, :1])
    power = np.divide(step, span, out=np.zeros_like(step), where=span > 0)
    ln_k, ln_flux = (grid.ravel() for grid in np.meshgrid(conductivity, flux, indexing="ij"))
    for name in np.unique(names):
        rows, own = np.flatnonzero(names == name), inputs[str(name)]
        kelvin[:, rows] = _conducted(samples, power, rows, own, ln_k, ln_flux)
        if own.cooling is not None:
            whole, less = (
                _conducted(samples, power, rows, own, np.zeros(1), np.zeros(1), loss)[0] for loss in (1.0, LESS_LOSS)
            )
            per_loss[rows] = (whole - less) / (1 - LESS_LOSS)
    return Faces(kelvin.reshape(CONDUCTIVITIES, FLUXES, *samples.time.shape), conductivity, flux, per_loss)


def _conducted(
    samples: Samples, power: Array, rows: np.ndarray, own: Inputs, ln_k: Array, ln_flux: Array, loss: float = 1.0
) -> Array:
    """Face temperatures [grid, rows, n] of stops of one test, the whole grid at once; `loss`: factor of the stated one."""
    each, which = np.repeat(np.arange(ln_k.size), rows.size), np.tile(rows, ln_k.size)
    cooling = own.cooling
    if cooling is not None:
        cooling = replace(cooling, convection=own.loss.value * loss)
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
        cooling=cooling,
    )
    return surface.reshape(ln_k.size, rows.size, -1)


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
