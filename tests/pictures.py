"""Pictures of pages and sheets, drawn once in a session: the most of what a page takes.

A picture is kept by all that it is drawn from, in files that the workers share: of nearly the same results the same pages are set
again and again, and whatever differs in one of them has its own picture drawn.
"""

from __future__ import annotations

import hashlib
import os
import pickle
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import Any

import plotly.graph_objects as go
import pytest
from markupsafe import Markup

from pipeline.report import sheet, still
from pipeline.results.sheet import TitleBlock

PICTURE, IMAGES = still.picture, sheet.Sheet.images


def kept(folder: Path, drawn_from: bytes, draw: Callable[[], Any]) -> Any:
    """What `draw` gives, from the file of an earlier drawing where there is one."""
    path = folder / hashlib.sha256(drawn_from).hexdigest()
    if not path.exists():
        part = path.with_suffix(f".{os.getpid()}.part")
        part.write_bytes(pickle.dumps(draw()))
        part.rename(path)
    return pickle.loads(path.read_bytes())


def keep(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages take their still pictures, and sheets the images of their prints, from the folder."""

    def picture(figure: go.Figure, width: float = still.WIDTH) -> Markup:
        return kept(folder, f"{width} {figure.to_json()}".encode(), lambda: PICTURE(figure, width))

    def images(of: sheet.Sheet) -> dict[str, bytes]:
        """Drawn from all that was loaded; where the files lay and the title block show in none of them."""
        loaded = replace(of.loaded, files={}, title_block=TitleBlock())
        return kept(folder, pickle.dumps((sheet.picture_names(of.sections), loaded)), lambda: IMAGES.func(of))

    monkeypatch.setattr(still, "picture", picture)
    own = cached_property(images)
    own.__set_name__(sheet.Sheet, "images")
    monkeypatch.setattr(sheet.Sheet, "images", own)
