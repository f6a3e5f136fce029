"""Every page of a method opens with the job that it serves, and has formula, assumptions, sources and when not to trust it."""

import re

import pytest

from tests.conftest import REPO

INDEX = (REPO / "docs" / "index.md").read_text(encoding="utf-8")
METHODS = INDEX.split(":caption: Methods\n:hidden:\n")[1].split("```")[0].split()
NO_METHOD = {"libraries"}  # a list of whose code it is


@pytest.mark.parametrize("name", [name for name in METHODS if name not in NO_METHOD])
def test_a_method_s_page_says_what_it_rests_on(name):
    page = (REPO / "docs" / f"{name}.md").read_text(encoding="utf-8")
    job, parts = page.split("\n## In one place\n")
    assert "For whoever" in job
    own = parts.split("\n## ")[0]
    said = re.findall(r"^\*\*(.+?)\.\*\*", own, re.M)
    assert said == ["Formula", "Assumes", "Sources", "When not to trust it"]
    assert re.search(r"\$.+?\$", own, re.S)


def test_the_terms_name_every_purpose_and_kind_of_a_card():
    from typing import get_args

    from pipeline.archive.block import Block

    terms = (REPO / "docs" / "terms.md").read_text(encoding="utf-8")
    purposes = re.search(r"^\| purpose \| (.*) \|$", terms, re.M).group(1)
    assert set(re.findall(r"`(\w+)`", purposes)) == set(get_args(Block.model_fields["purpose"].annotation))
    kinds = re.search(r"^\| stop \| (.*) \|$", terms, re.M).group(1)
    assert all(f" a {kind} " in kinds for kind in get_args(Block.model_fields["kind"].annotation))


def test_a_change_of_method_is_read_under_the_headings_of_its_page():
    told = re.findall(
        r"^\d\. \*(.+?)\*", (REPO / "docs" / "howto" / "method_change.md").read_text(encoding="utf-8"), re.M
    )
    page = (REPO / "pipeline" / "report" / "templates" / "delta.html").read_text(encoding="utf-8")
    assert told and [heading for heading in told if f">{heading}" not in page] == []
