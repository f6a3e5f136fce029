"""The look of the sheet's static figures: bare Figure objects in the house style, no global state."""

from typing import Any

import matplotlib
from matplotlib.figure import Figure

from pipeline.report import palette, typeface

# The library reads a file `matplotlibrc` of the current folder, which may be an archive's: only SETTINGS count here.
matplotlib.rcdefaults()

SETTINGS: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "axes.edgecolor": palette.MUTED,
    "axes.labelcolor": palette.INK,
    "axes.grid": True,
    "grid.color": palette.HAIR,
    "grid.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "xtick.color": palette.INK,
    "ytick.color": palette.INK,
    "legend.frameon": False,
    "legend.fontsize": 7.5,
    "svg.hashsalt": "stopsheet",
    "svg.fonttype": "path",
    "text.parse_math": False,
    "path.simplify": True,
}
WIDTH = 7.0  # inches, the text width of an A4 sheet
MOST_POINTS = 500


def panel(height: float, columns: int = 1, **ratios: Any) -> tuple[Figure, Any]:
    """A figure of the sheet's width with so many panels side by side; `height` in inches."""
    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    return figure, figure.subplots(1, columns, **ratios)


UNLISTED = "_ "  # the library leaves names that begin with `_` out of a legend


def unlisted(text: str) -> str:
    """A name that stands in no legend and in the figure's table of data all the same."""
    return f"{UNLISTED}{text}"


def legible(text: str) -> str:
    """User text for a legend or an axis: a name that begins with `_` would be left out of a legend, and a sign that the typeface lacks
    would be an empty box.
    """
    printable = typeface.legible(text)
    return f"\u200a{printable}" if printable.startswith("_") else printable


def short(text: str, most: int = 28) -> str:
    """A user's name for a legend, a title or an axis, cut where it would leave no room for the figure."""
    return legible(text if len(text) <= most else f"{text[: most - 1]}…")
