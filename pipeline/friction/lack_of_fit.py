"""What the map misses, told apart from the scatter of stops by repeats of a cell, and where.

Pure-error test (Montgomery and Runger, Applied Statistics and Probability for Engineers, supplement S11-2; NIST/SEMATECH
e-Handbook 4.6.1): the squares of the standardised residuals fall into those about their cell's mean, which no map could take
away (pure error, stops less sets of conditions), and those of the means themselves (lack of fit, sets of conditions less the map's
effective parameters). F is the ratio of their means.

A set of conditions is a cell within one test: stops there start some kelvin apart, which the map's own slope has taken
out. The size of what is missed is a variance of the fit (`Group` of cells), larger on a flank, where it is a few kelvin of
the face's temperature; it widens the band of the mean and is no part of the tolerance band's scatter.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy import special

from pipeline.friction.cells import cells_of, repeated
from pipeline.friction.likelihood import GROUPS, design_of
from pipeline.friction.map import FrictionMap
from pipeline.results.friction_map import LackOfFit, Missed, MissedIn

TOLD = 5  # sets of conditions named, the farthest off first
MISSED_SD = 2.5  # standard errors of a set's mean beyond which it is named
ZERO_C = 273.15


def lack_of_fit(map_: FrictionMap) -> LackOfFit:
    """The test, the two standard deviations, and the sets of conditions that the map misses most."""
    fit, data = map_.fit, map_.fit.data
    cell = cells_of(map_.stops, map_.own_temperature, map_.logs)
    if not repeated(cell):
        return LackOfFit(
            why="too few stops are repeats at one set of conditions to tell what the map misses from scatter"
        )
    curve, freedom = without_cells(map_)
    sd = fit.scatter(data.temperature) * data.weight_sd
    off = fit.pulled - curve
    _, place = np.unique(np.column_stack([cell, data.series]), axis=0, return_inverse=True)
    place = place.ravel()
    test = pure_error(off / sd, place, freedom)
    if test.dof_missed < 1 or test.dof_pure < 1:
        return LackOfFit(why="the map has as many parameters as there are sets of conditions")
    level = fit.lack_of_fit(np.array([plateau(map_)]))[0]
    size = 1.0 if map_.link == "log" else float(np.median(map_.stops["mu"].to_numpy()))
    return LackOfFit(
        f=test.f,
        p=test.p,
        dof_missed=test.dof_missed,
        dof_pure=test.dof_pure,
        missed_sd=float(np.sqrt(level)) / size,
        missed_sd_most=float(np.sqrt(fit.lack_of_fit(data.temperature).max())) / size,
        stop_sd=float(np.median(fit.scatter(data.temperature))) / size,
        where=worst(map_, cell, place, off, off / sd),
    )


class PureError(NamedTuple):
    """F with its p value and degrees of freedom; NaN where one of them is below 1."""

    f: float
    p: float
    dof_missed: float
    dof_pure: int


def pure_error(residual: np.ndarray, place: np.ndarray, freedom: float) -> PureError:
    """The pure-error test of residuals (n,), alike in size, with the set of conditions of each (0, 1 ...), from a fit with
    `freedom` parameters."""
    count = np.bincount(place)
    mean = np.bincount(place, residual) / count
    pure, missed = ((residual - mean[place]) ** 2).sum(), (count * mean**2).sum()
    dof_pure, dof_missed = residual.size - count.size, count.size - freedom
    if dof_pure < 1 or dof_missed < 1:
        return PureError(np.nan, np.nan, float(dof_missed), dof_pure)
    ratio = float((missed / dof_missed) / max(pure / dof_pure, np.finfo(float).tiny))
    return PureError(ratio, float(special.fdtrc(dof_missed, dof_pure, ratio)), float(dof_missed), dof_pure)


def without_cells(map_: FrictionMap) -> tuple[np.ndarray, float]:
    """Fitted values without the cells' part, and the effective parameters without theirs."""
    fit = map_.fit
    design, own = design_of(fit.data, fit.theta), np.ones(fit.solved.coefficients.size, bool)
    at = own.size
    for group, _ in zip(reversed(fit.data.groups), reversed(fit.theta[GROUPS]), strict=True):
        if group.of == "cell":
            own[at - group.count : at] = False
        at -= group.count
    taken = 1 - np.diag(fit.solved.inverse)
    taken[: fit.fixed] = 1.0
    return design[:, own] @ fit.solved.coefficients[own], float(taken[own].sum())


def plateau(map_: FrictionMap) -> float:
    """The temperature (K) of the data at which the curve is flattest."""
    t = map_.fit.data.temperature
    return float(t[np.abs(map_.fit.steepness(t)).argmin()])


def worst(
    map_: FrictionMap, cell: np.ndarray, place: np.ndarray, off: np.ndarray, standardised: np.ndarray
) -> list[Missed]:
    """The sets of conditions that are shown to lie off the map, the farthest off first.

    Shown is a mean of one test's stops, `place` (n,), that lies MISSED_SD standard errors off or more; sets of several tests at
    one `cell` (n,) are one entry, whose share is the mean over these sets' stops.
    """
    count = np.bincount(place)
    errors = np.bincount(place, standardised) / np.sqrt(count)
    by_cell: dict[int, list[int]] = {}
    for k in np.flatnonzero(np.abs(errors) >= MISSED_SD):
        by_cell.setdefault(int(cell[place == k][0]), []).append(int(k))
    share = np.bincount(place, off) / count
    if map_.link != "log":
        share = share / (np.bincount(place, map_.stops["mu"].to_numpy()) / count)
    ranked = sorted(by_cell.values(), key=lambda sets: -np.abs(share[sets]).max())
    return [_missed(map_, place, share, sets) for sets in ranked[:TOLD]]


def _missed(map_: FrictionMap, place: np.ndarray, share: np.ndarray, sets: list[int]) -> Missed:
    """One set of conditions by the sets of its tests, numbers in `place`; `share` by set."""
    own = np.isin(place, sets)
    stops = map_.stops.filter(own)
    middle = {name: stops[name].median() for name in ("pressure_bar", "speed_start_rpm", "energy_density_j_mm2")}
    count = np.array([(place == k).sum() for k in sets])
    by_test = []
    if "test" in stops.columns:
        tests = [map_.stops.filter(place == k)["test"][0] for k in sets]
        by_test = [
            MissedIn(test=test, stops=int(n), share=float(share[k]))
            for test, n, k in zip(tests, count, sets, strict=True)
        ]
    return Missed(
        temperature_c=float(np.median(map_.own_temperature[own])) - ZERO_C,
        pressure_bar=middle["pressure_bar"],
        speed_rpm=middle["speed_start_rpm"],
        energy_density_j_mm2=middle["energy_density_j_mm2"],
        stops=int(count.sum()),
        share=float((share[sets] * count).sum() / count.sum()),
        by_test=by_test,
        signs_differ=bool(np.ptp(np.sign(share[sets])) > 0),
    )
