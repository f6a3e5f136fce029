"""Bedding: how many stops until mu is within 3 % of where it settles.

    mu_i = m + a exp(-i / n),   i = 0 for the first bedding stop;   stops = n ln(|a| / (0.03 m))

For each n the rest is a straight-line fit; n itself is integrated over (its likelihood on a grid even in log
n, the number of stops lowered by the residuals' autocorrelation), which gives the interval. Where the map
knows the conditions of the bedding stops, mu is first taken to the reference conditions, since a bedding
block often raises energy and temperature as it goes.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.conditioning.time_base import median_known
from pipeline.friction.map import FrictionMap
from pipeline.results.friction_history import Bedding
from pipeline.results.model import renewed

SETTLED = 0.03
FEWEST = 8
HALF_A_STOP = 0.5  # no count of stops is known better
DRAWS, LENGTHS = 2000, 300
SUPPORTED_SHARE = 0.9


def bedding(
    stops: pl.DataFrame, map_: FrictionMap | None, *, confidence: float, use_suspect: bool = False
) -> Bedding | None:
    """`bedding` of docs/contract.md of a stops table; None where the test has no bedding block."""
    block = stops.filter(pl.col("purpose") == "bedding")
    if block.is_empty():
        return None
    sound = ["ok", "suspect"] if use_suspect else ["ok"]
    used = block.filter(pl.col("status").is_in(sound) & pl.col("mu").is_finite()).sort("stop")
    if len(used) < FEWEST:
        return Bedding(why=f"{len(used)} usable bedding stops; a settling fit needs {FEWEST}")
    mu, adjusted = at_reference(used, map_)
    index = (used["stop"] - used["stop"].min()).to_numpy().astype(float)
    found = settling(index, mu, confidence)
    last = float(index[-1]) + 1
    if found.stops is not None and found.stops > last:
        why = f"mu was still changing when bedding ended after {last:.0f} stops"
        return renewed(found, stops=None, high=None, adjusted_to_reference=adjusted, why=why)
    return renewed(found, adjusted_to_reference=adjusted)


def at_reference(used: pl.DataFrame, map_: FrictionMap | None) -> tuple[np.ndarray, bool]:
    """mu of stops moved to the reference conditions along the map where it supports nearly all of them;
    else as it is.
    """
    mu = used["mu"].to_numpy().astype(float)
    if map_ is None:
        return mu, False
    expected = map_.predict_stops(used)
    level = map_.predict(map_.reference.temperature)
    if expected.supported.mean() < SUPPORTED_SHARE or not level.supported[0]:
        return mu, False
    ratio = np.where(expected.supported, level.mu[0] / expected.mu, np.nan)
    return mu * np.where(np.isfinite(ratio), ratio, median_known(ratio)), True


def settling(index: np.ndarray, mu: np.ndarray, confidence: float, seed: int = 0) -> Bedding:
    """Fit of m + a exp(-index/n): stops to 3 % with interval, fitted mu at the first and the last stop,
    asymptote.
    """
    held = mu.copy()
    lengths = np.geomspace(0.5, 5 * (index[-1] + 1), LENGTHS)
    for _ in range(3):
        misfit, coefficient, inverse = fits(index, held, lengths)
        best = int(misfit.argmin())
        fitted = coefficient[best, 0] + coefficient[best, 1] * np.exp(-index / lengths[best])
        sd = 1.4826 * np.median(np.abs(mu - fitted)) + 1e-12
        held = fitted + np.clip(mu - fitted, -2.5 * sd, 2.5 * sd)
    rest = held - fitted
    alike = float(np.clip((rest[1:] @ rest[:-1]) / max(rest @ rest, 1e-300), 0.0, 0.8))
    effective = max(mu.size * (1 - alike) / (1 + alike), 4.0)
    weight = np.exp(-effective / 2 * np.log(misfit / misfit[best]))
    rng = np.random.default_rng(seed)
    pick = rng.choice(lengths.size, DRAWS, p=weight / weight.sum())
    scale = np.sqrt(
        misfit[pick] / mu.size * mu.size / effective * effective / rng.chisquare(max(effective - 3, 1), DRAWS)
    )
    root = np.linalg.cholesky(inverse[pick] * mu.size / effective)
    drawn = coefficient[pick] + scale[:, None] * np.einsum("kij,kj->ki", root, rng.normal(size=(DRAWS, 2)))
    low, high = np.quantile(stops_to_settle(drawn, lengths[pick]), [(1 - confidence) / 2, (1 + confidence) / 2])
    stops = float(stops_to_settle(coefficient[best : best + 1], lengths[best : best + 1])[0])
    return Bedding(
        stops=stops,
        low=float(min(low, max(stops - HALF_A_STOP, 0.0))),
        high=float(max(high, stops + HALF_A_STOP)),
        mu_start=float(fitted[0]),
        mu_end=float(fitted[-1]),
        asymptote=float(coefficient[best, 0]),
    )


def fits(index: np.ndarray, mu: np.ndarray, lengths: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Least squares for every length at once: misfit (k,), (m, a) (k, 2), inverse normal matrices (k, 2,
    2).
    """
    decay = np.exp(-index[None, :] / lengths[:, None])
    one = np.ones_like(decay)
    design = np.stack([one, decay], axis=-1)
    normal = np.einsum("kni,knj->kij", design, design) + 1e-9 * np.eye(2)
    inverse = np.linalg.inv(normal)
    coefficient = np.einsum("kij,knj,n->ki", inverse, design, mu)
    misfit = ((mu - np.einsum("kni,ki->kn", design, coefficient)) ** 2).sum(axis=1)
    return np.maximum(misfit, 1e-18), coefficient, inverse


def stops_to_settle(coefficient: np.ndarray, lengths: np.ndarray) -> np.ndarray:
    """Stops until |a| exp(-i/n) is 3 % of the asymptote: 0 where it starts within; whole stops."""
    level, amplitude = np.abs(coefficient[:, 0]), np.abs(coefficient[:, 1])
    with np.errstate(divide="ignore"):
        return np.ceil(
            np.maximum(lengths * np.log(np.maximum(amplitude, 1e-300) / (SETTLED * np.maximum(level, 1e-12))), 0.0)
        )
