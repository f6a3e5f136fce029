"""Pages here take their pictures from those drawn before, but where it is tested that drawing gives the same again."""

from __future__ import annotations

import pytest
from markupsafe import Markup

from pipeline.report import sheet, still
from tests import pictures


@pytest.fixture(scope="module", autouse=True)
def _pictures(pictures_once: None) -> None:
    """For every file."""


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """No picture is drawn: for what is said in words."""
    monkeypatch.setattr(still, "picture", lambda *_, **__: Markup())
    monkeypatch.setattr(sheet.Sheet, "images", {})


@pytest.fixture
def drawn_afresh(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is taken from what was drawn before."""
    monkeypatch.setattr(still, "picture", pictures.PICTURE)
    monkeypatch.setattr(sheet.Sheet, "images", pictures.IMAGES)
