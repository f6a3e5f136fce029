"""Stops that the window's temperatures would promise and that the wanted band does not hold.

A window is sought for the curve at reference conditions, on map and check stops. A stop of any purpose inside its
temperatures can still read outside the wanted band: at another pressure, speed or energy, or after gentle use. Such stops
are counted here by block, from stops.parquet, so that no page can leave them out. The window's ends are known to an
interval each; what lies in these intervals counts as inside.
"""

from collections.abc import Mapping
from typing import Any

import polars as pl

from pipeline.report import numbers

EMPTY = {
    "block": pl.String,
    "purpose": pl.String,
    "inside": pl.Int64,
    "off": pl.Int64,
    "low": pl.Float64,
    "high": pl.Float64,
}


def by_block(stops: pl.DataFrame, friction: Mapping[str, Any], column: str) -> pl.DataFrame:
    """Blocks with ok stops off the band: `inside` and `off` count stops, `low` and `high` are the mu of those off, most first.

    stops: stops.parquet; friction: the content of friction.json, whose `window` (degC) and `wanted_mu` decide; column: the
    method's temperature. No row without a window or a band.
    """
    window, band = friction.get("window"), friction.get("wanted_mu")
    if not window or not band or not all(map(numbers.is_number, band)):
        return pl.DataFrame(schema=EMPTY)
    inside = stops.filter(
        (pl.col("status") == "ok") & pl.col("mu").is_not_null() & pl.col(column).is_between(*reach(window))
    )  # fmt: skip
    off = ~pl.col("mu").is_between(band[0], band[1])
    named = inside.with_columns(pl.col("block").fill_null("no block"), pl.col("purpose").fill_null("none"))
    return (
        named.group_by("block", "purpose", maintain_order=True)
        .agg(
            pl.len().cast(pl.Int64).alias("inside"), off.sum().cast(pl.Int64).alias("off"), pl.col("mu").filter(off).min().alias("low"),
            pl.col("mu").filter(off).max().alias("high"),
        )
        .filter(pl.col("off") > 0)
        .sort("off", descending=True, maintain_order=True)
    )  # fmt: skip


def reach(window: Mapping[str, Any]) -> tuple[float, float]:
    """The window's temperatures from the outer end of its lower end's interval to that of its upper end's, in degC."""
    low, high = (window.get(f"{end}_interval_c") or {} for end in ("low", "high"))
    start = low["low"] if numbers.is_number(low.get("low")) else window["low_c"]
    end = high["high"] if numbers.is_number(high.get("high")) else window["high_c"]
    return min(start, window["low_c"]), max(end, window["high_c"])


def condition(friction: Mapping[str, Any], column: str) -> str:
    """The rows that are counted, in words that say how to get them from stops.parquet."""
    (start, end), (low, high) = reach(friction["window"]), friction["wanted_mu"]
    return f"status is ok, {column} from {start} to {end}, mu outside {low} to {high}"


def band_words(friction: Mapping[str, Any]) -> str:
    """What the band is called: wanted, or one that was made here without a target."""
    return "the wanted band" if friction.get("wanted_from") in (None, "target") else "the band sought"


def sentence(stops: pl.DataFrame, friction: Mapping[str, Any], column: str, most: int = 4) -> tuple[str, str] | None:
    """Tone and sentence for a test's page, or None where no stop lies off the band."""
    rows = by_block(stops, friction, column)
    if rows.is_empty():
        return None
    blocks = [
        f"{row['block']} ({row['purpose']}) {row['off']} of {row['inside']}, µ {row['low']:.3f} to {row['high']:.3f}"
        for row in rows.head(most).iter_rows(named=True)
    ]
    more = f"; and {len(rows) - most} further blocks" if len(rows) > most else ""
    start, end = reach(friction["window"])
    said = (
        f"Stops of any purpose inside the window's temperatures (its ends' intervals included, {start:.0f} to {end:.0f} °C) and outside "
        f"{band_words(friction)} of µ: {rows['off'].sum()}: {'; '.join(blocks)}{more}."
    )
    return "open", said
