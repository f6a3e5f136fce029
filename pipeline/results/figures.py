"""figures.json: the figures of a compound's sheet as files, each with the table of what it shows."""

from __future__ import annotations

from pipeline.results.model import OfCompound, Result, given


class FigureFile(Result):
    """A figure as a file of its own, and its data."""

    name: str = given("its name")
    caption: str | None = given("caption as printed", default=None)
    alt: str | None = given("what it shows, in words", default=None)
    picture: str = given("its file (SVG), the same picture as in the prints")
    data: str = given("the table of what it shows (CSV)")
    rows: int = given("rows of that table")
    why: str | None = given("why nothing is drawn; null where something is", default=None)


class Figures(OfCompound):
    """figures.json of a compound."""

    figures: list[FigureFile] = given("every figure that a sheet can have", default_factory=list)
