"""Pages of docs/ that quote figures of the samples, written from their golden tables (tests/rig_samples/golden).

The text of a page stands beside this file, with places: `{{ stage | subject | figure }}` is a golden figure under the method in use, as the table has it,
and a fourth part says how it is printed: a format of Python (`.2f`), `%` for a share in per cent, `interval` before either for
a value with its low and high. `{{ truth | test | block }}` is the first stop of a block by the samples' simulator. Nothing else on
these pages that depends on the samples is a number. `python -m tests.docs.with_figures --write` writes them; the golden command does so as well
where it renews its tables.
"""

from __future__ import annotations

import csv
import re
from functools import cache
from pathlib import Path

from tests.rig_samples.golden import tables
from tests.rig_samples.golden.renew import FOLDER

REPO = Path(__file__).parents[3]
TEXTS, DOCS = Path(__file__).parent, REPO / "docs"
METHOD, COMMAND = "revised", "python -m tests.docs.with_figures --write"
PLACE = re.compile(r"\{\{ (.+?) \}\}")


def pages() -> dict[str, str]:
    """Path below docs/ and text of every page."""
    found = {}
    for path in sorted(TEXTS.rglob("*.md")):
        name = path.relative_to(TEXTS).as_posix()
        note = f"<!-- written by `{COMMAND}` from tests/docs/with_figures/{name}; edit that -->\n\n"
        found[name] = note + _with_figures(path.read_text(encoding="utf-8"), name)
    return found


def write() -> list[Path]:
    """Write the pages into docs/; those that changed."""
    changed = []
    for name, text in pages().items():
        path = DOCS / name
        if not path.is_file() or path.read_text(encoding="utf-8") != text:
            path.parent.mkdir(exist_ok=True)
            path.write_text(text, encoding="utf-8")
            changed.append(path)
    return changed


def _with_figures(text: str, name: str) -> str:
    return PLACE.sub(lambda match: _filled(match.group(1), name), text)


def _filled(place: str, name: str) -> str:
    stage, subject, figure, *how = place.split(" | ")
    if stage == "truth":
        return str(_first_stop(subject, figure))
    found = _golden(stage).get((METHOD, subject, figure))
    if found is None:
        raise LookupError(f"tests/docs/with_figures/{name}: no golden figure {{{{ {place} }}}}")
    return _printed(found, how[0]) if how else found


def _printed(found: str, how: str) -> str:
    if how.startswith("interval "):
        value, low, high = (_printed(one, how.removeprefix("interval ")) for one in found.split())
        return f"{value} ({low} to {high})"
    if how == "%":
        return f"{100 * float(found):.0f} %"
    return f"{float(found):{how}}"


@cache
def _golden(stage: str) -> tables.Figures:
    table = tables.read(FOLDER / f"{stage}.csv")
    if table is None:
        raise LookupError(f"no golden table of {stage}")
    return table.figures


@cache
def _first_stop(test: str, block: str) -> int:
    with (REPO / "rig_samples" / "truth" / f"{test}.stops.csv").open(encoding="utf-8") as file:
        return min(int(row["stop"]) for row in csv.DictReader(file) if row["block"] == block)
