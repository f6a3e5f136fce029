"""The table of blocks over the tests of a compound: one row a block and batch; and the lines of each batch.

Blocks of one name and purpose are one row, the tests of a batch counting alike. Stops from a drift's onset on, which change the
specimen, are left out, as in all else that the compound says. The interval holds the scatter of single stops, that
between specimens as the compound's map finds it (unknown for a single specimen, for which its rows then hold), and the
common part.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.constants import Array
from pipeline.friction import block_scatter, lines
from pipeline.friction.block_scatter import Scatter, Variance
from pipeline.friction.blocks import STEADY, at_conditions, figures, none_of, scatter_of, sound, total, variance
from pipeline.method import Method
from pipeline.results.friction_blocks import Block, Line, MeanOfStops
from pipeline.results.model import renewed


class OfTest(NamedTuple):
    """One test's stops with its names; `unchanged` of them show the material as made."""

    batch: str
    specimen: str
    stops: pl.DataFrame
    unchanged: pl.DataFrame
    common: float | None


class Between(NamedTuple):
    """Scatter between specimens as the compound's map finds it, and likeness of neighbouring stops."""

    specimen: Variance | None
    alike: float


def of_batches(
    tests: Sequence[OfTest], method: Method, between: Between
) -> tuple[list[Block], list[Line], dict[str, str]]:
    """Rows and lines of every batch, and why no batch has a line along a condition."""
    by_batch: dict[str, list[OfTest]] = {}
    for test in tests:
        by_batch.setdefault(test.batch, []).append(test)
    rows: dict[tuple[str, str | None], list[Block]] = {}
    found: list[Line] = []
    whys: list[dict[str, str]] = []
    for batch, own in by_batch.items():
        scatters = [_scatter([test], method, between) for test in own]
        for key in dict.fromkeys(key for test in own for key in _keys(test.stops)):
            rows.setdefault(key, []).append(_row(key, own, scatters, method, between, batch))
        count = len({test.specimen for test in own})
        along, why = lines.lines(
            pl.concat([test.unchanged for test in own], how="diagonal_relaxed"), method.reduction.temperature,
            _scatter(own, method, between), common=_common(own), confidence=method.friction.confidence,
            use_suspect=method.friction.use_suspect, specimen=between.specimen,
        )  # fmt: skip
        found += [renewed(line, batch=batch, specimens=count) for line in along]
        whys.append(why)
    nowhere = {key: text for key, text in whys[0].items() if all(key in why for why in whys)} if whys else {}
    return [row for every in rows.values() for row in every], found, nowhere


def _scatter(tests: Sequence[OfTest], method: Method, between: Between) -> Scatter:
    stops = pl.concat([test.unchanged for test in tests], how="diagonal_relaxed")
    suspect = method.friction.use_suspect
    return scatter_of(stops, method.reduction.temperature, use_suspect=suspect, alike=between.alike)


def _keys(stops: pl.DataFrame) -> list[tuple[str, str | None]]:
    """Blocks in the order run, by name and purpose."""
    scheduled = stops.filter(pl.col("block").is_not_null()).sort("stop")
    return list(dict.fromkeys(scheduled.select("block", "purpose").iter_rows()))


def _common(tests: Sequence[OfTest]) -> float | None:
    """Mean of what is common to the stops of each test; tests of one rig share it."""
    known = [test.common for test in tests if test.common is not None]
    return float(np.mean(known)) if known else None


def _row(
    key: tuple[str, str | None],
    tests: Sequence[OfTest],
    scatters: Sequence[Scatter],
    method: Method,
    between: Between,
    batch: str,
) -> Block:
    block, purpose = key
    parts = [t.stops.filter((pl.col("block") == block) & pl.col("purpose").eq_missing(pl.lit(purpose))) for t in tests]
    used = [sound(part, method.friction.use_suspect).sort("stop") for part in parts]
    every, all_used = pl.concat(parts, how="diagonal_relaxed"), pl.concat(used, how="diagonal_relaxed")
    mu = all_used["mu"].to_numpy()
    behind = [k for k, part in enumerate(used) if len(part)]
    within = [float(part["mu"].var(ddof=1)) * (len(part) - 1) for part in used if len(part) > 1]  # type: ignore[arg-type]
    spare = sum(len(part) - 1 for part in used if len(part) > 1)
    return Block(
        block=block,
        purpose=purpose,
        kind=every["kind"][0],
        batch=batch,
        tests=sum(1 for part in parts if len(part)),
        specimens=len({tests[k].specimen for k, part in enumerate(parts) if len(part)}),
        stops=len(every),
        ok=int((every["status"] == "ok").sum()),
        used=len(all_used),
        mu=_mean([(tests[k], scatters[k], used[k]) for k in behind], method, between, purpose)
        if behind
        else none_of(every),
        mu_least=float(mu.min()) if mu.size else None,
        mu_most=float(mu.max()) if mu.size else None,
        sd=float(np.sqrt(sum(within) / spare)) if spare else None,
        sd_why=None if spare else "no test has two stops of the block with a µ",
        **figures(all_used),
        energy_all_kj=total(every["energy_kj"]),
    )


def _mean(
    behind: Sequence[tuple[OfTest, Scatter, pl.DataFrame]], method: Method, between: Between, purpose: str | None
) -> MeanOfStops:
    """Mean over the tests' means with its interval."""
    steady = purpose in STEADY
    means: list[float] = []
    parts: list[Variance] = []
    for _, scatter, used in behind:
        groups: list[Array] = at_conditions(used, method.reduction.temperature) if steady else [used["mu"].to_numpy()]
        means.append(float(used["mu"].to_numpy().mean()))
        single = variance(groups, scatter, steady=steady)
        if single is not None:
            share = sum(
                (g.size / len(used)) ** 2 * block_scatter.of_mean(g.size, scatter.alike if steady else 0.0)
                for g in groups
            )
            parts.append(Variance(single.value * share / len(behind) ** 2, single.dof))
    mean = float(np.mean(means))
    common = _common([test for test, _, _ in behind])
    if len(parts) < len(behind):
        return block_scatter.interval(mean, None, 1.0, common, method.friction.confidence)
    specimens = len({test.specimen for test, _, _ in behind})
    if between.specimen is not None:
        parts.append(Variance(between.specimen.value / specimens, between.specimen.dof))
    return block_scatter.interval(mean, parts[0], 1.0, common, method.friction.confidence, parts[1:])
