"""How the pages in this folder become a site: `sphinx-build -W -q docs docs/_build`.

The site opens from disk, offline, as the pages of a run do: nothing is loaded from elsewhere. Formulas are therefore written as
MathML, which browsers draw themselves; docutils, which Sphinx brings along, translates them. A formula that it cannot read is a warning, and a
warning ends the build.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from docutils import nodes
from docutils.utils.math import MathError, latex2mathml
from sphinx.application import Sphinx
from sphinx.util import logging

ROOT = Path(__file__).parents[1]

project = "stopsheet"
author = "the stopsheet contributors"
copyright = "the stopsheet contributors, MIT licence"
version = release = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]

extensions = ["myst_parser", "sphinx.ext.autodoc"]
exclude_patterns = ["_build"]
myst_enable_extensions = ["dollarmath"]
myst_heading_anchors = 6
suppress_warnings = ["myst.header"]  # a page of a command may begin its parts at any level

smartquotes = False  # `--only` in prose is an option and no dash

autodoc_typehints = "description"
autodoc_member_order = "bysource"
toc_object_entries = False

html_theme = "alabaster"
html_static_path = ["_static"]
html_css_files = ["site.css"]
html_copy_source = False
html_show_sourcelink = False
html_theme_options = {
    "description": "From stop recordings to a material characterisation sheet",
    "page_width": "1180px",
    "sidebar_width": "250px",
    "fixed_sidebar": False,
    "sidebar_collapse": True,
    "show_powered_by": False,
    "font_family": "system-ui, sans-serif",
    "head_font_family": "system-ui, sans-serif",
    "code_font_size": "0.85em",
    "warn_bg": "#fdf6e3",
    "warn_border": "#d8b45a",
}
html_math_renderer = "offline"


def _mathml(writer: Any, node: nodes.Node, block: bool) -> None:
    try:
        writer.body.append(latex2mathml.tex2mathml(node.astext(), as_block=block))
    except MathError as error:
        logging.getLogger(__name__).warning("formula cannot be read: %s", error, location=node)
    raise nodes.SkipNode


def _inline(writer: Any, node: nodes.Node) -> None:
    _mathml(writer, node, block=False)


def _display(writer: Any, node: nodes.Node) -> None:
    _mathml(writer, node, block=True)


def setup(app: Sphinx) -> None:
    app.add_html_math_renderer("offline", (_inline, None), (_display, None))
