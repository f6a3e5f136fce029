"""Blocks whose friction their history has changed, and which therefore say nothing about the material's map.

A map belongs to a bedded, otherwise unchanged surface. Blocks before bedding are left out. Check or map
blocks that follow a duty or a fade are held against a map of the stops before it: a block whose mean lies off
by more than 3 % and by more than three standard errors (its stops', the map's, and 1 % that blocks of a sound
specimen differ by, common practice) is left out of the map and reported. What changed the surface is drift's
business, not the map's.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.friction.comparison import best_map
from pipeline.friction.fade import runs
from pipeline.friction.map import FrictionMap, NoMap, fit_map
from pipeline.friction.selection import before_bedding, usable
from pipeline.method.friction import Friction
from pipeline.results.friction_map import LeftOut

EXPOSURES = ("duty", "fade")
FEWEST_BEFORE = 20
SHIFT, STANDARD_ERRORS, BLOCK_SD = 0.03, 3.0, 0.01


def unchanged(stops: pl.DataFrame, settings: Friction, temperature: str) -> tuple[pl.DataFrame, list[LeftOut]]:
    """The stops less those of changed blocks, and the blocks left out with their mean shift (relative) and
    its u.
    """
    green = green_blocks(stops)
    exposed = stops.filter(pl.col("purpose").is_in(EXPOSURES))["stop"].min()
    if not isinstance(exposed, int):
        return stops, green
    before = stops.filter(pl.col("stop") < exposed)
    if len(usable(before, ("map", "check"), temperature, settings.use_suspect)) < FEWEST_BEFORE:
        return stops, green
    try:
        map_ = fit_map(before, settings, temperature=temperature)
    except NoMap:
        return stops, green
    after = usable(stops.filter(pl.col("stop") > exposed), ("map", "check"), temperature, settings.use_suspect)
    left_out = changed(map_, after)
    if left_out:  # before a block is given up, the map may be of any form: the conditions may move the curve
        left_out = changed(best_map(before, settings, temperature=temperature).map, after)
    gone = [stop for block in left_out for stop in block.stops]
    return stops.filter(~pl.col("stop").is_in(gone)), green + left_out


def changed(map_: FrictionMap, after: pl.DataFrame) -> list[LeftOut]:
    """The blocks of these stops that lie off the map."""
    every = [shift(map_, part) for part in runs(after)]
    return [
        found
        for found in every
        if found is not None and abs(found.shift or 0.0) > max(SHIFT, STANDARD_ERRORS * (found.u or 0.0))
    ]


def green_blocks(stops: pl.DataFrame) -> list[LeftOut]:
    """Check and map blocks run before bedding, which no map is fitted to."""
    early = stops.filter(before_bedding(stops) & pl.col("purpose").is_in(["map", "check"]))
    return [
        LeftOut(
            block=part["block"][0],
            stops=part["stop"].to_list(),
            why=f"{part['block'][0]} was run before bedding",
        )
        for part in runs(early)
    ]


def shift(map_: FrictionMap, part: pl.DataFrame) -> LeftOut | None:
    """Mean of ln(mu / map) over a block with its standard uncertainty; None where the map does not reach
    it.
    """
    expected = map_.predict_stops(part)
    known = expected.supported
    if not known.any():
        return None
    off = np.log(part["mu"].to_numpy()[known] / expected.mu[known])
    t = part[f"temperature_{map_.temperature_kind}_c"].to_numpy()[known] + 273.15
    scatter = float(np.mean(map_.scatter(t) / map_.predict(t).mu))
    u = np.sqrt(scatter**2 / known.sum() + np.mean(expected.se[known] / expected.mu[known]) ** 2 + BLOCK_SD**2)
    name = part["block"][0]
    off_percent = 100 * float(np.median(off))
    side = "below" if off_percent < 0 else "above"
    return LeftOut(
        block=name,
        stops=part["stop"].to_list(),
        shift=float(np.median(off)),
        u=float(u),
        why=f"{name} is {abs(off_percent):.1f} % {side} the value expected from the stops before",
    )
