"""Every link of a page in docs/ leads to a file that is there."""

from __future__ import annotations

import re
from pathlib import Path

REPO = Path(__file__).parents[2]
LINK = re.compile(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)")


def test_links_between_pages_lead_somewhere() -> None:
    pages = [*sorted((REPO / "docs").rglob("*.md")), REPO / "README.md", REPO / "DEVELOPERS.md"]
    links = [(page, link) for page in pages for link in LINK.findall(page.read_text(encoding="utf-8"))]
    assert len(links) > 10
    assert [f"{page.name}: {link}" for page, link in links if not (page.parent / link).exists()] == []
