"""Alignment of measured stops to the schedule, against programmes whose history is known."""

import sys

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.stops.alignment import SCHEDULE_SCHEMA, aligned

RPM = np.pi / 30
BAR = 1e5

# block, purpose, kind, stops, rpm from, rpm to, bar, degC
PROGRAMME = [
    ("bed-in", "bedding", "snub", 20, 1500, 500, 40, 250),
    ("check 1", "check", "snub", 6, 1500, 500, 40, 300),
    *[(f"map {t} {p}", "map", "snub", 3, 1800, 600, p, t) for t in (100, 250, 400) for p in (20, 40, 60)],
    ("check 2", "check", "snub", 6, 1500, 500, 40, 300),
    ("to rest", "map", "stop", 5, 1200, 0, 30, 200),
    ("long drag", "drag", "drag", 4, 800, 800, 15, 150),
    ("check 3", "check", "snub", 6, 1500, 500, 40, 300),
]


def wanted(programme=PROGRAMME) -> pl.DataFrame:
    rows = []
    for name, purpose, kind, stops, start, end, bar, celsius in programme:
        for _ in range(stops):
            rows.append(
                (len(rows), name, purpose, kind, "pressure", start * RPM, end * RPM, bar * BAR, None,
                 celsius + 273.15, 10.0 if kind == "drag" else None)
            )  # fmt: skip
    return pl.DataFrame(rows, schema=SCHEDULE_SCHEMA, orient="row")


def run(schedule: pl.DataFrame, seed: int = 1) -> pl.DataFrame:
    """The programme as a rig runs it: levels missed by a little, temperatures by more; `truth` is the row
    of the schedule."""
    rng = np.random.default_rng(seed)
    n = schedule.height
    return schedule.select(
        pl.col("schedule_row").alias("truth"),
        "kind",
        pl.col("speed_start") * (1 + 0.004 * rng.standard_normal(n)),
        pl.col("speed_end") * (1 + 0.01 * rng.standard_normal(n)) + 0.5,
        pl.col("pressure") * (1 + 0.02 * rng.standard_normal(n)),
        pl.Series("torque", 900 * (1 + 0.1 * rng.standard_normal(n))),
        pl.col("temperature_initial") + 6 * rng.standard_normal(n),
        pl.col("duration").fill_null(3.0) * (1 + 0.02 * rng.standard_normal(n)),
    )


def inserted(stops: pl.DataFrame, at: int, row: pl.DataFrame) -> pl.DataFrame:
    return pl.concat([stops[:at], row, stops[at:]])


def broken_off(row: pl.DataFrame) -> pl.DataFrame:
    """The stop released after a third of its braking."""
    return row.with_columns(
        speed_end=pl.col("speed_start") - (pl.col("speed_start") - pl.col("speed_end")) / 3,
        duration=pl.col("duration") / 3,
        truth=-1 - pl.col("truth"),
    )


def right_blocks(stops: pl.DataFrame, result: pl.DataFrame, schedule: pl.DataFrame) -> bool:
    """Every stop that has a true row carries that row's block."""
    block = schedule["block"].to_list()
    found = result["block"].to_list()
    return all(found[i] == block[t] for i, t in enumerate(stops["truth"].to_list()) if t >= 0)


def test_a_run_as_planned_is_the_schedule_itself():
    schedule = wanted()
    result = aligned(run(schedule), schedule)
    assert result.stops["schedule_row"].to_list() == list(range(schedule.height))
    assert set(result.stops["state"]) == {"matched"}
    assert result.missing.height == 0
    assert result.stops["run_number"].to_list() == list(range(1, schedule.height + 1))


def test_an_aborted_stop_with_its_repeat_an_extra_and_a_missing_stop_shift_nothing():
    schedule = wanted()
    stops = run(schedule)
    stops = inserted(stops, 29, broken_off(stops[29]))  # first attempt of a map stop
    stops = inserted(stops, 24, stops[50].with_columns(truth=pl.lit(-999, pl.Int64)))  # a foreign stop among the checks
    stops = stops.filter(pl.col("truth") != 44)  # one of the three of a map point
    result = aligned(stops, schedule)
    assert right_blocks(stops, result.stops, schedule)
    states = dict(zip(stops["truth"], result.stops["state"], strict=True))
    assert states.pop(-30) == "aborted"
    assert states.pop(-999) == "extra"
    assert set(states.values()) == {"matched"}
    attempt = result.stops.filter(pl.col("state") == "aborted")
    assert attempt["block"].item() == schedule["block"][29]
    assert attempt["schedule_row"].item() is None
    assert result.missing["block"].to_list() == [schedule["block"][44]]
    assert result.missing["counted"].to_list() == [True]
    # 68 rows, one lost: the stops after it are numbered as the rig counted them.
    assert result.stops["run_number"][-1] == stops.height + 1


