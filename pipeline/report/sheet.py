"""`stopsheet sheet`: the material characterisation sheet of a compound: sheet.html, sheet.pdf, sheet.json.

One document, three prints. The sections decide what is said; this module loads, renders and writes whole files.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

from pipeline.report import compound_page, document, inputs, plots, render, sheet_pdf
from pipeline.report.document import Picture, Section
from pipeline.report.sections import (
    batches,
    blocks,
    closing,
    duty,
    friction,
    front,
    identity,
    issue,
    quality,
    stability,
    targets,
    wear,
)
from pipeline.results import beside, version, whole, write_text
from pipeline.results.model import stamp, write
from pipeline.results.sheet import Sheet as SheetFile
from pipeline.wording import counted

SECTIONS = (
    front.answers,
    targets.in_short,
    identity.identity,
    identity.rig_and_method,
    quality.quality,
    friction.friction,
    stability.stability,
    blocks.blocks,
    wear.wear,
    batches.batches,
    duty.duty,
    closing.uncertainty,
    issue.amendments,
    closing.cautions,
)


@dataclass(frozen=True)
class Sheet:
    """A sheet before it is printed."""

    title: str
    under: str
    loaded: inputs.Inputs
    sections: Sequence[Section]

    @cached_property
    def figures(self) -> dict[str, Figure]:
        """The figures that the sections ask for, drawn once for all prints."""
        return plots.drawn(self.loaded, picture_names(self.sections))

    @cached_property
    def images(self) -> dict[str, bytes]:
        """The same as SVG, as HTML and PDF take them."""
        return {name: plots.svg(figure) for name, figure in self.figures.items()}


def made(
    *,
    compound: str,
    archive: Path,
    tests: Sequence[str],
    results: Path,
    method: str,
    target: Path | None,
    settings: str,
    into: Path,
    facts: Path | None = None,
    compared: Sequence[str] = (),
    title_block: Path | None = None,
) -> Sheet:
    """The sheet of a compound; nothing is drawn or written.

    `archive` holds the tests' folders, `results` is the method's results folder, `target` the compound's target file or
    None, `settings` the method as canonical JSON, `into` the compound's results folder, `title_block` the file of what the
    user states of the sheet.
    """
    loaded = inputs.load(
        compound=compound,
        archive=archive,
        tests=tests,
        results=results,
        method=method,
        target=target,
        settings=settings,
        into=into,
        facts=facts,
        compared=compared,
        title_block=title_block,
        software=version(),
    )
    sections = [document.reasons_once(found) for section in SECTIONS if (found := section(loaded)).parts]
    under = f"method {method}, digest {loaded.digest}, stopsheet {loaded.software}"
    return Sheet(f"Material characterisation sheet: {compound}", under, loaded, sections)


def print_json(sheet: Sheet, path: Path) -> None:
    """Write sheet.json: the sheet's text and every number with the file and key that it was read from."""
    loaded = sheet.loaded
    write(
        path,
        SheetFile(
            compound=loaded.compound,
            method=loaded.method,
            title_block=loaded.title_block,
            method_digest=loaded.digest,
            software=loaded.software,
            tests=[test.test for test in loaded.tests],
            decision=loaded.judged.result.decision,
            targets=targets.answers(loaded),
            sections=document.printed(sheet.sections),
            # no revision of its own: it states what others computed, its settings are those of their stamps
            stamp=stamp("sheet", 1, "", dict(loaded.files)),
        ),
    )


def print_html(sheet: Sheet, path: Path) -> None:
    """Write sheet.html, its still pictures inside; the plotting library goes into the results folder when not there."""
    script = render.plotly_file(path.parents[3])
    beside.leave(path, [script])
    plotly = render.relative(script, path)
    write_text(path, compound_page.html(sheet.title, sheet.under, sheet.loaded, sheet.sections, sheet.images, plotly))


def print_pdf(sheet: Sheet, path: Path) -> None:
    """Write sheet.pdf."""
    pdf = pdf_of(sheet)
    with whole(path) as part:
        part.write_bytes(pdf)


def pdf_of(sheet: Sheet, form: str = "pdf") -> Any:
    """The PDF's bytes (`form` "png": those of each page); its date is that of issue, else of the newest test."""
    loaded = sheet.loaded
    digests = {name: loaded.digest_of(name) for name in loaded.files}
    sources = sheet_pdf.Sources(digests, {name: behind(loaded, name) for name in loaded.files})
    return sheet_pdf.build(
        sheet.title,
        sheet.under,
        sheet.sections,
        sheet.images,
        dated=loaded.dated,
        sources=sources,
        stated=issue.title_block(loaded),
        form=form,
    )


def behind(loaded: inputs.Inputs, name: str) -> str:
    """Tests and stops behind a file that the sheet cites: of a compound's all tests used, of a test's its own."""
    own = name.split("/")[1] if name.startswith(("tests/", "archive/")) else None
    tests = loaded.usable if own is None else [test for test in loaded.tests if test.test == own]
    if name.startswith("targets/") or not tests:
        return ""
    return f"{counted(len(tests), 'test') if own is None else own}, {counted(sum(len(t.stops) for t in tests), 'stop')}"


#: each print is made apart, so that one that fails takes no other
PRINTS: dict[str, Callable[[Sheet, Path], None]] = {
    "sheet.json": print_json,
    "sheet.html": print_html,
    "sheet.pdf": print_pdf,
}


def run(**arguments: Any) -> None:
    """Make the sheet and write all its prints; arguments as for `made`."""
    sheet = made(**arguments)
    for name, print_ in PRINTS.items():
        print_(sheet, arguments["into"] / name)


def picture_names(sections: Sequence[Section]) -> list[str]:
    """Names of the figures that the sections ask for."""
    return [part.name for section in sections for part in section.parts if isinstance(part, Picture)]
