"""targets.json of a compound without its heading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from pipeline.archive.targets import Target
from pipeline.conformity.batches import TestOfBatch
from pipeline.conformity.decision import WORDS
from pipeline.conformity.reference import against_reference
from pipeline.conformity.requirements import Compound, requirements
from pipeline.results.batches import CompoundBatches
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import CompoundDuty
from pipeline.results.targets import CompoundTargets
from pipeline.results.wear import CompoundWear

NONE = "no target file for this compound: nothing is called met or not met"
LIFE_ONLY = "no target file for this compound: only the life that a duty asks for is answered"


def of_compound(
    target: Target | None,
    target_why: str | None,
    *,
    compound: str,
    friction: CompoundFriction,
    wear: CompoundWear,
    batches: CompoundBatches,
    duty: CompoundDuty,
    tests: Sequence[TestOfBatch],
    coverage: float,
    lives: Mapping[str, float],
    confidence: Mapping[str, float] | None = None,
) -> CompoundTargets:
    """Every requirement answered; `target_why` says why a target file is left out, `lives` is the wanted km by duty, `confidence` that of
    the intervals of friction, wear and duty (95 % where it is not given)."""
    if target is None and not lives:
        return CompoundTargets(compound=compound, why=target_why or NONE)
    asked = target or Target(compound=compound)
    of = Compound(compound, asked, friction, wear, batches, duty, tests, coverage, lives, confidence or {})
    stated = asked.decision is not None
    words = WORDS[asked.rule] + ("" if stated else " (no rule is stated: the safer one)")
    found = requirements(of)
    beside, no_reference = against_reference(asked, friction, wear, batches, duty, confidence or {})
    none = None if found else "the target states nothing that is answered"
    return CompoundTargets(
        compound=compound,
        decision=asked.rule,
        decision_stated=stated,
        decision_words=words,
        requirements=found,
        reference_batch=asked.reference_batch,
        against_reference=beside,
        against_reference_why=no_reference,
        why=target_why or (LIFE_ONLY if target is None else none),
    )
