"""`stopsheet sheet`: the material characterisation sheet of a compound: sheet.html, sheet.pdf, sheet.json.

One document, three prints. The sections decide what is said; this module loads, renders and writes whole files.
"""

import base64
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import matplotlib

from pipeline.report import document, inputs, plots, render, sheet_pdf
from pipeline.report.document import Cell, Items, Number, Picture, Section, Table, Text
from pipeline.report.plot_style import SETTINGS
from pipeline.report.sections import batches, closing, duty, friction, identity, quality, stability, targets, wear
from pipeline.results import version, whole, write_json, write_text

SECTIONS = (
    targets.in_short, identity.identity, identity.rig_and_method, quality.quality, friction.friction, stability.stability, wear.wear,
    batches.batches, duty.duty, closing.uncertainty, closing.cautions,
)  # fmt: skip


def run(
    *, compound: str, archive: Path, tests: Sequence[str], results: Path, method: str, target: Path | None, settings: str, into: Path
) -> None:  # fmt: skip
    """Write `into`/sheet.html, sheet.pdf and sheet.json of a compound.

    `archive` holds the tests' folders, `results` is the method's results folder, `target` the compound's target file or
    None, `settings` the method as canonical JSON.
    """
    loaded = inputs.load(compound=compound, archive=archive, tests=tests, results=results, method=method, target=target,
                         settings=settings, into=into, software=version())  # fmt: skip
    sections = [document.reasons_once(section(loaded)) for section in SECTIONS]
    figures = plots.drawn(loaded, picture_names(sections))
    title = f"Material characterisation sheet: {compound}"
    under = f"method {method}, digest {loaded.digest}, stopsheet {loaded.software}"
    write_text(
        into / "sheet.html",
        html(title, under, loaded, sections, {name: plots.svg(figure) for name, figure in figures.items()}),
    )
    with matplotlib.rc_context(SETTINGS):
        pdf = sheet_pdf.build(title, under, sections, figures)
    with whole(into / "sheet.pdf") as part:
        part.write_bytes(pdf)
    write_json(into / "sheet.json", {"compound": compound, "method": method, "method_digest": loaded.digest, "software": loaded.software,
                                     "tests": [test.test for test in loaded.tests], "targets": targets.answers(loaded), "sections": document.as_json(sections)})  # fmt: skip


SHORT = 20  # an id of so many characters is not broken at its hyphens


def picture_names(sections: Sequence[Section]) -> list[str]:
    """Names of the figures that the sections ask for."""
    return [part.name for section in sections for part in section.parts if isinstance(part, Picture)]


def html(title: str, under: str, loaded: inputs.Inputs, sections: Sequence[Section], images: dict[str, bytes]) -> str:
    """The sheet as one HTML file with its figures inside; no script."""
    shown = [{"title": section.title, "parts": [_part(part, images) for part in section.parts]} for section in sections]
    return render.page(
        "sheet.html",
        title=title,
        subtitle=under,
        sections=shown,
        software=loaded.software,
        method=loaded.method,
        digest=loaded.digest,
    )


def _part(part: Any, images: dict[str, bytes]) -> dict[str, Any]:
    if isinstance(part, Text):
        return {"kind": "text", "text": part.text, "tone": part.tone}
    if isinstance(part, Items):
        return {"kind": "items", "rows": [(name, _cell(value, bare=False)) for name, value in part.rows]}
    if isinstance(part, Table):
        return {
            "kind": "table",
            "caption": part.caption,
            "head": part.head,
            "rows": [[_cell(cell, bare=not part.units_in_cells) for cell in row] for row in part.rows],
        }
    content = images.get(part.name)
    address = f"data:image/svg+xml;base64,{base64.b64encode(content).decode()}" if content else None
    return {"kind": "picture", "image": address, "alt": part.alt, "caption": part.caption}


def _cell(cell: Cell, *, bare: bool) -> dict[str, Any]:
    if isinstance(cell, Number):
        text = cell.bare if bare else cell.text
        return {"text": text, "missing": not cell.given, "source": f"{cell.file} {cell.key}", "short": False}
    if isinstance(cell, Text):
        return {"text": cell.text, "missing": False, "source": None, "short": False}
    return {
        "text": cell,
        "missing": False,
        "source": None,
        "short": len(cell) <= (SHORT if " " not in cell else SHORT // 2),
    }
