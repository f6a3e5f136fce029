"""Looks at a test while it runs: where they stand, what each may spend, and that they see no further than their stop."""

from typing import NamedTuple

import numpy as np
import polars as pl
import pytest

from pipeline.drift.detection import simulated_noise
from pipeline.drift.looks import Look, before, judged, planned_looks, rate_of_a_look, reached
from pipeline.method.drift import Drift
from tests.drift.makers import Truth, long_program, made, other

SETTINGS = Drift()


class Planned(NamedTuple):
    name: str
    purpose: str
    stops: int


def looks_of(*blocks):
    return [(look.after, look.block) for look in planned_looks([Planned(*block) for block in blocks])]


def test_a_look_stands_at_the_end_of_each_block_of_checks_but_the_first():
    blocks = (("bed", "bedding", 20), ("c1", "check", 5), ("use", "duty", 22), ("c2", "check", 5), ("c3", "check", 6))
    assert looks_of(*blocks) == [(52, "c2"), (58, "c3")]


def test_long_use_without_a_check_is_looked_at_within_and_at_its_end():
    assert looks_of(("bed", "bedding", 20), ("use", "duty", 110)) == [
        (45, "use"),
        (70, "use"),
        (95, "use"),
        (130, "use"),
    ]
    assert looks_of(("bed", "bedding", 20), ("c1", "check", 5), ("map", "map", 30), ("hot", "duty", 12)) == [
        (67, "hot")
    ]


def test_use_in_many_short_blocks_is_as_long_as_in_one():
    short = [(f"use {n}", "duty", 20) for n in range(5)]
    assert looks_of(*short, ("use 6", "duty", 10)) == [(25, "use 1"), (50, "use 2"), (75, "use 3"), (110, "use 6")]
    apart = (("c1", "check", 5), ("use 1", "duty", 20), ("map", "map", 30), ("use 2", "duty", 25), ("c2", "check", 5))
    assert looks_of(*apart) == [(60, "use 2"), (85, "c2")]


def test_the_shares_of_all_looks_come_to_the_methods_rate():
    looks = planned_looks([Planned(b.name, b.purpose, b.stops) for b in long_program()])
    assert len(looks) * rate_of_a_look(SETTINGS, len(looks)) == pytest.approx(SETTINGS.false_alarm_rate)


def scheduled(stops):
    return stops.with_columns(schedule_row=pl.col("stop") - 1)


def test_a_look_sees_its_stops_and_no_later_one():
    """A loss that begins right after a look changes nothing of what the look says."""
    healthy = scheduled(made(Truth(), 3).stops)
    look = planned_looks([Planned(b.name, b.purpose, b.stops) for b in long_program()])[3]
    fallen = healthy.with_columns(pl.when(pl.col("stop") > look.after).then(0.5 * pl.col("mu")).otherwise(pl.col("mu")))
    first, second = (judged(stops, look, 9, SETTINGS, None) for stops in (healthy, fallen))
    assert first == second and not first.alarm
    assert first.last == look.after == before(fallen, look)["stop"].max()


def test_a_look_is_reached_by_its_last_stop_or_by_any_after_it():
    looks = [Look(10, "c1", 1), Look(20, "c2", 2)]
    run = pl.DataFrame({"schedule_row": [0, 8, None], "stop": [1, 2, 3]})
    assert reached(run, looks) == []
    assert reached(pl.DataFrame({"schedule_row": [0, 8, 12], "stop": [1, 2, 3]}), looks) == looks[:1]
    assert reached(pl.DataFrame({"schedule_row": pl.Series([], dtype=pl.Int64)}), looks) == []


def test_a_glaze_is_seen_at_a_look_long_before_the_end():
    test = made(other(Truth(), glaze_loss=0.12, glaze_stops=40.0), 11)
    stops, looks = scheduled(test.stops), planned_looks([Planned(b.name, b.purpose, b.stops) for b in long_program()])
    alarms = [one for look in looks if (one := judged(stops, look, len(looks), SETTINGS, None)).alarm]
    assert test.glaze_onset is not None
    assert alarms[0].last >= test.glaze_onset
    assert alarms[0].last <= test.glaze_onset + 80 < stops.height - 60
    assert alarms[-1].found.verdict == "glazing-like"


def test_a_smaller_rate_has_more_healthy_series_and_none_more_than_fit_into_the_memory():
    """The limit of a look rests on twenty of them and not on two."""
    from pipeline.drift.detection import Problem
    from pipeline.drift.noise import Repeatability

    n = 12
    stop = np.arange(n)
    problem = Problem(stop, np.zeros(n), np.ones((n, 1)), np.eye(n), np.eye(n), stop < 6)
    series = [
        simulated_noise(problem, Repeatability(), np.full(n, 0.02), np.zeros(n, int), rate)
        for rate in (0.01, 0.001, 1e-9)
    ]
    assert [len(one) for one in series] == [2000, 20_000, 200_000]
