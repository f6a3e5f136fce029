"""Whether batches wear alike: asked of every component's every part, and of the mix of parts of every duty.

What a program wears is a mix of mechanisms. Batches whose abrasion differs by 30 % wear alike to 12 % where oxidation
does most of it, and a duty without oxidation then finds out. So the three answers are given for

    the mechanical and the oxidative part (or the cold and the hot one) of the disc and of each pad
    what each duty makes of them: the parts weighed by their shares in its wear

from one value per specimen, the logarithm of its loss over the law's in that mix, by its own readings, through the
model that all quantities of the comparison go through. Specimens whose readings do not tell a part say nothing of it.

The pair's answer for wear is that of the disc's ratio over the program as run, but not `equivalent` while a part that
matters is not: one with at least MATTERS of its component's loss in the program or on a duty; or a duty's mix.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from pipeline.batches import equivalence, margins
from pipeline.batches.answers import Quantity, answer_all, difference, quantity
from pipeline.batches.specimens import Values
from pipeline.method.batches import Batches
from pipeline.results.batches import Answer, WearAnswer
from pipeline.results.wear import CompoundComponent, CompoundWear, Part
from pipeline.wear.parts import specimens_in

MATTERS = 0.1
UNTOLD = 0.35  # standard uncertainty over the value from which a specimen's readings do not tell a part
Pairs = Sequence[tuple[str, str]]
Shares = Mapping[Part, float]


@dataclass(frozen=True)
class Mix:
    """What a duty makes of a component's parts: shares by part, of sum 1."""

    duty: str
    component: str
    shares: Shares


@dataclass(frozen=True)
class WearParts:
    """What the answers are given by: the components, the target's margin as ratios (None: none is given), duties' mixes."""

    components: Mapping[str, CompoundComponent]
    margin: tuple[float, float] | None
    settings: Batches
    mixes: Sequence[Mix] = field(default_factory=tuple)

    @classmethod
    def of(cls, wear: CompoundWear, margin: tuple[float, float] | None, settings: Batches) -> WearParts:
        """Without mixes."""
        known = {name: part for name, part in (wear.components or {}).items() if part.by_specimen}
        return cls(known, margin, settings)

    def with_duties(self, shares: Mapping[str, Mapping[str, Mapping[str, float]]]) -> WearParts:
        """With the mixes of these duties: shares by duty, kind of component (disc, pad) and part."""
        found = []
        for duty, kinds in shares.items():
            for kind, own in kinds.items():
                for name, component in self.components.items():
                    parts = component.by_specimen[0].factors
                    if name.startswith(kind) and set(own) == set(parts) and len(parts) > 1:
                        found.append(Mix(duty, name, {part: own[part] for part in parts}))
        return replace(self, mixes=tuple(found))

    def unlike(self, component: CompoundComponent, shares: Shares) -> str | None:
        """Why batches are not shown equivalent in this mix of the component's parts; None where every pair is."""
        if self.margin is None:
            return "no target gives the margin within which batches count as equivalent in wear"
        q = self._quantity(component, shares)
        low, high = margins.logged(self.margin) or (0.0, 0.0)
        names = list(dict.fromkeys(row.batch for row in component.by_specimen))
        said = []
        for a, b in itertools.combinations(names, 2):
            found = difference(q, a, b)
            if found is None or min(q.count.get(a, 0), q.count.get(b, 0)) < 2 or q.without_scatter(found):
                said.append(f"{a} and {b} cannot be told")
            elif equivalence.p_equivalence(found, low, high) >= self.settings.significance:
                said.append(f"{a} over {b} {math.exp(found.value):.2f}")
        within = f"{self.margin[0]:.2f} to {self.margin[1]:.2f}"
        return f"not shown to wear alike within {within}: {', '.join(said)}" if said else None

    def rows(self, pairs: Pairs) -> list[list[WearAnswer]]:
        """The answers of each pair, in order."""
        found: list[list[WearAnswer]] = [[] for _ in pairs]
        for name, component in self.components.items():
            parts = list(component.by_specimen[0].factors)
            for part in parts:
                share = self._largest(name, component, part)
                answers = self._answers(component, {part: 1.0}, pairs)
                for row, answer in zip(found, answers, strict=True):
                    row.append(_written(name, part, answer, share=share, matters=share >= MATTERS))
            for mix in self.mixes:
                if mix.component == name:
                    for row, answer in zip(found, self._answers(component, mix.shares, pairs), strict=True):
                        row.append(_written(name, "mix", answer, mix=mix, matters=True))
        return found

    def _largest(self, name: str, component: CompoundComponent, part: Part) -> float:
        own = [mix.shares.get(part, 0.0) for mix in self.mixes if mix.component == name]
        return max([component.part_shares.get(part, 0.0), *own])

    def _quantity(self, component: CompoundComponent, shares: Shares) -> Quantity:
        return quantity("wear", values_in(component, shares), margins.logged(self.margin), None, math.exp)

    def _answers(self, component: CompoundComponent, shares: Shares, pairs: Pairs) -> list[Answer]:
        return answer_all(self._quantity(component, shares), list(pairs), self.settings)


def values_in(component: CompoundComponent, shares: Shares) -> Values:
    """Logarithm of every specimen's loss over the law's in a mix, with its variance by the specimen's readings."""
    told = [one for one in specimens_in(component, shares) if one.value > 0]
    told = [one for one in told if math.sqrt(one.variance) < UNTOLD * one.value]
    return Values(
        specimens=tuple((one.batch, one.specimen) for one in told),
        values=np.array([math.log(one.value) for one in told]),
        variances=np.array([one.variance / one.value**2 for one in told]),
        counts=(1,) * len(told),
    )


def _written(
    component: str,
    part: Part | Literal["mix"],
    answer: Answer,
    *,
    matters: bool,
    share: float | None = None,
    mix: Mix | None = None,
) -> WearAnswer:
    return WearAnswer(
        component=component,
        part=part,
        duty=mix.duty if mix else None,
        mix=dict(mix.shares) if mix else {},
        share=share,
        matters=matters,
        ratio=answer.figure,
        verdict=answer.verdict,
        why=answer.why,
    )


def held(answers: Sequence[Answer], rows: Sequence[Sequence[WearAnswer]]) -> list[Answer]:
    """The pairs' answers for wear, none of them equivalent while a part that matters, or a duty's mix, is not."""
    return [_held(answer, own) for answer, own in zip(answers, rows, strict=True)]


def _held(answer: Answer, rows: Sequence[WearAnswer]) -> Answer:
    against = [row for row in rows if row.matters and row.verdict != "equivalent"]
    if answer.verdict != "equivalent" or not against:
        return answer
    said = "; ".join(f"{named(row)} {_ratio(row)}{row.verdict}" for row in against)
    return replace(
        answer, verdict="undecided", why=f"equivalent over the program as run, but not in every part: {said}"
    )


def named(row: WearAnswer) -> str:
    """The component and its part, or the duty, in words."""
    name = row.component.replace("_", " ")
    return f"{name} on {row.duty}" if row.duty else f"{name} {row.part}"


def _ratio(row: WearAnswer) -> str:
    return "" if row.ratio.value is None else f"{row.ratio.value:.2f} "
