"""The table of blocks that procedures print, and green friction, from the stops themselves.

A row is an unbroken run of one block's stops; extra stops between them belong to no block. Nominal mu is the plain mean over
the stops used, its interval by `block_scatter`. Where a map or check block was run at several sets of conditions its scatter is that
within them. Green friction is the mean of the checks run before bedding, else of the first bedding stops: at most five
and no more than half of the stops that bedding took.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.constants import Array
from pipeline.friction import block_scatter
from pipeline.friction.block_scatter import Scatter, Variance
from pipeline.friction.cells import cells_of, runs_of
from pipeline.friction.fade import runs
from pipeline.friction.selection import before_bedding, conditions
from pipeline.results.friction_blocks import Block, Deceleration, Green, MeanOfStops, Spread
from pipeline.results.friction_history import Bedding

STEADY = ("map", "check")
GREEN_STOPS = 5
SHORTER_THAN = 0.1  # a snub that ends above this share of its start has no mean fully developed deceleration


def sound(stops: pl.DataFrame, use_suspect: bool) -> pl.DataFrame:
    """Stops that a block's figures rest on."""
    kept = ["ok", "suspect"] if use_suspect else ["ok"]
    return stops.filter(pl.col("status").is_in(kept) & pl.col("mu").is_finite() & (pl.col("mu") > 0))


def blocks(
    stops: pl.DataFrame,
    temperature: str,
    scatter: Scatter,
    *,
    common: float | None,
    confidence: float,
    use_suspect: bool,
) -> list[Block]:
    """One row a block in the order run; `common` is the relative standard uncertainty common to all stops."""
    scheduled = stops.filter(pl.col("block").is_not_null())
    return [_row(part, sound(part, use_suspect), temperature, scatter, common, confidence) for part in runs(scheduled)]


def _row(
    part: pl.DataFrame, used: pl.DataFrame, temperature: str, scatter: Scatter, common: float | None, confidence: float
) -> Block:
    mu = used["mu"].to_numpy()
    steady = part["purpose"][0] in STEADY
    groups = at_conditions(used, temperature) if steady else [mu]
    sd = float(np.std(mu, ddof=1)) if mu.size > 1 else None
    return Block(
        block=part["block"][0],
        purpose=part["purpose"][0],
        kind=part["kind"][0],
        from_stop=part["stop"].min(),
        to_stop=part["stop"].max(),
        stops=len(part),
        ok=int((part["status"] == "ok").sum()),
        used=len(used),
        conditions=max(len(groups), 1),
        mu=_mean(groups, scatter, common, confidence, steady=steady) if mu.size else none_of(part),
        mu_least=float(mu.min()) if mu.size else None,
        mu_most=float(mu.max()) if mu.size else None,
        sd=sd,
        sd_why=None if sd is not None else "no two stops with a µ",
        **figures(used),
        energy_all_kj=total(part["energy_kj"]),
    )


def none_of(part: pl.DataFrame) -> MeanOfStops:
    """Why a block has no mean."""
    counts = ", ".join(f"{n} {status}" for status, n in sorted(part["status"].value_counts().iter_rows()))
    return MeanOfStops(why=f"no stop of the block can be used: {counts}")


def figures(used: pl.DataFrame) -> dict[str, Spread]:
    """Mean and extremes of the conditions of some stops."""
    names = ("duration_s", "temperature_initial_c", "temperature_peak_c", "temperature_end_c", "pressure_bar",
             "speed_start_rpm", "speed_end_rpm", "energy_kj", "energy_density_j_mm2")  # fmt: skip
    return {name: Spread(**spread(used[name])) for name in names} | {"deceleration_mps2": deceleration(used)}


def spread(column: pl.Series) -> dict[str, float | None]:
    """Mean, least and most of a column's finite values."""
    values = finite(column)
    if not values.size:
        return {"mean": None, "least": None, "most": None}
    return {"mean": float(values.mean()), "least": float(values.min()), "most": float(values.max())}


def finite(column: pl.Series) -> Array:
    values = column.cast(pl.Float64).drop_nulls().to_numpy()
    return values[np.isfinite(values)]


def total(column: pl.Series) -> float | None:
    values = finite(column)
    return float(values.sum()) if values.size else None


def deceleration(used: pl.DataFrame) -> Deceleration:
    """Mean fully developed deceleration, or why these stops have none."""
    given = finite(used["deceleration_mps2"])
    if given.size:
        return Deceleration(**spread(used["deceleration_mps2"]), stops=given.size)
    return Deceleration(why=_no_deceleration(used))


def _no_deceleration(used: pl.DataFrame) -> str:
    if used.is_empty():
        return "no stop of the block can be used"
    if (used["kind"] == "drag").all():
        return "a drag keeps its speed"
    share = finite(used.select(s=pl.col("speed_end_rpm") / pl.col("speed_start_rpm"))["s"])
    if share.size and float(np.median(share)) > SHORTER_THAN:
        return f"the snubs end above {SHORTER_THAN:g} of their start speed"
    return "no rolling radius"


