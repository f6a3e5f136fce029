"""Penalised restricted likelihood of the friction model and its gradient, in the log variances `theta`.

theta holds, in this order: log variances of the bends at five nodes along the temperature; log variances of
the scatter at three; log of the temperature error (see `steepness`); the autocorrelation of neighbouring
stops; log standard deviation of each random factor. All are relative to the scale of a usual stop, which is
profiled out together with the coefficients.

Weak priors stand where few data tell: how bends and scatter change along the temperature, the temperature
error (about 2 K on a scatter of 2 %), the autocorrelation, and the size of specimen and batch shifts beside
the stops' scatter. Two specimens alone would allow any shift from none to fifty times the one they show, and
none would be pseudo-replication.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from pipeline.friction import smooth
from pipeline.friction.interaction import Interaction
from pipeline.friction.mixed import Profile, profile

BEND_NODES, SCATTER_NODES = 5, 3
BEND, SCATTER = slice(0, BEND_NODES), slice(BEND_NODES, BEND_NODES + SCATTER_NODES)
FLANK, CORRELATION = SCATTER.stop, SCATTER.stop + 1
GROUPS = slice(CORRELATION + 1, None)

BEND_PRIOR, SCATTER_PRIOR = 3.0, 0.5  # standard deviations of the nodes about their mean, about 0
FLANK_PRIOR, CORRELATION_PRIOR = 1.0, 0.35
LEVEL_PRIOR = 1.0  # of log (specimen or batch sd / stop sd): alike within a factor of 3 (common practice)
SHIFT_PRIOR = 1.0  # of log (shift of a specimen's curve along the temperature / 3 K)
MISSED_K = 12.0  # what a flank misses for each unit of its steepness, over what a plateau misses
USUAL_ERROR_K, USUAL_SHIFT_K, USUAL_SCATTER = 2.0, 3.0, 0.02


@dataclass(frozen=True)
class Group:
    """A random factor: labels 0..k-1 of the stops; a shift along the temperature instead of one in level when `along`;
    columns of its own instead of labels where they are given.

    `of` says what it is: specimen (a further one has another value), effects (of pressure, speed and energy, which change
    with temperature), cell (what the map misses at one set of conditions). `usual` and `spread` are the prior of the
    logarithm of its standard deviation over the stops' scatter (of a shift: over USUAL_SHIFT_K).
    """

    labels: np.ndarray
    along: bool = False
    of: str = "specimen"
    columns: np.ndarray | None = None  # (n, count)
    usual: float = 0.0
    spread: float = LEVEL_PRIOR

    @property
    def count(self) -> int:
        return self.columns.shape[1] if self.columns is not None else int(self.labels.max()) + 1


@dataclass(frozen=True)
class Data:
    """Stops as arrays, n of each, sorted by series and position; the response is already through the link."""

    temperature: np.ndarray  # K
    response: np.ndarray
    linear: np.ndarray  # (n, c): effects centred at the reference conditions, then contrasts of batches
    weight_sd: np.ndarray  # relative standard deviation known beforehand, 1 for a usual stop
    series: np.ndarray  # int, one per test
    position: np.ndarray  # stop number
    steepness: np.ndarray  # slope of the curve per K over a usual scatter: what a kelvin of error does to a stop
    groups: tuple[Group, ...] = ()
    contrasts: np.ndarray | None = None  # (batches, batches - 1), columns summing to zero: batches as tested
    low: float = 0.0
    high: float = 1.0
    segments: int = smooth.FEWEST_SEGMENTS
    interaction: Interaction | None = None  # `temperature` is then the shifted one

    @property
    def effects(self) -> int:
        """Number of effects among the linear columns."""
        return self.linear.shape[1] - (0 if self.contrasts is None else self.contrasts.shape[1])

    @property
    def shifts(self) -> int:
        """Number of columns that turn the shift of the curve."""
        return 0 if self.interaction is None else self.interaction.shift.size

    @cached_property
    def shift_columns(self) -> np.ndarray:
        """What the shift's coefficients do to each stop, (n, shifts)."""
        if self.interaction is None:
            return np.zeros((self.temperature.size, 0))
        return self.interaction.columns(self.linear[:, : self.effects], self.steepness)

    @cached_property
    def priors(self) -> tuple[np.ndarray, np.ndarray]:
        """Centres and standard deviations of the priors of the elements of theta behind the bends'."""
        own = SCATTER_NODES + 2
        centre = np.r_[np.zeros(own), [group.usual for group in self.groups]]
        groups = [group.spread for group in self.groups]
        return centre, np.r_[np.full(SCATTER_NODES, SCATTER_PRIOR), FLANK_PRIOR, CORRELATION_PRIOR, groups]

    @cached_property
    def bend_basis(self) -> np.ndarray:
        return smooth.bend_basis(self.temperature, self.low, self.high, self.segments)

    @cached_property
    def scatter_basis(self) -> np.ndarray:
        return smooth.hats(self.temperature, self.low, self.high, SCATTER_NODES)

    @cached_property
    def columns(self) -> np.ndarray:
        """[1, T, x, bends, shift, groups, response] before `sizes`: the same at all log variances, (n, coefficients + 1)."""
        parts = [np.ones((self.temperature.size, 1)), ((self.temperature - self.low) / 100)[:, None], self.linear]
        parts += [self.bend_basis, self.shift_columns]
        parts += [group_columns(group, self.steepness) for group in self.groups]
        return np.column_stack([*parts, self.response])

    @cached_property
    def neighbours(self) -> tuple[np.ndarray, np.ndarray]:
        """Which stops follow one of their own test, and by how many stops, (n - 1,) each."""
        steps = np.maximum(self.position[1:] - self.position[:-1], 1)
        return self.series[1:] == self.series[:-1], steps


