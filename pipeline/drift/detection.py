"""Is there a change at all: residuals of matched stops, charts on them, and limits for a stated false-alarm rate.

Residuals are ln mu less the level of the stop's group, the level taken from the stops before the exposure and
estimated by generalised least squares; whitened by the pooled scatter they feed a cumulative sum and a weighted
average. Beside the charts stands the largest likelihood ratio over the shapes of `shapes`, which sees a slow fall
sooner.

The limits are those that a healthy test of *this* design passes at the stated rate. They come from simulated healthy
tests carried through the very same arithmetic: same stops, same blocks, levels estimated from the same few stops, the
scatter's own uncertainty drawn from its degrees of freedom and the autocorrelation from its standard uncertainty.
Limits for known parameters would give several times the stated rate (run lengths in `run_length`). A rate below 1 %
has more of them, so that its limit does not rest on a handful of series.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array
from pipeline.drift.charts import cusum, ewma
from pipeline.drift.noise import Repeatability, covariance, whitening
from pipeline.drift.shapes import Shapes
from pipeline.method.drift import Drift

CHARTS, MOISTURE, FADE = 0.7, 0.2, 0.1  # how the tests of one analysis share the stated false-alarm rate
SIMULATED, PER_RATE = 2000, 20.0  # healthy series: at least so many, and so many over the rate
MOST_SIMULATED = 200_000  # which is enough for one in ten thousand; of more the memory would be short
_SEED = 20260302


class Problem(NamedTuple):
    """Matched stops ready for the test: values, design of the levels, whitening matrix and root, baseline mask."""

    stop: NDArray[np.int64]
    values: Array
    design: Array
    covariance: Array
    whiten: Array
    baseline: NDArray[np.bool_]


class Limits(NamedTuple):
    """Limits of the likelihood ratio's root, the cumulative sum and the weighted average; points charted."""

    ratio: float
    cusum: float
    ewma: float
    charted: int


class Detection(NamedTuple):
    """What the charts and the shapes say; `z` and `amplitude` per shape, the statistics per charted stop."""

    alarm: bool
    alarm_stop: int | None
    limits: Limits
    residual: Array
    scaled: Array
    lower: Array
    upper: Array
    average: Array
    z: Array
    amplitude: Array
    best: int


def problem(
    stop: NDArray[np.int64],
    values: Array,
    group: NDArray[np.int64],
    block: NDArray[np.int64],
    baseline: NDArray[np.bool_],
    spread: Array,
    noise: Repeatability,
    slopes: list[Array],
) -> Problem:
    """Assemble the test of `values` (n,) at matched stops; each group has a free level."""
    design = (group[:, None] == np.unique(group)[None, :]).astype(float)
    matrix = covariance(stop, block, spread, noise.rho, noise.block_sigma, slopes)
    return Problem(stop, values, design, matrix, whitening(matrix), baseline)


def _free(whitened_design: Array) -> Array:
    """Orthonormal basis of the levels in whitened space."""
    return np.linalg.qr(whitened_design)[0]


def shape_scores(p: Problem, shapes: Shapes, extra: Array | None = None) -> tuple[Array, Array, Array]:
    """Unit columns (n, k) of the shapes clear of the levels, their lengths (k,) and scores z (k,) of the values.

    `extra` columns (n, m) are taken as known causes and left free as the levels are. A shape that the levels can
    imitate has length 0 and score 0.
    """
    design = p.design if extra is None else np.hstack([p.design, extra])
    basis = _free(p.whiten @ design)
    columns = p.whiten @ shapes.columns
    columns = columns - basis @ (basis.T @ columns)
    length = np.linalg.norm(columns, axis=0)
    raw = np.linalg.norm(p.whiten @ shapes.columns, axis=0)
    seen = length > 1e-3 * np.maximum(raw, 1e-12)
    unit = np.where(seen, columns / np.where(seen, length, 1.0), 0.0)
    return unit, np.where(seen, length, 0.0), unit.T @ (p.whiten @ p.values)


def residual_operator(p: Problem) -> Array:
    """Matrix (n, n) from values to residuals about the baseline's level.

    The level is the baseline's generalised least squares mean; groups without baseline stops take all of theirs.
    """
    n = len(p.stop)
    own = p.baseline.copy()
    for column in p.design.T.astype(bool):
        if not own[column].any():
            own |= column
    inverse = np.linalg.inv(p.covariance[np.ix_(own, own)])
    x = p.design[own]
    level = np.linalg.solve(x.T @ inverse @ x, x.T @ inverse)
    operator = np.eye(n)
    operator[:, own] -= p.design @ level
    return operator


