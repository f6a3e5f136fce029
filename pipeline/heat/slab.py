"""Conduction through half a disc's thickness: the surface's temperature above the bulk's.

One dimension, from the rubbed face (a given flux) to the disc's middle (no flux, by symmetry), on a mesh that
is finest at the face, with a heat capacity that may rise with temperature:

    rho cp(T) dT/dt = d/dz (k dT/dz),   -k dT/dz = q(t) at the face,   dT/dz = 0 in the middle

While it brakes, the face also gives heat to air and surroundings (`Cooling`): a disc of some hundred degrees in a rig's air loses
a tenth and more of what a gentle stop of several seconds puts in. It is taken at the step's beginning.

Finite volumes, backward Euler in time (never oscillates after a step of the flux), three Newton passes a step
so that the stored heat is kept. Many stops run together, each with its own times. A braking of a few seconds
heats a carbon disc of 28 mm far from evenly: its diffusion time L^2/alpha is about 20 s.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.constants import Array, Values
from pipeline.heat.capacity import Material, stored

NODES = 20
GRADING = 1.25
AT_ONCE = 512  # stops: their cells stay in the processor's cache, and memory does not grow with the test


@dataclass(frozen=True)
class Cooling:
    """What a face gives off per its area: convection W/(m^2 K), one value or [stops], radiation W/(m^2 K^4), ambient K."""

    convection: Values
    radiation: float
    ambient: float

    def flux(self, face: Values) -> Array:
        """W/m^2 that leave at face temperatures in K."""
        face = np.asarray(face, float)
        return self.convection * (face - self.ambient) + self.radiation * (face**4 - self.ambient**4)

    def rows(self, these: slice, stops: int) -> Cooling:
        """That of some of the stops."""
        return Cooling(np.broadcast_to(np.asarray(self.convection, float), stops)[these], self.radiation, self.ambient)


def mesh(half_thickness: float, nodes: int = NODES, grading: float = GRADING) -> Array:
    """Widths in m of the cells from the face to the middle, each `grading` times the one before."""
    widths = grading ** np.arange(nodes)
    return half_thickness * widths / widths.sum()


def conduct(
    time: Array,
    flux: Array,
    start_temperature: Values,
    *,
    half_thickness: float,
    conductivity: Values,
    density: float,
    material: Material,
    nodes: int = NODES,
    grading: float = GRADING,
    passes: int = 3,
    cooling: Cooling | None = None,
) -> tuple[Array, Array]:
    """Surface and mean temperature in K of half a disc under a flux in W/m^2.

    time [stops, n] in s, increasing; flux [stops, n], mean over the step that ends at the sample (flux[:, 0]
    unused); start_temperature [stops] in K, even through the thickness; conductivity one value or [stops].
    Returns (surface, mean), each [stops, n]. The surface value is the first cell's raised by the half cell's
    gradient. Backward Euler is of first order: give 50 or more samples a braking. passes: of Newton's method a step.
    cooling: what the face gives off meanwhile; None: nothing.
    Raises ValueError where times and fluxes are not of one shape, or fewer than two.
    """
    time, flux, through, start = _alike(time, flux, conductivity, start_temperature)
    width = mesh(half_thickness, nodes, grading)
    surface, mean = np.empty_like(time), np.empty_like(time)
    for first in range(0, time.shape[0], AT_ONCE):
        these = slice(first, first + AT_ONCE)
        own = None if cooling is None else cooling.rows(these, len(time))
        steps = _marched(time[these], flux[these], start[these], width, through[these], density, material, passes, own)
        for i, (face, cells) in enumerate(steps):
            surface[these, i], mean[these, i] = face, width @ cells / half_thickness
    return surface, mean


def conduct_on(
    time: Array,
    flux: Array,
    start: Values,
    *,
    half_thickness: float,
    conductivity: Values,
    density: float,
    material: Material,
    nodes: int = NODES,
    grading: float = GRADING,
    passes: int = 3,
) -> tuple[Array, Array, Array]:
    """`conduct` that can be gone on with: (surface, mean, temperatures of the cells at the end [cells, stops]).

    start: temperatures in K, [stops] even through the thickness or [cells, stops] as another run left them.
    """
    time, flux, through, _ = _alike(time, flux, conductivity, 0.0)
    width = mesh(half_thickness, nodes, grading)
    left = np.array(np.broadcast_to(np.asarray(start, float), (nodes, time.shape[0])))
    surface, mean = np.empty_like(time), np.empty_like(time)
    for first in range(0, time.shape[0], AT_ONCE):
        these = slice(first, first + AT_ONCE)
        steps = _marched(
            time[these], flux[these], left[:, these], width, through[these], density, material, passes, None
        )
        cells = left[:, these]
        for i, (face, cells) in enumerate(steps):
            surface[these, i], mean[these, i] = face, width @ cells / half_thickness
        left[:, these] = cells
    return surface, mean, left


def profiles(
    time: Array,
    flux: Array,
    start_temperature: Values,
    *,
    half_thickness: float,
    conductivity: Values,
    density: float,
    material: Material,
    nodes: int = NODES,
    grading: float = GRADING,
    passes: int = 3,
    cooling: Cooling | None = None,
) -> tuple[Array, Array]:
    """As `conduct`, but temperatures at every depth: (depths in m [1 + nodes], the face's first, K [1 + nodes, stops, n])."""
    time, flux, through, start = _alike(time, flux, conductivity, start_temperature)
    width = mesh(half_thickness, nodes, grading)
    out = np.empty((1 + nodes, *time.shape))
    for i, (face, cells) in enumerate(_marched(time, flux, start, width, through, density, material, passes, cooling)):
        out[0, :, i], out[1:, :, i] = face, cells
    return np.r_[0.0, np.cumsum(width) - width / 2], out


def _alike(time: Array, flux: Array, conductivity: Values, start: Values) -> tuple[Array, Array, Array, Array]:
    time, flux = np.atleast_2d(np.asarray(time, float)), np.atleast_2d(np.asarray(flux, float))
    if time.shape != flux.shape or time.shape[1] < 2:
        raise ValueError("conduct needs times and fluxes of one shape [stops, n], n at least 2")
    stops = time.shape[:1]
    through = np.broadcast_to(np.asarray(conductivity, float), stops)
    return time, flux, through, np.broadcast_to(np.asarray(start, float), stops)


def _marched(
    time: Array, flux: Array, start: Array, width: Array, through: Array, density: float, material: Material, passes: int, cooling: Cooling | None
) -> Iterator[tuple[Array, Array]]:  # fmt: skip
    """(face [stops], cells [nodes, stops]) at each sample; start: [stops], or of the cells."""
    link, half = links(width, through), width[0] / (2 * through)
    cells = np.array(np.broadcast_to(start, (width.size, time.shape[0])))
    face = cells[0]
    yield face, cells
    for i in range(1, time.shape[1]):
        dt = time[:, i] - time[:, i - 1]
        net = flux[:, i] if cooling is None else flux[:, i] - cooling.flux(face)
        moving = dt > 0
        after = step(cells, np.where(moving, dt, 1.0), net, width, link, density, material, passes)
        cells = np.where(moving, after, cells)
        face = cells[0] + net * half
        yield face, cells


def links(width: Array, conductivity: Array) -> Array:
    """Conductance in W/(m^2 K) between neighbouring cells, [cells - 1, stops], for conductivities [stops]."""
    return conductivity[None, :] / ((width[:-1] + width[1:]) / 2)[:, None]


def step(
    old: Array, dt: Array, flux: Array, width: Array, link: Array, density: float, material: Material, passes: int = 3
) -> Array:
    """One backward Euler step of temperatures [cells, stops]: Newton on rho (h(T) - h(T_old)) width / dt = net flux."""
    mass = density * width[:, None] / dt  # kg/(m^2 s)
    new = old
    heat, capacity = stored(old, material)
    before = heat
    for k in range(passes):
        if k:
            heat, capacity = stored(new, material)
        residual = mass * (heat - before)
        through = link * (new[:-1] - new[1:])
        residual[:-1] += through
        residual[1:] -= through
        residual[0] -= flux
        diagonal = mass * capacity
        diagonal[:-1] += link
        diagonal[1:] += link
        new = new - _tridiagonal(link, diagonal, residual)
    return new


def _tridiagonal(link: Array, diagonal: Array, right: Array) -> Array:
    """Solve the symmetric systems [cells, stops] with off-diagonals -link for many right sides at once (Thomas).

    Row by row in place: most of the time of a march is spent here, on rows so short that what numpy does around them counts.
    """
    links, below = list(link), list(-link)
    pivots, d = list(diagonal), list(right.copy())
    c = [below[0] / pivots[0]]
    d[0] /= pivots[0]
    for j, before in enumerate(links):
        pivot = before * c[j]
        pivot += pivots[j + 1]
        if j + 1 < len(links):
            c.append(below[j + 1] / pivot)
        row = d[j + 1]
        row += before * d[j]
        row /= pivot
    for j in range(len(links) - 1, -1, -1):
        d[j] -= c[j] * d[j + 1]
    return np.array(d)
