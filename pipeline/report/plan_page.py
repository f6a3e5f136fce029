"""The page of a plan, on demand: what to run, what it shows, its curves, what was assumed, the blocks for a card.

One file that opens from disk: the curves are drawn into it.
"""

import base64
import io
from pathlib import Path
from typing import Any

import matplotlib

from pipeline.planning.plan import Curve, Plan
from pipeline.planning.words import figure, run_words, shown
from pipeline.report import palette, render
from pipeline.report.plot_style import SETTINGS, legible, panel
from pipeline.results import version, write_text
from pipeline.wording import in_percent

CASES = (("as found", 1, "-", "o"), ("pessimistic", 2, "--", "s"))


def write(plan: Plan, path: Path) -> None:
    """Write the plan's page to `path`, whole or not at all."""
    write_text(path, render.page("plan.html", **context(plan)))


def context(plan: Plan) -> dict[str, Any]:
    """Everything the template prints."""
    rows = [
        [
            line.what,
            shown(line) if line.as_found is None else figure(line.as_found, line),
            "" if line.pessimistic is None else figure(line.pessimistic, line),
            (line.why or "") if line.as_found is not None else "",
        ]
        for line in plan.lines
    ]
    under = f"{plan.question}; program {plan.program}; wanted chance {in_percent(plan.wanted)}"
    return {
        "title": f"Plan for {plan.compound}",
        "under": f"{under}{f'; method {plan.method}' if plan.method else ''}; stopsheet {version()}",
        "run": [(case, run_words(run)) for case, run in plan.run.items()],
        "lines": rows,
        "undetermined": plan.undetermined,
        "assumed": plan.assumed,
        "curves": [(f"{curve.y} against {curve.x}: {curve.name}", drawn(curve)) for curve in plan.curves],
        "blocks": plan.blocks,
    }


def drawn(curve: Curve) -> str:
    """The curve as an image's address with the image in it."""
    with matplotlib.rc_context(SETTINGS):
        made, axes = panel(2.6)
        for name, place, line, marker in CASES:
            points = [(p[0], p[place]) for p in curve.points if p[place] is not None]
            if points:
                colour = palette.plain(place - 1).colour
                axes.plot(*zip(*points, strict=True), line, marker=marker, color=colour, label=name, markersize=4)
        if curve.wanted is not None:
            axes.axhline(curve.wanted, color=palette.MUTED, linewidth=0.9)
            axes.annotate("wanted", (1, curve.wanted), xycoords=("axes fraction", "data"), ha="right", va="bottom",
                          color=palette.MUTED, fontsize=7.5)  # fmt: skip
        axes.set_xlabel(curve.x)
        axes.set_ylabel(legible(curve.y))
        axes.set_ylim(bottom=0, top=1.04 if curve.y.startswith("chance") else None)
        axes.legend()
        buffer = io.BytesIO()
        made.savefig(buffer, format="svg", metadata={"Date": None})
    return "data:image/svg+xml;base64," + base64.b64encode(buffer.getvalue()).decode("ascii")
