"""Readings that scatter more than the method assumes: rates and laws stay right, their intervals hold it, and misfit is said."""

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipeline.archive.card import Card
from pipeline.inputs.model import parse
from pipeline.method.wear import Wear
from pipeline.vocabulary import TRACES, empty
from pipeline.wear import compound
from pipeline.wear.chi2 import Problem
from pipeline.wear.exposure import exposure, interval_groups
from pipeline.wear.fit import least_squares
from pipeline.wear.inference import infer
from pipeline.wear.intervals import intervals
from pipeline.wear.laws import LAWS, design
from pipeline.wear.members import WearRecord
from pipeline.wear.of_stops import exposure_of_test as exposure_of
from pipeline.wear.readings import SCHEMA
from pipeline.wear.selection import choose
from pipeline.wear.stage import wear_components
from tests.makers import stops_frame
from tests.wear import makers
from tests.wear.makers import card_content

CALLIPER_MM = (28.00, 27.99, 27.92, 27.91, 27.84, 27.83, 27.76)  # one point, every ten equal stops


def table(rows, resolution=1e-5):
    """Rows of (after stop, point, mm) as read_wear returns them, disc thickness."""
    return pl.DataFrame(
        [(i, after, "disc", "thickness", str(point), None, mm * 1e-3, resolution) for i, (after, point, mm) in enumerate(rows)],
        schema=SCHEMA, orient="row",
    )  # fmt: skip


def equal_stops(n=60, energy_kj=250.0):
    return stops_frame(n, purpose=["duty"] * n, block=["use"] * n, energy_kj=energy_kj)


def card(**facts):
    return parse(card_content() | facts, Card, "test.yaml")


def disc_of(readings, stops=None, settings=None):
    """The disc's part of wear.json of a test of equal stops."""
    stops, settings = equal_stops() if stops is None else stops, settings or Wear()
    test = exposure_of(stops, empty(TRACES), [], card(), settings, "initial")
    return wear_components(readings, card(), test, settings)[0]["disc"]


def chosen_rate(disc):
    """um per stop and its interval by the chosen law, of the one block."""
    return disc.blocks[0].um_per_stop


def test_readings_that_happen_to_read_low_do_not_draw_the_rate_down():
    disc = disc_of(table([(10 * k, 1, mm) for k, mm in enumerate(CALLIPER_MM)]))
    assert disc.rates.um_per_stop.value == pytest.approx(4.0)
    assert chosen_rate(disc).value == pytest.approx(4.0, rel=0.02)
    for rate in (chosen_rate(disc), disc.rates.um_per_stop):
        assert rate.low < 3.8 and rate.high > 4.2


def test_a_roughness_is_a_share_of_the_fitted_loss():
    # Equal intervals whose losses scatter by a factor: their mean is the rate, whichever way they scatter.
    n, blocks = 8, 20
    stops = exposure(np.full(n * blocks, 0.25))
    groups = np.kron(np.eye(n), np.ones(blocks))
    factor = np.array([0.2, 1.8, 0.4, 1.6, 0.3, 1.7, 0.5, 1.5])
    y = 7.0 * 0.25 * blocks * factor
    found = infer(Problem(LAWS["energy"], design(stops, groups), makers.CONSTANTS, y, 0.1 * np.eye(n), 50.0), 0.95)
    assert found.roughness > 0.3
    assert found.parameters[0] == pytest.approx(7.0, rel=1e-6)
    low, high = found.intervals[0]
    assert low < 5.6 and high > 8.4


def test_rates_hold_the_scatter_that_the_residuals_show():
    rng = np.random.default_rng(3)
    rows = [(10 * k, 1, round(28 - 0.04 * k + rng.normal(0, 0.02), 2)) for k in range(11)]
    disc = disc_of(table(rows), equal_stops(100))
    rate = disc.rates.um_per_stop
    # Two readings of u 20 um over 100 stops: +-0.63 or so; the method's own 3 um would give +-0.08.
    assert 0.3 < (rate.high - rate.low) / 2 < 1.2
    assert disc.intervals[0].wear_u_um > 12
    assert "residuals" in disc.noise.source


def test_a_step_of_the_gauge_is_seen_though_more_decimals_are_written():
    rows = [(10 * k, p, round((28 - 0.041 * k + 0.002 * p) / 0.05) * 0.05) for k in range(7) for p in (1, 2, 3)]
    found = intervals(table(rows), makers.DISC, assumed_thickness=3e-6, assumed_mass=5e-5, last_stop=100)
    # All points of an occasion lie within a step: their rounding is one and the same, no mean takes it away.
    assert found.u[0] == pytest.approx(50 / np.sqrt(12) * np.sqrt(2), rel=0.15)


