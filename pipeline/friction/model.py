"""The statistical model under the friction map.

    g(mu) = s(T) + b'(x - x0) + shifts of batch and specimen + scatter

g is the identity or the logarithm, T the method's temperature, x the linear effects, s the smooth of
`pipeline.friction.smooth`. The scatter's standard deviation may change with temperature (a flank turns a few
kelvin of thermocouple error into a large spread) and neighbouring stops of one test may be alike (first-order
autocorrelation, decaying with the number of stops between them). All variances come from restricted maximum
likelihood, with weak priors on what few data tell: how the bend and scatter variances change along the
temperature, the autocorrelation, and the size of specimen and batch shifts beside the stops' scatter (two
specimens alone would allow any shift from none to fifty times what they show, and none would be
pseudo-replication).

Stray stops are held back by Huber's psi at `huber` standard deviations: the response is replaced by fit +
psi(residual) until nothing moves, which solves the M-estimator's equations; variances are corrected for the
cut (Huber and Ronchetti 2009, ch. 7).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from pipeline.friction import smooth
from pipeline.friction.mixed import Profile, profile

BEND_NODES, SCATTER_NODES = 5, 4
CORRELATION = BEND_NODES + SCATTER_NODES  # its place in theta; the random factors' log sd follow
BEND_PRIOR, SCATTER_PRIOR, CORRELATION_PRIOR = 3.0, 1.2, 0.35  # standard deviations of the weak priors
GROUP_PRIOR = 1.5  # of log (specimen or batch sd / stop sd): alike within a factor of 5 (common practice)
LOG_BEND_RANGE, LOG_GROUP_RANGE = (-16.0, 16.0), (-8.0, 8.0)
ROBUST_ROUNDS = 4


@dataclass(frozen=True)
class Data:
    """Stops as arrays, n of each: response already through the link; `series` and `position` order the stops
    of a test.
    """

    temperature: np.ndarray  # K
    response: np.ndarray
    linear: np.ndarray  # (n, c), centred at the reference conditions
    weight_sd: np.ndarray  # relative standard deviation known beforehand, 1 for a usual stop
    series: np.ndarray  # int
    position: np.ndarray  # stop number
    groups: tuple[np.ndarray, ...] = ()  # int labels per random factor (batch, specimen), 0..k-1


@dataclass(frozen=True)
class Fit:
    """A fitted model; `theta` holds the log variances, `solved` the coefficients of [1, T, x, bends,
    groups].
    """

    data: Data
    low: float
    high: float
    segments: int
    theta: np.ndarray
    solved: Profile
    scale: float  # variance of a usual stop, link units squared, corrected for the cut of strays
    inflation: float  # covariance of the coefficients over solved.inverse
    fitted: np.ndarray  # with the stop's own group shifts
    pulled: np.ndarray  # response with strays held back
    cut: np.ndarray  # psi(residual) / residual, 1 for a stop taken whole
    criterion: float

    @property
    def fixed(self) -> int:
        return 2 + self.data.linear.shape[1]

    @property
    def correlation(self) -> float:
        return float(self.theta[CORRELATION])

    def row(self, temperature: np.ndarray, linear: np.ndarray, *, slope: bool = False) -> np.ndarray:
        """Rows of the design at new conditions, group shifts zero, shape (m, coefficients)."""
        random = bend_columns(temperature, self.low, self.high, self.segments, self.theta, slope=slope)
        ones = np.zeros(temperature.size) if slope else np.ones(temperature.size)
        line = np.full(temperature.size, 1 / 100) if slope else (temperature - self.low) / 100
        groups = np.zeros((temperature.size, self.solved.coefficients.size - self.fixed - random.shape[1]))
        return np.column_stack([ones, line, np.zeros_like(linear) if slope else linear, random, groups])

    def variance(self, rows: np.ndarray) -> np.ndarray:
        """Variance of rows @ coefficients, by the mixed-model equations; link units squared."""
        return np.einsum("ij,jk,ik->i", rows, self.solved.inverse, rows) * self.inflation

    def scatter(self, temperature: np.ndarray) -> np.ndarray:
        """Standard deviation of a single usual stop about the curve of its specimen, link units."""
        return np.sqrt(self.scale) * scatter_shape(temperature, self.low, self.high, self.theta)

    def group_variances(self) -> np.ndarray:
        """Variances of the random factors, link units squared, in the order of the data's groups."""
        return self.scale * np.exp(2 * self.theta[CORRELATION + 1 :])

    @property
    def effective_parameters(self) -> float:
        """Trace of the influence matrix: the freedom that curve, effects and shifts take up."""
        ridge = np.r_[np.zeros(self.fixed), np.ones(self.solved.coefficients.size - self.fixed)]
        return float(self.solved.coefficients.size - (np.diag(self.solved.inverse) * ridge).sum())


