"""The smallest program for a question: how many specimens, stops and rig hours answer it with the wanted chance.

    like-the-last     is the next batch like the last one? `equivalent` in mu, bite and wear if it is
    difference        would a difference of a stated size be called different?
    glazing           would a stated loss of friction be found after use below a stated power density?
    window            window ends to +- so many kelvin
    life              life of the disc on a duty to +- a share
    activation-energy the oxidation law's Ea to +- so many kJ/mol

Each is answered for the scatter as found and for the pessimistic end of its interval.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal, get_args

import numpy as np
import polars as pl

from pipeline.archive.card import Block, Card
from pipeline.archive.duties import DutyCycle
from pipeline.drift.repeatability import scatter_of
from pipeline.duty.projections import Recorded
from pipeline.errors import InputError
from pipeline.planning import ends, glaze, life, program
from pipeline.planning.archive import Archive, archive_map
from pipeline.planning.blocks import as_yaml, named_once
from pipeline.planning.comparison import MOST_SPECIMENS, specimens_needed
from pipeline.planning.components import CASES, Case, Quantity
from pipeline.planning.judged import (
    QUANTITIES,
    WORDS,
    Asked,
    against,
    curve_of,
    hours_words,
    level,
    planned_table,
    rule_of,
    run_of,
)
from pipeline.planning.plan import Curve, Line, Plan, Run, scatter_words
from pipeline.wear.planned_stops import planned_stops

Question = Literal["like-the-last", "difference", "glazing", "window", "life", "activation-energy"]
QUESTIONS: tuple[Question, ...] = get_args(Question)
TRIED = (1, 2, 3, 4, 6, 8, 12)  # specimens tried where each try is an analysis
CHECKS = (4, 5, 6, 8, 10, 12, 16, 20, 30)  # stops of a check block tried for a loss of friction
USUAL_GENTLE, HARD_STOPS = 40, 8


@dataclass(frozen=True)
class Sought:
    """A question with its figures, SI: size of a difference (mu; of wear the ratio less 1), power density below which
    use is gentle (W/mm2), loss of friction (share), tolerance (K, share or kJ/mol), the duty."""

    question: Question
    of: tuple[Quantity, ...] = QUANTITIES
    size: float | None = None
    below_w_mm2: float | None = None
    loss: float = 0.05
    within: float | None = None
    duty: str | None = None


def answer(archive: Archive, card: Card, sought: Sought, asked: Asked) -> Plan:
    """The smallest program found for the question; `card` is the program that it starts from."""
    parts: dict[str, Callable[[Archive, Card, Sought, Asked], Plan]] = {
        "like-the-last": _batches, "difference": _batches, "glazing": _glazing, "window": _window, "life": _wear,
        "activation-energy": _wear,
    }  # fmt: skip
    return parts[sought.question](archive, card, sought, asked)


def _plan(
    archive: Archive, card: Card, asked: Asked, question: str, needed: dict[Case, int | None], why: str, **more: object
) -> Plan:
    run: dict[str, Run] = {case: run_of(archive, card, n, why if n is None else None) for case, n in needed.items()}
    found = Plan(
        archive.compound, archive.method_name, question, f"as {archive.template.name}", run, (), (),
        blocks=as_yaml(card.blocks), wanted=asked.wanted,
    )  # fmt: skip
    return replace(found, **more)  # type: ignore[arg-type]


def _batches(archive: Archive, card: Card, sought: Sought, asked: Asked) -> Plan:
    """How many specimens tell the next batch's likeness to the last one, or a difference of the stated size."""
    short = "wear" not in sought.of
    card = card.model_copy(update={"blocks": tuple(shortened(archive, card, asked))}) if short else card
    stops = planned_table(archive, card, asked)
    there = archive.specimens("mu")
    needed: dict[Case, list[int | None]] = {case: [] for case in CASES}
    lines: list[Line] = []
    curves: list[Curve] = []
    open_: list[str] = []
    assumed = [*against(archive), hours_words(archive, card)]
    for q in sought.of:
        scatter, rule = archive.scatter(q), rule_of(archive, q, asked.wanted)
        blocks = program.blocks_read(stops, q, archive.bite_at)
        why = _why_not(archive, q, sought, scatter if isinstance(scatter, str) else None, blocks)
        if why or isinstance(scatter, str):
            open_.append(f"{WORDS[q]}: undetermined, because {why}")
            continue
        assumed.append(scatter_words(scatter))
        there = dict(archive.specimens(q))
        present = there.pop(archive.last_batch, 0)
        each = {
            case: specimens_needed(
                scatter, blocks, rule, present=present, further=tuple(there.values()), difference=_size(q, sought),
                case=case,
            )
            for case in CASES
        }  # fmt: skip
        for case in CASES:
            needed[case].append(each[case])
        lines.append(_needed_line(q, sought, each["as found"], each["pessimistic"]))
        if rule.margin is not None and sought.size is None:
            curves.append(curve_of(archive, scatter, q, blocks, 1, rule))
    total = {case: max(n for n in own if n) if own and None not in own else None for case, own in needed.items()}
    why = f"more than {MOST_SPECIMENS} specimens" if lines else "nothing of it can be answered"
    asked_words = (
        f"is the next batch like {archive.last_batch}?"
        if sought.question == "like-the-last"
        else f"would a difference of {sought.size:g} from {archive.last_batch} be called different?"
    )
    if short:
        assumed.append("the program is cut to what mu and bite are read from: bedding, checks, the cold map blocks")
    elif sought.question == "like-the-last":
        assumed.append(
            "the whole program is run: wear is compared over the same stops; --of mu --of bite plans a shorter one"
        )
    return _plan(
        archive, card, asked, asked_words, total, why, lines=tuple(lines), assumed=tuple(assumed),
        undetermined=tuple(open_), curves=tuple(curves),
    )  # fmt: skip