@pytest.mark.parametrize("seed", range(12))
def test_several_faults_of_the_programme_at_random_places(seed):
    rng = np.random.default_rng(seed)
    schedule = wanted()
    stops = run(schedule, seed)
    gone = rng.choice(np.arange(30, schedule.height), 2, replace=False)
    stops = stops.filter(~pl.col("truth").is_in(gone.tolist()))
    at = int(rng.integers(1, 24))  # not in a block that also lacks a stop, where it may stand for that one
    stops = inserted(stops, at, broken_off(stops[at]))
    at = int(rng.integers(1, stops.height - 1))
    stops = inserted(
        stops,
        at,
        stops[at].with_columns(truth=pl.lit(-999, pl.Int64), speed_start=pl.col("speed_start") * 1.4),
    )
    result = aligned(stops, schedule)
    assert right_blocks(stops, result.stops, schedule)
    assert result.missing.height == 2


@pytest.mark.parametrize(
    ("channel", "factor"),
    [
        ("pressure", 14.5038),
        ("pressure", 0.1),
        ("pressure", 100.0),
        ("speed", 9.5493),
        ("speed", 0.10472),
        ("torque", 1.35582),
    ],
)
def test_a_channel_in_another_unit_does_not_move_the_blocks(channel, factor):
    schedule = wanted()
    stops = run(schedule, 3)
    stops = inserted(stops, 29, broken_off(stops[29])).filter(pl.col("truth") != 44)
    columns = ["speed_start", "speed_end"] if channel == "speed" else [channel]
    result = aligned(stops.with_columns(pl.col(columns) * factor), schedule)
    assert right_blocks(stops, result.stops, schedule)
    if channel != "torque":  # the schedule says nothing of the torque here
        assert result.scales[channel] == pytest.approx(factor, rel=0.03)


def test_fahrenheit_read_as_celsius_does_not_move_the_blocks():
    schedule = wanted()
    stops = run(schedule, 4).filter(pl.col("truth") != 30)
    slipped = stops.with_columns(temperature_initial=(pl.col("temperature_initial") - 273.15) * 1.8 + 32 + 273.15)
    result = aligned(slipped, schedule)
    assert result.scales["temperature"] == pytest.approx(1.8)
    assert right_blocks(stops, result.stops, schedule)


@pytest.mark.parametrize(("channel", "value"), [("temperature_initial", 293.15), ("pressure", 0.0), ("pressure", None)])
def test_a_dead_sensor_does_not_move_the_blocks(channel, value):
    schedule = wanted()
    stops = run(schedule, 5).filter(pl.col("truth") != 21)
    result = aligned(stops.with_columns(pl.lit(value, pl.Float64).alias(channel)), schedule)
    assert right_blocks(stops, result.stops, schedule)


def test_a_block_cut_short_is_not_counted_as_run():
    schedule = wanted()
    stops = run(schedule).filter(~pl.col("truth").is_between(14, 19))
    result = aligned(stops, schedule)
    assert right_blocks(stops, result.stops, schedule)
    assert result.missing["schedule_row"].to_list() == [14, 15, 16, 17, 18, 19]
    assert result.missing["counted"].to_list() == [False] * 6
    assert result.stops["run_number"].to_list() == list(range(1, stops.height + 1))


@pytest.mark.parametrize("run_so_far", [5, 22, 26, 40, 56, 63])
def test_a_program_that_still_runs_keeps_its_blocks(run_so_far):
    """Its first check is like its last one: a long wait before it must not make it that, with all between them missing."""
    schedule = wanted()
    begins = schedule["block"] != schedule["block"].shift(1, fill_value="")
    waits = run(schedule).with_columns(idle_before=pl.when(begins).then(400.0).otherwise(40.0))
    found = aligned(waits[:run_so_far], schedule)
    assert found.stops["schedule_row"].to_list() == list(range(run_so_far))
    assert set(found.missing["after"]) == {run_so_far}
    assert not found.missing["counted"].any()
    assert found.stops["run_number"].to_list() == list(range(1, run_so_far + 1))