def bend_columns(temperature, low, high, segments, theta, *, slope=False) -> np.ndarray:  # type: ignore[no-untyped-def]
    nodes = np.linspace(low, high, segments + 1)
    size = np.exp(smooth.hats(nodes, low, high, BEND_NODES) @ theta[:BEND_NODES] / 2)
    return smooth.bspline_basis(temperature, low, high, segments, slope=slope) @ smooth.bends(segments) * size


def scatter_shape(temperature: np.ndarray, low: float, high: float, theta: np.ndarray) -> np.ndarray:
    nodes = theta[BEND_NODES:CORRELATION]
    return np.exp(smooth.hats(temperature, low, high, SCATTER_NODES) @ nodes / 2)


@dataclass(frozen=True)
class Whitening:
    """Takes scatter size and first-order autocorrelation out of rows sorted by series and position.

    W with W R W' = I for R = S Omega S, S the standard deviations, Omega the correlations.
    """

    sd: np.ndarray
    link: np.ndarray  # correlation with the row before, 0 at the start of a series
    log_det: float  # log det R

    def rows(self, columns: np.ndarray) -> np.ndarray:
        """W @ columns."""
        scaled = columns / self.sd[:, None]
        out = scaled.copy()
        out[1:] -= self.link[1:, None] * scaled[:-1]
        return out / np.sqrt(1 - self.link**2)[:, None]

    def back(self, columns: np.ndarray) -> np.ndarray:
        """W' @ columns."""
        scaled = columns / np.sqrt(1 - self.link**2)[:, None]
        out = scaled.copy()
        out[:-1] -= self.link[1:, None] * scaled[1:]
        return out / self.sd[:, None]


def whitening(data: Data, sd: np.ndarray, correlation: float) -> Whitening:
    follows = data.series[1:] == data.series[:-1]
    steps = np.maximum(data.position[1:] - data.position[:-1], 1)
    link = np.r_[0.0, np.where(follows, correlation**steps, 0.0)]
    return Whitening(sd, link, float(2 * np.log(sd).sum() + np.log(1 - link**2).sum()))


def fit(data: Data, *, huber: float, start: np.ndarray | None = None) -> Fit:
    """Fit the model by penalised restricted likelihood and Huber's psi; rows sorted by series and
    position.
    """
    low, high = float(data.temperature.min()), float(data.temperature.max())
    high = max(high, low + 1.0)
    segments = smooth.segments_for(low, high)
    psi_square, psi_slope = huber_constants(huber)
    response, theta = data.response, start
    for _ in range(ROBUST_ROUNDS):
        now = replace(data, response=response)
        theta = best_theta(now, low, high, segments, theta)
        solved = solve(now, low, high, segments, theta)
        fitted = unwhitened(now, low, high, segments, theta) @ solved.coefficients
        scale = solved.scale / psi_square
        sd = np.sqrt(scale) * scatter_shape(data.temperature, low, high, theta) * data.weight_sd
        residual = data.response - fitted
        held = np.clip(residual, -huber * sd, huber * sd)
        settled = np.max(np.abs(fitted + held - response) / sd) < 0.02
        response = fitted + held
        if settled:
            break
    cut = np.where(np.abs(residual) > 0, held / np.where(residual == 0, 1.0, residual), 1.0)
    return Fit(data, low, high, segments, theta, solved, scale, scale * psi_square / psi_slope**2, fitted, response, cut,
               solved.criterion)  # fmt: skip


def huber_constants(huber: float) -> tuple[float, float]:
    """E psi^2 and E psi' of Huber's psi under a standard normal."""
    inside = 2 * special.ndtr(huber) - 1
    density = np.exp(-(huber**2) / 2) / np.sqrt(2 * np.pi)
    return float(inside - 2 * huber * density + huber**2 * (1 - inside)), float(inside)


def unwhitened(data: Data, low: float, high: float, segments: int, theta: np.ndarray) -> np.ndarray:
    """The design [1, T, x, bends, groups] with random columns scaled by their standard deviations over the
    stop's.
    """
    parts = [
        np.ones((data.temperature.size, 1)),
        ((data.temperature - low) / 100)[:, None],
        data.linear,
        bend_columns(data.temperature, low, high, segments, theta),
    ]
    for labels, log_sd in zip(data.groups, theta[CORRELATION + 1 :], strict=True):
        parts.append((labels[:, None] == np.arange(labels.max() + 1)) * np.exp(log_sd))
    return np.hstack(parts)


