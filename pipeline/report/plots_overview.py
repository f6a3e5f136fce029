"""The sheet's first figure: µ over temperature and beneath it which temperatures are tested, wanted and used; beside it the batches
against the margin, wear against its limit, and what is known of the conditions that glaze.
"""

from typing import Any

from matplotlib.figure import Figure

from pipeline.report import palette
from pipeline.report.inputs import Inputs
from pipeline.report.plot_style import WIDTH, short, unlisted
from pipeline.report.plots_film import MARKS, TICKS
from pipeline.report.plots_friction import batch_bars, batch_curves, curve_band
from pipeline.report.stop_figures import stretches, temperature_column

MOST_DUTIES = 5
MOST_BARS = 7
SMALL = 6.2
Range = tuple[str, float, float, str]


def overview(inputs: Inputs) -> Figure | None:
    """The composed figure; None where there is nothing to draw in any of its parts."""
    bars = ranges(inputs)
    fig = Figure(figsize=(WIDTH, 3.9), layout="constrained")
    grid = fig.add_gridspec(1, 2, width_ratios=[2.0, 1.0])
    tall = grid[0].subgridspec(2, 1, height_ratios=[2.3, 0.12 * max(len(bars), 1) + 0.1])
    above = fig.add_subplot(tall[0])
    below = fig.add_subplot(tall[1], sharex=above)
    above.tick_params(labelbottom=False)
    narrow = grid[1].subgridspec(3, 1)
    small = [fig.add_subplot(narrow[k]) for k in range(3)]
    drawn = [
        _curve(above, inputs),
        _bars(below, bars),
        _batches(small[0], inputs),
        _wear(small[1], inputs),
        _glaze(small[2], inputs),
    ]
    below.set(xlabel=f"{temperature_column(inputs.settings.reduction.temperature)[1]} (°C)")
    return fig if any(drawn) else None


def _curve(axes: Any, inputs: Inputs) -> bool:
    found, target = inputs.friction.result, inputs.target.result if inputs.target else None
    axes.set(ylabel="Friction coefficient µ")
    if not found.curve:
        return _said(axes, "no curve")
    temperatures = [point.temperature_c for point in found.curve]
    if target and target.mu:
        ends = target.temperature_window or [min(temperatures), max(temperatures)]
        axes.fill_between(ends, target.mu[0], target.mu[1], color=palette.TARGET, alpha=0.18, lw=0, label="wanted")
    for number, stretch in enumerate(stretches(found.curve)):
        curve_band(axes, stretch, named=number == 0)
    batch_curves(axes, inputs)
    axes.set_ylim(bottom=0)
    axes.legend(ncols=2, loc="lower center", fontsize=SMALL, borderaxespad=0.2, handlelength=1.6, columnspacing=0.9)
    return True


def ranges(inputs: Inputs) -> list[Range]:
    """(name, from, to in °C, colour): tested, window, wanted, and the settled cycle of each duty."""
    found = inputs.friction.result
    column, _ = temperature_column(inputs.settings.reduction.temperature)
    run = [test.stops[column].drop_nulls() for test in inputs.usable if column in test.stops.columns]
    values = [float(one) for part in run if len(part) for one in (part.min(), part.max())]  # type: ignore[arg-type]
    bars: list[Range] = [("tested", min(values), max(values), palette.MUTED)] if values else []
    if found.window:
        bars.append(("friction window", found.window.low_c, found.window.high_c, palette.ACCENT))
    target = inputs.target.result.temperature_window if inputs.target else None
    if target:
        bars.append(("wanted", target[0], target[1], palette.TARGET))
    for duty in inputs.duty.result.duties[:MOST_DUTIES]:
        if duty.temperature_low_c is not None and duty.temperature_high_c is not None:
            bars.append((duty.duty, duty.temperature_low_c, duty.temperature_high_c, palette.INK))
    return bars


def _bars(axes: Any, bars: list[Range]) -> bool:
    for place, (name, low, high, colour) in enumerate(bars):
        ends, words = [-place, -place], unlisted(name)
        axes.plot([low, high], ends, color=colour, lw=3.4, solid_capstyle="butt", label=words)
    axes.set_yticks(
        [-place for place in range(len(bars))], [short(name, 24) for name, *_ in bars], fontsize=SMALL + 0.6
    )
    axes.set_ylim(-len(bars) + 0.4, 0.6)
    return bool(bars)


