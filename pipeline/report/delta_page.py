"""delta.html: what a change of method did, from delta.parquet and delta.json.

First whether earlier sheets remain comparable, then the changed conclusions side by side, the settings, and the stops.
"""

from pathlib import Path
from typing import Any

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, numbers, palette, render
from pipeline.results import read_table, write_text
from pipeline.results.delta import BlockChange, Delta, MovedStop, Overview, TemperatureClass
from pipeline.results.model import read

TONES = {"yes": "good", "in part": "open", "no": "bad"}
MOST_STOPS = 6000


def run(*, into: Path) -> None:
    """Write `into`/delta.html from the two files beside it; plotly.js goes into assets/ of the results."""
    content = read(into / "delta.json", Delta)
    delta = read_table(into / "delta.parquet")
    script = render.plotly_file(into.parent.parent)
    page_file = into / "delta.html"
    write_text(
        page_file, render.page("delta.html", plotly=render.relative(script, page_file), **context(content, delta))
    )


def context(content: Delta, delta: pl.DataFrame) -> dict[str, Any]:
    """Everything the template prints."""
    judged = content.comparable
    figures = {"mu": scatter(delta), "order": by_temperature(delta)}
    return {
        "title": f"Change of method: {content.a} to {content.b}",
        "a": content.a,
        "b": content.b,
        "unusable": content.unusable,
        "answer": judged.answer if judged else "not given",
        "answer_text": judged.text if judged else "",
        "tone": TONES[judged.answer] if judged else "open",
        "settings": [[s.name, value(s.a), value(s.b), s.meaning] for s in content.settings],
        "changed": [[c.scope, c.name, c.what, value(c.a), value(c.b)] for c in content.changed],
        "unchanged": sum(1 for c in content.conclusions if not c.changed),
        "overview": overview_rows(content.overview) if content.overview else [],
        "classes": class_rows(content.classes),
        "blocks": block_rows(content.blocks),
        "largest": largest_rows(content.largest),
        "status_changes": [
            [r.test, str(r.stop), r.block or "no block", r.status_a or "not found", r.status_b or "not found"]
            for r in content.status_changes
        ],
        "not_reprocessable": content.not_reprocessable,
        "figures": figures,
        "figures_json": render.figures_json(figures),
        "script": render.page_script(),
    }


def value(content: Any) -> str:
    """A setting or conclusion as text."""
    if content is None:
        return "not given"
    if isinstance(content, bool):
        return "yes" if content else "no"
    if isinstance(content, list):
        return ", ".join(value(item) for item in content)
    return f"{content:.6g}" if isinstance(content, float) else str(content)


def change(value: float | None) -> str:
    """A change of mu with its sign, four decimals."""
    return "not given" if value is None else f"{value:+.4f}"


def per_cent(share: float | None) -> str:
    """A relative change of mu with its sign as per cent."""
    return "not given" if share is None else f"{100 * share:+.2f}"


def overview_rows(overview: Overview) -> list[tuple[str, str]]:
    """Counts over all stops."""
    counts = (
        ("Stops of either method", overview.stops),
        ("with µ in both", overview.with_mu_in_both),
        ("found by the first only", overview.only_a),
        ("found by the second only", overview.only_b),
        ("µ unchanged to the last digit", overview.mu_unchanged),
        ("energy unchanged", overview.energy_unchanged),
        ("energy changed", overview.energy_changed),
        ("status changed", overview.status_changed),
    )
    rows = [(text, str(count)) for text, count in counts if count is not None]
    quantiles = overview.change
    if quantiles is not None:
        rows += [
            ("Median change of µ", change(quantiles.median)),
            ("5th percentile", change(quantiles.p05)),
            ("95th percentile", change(quantiles.p95)),
            ("Largest", change(quantiles.largest)),
        ]
    return rows


