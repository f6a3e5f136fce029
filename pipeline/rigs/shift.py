"""A rig's shift at an event: a step of mu, or of the energy balance, that all its specimens share.

Friction: log of each test's mu at its checks (compared like with like in temperature, pressure and speed),
with a level for every compound and batch:

    log mu_i = group(i) + shift * after_i + specimen_i

Only a batch tested on both sides says anything about the shift. A batch tested only before and another only
after differ by their batches, never by the rig, even where both are of the rig's reference compound; one
specimen of the reference compound's batch on a side is enough, two of any other. The specimen scatter is
pooled over all groups. Energy balance: the same step of the tests' median energy ratio, which knows no
material, so that no group is needed.

A shift is found when the step is significant, large enough to matter, and shared: no group steps the other
way or by another amount than scatter allows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pipeline.constants import Array
from pipeline.results.model import renewed
from pipeline.results.rigs import Step
from pipeline.wording import counted

LEVEL = 0.02  # of the test for a step; an event is looked at on its own
LEAST_MU_STEP, LEAST_RATIO_STEP = 0.01, 0.007  # relative steps below these are no finding
LEAST_SPECIMENS = 2  # specimens on either side


@dataclass(frozen=True)
class Reading:
    """One test as the rig saw it; `level` is log mu at matched conditions, NaN where there is none."""

    test: str
    group: str
    specimen: str
    level: float
    energy_ratio: float


def friction_step(readings: Sequence[Reading], before: set[str], after: set[str], reference: set[str]) -> Step:
    """Step of log mu at a boundary: estimate, interval, what was compared, or `why` nothing could be.

    `reference` are the batches of the rig's reference compound.
    """
    usable = [r for r in readings if np.isfinite(r.level)]
    here = [r for r in usable if r.test in before or r.test in after]
    groups = {r.group for r in here if r.test in before} & {r.group for r in here if r.test in after}
    used = [r for r in here if r.group in groups]
    sides = [{(r.group, r.specimen, r.test) for r in used if r.test in side} for side in (before, after)]
    needed = 1 if groups and groups <= reference else LEAST_SPECIMENS
    if not groups:
        return Step(found=False, why="no batch was tested on both sides of it")
    if min(map(len, sides)) < needed:
        counts = f"{len(sides[0])} before and {len(sides[1])} after"
        return Step(found=False, why=f"too few tests of the same material: {counts}", groups=sorted(groups))
    # tests of other rigs and states lend their scatter: each keeps a level of its own group and state
    label = [r.group if r in used else f"{r.group}|{_side(r, before, after)}" for r in usable]
    level = np.array([r.level for r in usable])
    stepped = np.array([r.test in after and r in used for r in usable], float)
    step = _step(level, label, stepped, LEAST_MU_STEP)
    return renewed(step, groups=sorted(groups), tests_before=len(sides[0]), tests_after=len(sides[1]))


def ratio_step(readings: Sequence[Reading], before: set[str], after: set[str]) -> Step:
    """Step of the energy ratio at a boundary; material plays no part."""
    here = [r for r in readings if np.isfinite(r.energy_ratio) and (r.test in before or r.test in after)]
    count = [sum(r.test in side for r in here) for side in (before, after)]
    if min(count) < LEAST_SPECIMENS:
        return Step(
            found=False, why=f"only {counted(count[0], 'test')} before and {count[1]} after with an energy balance"
        )
    values = np.array([r.energy_ratio for r in here])
    step = _step(values, ["all"] * len(here), np.array([r.test in after for r in here], float), LEAST_RATIO_STEP)
    return renewed(step, tests_before=count[0], tests_after=count[1])


def _side(reading: Reading, before: set[str], after: set[str]) -> str:
    return "before" if reading.test in before else "after" if reading.test in after else "elsewhere"


def _step(y: Array, groups: list[str], after: Array, least: float) -> Step:
    """Least squares of y on group levels and a common step; the verdict with its figures."""
    from statsmodels.regression.linear_model import OLS

    names = sorted(set(groups))
    x_group = (np.array(groups)[:, None] == np.array(names)[None, :]).astype(float)
    x = np.column_stack([x_group, after])
    df = len(y) - x.shape[1]
    if df < 1:
        return Step(found=False, why="no scatter between specimens to judge a step by")
    fit = OLS(y, x).fit()
    step, sd = float(fit.params[-1]), float(np.sqrt(fit.scale))
    low, high = (float(end) for end in fit.conf_int(0.05)[-1])
    p = float(fit.pvalues[-1]) if sd > 0 else 0.0
    shared = _shared(y, x_group, after, step, sd, df)
    found = p < LEVEL and abs(step) >= least and shared
    apart = p < LEVEL and not shared
    why = "the materials do not step together" if apart else "no step beyond the scatter"
    return Step(
        found=found,
        step=step,
        low=low,
        high=high,
        p=p,
        df=df,
        specimen_sd=sd,
        shared=shared,
        why=None if found else why,
    )


def _shared(y: Array, x_group: Array, after: Array, step: float, sd: float, df: int) -> bool:
    """Whether every group seen on both sides steps the same way, and by the same amount within its scatter."""
    from scipy import stats

    reach = float(stats.t.ppf(0.995, df)) * sd
    for column in x_group.T:
        late, early = y[(column > 0) & (after > 0)], y[(column > 0) & (after == 0)]
        if len(late) and len(early):
            own = late.mean() - early.mean()
            se = reach * np.sqrt(1 / len(late) + 1 / len(early))
            if own * step < 0 or abs(own - step) > max(se, abs(step) / 2):
                return False
    return True


def relative(friction: Step, ratio: Step) -> float | None:
    """Relative shift of mu that the evidence gives: from friction where found, else from the energy
    balance.
    """
    if friction.found and friction.step is not None:
        return float(np.expm1(friction.step))
    return ratio.step if ratio.found else None
