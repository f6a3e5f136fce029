"""The disc's temperature over a use, against an independent fine integration and by what must hold for any duty."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from pipeline.duty.cycle import Air, events_of, one_cycle, settle, settles_within, warm_up
from pipeline.heat.lumped import Disc
from tests.duty.makers import DISC, duty_cycle

SIGMA = 5.670374419e-8  # CODATA 2018
AIR = Air(6.0, 1.9, 295.15)


def carbon_cp(t):
    """Butland and Maddison 1973 as printed in the NIST WebBook, J/(kg K)."""
    terms = 0.538657 + 9.11129e-6 * t - 90.2725 / t - 43449.3 / t**2 + 1.59309e7 / t**3 - 1.43688e9 / t**4
    return 4184 * terms


def fine(duty, opening, start, cp, mass, radiating, cycles=1):
    """(lowest, highest, end) in K of the last cycle: dT/dt integrated by an adaptive method of order 8."""
    temperature = start
    ambient = duty.ambient
    for _ in range(cycles):
        lows, highs = [temperature], [temperature]
        for e in duty.events:
            energy = duty.brake_share * duty.vehicle_mass * (e.start**2 - e.end**2) / 2
            rate = (e.start - e.end) / e.brake_time
            scale = energy / (duty.vehicle_mass * (e.start**2 - e.end**2) / 2) * duty.vehicle_mass * rate

            def braking(t, y, e=e, rate=rate, scale=scale):
                v = e.start - rate * t
                h = duty.cooling.h0 + opening * duty.cooling.h1 * v**0.8
                loss = h * (y[0] - ambient) + SIGMA * radiating * (y[0] ** 4 - ambient**4)
                return [(scale * v - loss) / (mass * cp(y[0]))]

            def cooling(t, y, e=e):
                h = duty.cooling.h0 + opening * duty.cooling.h1 * e.at**0.8
                loss = h * (y[0] - ambient) + SIGMA * radiating * (y[0] ** 4 - ambient**4)
                return [-loss / (mass * cp(y[0]))]

            for law, seconds in ((braking, e.brake_time), (cooling, e.then)):
                done = solve_ivp(law, (0, seconds), [temperature], method="DOP853", rtol=1e-10, atol=1e-8)
                temperature = float(done.y[0, -1])
                lows.append(done.y[0].min())
                highs.append(done.y[0].max())
    return min(lows), max(highs), temperature


@pytest.mark.parametrize("opening", [0.0, 0.3, 1.0])
def test_one_cycle_against_a_fine_integration(opening):
    duty = duty_cycle()
    history = one_cycle(np.array([420.0]), events_of(duty), DISC, AIR, np.array([opening]))
    low, high, end = fine(duty, opening, 420.0, carbon_cp, 1.7, 0.07)
    assert history.end[0] == pytest.approx(end, abs=0.3)
    assert history.highest()[0] == pytest.approx(high, abs=0.3)
    assert history.lowest()[0] == pytest.approx(low, abs=0.3)


@pytest.mark.parametrize("opening", [0.15, 0.5])
def test_settled_cycle_against_forty_cycles_by_fine_integration(opening):
    duty = duty_cycle()
    settled = settle(events_of(duty), DISC, AIR, np.array([opening]))
    low, high, _ = fine(duty, opening, 295.15, carbon_cp, 1.7, 0.07, cycles=40)
    assert settled.lowest()[0] == pytest.approx(low, abs=0.5)
    assert settled.highest()[0] == pytest.approx(high, abs=0.5)


@pytest.mark.published("pause of a duty at constant heat capacity", source="exponential", origin="closed form")
def test_constant_heat_capacity_without_radiation_is_exponential():
    # m cp dT/dt = -h (T - Ta): closed form over a pause
    disc = Disc(mass=2.0, material=500.0, radiating=0.0)
    duty = duty_cycle()
    history = one_cycle(np.array([500.0]), events_of(duty), disc, AIR, np.array([0.4]))
    start, path = history.cooling[0, 0, 0], history.cooling[0, :, 0]
    h = 6.0 + 0.4 * 1.9 * (170 / 3.6) ** 0.8
    expected = 295.15 + (start - 295.15) * np.exp(-h * np.linspace(0, 24, len(path)) / (2.0 * 500.0))
    assert path == pytest.approx(expected, abs=1e-3)


def test_energy_of_an_event():
    events = events_of(duty_cycle())
    assert events.energy[0] == pytest.approx(0.29 * 1180 * ((214 / 3.6) ** 2 - (96 / 3.6) ** 2) / 2)
    assert events.seconds == pytest.approx(2.6 + 24 + 2.2 + 30 + 1.8 + 21)


def test_adiabatic_rise_is_the_enthalpy_of_the_energy():
    from pipeline.heat.capacity import enthalpy

    still = Disc(mass=1.7, material="carbon", radiating=0.0)
    history = one_cycle(np.array([400.0]), events_of(duty_cycle()), still, Air(0.0, 0.0, 295.15), np.array([0.0]), 0.9)
    heat = 1.7 * (enthalpy(history.end, "carbon") - enthalpy(np.array([400.0]), "carbon"))
    assert heat[0] == pytest.approx(0.9 * events_of(duty_cycle()).energy.sum(), rel=1e-6)


def test_a_disc_that_cannot_cool_is_refused():
    with pytest.raises(ArithmeticError, match="does not settle"):
        settle(events_of(duty_cycle()), Disc(1.7, "carbon", 0.0), Air(0.0, 0.0, 295.15), np.array([0.0]))


def test_warming_ends_at_the_settled_cycle():
    events = events_of(duty_cycle())
    settled = settle(events, DISC, AIR, np.array([0.5]))
    warming = warm_up(events, DISC, AIR, 0.5, count=60, settled=float(settled.start[0]))
    starts = [h.start[0] for h in warming]
    assert starts[0] == pytest.approx(295.15)
    assert starts == sorted(starts)
    assert warming[-1].end[0] == pytest.approx(settled.start[0], abs=1.0)
    assert settles_within(warming, float(settled.start[0]), len(warming))
    assert not settles_within(warming[:2], float(settled.start[0]), 2)
    assert settles_within(warming[:3], float(settled.start[0]), 200)


def test_a_long_thin_cycle_settles_too():
    # a cycle of seconds on a disc that takes minutes: the start changes by a hundredth of what is left
    event = {"from": "60 km/h", "to": "50 km/h", "brake_time": "0.5 s", "then": "1.5 s", "at": "55 km/h"}
    duty = duty_cycle(events=[event], brake_share=0.05)
    settled = settle(events_of(duty), DISC, AIR, np.array([0.0, 1.0]))
    assert settled.end == pytest.approx(settled.start, abs=0.03)
    _, high, _ = fine(duty, 1.0, float(settled.start[1]), carbon_cp, 1.7, 0.07, cycles=3)
    assert settled.highest()[1] == pytest.approx(high, abs=0.3)


few = settings(deadline=None, max_examples=15)


@few
@given(st.floats(0.0, 1.0), st.floats(0.02, 0.4), st.floats(0.5, 20.0), st.floats(0.3, 3.0))
def test_settled_cycles_balance_and_order(opening, share, h0, h1):
    events = events_of(duty_cycle(brake_share=share))
    air = Air(h0, h1, 295.15)
    openings = np.array([opening, min(1.0, opening + 0.2)])
    settled = settle(events, DISC, air, openings)
    assert settled.end == pytest.approx(settled.start, abs=0.03)
    assert (settled.lowest() >= 295.15 - 1e-6).all()
    assert (settled.highest() >= settled.lowest()).all()
    assert settled.highest()[1] <= settled.highest()[0] + 0.05  # more air never makes the disc hotter


@few
@given(st.floats(300.0, 900.0), st.floats(1.0, 60.0))
def test_a_hotter_start_ends_hotter_and_closer(start, step):
    events = events_of(duty_cycle())
    ends = one_cycle(np.array([start, start + step]), events, DISC, AIR, np.array([0.5, 0.5])).end
    assert 0 < ends[1] - ends[0] < step
