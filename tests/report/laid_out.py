"""Faults of layout in a PDF: text beyond the page or over other text, and signs that a typeface does not have."""

from __future__ import annotations

import numpy as np
import pypdfium2

from pipeline.report.typeface import signs
from pipeline.report.typeset import BREAK
from tests.report.read_back import pages_of

EDGE = 15.0  # points from the edge of the page that stay free
SHARE = 0.15  # of the smaller of two pieces of text that may lie in the other: signs reach beyond their line a little


def faults(pdf: bytes) -> list[str]:
    """What a reader would see as a fault, page by page; [] for none."""
    document = pypdfium2.PdfDocument(pdf)
    return [fault for number in range(len(document)) for fault in _of_page(document[number], number + 1)] + [
        f"page {number}: a sign without a shape" for number in _shapeless(pdf)
    ]


def _of_page(page: pypdfium2.PdfPage, number: int) -> list[str]:
    text, (width, height) = page.get_textpage(), page.get_size()
    boxes = np.array([text.get_rect(k) for k in range(text.count_rects())]).reshape(-1, 4)  # left, bottom, right, top
    outside = (boxes[:, 0] < EDGE) | (boxes[:, 1] < EDGE) | (boxes[:, 2] > width - EDGE) | (boxes[:, 3] > height - EDGE)
    found = [
        f"page {number}: {text.get_text_bounded(*boxes[k])[:60]!r} beyond the page" for k in np.flatnonzero(outside)
    ]
    wide = np.minimum(boxes[:, None, 2], boxes[:, 2]) - np.maximum(boxes[:, None, 0], boxes[:, 0])
    tall = np.minimum(boxes[:, None, 3], boxes[:, 3]) - np.maximum(boxes[:, None, 1], boxes[:, 1])
    area = (boxes[:, 2] - boxes[:, 0]) * (boxes[:, 3] - boxes[:, 1])
    shared = np.where((wide > 0.5) & (tall > 0.5), wide * tall, 0.0) / np.maximum(np.minimum(area[:, None], area), 1e-9)
    for i, j in zip(*np.nonzero(np.triu(shared, 1) > SHARE), strict=True):
        pair = [text.get_text_bounded(*boxes[k])[:40] for k in (i, j)]
        found.append(f"page {number}: {pair[0]!r} over {pair[1]!r}")
    return found


def _shapeless(pdf: bytes) -> list[int]:
    """Pages that set a sign of which the typeface has no shape."""
    known, found = signs() | {ord(c) for c in f" \n\r\t\u00a0{BREAK}"}, []
    for number, page in enumerate(pages_of(pdf), 1):
        if {ord(c) for c in page} - known:
            found.append(number)
    return found
