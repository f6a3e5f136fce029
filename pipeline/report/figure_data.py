"""What a figure shows, as a table: read off the figure itself, so that the table holds exactly what is drawn.

A row is a point, an end of a line, a place of a band, a bar, a field of a map, or a line or stripe across the whole panel. Axes that
bear names in place of numbers (batches, blocks) give the name beside the number.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from matplotlib.collections import LineCollection, PathCollection, PolyCollection, QuadMesh
from matplotlib.container import ErrorbarContainer
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedLocator

from pipeline.report.plot_style import UNLISTED
from pipeline.vocabulary import FIGURE, empty

NEAR = 0.3  # of the place of a name on an axis


@dataclass(frozen=True)
class Row:
    """One row of the table; see `vocabulary.FIGURE`."""

    panel: int
    series: str
    mark: str
    x: float | None = None
    x_low: float | None = None
    x_high: float | None = None
    y: float | None = None
    y_low: float | None = None
    y_high: float | None = None
    value: float | None = None
    x_name: str | None = None
    y_name: str | None = None
    x_is: str = ""
    y_is: str = ""


def data_of(figure: Figure | None) -> pl.DataFrame:
    """The table of a figure (`vocabulary.FIGURE`); without rows where there is no figure."""
    panels = [axes for axes in figure.axes if axes.axison] if figure is not None else []
    rows = [vars(row) for number, axes in enumerate(panels, 1) for row in _panel(number, axes)]
    return pl.DataFrame(rows, schema=empty(FIGURE).schema, orient="row")


def _panel(number: int, axes: Any) -> Iterator[Row]:
    quantities = _quantities(axes)
    names = _names(axes.xaxis), _names(axes.yaxis)
    for found in _marks(axes):
        known = dict(found)
        for key, of in (("x", names[0]), ("y", names[1])):
            if of and known.get(key) is not None:
                known[f"{key}_name"] = _named(of, known[key])
        yield Row(panel=number, **quantities, **known)


def _quantities(axes: Any) -> dict[str, Any]:
    """What a panel shows along x and y: its labels, or those of the panels that share the axis; a title stands for one that
    is missing.
    """
    others = [other for other in axes.figure.axes if other.axison]
    labels = [
        [one.get_xlabel() for one in (axes, *others) if one is axes or axes.get_shared_x_axes().joined(axes, one)],
        [one.get_ylabel() for one in (axes, *others) if one is axes or axes.get_shared_y_axes().joined(axes, one)],
    ]
    along_x, along_y = (next(filter(None, found), "") for found in labels)
    if not along_x:
        return {"x_is": axes.get_title(), "y_is": along_y}
    return {"x_is": along_x, "y_is": along_y or axes.get_title()}


def _marks(axes: Any) -> Iterator[Mapping[str, Any]]:
    """Every mark of a panel, in the order in which the kinds stand here."""
    held = [one for one in axes.containers if isinstance(one, ErrorbarContainer)]
    of_bars = {id(line) for one in held for line in (one.lines[0], *one.lines[1]) if line is not None}
    of_bars |= {id(part) for one in held for part in one.lines[2]}
    for container in held:
        yield from _with_errors(container)
    for line in axes.lines:
        if id(line) not in of_bars:
            yield from _line(axes, line)
    listed = {id(patch): one for one in axes.containers for patch in one if isinstance(patch, Rectangle)}
    for patch in axes.patches:
        if isinstance(patch, Rectangle):
            of = listed.get(id(patch))
            lying = getattr(of, "orientation", "vertical") == "horizontal"
            yield _rectangle(axes, patch, _series(str((of or patch).get_label())), lying=lying)
    for part in axes.collections:
        if id(part) in of_bars or isinstance(part, ContourSet | LineCollection):
            continue
        yield from _collection(part)


def _with_errors(container: Any) -> Iterator[Mapping[str, Any]]:
    line, _, bars = container.lines
    places = list(zip(*_points(line), strict=True))
    ends = [
        [(seg[0][axis], seg[1][axis]) for seg in part.get_segments()]
        for part, axis in zip(bars, [0] * container.has_xerr + [1] * container.has_yerr, strict=True)
    ]
    keys = ["x"] * container.has_xerr + ["y"] * container.has_yerr
    for place, (x, y) in enumerate(places):
        found: dict[str, Any] = {"series": _series(str(container.get_label())), "mark": "points", "x": x, "y": y}
        for key, pairs in zip(keys, ends, strict=True):
            found |= {f"{key}_low": _number(pairs[place][0]), f"{key}_high": _number(pairs[place][1])}
        yield found


def _line(axes: Any, line: Any) -> Iterator[Mapping[str, Any]]:
    series = _series(str(line.get_label()))
    in_x, in_y = line.get_transform().contains_branch_seperately(axes.transData)
    xs, ys = _points(line)
    if not (in_x and in_y):
        across = {"x": xs[0]} if in_x else {"y": ys[0]}
        yield {"series": series, "mark": "line across", **across}
        return
    mark = "points" if line.get_linestyle() in ("None", "none", " ", "") else "line"
    yield from ({"series": series, "mark": mark, "x": x, "y": y} for x, y in zip(xs, ys, strict=True))


def _rectangle(axes: Any, patch: Any, series: str, *, lying: bool) -> Mapping[str, Any]:
    """A bar from end to end at its place, standing or lying; or a stripe across the panel."""
    in_x, in_y = patch.get_transform().contains_branch_seperately(axes.transData)
    box = patch.get_bbox()
    found: dict[str, Any] = {"series": series, "mark": "bar" if in_x and in_y else "stripe across"}
    if in_x:
        ends = {"x_low": _number(box.x0), "x_high": _number(box.x1)}
        found |= ends if lying or not in_y else {"x": _number((box.x0 + box.x1) / 2)}
    if in_y:
        ends = {"y_low": _number(box.y0), "y_high": _number(box.y1)}
        found |= {"y": _number((box.y0 + box.y1) / 2)} if lying and in_x else ends
    return found


def _collection(part: Any) -> Iterator[Mapping[str, Any]]:
    series = _series(str(part.get_label()))
    kind = type(part)
    if issubclass(kind, QuadMesh):
        corners = np.asarray(part.get_coordinates())
        xs, ys = _centres(corners[0, :, 0]), _centres(corners[:, 0, 1])
        values = np.asarray(part.get_array()).reshape(len(ys), len(xs))
        for row, column in np.ndindex(values.shape):
            place = {"x": _number(xs[column]), "y": _number(ys[row])}
            yield {"series": series, "mark": "field", **place, "value": _number(values[row][column])}
    elif issubclass(kind, PathCollection):
        for x, y in part.get_offsets():
            yield {"series": series, "mark": "points", "x": _number(x), "y": _number(y)}
    elif issubclass(kind, PolyCollection):
        for path in part.get_paths():
            band: dict[float, list[float]] = {}
            for x, y in path.vertices:
                band.setdefault(float(x), []).append(float(y))
            for x, several in sorted(band.items()):
                yield {"series": series, "mark": "band", "x": x, "y_low": min(several), "y_high": max(several)}


def _centres(edges: Any) -> list[float]:
    """Places that fields were drawn about: each edge lies midway between two of them, the first as far before its own."""
    found = [(edges[0] + edges[1]) / 2]
    for edge in edges[1:-1]:
        found.append(2 * edge - found[-1])
    return [float(one) for one in found]


def _points(line: Any) -> tuple[list[float | None], list[float | None]]:
    return [_number(x) for x in line.get_xdata(orig=False)], [_number(y) for y in line.get_ydata(orig=False)]


def _number(value: Any) -> float | None:
    found = float(value)
    return float(f"{found:.9g}") if math.isfinite(found) else None


def _series(label: str) -> str:
    """The name of a mark; empty where nobody gave it one."""
    return label.removeprefix(UNLISTED).strip() if label.startswith(UNLISTED) or not label.startswith("_") else ""


def _names(axis: Any) -> dict[float, str]:
    """Names by their place on an axis; none where it bears numbers."""
    locator = axis.get_major_locator()
    if not isinstance(locator, FixedLocator):
        return {}
    places = locator.tick_values(0.0, 1.0)  # fixed: whatever the view
    names = dict(zip(map(float, places), axis.get_major_formatter().format_ticks(places), strict=True))
    return {} if all(name.replace(".", "", 1).isdigit() for name in names.values()) else names


def _named(names: Mapping[float, str], place: float) -> str | None:
    near = min(names, key=lambda one: abs(one - place))
    return names[near].strip() if abs(near - place) <= NEAR else None
