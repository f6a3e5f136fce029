"""Start temperatures against the schedule's: every unit both ways, offsets, gains, whole test or part; silence on healthy rigs."""

import numpy as np
import polars as pl
import pytest

from pipeline.stops.faults.start_temperatures import start_temperatures
from tests.makers import stops_frame

N = 60
LEVELS = np.repeat([230.0, 300.0, 120.0, 220.0, 420.0, 540.0, 300.0, 180.0, 80.0, 300.0], 6)
BLOCKS = [f"block {i // 6}" for i in range(N)]
ZERO = {"degC": (1.0, 0.0), "K": (1.0, 273.15), "degF": (1.8, 32.0)}  # value = a x degC + b
PAIRS = [(a, b) for a in ZERO for b in ZERO if a != b]


def slipped(celsius, actual, labelled):
    (a, b), (c, d) = ZERO[actual], ZERO[labelled]
    return (a * celsius + b - d) / c


def found_in(read, levels=LEVELS, unit="degC", blocks=BLOCKS):
    stops = stops_frame(levels.size, temperature_initial_c=read, block=blocks)
    return start_temperatures(stops, pl.DataFrame({"row": range(levels.size), "wanted_c": levels}), unit)


def missed(seed, spread=4.0, levels=LEVELS):
    """Starts of a rig that holds them within its control: a bias of its own and a scatter."""
    rng = np.random.default_rng(seed)
    return levels + rng.uniform(-10, 10) + spread * rng.standard_normal(levels.size)


@pytest.mark.parametrize(("actual", "labelled"), PAIRS)
@pytest.mark.parametrize("part", [slice(None), slice(20, 30), slice(40, None)], ids=["all", "ten", "later"])
def test_a_wrong_unit_is_named_and_its_stops_are_in_doubt(actual, labelled, part):
    read = missed(3)
    read[part] = slipped(read[part], actual, labelled)
    found = found_in(read, unit=labelled)
    assert f"{actual} labelled {labelled}" in found[0].message and found[0].stop is None
    assert len([f for f in found if f.stop is None]) == 1
    struck, there = {f.stop for f in found[1:]}, set((np.arange(N) + 1)[part].tolist())
    # K and degF cross at 301 degC: a start wanted there reads the same in both, and is in doubt with its neighbours.
    same = {i + 1 for i in range(N) if LEVELS[i] == 300.0} if {actual, labelled} == {"K", "degF"} else set()
    assert there <= struck <= there | same


@pytest.mark.parametrize(
    ("change", "first", "cause", "size"),
    [
        (lambda w: w + 30, 0, "an offset of +30 K", 30),
        (lambda w: w + 30, 30, "an offset of +30 K", 30),
        (lambda w: w - 45, 20, "an offset of -45 K", -45),
        (lambda w: 0.9 * w, 0, "a gain of 0.90", -27),
        (lambda w: 1.2 * w, 24, "a gain of 1.20", 60),
    ],
)
def test_an_offset_and_a_gain_are_found_with_their_size(change, first, cause, size):
    read = LEVELS + 2 * np.random.default_rng(5).standard_normal(N)
    read[first:] = change(read[first:])
    whole, *stops = found_in(read)
    assert cause in whole.message and whole.evidence["departure_k"] == pytest.approx(size, abs=12)
    assert all("did not hold" in one.message for one in stops)
    assert {f.stop for f in stops} == set(range(first + 1, N + 1))


@pytest.mark.parametrize("seed", range(40))
def test_a_rig_that_misses_its_starts_by_ten_kelvin_is_silent(seed):
    assert found_in(missed(seed, spread=6.0)) == []


def test_blocks_that_begin_cold_or_warm_from_stop_to_stop_are_silent():
    read = missed(1)
    read[:6] = [25, 60, 110, 150, 190, 221]
    read[36:42] = 300 + np.array([0, 45, 95, 150, 210, 280])
    assert found_in(read) == []


def test_a_block_run_at_another_start_is_told_of_the_test_only():
    read = missed(1)
    read[24:30] += 60.0
    (found,) = found_in(read)
    assert found.stop is None and "did not hold" in found.message


def test_stops_without_a_wanted_start_between_others_are_in_doubt_too():
    wanted = LEVELS.copy()
    wanted[22:28] = np.nan
    read = missed(2)
    read[20:32] = slipped(read[20:32], "degF", "degC")
    assert {f.stop for f in found_in(read, wanted)[1:]} == set(range(21, 33))


@pytest.mark.parametrize("offset", [-17.0, 17.0])
def test_a_bias_below_twenty_kelvin_is_silent(offset):
    assert found_in(LEVELS + offset + 2 * np.random.default_rng(8).standard_normal(N)) == []


def test_one_level_throughout_can_tell_a_unit_but_not_an_offset_from_a_gain():
    wanted = np.full(N, 250.0)
    assert "degF labelled degC" in found_in(slipped(wanted, "degF", "degC"), wanted)[0].message
    text = found_in(wanted + 40, wanted)[0].message
    assert "an offset of +40 K" in text and "a gain of 1.16" in text


SHORT = np.array([230.0, 230, 300, 300, 300, 420, 420, 300, 300])


@pytest.mark.parametrize(("actual", "labelled"), PAIRS)
def test_a_short_test_that_starts_mostly_where_two_units_agree_tells_by_its_other_stops(actual, labelled):
    """K and degF cross at 301 degC; four of nine stops say which it is."""
    for seed in range(20):
        read = missed(seed, 1.5, SHORT)
        found = found_in(slipped(read, actual, labelled), SHORT, labelled, [f"block {int(w)}" for w in SHORT])
        assert found and f"{actual} labelled {labelled}" in found[0].message, seed


@pytest.mark.parametrize(
    "seeds", [range(40), pytest.param(range(40, 150), marks=pytest.mark.heavy)], ids=["few", "rest"]
)
def test_a_short_healthy_test_is_silent(seeds):
    for seed in seeds:
        for unit in ZERO:
            assert found_in(missed(seed, levels=SHORT), SHORT, unit, [f"block {int(w)}" for w in SHORT]) == []
