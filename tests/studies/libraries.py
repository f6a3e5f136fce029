"""Our own statistics beside the libraries', where both can be asked.

python -m tests.studies.libraries [--share 1.0] [--seed 1] [--write]
"""

from __future__ import annotations

import warnings
from typing import NamedTuple

import numpy as np

from pipeline.batches import equivalence, mixed
from pipeline.batches.equivalence import Estimate

SPECIMEN_SD, STOP_SD = 2.0, 3.0  # per cent of mu


class Held(NamedTuple):
    """Share of 95 % intervals that hold the truth, by our method and the library's; median half-width of each."""

    ours: float
    theirs: float
    our_width: float
    their_width: float
    refused: int  # draws in which the library gave no answer


def differences_held(*, specimens: int, batches: int, draws: int, seed: int) -> Held:
    """Intervals of the difference of two batches, true difference zero: our fit of specimens' means against MixedLM
    (random intercept per specimen, REML) on the single stops, 5 to 30 of them a specimen.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng(seed)
    batch = np.repeat(np.arange(batches), specimens)
    found = []
    for _ in range(draws):
        counts = rng.integers(5, 31, batch.size)
        of_stop = np.repeat(np.arange(batch.size), counts)
        y = rng.normal(0, SPECIMEN_SD, batch.size)[of_stop] + rng.normal(0, STOP_SD, of_stop.size)
        means = np.bincount(of_stop, y) / counts
        within = float(((y - means[of_stop]) ** 2).sum()) / (y.size - batch.size)
        fitted = mixed.fit(means, batch.tolist(), within / counts)
        ours = equivalence.interval(Estimate(*mixed.contrast(fitted, 1, 0), fitted.df))
        x = np.column_stack([np.ones(y.size), *(batch[of_stop] == b for b in range(1, batches))])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a variance at its bound of zero, which is an answer here
            try:
                theirs = MixedLM(y, x.astype(float), groups=of_stop).fit().conf_int()[1]
            except np.linalg.LinAlgError:  # no answer: an interval that holds nothing
                theirs = (np.nan, np.nan)
        found.append((*ours, *theirs))
    return held(np.array(found), 0.0)


def held(ends: np.ndarray, truth: float) -> Held:
    """From (draws, 4): our low and high, the library's low and high; a NaN end holds nothing."""
    inside = [np.mean((ends[:, i] <= truth) & (truth <= ends[:, i + 1])) for i in (0, 2)]
    width = [np.nanmedian(ends[:, i + 1] - ends[:, i]) / 2 for i in (0, 2)]
    refused = int(np.isnan(ends[:, 2:]).any(axis=1).sum())
    return Held(float(inside[0]), float(inside[1]), float(width[0]), float(width[1]), refused)
