"""Stops that the window's temperatures would promise and that the target band does not hold.

A window is sought for the curve at reference conditions, on map and check stops. A stop of any purpose inside its
temperatures can still read outside the target band: at another pressure, speed or energy, or after gentle use. Such
stops are counted here by block, from stops.parquet, so that no page can leave them out. The window's ends are known
to an interval each; what lies in these intervals counts as inside.
"""

from collections.abc import Sequence

import polars as pl

from pipeline.results.friction import OfMap
from pipeline.results.friction_map import Window
from pipeline.wording import counted

EMPTY = {
    "block": pl.String,
    "purpose": pl.String,
    "inside": pl.Int64,
    "off": pl.Int64,
    "low": pl.Float64,
    "high": pl.Float64,
}


def by_block(stops: pl.DataFrame, friction: OfMap, column: str) -> pl.DataFrame:
    """Blocks with ok stops off the band: `inside` and `off` count stops, `low` and `high` are the mu of those off,
    most first.

    stops: stops.parquet; friction: its `window` (degC) and `wanted_mu` decide; column: the
    method's temperature. No row without a window or a band.
    """
    window, band = friction.window, friction.wanted_mu
    if window is None or not band:
        return pl.DataFrame(schema=EMPTY)
    inside = stops.filter(
        (pl.col("status") == "ok") & pl.col("mu").is_not_null() & pl.col(column).is_between(*reach(window))
    )
    off = ~pl.col("mu").is_between(band[0], band[1])
    named = inside.with_columns(pl.col("block").fill_null("no block"), pl.col("purpose").fill_null("none"))
    return (
        named.group_by("block", "purpose", maintain_order=True)
        .agg(
            pl.len().cast(pl.Int64).alias("inside"),
            off.sum().cast(pl.Int64).alias("off"),
            pl.col("mu").filter(off).min().alias("low"),
            pl.col("mu").filter(off).max().alias("high"),
        )
        .filter(pl.col("off") > 0)
        .sort("off", descending=True, maintain_order=True)
    )


def reach(window: Window) -> tuple[float, float]:
    """The window's temperatures from the outer end of its lower end's interval to that of its upper end's, in degC."""
    start, end = window.low_interval_c.low, window.high_interval_c.high
    return (
        window.low_c if start is None else min(start, window.low_c),
        window.high_c if end is None else max(end, window.high_c),
    )


def condition(window: Window, band: Sequence[float], column: str) -> str:
    """The rows that are counted, in words that say how to get them from stops.parquet."""
    (start, end), (low, high) = reach(window), band
    return f"status is ok, {column} from {start} to {end}, mu outside {low} to {high}"


def band_words(friction: OfMap) -> str:
    """What the band is called: wanted, or one that was made here without a target."""
    return "the target band" if friction.wanted_from in (None, "target") else "the band sought"


def sentence(stops: pl.DataFrame, friction: OfMap, column: str, most: int = 4) -> tuple[str, str] | None:
    """Tone and sentence for a test's page, or None where no stop lies off the band."""
    rows = by_block(stops, friction, column)
    if rows.is_empty() or friction.window is None:
        return None
    blocks = [
        f"{row['block']} ({row['purpose']}) {row['off']} of {row['inside']}, µ {row['low']:.3f} to {row['high']:.3f}"
        for row in rows.head(most).iter_rows(named=True)
    ]
    more = f"; and {counted(len(rows) - most, 'further block')}" if len(rows) > most else ""
    start, end = reach(friction.window)
    said = (
        f"Stops of any purpose inside the window's temperatures (its ends' intervals included, {start:.0f} to "
        f"{end:.0f} °C) and outside "
        f"{band_words(friction)} of µ: {rows['off'].sum()}: {'; '.join(blocks)}{more}."
    )
    return "open", said