def class_rows(classes: list[TemperatureClass]) -> list[list[str]]:
    """Change of mu by class of initial temperature."""
    rows = []
    for row in classes:
        span = f"{row.low_c:.0f} to {row.high_c:.0f}" if row.low_c is not None and row.high_c is not None else ""
        if not span:
            span = f"below {row.high_c:.0f}" if row.high_c is not None else f"from {row.low_c:.0f}"
        changes = [change(row.median), change(row.p05), change(row.p95), per_cent(row.relative_median)]
        rows.append([span, str(row.stops), *changes, {True: "yes", False: "no", None: "not given"}[row.comparable]])
    return rows


def block_rows(blocks: list[BlockChange]) -> list[list[str]]:
    """Change of mu by test and block."""
    return [
        [
            r.test,
            r.block or "no block",
            r.purpose or "",
            str(r.stops),
            f"{r.mu_a:.4f}",
            f"{r.mu_b:.4f}",
            change(r.median),
            change(r.largest),
        ]
        for r in blocks
    ]


def largest_rows(rows: list[MovedStop]) -> list[list[str]]:
    """The stops that moved most."""
    return [
        [
            r.test,
            str(r.stop),
            r.block or "no block",
            f"{r.mu_a:.4f}",
            f"{r.mu_b:.4f}",
            f"{r.mu_difference:+.4f}",
            numbers.fixed(r.temperature_initial_c, 0),
        ]
        for r in rows
    ]


def _thinned(delta: pl.DataFrame) -> pl.DataFrame:
    both = delta.filter(pl.col("mu_difference").is_not_null())
    return both if len(both) <= MOST_STOPS else both[frame.spread(range(len(both)), MOST_STOPS)]


def _points(fig: go.Figure, part: pl.DataFrame, x: str, y: str) -> go.Figure:
    purposes = part["purpose"].fill_null("") if "purpose" in part.columns else pl.Series([""] * len(part))
    for name in [*palette.PURPOSES, ""]:
        own = part.filter(purposes == name)
        if own.is_empty():
            continue
        colour, symbol, _, words = palette.purpose(name)
        fig.add_scatter(
            x=frame.trimmed(own[x]),
            y=frame.trimmed(own[y]),
            mode="markers",
            name=words,
            marker={"color": colour, "symbol": symbol, "size": 6},
            **frame.named(
                ("test", "stop"),
                [[frame.label(t), s] for t, s in zip(own["test"], own["stop"], strict=True)],
                "%{test}, stop %{stop}<br>%{x:.4g}, %{y:.4f}<extra></extra>",
            ),
        )
    return fig


def scatter(delta: pl.DataFrame) -> go.Figure:
    """mu by the second method against mu by the first."""
    part = _thinned(delta)
    fig = frame.figure(frame.axis("µ by the first method", "1"), frame.axis("µ by the second method", "1"), height=460)
    if part.is_empty():
        return frame.say(fig, "no stop has µ in both methods")
    values = part["mu_a"].to_list() + part["mu_b"].to_list()
    ends = [min(values), max(values)]
    fig.add_scatter(
        x=ends,
        y=ends,
        mode="lines",
        name="equal",
        line={"color": palette.MUTED, "dash": "dot", "width": 1.2},
        hoverinfo="skip",
    )
    return _points(fig, part, "mu_a", "mu_b")


def by_temperature(delta: pl.DataFrame) -> go.Figure:
    """Change of mu against initial temperature: a change of average or window moves the cold stops first."""
    fig = frame.figure(
        frame.axis("Disc temperature at stop start", "°C"),
        frame.axis("Change of µ, second less first", "1"),
        height=400,
    )
    if "temperature_initial_c" not in delta.columns:
        return frame.say(fig, "no temperatures in delta.parquet")
    part = _thinned(delta).filter(pl.col("temperature_initial_c").is_not_null())
    return (
        _points(fig, part, "temperature_initial_c", "mu_difference")
        if len(part)
        else frame.say(fig, "no stop has µ in both methods")
    )
