"""sheet.html: the compound's page. The sheet's own document, its answers and batches on the first screen, the rest folded.

Each figure leads to the tests and stops behind it (`report/leads.py`); a click on a point opens its stop on its test's page.
The script adds that and the interactive plots; without it the page is whole, with still pictures.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import quote

from markupsafe import Markup

from pipeline.report import compound_figures, inputs, render, still
from pipeline.report.document import Cell, Items, Listing, Number, Section, Table, Text, Where
from pipeline.report.leads import Leads
from pipeline.report.sections import front, issue, side_by_side

SHORT = 20  # an id of so many characters is not broken at its hyphens
SCRIPTS = ("figures", "compound", "folds")


def html(
    title: str,
    under: str,
    loaded: inputs.Inputs,
    sections: Sequence[Section],
    images: Mapping[str, bytes],
    plotly: str | None = None,
) -> str:
    """The page. `images`: the sheet's figures as SVG; `plotly`: address of the plotting library, None for a page without
    interactive plots.
    """
    places = {section.title: f"#part-{number}" for number, section in enumerate(sections, 1)}
    writer = _Writer(Leads({test.test for test in loaded.tests}, places), images)
    figures = compound_figures.figures(loaded)
    beside = next((p for s in sections for p in s.parts if isinstance(p, Table) and p.head == side_by_side.HEAD), None)
    shown = [
        {"title": section.title, "parts": [writer.part(part) for part in section.parts if part is not beside]}
        for section in sections
    ]
    return render.page(
        "sheet.html",
        plotly=plotly,
        title=title,
        subtitle=under,
        first=_first(shown[0]),
        sections=shown[1:],
        beside=writer.part(beside) if beside else None,
        behind=_behind(loaded, writer.leads),
        figures=figures,
        stills={name: still.picture(figure) for name, figure in figures.items()},
        figures_json=render.figures_json(figures),
        script=render.scripts(*SCRIPTS) if plotly else None,
        software=loaded.software,
        method=loaded.method,
        digest=loaded.digest,
        stated=issue.title_block(loaded),
        comparisons=[
            (name.replace("--", " and "), quote(f"../../comparisons/{name}/comparison.html"))
            for name in loaded.compared
        ],
    )


def _first(section: Mapping[str, Any]) -> dict[str, Any]:
    """The first section by what stands where: its tables, its picture, what limits the sheet, and what the sheet is of."""
    parts = section["parts"]
    return {
        "title": section["title"],
        "tables": [part for part in parts if part["kind"] == "table"],
        "picture": next((part for part in parts if part["kind"] == "picture"), None),
        "texts": [part for part in parts if part["kind"] in ("text", "listing")],
        "named": [part for part in parts if part["kind"] == "items"],
    }


def _behind(loaded: inputs.Inputs, leads: Leads) -> list[dict[str, Any]]:
    """One row a test: its batch, and where each kind of figure has its stops."""
    rows = []
    for test in loaded.tests:
        onset = test.drift.result.onset_stop
        ways = [
            ("stops in the map", "select:use=in the map"),
            ("checks", "select:purpose=check"),
            ("drift" if onset is None else f"drift, from stop {onset}", "drift" if onset is None else f"stop-{onset}"),
            ("wear readings", "wear"),
            ("energy balance", "quality"),
            ("findings", "findings"),
        ]
        rows.append(
            {
                "test": test.test,
                "address": leads.test(test.test),
                "of": f"{test.card.batch}, {test.card.specimen}" if test.card else "card cannot be read",
                "why": test.unusable or loaded.friction.result.tests_left_out.get(test.test),
                "ways": []
                if test.unusable
                else [(words, leads.test(test.test, quote(part, safe=":=-"))) for words, part in ways],
            }
        )
    return rows


class _Writer:
    """Writes the parts of the document for the template."""

    def __init__(self, leads: Leads, images: Mapping[str, bytes]) -> None:
        self.leads, self.images = leads, images

    def part(self, part: Any) -> dict[str, Any]:
        """A part by its kind."""
        if isinstance(part, Text):
            return {"kind": "text", "text": self.leads.text(part), "tone": part.tone}
        if isinstance(part, Items):
            return {"kind": "items", "rows": [(name, self.cell(value)) for name, value in part.rows]}
        if isinstance(part, Table):
            rows = [[self.cell(cell, bare=not part.units_in_cells) for cell in row] for row in part.rows]
            return {"kind": "table", "caption": part.caption, "head": part.head, "rows": rows}
        if isinstance(part, Listing):
            return {"kind": "listing", "caption": part.caption, "text": part.text}
        content = self.images.get(part.name)
        address = f"data:image/svg+xml;base64,{base64.b64encode(content).decode()}" if content else None
        return {"kind": "picture", "name": part.name, "image": address, "alt": part.alt, "caption": part.caption}

    def cell(self, cell: Cell, *, bare: bool = False) -> dict[str, Any]:
        """A cell: its content, and the class that says how it is set."""
        shown = self.leads.shown(cell, bare=bare)
        style = ""
        if isinstance(cell, Number) and not cell.given:
            style = "missing"
        elif isinstance(cell, Where):
            style = "short"
        elif isinstance(cell, str):
            style = "short" if len(cell) <= (SHORT if " " not in cell else SHORT // 2) else ""
            if cell in front.TONES:
                shown = Markup('<span class="mark {}">{}</span>').format(front.TONES[cell], cell)
        return {"text": shown, "style": style}
