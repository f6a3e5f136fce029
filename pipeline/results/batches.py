"""batches.json: the batches of a compound compared: friction, bite and wear of each, and an answer for every pair.

Specimens are the replicates, not stops. Each pair has one of three answers to each question; `undecided` says why, and
how many specimens would decide it. Intervals are 95 %, not adjusted for the number of pairs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from pipeline.results.cards import CardDifference
from pipeline.results.friction_map import Reference
from pipeline.results.model import Interval, OfCompound, Result, Stamp, given
from pipeline.results.support import Extrapolation
from pipeline.results.wear import Part

Verdict = Literal["equivalent", "different", "undecided"]
Quantity = Literal["mu", "bite", "wear"]


class Level(Interval):
    """A batch's level, the rig's common calibration in its interval."""

    specimens: int | None = given("specimens with a value", default=None)


class Difference(Interval):
    """Batch a less batch b, or a over b."""

    df: float | None = given("degrees of freedom of the interval; null where they have no limit", default=None)


class Batch(Result):
    """One batch."""

    batch: str = given("batch")
    tests: list[str] = given("its tests")
    specimens: int = given("its specimens")
    specimen_ids: list[str] = given("names of the specimens", default_factory=list)
    mu: Level = given("friction at the reference conditions")
    bite: Level = given("bite in the coldest conditions that all batches have")
    wear_um_per_stop: Level = given("wear of the disc per stop", "um")


class Needed(Result):
    """How many specimens would decide a pair, if the difference is a certain one."""

    specimens_each: int | None = given("specimens of each batch", default=None)
    more: dict[str, int] | None = given("how many more of each batch than there are", default=None)
    why: str | None = given("why no number is given", default=None)


class SpecimensToDecide(Result):
    """What would decide a pair that is undecided."""

    wanted: float = given("chance of the right answer", "1")
    specimen_sd: float = given("standard deviation between specimens, of mu or of the logarithm of wear")
    if_as_estimated: Needed = given("if the difference is as estimated")
    if_none: Needed = given("if there is none")


class WearAnswer(Result):
    """A pair's answer for one part of the wear of one component, or for the mix of parts of a duty."""

    component: str = given("component")
    part: Part | Literal["mix"] = given("part of the loss, or a duty's mix of them")
    duty: str | None = given("duty whose mix it is", default=None)
    mix: dict[Part, float] = given("share of each part in the duty's mix", "1", default_factory=dict)
    share: float | None = given(
        "largest share of the part in the component's loss, over program and duties", "1", default=None
    )
    matters: bool = given("whether the pair's answer for wear needs it")
    ratio: Difference = given("ratio, a over b", "1")
    verdict: Verdict = given("answer")
    why: str | None = given("why it is undecided", default=None)


@dataclass(frozen=True)
class Answer:
    """The answer of a pair to one question, as `Pair` holds it under the question's name."""

    figure: Difference
    verdict: Verdict
    why: str | None = None
    p: float | None = None
    p_holm: float | None = None
    power: SpecimensToDecide | None = None
    with_usual_brake: Difference | None = None


