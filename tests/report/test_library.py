"""The plotting library that results carry: the one that the Python package's figures are made for, and enough of it."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import plotly

from pipeline.report import render

PIPELINE = Path(__file__).parents[2] / "pipeline"
WHOLE = Path(plotly.__file__).parent / "package_data" / "plotly.min.js"
FOLDER = render.BUNDLE.parent


def version(script: Path) -> str:
    (found,) = re.findall(r"^\* plotly\.js (?:\(.*\) )?v(\S+)$", script.read_text(encoding="utf-8")[:300], re.MULTILINE)
    return found


def kinds(script: Path) -> set[str]:
    """Kinds of traces that a bundle draws; any other it takes for `scatter`, without a word."""
    return set(re.findall(r'moduleType:"trace",name:"(\w+)"', script.read_text(encoding="utf-8")))


def test_it_is_of_the_version_that_the_figures_are_made_for():
    assert version(render.BUNDLE) == version(WHOLE)
    assert f"version {version(WHOLE)}," in (FOLDER / "README.md").read_text(encoding="utf-8")


def test_it_is_the_file_that_its_note_names_under_the_licence_beside_it():
    said = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert f"`{hashlib.sha256(render.BUNDLE.read_bytes()).hexdigest()}`" in said
    assert "Licensed under the MIT license" in render.BUNDLE.read_text(encoding="utf-8")[:300]
    assert (FOLDER / "LICENSE").read_text(encoding="utf-8").startswith("MIT License\n")


def test_it_draws_every_kind_of_trace_that_a_figure_is_made_of():
    known = kinds(WHOLE)
    assert len(known) > 40 and kinds(render.BUNDLE) < known
    text = "\n".join(path.read_text(encoding="utf-8") for path in sorted(PIPELINE.rglob("*.py")))
    named = {name.lower() for name in re.findall(r"\.add_(\w+)\(|\bgo\.([A-Z]\w+)\(", text) for name in name if name}
    used = named & known
    assert {"scatter", "bar", "contour", "heatmap"} <= used <= kinds(render.BUNDLE)
    assert "trace" not in named, "a trace added as an object: its kind is not seen here"


def test_browsers_are_told_to_compile_it_at_once():
    script = render.plotly_script()
    assert script.count('(() => {"use strict";var Plotly=') == 1 and script.endswith("})));\n")
