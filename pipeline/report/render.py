"""From figures and words to an HTML file that opens from disk, without a network and without a server.

plotly.js (the smallest bundle that draws what the figures are made of: `templates/library/`) is written once in the results
folder, under a name that carries its digest, and referenced relatively: all pages of all methods share it. A page is text and still pictures
first; its own script then loads the library, and files of traces, by elements that it makes itself (`templates/js/load.js`),
which the content policy lets through and which no text of a user can imitate. All text passes through autoescaping
templates; JSON inside a page has `<`, `>` and `&` written as escapes, so that no text of a user can end the script element.
"""

import base64
import hashlib
import json
import os
import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import jinja2
from markupsafe import Markup

from pipeline.results import whole

TEMPLATES = Path(__file__).parent / "templates"
#: No script runs but the page's own, by their digests, and what these load (`strict-dynamic`, W3C Content Security Policy
#: Level 3); nothing is sent. `file:`, for browsers that do not know that word: a page opened from disk has no origin.
POLICY = (
    "default-src 'none'; script-src {scripts}; style-src 'unsafe-inline'; img-src data: blob:; font-src 'none'; "
    "connect-src 'none'; object-src 'none'; frame-src 'none'; base-uri 'none'; form-action 'none'"
)
POLICY_MARK = "content-policy-of-this-page"
LIBRARY = '<meta name="plotting-library"'
INLINE = re.compile(r"<script>(.*?)</script>", re.DOTALL)


@lru_cache(maxsize=1)
def environment() -> jinja2.Environment:
    """Templates of the package; autoescape always on, an unknown name is an error."""
    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["css"] = Markup((TEMPLATES / "house.css").read_text(encoding="utf-8"))
    return made


def page(template: str, **content: Any) -> str:
    """The template filled, with its content policy; `content` is escaped unless it is Markup of ours.

    plotly: address of the library for pages that have figures; such a page gets the script that loads it.
    """
    loader = scripts("load") if content.get("plotly") else None
    return with_policy(environment().get_template(template).render(**{"plotly": None, "loader": loader, **content}))


def with_policy(text: str) -> str:
    """The page with its policy in place of the mark in its head: its own inline scripts may run, by their digests."""
    digests = [base64.b64encode(hashlib.sha256(s.encode()).digest()).decode() for s in INLINE.findall(text)]
    shared = ["'strict-dynamic'", "'self'", "file:"] if LIBRARY in text else []
    allowed = " ".join([*shared, *(f"'sha256-{digest}'" for digest in digests)]) or "'none'"
    return text.replace(POLICY_MARK, POLICY.format(scripts=allowed), 1)


def script_json(content: Any) -> Markup:
    """JSON for a script element: can't close it, whatever text it holds; NaN refused."""
    text = json.dumps(content, allow_nan=False, separators=(",", ":"), ensure_ascii=False)
    for character in "<>&\u2028\u2029":
        text = text.replace(character, f"\\u{ord(character):04x}")
    return Markup(text)


def figures_json(figures: Mapping[str, Any]) -> Markup:
    """The figures' data and layout, keyed by the name of their place in the page."""
    return script_json({name: json.loads(figure.to_json()) for name, figure in figures.items()})


def scripts(*names: str) -> Markup:
    """The named scripts of the package, one after the other, each a module of one purpose."""
    return Markup("".join((TEMPLATES / "js" / f"{name}.js").read_text(encoding="utf-8") for name in names))


def page_script() -> Markup:
    """The script of a page that has figures and nothing linked to them."""
    return scripts("figures")


BUNDLE = TEMPLATES / "library" / "plotly-cartesian.min.js"
#: Addresses of other hosts that a control of the library leads to or sends data to, each replaced by one that leads
#: nowhere. Its other addresses are those of licences and of map outlines, which no figure uses and the policy keeps from loading.
SENDING = (
    (r'(plotlyServerURL:\{[^{}]*?dflt:)"[^"]*"', r'\1""'),
    (r'(topojsonURL:\{[^{}]*?dflt:)"[^"]*"', r'\1"./"'),
    (r'"https://plotly\.com/[^"]*"', '"about:blank"'),
)
#: The function that holds the whole library, in brackets: browsers then compile it in one go, beside the page's own work; without
#: them they read it through to its end first and once more when it is called.
AT_ONCE = (re.compile(r'\(\) => \{\s*"use strict";(.*)\}\)\);\s*\Z', re.DOTALL), r'(() => {"use strict";\1})));\n')


@lru_cache(maxsize=1)
def plotly_script() -> str:
    """plotly.js with no address of its maker's servers."""
    content = BUNDLE.read_text(encoding="utf-8")
    for pattern, instead in SENDING:
        content = re.sub(pattern, instead, content)
    return AT_ONCE[0].sub(AT_ONCE[1], content)


def plotly_file(results: Path) -> Path:
    """Write plotly.js into `<results>/assets`, once and whole; return its path."""
    content = plotly_script().encode("utf-8")
    name = f"plotly-{hashlib.sha256(content).hexdigest()[:12]}.min.js"
    path = results / "assets" / name
    if not (path.is_file() and path.stat().st_size == len(content)):
        with whole(path) as part:
            part.write_bytes(content)
    return path


def relative(target: Path, page_file: Path) -> str:
    """Address of `target` as written in `page_file`: relative, with forward slashes, quoted."""
    from urllib.parse import quote

    return quote(Path(os.path.relpath(target, page_file.parent)).as_posix())