def _why_not(archive: Archive, q: Quantity, sought: Sought, unknown: str | None, blocks: Sequence[int]) -> str | None:
    if unknown:
        return unknown
    if archive.margin(q) is None and sought.question == "like-the-last":
        key = "wear_batch_ratio" if q == "wear" else "mu_batch_margin"
        return f"no target gives the margin within which batches count as alike; write {key} in the compound's target"
    if not sum(blocks):
        return "the program has no stop that it is read from"
    if archive.specimens(q).get(archive.last_batch, 0) < 2:
        return f"{archive.last_batch} has one specimen, which cannot tell its batch from itself; run a second one of it"
    return None


def _size(q: Quantity, sought: Sought) -> float:
    if sought.size is None:
        return 0.0
    return math.log1p(sought.size) if q == "wear" else sought.size


def _needed_line(q: Quantity, sought: Sought, as_found: int | None, pessimistic: int | None) -> Line:
    what = "`equivalent` if alike" if sought.size is None else f"`different` at {sought.size:g}"
    why = f"more than {MOST_SPECIMENS} for what they cost" if as_found is None else None
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


def _glazing(archive: Archive, card: Card, sought: Sought, asked: Asked) -> Plan:
    """Check stops that find a loss of friction after gentle use below a power density."""
    if sought.below_w_mm2 is None:
        raise InputError('--question glazing needs --below, such as "1.5 W/mm2"')
    noise = scatter_of(archive.repeatability)
    below = sought.below_w_mm2
    question = f"does it glaze below {below:g} W/mm2: is a loss of {sought.loss:.0%} found?"
    assumed = [hours_words(archive, card)]
    if noise is None:
        why = archive.repeatability.why or "no matched stops"
        return _plan(archive, card, asked, question, dict.fromkeys(CASES), why,
                     undetermined=(f"glazing: undetermined, because the scatter of matched stops is not known: {why}",))  # fmt: skip
    gentle, told = _gentle_stops(archive, sought.loss)
    assumed += told
    run = np.concatenate([t.stops["pressure_bar"].drop_nulls().to_numpy() for t in archive.tests])
    lowest = float(run.min()) if len(run) else 0.0
    found, planned, why = None, card, ""
    for count in CHECKS:
        planned = card.model_copy(update={"blocks": tuple(gentle_program(archive, card, below, gentle, count, asked))})
        found = glaze.foreseen(planned_table(archive, planned, asked), noise, archive.method.drift, asked.wanted)
        if found.loss is not None and found.loss <= sought.loss and not found.lacking:
            break
        why = found.why or f"with {count} stops a check block a loss of {found.loss or 1:.1%} is the smallest found"
    assert found is not None
    use = next(b for b in planned.blocks if b.name == "gentle use")
    if use.pressure is not None and use.pressure / 1e5 < 0.98 * lowest:
        assumed.append(
            f"the gentle use needs {use.pressure / 1e5:.1f} bar, below the {lowest:.1f} bar that the archive ran: friction, and "
            "so its power density, is taken from the curve at the reference pressure"
        )
    enough = found.loss is not None and found.loss <= sought.loss
    lines = [
        Line("glazing_loss", f"smallest loss of friction found after {found.gentle} gentle stops at "
             f"{found.power_w_mm2 or 0:.2g} W/mm2", "1", found.loss, None, found.why),
        Line("false_alarms", "share of healthy tests that raise an alarm, by the method", "1", found.false_alarms),
    ]  # fmt: skip
    curve = Curve("loss of friction found", "share of friction lost", "chance of an alarm",
                  tuple((x, y, None) for x, y in found.chance), asked.wanted)  # fmt: skip
    assumed.append(
        f"scatter of matched stops {noise.sigma:.2%} ({noise.dof:.0f} degrees of freedom), drawn from what is known of it; "
        "a specimen answers for itself, a second one says whether the batch does it"
    )
    open_ = [f"to call a loss glazing-like the program lacks: {text}" for text in found.lacking]
    if not enough and found.why:
        open_.append(f"glazing below {below:g} W/mm2: undetermined, because {found.why}")
    return _plan(
        archive, planned, asked, question, dict.fromkeys(CASES, 1 if enough else None), why, lines=tuple(lines),
        assumed=tuple(assumed), undetermined=tuple(open_), curves=(curve,) if found.chance else (),
    )  # fmt: skip


