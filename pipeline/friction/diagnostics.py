"""How well the map fits its stops: residuals, influence, and what is left in them.

Standardised residual: misfit over the scatter of a stop at its temperature. Influence: the stop's leverage,
the share of its own value in its fitted value. Stops beyond Huber's bound are held back, not removed. Left in
the residuals should be nothing: no trend over the test, no relation between neighbours beyond the one
modelled, about 5 % beyond two standard deviations.
"""

from __future__ import annotations

import numpy as np

from pipeline.friction.likelihood import design_of, whitening
from pipeline.friction.map import FrictionMap
from pipeline.results.friction_map import Diagnostics, Residual

MOST_INFLUENTIAL = 10


def leverage(map_: FrictionMap) -> np.ndarray:
    """Diagonal of the influence matrix, by stop."""
    fit = map_.fit
    white = whitening(fit.data, fit.theta)
    design = design_of(fit.data, fit.theta)
    return (design * white.back(white.rows(design) @ fit.solved.inverse)).sum(axis=1)


def standardised(map_: FrictionMap) -> np.ndarray:
    """Residual of each stop as measured about its specimen's map, in standard deviations of a stop there."""
    fit = map_.fit
    sd = fit.scatter(fit.data.temperature) * fit.data.weight_sd
    return (fit.pulled - fit.fitted) / fit.cut / sd


def diagnostics(map_: FrictionMap) -> Diagnostics:
    """Per-stop table and a summary."""
    r, h = standardised(map_), leverage(map_)
    raw = map_.stops.select([c for c in ("test", "stop", "block") if c in map_.stops.columns])
    table = [
        Residual(**row, standardised=round(float(a), 3), influence=round(float(b), 4), held_back=bool(c < 1))
        for row, a, b, c in zip(raw.to_dicts(), r, h, map_.fit.cut, strict=True)
    ]
    order = np.linspace(-1, 1, r.size)
    held = np.clip(r, -3, 3)
    slope = float(order @ (held - held.mean()) / (order @ order))
    follows = map_.fit.data.series[1:] == map_.fit.data.series[:-1]
    pairs = held[1:][follows] @ held[:-1][follows] / max(float(held @ held), 1e-12)
    return Diagnostics(
        stops=table,
        most_influential=sorted(table, key=lambda row: -row.influence)[:MOST_INFLUENTIAL],
        beyond_two_sd_share=float((np.abs(r) > 2).mean()),
        skewness=float(np.mean((held - held.mean()) ** 3) / max(held.std() ** 3, 1e-12)),
        neighbour_correlation=float(pairs),
        trend_sd_over_test=2 * slope,
        trend_u_sd=float(2 * held.std() / np.sqrt(order @ order)),
    )
