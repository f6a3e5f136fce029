"""Fade and recovery, as ratios to the checks before: 1 is unchanged.

Fade index: lowest mu of the fade over the mean of the check block before it. Recovery index: the first check
block after the fade (without one, the last three recovery stops) over the same mean; recovery stops: until mu
is back within 3 %.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.results.friction_history import Fade, Recovery
from pipeline.results.model import renewed

BACK = 0.03
LAST_STOPS = 3


def runs(stops: pl.DataFrame) -> list[pl.DataFrame]:
    """The stops' blocks in the order run: unbroken rows of one purpose and block."""
    if stops.is_empty():
        return []
    change = (pl.col("block") != pl.col("block").shift()) | (pl.col("purpose") != pl.col("purpose").shift())
    numbered = stops.sort("stop").with_columns(run=change.fill_null(True).cum_sum())
    return [part.drop("run") for part in numbered.partition_by("run", maintain_order=True)]


def fades(stops: pl.DataFrame, temperature: str, *, use_suspect: bool = False) -> list[Fade]:
    """Every fade block with its lowest mu, index and recovery, in the order run."""
    sound = ["ok", "suspect"] if use_suspect else ["ok"]
    scheduled = stops.filter(pl.col("block").is_not_null() & pl.col("purpose").is_not_null())
    every = runs(scheduled.filter(pl.col("status").is_in(sound) & pl.col("mu").is_finite()))
    purposes = [part["purpose"][0] for part in every]
    found = []
    for k, part in enumerate(every):
        if purposes[k] != "fade":
            continue
        before = [i for i in range(k) if purposes[i] == "check"]
        level = float(np.mean(every[before[-1]]["mu"].to_numpy())) if before else None
        later = next((i for i in range(k + 1, len(every)) if purposes[i] == "fade"), len(every))
        found.append(_fade(part, level, temperature, _recovery(every[k + 1 : later], level)))
    return found


def _fade(part: pl.DataFrame, level: float | None, temperature: str, recovery: Recovery | None) -> Fade:
    lowest = part.row(int(part["mu"].arg_min() or 0), named=True)
    return Fade(
        block=lowest["block"],
        mu_min=lowest["mu"],
        stop=lowest["stop"],
        temperature_c=lowest[f"temperature_{temperature}_c"],
        mu_before=level,
        index=None if level is None else lowest["mu"] / level,
        why=None if level is not None else "no check block before the fade",
        recovery=recovery,
    )


def _recovery(after: list[pl.DataFrame], level: float | None) -> Recovery | None:
    """Recovery up to the next fade; None where neither a recovery block nor a check follows."""
    checks = [part for part in after if part["purpose"][0] == "check"]
    recovering = [part for part in after if part["purpose"][0] == "recovery"]
    if not checks and not recovering:
        return None
    if level is None:
        return Recovery(why="no check block before the fade")
    after_mu = checks[0]["mu"] if checks else pl.concat(recovering)["mu"].tail(LAST_STOPS)
    found = Recovery(index=float(np.mean(after_mu.to_numpy())) / level, after="check" if checks else "recovery")
    if not recovering:
        return renewed(found, why="no recovery block after the fade")
    back = np.abs(pl.concat(recovering)["mu"].to_numpy() / level - 1) <= BACK
    if back.any():
        return renewed(found, stops=int(back.argmax()) + 1)
    return renewed(found, why=f"mu did not come back within {100 * BACK:.0f} % in {back.size} recovery stops")


def worst(found: list[Fade]) -> Fade | None:
    """The fade with the lowest index; without an index, with the lowest mu."""
    if not found:
        return None
    return min(found, key=lambda f: f.index if f.index is not None else f.mu_min)
