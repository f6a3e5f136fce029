"""Which recordings of a running test are whole: no clock but the one that the test turns."""

from pipeline.watching.arrivals import PATIENCE, Arrivals, State, cut_off
from tests.watching.makers import found

A, B = "recordings/1.csv", "recordings/2.csv"


def test_the_last_recording_is_whole_when_it_stands_still():
    seen = Arrivals(5.0)
    assert seen.whole({A: State(10, 1)}, 0.0) == []
    assert seen.whole({A: State(20, 2)}, 4.0) == []  # it grew
    assert seen.whole({A: State(20, 2)}, 8.9) == []
    assert seen.whole({A: State(20, 2)}, 9.0) == [A]


def test_one_is_whole_when_the_next_is_there_though_that_still_grows():
    seen = Arrivals(5.0)
    assert seen.whole({A: State(10, 1)}, 0.0) == []
    now = {A: State(10, 1), B: State(3, 2)}
    assert seen.whole(now, 1.0) == [A]
    assert not seen.quiet(now, 2.0)
    assert seen.whole(now, 6.0) == [A, B]
    assert seen.quiet(now, 6.0)


def test_several_that_are_copied_at_a_time_count_when_they_and_those_in_front_of_them_stand():
    """A network copy with several hands: the third stands before the second does."""
    c = "recordings/3.csv"
    seen = Arrivals(5.0)
    assert seen.whole({A: State(10, 1), B: State(4, 1), c: State(9, 1)}, 0.0) == []
    assert seen.whole({A: State(10, 1), B: State(8, 2), c: State(9, 1)}, 10.0) == [A]
    assert seen.whole({A: State(10, 1), B: State(9, 3), c: State(9, 1)}, 20.0) == [A]
    assert seen.whole({A: State(10, 1), B: State(9, 3), c: State(9, 1)}, 30.0) == [A, B, c]


def test_a_last_one_that_reads_as_cut_off_is_waited_for_until_it_changes_a_later_one_comes_or_patience_ends():
    seen, cut, more = Arrivals(5.0), State(10, 1), State(30, 2)
    seen.whole({A: cut}, 0.0)
    assert seen.whole({A: cut}, 5.0) == [A]
    seen.doubt(A, cut)
    assert seen.whole({A: cut}, 6.0) == []
    assert seen.whole({A: cut, B: State(1, 3)}, 7.0) == [A]
    assert seen.whole({A: more}, 8.0) == []
    assert seen.whole({A: more}, 13.0) == [A]
    again = Arrivals(5.0)
    again.whole({A: cut}, 0.0)
    again.doubt(A, cut)
    assert again.whole({A: cut}, 5.0 * PATIENCE) == [A]


def test_only_what_is_said_of_the_last_recording_makes_it_cut_off():
    assert cut_off(B, [found("recording_cut", file=A)]) is None
    assert cut_off(B, [found("spike", file=B)]) is None
    assert cut_off(B, [found("clipped_end", file=B, message="ends inside")]) == "ends inside"
