"""targets.json: every requirement of a compound's target, met, not met or undecided, for each batch and the compound.

The decision rule is the target's (`decision`). Requirements and batches stand worst first.
"""

from __future__ import annotations

from typing import Literal

from pipeline.results.comparison import Compared
from pipeline.results.model import Interval, OfCompound, Result, Stamp, given

Met = Literal["met", "not met", "undecided"]
Rule = Literal["shared_risk", "guard_band"]
Asked = Literal["window", "mu", "disc_wear", "life", "mu_batch_margin", "bite_margin", "wear_batch_ratio"]


class Judged(Result):
    """The answer for one batch, one pair of batches, or the compound."""

    of: str = given("batch, pair of batches, or compound")
    verdict: Met = given("answer")
    figure: Interval = given("what was found, with its 95 % interval, in the requirement's unit")
    conformity: float | None = given("probability that the requirement is met", "1", default=None)
    conformity_why: str | None = given("why there is none, or what it rests on", default=None)
    why: str = given("the answer in words")
    tested: float | None = given(
        "share of what the answer rests on that was tested: of the wanted temperatures, of a life the share of the loss; null where "
        "the figure is measured as run",
        "1",
        default=None,
    )


class Requirement(Result):
    """One requirement of the target."""

    key: Asked = given("key of the target; life: of the duty")
    target: str = given("what is asked for, in words")
    wanted: str = given("the limits, as printed")
    unit: str = given("unit of limits and figures as printed; empty for a number without one")
    low: float | None = given("lower limit, in `unit`; null without one", default=None)
    high: float | None = given("upper limit, in `unit`; null without one", default=None)
    at: str | None = given("conditions that the target asks for; null: the reference's", default=None)
    answer: Judged = given("the compound's answer: the worst batch's where batches are not shown equivalent")
    rests_on: str = given("whose figure the compound's answer rests on, in words")
    each: list[Judged] = given("every batch, or pair of batches, worst first", default_factory=list)


class AgainstReference(Result):
    """A batch beside the reference batch; differences are the batch less the reference, ratios the batch over it."""

    batch: str = given("batch")
    rows: list[Compared] = given("questions")


class CompoundTargets(OfCompound):
    """targets.json of a compound."""

    decision: Rule | None = given("the decision rule; null without a target", default=None)
    decision_stated: bool = given("whether the target states it; else it is the safer one", default=False)
    decision_words: str = given("the rule and its risk in words", default="")
    requirements: list[Requirement] = given("requirements, worst first; empty without a target", default_factory=list)
    why: str | None = given("why there are none", default=None)
    reference_batch: str | None = given("the target's reference batch", default=None)
    against_reference: list[AgainstReference] = given("every other batch beside it", default_factory=list)
    against_reference_why: str | None = given("why there is none", default=None)
    stamp: Stamp | None = given("what the file rests on", default=None)
