"""Still pictures of pages: the most of what a page takes. A test of the page's words draws each picture once."""

from __future__ import annotations

from collections.abc import Callable

import plotly.graph_objects as go
import pytest
from markupsafe import Markup

from pipeline.report import still


@pytest.fixture(scope="session")
def _drawn_once() -> Callable[..., Markup]:
    """As `still.picture`, kept by all that it is drawn from: the figure's data and layout, and the width."""
    kept: dict[tuple[str, float], Markup] = {}
    draw = still.picture

    def picture(figure: go.Figure, width: float = still.WIDTH) -> Markup:
        key = (str(figure.to_json()), width)
        if key not in kept:
            kept[key] = draw(figure, width)
        return kept[key]

    return picture


@pytest.fixture
def pictures_once(_drawn_once: Callable[..., Markup], monkeypatch: pytest.MonkeyPatch) -> None:
    """For tests that set pages from nearly the same results and read their words; not where the drawing is tested."""
    monkeypatch.setattr(still, "picture", _drawn_once)