def test_repeats_that_agree_do_not_average_the_rounding_away():
    rows = [(10 * k, 1, round(28 - 0.033 * k, 2)) for k in range(6) for _ in range(5)]
    found = intervals(table(rows), makers.DISC, assumed_thickness=3e-6, assumed_mass=5e-5, last_stop=100)
    assert found.source == "repeat readings"
    assert found.u == pytest.approx(np.full(5, 10 / np.sqrt(12) * np.sqrt(2)), rel=1e-6)


def test_repeats_that_scatter_over_many_steps_do():
    rng = np.random.default_rng(5)
    rows = [(10 * k, 1, round(28 - 0.033 * k + rng.normal(0, 0.03), 2)) for k in range(12) for _ in range(6)]
    found = intervals(table(rows), makers.DISC, assumed_thickness=3e-6, assumed_mass=5e-5, last_stop=120)
    assert found.u == pytest.approx(np.full(11, 30 * np.sqrt(2 / 6)), rel=0.2)


def test_stripped_zeros_do_not_make_the_gauge_coarser():
    fine = table([(0, 1, 27.9), (10, 1, 27.87), (20, 1, 27.8)]).with_columns(resolution=pl.Series([1e-4, 1e-5, 1e-4]))
    found = intervals(fine, makers.DISC, assumed_thickness=3e-6, assumed_mass=5e-5, last_stop=20)
    assert found.u[0] == pytest.approx(3 * np.sqrt(2), rel=0.01)


def test_readings_of_a_hand_calliper_are_no_outliers():
    rng = np.random.default_rng(8)
    rows = [(10 * k, p, round(28 - 0.04 * k + rng.normal(0, 0.05), 2)) for k in range(13) for p in (1, 2, 3)]
    found = intervals(table(rows), makers.DISC, assumed_thickness=3e-6, assumed_mass=5e-5, last_stop=120)
    assert found.findings == [] and len(found.wear) == 12


def test_one_interval_identifies_no_law():
    disc = disc_of(table([(0, 1, 28.0), (60, 1, 27.76)]))
    law = next(m for m in disc.models if m.model == disc.chosen)
    assert not law.identified and "nothing is left to test" in law.why
    assert disc.rates.um_per_stop.value == pytest.approx(4.0)


# --- a compound of several specimens


def specimens(count, rate, rng, *, noise_um=2.0, blocks=8, points=4, repeats=2):
    """Tests of blocks whose loss per stop is rate(block, energy in MJ) times the specimen's factor."""
    tests = []
    for s in range(count):
        n = blocks * 12
        block = np.repeat(np.arange(blocks), 12)
        energy = np.where(block % 2, 1200.0, 700.0)
        loss = np.array([rate(b, e / 1e3) for b, e in zip(block, energy, strict=True)]) * rng.normal(1, 0.04)
        gone = np.concatenate([[0], np.cumsum(loss)])[::12]
        rows = [
            (12 * k, p, 28 - g / 1e3 + rng.normal(0, noise_um) / 1e3)
            for k, g in enumerate(gone) for p in range(points) for _ in range(repeats)
        ]  # fmt: skip
        stops = stops_frame(n, purpose=["duty"] * n, block=[f"use {b}" for b in block], energy_kj=energy)
        own = card(specimen="ABCDEF"[s], test=f"t-{s}")
        tests.append(WearRecord(own, stops, empty(TRACES), [], table(rows, 1e-7)))
    return tests


def pooled(tests):
    return compound.of_compound(tests, Wear(), "initial").components["disc"]


def test_misfit_of_a_compounds_law_has_the_readings_degrees_of_freedom():
    # Blocks that wear by 1 +- 0.12 of the energy, in turns: no law knows why, and the readings are many.
    rng = np.random.default_rng(11)
    disc = pooled(specimens(3, lambda b, e: 7 * e * (1.12 if b % 4 < 2 else 0.88), rng))
    energy = next(m for m in disc.models if m.model == "energy")
    assert energy.chi2_per_dof > 5
    assert energy.misfit_p < 1e-6
    assert not energy.identified and "misfit" in energy.why