@dataclass(frozen=True)
class Whitening:
    """Takes scatter size and first-order autocorrelation out of rows: W with W R W' = I, R = S Omega S."""

    sd: np.ndarray
    link: np.ndarray  # correlation with the row before, 0 at the start of a series
    link_slope: np.ndarray  # its derivative in the autocorrelation of neighbours
    log_det: float  # log det R

    @cached_property
    def left(self) -> np.ndarray:
        """What is left of a row's standard deviation beside the row before, as a column."""
        return np.sqrt(1 - self.link**2)[:, None]

    def scaled(self, columns: np.ndarray) -> np.ndarray:
        """S^-1 @ columns."""
        return columns / self.sd[:, None]

    def rows(self, columns: np.ndarray) -> np.ndarray:
        """W @ columns."""
        return self.of_scaled(self.scaled(columns))

    def of_scaled(self, scaled: np.ndarray) -> np.ndarray:
        """W @ columns of what `scaled` gives."""
        out = scaled.copy()
        out[1:] -= self.link[1:, None] * scaled[:-1]
        out /= self.left
        return out

    def precision(self) -> tuple[np.ndarray, np.ndarray]:
        """R^-1, which is tridiagonal: its diagonal (n,) and the elements beside it (n - 1,)."""
        left = np.sqrt(1 - self.link**2)
        own, before = 1 / (self.sd * left), -self.link[1:] / (self.sd[:-1] * left[1:])
        diagonal = own**2
        diagonal[:-1] += before**2
        return diagonal, own[1:] * before

    def slope_of_scaled(self, scaled: np.ndarray) -> np.ndarray:
        """d(W @ columns) / d(autocorrelation) of what `scaled` gives."""
        out = np.zeros_like(scaled)
        lead, left = scaled[1:] - self.link[1:, None] * scaled[:-1], self.left[1:]
        slope = self.link_slope[1:, None] / left
        out[1:] = lead * (slope * self.link[1:, None] / left**2) - scaled[:-1] * slope
        return out

    def back(self, columns: np.ndarray) -> np.ndarray:
        """W' @ columns."""
        scaled = columns / self.left
        out = scaled.copy()
        out[:-1] -= self.link[1:, None] * scaled[1:]
        out /= self.sd[:, None]
        return out


