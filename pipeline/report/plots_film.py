"""What the tests say of a film over initial temperature and power density, one panel a duty."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure

from pipeline.report import palette
from pipeline.report.inputs import Inputs
from pipeline.report.plot_style import WIDTH, short, unlisted
from pipeline.results.film import FilmEvidence
from pipeline.results.openings import FilmArea

LEVEL = {"glazes": 0, "untested": 1, "harmless": 2}
COLOURS = ListedColormap([palette.ALARM, palette.PAPER, palette.FIELD])
TICKS = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
MARKS = {"glazed": ("v", palette.INK, 34), "harmless": ("o", "none", 30), "nothing shown": (".", palette.MUTED, 16)}


def film(inputs: Inputs) -> Figure | None:
    """The area of every duty that has one."""
    listed = [one for one in inputs.duty.result.duties if one.glazing_area is not None]
    if not listed:
        return None
    rows = -(-len(listed) // 2)
    fig = Figure(figsize=(WIDTH, 2.9 * rows), layout="constrained")
    panels = np.atleast_1d(fig.subplots(rows, min(len(listed), 2), squeeze=False)).ravel()
    for axes, one in zip(panels, listed, strict=False):
        assert one.glazing_area is not None
        _area(axes, one.glazing_area, inputs.friction.result.film)
        axes.set_title(f"{short(one.duty)}, opening {one.glazing_area.opening:.2f}", fontsize=8)
    for axes in panels[len(listed) :]:
        axes.set_axis_off()
    return fig


def _area(axes: Axes, area: FilmArea, film: FilmEvidence | None) -> None:
    x, y = np.array(area.temperature_c), np.array(area.power_density_w_mm2)
    levels = np.array([[LEVEL[answer] for answer in row] for row in area.answers])
    answers = unlisted(", ".join(f"{level} {words}" for words, level in LEVEL.items()))
    axes.pcolormesh(
        x, y, levels, cmap=COLOURS, vmin=-0.5, vmax=2.5, shading="nearest", alpha=0.75, rasterized=False, label=answers
    )
    open_ = np.where(levels == LEVEL["untested"], 1.0, 0.0)
    if open_.any() and not open_.all():
        axes.contourf(x, y, open_, levels=[0.5, 1.5], colors="none", hatches=["///"]).set(
            edgecolor=palette.RULE, linewidth=0.0
        )
    for use in film.uses if film else []:
        marker, face, size = MARKS[use.shown]
        axes.scatter(
            [use.temperature_c.value or 0.0], [use.power_density_w_mm2.value or 0.0], marker=marker, s=size,
            facecolors=face, edgecolors=palette.INK if marker != "." else palette.MUTED, linewidths=0.9, zorder=3,
            label=unlisted(f"use run: {use.shown}"),
        )  # fmt: skip
    stops = area.duty_stops
    axes.scatter(
        [one.temperature_c for one in stops], [one.power_density_w_mm2 for one in stops], marker="x", s=22,
        color=palette.PURPOSES["duty"][0], zorder=4, label=unlisted("brakings of the duty"),
    )  # fmt: skip
    axes.set_yscale("log")
    ticks = [tick for tick in TICKS if y[0] <= tick <= y[-1]]
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.set_yticks([], minor=True)
    axes.set(xlim=(x[0], x[-1]), ylim=(y[0], y[-1]))
    axes.set(xlabel="Initial temperature (°C)", ylabel="Power density of the pad (W/mm²)")
