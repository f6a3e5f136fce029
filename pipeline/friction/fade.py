"""Fade and recovery, as ratios to the checks before: 1 is unchanged.

Fade index: lowest mu of the fade over the mean of the check block before it. Recovery index: the first check
block after the fade (without one, the last three recovery stops) over the same mean; recovery stops: until mu
is back within 3 %.

Intervals: the lowest of several stops lies low by chance alone. So the fade is smoothed over three stops, stops are drawn
about it with their scatter, and by what their lowest lies under the smooth one's (beside the scatter of the checks' mean)
the interval is laid about the index. The recovery index is a ratio of two means, its interval that of the logarithm. Both
hold the scatter between blocks at one set of conditions where the test shows it; the common part cancels.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.constants import Array
from pipeline.friction import block_scatter
from pipeline.friction.block_scatter import Scatter, Variance
from pipeline.results.friction_history import Fade, Recovery
from pipeline.results.model import renewed
from pipeline.wording import counted

BACK = 0.03
LAST_STOPS = 3
DRAWS, SEED = 4000, 0
UNKNOWN = "how far single stops scatter is not known"


def runs(stops: pl.DataFrame) -> list[pl.DataFrame]:
    """The stops' blocks in the order run: unbroken rows of one purpose and block."""
    if stops.is_empty():
        return []
    change = (pl.col("block") != pl.col("block").shift()) | (pl.col("purpose") != pl.col("purpose").shift())
    numbered = stops.sort("stop").with_columns(run=change.fill_null(True).cum_sum())
    return [part.drop("run") for part in numbered.partition_by("run", maintain_order=True)]


def fades(
    stops: pl.DataFrame,
    temperature: str,
    *,
    use_suspect: bool = False,
    scatter: Scatter | None = None,
    confidence: float = 0.95,
) -> list[Fade]:
    """Every fade block with its lowest mu, index and recovery, in the order run; intervals by the test's `scatter`."""
    scatter = scatter or Scatter()
    sound = ["ok", "suspect"] if use_suspect else ["ok"]
    scheduled = stops.filter(pl.col("block").is_not_null() & pl.col("purpose").is_not_null())
    every = runs(scheduled.filter(pl.col("status").is_in(sound) & pl.col("mu").is_finite()))
    purposes = [part["purpose"][0] for part in every]
    found = []
    for k, part in enumerate(every):
        if purposes[k] != "fade":
            continue
        before = [i for i in range(k) if purposes[i] == "check"]
        checks = every[before[-1]]["mu"].to_numpy() if before else None
        later = next((i for i in range(k + 1, len(every)) if purposes[i] == "fade"), len(every))
        recovery = _recovery(every[k + 1 : later], checks, scatter, confidence)
        found.append(_fade(part, checks, temperature, recovery, scatter, confidence))
    return found


def _fade(
    part: pl.DataFrame,
    checks: Array | None,
    temperature: str,
    recovery: Recovery | None,
    scatter: Scatter,
    confidence: float,
) -> Fade:
    level = None if checks is None else float(checks.mean())
    low, high = (None, None) if checks is None else index_interval(part["mu"].to_numpy(), checks, scatter, confidence)
    lowest = part.row(int(part["mu"].arg_min() or 0), named=True)
    return Fade(
        block=lowest["block"],
        mu_min=lowest["mu"],
        stop=lowest["stop"],
        temperature_c=lowest[f"temperature_{temperature}_c"],
        mu_before=level,
        index=None if level is None else lowest["mu"] / level,
        index_low=low,
        index_high=high,
        index_why=UNKNOWN if level is not None and low is None else None,
        why=None if level is not None else "no check block before the fade",
        recovery=recovery,
    )


