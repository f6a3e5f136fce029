"""Heat inputs in a law's fit: adjusted with the readings within what is known of them, and drawn with the law's parameters.

Readings at many conditions say something of the inputs: with a wrong conductivity or heat share the oxidation law fits far
worse. So the inputs are adjusted as observed quantities beside the readings, each held by its own standard uncertainty (least-squares
adjustment; JCGM 102:2011 has several measurands, the law at the face does the same): z, in standard uncertainties, that makes

    F(z) = chi2(z) / scale + z'z

least, with chi2 at the best parameters for z (inputs and parameters are fitted together, from several settings), in a covariance that
holds what the law gets wrong at a kind of use as common to all intervals of that kind (`pipeline.wear.kinds`). Near its least F is a
parabola: the inputs are normal with the fit's own covariance. The setting takes degrees of freedom from the readings (`spent`), as much as
the covariance is smaller than before. Where the inputs come to lie farther from what was known of them than their u lets expect, u was too
small for this disc, and the draws are wider by the ratio (Birge, Phys Rev 40, 1932, from memory; the practice of CODATA's adjustments).

The joint draws are the parameters' at the setting, moved by what each draw of the inputs does to the best values. The two-regime law's
transition is in indicated temperature and moves with the thermocouple's bias; the other laws know no temperature.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from scipy.linalg import block_diag

from pipeline.constants import Array
from pipeline.heat.propagation import standard
from pipeline.results.model import renewed
from pipeline.results.sources import HeatInput, InputName
from pipeline.wear.chi2 import Problem, best_rates
from pipeline.wear.fit import Fit, least_squares
from pipeline.wear.inference import Inference
from pipeline.wear.joint import DRAWS, draws
from pipeline.wear.laws import Warmth, between_energies

AT_ONCE = 40  # draws
PER_U, MOST_SHAPES = 3, 90  # shapes of the grid per standard uncertainty of the activation energy
FARTHEST, MOST_DRAWN = 3.0, 4.5  # standard uncertainties of an input from its value
NOTHING = 0.05  # of chi2 over all settings
STARTS, TRIED = (-1.5, 0.0, 1.5), 2  # settings that the search looks at first, and how many of them it starts from
MOST_FACTOR = 20.0  # of a draw's rate by the inputs


@dataclass(frozen=True)
class Heated:
    """draws: joint draws [DRAWS, p]. best: best values at each draw of the inputs [DRAWS, p], those of the setting `at` [p]. inputs: those
    that the law rests on, with their draws; z: these draws [DRAWS] by name."""

    draws: Array
    best: Array
    at: Array
    inputs: tuple[HeatInput, ...] = ()
    z: dict[InputName, Array] = field(default_factory=dict)

    def moved(self, sets: Array) -> Array:
        """Draws [DRAWS, p] at the inputs' setting, of this law or of one with its shape and rates of its own, moved by what the inputs'
        draws do to the best values: rates by a factor, the shape by a difference."""
        if not self.inputs:
            return sets
        factor = np.clip(self.best[:, :2] / np.maximum(self.at[:2], 1e-300), 0.0, MOST_FACTOR)
        rates = sets[:, :2] * np.where(self.at[:2] > 0, factor, 1.0)
        return np.column_stack([rates, sets[:, 2] + self.best[:, 2] - self.at[2]])


def adjusted(problem: Problem) -> Problem:
    """The problem with its heat inputs where readings and what was known before agree best; as it is where its law knows none."""
    warmth = problem.intervals.warmth
    if problem.law.name != "oxidation" or warmth is None:
        return problem
    n = len(warmth.names)
    starts = np.concatenate([warmth.z[None], np.array(np.meshgrid(*[STARTS] * n)).reshape(n, -1).T])
    grid = np.linspace(*problem.law.limits, 64)
    rates, chi2 = _Grid(problem, grid).surface(starts)
    least = chi2.argmin(axis=1)
    rows = np.arange(len(starts))
    if np.ptp(chi2[rows, least]) < NOTHING:
        return problem  # readings that say nothing of the inputs leave them where they were
    whole = np.column_stack([rates[rows, least], grid[least], starts])
    likely = (chi2[rows, least] + (starts**2).sum(axis=1)).argsort(kind="stable")[:TRIED]
    fit = _fitted(problem, 1.0, whole[likely])
    z = fit.parameters[-n:]
    return replace(
        problem,
        intervals=replace(problem.intervals, warmth=replace(warmth, z=z)),
        spent=float(n - np.trace(fit.covariance[-n:, -n:])),
        pulled=float(z @ z),
    )


def _fitted(problem: Problem, scale: float, starts: Array) -> Fit:
    """Parameters and inputs together, [3 + inputs], by least squares: the readings, and every input as one more that read 0 +- 1.

    scale: variance of whitened readings.
    """
    warmth = problem.intervals.warmth
    assert warmth is not None
    n = len(warmth.names)
    covariance = block_diag(problem.covariance * scale, np.eye(n))
    (low, high), far = problem.law.limits, np.full(n, FARTHEST)

    def model(x: Array) -> Array:
        energy = x[2:3]
        terms = problem.law.terms(problem.intervals.sums, energy, problem.constants)[0]
        b, c = (between_energies(table, energy)[:, 0] for table in (warmth.b, warmth.c))
        return np.append(terms[:, 0] * x[0] + terms[:, 1] * np.exp(x[3:] @ b + x[3:] ** 2 @ c) * x[1], x[3:])

    return least_squares(
        model,
        np.append(problem.y, np.zeros(n)),
        [*starts],
        bounds=([0.0, 0.0, low, *-far], [np.inf, np.inf, high, *far]),
        covariance=covariance,
    )


def heated(found: Inference, inputs: tuple[HeatInput, ...]) -> Heated:
    """The law's joint draws with the inputs' in step; those of `joint.draws` where it rests on none."""
    sets = draws(found)
    problem, warmth = found.problem, found.problem.intervals.warmth
    best = np.repeat(found.parameters[None], DRAWS, axis=0)
    known = {one.name: one for one in inputs}
    if problem.law.name == "two_regime" and "thermocouple" in known:
        z = standard("thermocouple", DRAWS)
        moved = np.column_stack([np.zeros((DRAWS, 2)), known["thermocouple"].u * z])
        return Heated(
            sets + moved, best + moved, found.parameters, *_told(known, ("thermocouple",), np.zeros(1), z[:, None])
        )
    if problem.law.name != "oxidation" or warmth is None:
        return Heated(sets, best, found.parameters)
    at = np.concatenate([found.parameters, warmth.z])
    n = len(warmth.names)
    root = np.linalg.cholesky(_fitted(problem, found.scale, at[None]).covariance[-n:, -n:])
    each = np.column_stack([standard(name, DRAWS) for name in warmth.names])
    wide = np.sqrt(max(1.0, problem.pulled / max(problem.spent, 1.0)))
    z = np.clip(warmth.z + wide * (each @ root.T), -MOST_DRAWN, MOST_DRAWN)
    made = Heated(sets, _best(found, warmth, z), found.parameters, *_told(known, warmth.names, warmth.z, z))
    limits = problem.law.limits
    moved = made.moved(sets)
    return replace(made, draws=np.column_stack([moved[:, :2], np.clip(moved[:, 2], *limits)]))


def rounded(values: Array) -> list[float]:
    """Draws as they are written."""
    return [float(f"{v:.5g}") for v in values]


def _told(
    known: dict[InputName, HeatInput], names: tuple[InputName, ...], setting: Array, z: Array
) -> tuple[tuple[HeatInput, ...], dict[InputName, Array]]:
    """The inputs with their setting and draws, and the draws by name."""
    told = []
    for i, name in enumerate(names):
        one, shift = known[name], float(setting[i])
        moved = one.u * shift if name == "thermocouple" else None
        if one.value is not None and name != "thermocouple":
            moved = one.value * float(np.exp(one.u * shift))
        told.append(renewed(one, shift=shift, found=moved, draws=rounded(z[:, i])))
    return tuple(told), {name: z[:, i] for i, name in enumerate(names)}


@dataclass(frozen=True)
class _Grid:
    """Terms on a grid of activation energies [S], ready for any setting of the inputs."""

    problem: Problem
    shapes: Array

    def surface(self, z: Array) -> tuple[Array, Array]:
        """(best rates [d, S, 2], chi2 [d, S]) at settings [d, i]."""
        problem, warmth = self.problem, self.problem.intervals.warmth
        assert warmth is not None
        terms = problem.law.terms(problem.intervals.sums, self.shapes, problem.constants)
        moved = np.exp(between_energies(warmth.at(z), self.shapes))
        columns = np.stack([np.broadcast_to(terms[:, :, 0], moved.shape), terms[:, :, 1] * moved], axis=3)
        rates, chi2 = best_rates(problem.whiten(columns).reshape(-1, *columns.shape[2:]), problem.target)
        return rates.reshape(*columns.shape[:2], -1), chi2.reshape(columns.shape[:2])


def _best(found: Inference, warmth: Warmth, z: Array) -> Array:
    """Best parameters [d, 3] at settings of the inputs [d, i]."""
    law, middle = found.problem.law, float(found.parameters[-1])
    far = np.concatenate([z[z[:, i].argsort()[[0, -1]]] for i in range(len(warmth.names))])
    wide = np.linspace(*law.limits, 96)
    centres = np.append(wide[_downhill(_Grid(found.problem, wide).surface(far)[1], wide, middle)], middle)
    low, high = found.intervals[-1]
    u = float(np.clip((high - low) / 4 if np.isfinite(high - low) else 10.0, 0.4, 40.0))
    first, last = max(centres.min() - 3 * u, law.limits[0]), min(centres.max() + 3 * u, law.limits[1])
    close = np.linspace(first, last, max(int(min((last - first) / u * PER_U + 1, MOST_SHAPES)), 3))
    at = _Grid(found.problem, close)
    best = np.empty((len(z), 3))
    for k in range(0, len(z), AT_ONCE):
        best[k : k + AT_ONCE] = _least(at.shapes, *at.surface(z[k : k + AT_ONCE]), middle)
    return best


def _least(shapes: Array, rates: Array, chi2: Array, start: float) -> Array:
    """Parameters [d, 3] at the least chi2 [d, S] downhill from a shape, by the parabola through it and its neighbours, even shapes [S]."""
    rows, middle = np.arange(len(chi2)), np.clip(_downhill(chi2, shapes, start), 1, chi2.shape[1] - 2)
    low, least, high = (chi2[rows, middle + k] for k in (-1, 0, 1))
    off = np.clip((low - high) / np.maximum(2 * (low + high - 2 * least), 1e-300), -1.0, 1.0)
    slope = (rates[rows, middle + 1] - rates[rows, middle - 1]) / 2
    found = np.maximum(rates[rows, middle] + off[:, None] * slope, 0.0)
    return np.column_stack([found, shapes[middle] + off * (shapes[1] - shapes[0])])


def _downhill(chi2: Array, shapes: Array, start: float) -> Array:
    """Index [d] of the first least of chi2 [d, S] downhill from a shape.

    The scatter between specimens in the covariance is that of the law at its own best shape. Far from it a law of another shape
    makes a cheap fit of that scatter, which is none.
    """
    rows, last = np.arange(len(chi2)), chi2.shape[1] - 1
    at = np.full(len(chi2), int(np.abs(shapes - start).argmin()))
    for _ in range(last):
        near = np.clip(at[:, None] + np.array([0, -1, 1]), 0, last)
        moved = near[rows, chi2[rows[:, None], near].argmin(axis=1)]
        if (moved == at).all():
            break
        at = moved
    return at
