"""Static figures of wear and duty for the sheet: measured against the law, the law and its shares, the cycle and the
sweep.
"""

from collections.abc import Callable, Mapping
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from pipeline.report import numbers, palette
from pipeline.report.inputs import Inputs
from pipeline.report.plot_style import WIDTH, panel, short, unlisted
from pipeline.report.wear_figures import LawPlot, law_plot
from pipeline.report.wear_words import law_name, name_of
from pipeline.results.duty import DutyWindow, SweepRow
from pipeline.results.wear import TestComponent


def wear(inputs: Inputs) -> Figure | None:
    """Measured against predicted interval wear; wear per stop by interval; over all tests."""
    fig, (left, right) = panel(2.9, 2)
    ends: list[float] = []
    position, places = 0, list[tuple[float, str]]()
    own = [t.wear.result.components or {} for t in inputs.usable]
    components = sorted({c for found in own for c in found})
    for index, component in enumerate(components):
        look = palette.component(component, index)
        colour, marker = look.colour, look.marker
        every = [i for found in own if component in found for i in found[component].intervals]
        rows = [i for i in every if i.to_stop > i.from_stop]
        both = [(i.wear_um, i.predicted_um, 2 * i.wear_u_um) for i in rows if i.predicted_um is not None]
        if both:
            left.errorbar(
                [x for x, _, _ in both],
                [y for _, y, _ in both],
                xerr=[u for _, _, u in both],
                fmt=marker,
                ms=4,
                color=colour,
                elinewidth=0.8,
                label=name_of(component),
            )
            ends += [value for x, y, _ in both for value in (x, y)]
        if rows:
            x = list(range(position, position + len(rows)))
            per_stop = [i.wear_um / (i.to_stop - i.from_stop) for i in rows]
            error = [i.wear_u_um * 2 / (i.to_stop - i.from_stop) for i in rows]
            right.errorbar(
                x, per_stop, yerr=error, fmt=marker, ms=4, color=colour, elinewidth=0.8, label=name_of(component)
            )
            places.append((position + (len(rows) - 1) / 2, name_of(component)))
            position += len(rows) + 2
    if ends:
        line = [min(ends), max(ends)]
        left.plot(line, line, color=palette.MUTED, ls=":", lw=1, label=unlisted("both equal"))
    else:
        left.text(0.5, 0.5, "no fitted law", ha="center", va="center", transform=left.transAxes, color=palette.MUTED)
    left.set(xlabel="Measured in the interval (µm)", ylabel="By the chosen law (µm)")
    right.set(
        xlabel="Component; intervals between readings, all tests in order",
        ylabel="Thickness loss per stop (µm; disc: both faces)",
    )
    right.set_xticks([place for place, _ in places], [name for _, name in places])
    right.tick_params(axis="x", length=0)
    right.set_ylim(bottom=min(0.0, right.get_ylim()[0]))
    return fig if position else None


def wear_law(inputs: Inputs) -> Figure | None:
    """The chosen law over temperature with its band, and wear by cause and purpose of the blocks."""
    components = inputs.wear.result.components or {}
    curves = {name: plot for name, found in components.items() if (plot := law_plot(found.law)) is not None}
    own = [t.wear.result.components or {} for t in inputs.usable]
    tables = {name: [found[name] for found in own if name in found] for name in components}
    sums = {name: shares_by_purpose(found) for name, found in tables.items() if any(one.shares for one in found)}
    if not curves and not sums:
        return None
    bars = sum(len(table) for table in sums.values()) + len(sums)
    fig, (left, right) = panel(max(3.0, 0.6 + 0.155 * bars), 2)
    _laws(left, curves, components)
    _causes(right, sums)
    return fig


def _laws(axes: Axes, curves: Mapping[str, LawPlot], components: Mapping[str, Any]) -> None:
    """The chosen law of every component over temperature with its band."""
    for index, (name, plot) in enumerate(curves.items()):
        colour = palette.component(name, index).colour
        if plot.band is not None:
            band = unlisted(f"{name_of(name)}: band of the law")
            axes.fill_between(plot.x, *plot.band, color=colour, alpha=0.2, lw=0, label=band)
        axes.plot(plot.x, plot.y, color=colour, lw=1.5, label=f"{name_of(name)}: {law_name(components[name])}")
        unit, _, words = (components[name].law.unit or "").partition(" by ")
        axes.set(ylabel=f"{(words.partition(',')[0] or 'wear').capitalize()} rate ({numbers.unit_words(unit)})")
        axes.set(xlabel="Surface temperature, modelled (°C)" if "surface" in words else "Disc temperature (°C)")
        if min(plot.y) > 0:
            axes.set_yscale("log")
            axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
    if curves:
        axes.legend(loc="best")
    else:
        _said(axes, "no temperature in the chosen laws")


