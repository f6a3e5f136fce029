"""Tests of a compound with known batch levels, for the comparison."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.batches.specimens import SpecimenTest
from tests.makers import stops_frame


def specimen_tests(
    levels: Mapping[str, Sequence[float]], *, stops: int = 6, scatter: float = 0.0, seed: int = 0, **facts
):
    """One test per specimen; `levels` gives each batch its specimens' true mu at the checks.

    `facts` go to every SpecimenTest (epoch, common_u, wear_rate ...).
    """
    rng = np.random.default_rng(seed)
    made = []
    for batch, values in levels.items():
        for index, level in enumerate(values):
            noise = rng.normal(0, scatter, stops) if scatter else np.zeros(stops)
            frame = stops_frame(stops, purpose="check", block="check 1", mu=level + noise, mu_bite=level - 0.02 + noise)
            specimen = "ABCDEFGHIJ"[index]
            made.append(SpecimenTest(f"{batch}-{specimen}", batch, specimen, frame, **facts))
    return made
