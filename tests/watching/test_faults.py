"""Faults that last, among findings of single stops."""

import polars as pl

from pipeline.watching.faults import IN_A_ROW, WHOLE_FROM, lasting_faults
from tests.watching.makers import found

STOPS = pl.DataFrame({"stop": range(1, 31), "file": [f"recordings/{n}.csv" for n in range(1, 31)]})


def at(code, *stops):
    return [found(code, stop=stop) for stop in stops]


def test_single_stops_in_doubt_are_no_fault_and_three_in_a_row_are():
    assert lasting_faults(STOPS, at("dropout", 3, 5, 9, 10, 20)) == []
    (fault,) = lasting_faults(STOPS, at("dropout", 3, 9, 10, 11, 12, 20))
    assert (fault.code, fault.first, fault.last, fault.stops) == ("dropout", 9, 12, 4)
    assert fault.stops >= IN_A_ROW


def test_neighbours_with_different_findings_are_no_fault():
    assert lasting_faults(STOPS, [*at("dropout", 4), *at("time_gap", 5), *at("spike", 6)]) == []


def test_what_is_only_told_is_no_fault():
    told = [found("averages_differ", stop=stop, severity="info") for stop in range(1, 20)]
    assert lasting_faults(STOPS, told) == []


def test_what_holds_for_the_whole_test_is_a_fault_at_once():
    (fault,) = lasting_faults(STOPS, [found("unit_slip", message="torque in lbf ft")])
    assert (fault.first, fault.message) == (None, "torque in lbf ft")


def test_a_median_over_the_test_counts_when_it_is_one_over_enough_stops():
    off = [found("energy_balance", message="work is 0.978 of the energy")]
    assert lasting_faults(STOPS.head(WHOLE_FROM - 1), off) == []
    (fault,) = lasting_faults(STOPS.head(WHOLE_FROM), off)
    assert (fault.code, fault.first) == ("energy_balance", None)
    assert lasting_faults(STOPS.head(2), [found("unit_slip")]) != []


def test_one_that_is_off_by_much_is_told_by_its_stops_before():
    gross = [found("energy_balance"), *at("energy_balance", 1, 2, 3)]
    (fault,) = lasting_faults(STOPS.head(3), gross)
    assert (fault.first, fault.last) == (1, 3)


def test_what_a_person_said_and_wear_are_no_fault_of_the_rig():
    assert (
        lasting_faults(STOPS, [found("card_unusual"), found("wear_negative"), *at("excluded_by_hand", 1, 2, 3)]) == []
    )


def test_recordings_that_cannot_be_read_count_for_their_stops():
    unread = [found("recording_unreadable", file=f"recordings/{n}.csv", severity="rejected") for n in (7, 8, 9)]
    (fault,) = lasting_faults(STOPS, unread)
    assert (fault.first, fault.last) == (7, 9)
    assert lasting_faults(STOPS, unread[:2]) == []
