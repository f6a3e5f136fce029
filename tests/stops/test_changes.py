"""Faults over the row of stops: found where they are, silent on healthy tests."""

import numpy as np
import polars as pl
import pytest

from pipeline.stops.clock import clock_jumps
from pipeline.stops.faults.changes import (
    best_split,
    debonded,
    level_steps,
    swapped_thermocouples,
)
from tests.makers import stops_frame

N = 60
SCHEDULE = pl.DataFrame({"row": range(N), "wanted_bar": [40.0] * N, "wanted_rpm": [1500.0] * N})


def noisy(level, share=0.006, seed=3):
    return level * (1 + share * np.random.default_rng(seed).standard_normal(N))


def test_the_best_split_finds_the_step():
    values = np.r_[np.zeros(25), np.ones(35)] + 0.05 * np.random.default_rng(1).standard_normal(60)
    at, step, u = best_split(values)
    assert at == 25
    assert step == pytest.approx(1.0, abs=0.05)
    assert 0.005 < u < 0.03


def test_a_pressure_that_leaves_the_schedule_is_told_with_where_and_how_much():
    pressure = noisy(40.0)
    pressure[30:] *= 1.12
    (found,) = level_steps(stops_frame(N, pressure_plateau_bar=pressure), SCHEDULE)
    assert (found.code, found.channel, found.stop) == ("level_step", "pressure", None)
    assert found.evidence["from_stop"] == 31
    assert found.evidence["ratio"] == pytest.approx(1.12, rel=0.01)


def test_a_large_step_strikes_its_stops():
    pressure = noisy(40.0)
    pressure[30:] *= 1.4
    found = level_steps(stops_frame(N, pressure_plateau_bar=pressure), SCHEDULE)
    assert [f.stop for f in found[1:]] == list(range(31, N + 1))


@pytest.mark.parametrize("seed", range(20))
def test_healthy_scatter_is_silent(seed):
    stops = stops_frame(N, pressure_plateau_bar=noisy(40.0, 0.01, seed), speed_start_rpm=noisy(1500.0, 0.003, seed))
    assert level_steps(stops, SCHEDULE) == []


def rising(kept, seed=5):
    rng = np.random.default_rng(seed)
    energy = rng.uniform(100, 400, N)
    rise = 0.4 * energy * np.exp(0.05 * rng.standard_normal(N))
    rise[35:] *= kept
    return stops_frame(N, energy_kj=energy, temperature_initial_c=300.0, temperature_peak_c=300.0 + rise)


def test_a_thermocouple_that_no_longer_follows_the_heat_is_found_from_its_stop_on():
    found = debonded(rising(0.4), np.ones(N))
    assert [f.stop for f in found] == list(range(36, N + 1))
    assert found[0].evidence["rise_kept"] == pytest.approx(0.4, abs=0.03)
    assert debonded(rising(0.95), np.ones(N)) == []


def test_exchanged_thermocouples_are_found_where_they_are():
    disc, pad = np.full(N, 80.0), np.full(N, 20.0)
    disc[20:], pad[20:] = 20.0, 80.0
    rises = pl.DataFrame({"recording": range(1, N + 1), "disc_k": disc, "pad_k": pad})
    assert [f.stop for f in swapped_thermocouples(stops_frame(N), rises)] == list(range(21, N + 1))
    healthy = rises.with_columns(disc_k=pl.lit(80.0), pad_k=pl.lit(20.0))
    assert swapped_thermocouples(stops_frame(N), healthy) == []


def test_one_jump_back_is_told_and_a_clock_that_restarts_each_time_is_not():
    first = np.arange(N) * 100.0
    numbers, files = list(range(1, N + 1)), [f"{i}.csv" for i in range(N)]
    stop_of = dict(zip(numbers, numbers, strict=True))
    jumped = np.where(np.arange(N) >= 30, first - 3600, first)
    (found,) = clock_jumps(list(jumped), list(jumped + 5), numbers, files, stop_of)
    assert (found.code, found.stop, found.file) == ("clock_jump", 31, "30.csv")
    assert clock_jumps([0.0] * N, [5.0] * N, numbers, files, stop_of) == []
    assert clock_jumps(list(first), list(first + 5), numbers, files, stop_of) == []


@pytest.mark.parametrize("seed", range(5))
def test_the_steps_of_all_places_at_once_are_those_one_by_one(seed):
    from pipeline.stops.faults.changes import _step_fit, step_squares

    rng = np.random.default_rng(seed)
    columns = np.column_stack(
        [np.ones(60), rng.standard_normal((60, 2)), np.full(60, 3.0)]
    )  # the last says nothing new
    y = columns @ [1.0, 0.3, -0.2, 0.1] + 0.1 * rng.standard_normal(60) - 0.4 * (np.arange(60) >= 35)
    squares = step_squares(y, columns)
    for at in range(1, 60):
        assert squares[at] == pytest.approx(_step_fit(y, columns, at)[0], rel=1e-9)
