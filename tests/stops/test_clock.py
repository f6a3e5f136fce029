"""Idle time from clocks that run through, restart, or are told by the schedule."""

from pipeline.stops.clock import idle_times, runs_through


def test_a_clock_runs_through_when_each_recording_starts_after_the_one_before():
    assert runs_through([0.0, 60.0, 130.0], [10.0, 70.0, 140.0])
    assert not runs_through([0.0, 0.0, 0.0], [10.0, 11.0, 9.0])
    assert not runs_through([0.0], [10.0])


def test_one_restart_in_a_running_clock_leaves_that_stop_unknown():
    first, last = [0.0, 60.0, 5.0, 70.0, 140.0], [10.0, 70.0, 15.0, 80.0, 150.0]
    assert runs_through(first, last)
    start, end = [1.0, 61.0, 6.0, 71.0, 141.0], [4.0, 64.0, 9.0, 74.0, 144.0]
    assert idle_times(start, end, [1, 2, 3, 4, 5], ["a"] * 5, {}, through=True) == [None, 57.0, None, 62.0, 67.0]


def test_a_restarting_clock_knows_only_the_stated_pauses():
    found = idle_times([1.0] * 4, [4.0] * 4, [1, 2, 3, 4], ["a", "a", "b", "b"], {"b": 50400.0}, through=False)
    assert found == [None, None, 50400.0, None]


def test_stops_of_one_recording_share_a_clock():
    assert idle_times([1.0, 31.0], [4.0, 35.0], [1, 1], ["a", "a"], {}, through=False) == [None, 27.0]


def test_an_unreadable_recording_leaves_the_next_idle_time_open():
    found = idle_times([1.0, None, 121.0], [4.0, None, 124.0], [1, 2, 3], ["a"] * 3, {}, through=True)
    assert found == [None, None, None]