def test_a_compounds_law_that_fits_is_identified_and_holds_the_truth():
    disc = pooled(specimens(3, lambda b, e: 7 * e, np.random.default_rng(12)))
    energy = next(m for m in disc.models if m.model == "energy")
    assert energy.identified and energy.misfit_p > 0.001
    assert energy.parameters["a"].low < 7.0 < energy.parameters["a"].high


def of_batches(batches, rate, seed):
    """Two specimens each; a batch's rate is `rate` times its factor."""
    rng, tests = np.random.default_rng(seed), []
    for name, factor in batches.items():
        for one in specimens(2, lambda b, e, f=factor: f * rate(b, e), rng):
            own = one.card.model_copy(update={"batch": name, "test": f"{name}-{one.card.specimen}"})
            tests.append(replace(one, card=own))
    return tests


def test_batches_have_laws_of_their_own_and_the_pooled_one_beside_them():
    disc = pooled(of_batches({"b1": 1.0, "b2": 1.4}, lambda b, e: 7 * e, 13))
    law = {row.batch: row.law.parameters["a"] for row in disc.by_batch}
    assert law["b1"].low < 7.0 < law["b1"].high < law["b2"].low < 9.8 < law["b2"].high
    assert disc.by_batch[1].factors["mechanical"].value / disc.by_batch[0].factors["mechanical"].value == pytest.approx(
        law["b2"].value / law["b1"].value
    )
    assert disc.worst.batch == "b2" and law["b1"].value < disc.chosen_law.parameters["a"].value < law["b2"].value
    assert [row.tests for row in disc.by_batch] == [["b1-A", "b1-B"], ["b2-A", "b2-B"]]


def test_without_an_identified_law_each_batch_has_measured_rates_of_its_own():
    disc = pooled(of_batches({"b1": 1.0, "b2": 1.4}, lambda b, e: 7 * e * (1.3 if b % 4 < 2 else 0.7), 14))
    assert disc.identified_law is None and disc.by_specimen == []
    rates = {row.batch: next(e for e in row.measured if e.over.startswith("all")) for row in disc.by_batch}
    assert all(row.law is None for row in disc.by_batch)
    assert rates["b2"].parameters["a"].value / rates["b1"].parameters["a"].value == pytest.approx(1.4, rel=0.1)
    assert rates["b1"].tests == ["b1-A", "b1-B"] and disc.worst.batch == "b2"


def test_one_batch_has_nothing_beside_the_compounds_law():
    disc = pooled(specimens(2, lambda b, e: 7 * e, np.random.default_rng(15)))
    assert disc.by_batch == [] and disc.worst is None and len(disc.by_specimen) == 2


# --- the fitting routine


def test_covariance_of_parameters_of_very_unlike_size():
    # y = p + q x: exact errors, whatever the unit of q.
    x = np.linspace(1, 2, 9)
    exact = np.linalg.inv(np.array([[9.0, x.sum()], [x.sum(), x @ x]]))
    for unit in (1.0, 1e-6, 1e-12, 1e9):
        fit = least_squares(lambda b, u=unit: b[0] + b[1] / u * x, 3 + 2 * x, [[1.0, unit]])
        assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(
            np.sqrt(np.diag(exact)) * np.array([1.0, unit]), rel=1e-4
        )


def test_a_fit_that_does_not_come_to_an_end_is_said(monkeypatch):
    from pipeline.wear import fit as routine

    rng = np.random.default_rng(5)
    made = makers.program(makers.WIDE, rng)
    parameters = makers.oxidation_parameters(made, activation=150.0, share=0.3)
    found, groups = makers.measured(makers.true_loss("oxidation", parameters, made), made, rng)
    whole = least_squares(lambda b: b[0] * np.arange(3.0), np.arange(3.0), [[0.3]])
    assert whole.converged
    monkeypatch.setattr(routine, "MOST_CALLS", 1)  # it starts so near that two may do
    choice = choose(design(made.stops, groups), found.wear, found.covariance, found.dof, makers.CONSTANTS)
    own = choice.candidate("oxidation")
    assert not own.identified and "did not come to an end" in own.why


def test_occasions_oppose_neighbouring_intervals():
    found = intervals(
        table([(0, 1, 28.0), (10, 1, 27.9), (30, 1, 27.8)]), makers.DISC, assumed_thickness=3e-6, assumed_mass=5e-5,
        last_stop=30,
    )  # fmt: skip
    assert found.occasions == pytest.approx(np.array([[2.0, -1.0], [-1.0, 2.0]]))
    assert interval_groups(np.arange(1, 31), found.from_stop, found.to_stop).sum(axis=1).tolist() == [10.0, 20.0]
