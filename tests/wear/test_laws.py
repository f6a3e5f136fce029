"""Histories as seconds at temperature, laws, and their sums."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.wear.exposure import GRID_K, exposure, interval_groups, residence, summed, without_dwell
from pipeline.wear.laws import LAWS, Constants, arrhenius, design, shapes, stop_wear, totals
from tests.wear.makers import CONSTANTS, DISC, ONE_TEMPERATURE, WIDE, oxidation_time, program, true_loss

RNG = np.random.default_rng(11)
MADE = program(WIDE, RNG)


def test_residence_keeps_the_time_and_the_mean_temperature():
    time = np.array([[0.0, 1.0, 4.0, 4.0], [0.0, 2.0, 3.0, 3.0]])
    kelvin = np.array([[500.0, 700.0, 640.0, 640.0], [300.0, 300.0, np.nan, 900.0]])
    found = residence(time, kelvin)
    assert found.sum(axis=1) == pytest.approx([4.0, 2.0])
    assert found[0] @ GRID_K / 4 == pytest.approx((1 * 600 + 3 * 670) / 4, abs=1e-6)


def test_residence_beyond_the_grid_stays_on_it():
    assert residence([[0.0, 1.0]], [[100.0, 100.0]])[0, 0] == pytest.approx(1.0)
    assert residence([[0.0, 1.0]], [[9000.0, 9000.0]])[0, -2:].sum() == pytest.approx(1.0)


@given(st.floats(40, 380))
@settings(deadline=None, max_examples=25)
def test_oxidation_by_residence_equals_the_integral_over_the_fine_history(activation):
    ours = LAWS["oxidation"].columns(MADE.stops, activation, CONSTANTS)[:, 1]
    assert ours == pytest.approx(oxidation_time(activation, MADE), rel=0.02)
    assert ours.sum() == pytest.approx(oxidation_time(activation, MADE).sum(), rel=0.005)


def test_every_law_by_hand():
    stop = exposure([0.2], force_distance_n_m=[3e5], power_w_mm2=[4.0], temperature_c=[300.0])
    k = Constants(distance_factor=DISC.distance_factor)
    wear = lambda law, *p: stop_wear(LAWS[law], stop, np.array(p), k)[0]  # noqa: E731
    assert wear("energy", 7.0) == pytest.approx(1.4)
    # 2e-4 mm^3/(N m) over 3e5 N m is 60 mm^3 a face, over 35500 mm^2 and two faces.
    assert wear("distance", 2e-4) == pytest.approx(2 * 60 / 35500 * 1e3)
    assert wear("power", 7.0, 0.5) == pytest.approx(2.8)
    assert wear("two_regime", 7.0, 14.0, 250.0) == pytest.approx(2.8)
    assert wear("two_regime", 7.0, 14.0, 350.0) == pytest.approx(1.4)
    assert arrhenius(873.15, 150.0, 873.15) == 1.0
    # d ln r / dT = Ea / (R T^2): 2.4 % a kelvin at 600 degC and 150 kJ/mol, doubled by 30 K.
    assert arrhenius(903.15, 150.0, 873.15) == pytest.approx(1.99, abs=0.01)


@pytest.mark.parametrize("law", LAWS.values(), ids=LAWS.keys())
def test_intervals_are_sums_over_stops(law):
    groups = interval_groups(np.arange(1, len(MADE.stops) + 1), MADE.after[:-1], MADE.after[1:])
    at = shapes(law, MADE.stops)[[0, -1]] if law.shape else np.zeros(1)
    by_interval = totals(law, design(MADE.stops, groups), at, CONSTANTS)
    by_stop = np.array([groups @ law.columns(MADE.stops, v, CONSTANTS) for v in at])
    assert np.allclose(by_interval, by_stop, rtol=1e-9)


@pytest.mark.parametrize("law", ["energy", "distance", "power", "two_regime"])
def test_laws_agree_with_the_maker(law):
    parameters = {"a": 7.0, "k": 1e-4, "b": 0.4, "a_cold": 5.0, "a_hot": 9.0, "transition": 350.0}
    mine = np.array([parameters[name] for name, _ in LAWS[law].parameters])
    assert stop_wear(LAWS[law], MADE.stops, mine, CONSTANTS) == pytest.approx(
        true_loss(law, parameters, MADE), rel=1e-9
    )


def test_groups_count_as_after_stop_does():
    groups = interval_groups([1, 2, 3, 4, 5], [0, 3], [3, 5])
    assert groups.tolist() == [[1, 1, 1, 0, 0], [0, 0, 0, 1, 1]]


def test_sums_weigh_power_and_temperature_by_energy():
    stops = exposure([1.0, 3.0], power_w_mm2=[2.0, 6.0], temperature_c=[100.0, 300.0], force_distance_n_m=[1.0, 2.0])
    total = summed(stops, np.ones((1, 2)))
    assert total.energy_mj[0] == 4 and total.power_w_mm2[0] == 5 and total.temperature_c[0] == 250
    assert total.force_distance_n_m[0] == 3


def test_dwell_can_be_taken_out():
    braking = LAWS["oxidation"].columns(without_dwell(MADE.stops), 150.0, CONSTANTS)[:, 1]
    whole = LAWS["oxidation"].columns(MADE.stops, 150.0, CONSTANTS)[:, 1]
    assert (braking < whole).all() and (braking > 0).all()


def test_transitions_are_looked_for_between_temperatures():
    stops = program(ONE_TEMPERATURE[:1], np.random.default_rng(0)).stops
    grid = shapes(LAWS["two_regime"], stops)
    known = np.sort(stops.temperature_c)
    assert grid.size == known.size - 1 and ((grid > known[:-1]) & (grid < known[1:])).all()
