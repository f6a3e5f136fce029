"""Measured rates where no law is identified: whose they are, how wide, where they hold and where there is none."""

import numpy as np
import pytest

from pipeline.results.model import renewed
from pipeline.results.wear import Conditions
from pipeline.wear.chi2 import Problem
from pipeline.wear.exposure import exposure
from pipeline.wear.laws import LAWS, Constants, design
from pipeline.wear.measured import EVERYTHING, fitting, kinds_of, measured_rates, trusted
from pipeline.wear.predict import predict
from tests.wear.makers import fitted_law

STOPS = 20


def entries(rates, blocks, *, u_um=0.5, bedding=None, tests=None, energy=0.25):
    """Of intervals of 20 stops that wear by `rates` (um/MJ)."""
    k = len(rates)
    energies = np.broadcast_to(np.asarray(energy, float), (k,)).repeat(STOPS)
    groups = np.kron(np.eye(k), np.ones(STOPS))
    y = np.asarray(rates, float) * (groups @ energies)
    problem = Problem(LAWS["energy"], design(exposure(energies), groups), Constants(), y, u_um**2 * np.eye(k), 40.0)
    return measured_rates(
        problem, [[b] for b in blocks], np.zeros(k, bool) if bedding is None else np.array(bedding), tests or ["t"] * k,
        lambda p, _: p, lambda kept: Conditions(energy_mj=[float(end(energies[groups[kept].any(axis=0)])) for end in (np.min, np.max)]),
        0.95,
    )  # fmt: skip


def test_each_kind_of_block_has_its_own_rate_and_all_together_theirs():
    found, why = entries([6, 6, 18, 18], ["cool", "cool", "hot", "hot"])
    assert why is None and [e.over for e in found] == ["cool", "hot", EVERYTHING]
    assert [e.parameters["a"].value for e in found[:2]] == pytest.approx([6, 18], rel=1e-3)
    assert found[0].intervals == 2 and "2 intervals of 1 test)" in found[0].ground


def test_where_intervals_differ_the_interval_is_that_of_a_further_use():
    a = entries([6, 7, 6.5, 18, 17, 6], ["use"] * 6)[0][-1].parameters["a"]
    assert a.high > 18 and a.low < 6


def test_where_only_noise_differs_it_holds_no_more_than_noise_may_hide():
    rng = np.random.default_rng(4)
    a = entries(7 + rng.normal(0, 0.1, 9), ["use"] * 9)[0][-1].parameters["a"]
    assert a.low < 7 < a.high and 0.15 < a.high - a.low < 0.5


def test_bedding_is_no_use():
    found, _ = entries([30, 7, 7], ["bed-in", "use", "use"], bedding=[True, False, False])
    assert [e.over for e in found] == [EVERYTHING] and found[0].parameters["a"].value == pytest.approx(7)
    assert entries([30], ["bed-in"], bedding=[True]) == (
        [],
        "no interval between readings lies after the bedding and is free of soaks",
    )


def test_a_loss_within_the_noise_is_no_ground():
    found, why = entries([0.02, -0.01], ["use", "use"], u_um=5)
    assert found == [] and "does not differ from zero" in why


def test_a_duty_beyond_the_measured_stops_has_none():
    found, _ = entries([6, 6, 18, 18], ["light", "light", "heavy", "heavy"], energy=[0.1, 0.1, 0.4, 0.4])
    assert fitting(found, exposure([0.4, 0.4]))[0].over == "heavy"
    assert fitting(found, exposure([0.1, 0.4]))[0].over == EVERYTHING
    none, why = fitting(found, exposure([0.9]))
    assert none is None and "unlike those measured" in why and "0.9 MJ a stop" in why
    assert predict(found[1], exposure([0.4])).value == pytest.approx(18 * 0.4, rel=1e-3)


def test_trust_goes_to_an_identified_law_first():
    law, found = fitted_law({"model": "power", "parameters": {}}), entries([6, 6], ["use", "use"])[0]
    assert trusted(law, found) is law
    assert trusted(renewed(law, identified=False), found).over == EVERYTHING
    assert trusted(None, []) is None


def test_kinds_of_intervals():
    groups = np.array([[1, 1, 0, 0], [0, 0, 1, 1]])
    blocks, bedding = kinds_of(groups, ["a", "a", "b", "c"], ["bedding", "bedding", "bedding", "map"])
    assert blocks == [["a"], ["b", "c"]] and bedding.tolist() == [True, False]
