"""Quiet faults: errors that leave every channel smooth and every stop plausible, each with its sizes.

A fault changes what the sensors, the recorder, the bench or the card's writer left of a clean simulated test of 156 stops.
`codes` are the findings of which one names it rightly; `untold` says, where one test has no witness, why, and whether several
tests would have one. The sensors' stated accuracies in the card: torque 0.1 % of 4000 N m, pressure 0.15 % of 160 bar,
temperature 3 K, radius 0.4 mm, piston area 0.2 %, efficiency 1 %.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import polars as pl

from rig_samples.simulator.run import Simulated

Card = dict[str, Any]
FROM = 81  # what begins in the middle of the test begins here
LONE = 57  # a stop of the map
HOT_C = 450.0
BRAKING = pl.col("pressure_bar") > 4.0  # 0.12 bar at rest


@dataclass(frozen=True)
class Quiet:
    """One kind of fault: `change` maps a test and its card to the faulty ones, at each of `sizes`."""

    name: str
    sizes: tuple[Any, ...]
    codes: tuple[str, ...]
    change: Callable[[Simulated, Card, Any], tuple[Simulated, Card]]
    untold: str = ""
    group: str = ""


def samples(expression: Callable[[Any], pl.Expr | list[pl.Expr]]) -> Callable:
    """A fault of the samples: columns anew from those recorded."""

    def change(test: Simulated, card: Card, size: Any) -> tuple[Simulated, Card]:
        return replace(test, samples=test.samples.with_columns(expression(size))), card

    return change


def frame(of: Callable[[pl.DataFrame, Any], pl.DataFrame]) -> Callable:
    return lambda test, card, size: (replace(test, samples=of(test.samples, size)), card)


def wear(of: Callable[[pl.DataFrame, Any], pl.DataFrame]) -> Callable:
    """A fault of wear.csv; `value` comes as a number."""

    def change(test: Simulated, card: Card, size: Any) -> tuple[Simulated, Card]:
        return replace(test, wear=of(test.wear.with_columns(pl.col("value").cast(pl.Float64)), size)), card

    return change


def entry(*path: str) -> Callable:
    """A fault of the card: the entry at `path` becomes the size."""

    def change(test: Simulated, card: Card, size: Any) -> tuple[Simulated, Card]:
        place = card
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = size
        return test, card

    return change


def blocks(of: Callable[[list[Card], Any], None]) -> Callable:
    def change(test: Simulated, card: Card, size: Any) -> tuple[Simulated, Card]:
        of(card["blocks"], size)
        return test, card

    return change


def times(column: str, when: pl.Expr | None = None) -> Callable:
    """The channel times 1 + size, everywhere or `when`."""
    return samples(lambda x: pl.when(True if when is None else when).then(pl.col(column) * (1 + x)).otherwise(column).alias(column))  # fmt: skip


def plus(column: str, when: pl.Expr | None = None) -> Callable:
    return samples(lambda x: pl.when(True if when is None else when).then(pl.col(column) + x).otherwise(column).alias(column))  # fmt: skip


def grows(column: str) -> Callable:
    return samples(lambda x: pl.col(column) * (1 + x * (pl.col("recording") - 1) / (pl.col("recording").max() - 1)))


def late(*columns: str) -> Callable:
    """Channels recorded later by the size (s, at 100 Hz), each recording's first value held before."""
    return samples(lambda x: [pl.col(c).shift(round(100 * x)).over("recording").fill_null(strategy="backward").over("recording") for c in columns])  # fmt: skip


def smoothed(column: str) -> Callable:
    """A first-order filter of time constant size (s) too much."""
    return samples(lambda x: pl.col(column).ewm_mean(alpha=1 / (1 + 100 * x), adjust=False).over("recording"))


def since_start() -> pl.Expr:
    return pl.col("time_s") - pl.col("time_s").first().over("recording")


def stretched(when: pl.Expr | None = None) -> Callable:
    """Time within each recording stretched by 1 + size: a sample rate that is not the one believed."""
    first = pl.col("time_s").first().over("recording")
    return samples(lambda x: (first + since_start() * pl.when(True if when is None else when).then(1 + x).otherwise(1.0)).alias("time_s"))  # fmt: skip


def gaps(column: str, value: float, period: float, when: pl.Expr | None = None) -> Callable:
    """Within braking, `value` stands for size seconds, every `period` seconds."""
    return samples(lambda x: pl.when(BRAKING & (since_start() % period < x) & (since_start() > 1.6) & (True if when is None else when)).then(value).otherwise(column).alias(column))  # fmt: skip


