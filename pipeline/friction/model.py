"""The statistical model under the friction map.

    g(mu) = s(T) + b'(x - x0) + shifts of batch and specimen + scatter

g is the identity or the logarithm, T the method's temperature, x the linear effects, s the smooth of
`pipeline.friction.smooth`. The scatter's standard deviation may change with temperature (a flank turns a few
kelvin of thermocouple error into a large spread) and neighbouring stops of one test may be alike (first-order
autocorrelation, decaying with the number of stops between them). All variances come from restricted maximum
likelihood, with weak priors on what few data tell: how the bend and scatter variances change along the
temperature, and the autocorrelation.

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
BEND_PRIOR, SCATTER_PRIOR, CORRELATION_PRIOR = 3.0, 1.2, 0.35  # standard deviations of the weak priors
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
    """A fitted model; `theta` holds the log variances, `solved` the coefficients of [1, T, x, bends, groups]."""

    data: Data
    low: float
    high: float
    segments: int
    theta: np.ndarray
    solved: Profile
    scale: float  # variance of a usual stop, link units squared, corrected for the cut of strays
    inflation: float  # covariance of the coefficients over solved.inverse
    fitted: np.ndarray  # with the stop's own group shifts
    cut: np.ndarray  # psi(residual) / residual, 1 for a stop taken whole
    criterion: float

    @property
    def fixed(self) -> int:
        return 2 + self.data.linear.shape[1]

    @property
    def correlation(self) -> float:
        return float(self.theta[BEND_NODES + SCATTER_NODES])

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
        return self.scale * np.exp(2 * self.theta[BEND_NODES + SCATTER_NODES + 1 :])

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
    nodes = theta[BEND_NODES : BEND_NODES + SCATTER_NODES]
    return np.exp(smooth.hats(temperature, low, high, SCATTER_NODES) @ nodes / 2)


def whitened(columns: np.ndarray, sd: np.ndarray, data: Data, correlation: float) -> tuple[np.ndarray, float]:
    """Columns freed of scatter size and autocorrelation, and log det of the scatter's covariance.

    Rows must be sorted by series and position.
    """
    columns = columns / sd[:, None]
    log_det = 2 * np.log(sd).sum()
    follows = (data.series[1:] == data.series[:-1]).astype(float)
    link = np.where(follows > 0, correlation ** np.maximum(data.position[1:] - data.position[:-1], 1), 0.0)
    left = np.sqrt(1 - link**2)
    out = columns.copy()
    out[1:] = (columns[1:] - link[:, None] * columns[:-1]) / left[:, None]
    return out, float(log_det + 2 * np.log(left).sum())


def fit(data: Data, *, huber: float, start: np.ndarray | None = None) -> Fit:
    """Fit the model by penalised restricted likelihood and Huber's psi; rows sorted by series and position."""
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
    return Fit(data, low, high, segments, theta, solved, scale, scale * psi_square / psi_slope**2, fitted, cut,
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
    for labels, log_sd in zip(data.groups, theta[BEND_NODES + SCATTER_NODES + 1 :], strict=True):
        parts.append((labels[:, None] == np.arange(labels.max() + 1)) * np.exp(log_sd))
    return np.hstack(parts)


def solve(data: Data, low: float, high: float, segments: int, theta: np.ndarray) -> Profile:
    design = unwhitened(data, low, high, segments, theta)
    sd = scatter_shape(data.temperature, low, high, theta) * data.weight_sd
    both, log_det = whitened(
        np.column_stack([design, data.response]), sd, data, theta[BEND_NODES + SCATTER_NODES]
    )
    return profile(both[:, :-1], both[:, -1], 2 + data.linear.shape[1], log_det)


def penalised(data: Data, low: float, high: float, segments: int, theta: np.ndarray) -> float:
    bend, scatter = theta[:BEND_NODES], theta[BEND_NODES : BEND_NODES + SCATTER_NODES]
    prior = ((bend - bend.mean()) ** 2).sum() / BEND_PRIOR**2 + (scatter**2).sum() / SCATTER_PRIOR**2
    prior += (theta[BEND_NODES + SCATTER_NODES] / CORRELATION_PRIOR) ** 2
    return solve(data, low, high, segments, theta).criterion + float(prior)


def best_theta(data: Data, low: float, high: float, segments: int, start: np.ndarray | None) -> np.ndarray:
    from scipy.optimize import minimize

    groups = len(data.groups)
    bounds = (
        [LOG_BEND_RANGE] * BEND_NODES
        + [(-6.0, 6.0)] * SCATTER_NODES
        + [(0.0, 0.9)]
        + [LOG_GROUP_RANGE] * groups
    )
    starts = [start] if start is not None else [
        np.r_[np.full(BEND_NODES, level), np.zeros(SCATTER_NODES), 0.1, np.zeros(groups)] for level in (-2.0, 4.0)
    ]  # fmt: skip
    found = [
        minimize(lambda t: penalised(data, low, high, segments, t), s, method="L-BFGS-B", bounds=bounds,
                 options={"maxiter": 60, "ftol": 1e-7})
        for s in starts
    ]  # fmt: skip
    return min(found, key=lambda f: f.fun).x
