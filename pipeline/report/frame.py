"""What all interactive figures share: layout, axes with units, escaping, thinning."""

import html
import math
from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import plotly.graph_objects as go

from pipeline.report.palette import CLEAR, EDGE, HAIR, INK, MUTED, PAPER, RULE

FONT = "system-ui, 'Segoe UI', 'Helvetica Neue', Arial, sans-serif"


def label(text: Any) -> str:
    """User text for a figure: plotly reads a subset of HTML in all texts, so it is escaped there too."""
    return html.escape(str(text), quote=False)


def axis(title: str, unit: str = "", **options: Any) -> dict[str, Any]:
    """An axis with its unit in the title (a pure number says so); light grid, ticks outside."""
    shown = f"{title} ({unit})" if unit else title
    return {
        "title": {"text": shown, "standoff": 8, "font": {"size": 13}},
        "gridcolor": HAIR,
        "linecolor": MUTED,
        "zeroline": False,
        "ticks": "outside",
        "tickcolor": MUTED,
        "automargin": True,
        "showline": True,
        **options,
    }


def figure(x: dict[str, Any], y: dict[str, Any], *, height: int = 430, **layout: Any) -> go.Figure:
    """An empty figure in the house layout."""
    base: dict[str, Any] = {
        "template": None,
        "paper_bgcolor": CLEAR,
        "plot_bgcolor": CLEAR,
        "font": {"family": FONT, "size": 13, "color": INK},
        "xaxis": x,
        "yaxis": y,
        "height": height,
        "margin": {"l": 70, "r": 48, "t": 24, "b": 60},
        "modebar": {"orientation": "v", "bgcolor": CLEAR, "color": EDGE, "activecolor": MUTED},
        "legend": {"orientation": "h", "yanchor": "bottom", "y": 1.02, "x": 0, "font": {"size": 11}},
        "hovermode": "closest",
        "hoverlabel": {"align": "left", "font": {"size": 12}, "bgcolor": PAPER, "bordercolor": RULE},
    }
    return go.Figure(layout={**base, **layout})


def say(fig: go.Figure, text: str) -> go.Figure:
    """Write a sentence in the middle of an empty figure: an empty plot never stays unexplained."""
    fig.add_annotation(
        text=label(text), x=0.5, y=0.5, xref="paper", yref="paper", showarrow=False, font={"size": 14, "color": MUTED}
    )
    fig.update_layout(height=90, margin={"l": 10, "r": 10, "t": 10, "b": 10}, shapes=[], showlegend=False)
    fig.update_xaxes(visible=False)
    fig.update_yaxes(visible=False)
    return fig


def trimmed(values: Iterable[Any], digits: int = 5) -> list[float | None]:
    """Values as JSON numbers of `digits` significant digits; not finite becomes None."""
    out: list[float | None] = []
    for value in values:
        if value is None or not math.isfinite(value):
            out.append(None)
        else:
            out.append(float(f"{value:.{digits}g}"))
    return out


def significant(values: np.ndarray, digits: int = 5) -> list[float | None]:
    """As `trimmed`, of many numbers at once. values: (n,)."""
    with np.errstate(divide="ignore", invalid="ignore"):
        places = digits - 1 - np.floor(np.log10(np.abs(values)))
    scale = 10.0 ** np.clip(np.where(np.isfinite(places), places, 0), -12, 12)
    rounded = np.round(values * scale) / scale
    return [value if math.isfinite(value) else None for value in rounded.tolist()]


def named(fields: Sequence[str], rows: Sequence[Any], said: str) -> dict[str, Any]:
    """Data of a trace's points under named fields, and the hover text that shows them.

    rows: one a point, a list in the order of `fields`, or the bare value of a single field. said: plotly's hover
    template with the fields' own names, `%{stop}`. The names travel in the trace's meta: the page opens the stop of a
    point by the field `stop` and by nothing else, and a trace without that field answers no click.
    """
    for place, field in enumerate(fields):
        value = f"customdata[{place}]" if len(fields) > 1 else "customdata"
        said = said.replace(f"%{{{field}}}", f"%{{{value}}}").replace(f"%{{{field}:", f"%{{{value}:")
    return {"customdata": rows, "meta": {"fields": list(fields)}, "hovertemplate": said}


def blocks_of(names: Sequence[str | None], stops: Sequence[int]) -> list[tuple[str, int, int]]:
    """Runs of one block in order: (name, first stop, last stop)."""
    runs: list[tuple[str, int, int]] = []
    for name, stop in zip(names, stops, strict=True):
        if runs and runs[-1][0] == (name or "no block"):
            runs[-1] = (runs[-1][0], runs[-1][1], stop)
        else:
            runs.append((name or "no block", stop, stop))
    return runs


def spread(values: Sequence[Any], most: int) -> list[Any]:
    """At most `most` of the values, evenly chosen, first and last kept."""
    if len(values) <= most:
        return list(values)
    return [values[i] for i in np.unique(np.linspace(0, len(values) - 1, most).round().astype(int))]