def _gentle_stops(archive: Archive, loss: float) -> tuple[int, list[str]]:
    """Gentle stops for the loss to grow: by the growth that the archive saw, else a usual number, and in words."""
    limit = archive.friction.glaze_limit
    known = limit.stops.value if limit and limit.stops else None
    least = archive.method.drift.least_exposure
    if known is None or limit is None or limit.stops is None:
        return USUAL_GENTLE, [
            f"how many gentle stops a glaze needs to grow on this compound is not known (no test of it shows one): "
            f"{USUAL_GENTLE} are planned; a slower glaze is not excluded by this program"
        ]
    high = limit.stops.high or known
    count = max(round(high * loss / 0.03), least)
    return count, [
        f"a glaze of the archive lost 3 % in {known:.0f} gentle stops ({limit.stops.low or 0:.0f} to {high:.0f}): "
        f"{count} are planned, by the slower end, growing in proportion"
    ]


def gentle_program(archive: Archive, card: Card, below: float, gentle: int, count: int, asked: Asked) -> list[Block]:
    """Bedding, checks, gentle use under `below` W/mm2, checks, high-energy use, checks; blocks after the card's own."""
    beds = [b for b in card.blocks if b.purpose == "bedding"]
    checks = [b for b in card.blocks if b.purpose == "check"]
    if not checks:
        raise InputError(f"{card.test}: its program has no check block to take for the planned checks")
    check = checks[0].model_copy(update={"stops": count, "pause_before": None})
    stops = planned_table(archive, card, asked)
    mean = pl.col("power_density_w_mm2").mean()
    power = {name: float(p or 0.0) for name, p in stops.group_by("block").agg(mean).iter_rows()}
    used = [b for b in card.blocks if b.purpose in ("duty", "fade") and b.kind != "drag"]
    mildest = min((b for b in used if b.purpose == "duty"), key=lambda b: power[b.name], default=checks[0])
    hardest = max(used, key=lambda b: power[b.name], default=checks[0])
    wanted = 0.9 * below / power[mildest.name]
    pressure = max(round((mildest.pressure or check.pressure or 25e5) * wanted / 1e4), 1) * 1e4  # to 0.1 bar
    low = mildest.model_copy(
        update={"name": "gentle use", "purpose": "duty", "kind": mildest.kind, "stops": gentle, "pressure": pressure,
                "control": "pressure", "torque": None, "deceleration": None, "pause_before": None}
    )  # fmt: skip
    hard = hardest.model_copy(
        update={"name": "high-energy use", "purpose": "duty", "stops": HARD_STOPS, "pause_before": None}
    )
    return named_once([*beds, check, low, check, hard, check])


def _window(archive: Archive, card: Card, sought: Sought, asked: Asked) -> Plan:
    """How many specimens of the program place both ends of the window."""
    if sought.within is None:
        raise InputError('--question window needs --within, such as "10 K"')
    question = f"both window ends to +-{sought.within:g} K"
    truth, scatter = archive_map(archive), archive.scatter("mu")
    if truth is None or isinstance(scatter, str):
        why = scatter if isinstance(scatter, str) else "the compound's results hold no friction map"
        return _plan(
            archive, card, asked, question, dict.fromkeys(CASES), why, undetermined=(f"undetermined, because {why}",)
        )
    stops = planned_table(archive, card, asked)
    tried: dict[Case, dict[int, ends.Ends]] = {case: {} for case in CASES}

    def half(n: int, case: Case) -> float | None:
        between = scatter.specimen.of(case)
        if between is None:
            return None
        found = ends.foreseen(
            truth, stops, n, between / scatter.level, archive.method, archive.wanted,
            archive.friction.common_relative_u or 0.0,
        )  # fmt: skip
        tried[case][n] = found
        both = (found.low.half_k, found.high.half_k)
        return None if None in both else max(k for k in both if k is not None)

    needed, points = _tries(half, sought.within, (1, 2, 3, 4, 6))
    why = _last_words(points, sought.within, "K")
    return _plan(
        archive, card, asked, question, needed, why,
        lines=tuple(_tried_lines("window", "the wider of the window's ends to +-", "K", needed, points)),
        assumed=(hours_words(archive, card), scatter_words(scatter),
                 f"{ends.DRAWS} programs a try drawn from the friction map of {archive.last_batch} and fitted as tests are; "
                 "the planned specimens alone, without those of the archive"),
        curves=(_tried_curve("window ends", "half width, K", points, sought.within),),
    )  # fmt: skip


