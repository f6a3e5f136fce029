"""Fits, intervals and the choice of law on programs of a known one."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.wear import selection
from pipeline.wear.chi2 import Problem, best_rates
from pipeline.wear.inference import infer
from pipeline.wear.joint import draws
from pipeline.wear.laws import LAWS, design
from pipeline.wear.misfit import misfit, noise_scale
from pipeline.wear.selection import choose, noise_of
from tests.wear import makers


def fitted(law, parameters, blocks=makers.WIDE, seed=5, **noise):
    rng = np.random.default_rng(seed)
    made = makers.program(blocks, rng)
    if parameters is None:
        parameters = makers.oxidation_parameters(made, activation=150.0, share=0.3)
    found, groups = makers.measured(makers.true_loss(law, parameters, made), made, rng, **noise)
    choice = choose(
        design(made.stops, groups), found.wear, found.covariance, found.dof, makers.CONSTANTS,
        noise=noise_of(found, np.ones(len(found.wear), bool)),
    )  # fmt: skip
    return choice, parameters


TRUE = {
    "energy": {"a": 7.0},
    "distance": {"k": 1.5e-4},
    "power": {"a": 2.0, "b": 0.6},
    "oxidation": None,
    "two_regime": {"a_cold": 10.0, "a_hot": 5.0, "transition": 270.0},
}


@pytest.mark.parametrize("law", TRUE)
def test_the_true_law_is_chosen_and_its_parameters_found(law):
    choice, parameters = fitted(law, TRUE[law])
    assert choice.chosen == law, choice.why
    found = choice.law.found
    for (name, _), value, (low, high) in zip(LAWS[law].parameters, found.parameters, found.intervals, strict=True):
        assert low <= value <= high
        width = high - low
        assert abs(parameters[name] - (low + high) / 2) < 1.2 * width, name


def test_almost_no_noise_gives_the_truth_itself():
    choice, parameters = fitted("oxidation", None, noise_um=0.01)
    found = choice.candidate("oxidation").found
    assert found.parameters == pytest.approx([parameters["a"], parameters["B"], 150.0], rel=0.01)


def test_one_temperature_cannot_tell_oxidation():
    choice, _ = fitted("oxidation", None, makers.ONE_TEMPERATURE)
    own = choice.candidate("oxidation")
    assert not own.identified and choice.chosen != "oxidation"
    assert "nearly one temperature" in own.why or "does not differ from zero" in own.why
    assert np.isnan(own.found.intervals[2]).any()


def test_two_intervals_cannot_tell_oxidation():
    choice, _ = fitted("oxidation", None, makers.TWO_INTERVALS)
    own = choice.candidate("oxidation")
    assert not own.identified and "2 intervals for 3 parameters" in own.why
    assert own.aicc is None and own.loo_rmse is None


def test_what_the_heat_inputs_took_of_the_readings_tests_no_law():
    """As many intervals as parameters and inputs' setting together: every residual is fitted away, whatever the parameters' intervals."""
    choice, _ = fitted("oxidation", None)
    sound = choice.candidate("oxidation").found
    assert selection._identified(sound)[0] and not sound.widened
    few = replace(sound, dof=-0.2, problem=replace(sound.problem, spent=sound.dof + 0.2))
    identified, why = selection._identified(few)
    assert not identified and "of the heat inputs: nothing is left to test the law with" in why


@pytest.mark.parametrize("dof", [0.0, -0.4])
def test_without_a_degree_of_freedom_a_misfit_is_no_number_and_no_error(dof):
    choice, _ = fitted("oxidation", None)
    found = replace(choice.candidate("oxidation").found, dof=dof)
    assert not found.widened and not selection.wrong(found)  # nothing was left to widen by
    assert misfit(3.0, dof, 10.0) is None and misfit(3.0, dof, np.inf) is None


def test_one_interval_gives_a_rate_and_no_law():
    choice, _ = fitted("energy", {"a": 7.0}, makers.WIDE[:1])
    assert choice.chosen == "energy" and "no law can be told" in choice.why
    assert choice.law.found.parameters[0] == pytest.approx(7.0, rel=0.15)


def test_a_law_that_cannot_describe_the_data_says_so():
    choice, _ = fitted("oxidation", {"a": 5.0, "B": 0.3, "Ea": 170.0})
    energy = choice.candidate("energy")
    assert energy.found.chi2 / energy.found.dof > 20 and energy.found.roughness > 0.15
    assert not energy.identified and "misfit" in energy.why
    # Its interval is widened to hold what it cannot describe.
    low, high = energy.found.intervals[0]
    assert (high - low) / energy.found.parameters[0] > 0.2


def test_noise_dof_widens_intervals():
    rng = np.random.default_rng(2)
    made = makers.program(makers.WIDE, rng)
    found, groups = makers.measured(makers.true_loss("energy", {"a": 7.0}, made), made, rng)
    widths = []
    for dof in (np.inf, 3.0):
        problem = Problem(
            LAWS["energy"], design(made.stops, groups), makers.CONSTANTS, found.wear, found.covariance, dof
        )
        low, high = infer(problem, 0.95).intervals[0]
        widths.append(high - low)
    assert widths[1] > widths[0] * 0.8


def test_energy_interval_is_the_closed_form():
    # One rate, known noise: weighted mean and 1.96 standard errors.
    rng = np.random.default_rng(8)
    made = makers.program(makers.WIDE, rng)
    found, groups = makers.measured(makers.true_loss("energy", {"a": 7.0}, made), made, rng)
    problem = Problem(
        LAWS["energy"], design(made.stops, groups), makers.CONSTANTS, found.wear, found.covariance, np.inf
    )
    result = infer(problem, 0.95)
    x = groups @ made.stops.energy_mj
    inverse = np.linalg.inv(found.covariance)
    a, u = (x @ inverse @ found.wear) / (x @ inverse @ x), 1 / np.sqrt(x @ inverse @ x)
    assert result.parameters[0] == pytest.approx(a, rel=1e-9)
    assert result.intervals[0] == pytest.approx([a - 1.959964 * u, a + 1.959964 * u], rel=1e-5)
    sets = draws(result)[:, 0]
    assert sets.mean() == pytest.approx(a, abs=0.2 * u) and sets.std() == pytest.approx(u, rel=0.15)
    assert (draws(result) == draws(result)).all()


def test_rates_are_never_negative():
    columns = np.array([[[1.0, 0.0], [1.0, 1.0], [1.0, 2.0]]])
    rates, chi2 = best_rates(columns, np.array([3.0, 2.0, 1.0]))
    assert rates[0, 1] == 0.0 and rates[0, 0] == pytest.approx(2.0) and chi2[0] == pytest.approx(2.0)
    rates, chi2 = best_rates(columns, np.array([1.0, 3.0, 5.0]))
    assert rates[0] == pytest.approx([1.0, 2.0]) and chi2[0] == pytest.approx(0.0, abs=1e-12)


def test_noise_scale_pools_repeats_with_residuals():
    def scale(chi2, dof, noise_dof, **known):
        problem = Problem(LAWS["energy"], None, None, np.ones(3), np.eye(3), noise_dof, **known)
        return noise_scale(chi2, dof, problem, 0.95)

    assert scale(6.0, 6, 6.0) == (1.0, 12.0)
    assert scale(0.0, 0, 5.0) == (1.0, 5.0) and misfit(0.0, 0, 5.0) is None
    assert misfit(200.0, 6, np.inf) < 1e-6
    # Assumed noise does not make residuals surer; scatter between specimens has its own degrees of freedom.
    assert scale(1.8, 2, 4.0, assumed=True) == (0.9, 2.0) and scale(0.2, 2, 4.0, assumed=True) == (1.0, 4.0)
    assert scale(6.0, 6, 40.0, between_dof=5.0) == (1.0, 5.0)
