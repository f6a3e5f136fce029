"""delta.html: what a change of method did, from delta.json, delta.parquet, shares.json and the traces of the stops that moved most.

First what changed, in three sentences; then where mu compares, what each setting does alone, verdicts and figures, and the stops that moved
most by both methods over one another.
"""

from pathlib import Path
from typing import Any

import polars as pl
from markupsafe import Markup

from pipeline.delta.comparable import SMALL_RELATIVE, percent
from pipeline.report import delta_figures, delta_tables, render, still
from pipeline.report.delta_tables import value
from pipeline.results import beside, read_table, write_text
from pipeline.results.delta import Delta, MovedStop
from pipeline.results.model import read, read_or_none
from pipeline.results.shares import TOGETHER, Shares

TONES = {"yes": "good", "in part": "open", "no": "bad"}
MOST_DRAWN = 4
HALF = 540.0  # pixels of a picture that has another beside it


def run(*, into: Path) -> None:
    """Write `into`/delta.html from the files beside it and the results of both methods; plotly.js goes into assets/ of the results."""
    content = read(into / "delta.json", Delta)
    delta = read_table(into / "delta.parquet")
    shares = read_or_none(into / "shares.json", Shares) or Shares()
    parts = into / "shares.parquet"
    script = render.plotly_file(into.parent.parent)
    page_file = into / "delta.html"
    beside.leave(page_file, [script])
    filled = context(content, delta, shares, read_table(parts) if parts.is_file() else None, into.parent.parent)
    write_text(page_file, render.page("delta.html", plotly=render.relative(script, page_file), **filled))


def context(
    content: Delta, delta: pl.DataFrame, shares: Shares, parts: pl.DataFrame | None, results: Path
) -> dict[str, Any]:
    """Everything the template prints; parts: shares.parquet."""
    judged = content.comparable
    a, b = content.a or "first", content.b or "second"
    figures = {
        "order": delta_figures.by_temperature(delta, SMALL_RELATIVE),
        "mu": delta_figures.scatter(delta),
    }
    of_settings = delta_figures.of_settings(shares, _span(delta))
    if of_settings is not None:
        figures["shares"] = of_settings
    movers: list[tuple[str, str, Markup]] = []
    for one in content.examples[:MOST_DRAWN]:
        both = delta_figures.reductions(results, (a, b), one)
        name = f"mover_{len(movers)}"
        if both is not None:
            figures[name] = delta_figures.one_stop(both, (a, b))
            movers.append((name, *mover_words(one, a, b, parts)))
    verdicts = [c for c in content.changed if c.kind == "verdict"]
    return {
        "title": f"Change of method: {a} to {b}",
        "a": a,
        "b": b,
        "unusable": content.unusable,
        "verdict": content.verdict or ([judged.text] if judged else []),
        "tone": "bad" if verdicts else TONES[judged.answer] if judged else "open",
        "settings": [[s.name, value(s.a), value(s.b), s.meaning] for s in content.settings],
        "verdicts": [[c.name, c.what, value(c.a), value(c.b)] for c in verdicts],
        "same": sum(1 for c in content.conclusions if c.kind == "verdict" and not c.changed),
        "moved": delta_tables.moved_apart(content),
        "counts": content.figures,
        "overview": delta_tables.overview_rows(content.overview) if content.overview else [],
        "comparable_heads": delta_tables.comparable_heads(judged.ranges if judged else []),
        "comparable": delta_tables.comparable_rows(content.classes, judged.ranges if judged else []),
        "shares": shares,
        "share_heads": delta_tables.share_heads(shares),
        "share_rows": delta_tables.share_rows(shares, content.settings),
        "share_notes": delta_tables.share_notes(shares),
        "sample": delta_tables.sample_words(shares),
        "blocks": delta_tables.block_rows(content.blocks),
        "largest": delta_tables.largest_rows(content.largest, a, b),
        "movers": movers,
        "status_changes": delta_tables.status_rows(content.status_changes, a, b),
        "not_reprocessable": content.not_reprocessable,
        "figures": figures,
        "stills": {n: still.picture(f, HALF if n.startswith("mover") else still.WIDTH) for n, f in figures.items()},
        "figures_json": render.figures_json(figures),
        "script": render.page_script(),
    }


def _span(delta: pl.DataFrame) -> tuple[float, float]:
    """Coldest and hottest start of a stop (degC)."""
    known = delta["temperature_initial_c"].drop_nulls().to_list() if "temperature_initial_c" in delta.columns else []
    return (min(known), max(known)) if known else (0.0, 0.0)


def mover_words(moved: MovedStop, a: str, b: str, parts: pl.DataFrame | None) -> tuple[str, Markup]:
    """Heading: which stop moved by how much; beside it by which setting, where the sample says so, and links to both pages."""
    warm = "" if moved.temperature_initial_c is None else f", from {moved.temperature_initial_c:.0f} °C"
    change = f" ({percent(moved.mu_difference / moved.mu_a)}\u00a0%)" if moved.mu_a else ""
    heading = f"{moved.test}, {moved.block or 'no block'}{warm}: µ {moved.mu_a:.4f} → {moved.mu_b:.4f}{change}"
    links = [delta_tables.link(method, moved.test, stop) for method, stop in ((a, moved.stop_a), (b, moved.stop_b))]
    said = Markup("Stop {} by {}, stop {} by {}. {}").format(links[0], a, links[1], b, by_settings(moved, parts))
    return heading, said


def by_settings(moved: MovedStop, parts: pl.DataFrame | None) -> str:
    """What each setting alone does to a stop of the sample, and their interaction; empty for others."""
    if parts is None:
        return ""
    own = parts.filter(pl.col("test") == moved.test, pl.col("stop") == moved.stop_a, pl.col("setting") != TOGETHER)
    said = [f"{name} {percent(share)}\u00a0%" for name, share in own.select("setting", "mu_relative").iter_rows()]
    if len(said) == 2:  # one setting, with which nothing can interact
        said = said[:1]
    return f"Each setting alone: {'; '.join(said)}." if said else ""