def _wear(archive: Archive, card: Card, sought: Sought, asked: Asked) -> Plan:
    """How many specimens give the life on a duty, or the activation energy, to the tolerance."""
    of_life = sought.question == "life"
    if sought.within is None:
        example = '"15 %"' if of_life else '"10 kJ/mol"'
        raise InputError(f"--question {sought.question} needs --within, such as {example}")
    duty = _duty(archive, sought.duty) if of_life else None
    question = (
        f"life of the disc on {duty.duty} to +-{sought.within:.0%}"
        if duty
        else f"activation energy to +-{sought.within:g} kJ/mol"
    )
    part = (archive.wear.components or {}).get("disc")
    law, scatter = part.identified_law if part else None, archive.scatter("wear")
    if law is None or isinstance(scatter, str):
        why = scatter if isinstance(scatter, str) else "the archive's readings identify no wear law of the disc"
        return _plan(
            archive, card, asked, question, dict.fromkeys(CASES), why, undetermined=(f"undetermined, because {why}",)
        )
    if duty is None and "Ea" not in law.parameters:
        why = f"the archive's law is {law.model}, which has no activation energy"
        return _plan(
            archive, card, asked, question, dict.fromkeys(CASES), why, undetermined=(f"undetermined, because {why}",)
        )
    run = planned_stops(card, replace(asked.assumed, mu=level(archive)), archive.method.wear)
    tests = [Recorded(t.card, t.stops) for t in archive.tests]

    def half(n: int, case: Case) -> float | None:
        between = scatter.specimen.of(case)
        if between is None:
            return None
        found = life.foreseen(law, card, run, n, between, asked.reading, archive.method)
        if duty is not None:
            return life.on_duty(duty, found, tests, archive.friction, archive.wear, archive.method).half
        ea = next(p for p in found.parameters if p.name == "Ea")
        return None if ea.low is None or ea.high is None else (ea.high - ea.low) / 2

    needed, points = _tries(half, sought.within, TRIED)
    unit, what = ("1", f"life on {duty.duty} to +-") if duty else ("kJ/mol", "activation energy to +-")
    return _plan(
        archive, card, asked, question, needed, _last_words(points, sought.within, unit),
        lines=tuple(_tried_lines(sought.question, what, unit, needed, points)),
        assumed=(hours_words(archive, card), scatter_words(scatter),
                 f"the archive's {law.model} law is the truth; readings of {asked.reading.u_um:g} um; the planned specimens "
                 "alone, without those of the archive"),
        curves=(_tried_curve(what.removesuffix(" to +-"), "half width", points, sought.within),),
    )  # fmt: skip


def _duty(archive: Archive, name: str | None) -> DutyCycle:
    known = {duty.duty: duty for duty in archive.duties}
    if name is None or name not in known:
        said = f"no duty {name!r}" if name else "--question life needs --duty"
        raise InputError(f"{said}; there are {', '.join(known) or 'none: name duties in the config'}")
    return known[name]


Points = dict[int, tuple[float | None, float | None]]


def _tries(
    half: Callable[[int, Case], float | None], within: float, sizes: Sequence[int]
) -> tuple[dict[Case, int | None], Points]:
    """Fewest of the sizes for each case, and what each size came to; sizes beyond both answers are not tried."""
    needed: dict[Case, int | None] = dict.fromkeys(CASES)
    points: Points = {}
    for n in sizes:
        own = {case: half(n, case) for case in CASES}
        points[n] = (own["as found"], own["pessimistic"])
        for case, found in own.items():
            if needed[case] is None and found is not None and found <= within:
                needed[case] = n
        if None not in needed.values():
            break
    return needed, points


def _tried_lines(key: str, what: str, unit: str, needed: dict[Case, int | None], points: Points) -> list[Line]:
    shown = needed["as found"] or max(points)
    as_found, pessimistic = points[shown]
    why = None if as_found is not None else "its interval would be open"
    return [Line(key, f"{what} with {shown} specimen{'s' if shown > 1 else ''}", unit, as_found, pessimistic, why)]


def _last_words(points: Points, within: float, unit: str) -> str:
    most = max(points)
    worst = "open" if points[most][0] is None else f"+-{points[most][0]:.3g} {unit}"
    return (
        f"not with {most} specimens of this program (as found {worst}, wanted +-{within:g}): another program is needed"
    )


def _tried_curve(name: str, y: str, points: Points, within: float) -> Curve:
    return Curve(name, "specimens", y, tuple((float(n), *own) for n, own in sorted(points.items())), within)
