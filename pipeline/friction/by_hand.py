"""What the map would say with the stops that the engineer excluded: the same fit once more, with them.

A choice of stops that moves a conclusion must be seen to do so. Only the sound ones among them (their status without
the exclusion) would enter a map; where none would, the exclusion changes nothing here and nothing is fitted.
"""

from __future__ import annotations

from collections.abc import Callable

import polars as pl

from pipeline.friction.selection import usable
from pipeline.method import Method
from pipeline.results.friction import OfMap
from pipeline.results.friction_history import ByHand

PURPOSES = ("map", "check")


def with_excluded(
    stops: pl.DataFrame, excluded: pl.DataFrame, method: Method, fitted: Callable[[pl.DataFrame], OfMap]
) -> ByHand | None:
    """Window and mean mu with the stops of `excluded` used, by `fitted`, the fit of the test; None without such stops.

    stops: the test's, excluded ones rejected among them; excluded: rows of these as they would stand otherwise.
    """
    if excluded.is_empty():
        return None
    numbers = excluded["stop"].to_list()
    every = with_them(stops, excluded)
    sound = usable(every, PURPOSES, method.reduction.temperature, method.friction.use_suspect)
    entering = sound.filter(pl.col("stop").is_in(numbers))["stop"].to_list()
    if not entering:
        return ByHand(stops=numbers, of_the_map=[], why="none of them would enter the map")
    found = fitted(every)
    return ByHand(stops=numbers, of_the_map=entering, window=found.window, window_reason=found.window_reason)


def with_them(stops: pl.DataFrame, excluded: pl.DataFrame) -> pl.DataFrame:
    """The test's stops as they would stand had none been excluded."""
    others = stops.filter(~pl.col("stop").is_in(excluded["stop"].to_list()))
    return pl.concat([others, excluded.select(stops.columns)]).sort("stop")
