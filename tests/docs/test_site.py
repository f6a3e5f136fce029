"""docs/ builds as a site without a warning: every page has its place, every link, reference and formula resolves.

All of docs/ is heavy; by default one page shows that what is wrong ends the build.
"""

import re
import subprocess
import sys

import pytest

from pipeline.cli.command_page import PAGE, command_page
from pipeline.report.reference_pages import COMMAND
from tests.conftest import REPO

#: what a browser would load from another place: the site is read offline
ELSEWHERE = re.compile(r'(?:\bsrc|<link[^>]*\bhref)="(?:https?:)?//')


def build(source, into, *options):
    return subprocess.run(
        [sys.executable, "-m", "sphinx", "-W", "--keep-going", "-q", *options, str(source), str(into)],
        cwd=REPO, capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.mark.heavy  # .ci/run builds it before the tests, too
def test_the_site_builds_without_a_warning(tmp_path):
    built = build(REPO / "docs", tmp_path)
    assert built.returncode == 0, built.stderr
    assert (tmp_path / "index.html").is_file()
    pages = {page.name: page.read_text(encoding="utf-8") for page in tmp_path.glob("*.html")}
    assert [name for name, text in pages.items() if ELSEWHERE.search(text)] == []


WRONG = {
    "[gone](gone.md)": "'gone.md'",
    "[gone](index.md#gone)": "'gone'",
    "$\\begin{nonsense} x$": "formula cannot be read",
    "```{automodule} pipeline.gone\n```": "pipeline.gone",
}


def test_what_is_wrong_with_a_page_ends_the_build(tmp_path):
    (tmp_path / "index.md").write_text("\n\n".join(["# Title", *WRONG]) + "\n", encoding="utf-8")
    (tmp_path / "alone.md").write_text("# Alone\n", encoding="utf-8")
    built = build(tmp_path, tmp_path / "built", "-c", str(REPO / "docs"))
    assert built.returncode != 0
    assert [said for said in [*WRONG.values(), "alone.md"] if said not in built.stderr] == []


def test_the_page_of_the_command_line_is_in_step():
    assert (REPO / "docs" / PAGE).read_text(encoding="utf-8") == command_page(), f"run `{COMMAND}`"


def test_the_readme_leads_to_the_site():
    text = (REPO / "README.md").read_text(encoding="utf-8")
    assert "sphinx -q docs docs/_build" in text and "](docs/index.md)" in text
