"""A still picture of an interactive figure: what a page shows until that is drawn, in print, and without its script.

Drawn from the interactive figure's own data and layout, so that both show the same: traces of points, lines, bands and
bars, heat maps, shapes and notes, on one x axis (of numbers or dates) and one or several y axes above each other. A pixel of the layout is a
point of the picture. Coordinates are written to a tenth of a point, which keeps the picture small.
"""

from __future__ import annotations

import html
import io
import itertools
import math
import re
from typing import Any

import matplotlib
import matplotlib.dates
import numpy as np
import plotly.graph_objects as go
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pipeline.report import palette
from pipeline.report.plot_style import SETTINGS, legible

WIDTH = 700.0
MARKERS = {
    "circle": "o", "diamond": "D", "triangle-up": "^", "triangle-down": "v", "square": "s", "cross": "P", "x": "X",
    "x-thin": "x", "star": "*", "line-ew": "_",
}  # fmt: skip
DASHES = {None: "-", "solid": "-", "dot": ":", "dash": "--", "dashdot": "-."}
STEPS = {"hvh": "steps-mid", "hv": "steps-post", "vh": "steps-pre"}
RGBA = re.compile(r"rgba\(([^)]*)\)")
MOST_IN_LEGEND = 12
STYLE = {**SETTINGS, "svg.fonttype": "none", "font.size": 11, "legend.fontsize": 9.5}
PLACES = re.compile(r' (?:d|x|y|transform)="[^"]*"')  # what is drawn where; never a text
BLANKS = re.compile(r"\s+")
LONG_NUMBER = re.compile(r"(\d+)(?:\.0\d*|(\.\d)\d*)(?!\d)")
STYLE_OF_POINT = re.compile(r'(?<=" )style="([^"]*)"/>(?=\s*(?:<use|</g>|$))')
BETWEEN_TAGS, TAG, QUOTED = re.compile(r">\s+<"), re.compile(r"<[^>]+>"), re.compile(r'="([^"\']*)"')
NAME_OF_MARKER = re.compile(r'id="(m[0-9a-f]{8,})"')
GROUP_NAME = re.compile(
    r' id="(?:patch|line2d|text|xtick|ytick|axes|matplotlib\.axis|legend|figure|[A-Z]\w+Collection)_\d+"'
)
NOTE_IN_FILE = re.compile(r"<!--.*?-->|<metadata>.*?</metadata>", re.DOTALL)
NOT_IN_ADDRESS = (("%", "%25"), ("#", "%23"), ("<", "%3C"), (">", "%3E"), ('"', "%22"), ("&", "%26"), ("\n", " "))


def picture(figure: go.Figure, width: float = WIDTH) -> Markup:
    """The figure as an SVG picture's address for an `img` element (a `data:` address); `width` in pixels."""
    with matplotlib.rc_context(STYLE):
        buffer = io.BytesIO()
        drawn(figure, width).savefig(
            buffer, format="svg", transparent=True, metadata={"Date": None, "Creator": "stopsheet"}
        )
    text = NOTE_IN_FILE.sub("", buffer.getvalue().decode("utf-8").partition("<svg")[2])
    text = styled_once(TAG.sub(lambda tag: _placed(tag.group()), text))
    for character, instead in NOT_IN_ADDRESS:
        text = text.replace(character, instead)
    return Markup(f"data:image/svg+xml,%3Csvg{text}")


def _placed(tag: str) -> str:
    """An element with its coordinates to a tenth and without a name that nothing refers to; the shape of a marker, a few points wide,
    as it is."""
    if tag.startswith('<path id="m'):
        return tag
    return PLACES.sub(lambda found: BLANKS.sub(" ", LONG_NUMBER.sub(_short, found.group())), GROUP_NAME.sub("", tag))


def _short(number: re.Match[str]) -> str:
    """A coordinate to a tenth, without one where that is nought."""
    return number[1] + (number[2] or "")


