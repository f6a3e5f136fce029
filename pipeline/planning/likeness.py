"""How many specimens tell whether the next batch is like the last one, or show a difference of a stated size."""

from __future__ import annotations

import math
from collections.abc import Sequence

from pipeline.archive.block import Block
from pipeline.archive.card import Card
from pipeline.planning import program
from pipeline.planning.archive import Archive
from pipeline.planning.comparison import MOST_SPECIMENS, specimens_needed
from pipeline.planning.components import CASES, Case, Quantity, Scatter
from pipeline.planning.judged import WORDS, Asked, against, curve_of, hours_words, planned_table, rule_of
from pipeline.planning.plan import Curve, Line, Plan, scatter_words
from pipeline.planning.sought import Sought, plan_of


def of_batches(archive: Archive, card: Card, sought: Sought, asked: Asked) -> Plan:
    """How many specimens tell the next batch's likeness to the last one, or a difference of the stated size."""
    short = "wear" not in sought.of
    card = card.model_copy(update={"blocks": tuple(shortened(archive, card, asked))}) if short else card
    stops = planned_table(archive, card, asked)
    needed: dict[Case, list[int | None]] = {case: [] for case in CASES}
    lines: list[Line] = []
    curves: list[Curve] = []
    open_: list[str] = []
    assumed = [*against(archive, asked), hours_words(archive, card)]
    for q in sought.of:
        scatter, rule = archive.scatter(q), rule_of(archive, q, asked.wanted)
        blocks = program.blocks_read(stops, q, archive.bite_at)
        why = _why_not(archive, q, sought, scatter if isinstance(scatter, str) else None, blocks)
        if why or isinstance(scatter, str):
            open_.append(f"{WORDS[q]}: undetermined, because {why}")
            continue
        assumed.append(scatter_words(scatter))
        each = _needed(archive, scatter, blocks, sought, asked)
        open_ += _helped(archive, scatter, blocks, sought, asked, each)
        for case in CASES:
            needed[case].append(each[case])
        lines.append(_needed_line(q, sought, each["as found"], each["pessimistic"]))
        if rule.margin is not None and sought.size is None:
            curves.append(curve_of(archive, scatter, q, blocks, 1, rule, asked))
    total = {case: max(n for n in own if n) if own and None not in own else None for case, own in needed.items()}
    why = f"more than {MOST_SPECIMENS} specimens" if lines else "nothing of it can be answered"
    asked_words = (
        f"is the next batch like {archive.other_batch}?"
        if sought.question == "like-the-last"
        else f"would a difference of {sought.size:g} from {archive.other_batch} be called different?"
    )
    if short:
        assumed.append("the program is cut to what mu and bite are read from: bedding, checks, the cold map blocks")
    elif sought.question == "like-the-last":
        assumed.append(
            "the whole program is run: wear is compared over the same stops; --of mu --of bite plans a shorter one"
        )
    return plan_of(
        archive, card, asked, asked_words, total, why, lines=tuple(lines), assumed=tuple(assumed),
        undetermined=tuple(open_), curves=tuple(curves),
    )  # fmt: skip


def _needed(
    archive: Archive, scatter: Scatter, blocks: Sequence[int], sought: Sought, asked: Asked, *, alone: bool = True
) -> dict[Case, int | None]:
    """Fewest specimens of the next batch for each case; not `alone`: of the last batch too, further ones being run."""
    q = scatter.quantity
    there = dict(archive.specimens(q))
    present = there.pop(archive.other_batch, 0)
    return {
        case: specimens_needed(
            scatter, blocks, rule_of(archive, q, asked.wanted), present=present if alone else None,
            further=tuple(there.values()), difference=_size(q, sought),
            known=archive.state_u(q) if asked.other_state else 0.0, case=case,
        )
        for case in CASES
    }  # fmt: skip


def _helped(
    archive: Archive,
    scatter: Scatter,
    blocks: Sequence[int],
    sought: Sought,
    asked: Asked,
    each: dict[Case, int | None],
) -> list[str]:
    """What helps more than further specimens of the next batch: where the last batch's few are what limits the answer."""
    both = _needed(archive, scatter, blocks, sought, asked, alone=False)
    there = archive.specimens(scatter.quantity)[archive.other_batch]
    said = []
    for case, n in each.items():
        own = both[case]
        if own is not None and (n is None or own + max(own - there, 0) < n):
            said.append(
                f"{WORDS[scatter.quantity]}, {case}: {own} specimens of each batch are enough, {max(own - there, 0)} more of "
                f"{archive.other_batch} run too: its {there} limit what the next batch's number can show"
            )
    return said


def _why_not(archive: Archive, q: Quantity, sought: Sought, unknown: str | None, blocks: Sequence[int]) -> str | None:
    if unknown:
        return unknown
    if archive.margin(q) is None and sought.question == "like-the-last":
        key = (
            "wear_batch_ratio"
            if q == "wear"
            else "bite_margin or mu_batch_margin"
            if q == "bite"
            else "mu_batch_margin"
        )
        return f"no target gives the margin within which batches count as alike; write {key} in the compound's target"
    margin = archive.margin(q)
    if sought.size is not None and margin is not None and margin[0] <= _size(q, sought) <= margin[1]:
        return f"a difference of {sought.size:g} lies within the margin in which batches count as alike: ask for a larger one"
    if not sum(blocks):
        return "the program has no stop that it is read from"
    if archive.specimens(q).get(archive.other_batch, 0) < 2:
        return (
            f"{archive.other_batch} has one specimen, which cannot tell its batch from itself; run a second one of it"
        )
    return None


def _size(q: Quantity, sought: Sought) -> float:
    if sought.size is None:
        return 0.0
    return math.log1p(sought.size) if q == "wear" else sought.size


def _needed_line(q: Quantity, sought: Sought, as_found: int | None, pessimistic: int | None) -> Line:
    what = "`equivalent` if alike" if sought.size is None else f"`different` at {sought.size:g}"
    beyond = f"more than {MOST_SPECIMENS}"
    why = beyond if as_found is None else f"pessimistic {beyond}" if pessimistic is None else None
    return Line(f"{q}_specimens", f"{WORDS[q]}: specimens of the next batch for {what}", "specimens", as_found,
                pessimistic, why)  # fmt: skip


def shortened(archive: Archive, card: Card, asked: Asked) -> list[Block]:
    """The blocks that mu and bite are read from, and the bedding before them."""
    stops = planned_table(archive, card, asked)
    cold = set()
    if archive.bite_at is not None:
        near = (stops["temperature_initial_c"] - archive.bite_at[0]).abs() <= program.COLD_K
        cold = set(stops.filter(near)["block"].to_list())
    kept = [b for b in card.blocks if b.purpose in ("bedding", "check") or (b.purpose == "map" and b.name in cold)]
    return kept if any(b.purpose == "check" for b in kept) else list(card.blocks)