def whitening(data: Data, theta: np.ndarray) -> Whitening:
    sd = scatter_shape(data.scatter_basis, theta, data.steepness) * data.weight_sd
    follows, steps = data.neighbours
    link, slope = np.zeros(sd.size), np.zeros(sd.size)
    link[1:] = np.where(follows, theta[CORRELATION] ** steps, 0.0)
    slope[1:] = np.where(follows, steps * theta[CORRELATION] ** (steps - 1), 0.0)
    return Whitening(sd, link, slope, float(2 * np.log(sd).sum() + np.log(1 - link**2).sum()))


def bend_size(data: Data, theta: np.ndarray) -> np.ndarray:
    """Standard deviation of each bend over the common scale."""
    return np.exp(node_hats(data.segments) @ theta[BEND] / 2)


@lru_cache(maxsize=32)
def node_hats(segments: int) -> np.ndarray:
    return smooth.hats(np.linspace(0, 1, segments + 1), 0.0, 1.0, BEND_NODES)


def bend_columns(data: Data, theta: np.ndarray, temperature: np.ndarray, *, slope: bool = False) -> np.ndarray:
    """Columns of the bends at any temperatures, each scaled by its standard deviation."""
    return smooth.bend_basis(temperature, data.low, data.high, data.segments, slope=slope) * bend_size(data, theta)


def scatter_shape(basis: np.ndarray, theta: np.ndarray, steepness: np.ndarray) -> np.ndarray:
    """Standard deviation of a usual stop over the common scale: slow change times the temperature error's
    share.

    `basis` are the scatter's hats at the temperatures, `steepness` the curve's there.
    """
    error = np.exp(theta[FLANK]) * USUAL_ERROR_K * steepness
    return np.exp(basis @ theta[SCATTER] / 2) * np.sqrt(1 + error**2)


def group_columns(group: Group, steepness: np.ndarray) -> np.ndarray:
    """Columns of a random factor before its standard deviation scales them, (n, count)."""
    if group.columns is not None:
        return group.columns
    columns = (group.labels[:, None] == np.arange(group.count)).astype(float)
    if group.of == "cell":
        return columns * missed_shape(steepness)[:, None]
    return columns * (USUAL_SHIFT_K * steepness)[:, None] if group.along else columns


def sizes_of(data: Data, theta: np.ndarray) -> np.ndarray:
    """Standard deviation of each coefficient's column over the common scale, 1 of what is not random, (coefficients,)."""
    fixed, bends, shifts = 2 + data.linear.shape[1], data.segments + 1, data.shifts
    sizes = np.ones(data.columns.shape[1] - 1)
    sizes[fixed : fixed + bends] = bend_size(data, theta)
    at = fixed + bends + shifts
    for group, size in zip(data.groups, np.exp(theta[GROUPS]), strict=True):
        sizes[at : at + group.count] = size
        at += group.count
    return sizes


def missed_shape(steepness: np.ndarray) -> np.ndarray:
    """What a map misses, relative to a plateau: more on a flank, where it misses by some kelvin of the face."""
    return np.hypot(1.0, MISSED_K * steepness)


def design_of(data: Data, theta: np.ndarray) -> np.ndarray:
    """[1, T, x, bends, shift, groups], random columns scaled by their standard deviations over the common scale."""
    return data.columns[:, :-1] * sizes_of(data, theta)


def with_response(data: Data, theta: np.ndarray) -> np.ndarray:
    """The design with the response behind it, (n, coefficients + 1)."""
    sizes = np.ones(data.columns.shape[1])
    sizes[:-1] = sizes_of(data, theta)
    return data.columns * sizes


def solve(data: Data, theta: np.ndarray) -> Profile:
    white = whitening(data, theta)
    both = white.rows(with_response(data, theta))
    return profile(both[:, :-1], both[:, -1], 2 + data.linear.shape[1], white.log_det)


