"""Surface temperature between what was recorded: cooling, heating, conduction, time kept."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.heat import lumped
from pipeline.heat.capacity import heated
from pipeline.wear.cooling import fitted_curve, pauses
from pipeline.wear.exposure import residence
from pipeline.wear.surface import Plate, Samples, indicated, modelled

AMBIENT, MASS, G = 295.0, 1.7, 20.0
DISC = lumped.Disc(MASS, "carbon", 0.08)
RADIATION = lumped.STEFAN_BOLTZMANN * 0.08 / MASS
PLATE = Plate(0.0355, 0.028, MASS, 30.0, 1780.0, "carbon")


def rig(n=60, seed=1):
    """Pauses of a rig that cools each disc to the next stop's temperature: initial, heat, following K, idle, duration s."""
    rng = np.random.default_rng(seed)
    initial = rng.uniform(400, 900, n)
    heat = rng.uniform(0.8e5, 2e5, n)
    hot = heated(initial, heat, "carbon")
    following = np.maximum(hot - rng.uniform(40, 200, n), 360.0)
    idle = np.array(
        [
            lumped.cooling_time(a, b, ambient=AMBIENT, conductance=G, disc=DISC)
            for a, b in zip(hot, following, strict=True)
        ]
    )
    return initial, heat, following, idle.astype(float), np.full(n, 1e-6)


def curve_of(initial, heat, following, idle, duration):
    speeds = np.full(len(initial), 3.0), np.ones(len(initial))
    return fitted_curve(
        initial, heat, following, idle, duration, speeds, ambient=AMBIENT, material="carbon", radiation=RADIATION
    )


def test_the_rigs_cooling_is_found():
    curve = curve_of(*rig())
    assert curve.g * MASS == pytest.approx(G, rel=0.01) and curve.spread < 0.01


def test_pauses_that_were_held_or_heated_do_not_move_it():
    initial, heat, following, idle, duration = rig()
    idle[::4] *= 6
    curve = curve_of(initial, heat, following, idle, duration)
    assert curve.g * MASS == pytest.approx(G, rel=0.1)


def test_no_pause_shows_cooling():
    initial, heat, following, _, duration = rig(5)
    assert curve_of(initial, heat, following, np.full(5, np.nan), duration) is None


CURVE = curve_of(*rig())


def test_a_plain_pause_follows_the_rig():
    gap = float(lumped.cooling_time(900.0, 600.0, ambient=AMBIENT, conductance=G, disc=DISC))
    pause = pauses([900.0], [600.0], [gap], CURVE)
    at = pause.time[0, 1:]
    exact = [float(lumped.advance(900.0, time, ambient=AMBIENT, conductance=G, disc=DISC)) for time in at]
    assert np.abs(pause.kelvin[0, 1:] - exact).max() < 3
    assert pause.rising_time[0, -1] == pytest.approx(0.0, abs=1e-6)


def test_a_long_pause_that_ends_hot_was_heated_at_its_end():
    pause = pauses([900.0], [850.0], [18000.0], CURVE)
    assert pause.kelvin[0].min() < AMBIENT + 5
    assert pause.rising_kelvin[0, -1] == pytest.approx(850.0)
    assert pause.time[0, -1] + pause.rising_time[0, -1] == pytest.approx(18000.0)
    hot = residence(pause.time, pause.kelvin)[0][(900 - 240) // 4 - 75 :].sum()
    assert 5 < hot < 120  # seconds above 600 K: the curve's, not hours


@given(st.floats(350, 1300), st.floats(310, 1300), st.floats(0.5, 50000))
@settings(deadline=None, max_examples=60)
def test_every_pause_keeps_its_time_and_its_ends(start, end, gap):
    pause = pauses([start], [end], [gap], CURVE)
    assert pause.time[0, -1] + pause.rising_time[0, -1] == pytest.approx(gap, rel=1e-6)
    assert (np.diff(pause.time[0]) >= -1e-9).all() and np.isfinite(pause.kelvin).all()
    assert pause.kelvin.max() <= max(start, end) + 1 and pause.kelvin.min() >= AMBIENT - 1


def test_unknown_gaps_give_no_time():
    pause = pauses([900.0, 900.0], [600.0, np.nan], [np.nan, 3600.0], CURVE)
    assert pause.time[0, -1] == 0 and pause.time[1, -1] == 3600
    assert pause.kelvin[1, -1] == pytest.approx(AMBIENT, abs=5)


def samples(initial=600.0, power=120e3, duration=3.0, after=0.0, n=60):
    time = np.linspace(0, duration + after, n)[None]
    measured = np.full_like(time, initial) + 20 * np.minimum(time, duration)
    flux = np.where(time <= duration, power * (1.5 - time / duration), 0.0)
    return Samples(time, measured, flux, np.array([duration]), np.array([initial]))


PAUSE = float(
    lumped.cooling_time(heated(600.0, 360e3 / MASS, "carbon"), 600.0, ambient=AMBIENT, conductance=G, disc=DISC)
)


def test_surface_lies_above_the_bulk_while_braking_and_evens_out():
    history = modelled(samples(), np.array([PAUSE]), np.array([600.0]), PLATE, CURVE)
    surface = history.braking[1][0]
    even = heated(600.0, 360e3 / MASS, "carbon")
    assert surface[0] == pytest.approx(600.0)
    assert surface.max() > even + 60  # hotter than if the heat were even
    time, kelvin = history.after[0]
    rising_time, rising = history.heating
    # The face's own losses have cooled it a little further than the curve: the rest of the pause brings it back.
    assert kelvin[0, -1] == pytest.approx(600.0, abs=12) and rising[0, -1] == pytest.approx(600.0)
    assert time[0, -1] + rising_time[0, -1] == pytest.approx(PAUSE)
    assert (np.diff(kelvin[0]) <= 1e-9).all()


def test_time_of_braking_and_pause_is_kept():
    history = modelled(samples(), np.array([60.0]), np.array([600.0]), PLATE, CURVE)
    assert residence(*history.braking).sum() == pytest.approx(3.0)
    after = sum(residence(*part).sum() for part in history.after)
    assert after + residence(*history.heating).sum() == pytest.approx(60.0)


def test_a_record_that_goes_on_is_believed_once_it_has_settled():
    made = samples(after=40.0, n=200)
    made.measured[:, made.time[0] > 20] = 777.0
    history = modelled(made, np.array([60.0]), np.array([500.0]), PLATE, CURVE)
    recorded = residence(*history.after[1])[0]
    assert recorded[np.abs(np.arange(recorded.size) * 4 + 240 - 777) < 5].sum() > 20
    assert sum(residence(*part).sum() for part in history.after) == pytest.approx(60.0, abs=0.5)


def test_indicated_history_is_the_thermocouples():
    made = samples(after=5.0)
    history = indicated(made, np.array([60.0]), np.array([500.0]), CURVE)
    assert np.nanmax(history.braking[1]) == pytest.approx(660.0, abs=2)
    assert sum(residence(*part).sum() for part in history.after) == pytest.approx(60.0, abs=0.2)
