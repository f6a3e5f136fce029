"""Pages that quote figures of the samples quote the golden ones."""

import re

import pytest

from tests.docs import with_figures
from tests.docs.with_figures import COMMAND, DOCS, PLACE, TEXTS, pages


@pytest.mark.parametrize("name", pages())
def test_the_pages_are_in_step_with_the_golden_figures(name):
    assert (DOCS / name).read_text(encoding="utf-8") == pages()[name], f"run `{COMMAND}`"


def test_no_figure_of_the_samples_is_typed_by_hand():
    """Outside places and commands these pages hold no decimal number but the units' and the example card's."""
    typed = {}
    for path in TEXTS.rglob("*.md"):
        prose = re.sub(r"^ {4}.*$|`[^`]*`", "", PLACE.sub("", path.read_text(encoding="utf-8")), flags=re.M)
        typed[path.stem] = set(re.findall(r"\d+\.\d+", prose))
    assert typed == {name: {"3.11"} if name == "tutorial" else set() for name in typed}


def test_how_a_figure_is_printed():
    printed = with_figures._printed
    assert printed("0.45163 0.31919 0.63902", "interval .2f") == "0.45 (0.32 to 0.64)"
    assert (printed("0.16671", "%"), printed("637.84", ".0f")) == ("17 %", "638")


def test_a_figure_that_is_not_there_is_named():
    with pytest.raises(LookupError, match=r"page\.md: no golden figure.*life of a cat"):
        with_figures._filled("duty | marram-4 | life of a cat", "page.md")
