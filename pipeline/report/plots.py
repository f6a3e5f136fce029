"""Static figures of the sheet: drawn once, printed as SVG into the HTML and as an image into the PDF.

Drawn on bare Figure objects (no global state); the same data give the same bytes.
"""

import io
from collections.abc import Callable
from typing import Any

import matplotlib
import polars as pl
from matplotlib.figure import Figure

from pipeline.report import frame, palette
from pipeline.report.inputs import Inputs
from pipeline.report.stop_figures import temperature_column
from pipeline.report.wear_figures import name_of

SETTINGS = {
    "font.family": "DejaVu Sans", "font.size": 8.5, "axes.edgecolor": palette.MUTED, "axes.labelcolor": palette.INK, "axes.grid": True,
    "grid.color": "#e4e7e9", "grid.linewidth": 0.6, "axes.spines.top": False, "axes.spines.right": False, "axes.axisbelow": True,
    "xtick.color": palette.INK, "ytick.color": palette.INK, "legend.frameon": False, "legend.fontsize": 7.5, "svg.hashsalt": "stopsheet",
    "svg.fonttype": "path", "text.parse_math": False, "path.simplify": True,
}  # fmt: skip
WIDTH = 7.0  # inches, the text width of an A4 sheet
MOST_POINTS = 500


def _panel(height: float, columns: int = 1, **ratios: Any) -> tuple[Figure, Any]:
    figure = Figure(figsize=(WIDTH, height), layout="constrained")
    return figure, figure.subplots(1, columns, **ratios)


