"""What specimens and batches make of a mix of a law's parts: their factors on the compound's law, weighed by the parts' shares.

    factor of the mix = sum over parts of share x factor of the part

with the variance that the factors' covariance gives it. A mix like the tested program's is known well even where the
parts alone are not; one part alone is the mix with all the weight on it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.results.wear import BatchWear, CompoundComponent, Part, PartScatter, SpecimenParts

Shares = Mapping[Part, float]


@dataclass(frozen=True)
class Mixed:
    """A specimen's loss in a mix over that of the law, and its variance by the specimen's own readings."""

    batch: str
    specimen: str
    value: float
    variance: float


def specimens_in(component: CompoundComponent, shares: Shares) -> list[Mixed]:
    """Every specimen in the mix, over the compound's law. shares: of the compound's law, of sum 1."""
    return [_mixed(row, shares) for row in component.by_specimen]


def _mixed(row: SpecimenParts, weights: Shares) -> Mixed:
    names = list(row.factors)
    w = np.array([weights.get(name, 0.0) for name in names])
    value = np.array([row.factors[name].value or 0.0 for name in names])
    u = np.array([row.factors[name].u or 0.0 for name in names])
    together = np.eye(len(names))
    if len(names) == 2:
        together[0, 1] = together[1, 0] = row.correlation or 0.0
    return Mixed(row.batch, row.specimen, float(w @ value), float((w * u) @ together @ (w * u)))


def over_batch(component: CompoundComponent, batch: BatchWear, shares: Shares) -> dict[str, float]:
    """Each specimen of the batch over the batch's law in a mix, drawn to it as far as its own readings leave it open.

    shares: of the batch's law, of sum 1. Empty without factors.
    """
    scatter = component.part_scatter
    if scatter is None:
        return {}
    weights = {
        name: share / (batch.factors[name].value or 1.0) for name, share in shares.items() if name in batch.factors
    }
    between = _variance(scatter, shares)
    drawn = {}
    for row in component.by_specimen:
        if row.batch == batch.batch:
            own = _mixed(row, weights)
            drawn[row.specimen] = 1.0 + (own.value - 1.0) * between / max(between + own.variance, 1e-300)
    return drawn


def _variance(scatter: PartScatter, shares: Shares) -> float:
    """Of the specimens of a batch in a mix."""
    w = np.array([shares.get(name, 0.0) * sd for name, sd in scatter.shares.items()])
    together = np.eye(len(w))
    if len(w) == 2:
        together[0, 1] = together[1, 0] = scatter.correlation or 0.0
    return float(w @ together @ w)
