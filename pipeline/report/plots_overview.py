"""The sheet's first figure: µ over temperature, and beneath it which temperatures are tested, wanted and used."""

from typing import Any

from matplotlib.figure import Figure

from pipeline.report import palette
from pipeline.report.inputs import Inputs
from pipeline.report.plot_style import WIDTH, legible, unlisted
from pipeline.report.plots_friction import batch_curves, curve_band
from pipeline.report.stop_figures import stretches, temperature_column

MOST_DUTIES = 6
Range = tuple[str, float, float, str]


def overview(inputs: Inputs) -> Figure | None:
    """Curve with bands and target band above, ranges of temperature as bars below; None without a curve."""
    found = inputs.friction.result
    if not found.curve:
        return None
    bars = ranges(inputs)
    fig = Figure(figsize=(WIDTH, 2.7 + 0.16 * len(bars)), layout="constrained")
    above, below = fig.subplots(2, 1, sharex=True, height_ratios=[2.2, 0.16 * len(bars) + 0.1])
    target = inputs.target.result if inputs.target else None
    if target and target.mu:
        ends = target.temperature_window or [
            min(p.temperature_c for p in found.curve),
            max(p.temperature_c for p in found.curve),
        ]
        above.fill_between(ends, target.mu[0], target.mu[1], color=palette.TARGET, alpha=0.18, lw=0, label="wanted")
    for number, stretch in enumerate(stretches(found.curve)):
        curve_band(above, stretch, named=number == 0)
    batch_curves(above, inputs)
    above.set(ylabel="Friction coefficient µ")
    above.set_ylim(bottom=0)
    above.legend(ncols=1, loc="center left", bbox_to_anchor=(1.0, 0.5), fontsize=7)
    _bars(below, bars)
    below.set(xlabel=f"{temperature_column(inputs.settings.reduction.temperature)[1]} (°C)")
    return fig


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
            bars.append((legible(duty.duty), duty.temperature_low_c, duty.temperature_high_c, palette.INK))
    return bars


def _bars(axes: Any, bars: list[Range]) -> None:
    for place, (name, low, high, colour) in enumerate(bars):
        ends, words = [-place, -place], unlisted(name)
        axes.plot([low, high], ends, color=colour, lw=4, solid_capstyle="butt", label=words)
    axes.set_yticks([-place for place in range(len(bars))], [name[:40] for name, *_ in bars], fontsize=7.5)
    axes.set_ylim(-len(bars) + 0.4, 0.6)
