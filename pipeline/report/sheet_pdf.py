"""The sheet as PDF, A4, by reportlab alone: same document, same numbers; identical input gives identical bytes.

The typeface is DejaVu Sans as matplotlib ships it, embedded, because the base fonts of PDF have no µ, ² or χ in one
encoding.
"""

import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from xml.sax.saxutils import escape

from matplotlib.figure import Figure
from reportlab.lib import colors
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    BaseDocTemplate,
    CondPageBreak,
    Flowable,
    Frame,
    KeepTogether,
    LongTable,
    PageTemplate,
    Paragraph,
    Preformatted,
    Spacer,
    TableStyle,
)

from pipeline.report import palette
from pipeline.report.document import Cell, Items, Listing, Number, Picture, Section, Table, Text
from pipeline.report.vector import FigureOnPage

MARGIN = 15 * mm
WIDTH = A4[0] - 2 * MARGIN
CELL_SIZE = 6.8
MOST_LINES = 120  # of a listing
MOST_CHARACTERS = 10_000  # of one text; the time of breaking a text over pages grows with its square
KEPT_WHOLE = 14  # a table of so many rows is not broken over pages
TONES = {"good": "#2a6f8f", "bad": palette.ALARM, "open": "#c8902a"}


def _fonts() -> None:
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    for name, file in (("Sheet", "DejaVuSans.ttf"), ("Sheet-Bold", "DejaVuSans-Bold.ttf")):
        if name not in pdfmetrics.getRegisteredFontNames():
            pdfmetrics.registerFont(TTFont(name, str(folder / file)))


def _styles() -> dict[str, ParagraphStyle]:
    body = ParagraphStyle(
        "body", fontName="Sheet", fontSize=8, leading=11, textColor=colors.HexColor(palette.INK), spaceAfter=3
    )
    return {
        "body": body,
        "title": ParagraphStyle("title", parent=body, fontName="Sheet-Bold", fontSize=16, leading=20, spaceAfter=1),
        "under": ParagraphStyle("under", parent=body, textColor=colors.HexColor(palette.MUTED), spaceAfter=6),
        "head": ParagraphStyle(
            "head",
            parent=body,
            fontName="Sheet-Bold",
            fontSize=11,
            leading=14,
            spaceBefore=8,
            textColor=colors.HexColor(palette.ACCENT),
        ),
        "cell": ParagraphStyle("cell", parent=body, fontSize=CELL_SIZE, leading=8.6, spaceAfter=0, splitLongWords=1),
        "cell-head": ParagraphStyle(
            "cell-head", parent=body, fontName="Sheet-Bold", fontSize=CELL_SIZE, leading=8.6, spaceAfter=0
        ),
        "caption": ParagraphStyle(
            "caption", parent=body, fontSize=7, leading=9, textColor=colors.HexColor(palette.MUTED), spaceBefore=3
        ),
    }


def words(cell: Cell, *, bare: bool = False) -> str:
    """A cell as text; one that would fill a dozen pages is cut and says so."""
    if isinstance(cell, Number):
        text = cell.bare if bare else cell.text
    else:
        text = cell.text if isinstance(cell, Text) else cell
    if len(text) <= MOST_CHARACTERS:
        return text
    return f"{text[:MOST_CHARACTERS]} … ({len(text) - MOST_CHARACTERS} further characters stand in sheet.html)"


def build(title: str, under: str, sections: Sequence[Section], pictures: Mapping[str, Figure]) -> bytes:
    """The PDF's bytes. `pictures`: figures by name, drawn as vectors; one that is not there is said to be missing."""
    _fonts()
    style = _styles()
    flow: list[Flowable] = [Paragraph(escape(title), style["title"]), Paragraph(escape(under), style["under"])]
    for section in sections:
        parts = [flowable for part in section.parts for flowable in _part(part, style, pictures)]
        head = Paragraph(escape(section.title), style["head"])
        first = parts[0]._content if parts and isinstance(parts[0], KeepTogether) else parts[:1]
        flow.append(KeepTogether([head, *first]))
        flow += parts[1:]
    buffer = io.BytesIO()
    document = BaseDocTemplate(
        buffer,
        pagesize=A4,
        leftMargin=MARGIN,
        rightMargin=MARGIN,
        topMargin=MARGIN,
        bottomMargin=18 * mm,
        title=title,
        author="",
        creator="stopsheet",
        producer="stopsheet",
        subject=under,
        lang="en",
        invariant=1,
    )
    frame = Frame(MARGIN, 18 * mm, WIDTH, A4[1] - MARGIN - 18 * mm, 0, 0, 0, 0)
    document.addPageTemplates(
        [PageTemplate(frames=[frame], onPage=lambda canvas, doc: _foot(canvas, doc, f"{title}. {under}"))]
    )
    document.build(flow)
    return buffer.getvalue()


def _foot(canvas: Any, document: Any, text: str) -> None:
    canvas.saveState()
    canvas.setFont("Sheet", 6.5)
    canvas.setFillColor(colors.HexColor(palette.MUTED))
    shown = text if len(text) < 130 else text[:127] + "..."
    canvas.drawString(MARGIN, 11 * mm, shown)
    canvas.drawRightString(A4[0] - MARGIN, 11 * mm, f"page {document.page}")
    canvas.restoreState()


