"""A template and its data set as a PDF by Typst, whose compiler comes with its Python package.

What a user gave reaches the template in one JSON file, as strings, so nothing of it is ever read as markup. The
typefaces are DejaVu Sans as matplotlib ships it (with its licence) and those inside the compiler; none of the
machine's is looked at, and no clock: the same data give the same bytes everywhere. A sign that neither typeface has
would print as an empty box; it is printed as its Unicode number, and the document says so.
"""

import json
from collections.abc import Mapping
from importlib import resources
from typing import Any

import typst

from pipeline.report.typeface import font_folder

STANDARD = "ua-1"  # ISO 14289-1: tagged, titled, with a language and texts for pictures
BREAKABLE = 12  # characters of a word after which it may be broken
BREAK = "\u200b"
BLANK = b'<svg xmlns="http://www.w3.org/2000/svg" width="10" height="10"/>'


def breakable(text: str) -> str:
    """The text with places to break in words longer than a column may be wide."""
    return " ".join(_broken(word) for word in text.split(" "))


def _broken(word: str) -> str:
    if len(word) <= 2 * BREAKABLE:
        return word
    return BREAK.join(word[i : i + BREAKABLE] for i in range(0, len(word), BREAKABLE))


class Setting:
    """A template with its data, to be asked and to be made into a document.

    `template` is a file in templates/, `data` is what it reads as data.json, `files` are pictures by name.
    """

    def __init__(
        self, template: str, data: Mapping[str, Any], files: Mapping[str, bytes], standard: str | None = STANDARD
    ) -> None:
        source = resources.files("pipeline.report") / "templates" / template
        self.sources = {
            "main": source.read_bytes(),
            "data.json": json.dumps(data, ensure_ascii=False, sort_keys=True).encode(),
            **files,
        }
        self.standard = standard
        self.fonts: dict[str, Any] = {"font_paths": [str(font_folder())], "ignore_system_fonts": True}

    def asked(self, label: str) -> Any:
        """The value that the template leaves under a label: of the pages, known once they are set.

        Pictures, whose size the data state, are left blank meanwhile: they take most of the time.
        """
        blank = {name: BLANK if name.endswith(".svg") else content for name, content in self.sources.items()}
        return json.loads(typst.query(blank, label, field="value", one=True, **self.fonts))

    def made(self, form: str = "pdf") -> Any:
        """The document's bytes (`form` "png": those of each page, for looking at it).

        Raises typst.TypstError where the template cannot be set.
        """
        return typst.compile(  # type: ignore[call-overload]  # its types leave out sources by name, which it takes
            self.sources,
            format=form,
            ppi=None if form == "pdf" else 80.0,
            timestamp=0,
            pdf_standards=[self.standard] if self.standard and form == "pdf" else [],
            **self.fonts,
        )
