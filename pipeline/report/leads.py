"""Where a figure of the sheet leads: to the test, and there to the stop or the part of its page that stands behind it.

A figure read from a test's file leads to the part of the test's page that shows the file; one read from the compound's
files to the list of the tests and stops behind it, on the sheet's own page. A test's name leads to its page.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from markupsafe import Markup, escape

from pipeline.report import numbers
from pipeline.report.document import Cell, Number, Text, Where

#: file of a test's results -> part of the test's page
PARTS = {
    "friction.json": "friction",
    "wear.json": "wear",
    "drift.json": "drift",
    "summary.json": "quality",
    "findings.json": "findings",
    "stops.parquet": "stops",
}
STOP_KEYS = ("/stop", "/onset_stop", "/from_stop", "/to_stop")
BEHIND = "#behind"
MARKED = "answer"  # the value of a text that is printed as a mark, in the text's tone


@dataclass(frozen=True)
class Leads:
    """Addresses from one page: the tests that have a page, and the sections of the page itself by their titles."""

    tests: Collection[str]
    places: dict[str, str]
    to_tests: str = "../../tests/"

    def test(self, name: str, part: str = "") -> str:
        """Address of a test's page, or of a part of it."""
        return f"{self.to_tests}{quote(name)}/test.html" + (f"#{part}" if part else "")

    def of(self, number: Number) -> str | None:
        """Where a number leads; None where nothing stands behind it but a file of the user's."""
        if not number.given:
            return None
        folder, _, rest = number.file.partition("/")
        name, _, file = rest.partition("/")
        if folder == "tests" and name in self.tests:
            if number.key.endswith(STOP_KEYS) and isinstance(number.value, int):
                return self.test(name, f"stop-{number.value}")
            return self.test(name, PARTS.get(file, ""))
        if folder == "archive" and name in self.tests:
            return self.test(name, "provenance")
        return BEHIND if folder in ("tests", "compounds") else None

    def shown(self, cell: Cell, *, bare: bool = False) -> Markup:
        """A cell, or a value in a text, as it stands in the page."""
        if isinstance(cell, Number):
            return self._number(cell, cell.bare if bare else cell.text)
        if isinstance(cell, Where):
            return _link(self.places.get(cell.title), cell.text)
        if isinstance(cell, Text):
            return self.text(cell)
        return _link(self.test(cell), cell) if cell in self.tests else escape(cell)

    def _number(self, number: Number, text: str) -> Markup:
        source = f"{number.file} {number.key}"
        address = self.of(number)
        if address is None:
            return Markup('<span title="{}">{}</span>').format(source, text)
        return Markup('<a class="lead" href="{}" title="{}">{}</a>').format(address, source, text)

    def text(self, text: Text) -> Markup:
        """A text with its numbers and tests as links and its answer as a mark."""
        values: dict[str, Any] = {}
        for name, value in text.values.items():
            shown = self.shown(numbers.worded(value) if isinstance(value, str) and value not in self.tests else value)
            marked = name == MARKED and text.tone != "plain"
            values[name] = Markup('<span class="mark {}">{}</span>').format(text.tone, shown) if marked else shown
        said = Markup(escape(text.template)).format(**values)
        plain = text.text
        if said[:1].isalpha() and plain[:1] != said[:1]:
            said = Markup(plain[:1]) + said[1:]
        return said


def _link(address: str | None, text: str) -> Markup:
    return escape(text) if address is None else Markup('<a href="{}">{}</a>').format(address, text)
