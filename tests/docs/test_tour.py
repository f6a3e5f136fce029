"""The page written as a notebook prints what its cells print now."""

from __future__ import annotations

import pytest

from tests.conftest import SampleResults
from tests.docs import tour

COMMAND = "python -m tests.docs.tour --write (after a run of the samples)"


def test_the_notebook_prints_what_stands_in_it(sample_results: SampleResults) -> None:
    page = tour.PAGE.read_text(encoding="utf-8")
    in_memory, of_a_run = tour.parts(page)
    assert len(in_memory) > 12 and len(of_a_run) > 4
    notebook = tour.Notebook(sample_results.root)
    before = [*in_memory, *of_a_run]
    now = notebook.run(before)
    assert sum(bool(cell.output) for cell in now) >= len(now) - 1
    found = [
        f"{a.code}{text}" for a, b in zip(before, now, strict=True) for text in tour.differences(a.output, b.output)
    ]
    assert found == [], f"renew the page by {COMMAND}"


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