def styled_once(svg: str) -> str:
    """The picture with the styles of its points as classes, once instead of once a point, and short names and quotes."""
    styles = list(dict.fromkeys(STYLE_OF_POINT.findall(svg)))
    names = {style: f"p{place}" for place, style in enumerate(styles)}
    short = STYLE_OF_POINT.sub(lambda found: f'class="{names[found.group(1)]}"/>', svg).replace(
        " xlink:href=", " href="
    )
    rules = "".join(f".{name}{{{style}}}" for style, name in names.items())
    short = BETWEEN_TAGS.sub("><", short.replace("</svg>", f"<style>{rules}</style></svg>"))
    for place, name in enumerate(dict.fromkeys(NAME_OF_MARKER.findall(short))):
        short = short.replace(name, f"m{place}")
    return TAG.sub(lambda tag: QUOTED.sub(r"='\1'", tag.group()), short)  # a quote that the address need not escape


def drawn(figure: go.Figure, width: float) -> Figure:
    """The figure drawn by matplotlib."""
    layout = figure.layout.to_plotly_json()
    height = float(layout.get("height", 430))
    made = Figure(figsize=(width / 72, height / 72))
    named = {trace.name for trace in figure.data if trace.name and trace.showlegend is not False}
    panels = _panels(made, layout, width, height, 0 if layout.get("showlegend") is False else -(-len(named) // 3))
    below: dict[Any, Any] = {}
    for trace in figure.data:
        name = "y" if trace.yaxis is None else trace.yaxis
        _trace(panels.get(name, panels["y"]), trace, layout, below, name)
    for name, axes in panels.items():
        _scales(axes, layout, name)
    first = panels["y"]
    for shape in layout.get("shapes", ()):
        _shape(first, panels, shape)
    for note in layout.get("annotations", ()):
        _note(first, panels, note, dated=layout.get("xaxis", {}).get("type") == "date")
    _legend(made, panels, layout)
    return made


def colour(value: Any) -> Any:
    """A colour of plotly's as matplotlib reads it."""
    found = RGBA.match(value) if isinstance(value, str) else None
    if not found:
        return value
    red, green, blue, alpha = (float(part) for part in found.group(1).split(","))
    return red / 255, green / 255, blue / 255, alpha


def _panels(made: Figure, layout: dict[str, Any], width: float, height: float, legend_rows: int) -> dict[str, Axes]:
    margin = {"l": 70, "r": 48, "t": 24, "b": 60, **layout.get("margin", {})}
    left, wide = margin["l"] / width, 1 - (margin["l"] + 20) / width
    top = max(margin["t"], 40 if legend_rows else 12) + 15 * max(legend_rows - 2, 0)
    low, tall = margin["b"] / height, 1 - (margin["b"] + top) / height
    panels: dict[str, Axes] = {}
    for key in sorted(key for key in layout if key.startswith("yaxis")):
        start, end = layout[key].get("domain", (0, 1))
        name = "y" + key.removeprefix("yaxis")
        shared: dict[str, Any] = {"sharex": panels["y"]} if panels else {}
        panels[name] = made.add_axes((left, low + start * tall, wide, (end - start) * tall), **shared)
    if layout.get("xaxis", {}).get("type") == "date":
        panels["y"].xaxis.set_major_locator(matplotlib.dates.AutoDateLocator(minticks=3, maxticks=7))  # type: ignore[no-untyped-call]
        panels["y"].xaxis.set_major_formatter(matplotlib.dates.DateFormatter("%Y-%m-%d"))  # type: ignore[no-untyped-call]
    lowest = min(panels.values(), key=lambda axes: axes.get_position().y0)
    for axes in panels.values():
        axes.tick_params(labelbottom=axes is lowest)
    lowest.set_xlabel(_words(layout.get("xaxis", {})))
    return panels


def _words(part: dict[str, Any]) -> str:
    return plain(part.get("title", {}).get("text", ""))


def plain(text: Any) -> str:
    """Text of a figure without its marks."""
    return html.unescape(re.sub(r"<[^>]+>", "", str(text or "").replace("<br>", "\n")))


def _finite(values: Any) -> np.ndarray:
    return np.array([_number(value) for value in values], dtype=float)


def _number(value: Any) -> float:
    """A coordinate; of a date as matplotlib counts days; nan where there is none."""
    if isinstance(value, str):
        return float(matplotlib.dates.date2num(np.datetime64(value)))  # type: ignore[no-untyped-call]
    return math.nan if value is None else value


def _trace(axes: Axes, trace: Any, layout: dict[str, Any], below: dict[Any, Any], name: str) -> None:
    if trace.type == "contour":
        z = np.ma.masked_invalid(np.array([_finite(row) for row in trace.z]))
        if z.count():
            mesh = axes.contourf(_finite(trace.x), _finite(trace.y), z, levels=12, cmap="cividis")
            axes.figure.colorbar(mesh, ax=axes, fraction=0.05, label="µ")
    elif trace.type == "heatmap":  # a veil: one colour where it has a value
        z = np.ma.masked_invalid(np.array([_finite(row) for row in trace.z]))
        veil = matplotlib.colors.ListedColormap([colour(trace.colorscale[0][1])])
        axes.pcolormesh(_finite(trace.x), _finite(trace.y), z, cmap=veil, shading="nearest", lw=0, rasterized=True)
    elif trace.type == "bar":
        _bars(axes, trace, layout, below, name)
    elif trace.x is not None and len(trace.x):
        _scatter(axes, trace, below, name)


def _bars(axes: Axes, trace: Any, layout: dict[str, Any], below: dict[Any, Any], panel: str) -> None:
    names = below.setdefault("names", [])
    names += [x for x in trace.x if x not in names]
    at, tall = np.array([names.index(x) for x in trace.x], dtype=float), _finite(trace.y)
    errors = _finite(trace.error_y.array) if trace.error_y.array is not None else None
    label = legible(plain(trace.name)) if trace.showlegend is not False else None
    if layout.get("barmode") == "stack":
        base = below.setdefault(("base", panel), {})
        start = np.array([base.get(x, 0.0) for x in at])
        axes.bar(at, tall, 0.75, bottom=start, color=trace.marker.color, label=label)
        base.update({x: s + (0.0 if np.isnan(t) else t) for x, s, t in zip(at, start, tall, strict=True)})
    else:
        place = below["bars"] = below.get("bars", -1) + 1
        axes.bar(
            at + 0.26 * (place - 1), tall, 0.25, yerr=errors, color=trace.marker.color, label=label, ecolor=palette.INK
        )
    axes.set_xticks(range(len(names)), [legible(plain(name)) for name in names], rotation=30, ha="right", fontsize=8)


def _scatter(axes: Axes, trace: Any, below: dict[Any, Any], name: str) -> None:
    x, y = _finite(trace.x), _finite(trace.y)
    if trace.fill == "tonexty" and ("line", name) in below:
        over, highs = below[("line", name)]
        axes.fill_between(over, y, highs, color=colour(trace.fillcolor), lw=0, label=_label(trace))
    below[("line", name)] = (x, y)
    mode, line, marker = trace.mode or "lines", trace.line, trace.marker
    if "lines" in mode and (line.width is None or line.width > 0):
        own: dict[str, Any] = {
            "color": line.color or palette.INK,
            "lw": 0.7 * (line.width or 2),
            "ls": DASHES.get(line.dash, "-"),
            "drawstyle": STEPS.get(line.shape, "default"),
        }
        for part in _runs(y) if line.shape in STEPS else [slice(None)]:
            axes.plot(
                x[part], y[part], alpha=trace.opacity, label=_label(trace) if part.start in (None, 0) else None, **own
            )
    if "markers" in mode:
        label = _label(trace) if "lines" not in mode else None
        if any(
            value is not None and not isinstance(value, str | int | float)
            for value in (marker.color, marker.size, marker.symbol)
        ):
            _own_marks(axes, x, y, trace, label)
        else:
            shape, hollow = _marker(marker.symbol or "circle")
            shade = colour(marker.color or (line.color if line.color else palette.INK))
            edge = colour(marker.line.color) if marker.line.color else shade
            own = {"mfc": "none" if hollow else shade, "mec": edge, "mew": marker.line.width or 0.5}
            for alpha, part in _by_opacity(marker.opacity or trace.opacity, len(x)):
                axes.plot(x[part], y[part], shape, ms=0.8 * (marker.size or 7), alpha=alpha, label=label, ls="", **own)
                label = None
    for axis, bars in (("x", trace.error_x), ("y", trace.error_y)):
        if bars.array is not None:
            above, below_ = _finite(bars.array), bars.arrayminus
            ends: dict[str, Any] = {f"{axis}err": above if below_ is None else [_finite(below_), above]}
            axes.errorbar(x, y, fmt="none", ecolor=bars.color or palette.MUTED, elinewidth=0.8, **ends)


def _runs(values: np.ndarray) -> list[slice]:
    """Stretches without a gap: a step would reach half way into one. An empty first stretch holds the place of the name."""
    ends = [-1, *np.flatnonzero(np.isnan(values)), len(values)]
    return [slice(low + 1, high) for low, high in itertools.pairwise(ends)]


def _marker(symbol: str) -> tuple[str, bool]:
    """A symbol of plotly's as matplotlib draws it, and whether it is hollow."""
    return MARKERS.get(symbol.removesuffix("-open"), "o"), symbol.endswith("-open")


def _own_marks(axes: Axes, x: np.ndarray, y: np.ndarray, trace: Any, label: str | None) -> None:
    """Points that have a colour, a size or a symbol each: those alike together, sizes to a pixel, so that each shape stands once in
    the picture."""
    marker, count = trace.marker, len(x)

    def each(value: Any) -> list[Any]:
        return [value] * count if isinstance(value, str | int | float) else list(value)

    colours = each(marker.color or trace.line.color or palette.INK)
    edges = each(marker.line.color) if marker.line.color else colours
    alike: dict[tuple[Any, ...], list[int]] = {}
    looks = zip(each(marker.symbol or "circle"), map(round, each(marker.size or 7)), colours, edges, strict=True)
    for place, look in enumerate(looks):
        alike.setdefault(look, []).append(place)
    for (symbol, size, inside, edge), at in alike.items():
        shape, hollow = _marker(symbol)
        own = {"mfc": "none" if hollow else colour(inside), "mec": colour(edge), "mew": marker.line.width or 0.5}
        axes.plot(x[at], y[at], shape, ms=0.8 * size, label=label, ls="", **own)
        label = None


def _by_opacity(opacity: Any, count: int) -> list[tuple[float | None, Any]]:
    """(opacity, which points) of points that have one each, or one together."""
    if opacity is None or isinstance(opacity, int | float):
        return [(opacity, slice(None))]
    each = np.array(opacity)[:count]
    return [(float(one), each == one) for one in np.unique(each)[::-1]]


def _label(trace: Any) -> str | None:
    return legible(plain(trace.name)) if trace.name and trace.showlegend is not False else None


def _scales(axes: Any, layout: dict[str, Any], name: str) -> None:
    own, across = layout.get("yaxis" + name.removeprefix("y"), {}), layout.get("xaxis", {})
    axes.set_ylabel(_words(own), fontsize=10 if len([k for k in layout if k.startswith("yaxis")]) == 1 else 8)
    if across.get("tickvals") is not None:
        axes.set_xticks(list(across["tickvals"]), [legible(plain(text)) for text in across["ticktext"]])
    for part, put, scale in ((own, axes.set_ylim, axes.set_yscale), (across, axes.set_xlim, axes.set_xscale)):
        if part.get("type") == "log":
            scale("log")
            (axes.yaxis if part is own else axes.xaxis).set_major_formatter(lambda value, _: f"{value:g}")
        if part.get("range"):
            put(*part["range"])
        elif part.get("rangemode") == "tozero" and axes.has_data():
            low, high = axes.get_xlim() if part is across else axes.get_ylim()
            put(min(0.0, low), high)
    axes.set_visible(own.get("visible") is not False)


def _place(first: Axes, panels: dict[str, Axes], shape: dict[str, Any]) -> tuple[Axes, Any]:
    """Axes and transform of a shape or note by what its coordinates refer to."""
    across, up = shape.get("xref", "x"), shape.get("yref", "y")
    axes = panels.get(up.removesuffix(" domain"), first)
    if up == "paper" or up.endswith("domain"):
        return axes, axes.get_xaxis_transform() if across != "paper" else axes.transAxes
    return axes, axes.get_yaxis_transform() if across == "paper" or across.endswith("domain") else axes.transData


def _shape(first: Axes, panels: dict[str, Axes], shape: dict[str, Any]) -> None:
    every = list(panels.values()) if shape.get("yref") == "paper" and len(panels) > 1 else [None]
    for panel in every:
        axes, transform = _place(first, panels, shape)
        if panel is not None:
            axes, transform = panel, panel.get_xaxis_transform()
        x0, x1, y0, y1 = (_number(shape[key]) for key in ("x0", "x1", "y0", "y1"))
        line = shape.get("line", {})
        if shape["type"] == "line":
            own = {"color": colour(line.get("color", palette.MUTED)), "lw": 0.8 * line.get("width", 1)}
            axes.plot([x0, x1], [y0, y1], transform=transform, ls=DASHES.get(line.get("dash"), "-"), **own, scalex=False, scaley=False)  # fmt: skip
        else:
            patch = matplotlib.patches.Rectangle((x0, y0), x1 - x0, y1 - y0, transform=transform, lw=0, zorder=0)
            patch.set_facecolor(colour(shape.get("fillcolor", "none")))
            if "opacity" in shape:
                patch.set_alpha(shape["opacity"])
            axes.add_patch(patch)
            up = shape.get("yref", "y")
            if up != "paper" and not up.endswith("domain"):  # a field is shown whole, as the interactive figure does
                low, high = axes.get_ylim()
                axes.set_ylim(min(low, y0), max(high, y1))


def _note(first: Axes, panels: dict[str, Axes], note: dict[str, Any], *, dated: bool) -> None:
    if not note.get("text"):
        return
    axes, transform = _place(first, panels, note)
    if note.get("xref") == "paper" and note.get("yref") == "paper":
        transform = axes.figure.transFigure
    x, y = note.get("x", 0.5), note.get("y", 0.5)
    if not note.get("visible", True) or (isinstance(x, str) and not dated):  # a bar's name is no place
        return
    align = {"ha": note.get("xanchor", "center"), "va": note.get("yanchor", "center")}
    align = {k: {"auto": "center", "middle": "center"}.get(v, v) for k, v in align.items()}
    axes.text(_number(x), y, legible(plain(note["text"])), transform=transform, fontsize=8.5, color=palette.MUTED, **align,
              rotation=-(note.get("textangle") or 0), rotation_mode="anchor")  # fmt: skip


def _legend(made: Figure, panels: dict[str, Axes], layout: dict[str, Any]) -> None:
    if layout.get("showlegend") is False:
        return
    found: dict[str, Any] = {}
    for axes in panels.values():
        for handle, label in zip(*axes.get_legend_handles_labels(), strict=True):
            found.setdefault(label, handle)
    kept = list(found.items())[:MOST_IN_LEGEND]
    if kept:
        made.legend([handle for _, handle in kept], [label for label, _ in kept], loc="upper left", ncols=3, bbox_to_anchor=(0.05, 1.0),
                    borderpad=0.2, handlelength=1.2, columnspacing=1.0)  # fmt: skip