def index_interval(
    fade: Array, checks: Array, scatter: Scatter, confidence: float
) -> tuple[float | None, float | None]:
    """Interval of the fade index; None where nothing tells the scatter of single stops."""
    single = block_scatter.about_course(fade, scatter.usual)
    level = _of_checks(checks, scatter)
    if single is None or level is None or fade.min() <= 0:
        return None, None
    rng = np.random.default_rng(SEED)
    sd = np.sqrt(single.value * single.dof / rng.chisquare(single.dof, DRAWS)) if single.dof > 0 else np.zeros(DRAWS)
    smooth = smoothed(fade)
    drawn = (smooth * (1 + sd[:, None] * rng.normal(size=(DRAWS, fade.size)))).min(axis=1)
    of_level = np.sqrt(sum(v.value for v in level)) * rng.normal(size=DRAWS)
    if level[0].dof > 0:
        of_level *= np.sqrt(level[0].dof / rng.chisquare(level[0].dof, DRAWS))
    off = np.log(np.maximum(drawn, 1e-9) / smooth.min()) - of_level
    index = float(fade.min() / checks.mean())
    beyond = (1 - confidence) / 2
    low, high = index / np.exp(np.quantile(off, [1 - beyond, beyond]))
    return float(low), float(high)


def smoothed(mu: Array) -> Array:
    """Mean over three neighbouring stops; at both ends the straight line through the last three."""
    if mu.size < 4:
        return mu
    inner = np.convolve(mu, np.ones(3) / 3, "valid")
    first, last = inner[0] - (mu[2] - mu[0]) / 2, inner[-1] + (mu[-1] - mu[-3]) / 2
    return np.r_[first, inner, last]


def _of_checks(checks: Array, scatter: Scatter) -> list[Variance] | None:
    """Relative variances of the mean of a block of checks: its stops' scatter, and two blocks' own levels."""
    single = block_scatter.drawn(block_scatter.about_mean(checks), scatter.usual)
    if single is None:
        return None
    own = Variance(single.value * block_scatter.of_mean(checks.size, scatter.alike), single.dof)
    return [own, Variance(2 * scatter.between**2, scatter.between_dof)] if scatter.between else [own]


def _recovery(after: list[pl.DataFrame], before: Array | None, scatter: Scatter, confidence: float) -> Recovery | None:
    """Recovery up to the next fade; None where neither a recovery block nor a check follows."""
    checks = [part for part in after if part["purpose"][0] == "check"]
    recovering = [part for part in after if part["purpose"][0] == "recovery"]
    if not checks and not recovering:
        return None
    if before is None:
        return Recovery(why="no check block before the fade")
    level = float(before.mean())
    later = (checks[0]["mu"] if checks else pl.concat(recovering)["mu"].tail(LAST_STOPS)).to_numpy()
    index = float(later.mean()) / level
    low, high = ratio_interval(index, before, later, scatter, confidence)
    found = Recovery(
        index=index,
        index_low=low,
        index_high=high,
        index_why=UNKNOWN if low is None else None,
        after="check" if checks else "recovery",
    )
    if not recovering:
        return renewed(found, why="no recovery block after the fade")
    back = np.abs(pl.concat(recovering)["mu"].to_numpy() / level - 1) <= BACK
    if back.any():
        return renewed(found, stops=int(back.argmax()) + 1)
    return renewed(
        found, why=f"mu did not come back within {100 * BACK:.0f} % in {counted(back.size, 'recovery stop')}"
    )


def ratio_interval(
    ratio: float, before: Array, later: Array, scatter: Scatter, confidence: float
) -> tuple[float | None, float | None]:
    """Interval of a ratio of two blocks' means; None where nothing tells the scatter of single stops."""
    single = block_scatter.drawn(block_scatter.about_mean(later), scatter.usual)
    level = _of_checks(before, scatter)
    if single is None or level is None:
        return None, None
    parts = [*level, Variance(single.value * block_scatter.of_mean(later.size, scatter.alike), single.dof)]
    total = float(np.sqrt(sum(v.value for v in parts)))
    half = block_scatter.student(parts, total, confidence) * total
    return ratio * float(np.exp(-half)), ratio * float(np.exp(half))


def worst(found: list[Fade]) -> Fade | None:
    """The fade with the lowest index; without an index, with the lowest mu."""
    if not found:
        return None
    return min(found, key=lambda f: f.index if f.index is not None else f.mu_min)
