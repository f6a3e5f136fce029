"""Prediction from an entry of wear.json, and the compound's pooled fit."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.wear.between_specimens import factors, scatter_of, with_scatter
from pipeline.wear.chi2 import Problem
from pipeline.wear.exposure import exposure, summed
from pipeline.wear.inference import infer
from pipeline.wear.laws import LAWS, design
from pipeline.wear.predict import beyond, predict, shares, wear_by_stop
from tests.wear import makers

A = np.random.default_rng(1).normal(7.0, 0.2, 400)
ENERGY = makers.fitted_law({"model": "energy", "parameters": {"a": {"value": 7.0}}, "joint": {"a": A.tolist()}})
OXIDATION = makers.fitted_law({
    "model": "oxidation",
    "parameters": {"a": {"value": 7.0}, "B": {"value": 0.02}, "Ea": {"value": 150.0}},
    "joint": {"a": A.tolist(), "B": [0.02] * 400, "Ea": [150.0] * 400},
    "fixed": {"th0_k": 873.15},
    "range": {"energy_mj": [0.1, 0.3], "power_w_mm2": [2.0, 8.0], "temperature_c": [80.0, 620.0], "surface_c": [20.0, 800.0]},
})  # fmt: skip
MADE = makers.program(makers.WIDE, np.random.default_rng(4))


def test_energy_by_hand():
    found = predict(ENERGY, exposure([0.5, 1.5]))
    assert found.value == pytest.approx(14.0)
    assert found.low == pytest.approx(np.quantile(A, 0.025) * 2) and found.high == pytest.approx(
        np.quantile(A, 0.975) * 2
    )


def test_a_list_of_stops_and_its_sum_wear_alike():
    total = summed(MADE.stops, np.ones((1, len(MADE.stops))))
    assert predict(OXIDATION, MADE.stops).value == pytest.approx(predict(OXIDATION, total).value)


def test_oxidation_predicts_the_makers_loss():
    true = makers.true_loss("oxidation", {"a": 7.0, "B": 0.02, "Ea": 150.0}, MADE)
    loss, draws = wear_by_stop(OXIDATION, MADE.stops)
    assert loss == pytest.approx(true, rel=0.01) and draws.shape == (400, len(true))
    parts = shares(OXIDATION, MADE.stops)
    assert sum(parts.values()) == pytest.approx(loss)
    assert set(parts) == {"mechanical", "oxidation_braking", "oxidation_after_braking"}


def test_a_law_without_values_refuses():
    with pytest.raises(ValueError, match="two intervals"):
        predict(
            makers.fitted_law(
                {
                    "model": "oxidation",
                    "parameters": {"a": {"value": None}},
                    "identified": False,
                    "why": "two intervals",
                }
            ),
            MADE.stops,
        )


def test_what_lies_beyond_the_data_is_said():
    assert beyond(OXIDATION, exposure([0.2], power_w_mm2=[5.0], temperature_c=[300.0])) == []
    said = beyond(OXIDATION, exposure([0.6], power_w_mm2=[1.0], temperature_c=[700.0]))
    assert len(said) == 3 and any("0.6 MJ" in s for s in said) and any("700 °C" in s for s in said)


def pooled(specimen_factors, seed=3):
    """Problem of the energy law over several specimens with these factors of wear, and which test each interval is of."""
    rng = np.random.default_rng(seed)
    groups = np.kron(np.eye(len(specimen_factors)), np.ones((3, 4)))
    stops = exposure(np.tile([0.2, 0.25, 0.3, 0.2], len(specimen_factors)))
    x = groups @ stops.energy_mj
    of_test = np.repeat(np.arange(len(specimen_factors)), 3)
    y = 7.0 * x * np.repeat(specimen_factors, 3) + rng.normal(0, 0.01, x.size)
    return Problem(LAWS["energy"], design(stops, groups), makers.CONSTANTS, y, np.eye(x.size) * 1e-4, 20.0), of_test


def test_specimen_factors_are_found():
    problem, of_test = pooled([0.9, 1.0, 1.1])
    predicted = problem.model(np.array([7.0]))
    value, variance = factors(problem, predicted, of_test)
    assert value == pytest.approx([0.9, 1.0, 1.1], abs=0.005) and (variance < 1e-4).all()
    assert scatter_of(value, variance, 0.05) == pytest.approx(np.sqrt((4 * 0.05**2 + 2 * 0.01) / 6), rel=0.02)


def test_scatter_between_specimens_widens_the_compounds_rate():
    widths = []
    for spread in ([1.0, 1.0, 1.0, 1.0], [0.8, 0.95, 1.05, 1.2]):
        problem, of_test = pooled(spread)
        low, high = infer(with_scatter(problem, of_test, 0.05), 0.95).intervals[0]
        assert low < 7.0 < high
        widths.append((high - low) / 7.0)
    assert 0.05 < widths[0] < 0.12 and widths[1] > 0.2


def test_scatter_coverage():
    """Specimens that scatter by 8 %: the pooled interval holds the compound's rate in most of 60 draws of four specimens."""
    rng = np.random.default_rng(5)
    held = 0
    for k in range(60):
        problem, of_test = pooled(rng.normal(1.0, 0.08, 4), seed=k)
        problem = with_scatter(replace(problem, noise_dof=4 + 4 - 1), of_test, 0.08)
        low, high = infer(problem, 0.95).intervals[0]
        held += low <= 7.0 <= high
    assert held >= 52