def at_conditions(used: pl.DataFrame, temperature: str) -> list[Array]:
    """mu of the stops, by the sets of conditions that they were run at one after the other."""
    if used.is_empty():
        return []
    run = runs_of(used, conditions_of(used, temperature))
    mu = used["mu"].to_numpy()
    return [mu[run == k] for k in range(int(run.max()) + 1)]


def conditions_of(used: pl.DataFrame, temperature: str) -> Array:
    """Temperature in K and logarithms of pressure, speed and energy density; what was not recorded is held equal."""
    t, p, w, e = conditions(used, temperature)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = np.column_stack([t, np.log(p), np.log(w), np.log(e)])
    return np.where(np.isfinite(at), at, 0.0)


def _mean(
    groups: Sequence[Array], scatter: Scatter, common: float | None, confidence: float, *, steady: bool
) -> MeanOfStops:
    every = np.concatenate(groups)
    single = variance(groups, scatter, steady=steady)
    shares = sum(
        (g.size / every.size) ** 2 * block_scatter.of_mean(g.size, scatter.alike if steady else 0.0) for g in groups
    )
    return block_scatter.interval(float(every.mean()), single, shares, common, confidence)


def variance(groups: Sequence[Array], scatter: Scatter, *, steady: bool) -> Variance | None:
    """Relative variance of single stops of a block: within its conditions, drawn towards the usual; about their course where
    they are not meant to repeat."""
    if not steady:
        return block_scatter.about_course(np.concatenate(groups), scatter.usual)
    within = [v for v in map(block_scatter.about_mean, groups) if v is not None]
    dof = sum(v.dof for v in within)
    own = Variance(sum(v.dof * v.value for v in within) / dof, dof) if dof else None
    return block_scatter.drawn(own, scatter.usual)


def scatter_of(stops: pl.DataFrame, temperature: str, *, use_suspect: bool, alike: float = 0.0) -> Scatter:
    """What is usual in the map and check blocks after bedding, of one test or of several (with `test`), between blocks of a test."""
    used = steady_stops(stops, use_suspect)
    if used.is_empty():
        return Scatter(alike=alike)
    at, mu = conditions_of(used, temperature), used["mu"].to_numpy()
    run, cell = runs_of(used, at), cells_of(used, at[:, 0], at[:, 1:])
    groups = [mu[run == k] for k in range(int(run.max()) + 1)]
    first = [int(np.argmax(run == k)) for k in range(len(groups))]
    tests = used["test"].to_list() if "test" in used.columns else [""] * len(used)
    by_cell: dict[tuple[str, int], list[Array]] = {}
    for group, row in zip(groups, first, strict=True):
        by_cell.setdefault((tests[row], int(cell[row])), []).append(group)
    between = block_scatter.between(list(by_cell.values()))
    return Scatter(
        block_scatter.usual(groups),
        None if between is None else between.value**0.5,
        0.0 if between is None else between.dof,
        alike,
    )


def steady_stops(stops: pl.DataFrame, use_suspect: bool) -> pl.DataFrame:
    """Stops of map and check blocks after bedding that repeat a set of conditions."""
    order = [name for name in ("test", "stop") if name in stops.columns]
    return sound(stops.with_columns(early=before_bedding(stops)), use_suspect).filter(
        pl.col("purpose").is_in(STEADY), (pl.col("kind") != "drag").fill_null(True),
        pl.col("block").is_not_null(), ~pl.col("early"),
    ).drop("early").sort(order)  # fmt: skip


def green(
    stops: pl.DataFrame,
    bedding: Bedding | None,
    scatter: Scatter,
    *,
    common: float | None,
    confidence: float,
    use_suspect: bool,
) -> Green | None:
    """mu before bedding; None for a test without a bedding block."""
    if bedding is None:
        return None
    used = sound(stops, use_suspect).sort("stop")
    first = stops.filter(pl.col("purpose") == "bedding")["stop"].min()
    checks = used.filter((pl.col("purpose") == "check") & (pl.col("stop") < first))
    if len(checks):
        return _green([checks["mu"].to_numpy()], "checks run before bedding", scatter, common, confidence)
    block = used.filter(pl.col("purpose") == "bedding")
    if block.is_empty():
        return Green(why="no bedding stop can be used")
    if bedding.stops is not None and bedding.stops < 1:
        return Green(why="mu was within 3 % of where it settles from the first bedding stop on")
    count = GREEN_STOPS if bedding.stops is None else int(np.clip(bedding.stops // 2, 1, GREEN_STOPS))
    mu = block["mu"].to_numpy()
    return _green([mu[:count]], "first stops of bedding", scatter, common, confidence, mu)


def _green(
    groups: Sequence[Array],
    source: str,
    scatter: Scatter,
    common: float | None,
    confidence: float,
    course: Array | None = None,
) -> Green:
    """The mean of the first stops; `course` are all stops of their block, where mu moves through it."""
    single = variance(groups if course is None else [course], scatter, steady=course is None)
    every = np.concatenate(groups)
    found = block_scatter.interval(float(every.mean()), single, 1 / every.size, common, confidence)
    return Green(
        value=found.value, low=found.low, high=found.high, why=found.why, stops=every.size, source=source,
        u_stops=found.u_stops, u_common=found.u_common,
    )  # fmt: skip
