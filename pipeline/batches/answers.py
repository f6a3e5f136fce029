"""The three answers of one compared quantity over all pairs of batches, and what would decide an open one."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from pipeline.batches import equivalence, mixed, power
from pipeline.batches.caveats import Known
from pipeline.batches.equivalence import Estimate
from pipeline.batches.specimens import Values
from pipeline.method.batches import Batches
from pipeline.results import batches as results
from pipeline.results.batches import Answer, Difference, Level, Needed, SpecimenScatter, SpecimensToDecide
from pipeline.wording import in_percent

ONE_SPECIMEN = "one specimen cannot tell its batch from itself"
NO_DF = f"{ONE_SPECIMEN}, and no batch has two: the scatter between specimens is unknown"
NO_SCATTER = "the specimens' values are equal to the last digit: no scatter between them, and no interval, can be told"


@dataclass(frozen=True)
class Quantity:
    """One compared quantity: specimens' values, their mixed model, the margin, the scale it is shown on.

    `show` turns a level or a difference into what is written: the identity, or exp for logarithms.
    """

    name: results.Quantity
    values: Values
    fit: mixed.Fit | None
    margin: tuple[float, float] | None
    known: Known | None
    show: Callable[[float], float] = float

    @property
    def count(self) -> dict[str, int]:
        """Specimens with a value, by batch."""
        return dict(zip(map(str, self.fit.batches), self.fit.counts, strict=True)) if self.fit else {}

    def without_scatter(self, estimate: Estimate) -> bool:
        """Whether its standard error is nil but for rounding; not where it is unknown."""
        largest = float(np.max(np.abs(self.values.values), initial=1e-3))
        return estimate.se <= 1e-9 * largest


def quantity(
    name: results.Quantity,
    values: Values,
    margin: tuple[float, float] | None,
    known: Known | None,
    show: Callable[[float], float] = float,
) -> Quantity:
    """The quantity with its mixed model fitted; no fit where no specimen has a value."""
    fitted = mixed.fit(values.values, values.batches, values.variances) if len(values.values) else None
    return Quantity(name, values, fitted, margin, known, show)


def scatter(q: Quantity) -> SpecimenScatter | None:
    """Standard deviation between specimens of a batch, pooled over batches, with its 95 % interval."""
    if q.fit is None or q.fit.df == 0:
        return None
    from scipy import stats

    df, sd = q.fit.df, q.fit.residual_sd
    low, high = (sd * math.sqrt(df / stats.chi2.ppf(p, df)) for p in (0.975, 0.025))
    return SpecimenScatter(value=sd, low=low, high=high, df=df, between=q.fit.specimen_sd)


def level(q: Quantity, batch: str) -> Level:
    """A batch's level with its 95 % interval, the rig's common calibration included."""
    if q.fit is None or batch not in q.count:
        return Level(why="no specimen of this batch has a usable value")
    index, count = q.fit.batches.index(batch), q.count[batch]
    value = float(q.fit.effects[index])
    if q.fit.df == 0:
        return Level(value=q.show(value), specimens=count, why=NO_DF)
    estimate = Estimate(value, float(np.sqrt(q.fit.covariance[index, index])), q.fit.df)
    if q.without_scatter(estimate):
        return Level(value=q.show(value), specimens=count, why=NO_SCATTER)
    if q.known is not None:
        estimate = equivalence.with_known(estimate, q.known.level(batch))
    low, high = equivalence.interval(estimate)
    borrows = f"{ONE_SPECIMEN}: the interval borrows the scatter of the other batches" if count < 2 else None
    return Level(value=q.show(value), low=q.show(low), high=q.show(high), specimens=count, why=borrows)


def difference(q: Quantity, a: str, b: str) -> Estimate | None:
    """Batch a less batch b with what the rigs' states add; None where one has no value."""
    if q.fit is None or a not in q.count or b not in q.count:
        return None
    value, se = mixed.contrast(q.fit, a, b)
    estimate = Estimate(value, se, q.fit.df)
    if q.known is not None and q.fit.df > 0:
        estimate = equivalence.with_known(estimate, q.known.pair(a, b))
    return estimate


def answer_all(q: Quantity, pairs: list[tuple[str, str]], settings: Batches) -> list[Answer]:
    """Interval, verdict and why of every pair, in order; together because Holm needs all of them."""
    estimates = [difference(q, a, b) for a, b in pairs]
    testable = [min(q.count.get(a, 0), q.count.get(b, 0)) >= 2 for a, b in pairs]
    p_values = [equivalence.p_difference(e) if two and e else None for e, two in zip(estimates, testable, strict=True)]
    adjusted = equivalence.holm(p_values)
    return [
        _answer(q, pair, estimate, p, p_holm, settings)
        for pair, estimate, p, p_holm in zip(pairs, estimates, p_values, adjusted, strict=True)
    ]