def solve(data: Data, low: float, high: float, segments: int, theta: np.ndarray) -> Profile:
    design = unwhitened(data, low, high, segments, theta)
    sd = scatter_shape(data.temperature, low, high, theta) * data.weight_sd
    white = whitening(data, sd, theta[CORRELATION])
    both = white.rows(np.column_stack([design, data.response]))
    return profile(both[:, :-1], both[:, -1], 2 + data.linear.shape[1], white.log_det)


def prior(theta: np.ndarray) -> tuple[float, np.ndarray]:
    """-2 log of the weak priors and its gradient."""
    bend, scatter = theta[:BEND_NODES], theta[BEND_NODES:CORRELATION]
    away = (bend - bend.mean()) / BEND_PRIOR**2
    value = away @ (bend - bend.mean()) + (scatter @ scatter) / SCATTER_PRIOR**2
    gradient = np.zeros(theta.size)
    gradient[:BEND_NODES], gradient[BEND_NODES:CORRELATION] = 2 * away, 2 * scatter / SCATTER_PRIOR**2
    gradient[CORRELATION] = 2 * theta[CORRELATION] / CORRELATION_PRIOR**2
    gradient[CORRELATION + 1 :] = 2 * theta[CORRELATION + 1 :] / GROUP_PRIOR**2
    value += (theta[CORRELATION] / CORRELATION_PRIOR) ** 2
    value += (theta[CORRELATION + 1 :] ** 2).sum() / GROUP_PRIOR**2
    return float(value), gradient


def penalised(data: Data, low: float, high: float, segments: int, theta: np.ndarray) -> tuple[float, np.ndarray]:
    """-2 log penalised restricted likelihood and its gradient in theta.

    With P y = W' r (r the whitened misfit): a random column's log variance has the derivative 1 - C^-1_jj -
    u_j^2 / s2, a scatter node sum_i h_i [(R P)_ii - (P y)_i e_i / s2]; the correlation's is taken by a small
    step.
    """
    design = unwhitened(data, low, high, segments, theta)
    sd = scatter_shape(data.temperature, low, high, theta) * data.weight_sd
    white = whitening(data, sd, theta[CORRELATION])
    both = white.rows(np.column_stack([design, data.response]))
    fixed = 2 + data.linear.shape[1]
    solved = profile(both[:, :-1], both[:, -1], fixed, white.log_det)
    value, gradient = prior(theta)

    misfit = both[:, -1] - both[:, :-1] @ solved.coefficients
    leverage = (design * white.back(both[:, :-1] @ solved.inverse)).sum(axis=1)
    own = data.response - design @ solved.coefficients
    per_stop = 1 - leverage - white.back(misfit[:, None])[:, 0] * own / solved.scale
    gradient[BEND_NODES:CORRELATION] += smooth.hats(data.temperature, low, high, SCATTER_NODES).T @ per_stop

    per_column = 1 - np.diag(solved.inverse)[fixed:] - solved.coefficients[fixed:] ** 2 / solved.scale
    nodes = smooth.hats(np.linspace(low, high, segments + 1), low, high, BEND_NODES)
    gradient[:BEND_NODES] += nodes.T @ per_column[: segments + 1]
    at = segments + 1
    for k, labels in enumerate(data.groups):
        count = int(labels.max()) + 1
        gradient[CORRELATION + 1 + k] += 2 * per_column[at : at + count].sum()
        at += count
    step = 1e-4 if theta[CORRELATION] < 0.5 else -1e-4
    moved = theta.copy()
    moved[CORRELATION] += step
    gradient[CORRELATION] += (solve(data, low, high, segments, moved).criterion - solved.criterion) / step
    return solved.criterion + value, gradient


def bounds(groups: int) -> list[tuple[float, float]]:
    """Search range of each element of theta."""
    return [LOG_BEND_RANGE] * BEND_NODES + [(-6.0, 6.0)] * SCATTER_NODES + [(0.0, 0.9)] + [LOG_GROUP_RANGE] * groups


def best_theta(data: Data, low: float, high: float, segments: int, start: np.ndarray | None) -> np.ndarray:
    from scipy.optimize import minimize

    groups = len(data.groups)
    starts = [start] if start is not None else [
        np.r_[np.full(BEND_NODES, level), np.zeros(SCATTER_NODES), 0.1, np.zeros(groups)] for level in (-2.0, 4.0)
    ]  # fmt: skip
    found = [
        minimize(lambda t: penalised(data, low, high, segments, t), s, jac=True, method="L-BFGS-B", bounds=bounds(groups),
                 options={"maxiter": 60, "ftol": 1e-8})
        for s in starts
    ]  # fmt: skip
    return min(found, key=lambda f: f.fun).x