def friction(inputs: Inputs) -> Figure | None:
    """Stops of every test against temperature, curve and bands, window, wanted band."""
    fig, axes = _panel(3.5)
    column, words = temperature_column(inputs.settings.reduction.temperature)
    drawn = False
    target = inputs.target
    if target and target.get("/mu"):
        axes.axhspan(*target.get("/mu"), color="#c88f16", alpha=0.13, lw=0, label="wanted band of µ")
    used = [t for t in inputs.usable if len(t.stops)]
    for index, test in enumerate(used):
        part = test.stops.filter(
            (pl.col("status") == "ok") & pl.col("purpose").is_in(["map", "check"]) & pl.col(column).is_not_null()
        )
        rows = frame.spread(part.select(column, "mu").rows(), max(MOST_POINTS // len(used), 12))
        if rows:
            colour, _, marker = palette.series(index)
            label = f"{test.test}" if len(used) <= 8 else None
            axes.plot(
                [r[0] for r in rows], [r[1] for r in rows], marker, ms=3.2, color=colour, alpha=0.55, mew=0, label=label
            )
            drawn = True
    curve = inputs.friction.get("/curve") or []
    if curve:
        x = [p["temperature_c"] for p in curve]
        for low, high, alpha, label in (
            ("tolerance_low", "tolerance_high", 0.12, "tolerance band, one stop"),
            ("low", "high", 0.28, "95 % of the mean"),
        ):
            if all(p.get(low) is not None and p.get(high) is not None for p in curve):
                axes.fill_between(
                    x,
                    [p[low] for p in curve],
                    [p[high] for p in curve],
                    color=palette.ACCENT,
                    alpha=alpha,
                    lw=0,
                    label=label,
                )
        axes.plot(x, [p["mu"] for p in curve], color=palette.ACCENT, lw=1.8, label="curve at reference conditions")
        drawn = True
    window = inputs.friction.get("/window")
    for end in ("low_c", "high_c") if window else ():
        axes.axvline(window[end], color=palette.ACCENT, ls="--", lw=1)
    axes.set(xlabel=f"{words} (°C)", ylabel="Friction coefficient µ (1)")
    axes.set_ylim(bottom=0)
    axes.legend(ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    return fig if drawn else None


def checks(inputs: Inputs) -> Figure | None:
    """Check stops in the order run, one panel; drift onsets as vertical lines of the test's colour."""
    fig, axes = _panel(2.5)
    drawn = False
    used = inputs.usable
    for index, test in enumerate(used):
        part = test.stops.filter((pl.col("purpose") == "check") & (pl.col("status") == "ok"))
        rows = frame.spread(part.select("stop", "mu").rows(), max(MOST_POINTS // max(len(used), 1), 12))
        if not rows:
            continue
        drawn = True
        colour, _, marker = palette.series(index)
        axes.plot(
            [r[0] for r in rows],
            [r[1] for r in rows],
            marker,
            ms=3.4,
            color=colour,
            alpha=0.8,
            mew=0,
            label=test.test if len(used) <= 10 else None,
        )
        if test.drift.get("/onset_stop") is not None and test.drift.get("/verdict") != "none":
            axes.axvline(test.drift.get("/onset_stop"), color=colour, ls="--", lw=1)
    axes.set(xlabel="Stop, in the order run (number)", ylabel="Friction coefficient µ (1)")
    if drawn and len(used) <= 10:
        axes.legend(ncols=5, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    return fig if drawn else None


def wear(inputs: Inputs) -> Figure | None:
    """Measured against predicted interval wear; wear per stop by interval; over all tests."""
    fig, (left, right) = _panel(2.9, 2)
    ends: list[float] = []
    position = 0
    components = sorted({c for t in inputs.usable for c in (t.wear.get("/components") or {})})
    for index, component in enumerate(components):
        colour, _, marker = palette.series(index)
        rows = [i for t in inputs.usable for i in (t.wear.get(f"/components/{component}/intervals") or [])
                if i.get("wear_um") is not None and i["to_stop"] > i["from_stop"]]  # fmt: skip
        both = [i for i in rows if i.get("predicted_um") is not None]
        if both:
            left.errorbar([i["wear_um"] for i in both], [i["predicted_um"] for i in both], xerr=[2 * (i.get("wear_u_um") or 0) for i in both],
                          fmt=marker, ms=4, color=colour, elinewidth=0.8, label=name_of(component))  # fmt: skip
            ends += [i[k] for i in both for k in ("wear_um", "predicted_um")]
        if rows:
            x = list(range(position, position + len(rows)))
            per_stop = [i["wear_um"] / (i["to_stop"] - i["from_stop"]) for i in rows]
            error = [(i.get("wear_u_um") or 0) * 2 / (i["to_stop"] - i["from_stop"]) for i in rows]
            right.errorbar(
                x, per_stop, yerr=error, fmt=marker, ms=4, color=colour, elinewidth=0.8, label=name_of(component)
            )
            position += len(rows) + 1
    if ends:
        line = [min(ends), max(ends)]
        left.plot(line, line, color=palette.MUTED, ls=":", lw=1)
    else:
        left.text(0.5, 0.5, "no fitted law", ha="center", va="center", transform=left.transAxes, color=palette.MUTED)
    left.set(xlabel="Measured in the interval (µm)", ylabel="By the chosen law (µm)")
    right.set(xlabel="Intervals between readings, all tests", ylabel="Thickness loss per stop (µm)")
    right.set_xticks([])
    right.set_ylim(bottom=min(0.0, right.get_ylim()[0]))
    if position:
        right.legend(loc="best")
    return fig if position else None


def batches(inputs: Inputs) -> Figure | None:
    """Interval of every batch's mu at reference conditions."""
    listed = [b for b in inputs.batches.get("/batches") or [] if (b.get("mu") or {}).get("value") is not None]
    if not listed:
        return None
    fig, axes = _panel(0.75 + 0.32 * len(listed))
    for index, batch in enumerate(listed):
        value = batch["mu"]
        y = len(listed) - index
        if value.get("low") is not None and value.get("high") is not None:
            axes.plot([value["low"], value["high"]], [y, y], color=palette.ACCENT, lw=2)
        axes.plot(value["value"], y, "o", color=palette.INK, ms=5)
        points = [s["mu"] for s in batch.get("specimen_mu") or [] if isinstance(s, dict) and s.get("mu") is not None]
        axes.plot(points, [y - 0.22] * len(points), "D", color="#9aa3ab", ms=3)
    axes.set_yticks(range(1, len(listed) + 1), [str(b["batch"]) for b in reversed(listed)])
    axes.set_ylim(0.4, len(listed) + 0.6)
    axes.set(xlabel="Friction coefficient µ at reference conditions (1)")
    return fig


def duty(inputs: Inputs) -> Figure | None:
    """Window share and life against the cooling opening, a line a duty."""
    swept = [d for d in inputs.duty.get("/duties") or [] if d.get("sweep")]
    if not swept:
        return None
    fig, (left, right) = _panel(2.7, 2)
    for index, one in enumerate(swept):
        colour, _, marker = palette.series(index)
        rows = one["sweep"]
        for axes, key, factor in ((left, "window_share", 100.0), (right, "life_cycles", 1.0)):
            points = [
                (r["opening"], _value(r.get(key)))
                for r in rows
                if r.get("opening") is not None and _value(r.get(key)) is not None
            ]
            axes.plot(
                [x for x, _ in points],
                [y * factor for _, y in points],
                f"{marker}-",
                ms=3,
                lw=1.3,
                color=colour,
                label=str(one.get("duty")),
            )
    left.set(xlabel="Cooling opening (1)", ylabel="Energy inside the window (%)", ylim=(-3, 103))
    right.set(xlabel="Cooling opening (1)", ylabel="Life (cycles)")
    right.set_ylim(bottom=0)
    left.legend(loc="best")
    return fig


def _value(found: Any) -> Any:
    return found.get("value") if isinstance(found, dict) else found


PLOTS: dict[str, Callable[[Inputs], Figure | None]] = {
    "friction": friction,
    "checks": checks,
    "wear": wear,
    "batches": batches,
    "duty": duty,
}


def drawn(inputs: Inputs, names: list[str]) -> dict[str, Figure]:
    """The named figures that have something to show."""
    with matplotlib.rc_context(SETTINGS):
        made = {name: PLOTS[name](inputs) for name in names}
    return {name: figure for name, figure in made.items() if figure is not None}


def svg(figure: Figure) -> bytes:
    """The figure as SVG without date; identical for identical data."""
    buffer = io.BytesIO()
    with matplotlib.rc_context(SETTINGS):
        figure.savefig(buffer, format="svg", metadata={"Date": None, "Creator": "stopsheet"})
    return buffer.getvalue()


def png(figure: Figure, dots_per_inch: int = 300) -> bytes:
    """The figure as PNG for the PDF."""
    buffer = io.BytesIO()
    with matplotlib.rc_context(SETTINGS):
        figure.savefig(buffer, format="png", dpi=dots_per_inch, metadata={"Software": "stopsheet"})
    return buffer.getvalue()