def prior(data: Data, theta: np.ndarray) -> tuple[float, np.ndarray]:
    """-2 log of the weak priors and its gradient."""
    centre, sd = data.priors
    bend, rest = theta[BEND] - theta[BEND].mean(), theta[SCATTER.start :] - centre
    away, apart = bend / BEND_PRIOR**2, rest / sd
    return float(away @ bend + apart @ apart), np.concatenate([2 * away, 2 * rest / sd**2])


def penalised_value(data: Data, theta: np.ndarray) -> float:
    """-2 log penalised restricted likelihood."""
    return solve(data, theta).criterion + prior(data, theta)[0]


def penalised(data: Data, theta: np.ndarray) -> tuple[float, np.ndarray]:
    """-2 log penalised restricted likelihood and its gradient in theta."""
    return with_gradient(data, theta)[:2]


def with_gradient(data: Data, theta: np.ndarray) -> tuple[float, np.ndarray, Profile]:
    """-2 log penalised restricted likelihood, its gradient in theta, and what `solve` gives there.

    With P y = W' r, r the whitened misfit, the derivative in a random column's log variance is 1 - C^-1_jj -
    u_j^2 / s2, in the log variance of stop i it is (R P)_ii - (P y)_i e_i / s2; the autocorrelation's follows
    from that of the whitening.
    """
    white = whitening(data, theta)
    columns = with_response(data, theta)
    scaled = white.scaled(columns)
    design, both = columns[:, :-1], white.of_scaled(scaled)
    fixed = 2 + data.linear.shape[1]
    solved = profile(both[:, :-1], both[:, -1], fixed, white.log_det)
    value, gradient = prior(data, theta)

    misfit = both[:, -1] - both[:, :-1] @ solved.coefficients
    spread = both[:, :-1] @ solved.inverse
    leverage = (design * white.back(spread)).sum(axis=1)
    own = data.response - design @ solved.coefficients
    per_stop = 1 - leverage - white.back(misfit[:, None])[:, 0] * own / solved.scale
    gradient[SCATTER] += data.scatter_basis.T @ per_stop
    error = (np.exp(theta[FLANK]) * USUAL_ERROR_K * data.steepness) ** 2
    gradient[FLANK] += 2 * (error / (1 + error)) @ per_stop

    per_column = 1 - np.diag(solved.inverse)[fixed:] - solved.coefficients[fixed:] ** 2 / solved.scale
    at = data.segments + 1
    gradient[BEND] += node_hats(data.segments).T @ per_column[:at]
    at += data.shifts
    for k, group in enumerate(data.groups):
        gradient[GROUPS.start + k] += 2 * per_column[at : at + group.count].sum()
        at += group.count

    turned = white.slope_of_scaled(scaled)
    gradient[CORRELATION] += 2 * (spread * turned[:, :-1]).sum()
    gradient[CORRELATION] += 2 * misfit @ (turned[:, -1] - turned[:, :-1] @ solved.coefficients) / solved.scale
    gradient[CORRELATION] -= (2 * white.link * white.link_slope / (1 - white.link**2)).sum()
    return solved.criterion + value, gradient, solved


def bounds(data: Data) -> list[tuple[float, float]]:
    """Search range of each element of theta."""
    start = [(-16.0, 16.0)] * BEND_NODES + [(-6.0, 6.0)] * SCATTER_NODES + [(-6.0, 4.0), (0.0, 0.9)]
    return start + [(-8.0, 8.0)] * len(data.groups)


def most_likely(data: Data, start: np.ndarray | None) -> np.ndarray:
    """theta of the highest penalised likelihood, from `start` or from a stiff and a supple curve."""
    from scipy.optimize import minimize

    rest = np.r_[np.zeros(SCATTER_NODES + 1), 0.1, [group.usual for group in data.groups]]
    starts = [start] if start is not None else [np.r_[np.full(BEND_NODES, b), rest] for b in (-2.0, 4.0)]
    options = {"maxiter": 60, "ftol": 2e-7}
    found = [
        minimize(lambda t: penalised(data, t), s, jac=True, method="L-BFGS-B", bounds=bounds(data), options=options)
        for s in starts
    ]
    return min(found, key=lambda f: f.fun).x
