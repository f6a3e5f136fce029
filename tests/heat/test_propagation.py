"""Draws, responses and shares of variance on functions with a known answer."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.heat.propagation import INPUTS, NODE, along, by_source, dominant, shares, standard

D = 400
Z = {name: standard(name, D) for name in INPUTS}


def test_draws_are_standard_normal_each_in_its_own_order():
    z = np.array([standard(name, D) for name in INPUTS])
    assert z.mean(axis=1) == pytest.approx(0, abs=1e-9) and z.std(axis=1) == pytest.approx(1, abs=0.01)
    assert np.abs(np.corrcoef(z) - np.eye(len(INPUTS))).max() < 0.15
    assert np.array_equal(standard("cooling", D), standard("cooling", D))


def test_a_parabola_of_several_inputs_comes_back_exactly():
    def y(share, k):
        return 3.0 + 2.0 * share - 0.5 * share**2 + 0.7 * k + 0.2 * k**2

    nodes = {"heat share": (y(-NODE, 0), y(NODE, 0)), "conductivity": (y(0, -NODE), y(0, NODE))}
    found = along(y(0, 0), nodes, Z)
    assert found == pytest.approx(y(Z["heat share"], Z["conductivity"]))


def test_variance_is_shared_out_by_source():
    rng = np.random.default_rng(5)
    z, k = Z["heat share"], Z["conductivity"]
    found = by_source(shares(2 * z + k + 0.5 * (k**2 - 1) + rng.normal(0, 1.0, D), Z, "wear readings"))
    # 4 of the heat share, 1 + 0.5 of conductivity, 1 of the readings
    assert next(iter(found)) == "heat share"
    assert found["heat share"] == pytest.approx(4 / 6.5, abs=0.06)
    assert found["conductivity"] == pytest.approx(1.5 / 6.5, abs=0.06)
    assert found["wear readings"] == pytest.approx(1 / 6.5, abs=0.05)
    assert dominant(found).endswith("the settled temperature after single stops would tell it")
    assert by_source({"cooling": 0.0}) is None and dominant(None) is None


def test_inputs_that_go_together_share_out_what_they_do_together():
    """z and k drawn nearly alike with opposite effects: what is left of both is small, and the noise is the most of it."""
    rng = np.random.default_rng(6)
    z = rng.normal(size=D)
    k = z + 0.1 * rng.normal(size=D)
    noise = rng.normal(0, 0.5, D)
    found = by_source(shares(z - k + noise, {"heat share": z, "conductivity": k}, "wear readings"))
    assert found["wear readings"] > 0.8 and sum(found.values()) == pytest.approx(1.0, abs=0.03)
