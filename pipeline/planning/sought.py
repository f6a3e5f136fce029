"""What a plan is asked, and the frame of every answer: what has to be run for each case of the scatter."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

from pipeline.archive.blocks import as_yaml
from pipeline.archive.card import Card
from pipeline.planning.archive import Archive
from pipeline.planning.components import Case, Quantity
from pipeline.planning.judged import QUANTITIES, Asked, run_of
from pipeline.planning.plan import Plan, Run

Question = Literal["like-the-last", "difference", "glazing", "window", "life", "activation-energy"]
QUESTIONS: tuple[Question, ...] = get_args(Question)


@dataclass(frozen=True)
class Sought:
    """A question with its figures, SI: size of a difference (mu; of wear the ratio less 1), power density below which
    use is gentle (W/mm2), loss of friction (share; None: the target's), tolerance (K, share or kJ/mol), the duty."""

    question: Question
    of: tuple[Quantity, ...] = QUANTITIES
    size: float | None = None
    below_w_mm2: float | None = None
    loss: float | None = None  # that of the target
    within: float | None = None
    duty: str | None = None


def plan_of(
    archive: Archive, card: Card, asked: Asked, question: str, needed: dict[Case, int | None], why: str, **more: object
) -> Plan:
    """A plan of the card's program on so many specimens for each case; `why` where no number is enough, `more` fields."""
    run: dict[str, Run] = {case: run_of(archive, card, n, why if n is None else None) for case, n in needed.items()}
    found = Plan(
        archive.compound, archive.method_name, question, f"as {card.test}", run, (), (),
        blocks=as_yaml(card.blocks), wanted=asked.wanted,
    )  # fmt: skip
    return replace(found, **more)  # type: ignore[arg-type]
