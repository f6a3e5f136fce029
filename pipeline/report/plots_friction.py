"""Static figures of friction for the sheet: the curve with its stops, the checks in time, the batches."""

from collections.abc import Mapping
from typing import Any

import polars as pl
from matplotlib.figure import Figure

from pipeline.archive.facts import number as fact_number
from pipeline.report import frame, palette
from pipeline.report.inputs import Inputs, OfTest
from pipeline.report.plot_style import MOST_POINTS, panel, short, unlisted
from pipeline.report.sections.honest import apart
from pipeline.report.stop_figures import stretches, temperature_column
from pipeline.results.friction_map import CurvePoint

MOST_NAMED = 10  # tests or batches that a legend names
MOST_CURVES = 5  # batches' curves that a legend names


def friction(inputs: Inputs) -> Figure | None:
    """Stops of every test against temperature, curve and bands, window, target band; the batches' own curves where
    they differ.
    """
    fig, axes = panel(2.9)
    column, words = temperature_column(inputs.settings.reduction.temperature)
    wanted = inputs.target.result.mu if inputs.target else None
    if wanted:
        axes.axhspan(*wanted, color=palette.TARGET, alpha=0.13, lw=0, label="target band of µ")
    used = [t for t in inputs.usable if len(t.stops)]
    drawn = _others(axes, used, column)
    looks, named = palette.batches(inputs.batch_names), set[str]()
    for test in used:
        part = test.stops.filter(
            (pl.col("status") == "ok") & pl.col("purpose").is_in(["map", "check"]) & pl.col(column).is_not_null()
        )
        rows = frame.spread(part.select(column, "mu").rows(), max(MOST_POINTS // len(used), 12))
        if rows:
            look, label = of_batch(test, looks, named)
            axes.plot(
                [r[0] for r in rows],
                [r[1] for r in rows],
                look.marker,
                ms=3.0,
                color=look.colour,
                alpha=0.6,
                mew=0,
                label=label,
            )
            drawn = True
    for number, stretch in enumerate(stretches(inputs.friction.result.curve)):
        curve_band(axes, stretch, named=number == 0)
        drawn = True
    batch_curves(axes, inputs)
    window = inputs.friction.result.window
    for end in (window.low_c, window.high_c) if window else ():
        axes.axvline(end, color=palette.ACCENT, ls="--", lw=1, label=unlisted("end of the friction window"))
    axes.set(xlabel=f"{words} (°C)", ylabel="Friction coefficient µ")
    axes.set_ylim(bottom=0)
    if axes.get_legend_handles_labels()[0]:
        axes.legend(ncols=3, loc="lower center", bbox_to_anchor=(0.5, 1.0))
    return fig if drawn else None


def _others(axes: Any, used: list[OfTest], column: str) -> bool:
    """Ok stops of all other purposes, in grey: what a map and its checks do not show. Whether there is any."""
    other = pl.col("purpose").is_in(["map", "check"]).fill_null(False).not_()
    kept = (pl.col("status") == "ok") & pl.col("mu").is_not_null() & pl.col(column).is_not_null() & other
    rows = [row for test in used for row in test.stops.filter(kept).select(column, "mu").rows()]
    rows = frame.spread(rows, MOST_POINTS)
    if rows:
        axes.plot(
            [r[0] for r in rows],
            [r[1] for r in rows],
            ".",
            ms=4,
            color=palette.EDGE,
            alpha=0.7,
            mew=0,
            label="stops of other purposes",
        )
    return bool(rows)


def of_batch(test: OfTest, looks: Mapping[str, palette.Look], named: set[str]) -> tuple[palette.Look, str | None]:
    """How a test's points are drawn: as those of its batch; the batch's name where no point of it was named before."""
    batch = test.card.batch if test.card else ""
    words = f"stops of {batch}"
    label = unlisted(words) if batch in named or len(looks) > MOST_NAMED else short(words, 40)
    named.add(batch)
    return looks[batch] if batch in looks else palette.plain(0), label


def batch_curves(axes: Any, inputs: Inputs) -> None:
    """Each batch's own curve at the reference conditions, where a pair of batches is shown to differ."""
    if not apart(inputs):
        return
    looks = palette.batches(inputs.batch_names)
    for index, batch in enumerate(inputs.friction.result.by_batch):
        for number, part in enumerate(stretches(batch.curve)):
            name = f"batch {batch.batch}"
            listed = number == 0 and len(looks) <= MOST_CURVES
            axes.plot(
                [p.temperature_c for p in part],
                [p.mu for p in part],
                ls=("--", ":", "-.")[index % 3],
                lw=1.4,
                color=looks[batch.batch].colour if batch.batch in looks else palette.INK,
                label=short(name, 32) if listed else unlisted(name),
            )


def curve_band(axes: Any, part: list[CurvePoint], *, named: bool) -> None:
    """One unbroken stretch of the curve with its bands; only the first stretch has names in the legend."""
    x = [p.temperature_c for p in part]
    tolerance = [p.tolerance_low for p in part], [p.tolerance_high for p in part]
    mean = [p.low for p in part], [p.high for p in part]
    for (lows, highs), alpha, label in (
        (tolerance, 0.12, "tolerance band, one stop"),
        (mean, 0.28, "confidence band of the mean"),
    ):
        label = label if named else unlisted(label)
        axes.fill_between(x, lows, highs, color=palette.ACCENT, alpha=alpha, lw=0, label=label)
    axes.plot(
        x,
        [p.mu for p in part],
        color=palette.ACCENT,
        lw=1.8,
        label="curve at reference conditions" if named else unlisted("curve at reference conditions"),
    )


def checks(inputs: Inputs) -> Figure | None:
    """Check stops in the order run with drift onsets as vertical lines; fade and recovery beside them. Batches by colour."""
    fig, (left, right) = panel(2.3, 2, sharey=True)
    column, words = temperature_column(inputs.settings.reduction.temperature)
    used, drawn = inputs.usable, False
    most = max(MOST_POINTS // max(len(used), 1), 12)
    looks, named = palette.batches(inputs.batch_names), set[str]()
    for test in used:
        look, label = of_batch(test, looks, named)
        colour, marker = look.colour, look.marker
        ok = test.stops.filter((pl.col("status") == "ok") & pl.col("mu").is_not_null())
        rows = frame.spread(ok.filter(pl.col("purpose") == "check").select("stop", "mu").rows(), most)
        left.plot([r[0] for r in rows], [r[1] for r in rows], marker, ms=3, color=colour, alpha=0.8, mew=0, label=label)
        drift = test.drift.result
        if rows and drift.onset_stop is not None and drift.verdict != "none":
            left.axvline(drift.onset_stop, color=colour, ls="--", lw=1, label=unlisted(f"onset of drift, {test.test}"))
        drawn = drawn or bool(rows)
        for purpose, face in (("fade", colour), ("recovery", "none")):
            own = ok.filter((pl.col("purpose") == purpose) & pl.col(column).is_not_null()).select(column, "mu").rows()
            x, y = zip(*frame.spread(own, most), strict=True) if own else ((), ())
            name = unlisted(f"{purpose}, {test.test}")
            right.plot(x, y, marker, ms=3, mec=colour, mfc=face, mew=0.7, alpha=0.8, label=name)
            drawn = drawn or bool(own)
    left.set(xlabel="Stop, in the order run", ylabel="Friction coefficient µ")
    right.set(xlabel=f"{words} (°C), fade and recovery")
    if left.get_legend_handles_labels()[0] and len(named) <= MOST_NAMED:
        fig.legend(*left.get_legend_handles_labels(), ncols=5, loc="outside upper center")
    return fig if drawn else None


MOST_BATCHES = 12  # of many batches so many are drawn, those lowest and highest


def batches(inputs: Inputs) -> Figure | None:
    """Interval of every batch's mu at reference conditions against the margin, its specimens beneath."""
    listed = [batch for batch in inputs.batches.result.batches if batch.mu.value is not None]
    if not listed:
        return None
    fig, axes = panel(0.75 + 0.24 * min(len(listed), MOST_BATCHES))
    batch_bars(axes, inputs, MOST_BATCHES)
    axes.set(xlabel="Friction coefficient µ at reference conditions")
    return fig


def batch_bars(axes: Any, inputs: Inputs, most: int) -> bool:
    """The batches' means with intervals and specimens; of more than `most` those lowest and highest. Whether there is any."""
    found = inputs.batches.result
    listed = [batch for batch in found.batches if batch.mu.value is not None]
    if len(listed) > most:
        ordered = sorted(listed, key=lambda batch: batch.mu.value or 0.0)
        listed = ordered[: most // 2] + ordered[-(most - most // 2) :]
    margin, values = found.margins.get("mu"), [batch.mu.value or 0.0 for batch in found.batches if batch.mu.value]
    if margin is not None and margin.low is not None and margin.high is not None and len(values) > 1:
        middle = sum(values) / len(values)
        axes.axvspan(
            middle + margin.low / 2,
            middle + margin.high / 2,
            color=palette.TARGET,
            alpha=0.15,
            lw=0,
            label=unlisted("margin"),
        )
    looks = palette.batches(inputs.batch_names)
    for index, batch in enumerate(listed):
        y, look = len(listed) - index, looks.get(batch.batch, palette.plain(0))
        if batch.mu.low is not None and batch.mu.high is not None:
            ends = [batch.mu.low, batch.mu.high]
            axes.plot(ends, [y, y], color=look.colour, lw=1.8, label=unlisted("interval of the batch"))
        axes.plot(batch.mu.value, y, look.marker, color=look.colour, ms=4, label=unlisted("batch"))
        specimens = [one.value for one in found.specimen_values.get("mu", []) if one.batch == batch.batch]
        points = [value for value in specimens if value is not None]
        heights = [y - 0.26] * len(points)
        axes.plot(points, heights, "D", color=palette.EDGE, ms=2.4, label=unlisted("its specimens"))
    axes.set_yticks(range(1, len(listed) + 1), [short(batch.batch, 16) for batch in reversed(listed)])
    axes.set_ylim(0.4, len(listed) + 0.6)
    return bool(listed)


MOST_FACTS = 4


def facts(inputs: Inputs) -> Figure | None:
    """Every numeric fact of the batches against their mu at reference conditions and their disc wear."""
    table, listed = inputs.facts, {batch.batch: batch for batch in inputs.batches.result.batches}
    columns = []
    for place, name in enumerate(table.columns):
        values = {b: fact_number(texts[place]) for b, texts in table.of.items() if b in listed}
        if sum(value is not None for value in values.values()) > 1:
            columns.append((name, values))
    if not columns:
        return None
    columns, looks = columns[:MOST_FACTS], palette.batches(inputs.batch_names)
    fig = Figure(figsize=(6.6, 2.3 * len(columns)), layout="constrained")
    grid = fig.subplots(len(columns), 2, squeeze=False)
    for row, (name, values) in enumerate(columns):
        for column, words in enumerate(("µ at reference conditions", "Disc wear (µm per stop, both faces)")):
            axes = grid[row][column]
            for batch, value in values.items():
                level = listed[batch].mu if column == 0 else listed[batch].wear_um_per_stop
                if value is None or level.value is None:
                    continue
                look = looks.get(batch, palette.plain(0))
                if level.low is not None and level.high is not None:
                    ends, words_of = [level.low, level.high], unlisted(f"{batch}, interval")
                    axes.plot([value, value], ends, color=look.colour, lw=1.5, label=words_of)
                axes.plot(value, level.value, look.marker, color=look.colour, ms=4, label=unlisted(batch))
                axes.annotate(
                    short(batch, 24), (value, level.value), xytext=(4, 4), textcoords="offset points", fontsize=7
                )
            axes.set(xlabel=short(name, 60), ylabel=words)
            axes.margins(x=0.2)
    return fig