def _batches(axes: Any, inputs: Inputs) -> bool:
    axes.set_title("µ at reference conditions", fontsize=SMALL + 0.8)
    axes.tick_params(labelsize=SMALL)
    return batch_bars(axes, inputs, MOST_BARS) or _said(axes, "no batch has a µ")


def _wear(axes: Any, inputs: Inputs) -> bool:
    """Loss of the disc per stop and face on map and duty blocks, by batch where there are several, against the limit."""
    axes.set_title("Disc wear per stop and face (µm)", fontsize=SMALL + 0.8)
    axes.tick_params(labelsize=SMALL)
    disc = (inputs.wear.result.components or {}).get("disc")
    rows = []
    if disc is not None:
        rows = [(one.batch, one.map_and_duty) for one in disc.by_batch] or [("all", disc.map_and_duty)]
    known = [
        (name, found.um_per_stop_per_face)
        for name, found in rows
        if found is not None and found.um_per_stop_per_face.value is not None
    ]
    known = sorted(known, key=lambda one: -(one[1].value or 0.0))[:MOST_BARS]
    looks = palette.batches(inputs.batch_names)
    for place, (name, rate) in enumerate(known):
        look, words = looks.get(name, palette.plain(0)), unlisted(f"disc wear, {name}")
        if rate.low is not None and rate.high is not None:
            axes.plot([rate.low, rate.high], [-place, -place], color=look.colour, lw=1.8, label=words)
        axes.plot(rate.value, -place, look.marker, color=look.colour, ms=3.5, label=words)
    axes.set_yticks([-place for place in range(len(known))], [short(name, 16) for name, _ in known])
    axes.set_ylim(-len(known) + 0.4, 0.6)
    limit = inputs.target.result.disc_wear if inputs.target else None
    if known and limit is not None:
        axes.axvline(limit, color=palette.TARGET, lw=1.4, label=unlisted("limit of disc wear"))
        axes.annotate(
            "limit", (limit, 0.5), fontsize=SMALL, ha="right", va="top", xytext=(-2, 0), textcoords="offset points"
        )
    return bool(known) or _said(axes, "no rate is known")


def _glaze(axes: Any, inputs: Inputs) -> bool:
    """Use between checks that glazed, was harmless, or told nothing, over temperature and power density, with the duties' brakings."""
    axes.set_title("Glazing: power density (W/mm²)", fontsize=SMALL + 0.8)
    axes.tick_params(labelsize=SMALL)
    film = inputs.friction.result.film
    uses = (
        [one for one in film.uses if one.temperature_c.value is not None and one.power_density_w_mm2.value]
        if film
        else []
    )
    for use in uses:
        marker, face, size = MARKS[use.shown]
        axes.scatter(
            [use.temperature_c.value], [use.power_density_w_mm2.value], marker=marker, s=size * 0.6, facecolors=face,
            edgecolors=palette.INK if marker != "." else palette.MUTED, linewidths=0.8, zorder=3, label=unlisted(f"use between checks: {use.shown}"),
        )  # fmt: skip
    stops = [
        stop
        for duty in inputs.duty.result.duties[:MOST_DUTIES]
        if duty.glazing_area
        for stop in duty.glazing_area.duty_stops
    ]
    axes.scatter(
        [one.temperature_c for one in stops], [one.power_density_w_mm2 for one in stops], marker="x", s=9, lw=0.8, color=palette.PURPOSES["duty"][0],
        label=unlisted("brakings of the duties"),
    )  # fmt: skip
    if not uses and not stops:
        return _said(axes, "no use between checks")
    axes.set_yscale("log")
    low, high = axes.get_ylim()
    ticks = [tick for tick in TICKS if low <= tick <= high]
    axes.set_yticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.set_yticks([], minor=True)
    axes.set_xlabel("Initial temperature (°C)", fontsize=SMALL)
    return True


def _said(axes: Any, words: str) -> bool:
    axes.text(
        0.5, 0.5, words, ha="center", va="center", transform=axes.transAxes, color=palette.MUTED, fontsize=SMALL + 1
    )
    return False
