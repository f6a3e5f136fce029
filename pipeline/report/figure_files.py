"""The figures of a sheet to take away: each as SVG, the same as in its prints, with what it shows as CSV (`figures/`).

Every figure that a sheet can have has both files, so that it is known beforehand which files a run makes; one that has nothing
to draw for this compound says so, and its table has no rows. figures.json lists them.
"""

from __future__ import annotations

import html
from pathlib import Path

from pipeline.report.document import Picture
from pipeline.report.figure_data import data_of
from pipeline.report.sheet import Sheet
from pipeline.results import whole, write_csv
from pipeline.results.figures import FigureFile, Figures
from pipeline.results.model import write
from pipeline.vocabulary import FIGURE

EMPTY = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="504" height="40" viewBox="0 0 504 40">'
    '<text x="4" y="24" font-family="DejaVu Sans, sans-serif" font-size="11">{}</text></svg>\n'
)
NOT_ASKED = "the sheet of this compound has no such figure"
NOTHING = "nothing to draw"


def empty(words: str) -> str:
    """A picture that only says why it holds none."""
    return EMPTY.format(html.escape(words[:90]))


def print_figures(sheet: Sheet, *paths: Path) -> None:
    """Write figures.json, the first of the paths, and the files of each figure, which are named after it."""
    asked = {part.name: part for section in sheet.sections for part in section.parts if isinstance(part, Picture)}
    index, *files = paths
    listed = []
    for name in dict.fromkeys(path.stem for path in files):
        picture, figure = asked.get(name), sheet.figures.get(name)
        why = None if figure is not None else NOTHING if picture else NOT_ASKED
        data = data_of(figure)
        own = {path.suffix: path for path in files if path.stem == name}
        content = empty(f"{name.replace('_', ' ')}: {why}").encode() if why else sheet.images[name]
        with whole(own[".svg"]) as part:
            part.write_bytes(content)
        write_csv(own[".csv"], data, FIGURE)
        listed.append(
            FigureFile(
                name=name,
                caption=picture.caption if picture else None,
                alt=picture.alt if picture else None,
                picture=f"{own['.svg'].parent.name}/{own['.svg'].name}",
                data=f"{own['.csv'].parent.name}/{own['.csv'].name}",
                rows=len(data),
                why=why,
            )
        )
    write(index, Figures(compound=sheet.loaded.compound, method=sheet.loaded.method, figures=listed))