def _charts(scaled: Array, charted: NDArray[np.bool_], settings: Drift) -> tuple[Array, Array, Array]:
    upper, lower = cusum(scaled[..., charted], 0.0, settings.cusum_allowance)
    return upper, lower, ewma(scaled[..., charted], settings.ewma_weight)


def simulated_noise(
    p: Problem, noise: Repeatability, spread: Array, block: NDArray[np.int64], rate: float = 1.0
) -> Array:
    """Healthy series (enough for the `rate`, n) about a level of 0, the scatter's parameters drawn from what is known of
    them."""
    wanted = int(np.clip(np.ceil(PER_RATE / rate), SIMULATED, MOST_SIMULATED))
    rng = np.random.default_rng(_SEED)
    draws = []
    quantiles = noise.rho + noise.u_rho * np.array([-1.28, -0.52, 0.0, 0.52, 1.28])
    for rho in np.clip(quantiles, -0.3, 0.85):
        matrix = covariance(p.stop, block, spread, float(rho), noise.block_sigma) + 1e-12 * np.eye(len(p.stop))
        root = np.linalg.cholesky(matrix)
        draws.append(rng.standard_normal((wanted // len(quantiles), len(p.stop))) @ root.T)
    series = np.vstack(draws)
    return series * np.sqrt(noise.dof / rng.chisquare(noise.dof, len(series)))[:, None]


def limits(p: Problem, healthy: Array, unit: Array, settings: Drift) -> Limits:
    """Limits that together let through all but the charts' part of the stated share of the `healthy` series."""
    largest = statistics(p, healthy, unit, settings)
    keep = 1 - CHARTS * settings.false_alarm_rate
    single = [float(np.quantile(s, keep)) for s in largest]
    together = np.max([s / max(limit, 1e-12) for s, limit in zip(largest, single, strict=True)], axis=0)
    factor = max(1.0, float(np.quantile(together, keep)))
    return Limits(single[0] * factor, single[1] * factor, single[2] * factor, int(_charted(p).sum()))


def statistics(p: Problem, series: Array, unit: Array, settings: Drift) -> Array:
    """Largest likelihood ratio's root, cumulative sum and weighted average of each of the series (k, n): (3, k)."""
    parts = [_statistics(p, series[at : at + SIMULATED], unit, settings) for at in range(0, len(series), SIMULATED)]
    return np.concatenate(parts, axis=1)


def _statistics(p: Problem, series: Array, unit: Array, settings: Drift) -> Array:
    whitened = series @ p.whiten.T
    ratio = np.abs(whitened @ unit).max(axis=1, initial=0.0)
    upper, lower, average = _charts(whitened @ _scaled_operator(p).T, _charted(p), settings)
    return np.array([ratio, np.maximum(upper, lower).max(axis=1), np.abs(average).max(axis=1)])


def _charted(p: Problem) -> NDArray[np.bool_]:
    return ~p.baseline if (~p.baseline).any() else np.ones(len(p.stop), bool)


def _scaled_operator(p: Problem) -> Array:
    """From whitened values to whitened residuals about the baseline, each with unit variance but for the level's."""
    return p.whiten @ residual_operator(p) @ np.linalg.inv(p.whiten)


def detect(
    p: Problem,
    shapes: Shapes,
    noise: Repeatability,
    spread: Array,
    block: NDArray[np.int64],
    settings: Drift,
    extra: Array | None = None,
) -> Detection:
    """Charts, shapes and their limits on one series. `alarm` means some statistic lies beyond its limit."""
    unit, length, z = shape_scores(p, shapes, extra)
    found = limits(p, simulated_noise(p, noise, spread, block, settings.false_alarm_rate), unit, settings)
    residual = residual_operator(p) @ p.values
    scaled = p.whiten @ residual
    charted = _charted(p)
    upper, lower, average = _charts(scaled, charted, settings)
    beyond = (np.maximum(upper, lower) > found.cusum) | (np.abs(average) > found.ewma)
    best = int(np.argmax(np.abs(z))) if len(z) else -1
    alarm = bool(beyond.any() or (best >= 0 and abs(z[best]) > found.ratio))
    first = int(p.stop[charted][np.argmax(beyond)]) if beyond.any() else None
    amplitude = np.where(length > 0, z / np.where(length > 0, length, 1.0), 0.0)
    return Detection(alarm, first, found, residual, scaled, lower, upper, average, z, amplitude, best)
