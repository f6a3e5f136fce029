"""How sharply a planned program would place the window's ends and mu at the reference.

The planned stops are given the friction of the archive's own map at their conditions, with its scatter (of a stop,
alike to its neighbours, of a specimen in level and along the temperature), and the map, its bands and its window are
fitted to them as to a test's. What the intervals come to is the mean over a few such drawn programs: design, scatter and
the estimate of scatter from few specimens all count as they will.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from pipeline.constants import ZERO_C, Array
from pipeline.friction import result
from pipeline.friction.map import FrictionMap, NoMap, fit_map
from pipeline.friction.selection import conditions
from pipeline.friction.wanted import Wanted
from pipeline.method import Method
from pipeline.results.friction_map import EndInterval

DRAWS = 3


@dataclass(frozen=True)
class End:
    """Half width of an end's interval, K: mean over the drawn programs that gave one; shown: in how many of them the
    friction and not the data ended the window, with both ends of its interval inside the data."""

    half_k: float | None
    shown: int
    draws: int
    why: str | None = None


@dataclass(frozen=True)
class Ends:
    """What a program shows of friction: window ends, half width of mu at the reference, stops outside the map."""

    low: End
    high: End
    mu_half: float | None
    unsupported: int
    why: str | None = None


def foreseen(
    truth: FrictionMap,
    stops: pl.DataFrame,
    specimens: int,
    scatter: float,
    method: Method,
    wanted: Wanted,
    common: float,
    draws: int = DRAWS,
) -> Ends:
    """What the planned stops (of one specimen, as `program.table` has them) would show, run on so many specimens.

    truth: the archive's map; scatter: relative standard deviation between specimens; common: relative standard
    uncertainty of the rig's calibration.
    """
    supported = truth.predict_stops(stops).supported
    stops, lost = stops.filter(pl.Series(supported)), int((~supported & np.isin(stops["purpose"], MAPPED)).sum())
    found = []
    # the truth's variances are a good place to begin where the planned specimens are the same kinds of factors
    start = truth.fit.theta if specimens > 1 and "specimen" in truth.factors else None
    for seed in range(draws):
        drawn = drawn_stops(truth, stops, specimens, scatter, np.random.default_rng([seed, 20261126]))
        try:
            own = fit_map(
                drawn, method.friction, temperature=method.reduction.temperature, reference=truth.reference,
                link=truth.link, energy_form=truth.choice.energy_form, interaction=truth.fit.data.interaction or False,
                cells=True, start=start,
            )  # fmt: skip
        except NoMap as reason:
            nothing = End(None, 0, draws, str(reason))
            return Ends(nothing, nothing, None, lost, str(reason))
        found.append(result.of_batch("planned", own, method.friction, wanted, common))
    windows = [one.window for one in found if one.window is not None]
    why = next((one.window_reason for one in found if one.window is None), None)
    at, halves = truth.reference.temperature - ZERO_C, []
    for one in found:
        t = [p.temperature_c for p in one.curve]
        if t and t[0] <= at <= t[-1]:
            halves.append(np.interp(at, t, [(p.high - p.low) / 2 for p in one.curve]))
    return Ends(
        _end([w.low_interval_c for w in windows], draws, why),
        _end([w.high_interval_c for w in windows], draws, why),
        float(np.mean(halves)) if halves else None,
        lost,
        why,
    )


MAPPED = ("map", "check")


def _end(intervals: list[EndInterval], draws: int, why: str | None) -> End:
    closed = [i for i in intervals if i.low is not None and i.high is not None]
    inside = [i for i in closed if not i.beyond_data]
    if not closed:
        reason = next((i.why for i in intervals if i.why), None) or why or "no window"
        return End(None, 0, draws, reason)
    half = float(np.mean([(i.high - i.low) / 2 for i in closed if i.high is not None and i.low is not None]))
    return End(half, len(inside), draws, None if inside else "the interval reaches the end of the planned data")


def drawn_stops(
    truth: FrictionMap, stops: pl.DataFrame, specimens: int, scatter: float, rng: np.random.Generator
) -> pl.DataFrame:
    """The planned stops of each specimen with friction drawn about the truth."""
    t, p, w, e = conditions(stops, truth.temperature_kind)
    sizes = dict(zip(truth.factors, truth.fit.level_variances(), strict=True))
    along = float(np.sqrt(sizes.get("specimen_shift", 0.0)))
    # a specimen's shift along the temperature must not take its stops out of the data that the truth is known from
    low, high = truth.support.stretches()[0][0], truth.support.stretches()[-1][1]
    parts = []
    for number in range(specimens):
        at = np.clip(t - rng.normal(0, along), low, high)
        mu = truth.predict(at, p, w, e).mu
        mu = np.where(np.isfinite(mu), mu, truth.predict(t, p, w, e).mu)
        noise = truth.scatter(at) / truth.predict(at).mu * neighbours(rng, len(t), truth.fit.correlation)
        noise = np.nan_to_num(noise, nan=0.0)
        mu = mu * np.exp(rng.normal(0, scatter) + noise)
        parts.append(
            stops.with_columns(
                mu=pl.Series(mu), test=pl.lit(f"planned {number + 1}"), batch=pl.lit("planned"),
                specimen=pl.lit(str(number + 1)),
            )
        )  # fmt: skip
    return pl.concat(parts)


def neighbours(rng: np.random.Generator, count: int, alike: float) -> Array:
    """Standard normal draws, each alike to the one before by the correlation `alike`."""
    drawn = rng.normal(size=count)
    for k in range(1, count):
        drawn[k] = alike * drawn[k - 1] + np.sqrt(1 - alike**2) * drawn[k]
    return drawn