def from_other(first: int, last: int | None = None) -> Callable:
    """Recordings from a like specimen whose friction is 1 + size of the own, on the same program."""

    def change(test: Simulated, card: Card, size: Any) -> tuple[Simulated, Card]:
        from tests.studies.silent_faults import other_specimen

        other = other_specimen(size)
        taken = pl.col("recording").is_between(first, last or 10_000)
        parts = [test.samples.filter(~taken), other.samples.filter(taken)]
        readings = test.wear
        if last is None:
            after = pl.col("after_stop") >= first
            readings = pl.concat([test.wear.filter(~after), other.wear.filter(after)])
        return replace(test, samples=pl.concat(parts).sort("recording", maintain_order=True), wear=readings), card

    return change


def appended(test: Simulated, card: Card, stops: int) -> tuple[Simulated, Card]:
    """Recordings of a second test behind the first's, numbered on."""
    from tests.studies.silent_faults import other_specimen

    other = other_specimen(-0.05).samples.filter(pl.col("recording") <= stops)
    last, end = test.samples["recording"].max(), test.samples["time_s"].max()
    other = other.with_columns(pl.col("recording") + last, pl.col("time_s") + (end + 3600.0)).cast(test.samples.schema)
    return replace(test, samples=pl.concat([test.samples, other])), card


def cut(test: pl.DataFrame, share: float) -> pl.DataFrame:
    """The lone stop's recording ends after this share of its samples."""
    own = pl.col("recording") == LONE
    kept = pl.int_range(pl.len()).over("recording") < share * pl.len().over("recording")
    return test.filter(~own | kept)


def shortened(test: pl.DataFrame, share: float) -> pl.DataFrame:
    """Samples are taken out of the lone stop's middle and time closed up: this share of the braking stays."""
    own = test.filter(pl.col("recording") == LONE)
    on = own.with_row_index().filter(BRAKING)["index"].to_numpy()
    first, lost = int(on[0] + 0.3 * on.size), int((1 - share) * on.size)
    kept = pl.concat([own[:first], own[first + lost :].with_columns(pl.col("time_s") - 0.01 * lost)])
    rest = test.filter(pl.col("recording") != LONE)
    return pl.concat([rest, kept]).sort("recording", maintain_order=True)


def renamed(pairs: Callable[[Any], dict[int, int]]) -> Callable:
    """Recordings filed under others' numbers."""
    return frame(
        lambda s, x: s.with_columns(pl.col("recording").replace(pairs(x))).sort("recording", maintain_order=True)
    )


def reading(after: int, component: str | None = None, quantity: str = "thickness", point: int | None = None) -> pl.Expr:
    row = (pl.col("after_stop") == after) & (pl.col("quantity") == quantity)
    row &= pl.lit(True) if component is None else pl.col("component") == component
    return row if point is None else row & (pl.col("point") == point)


def moved(row: pl.Expr, factor: float = 0.0) -> Callable:
    """Readings of `row` greater by the size (mm or g), or by size times themselves with `factor` 1."""
    return wear(lambda w, x: w.with_columns(value=pl.when(row).then(pl.col("value") * (1 + factor * x) + (1 - factor) * x).otherwise("value")))  # fmt: skip


def swapped_digits(row: pl.Expr, places: int = 2) -> Callable:
    """Two neighbouring decimals exchanged: 27.9512 becomes 27.9152 (places 2)."""

    def of(table: pl.DataFrame, _: Any) -> pl.DataFrame:
        def swap(value: float) -> float:
            text = f"{value:.4f}"
            at = text.index(".") + places
            return float(text[:at] + text[at + 1] + text[at] + text[at + 2 :])

        return table.with_columns(value=pl.when(row).then(pl.col("value").map_elements(swap, return_dtype=pl.Float64)).otherwise("value"))  # fmt: skip

    return wear(of)


def counted(shift_from: int) -> Callable:
    return wear(lambda w, x: w.with_columns(after_stop=pl.when(pl.col("after_stop") == shift_from).then(pl.col("after_stop") + x).otherwise("after_stop")))  # fmt: skip


def exchanged_sessions(a: int, b: int) -> Callable:
    return wear(lambda w, x: w.with_columns(pl.col("after_stop").replace({a: b, b: a})))


def exchanged_parts(after: int, a: str, b: str) -> Callable:
    return wear(lambda w, x: w.with_columns(component=pl.when(pl.col("after_stop") == after).then(pl.col("component").replace({a: b, b: a})).otherwise("component")))  # fmt: skip


def turned_points(after: int, component: str) -> Callable:
    """The part was laid on the bench turned: its points are read in another order."""
    row = (pl.col("after_stop") == after) & (pl.col("component") == component) & (pl.col("quantity") == "thickness")
    return wear(lambda w, x: w.with_columns(point=pl.when(row).then((pl.col("point") - 1 + x) % 6 + 1).otherwise("point")))  # fmt: skip


def each_block(key: str, factor: Callable[[Any], float], unit: str) -> Callable:
    def of(entries: list[Card], size: Any) -> None:
        for block in entries:
            if key in block:
                block[key] = f"{factor(size) * float(block[key].split()[0]):g} {unit}"

    return blocks(of)


def later(days: float) -> datetime.date:
    return datetime.date.today() + datetime.timedelta(days=days)
