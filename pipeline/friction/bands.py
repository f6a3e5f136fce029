"""The curve of mu against temperature at the reference conditions, with two bands.

Mean band: where the mean friction of the material lies (of the specimen, where there is one only), with the
stated confidence. It takes in the curve's own uncertainty, the scatter of specimens and batches, and the
calibration error common to all stops, which no number of stops averages out.

Tolerance band: holds a stated share (coverage) of single future stops with the stated confidence. The exact
factor for a normal scatter is taken at each temperature from how well the mean (calibration included) and the
scatter are known there. A future stop is one of a new specimen where specimens were compared, of the same one
where there is only one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.friction import posterior, tolerance
from pipeline.friction.freedom import Neighbours, half_width, neighbours
from pipeline.friction.map import FrictionMap
from pipeline.friction.model import Fit

GRID_K = 5.0
WIDEST = 20.0  # half width of a band in the logarithm beyond which it says nothing anyway


@dataclass(frozen=True)
class Curve:
    """Arrays over temperature (K, increasing, within the support); NaN nowhere. `stretch` numbers unbroken
    support.
    """

    temperature: np.ndarray
    stretch: np.ndarray
    mu: np.ndarray
    low: np.ndarray
    high: np.ndarray
    tolerance_low: np.ndarray
    tolerance_high: np.ndarray
    near: np.ndarray  # stops within half the largest gap
    u_curve: np.ndarray  # standard uncertainty of the mean: curve and specimens
    u_common: np.ndarray  # calibration
    scatter: np.ndarray  # standard deviation of a single future stop
    dof_mean: np.ndarray
    dof_scatter: np.ndarray
    factor: np.ndarray  # tolerance factor


def grid(stretches: Sequence[tuple[float, float]], step: float = GRID_K) -> tuple[np.ndarray, np.ndarray]:
    """Temperatures (K) at round steps inside the stretches with their ends, and the stretch of each."""
    parts, stretch = [], []
    for k, (low, high) in enumerate(stretches):
        first, last = np.ceil((low - 273.15) / step), np.floor((high - 273.15) / step)
        inner = np.arange(first, last + 1) * step + 273.15
        t = np.unique(np.r_[low, inner[(inner > low + 0.5) & (inner < high - 0.5)], high])
        parts.append(t)
        stretch.append(np.full(t.size, k))
    if not parts:
        return np.zeros(0), np.zeros(0, int)
    return np.concatenate(parts), np.concatenate(stretch)


def total_scatter(fit: Fit, temperature: np.ndarray) -> np.ndarray:
    """Variance of a single future stop, of a new specimen of a new batch where those are factors; link
    units squared.
    """
    return fit.scatter(temperature) ** 2 + fit.between(temperature)


def curve(
    map_: FrictionMap,
    *,
    confidence: float,
    coverage: float,
    common: float,
    near: Neighbours | None = None,
    draws: posterior.Draws | None = None,
    temperature: tuple[np.ndarray, np.ndarray] | None = None,
    candidates: np.ndarray | None = None,
) -> Curve:
    """The curve over the supported temperatures; `common` is the relative standard uncertainty common to
    all stops. `candidates` (3,) as of `effects.linear`, where it is not the reference's.
    """
    t, stretch = temperature or grid(map_.support.stretches())
    near = near or neighbours(map_.fit)
    fit, here = map_.fit, np.broadcast_to(np.zeros(3) if candidates is None else candidates, (t.size, 3))
    mu, _ = map_.mean(t, here)
    x = map_.kept_effects(here)
    at = fit.argument(t, x)
    size = np.ones(t.size) if map_.link == "log" else np.abs(mu)  # what a relative change is in link units

    def mean_variance(f: Fit) -> np.ndarray:
        return f.mean_variance(t, x)

    v, v_common = mean_variance(fit), (common * size) ** 2
    sd2 = total_scatter(fit, at)
    dof, dof_known = near.both_degrees(mean_variance)
    dof_scatter = near.degrees(lambda f: total_scatter(f, at))
    if any(group.of == "specimen" for group in fit.data.groups):
        drawn = posterior.samples(draws or posterior.draws(near), near, t, x, np.sqrt(v_common), dof_known)
        half = posterior.mean_half_width(drawn, confidence)
        wide = posterior.tolerance_half_width(drawn, coverage, confidence)
        factor = wide / np.sqrt(sd2)
    else:
        half = half_width(dof * ((v + v_common) / v) ** 2, confidence) * np.sqrt(v + v_common)
        factor = tolerance.two_sided(coverage, confidence, dof_scatter, (v + v_common) / sd2)
        wide = factor * np.sqrt(sd2)
    z = fit.row(t, x) @ fit.solved.coefficients
    if map_.link == "log":
        half, wide = np.minimum(half, WIDEST), np.minimum(wide, WIDEST)
        low, high, t_low, t_high = mu * np.exp(-half), mu * np.exp(half), np.exp(z - wide), np.exp(z + wide)
        to_mu = mu
    else:
        low, high, t_low, t_high = mu - half, mu + half, z - wide, z + wide
        to_mu = np.ones(t.size)
    # With next to no scatter the mean's few degrees of freedom can ask for more than the tolerance's: stops are no surer than their mean.
    t_low, t_high = np.minimum(t_low, low), np.maximum(t_high, high)
    return Curve(
        t, stretch, mu, low, high, t_low, t_high, map_.support.near(t), np.sqrt(v) * to_mu, common * np.abs(mu),
        np.sqrt(sd2) * to_mu, dof, dof_scatter, factor,
    )  # fmt: skip