def test_the_numbering_of_the_files_says_where_recordings_are_lost():
    schedule = wanted()
    stops = run(schedule).with_columns(number=pl.col("truth") + 1).filter(~pl.col("truth").is_in([4, 5, 6]))
    result = aligned(stops, schedule)
    assert result.missing["counted"].to_list() == [True, True, True]
    assert result.missing["schedule_row"].to_list() == [4, 5, 6]
    assert result.stops["run_number"].to_list() == (stops["truth"] + 1).to_list()


def test_a_long_wait_says_which_of_like_stops_is_lost():
    schedule = wanted()
    idle = pl.Series("idle_before", [40.0] * schedule.height)
    stops = run(schedule).with_columns(idle).filter(pl.col("truth") != 7)
    stops = stops.with_columns(idle_before=pl.when(pl.col("truth") == 8).then(85.0).otherwise("idle_before"))
    result = aligned(stops, schedule)
    assert result.missing["after"].to_list() == [7]
    assert result.missing["run_number"].to_list() == [8]


def test_one_lost_among_the_last_checks_lies_at_the_long_wait():
    schedule = wanted()
    lost = schedule.height - 4
    idle = pl.Series("idle_before", [40.0] * schedule.height)
    stops = run(schedule).with_columns(idle).filter(pl.col("truth") != lost)
    stops = stops.with_columns(idle_before=pl.when(pl.col("truth") == lost + 1).then(85.0).otherwise("idle_before"))
    result = aligned(stops, schedule)
    assert result.missing["schedule_row"].to_list() == [lost]
    assert result.missing["counted"].to_list() == [True]


def test_unreadable_recordings_fill_their_places():
    schedule = wanted()
    stops = run(schedule)
    unread = pl.col("truth").is_in([9, 33, 34])
    blank = stops.with_columns(pl.when(~unread).then(pl.col(c)).alias(c) for c in stops.columns if c != "truth")
    result = aligned(blank, schedule)
    assert result.stops["schedule_row"].to_list() == list(range(schedule.height))


def test_a_stop_off_its_conditions_keeps_its_place():
    schedule = wanted()
    stops = run(schedule).with_columns(
        pressure=pl.when(pl.col("truth") == 35).then(pl.col("pressure") * 2).otherwise("pressure")
    )
    result = aligned(stops, schedule)
    assert result.stops["schedule_row"].to_list() == list(range(schedule.height))
    assert result.missing.height == 0


def test_an_aborted_stop_without_a_repeat_stands_for_its_row():
    schedule = wanted()
    stops = run(schedule)
    stops = pl.concat([stops[:30], broken_off(stops[30]), stops[31:]])
    result = aligned(stops, schedule)
    assert result.stops["schedule_row"].to_list() == list(range(schedule.height))
    assert result.stops["state"][30] == "aborted"
    assert result.missing.height == 0


def test_nothing_measured_leaves_the_whole_schedule_missing():
    schedule = wanted()
    result = aligned(run(schedule)[:0], schedule)
    assert result.stops.height == 0


@settings(deadline=None, max_examples=25)
@given(st.integers(0, 10_000), st.integers(0, 6), st.integers(0, 6))
def test_every_stop_has_one_row_and_order_is_kept(seed, extra, gone):
    rng = np.random.default_rng(seed)
    schedule = wanted()
    stops = run(schedule, seed).sample(schedule.height - gone, seed=seed).sort("truth")
    for _ in range(extra):
        at = int(rng.integers(0, stops.height))
        stops = inserted(stops, at, stops[int(rng.integers(0, stops.height))])
    result = aligned(stops, schedule)
    rows = result.stops["schedule_row"].drop_nulls().to_list()
    assert result.stops.height == stops.height
    assert rows == sorted(set(rows))
    assert sorted([*rows, *result.missing["schedule_row"].to_list()]) == list(range(schedule.height))
    assert result.stops["run_number"].is_sorted()


def calls(work):
    """How many calls a piece of work makes: a busy machine takes longer for them, and makes no more."""
    count = 0

    def one_more(_, event, __):
        nonlocal count
        count += event in ("call", "c_call")

    before = sys.getprofile()
    sys.setprofile(one_more)
    try:
        return work(), count
    finally:
        sys.setprofile(before)


def test_the_work_grows_with_the_stops_and_not_with_stops_times_rows():
    made = {}
    for repeats in (5, 10):
        schedule = wanted(PROGRAMME * repeats)
        stops = run(schedule).filter(pl.col("truth") % 60 != 59)
        result, made[repeats] = calls(lambda stops=stops, schedule=schedule: aligned(stops, schedule))
        assert right_blocks(stops, result.stops, schedule)
        assert made[repeats] < stops.height * schedule.height / 2
    assert made[10] < 2 * made[5]
