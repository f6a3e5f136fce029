"""Where a duty's cooling comes from and how well it is known: measured cooling as well as it was measured."""

from dataclasses import replace

import numpy as np
import pytest

from pipeline.duty.air import of_file, of_log
from pipeline.duty.log_cooling import cooling
from pipeline.duty.rig_cooling import Pauses, fit
from pipeline.heat.lumped import Disc
from pipeline.method.duty import Duty
from pipeline.results.model import renewed
from tests.duty.makers import brake, duty_cycle
from tests.duty.test_log import CP, MASS, with_temperature
from tests.heat.test_of_card import card

OWN = {"cooling": {"opening": 0.5}}
STATED = {"cooling": {"h0": "6 W/K", "h1": 1.9, "opening": 0.5}}


def rig_of_pauses(scatter: float):
    """A rig's cooling by 12 cool-downs that scatter."""
    start, seconds = np.linspace(600.0, 700.0, 12), np.full(12, 60.0)
    g = 20.0 * np.exp(scatter * np.random.default_rng(2).standard_normal(12))
    ambient = np.full(12, 295.15)
    end = ambient + (start - ambient) * np.exp(-g * seconds / (1.7 * 900.0))
    return fit(Pauses(start, end, seconds, ambient), Disc(1.7, 900.0, 0.0), stated=True, recorded=True)


@pytest.mark.parametrize("accuracy", ["2 %", "40 %"])
def test_what_a_card_says_of_cooling_is_of_stated_figures_alone(tmp_path, accuracy):
    """The rig's pauses keep their own uncertainty, which a card neither narrows nor widens."""
    plain, sure = card(tmp_path / "a"), card(tmp_path / "b", sensors=f"    cooling: {{accuracy: {accuracy}}}\n")
    rig = rig_of_pauses(0.05)

    def known(facts, of):
        return of_file(duty_cycle(**facts), rig, Duty(), of, brake(), lambda *_: rig).known

    measured = [known(OWN, one) for one in (plain, sure)]
    assert measured[0] == measured[1] and measured[0].source == "the rig's cool-downs"
    assert measured[0].u == pytest.approx((rig.high - rig.low) / (2 * 1.96 * rig.g), rel=1e-3)
    stated = [known(STATED, one) for one in (plain, sure)]
    assert [one.source for one in stated][1] == "card"
    assert stated[1].u == pytest.approx(float(accuracy.split()[0]) / 100 / 3**0.5)


def test_an_interval_cut_at_zero_is_no_smaller_uncertainty(tmp_path):
    """Next to nothing known: the interval's lower end stops at zero, what is not known of the convection does not."""
    rig = rig_of_pauses(0.02)
    poor = renewed(rig, low=0.0, high=rig.g * (1 + 1.96 * 1.2), g_u=1.2 * rig.g)
    found = of_file(duty_cycle(**OWN), poor, Duty(), card(tmp_path), brake(), lambda *_: poor)
    assert found.known.u == pytest.approx(1.2)


@pytest.mark.parametrize("confidence", [0.68, 0.99])
def test_a_logs_cooling_is_known_as_well_whatever_the_confidence_of_its_interval(tmp_path, confidence):
    cut = with_temperature(tmp_path, 3)
    one, other = (
        cooling(cut.data, cut.brakings.events, Disc(MASS, CP, 0.0), cut.ambient, c) for c in (0.95, confidence)
    )
    assert other.conductance_w_k.high != pytest.approx(one.conductance_w_k.high)
    us = [of_log(cut, found, brake()).known.u for found in (one, other)]
    assert us[0] == pytest.approx(us[1])
    whole = one.conductance_w_k
    scatter = (whole.high - whole.low) / (2 * 1.96 * whole.value)
    assert us[0] == pytest.approx(np.hypot(scatter, one.thermocouple_u), rel=1e-3)


def test_a_logs_cooling_is_known_no_better_than_its_thermocouple(tmp_path):
    """A bias is no scatter: 8 K on every reading move the convection by what is told of it, at most."""
    cut = with_temperature(tmp_path, 3)
    warm = replace(cut.data, disc_temperature=cut.data.disc_temperature + 8.0)
    true, off = (
        cooling(data, cut.brakings.events, Disc(MASS, CP, 0.0), cut.ambient, 0.95, 8.0) for data in (cut.data, warm)
    )
    moved = np.log(true.conductance_w_k.value / off.conductance_w_k.value)
    assert 0.03 < moved <= true.thermocouple_u < 2 * moved
    assert of_log(cut, true, brake()).known.u == pytest.approx(np.hypot(true.conductance_u, true.thermocouple_u))