def _answer(
    q: Quantity,
    pair: tuple[str, str],
    estimate: Estimate | None,
    p: float | None,
    p_holm: float | None,
    settings: Batches,
) -> Answer:
    if estimate is None:
        reason = f"{' and '.join(x for x in pair if x not in q.count)}: no specimen has a usable value"
        return Answer(Difference(why=reason), "undecided", reason)

    def answered(verdict: results.Verdict, why: str | None = None, power: SpecimensToDecide | None = None) -> Answer:
        return Answer(_shown(q, estimate), verdict, why, p, p_holm, power)

    if q.without_scatter(estimate):
        return answered("undecided", NO_SCATTER)
    if p_holm is None:
        single = " and ".join(x for x in pair if q.count[x] < 2)
        return answered("undecided", f"{single}: {ONE_SPECIMEN}")
    if q.margin is None:
        return answered("undecided", "no target gives the margin within which batches count as equivalent")
    verdict = equivalence.verdict(estimate, *q.margin, p_holm, settings.significance)
    if verdict != "undecided":
        return answered(verdict)
    needed = plan_specimens(q, pair, estimate, settings)
    return answered(verdict, f"{_reason(q, estimate, p_holm, settings)}; {_advice(needed, pair)}", needed)


def _shown(q: Quantity, estimate: Estimate) -> Difference:
    """The difference or ratio as written, with its 95 % interval."""
    if estimate.df == 0:
        return Difference(value=q.show(estimate.value), why=NO_DF)
    if q.without_scatter(estimate):
        return Difference(value=q.show(estimate.value), why=NO_SCATTER)
    low, high = equivalence.interval(estimate)
    df = estimate.df if math.isfinite(estimate.df) else None
    return Difference(value=q.show(estimate.value), low=q.show(low), high=q.show(high), df=df)


def _reason(q: Quantity, estimate: Estimate, p_holm: float, settings: Batches) -> str:
    """Why neither answer could be given."""
    assert q.margin is not None
    low, high = q.margin
    if not low <= estimate.value <= high:
        return (
            f"the estimate {q.show(estimate.value):.3g} is beyond the margin, but no difference at all is not "
            f"excluded (p {p_holm:.2g} over all pairs)"
        )
    near, far = (q.show(x) for x in equivalence.interval(estimate, 1 - 2 * settings.significance))
    share = 100 * (1 - 2 * settings.significance)
    return (
        f"the {share:.0f} % interval, {near:.3g} to {far:.3g}, reaches beyond the margin, "
        f"{q.show(low):.3g} to {q.show(high):.3g}"
    )


def plan_specimens(q: Quantity, pair: tuple[str, str], estimate: Estimate, settings: Batches) -> SpecimensToDecide:
    """How many specimens of each batch would decide the pair, if the difference is as estimated and if it
    is none.
    """
    assert q.margin is not None and q.fit is not None
    margin, sd = q.margin, q.fit.residual_sd
    present = {x: q.count[x] for x in pair}
    other = q.fit.df - sum(n - 1 for n in present.values())

    def needed(true: float) -> Needed:
        each = power.specimens_to_decide(
            true, sd, *margin, other_df=other, wanted=settings.chance_to_decide, alpha=settings.significance
        )
        if each is None:
            return Needed(why=f"more than {power.LARGEST} each: too close to the margin for this scatter")
        return Needed(specimens_each=each, more={x: max(0, each - n) for x, n in present.items()})

    return SpecimensToDecide(
        wanted=settings.chance_to_decide, specimen_sd=sd, if_as_estimated=needed(estimate.value), if_none=needed(0.0)
    )


def _advice(plan: SpecimensToDecide, pair: tuple[str, str]) -> str:
    """The plan in words."""
    texts = []
    for needed, words in (
        (plan.if_as_estimated, "if the difference is as estimated"),
        (plan.if_none, "if there is none"),
    ):
        more = needed.more
        if more is None:
            texts.append(f"more than {power.LARGEST} specimens of each {words}")
        elif not any(more.values()):
            texts.append(f"as many specimens as now decide it more often than not {words}")
        else:
            texts.append(" and ".join(f"{more[x]} more of {x}" for x in pair) + f" {words}")
    return f"to decide with {in_percent(plan.wanted)} chance: " + "; ".join(texts)
