"""delta.html: what a change of method did, from delta.parquet and delta.json.

First whether earlier sheets remain comparable, then the changed conclusions side by side, the settings, and the stops.
"""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import plotly.graph_objects as go
import polars as pl

from pipeline.report import frame, numbers, palette, render
from pipeline.results import read_json, read_table, write_text

TONES = {"yes": "good", "in part": "open", "no": "bad"}
MOST_STOPS = 6000


def run(*, into: Path) -> None:
    """Write `into`/delta.html from the two files beside it; plotly.js goes into assets/ beside all deltas."""
    content = read_json(into / "delta.json")
    delta = read_table(into / "delta.parquet")
    script = render.plotly_file(into.parent)
    page_file = into / "delta.html"
    write_text(
        page_file, render.page("delta.html", plotly=render.relative(script, page_file), **context(content, delta))
    )


def context(content: Mapping[str, Any], delta: pl.DataFrame) -> dict[str, Any]:
    """Everything the template prints."""
    a, b = str(content.get("a")), str(content.get("b"))
    comparable = content.get("comparable") or {}
    figures = {"mu": scatter(delta), "order": by_temperature(delta)}
    return {
        "title": f"Change of method: {a} to {b}", "a": a, "b": b, "unusable": content.get("unusable"),
        "answer": comparable.get("answer") or "not given", "answer_text": comparable.get("text") or "", "tone": TONES.get(str(comparable.get("answer")), "open"),
        "settings": [[s["name"], value(s["a"]), value(s["b"]), s.get("meaning") or ""] for s in content.get("settings") or []],
        "changed": [[c["scope"], c["name"], c["what"], value(c["a"]), value(c["b"])] for c in content.get("changed") or []],
        "unchanged": sum(1 for c in content.get("conclusions") or [] if not c.get("changed")),
        "overview": overview_rows(content.get("overview") or {}),
        "classes": class_rows(content.get("classes") or []),
        "blocks": block_rows(content.get("blocks") or []),
        "largest": largest_rows(content.get("largest") or []),
        "status_changes": [[str(r["test"]), str(r["stop"]), r["block"] or "no block", r["status_a"] or "not found", r["status_b"] or "not found"]
                           for r in content.get("status_changes") or []],
        "not_reprocessable": content.get("not_reprocessable") or [],
        "figures": figures, "figures_json": render.figures_json(figures), "script": render.page_script(),
    }  # fmt: skip


def value(content: Any) -> str:
    """A setting or conclusion as text."""
    if content is None:
        return "not given"
    if isinstance(content, bool):
        return "yes" if content else "no"
    if isinstance(content, list):
        return ", ".join(value(item) for item in content)
    return f"{content:.6g}" if isinstance(content, float) else str(content)


def change(row: Mapping[str, Any], key: str) -> str:
    """A change of mu with its sign, four decimals; relative ones as per cent."""
    if not numbers.is_number(row.get(key)):
        return "not given"
    return f"{100 * row[key]:+.2f}" if key.startswith("relative") else f"{row[key]:+.4f}"


def overview_rows(overview: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Counts over all stops."""
    names = {"stops": "Stops of either method", "with_mu_in_both": "with µ in both", "only_a": "found by the first only", "only_b": "found by the second only",
             "mu_unchanged": "µ unchanged to the last digit", "energy_unchanged": "energy unchanged", "energy_changed": "energy changed",
             "status_changed": "status changed"}  # fmt: skip
    rows = [(text, str(overview[key])) for key, text in names.items() if overview.get(key) is not None]
    quantiles = overview.get("change") or {}
    for key, text in (
        ("median", "Median change of µ"),
        ("p05", "5th percentile"),
        ("p95", "95th percentile"),
        ("largest", "Largest"),
    ):
        if quantiles:
            rows.append((text, change(quantiles, key)))
    return rows


def class_rows(classes: list[Mapping[str, Any]]) -> list[list[str]]:
    """Change of mu by class of initial temperature."""
    rows = []
    for row in classes:
        low, high = row.get("low_c"), row.get("high_c")
        span = (
            f"below {high:.0f}"
            if low is None and high is not None
            else (f"{low:.0f} to {high:.0f}" if high is not None else f"from {low:.0f}")
        )
        answer = {True: "yes", False: "no", None: "not given"}[row.get("comparable")]
        rows.append(
            [
                span,
                str(row["stops"]),
                change(row, "median"),
                change(row, "p05"),
                change(row, "p95"),
                change(row, "relative_median"),
                answer,
            ]
        )
    return rows


def block_rows(blocks: list[Mapping[str, Any]]) -> list[list[str]]:
    """Change of mu by test and block."""
    return [
        [str(r["test"]), str(r["block"] or "no block"), str(r["purpose"] or ""), str(r["stops"]), f"{r['mu_a']:.4f}", f"{r['mu_b']:.4f}", change(r, "median"), change(r, "largest")]
        for r in blocks
    ]  # fmt: skip


def largest_rows(rows: list[Mapping[str, Any]]) -> list[list[str]]:
    """The stops that moved most."""
    return [
        [str(r["test"]), str(r["stop"]), str(r["block"] or "no block"), f"{r['mu_a']:.4f}", f"{r['mu_b']:.4f}", f"{r['mu_difference']:+.4f}",
         f"{r['temperature_initial_c']:.0f}" if numbers.is_number(r.get("temperature_initial_c")) else "not given"]
        for r in rows
    ]  # fmt: skip


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
        fig.add_scatter(x=frame.trimmed(own[x]), y=frame.trimmed(own[y]), mode="markers", name=words, marker={"color": colour, "symbol": symbol, "size": 6},
                        **frame.named(("test", "stop"), [[frame.label(t), s] for t, s in zip(own["test"], own["stop"], strict=True)],
                                      "%{test}, stop %{stop}<br>%{x:.4g}, %{y:.4f}<extra></extra>"))  # fmt: skip
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