def _part(part: Any, style: Mapping[str, ParagraphStyle], pictures: Mapping[str, Figure]) -> list[Flowable]:
    if isinstance(part, Text):
        return [_paragraph(part, style)]
    if isinstance(part, Picture):
        return _picture(part, style, pictures)
    if isinstance(part, Listing):
        lines = part.text.splitlines()[:MOST_LINES]
        cut = ["... further lines stand in sheet.html"] if len(part.text.splitlines()) > MOST_LINES else []
        return [
            Paragraph(escape(part.caption), style["caption"]),
            Preformatted("\n".join(lines + cut), style["cell"], maxLineLength=110),
        ]
    if isinstance(part, Items):
        rows = [
            [Paragraph(escape(words(name)), style["cell"]), Paragraph(escape(words(value)), style["cell"])]
            for name, value in part.rows
        ]
        return [_grid(rows, [0.42 * WIDTH, 0.58 * WIDTH], head=False), Spacer(1, 4)] if rows else []
    return _table(part, style)


def _paragraph(part: Text, style: Mapping[str, ParagraphStyle]) -> Flowable:
    paragraph = Paragraph(escape(words(part)), style["body"])
    if part.tone == "plain":
        return paragraph
    marked = LongTable([[paragraph]], colWidths=[WIDTH], splitInRow=1)
    marked.setStyle(
        TableStyle(
            [
                ("LINEBEFORE", (0, 0), (0, -1), 2.5, colors.HexColor(TONES[part.tone])),
                ("LEFTPADDING", (0, 0), (-1, -1), 6),
                ("TOPPADDING", (0, 0), (-1, -1), 1),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
            ]
        )
    )
    return marked


def _table(part: Table, style: Mapping[str, ParagraphStyle]) -> list[Flowable]:
    head = [Paragraph(escape(name), style["cell-head"]) for name in part.head]
    texts = [[words(cell, bare=not part.units_in_cells) for cell in row] for row in part.rows]
    rows = [head, *[[Paragraph(escape(text), style["cell"]) for text in row] for row in texts]]
    if not part.rows:
        rows.append([Paragraph("none", style["cell"]), *[""] * (len(head) - 1)])
    caption = Paragraph(escape(part.caption), style["caption"])
    grid = _grid(rows, widths(part.head, texts), head=True)
    if len(rows) <= KEPT_WHOLE:
        return [KeepTogether([caption, grid]), Spacer(1, 4)]
    return [CondPageBreak(40 * mm), caption, grid, Spacer(1, 4)]


def widths(head: Sequence[str], rows: Sequence[Sequence[str]]) -> list[float]:
    """Column widths in points: no word broken where the page allows it, the rest by the length of the texts."""
    columns = list(zip(head, *rows, strict=True)) if rows else [(name,) for name in head]
    least = [
        max(_width(word, "Sheet-Bold") for text in column for word in text.split() or [""]) + 7 for column in columns
    ]
    wanted = [min(max(_width(text, "Sheet") for text in column), 0.5 * WIDTH) + 7 for column in columns]
    room = WIDTH - sum(least)
    if room <= 0:
        return _levelled(least)
    more = [max(want - need, 1.0) for want, need in zip(wanted, least, strict=True)]
    return [need + room * extra / sum(more) for need, extra in zip(least, more, strict=True)]


def _levelled(wanted: Sequence[float]) -> list[float]:
    """`wanted` cut to the page: the widest columns give first, so that one long word leaves the others their room."""
    given = [0.0] * len(wanted)
    room = WIDTH
    for place, (index, width) in enumerate(sorted(enumerate(wanted), key=lambda item: item[1])):
        given[index] = min(width, room / (len(wanted) - place))
        room -= given[index]
    return given


def _width(text: str, font: str) -> float:
    return float(pdfmetrics.stringWidth(text, font, CELL_SIZE))


def _grid(rows: list[list[Any]], column_widths: list[float], *, head: bool) -> Flowable:
    table = LongTable(rows, colWidths=column_widths, repeatRows=1 if head else 0, splitInRow=1)
    rules = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LINEBELOW", (0, 0), (-1, -1), 0.3, colors.HexColor(palette.RULE)),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 5),
        ("TOPPADDING", (0, 0), (-1, -1), 1.2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1.8),
    ]
    if head:
        rules.append(("LINEBELOW", (0, 0), (-1, 0), 0.8, colors.HexColor(palette.MUTED)))
    table.setStyle(TableStyle(rules))
    return table


def _picture(part: Picture, style: Mapping[str, ParagraphStyle], pictures: Mapping[str, Figure]) -> list[Flowable]:
    figure = pictures.get(part.name)
    if figure is None:
        return [Paragraph(f"No figure ({escape(part.alt)}): nothing to draw.", style["caption"])]
    return [KeepTogether([FigureOnPage(figure, WIDTH), Paragraph(escape(part.caption), style["caption"])])]
