"""How the page written as a notebook is held against what its cells print (tests/notebook/test_of_a_run.py does)."""

from __future__ import annotations

import pytest

from tests.docs import tour


@pytest.mark.parametrize(
    ("before", "now", "alike"),
    [
        ("mu 0.451 (0.44 to 0.46)", "mu 0.452 (0.44 to 0.46)", True),  # the last digit, as another machine may round it
        ("mu 0.451", "mu 0.453", False),
        ("143 to 656 °C;", "144 to 656 °C;", True),
        ("143 to 656 °C;", "145 to 656 °C;", False),
        ("156 stops", "156 stop", False),
        ("drift none", "drift fade", False),
        ("│ a ┆ 1 │", "a 1", True),
        ("a b", "a b c", False),
        ("0.451 bar", "0.451 psi", False),
    ],
)
def test_a_figure_that_moved_or_a_word_that_changed_is_told(before: str, now: str, alike: bool) -> None:
    assert (tour.differences(before, now) == []) is alike