class Pair(Result):
    """Two batches and the three answers; differences are a less b, the ratio a over b."""

    a: str = given("first batch")
    b: str = given("second batch")
    caveat: str | None = given("what to bear in mind with the pair", default=None)
    mu_difference: Difference = given("difference of friction at the reference conditions")
    mu_verdict: Verdict = given("answer for friction")
    mu_why: str | None = given("why it is undecided", default=None)
    mu_p: float | None = given("p of no difference", "1", default=None)
    mu_p_holm: float | None = given("the same over all pairs, by Holm's method", "1", default=None)
    mu_power: SpecimensToDecide | None = given("how many specimens would decide it", default=None)
    mu_difference_with_usual_brake: Difference | None = given(
        "the difference with the brake that most cards state; null where all cards of the pair state it", default=None
    )
    bite_difference: Difference = given("difference of bite in the coldest conditions that all batches have")
    bite_verdict: Verdict = given("answer for bite")
    bite_why: str | None = given("why it is undecided", default=None)
    bite_p: float | None = given("p of no difference", "1", default=None)
    bite_p_holm: float | None = given("the same over all pairs, by Holm's method", "1", default=None)
    bite_power: SpecimensToDecide | None = given("how many specimens would decide it", default=None)
    bite_difference_with_usual_brake: Difference | None = given(
        "the difference with the brake that most cards state; null where all cards of the pair state it", default=None
    )
    wear_ratio: Difference = given("ratio of the disc's wear per stop", "1")
    wear_verdict: Verdict = given(
        "answer for wear: that of the ratio, and not equivalent while a part of `wear` that matters is not"
    )
    wear_why: str | None = given("why it is undecided", default=None)
    wear_p: float | None = given("p of no difference", "1", default=None)
    wear_p_holm: float | None = given("the same over all pairs, by Holm's method", "1", default=None)
    wear_power: SpecimensToDecide | None = given("how many specimens would decide it", default=None)
    wear: list[WearAnswer] = given("answers for wear by component, part and duty", default_factory=list)

    @property
    def verdicts(self) -> dict[Quantity, Verdict]:
        """The three answers by question."""
        return {"mu": self.mu_verdict, "bite": self.bite_verdict, "wear": self.wear_verdict}

    @property
    def whys(self) -> dict[Quantity, str | None]:
        """Why an answer is undecided, by question."""
        return {"mu": self.mu_why, "bite": self.bite_why, "wear": self.wear_why}

    @classmethod
    def of(
        cls,
        a: str,
        b: str,
        caveat: str | None,
        *,
        mu: Answer,
        bite: Answer,
        wear: Answer,
        parts: Sequence[WearAnswer] = (),
    ) -> Pair:
        """The pair from its answers."""
        return cls(
            a=a,
            b=b,
            caveat=caveat,
            mu_difference=mu.figure,
            mu_verdict=mu.verdict,
            mu_why=mu.why,
            mu_p=mu.p,
            mu_p_holm=mu.p_holm,
            mu_power=mu.power,
            mu_difference_with_usual_brake=mu.with_usual_brake,
            bite_difference=bite.figure,
            bite_verdict=bite.verdict,
            bite_why=bite.why,
            bite_p=bite.p,
            bite_p_holm=bite.p_holm,
            bite_power=bite.power,
            bite_difference_with_usual_brake=bite.with_usual_brake,
            wear_ratio=wear.figure,
            wear_verdict=wear.verdict,
            wear_why=wear.why,
            wear_p=wear.p,
            wear_p_holm=wear.p_holm,
            wear_power=wear.power,
            wear=list(parts),
        )


class BiteConditions(Result):
    """The coldest conditions that all batches have, as means over their stops."""

    temperature_c: float = given("initial temperature", "degC")
    pressure_bar: float = given("line pressure", "bar")
    speed_rpm: float = given("shaft speed at the start", "rpm")
    stops: int = given("stops there")


class Conditions(Result):
    """Conditions of the comparison that are not the reference's."""

    bite: BiteConditions | None = given("those of bite; null where no stop has one", default=None)


class SpecimenScatter(Interval):
    """Standard deviation between specimens of a batch, pooled over the batches."""

    df: int = given("degrees of freedom")
    between: float = given("the part of it that is not the values' own uncertainty")


class SpecimenValue(Result):
    """What one specimen gave."""

    batch: str = given("batch")
    specimen: str = given("specimen")
    value: float | None = given("its value, as the batches' levels are written", default=None)
    u: float | None = given("standard uncertainty of the value (of wear: of its logarithm)", default=None)
    n: int | None = given("stops (of wear: tests) behind it", default=None)


class Margin(Result):
    """The margin within which two batches count as equivalent, as the verdicts used it."""

    low: float = given("lowest difference inside it (wear: ratio)")
    high: float = given("highest difference inside it (wear: ratio)")
    relative: float | None = given(
        "the margin over the level that it was taken of; null where it is absolute", "1", default=None
    )
    level: float | None = given("that level: mean of the specimens compared", default=None)
    source: str = given("where the margin comes from")


class Compared(Result):
    """The comparison of a compound's batches, without the file's heading."""

    reference: Reference | None = given("the compound's reference conditions, as in friction.json", default=None)
    batches: list[Batch] = given("batches", default_factory=list)
    pairs: list[Pair] = given("pairs of batches", default_factory=list)
    conditions: Conditions | None = given("other conditions", default=None)
    margins: dict[Quantity, Margin | None] = given(
        "margins of the verdicts by quantity; null where no target gives one", default_factory=dict
    )
    specimen_scatter: dict[Quantity, SpecimenScatter | None] = given(
        "scatter between specimens by quantity; null where no batch has two", default_factory=dict
    )
    specimen_values: dict[Quantity, list[SpecimenValue]] = given("specimens by quantity", default_factory=dict)
    left_out: dict[Quantity, list[str]] = given("what was not used, by quantity", default_factory=dict)
    notes: list[str] = given("what the comparison rests on", default_factory=list)
    extrapolated: list[Extrapolation] = given(
        "batches of which no stop was run near the reference conditions", default_factory=list
    )


class CompoundBatches(Compared, OfCompound):
    """batches.json."""

    tests_left_out: dict[str, str] = given("tests that could not be used, and why", default_factory=dict)
    card_differences: list[CardDifference] = given("where the tests' cards differ", default_factory=list)
    stamp: Stamp | None = given("what the file rests on", default=None)
