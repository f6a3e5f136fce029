"""The sheet's static figures by name, and their print as SVG for HTML and PDF.

The same data give the same bytes: no date, a fixed salt for the ids.
"""

import io
from collections.abc import Callable

import matplotlib
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure

from pipeline.report import plots_conditions, plots_film, plots_friction, plots_overview, plots_wear
from pipeline.report.inputs import Inputs
from pipeline.report.plot_style import SETTINGS

PLOTS: dict[str, Callable[[Inputs], Figure | None]] = {
    "overview": plots_overview.overview,
    "friction": plots_friction.friction,
    "conditions": plots_conditions.conditions,
    "checks": plots_friction.checks,
    "batches": plots_friction.batches,
    "facts": plots_friction.facts,
    "wear": plots_wear.wear,
    "wear_law": plots_wear.wear_law,
    "duty": plots_wear.duty,
    "film": plots_film.film,
}


def drawn(inputs: Inputs, names: list[str]) -> dict[str, Figure]:
    """The named figures that have something to show."""
    with matplotlib.rc_context(SETTINGS):
        made = {name: PLOTS[name](inputs) for name in names}
    return {name: figure for name, figure in made.items() if figure is not None}


def svg(figure: Figure) -> bytes:
    """The figure as SVG without date; identical for identical data.

    Printed by the canvas at once: `savefig` draws a figure that lays itself out twice.
    """
    buffer = io.BytesIO()
    with matplotlib.rc_context(SETTINGS):
        FigureCanvasSVG(figure).print_svg(buffer, metadata={"Date": None, "Creator": "stopsheet"})  # type: ignore[no-untyped-call]
    return buffer.getvalue()