def _causes(axes: Axes, sums: Mapping[str, Mapping[str, Mapping[str, float]]]) -> None:
    """Wear by cause and purpose of the blocks, a bar a purpose, lying, so that its name can be read; components
    beneath each other."""
    if not sums:
        _said(axes, "no wear by cause in any test")
        return
    causes = sorted({cause for table in sums.values() for row in table.values() for cause in row})
    place, labels, named = 0, list[tuple[int, str]](), set[str]()
    for name, table in sums.items():
        for purpose, row in table.items():
            place, start = place - 1, 0.0
            labels.append((place, f"{name_of(name)}, {purpose}"))
            for index, cause in enumerate(causes):
                if cause not in row:
                    continue
                words = cause.replace("_", " ")
                label = unlisted(words) if cause in named else words
                axes.barh(place, row[cause], 0.72, left=start, color=palette.cause(cause, index).colour, label=label)
                named.add(cause)
                start += row[cause]
        place -= 1
    axes.set_yticks([at for at, _ in labels], [text for _, text in labels], fontsize=7)
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(place + 0.4, -0.4)
    axes.set(xlabel="Wear by the law, all tests (µm)")
    axes.legend(ncols=2, loc="lower center", bbox_to_anchor=(0.4, 1.0), fontsize=6.5)


def _said(axes: Axes, words: str) -> None:
    """Words in place of a panel that has nothing to draw."""
    axes.set_axis_off()
    axes.text(0.5, 0.5, words, ha="center", va="center", transform=axes.transAxes, color=palette.MUTED)


def shares_by_purpose(tests: list[TestComponent]) -> dict[str, dict[str, float]]:
    """Wear of one component over all tests by purpose of the block and cause, um; purposes in the order first run."""
    sums: dict[str, dict[str, float]] = {}
    for component in tests:
        purpose_of = {row.block: row.purpose or "no block" for row in component.blocks}
        for row in component.shares:
            own = sums.setdefault(purpose_of.get(row.block, "no block"), {})
            for cause, value in row.wear_um.items():
                own[cause] = own.get(cause, 0.0) + value
    return sums


def duty(inputs: Inputs) -> Figure | None:
    """Settled cycle over time; temperatures, window share and life against the cooling opening, a colour a duty."""
    listed = [one for one in inputs.duty.result.duties if one.sweep or one.history]
    if not listed:
        return None
    fig = Figure(figsize=(WIDTH, 4.9), layout="constrained")
    (cycle, range_), (share, life) = fig.subplots(2, 2)
    ends = _window(inputs, listed[0].window_of)
    for axes in (cycle, range_):
        if ends:
            axes.axhspan(*ends, color=palette.ACCENT, alpha=0.10, lw=0, label=unlisted("friction window"))
    for index, one in enumerate(listed):
        look = palette.plain(index)
        colour, marker = look.colour, look.marker
        time, temperature = (one.history.time_s, one.history.temperature_c) if one.history else ([], [])
        cycle.plot(time, temperature, color=colour, lw=1.3, ls=look.stroke, label=short(one.duty))
        name = unlisted(one.duty)
        _range(range_, one.sweep, colour, name)
        _swept(share, one.sweep, lambda row: row.window_share, 100.0, f"{marker}-", colour, name)
        _swept(life, one.sweep, lambda row: row.life_km, 1.0, f"{marker}-", colour, name)
        low = [
            (row.opening, row.life_km_low, row.life_km)
            for row in one.sweep
            if None not in (row.life_km_low, row.life_km)
        ]
        if low:
            life.fill_between(
                *zip(*low, strict=True), color=colour, alpha=0.18, lw=0, label=f"{name}, to its lower end"
            )
        range_.axvline(one.opening, color=colour, ls=":", lw=1, label=f"{name}, opening of the duty")
    cycle.set(xlabel="Time in the settled cycle (s)", ylabel="Disc bulk temperature (°C)")
    range_.set(xlabel="Cooling opening", ylabel="Lowest to highest (°C)", xlim=(0, 1))
    share.set(xlabel="Cooling opening", ylabel="Energy in the window (%)", xlim=(0, 1), ylim=(-3, 103))
    life.set(xlabel="Cooling opening", ylabel="Life, down to its lower end (km)", xlim=(0, 1))
    life.set_ylim(bottom=0)
    if not share.lines:
        share.text(
            0.5, 0.5, "no window, no share", ha="center", va="center", transform=share.transAxes, color=palette.MUTED
        )
    cycle.legend(loc="best")
    return fig


def _window(inputs: Inputs, of_batches: DutyWindow | None) -> tuple[float, float] | None:
    """Ends of the window that the duties are held against: that of the batches together, else the compound's."""
    window = of_batches or inputs.friction.result.window
    return None if window is None or window.low_c is None or window.high_c is None else (window.low_c, window.high_c)


def _swept(
    axes: Any,
    rows: list[SweepRow],
    pick: Callable[[SweepRow], float | None],
    factor: float,
    style: str,
    colour: str,
    name: str,
) -> None:
    points = [(row.opening, value) for row in rows if (value := pick(row)) is not None]
    if points:
        y = [value * factor for _, value in points]
        axes.plot([x for x, _ in points], y, style, ms=2.5, lw=1.2, color=colour, label=name)


def _range(axes: Any, rows: list[SweepRow], colour: str, name: str) -> None:
    if rows:
        x = [row.opening for row in rows]
        low, high = [row.temperature_low_c for row in rows], [row.temperature_high_c for row in rows]
        axes.fill_between(x, low, high, color=colour, alpha=0.25, lw=0, label=f"{name}, lowest to highest")
        axes.plot(x, low, color=colour, lw=1, label=f"{name}, lowest")
        axes.plot(x, high, color=colour, lw=1, label=f"{name}, highest")
