"""What a law was fitted to: which conditions were run between readings, and where its oxidation was seen."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from pipeline.constants import ZERO_C
from pipeline.wear.exposure import GRID_K, exposure
from pipeline.wear.members import read_of
from pipeline.wear.rows import conditions_run, law_range, oxidation_seen
from tests.duty.makers import oxidation_law

R = 8.314462618


def stops(celsius: list[float], seconds: float = 10.0, energy: float = 0.2):
    """A stop a surface temperature, held for some seconds."""
    dwell = np.zeros((len(celsius), GRID_K.size))
    for row, c in zip(dwell, celsius, strict=True):
        row[int(np.abs(GRID_K - ZERO_C - c).argmin())] = seconds
    return exposure([energy] * len(celsius), power_w_mm2=[5.0] * len(celsius), temperature_c=celsius, dwell_s=dwell)


def test_oxidation_was_seen_from_the_last_hundredth_on():
    """By a sum over the stops themselves: what lies below the lower end makes less than 1 % of the law's loss, with it more."""
    celsius = [float(c) for c in range(100, 701, 20)]
    low, high = oxidation_seen(150.0, 873.15, stops(celsius), np.ones(len(celsius), bool))
    at = np.array([GRID_K[np.abs(GRID_K - ZERO_C - c).argmin()] for c in celsius])
    lost = np.exp(-150e3 / R / at)
    below = lost[at - ZERO_C < low - 1e-9].sum() / lost.sum()
    assert below < 0.01 <= below + lost[np.isclose(at - ZERO_C, low)].sum() / lost.sum()
    assert high == pytest.approx(at.max() - ZERO_C)
    assert low > 400, "the cold stops tell nothing of it"


def test_without_time_at_temperature_no_oxidation_was_seen():
    assert oxidation_seen(150.0, 873.15, stops([300.0], 0.0), np.ones(1, bool)) is None


def test_only_stops_between_readings_count():
    law = oxidation_law(ea=150.0)
    table, inside = stops([200.0, 600.0, 900.0]), np.array([True, True, False])
    span = law_range(law, table, inside)
    assert span.temperature_c == [200.0, 600.0] and span.surface_c[1] < 610
    assert span.oxidation_c[1] < 610 and [row[2] for row in span.run] == [200.0, 600.0]
    groups = [np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]), np.array([[0.0, 1.0]])]
    members = [SimpleNamespace(groups=g, usable=np.ones(len(g), bool)) for g in groups]
    members[0].usable[1] = False
    assert read_of(members).tolist() == [True, False, False, False, True]


def test_alike_conditions_stand_once_and_the_ends_always():
    rng = np.random.default_rng(3)
    energy, celsius = rng.uniform(0.1, 0.5, 4000), rng.uniform(60, 680, 4000)
    table = exposure(energy, power_w_mm2=energy * 20, temperature_c=celsius)
    rows = np.array(conditions_run(table, np.ones(4000, bool)))
    assert len(rows) < 850
    assert rows.min(axis=0) == pytest.approx([energy.min(), energy.min() * 20, celsius.min()], rel=1e-4)
    assert rows.max(axis=0) == pytest.approx([energy.max(), energy.max() * 20, celsius.max()], rel=1e-4)
    near = np.abs(np.log(energy[:, None] / rows[:, 0])) / np.log(1.15) + np.abs(celsius[:, None] - rows[:, 2]) / 20
    assert near.min(axis=1).max() < 2, "no stop is far from one that stands for it"
    assert conditions_run(table, np.zeros(4000, bool)) == []
