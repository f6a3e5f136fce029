"""A design judged: everything that a card's program can show on so many specimens of so many batches."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import polars as pl

from pipeline.archive.blocks import as_yaml
from pipeline.archive.card import Card
from pipeline.drift.repeatability import scatter_of
from pipeline.duty.air import Recorded
from pipeline.errors import InputError
from pipeline.heat.propagation import untold
from pipeline.planning import ends, glaze, life, program
from pipeline.planning.archive import Archive, archive_map
from pipeline.planning.comparison import Design, Rule, chances, shown
from pipeline.planning.components import CASES, Case, Quantity, Scatter
from pipeline.planning.plan import Curve, Line, Plan, Run, no_better, scatter_words
from pipeline.wear.planned_stops import Assumed, planned_stops
from pipeline.wording import counted, in_percent

QUANTITIES: tuple[Quantity, ...] = ("mu", "bite", "wear")
WORDS = {"mu": "mu at the reference", "bite": "bite", "wear": "wear of the disc"}
MOST_DRAWN = 12  # specimens up to which chances are drawn


@dataclass(frozen=True)
class Asked:
    """What a plan is made for: the wanted chance, readings, and what is assumed before anything was measured."""

    wanted: float = 0.8
    reading: life.Reading = field(default_factory=life.Reading)
    assumed: Assumed = field(default_factory=Assumed)
    other_state: bool = False  # a calibration or another event of the rig lies between the batches


def level(archive: Archive) -> float:
    """mu to plan brake times with: the mean of the specimens at the reference."""
    found = archive.scatter("mu")
    return 0.4 if isinstance(found, str) else found.level


def planned_table(archive: Archive, card: Card, asked: Asked) -> pl.DataFrame:
    """The card's stops with the friction of the compound's curve."""
    curve = [(p.temperature_c, p.mu) for p in archive.friction.curve]
    return program.table(card, replace(asked.assumed, mu=level(archive)), archive.method.wear, curve)


def run_of(archive: Archive, card: Card, specimens: int | None, why: str | None = None) -> Run:
    """So many specimens of the card's program in stops and rig hours."""
    if specimens is None:
        return Run(None, None, None, why)
    took = program.hours(card, [t.stops for t in archive.tests], archive.method.friction.pause)
    stops = sum(block.stops for block in card.blocks)
    hours = None if took.hours is None else specimens * took.hours
    return Run(specimens, specimens * stops, hours, took.why)


def hours_words(archive: Archive, card: Card) -> str:
    """How the hours were found."""
    took = program.hours(card, [t.stops for t in archive.tests], archive.method.friction.pause)
    if took.hours is None:
        return f"rig hours are not known: {took.why}"
    said = (
        "rig hours: from the end of one braking to the end of the next, the median of the archive's most alike stops; "
        f"waits over {archive.method.friction.pause / 3600:g} h, mounting and reading are not in them"
    )
    span = archive.hours_per_test
    if span is not None:
        said += f" (a test of the archive took {span:.0f} h from its first to its last stop, pauses included)"
    if took.pauses:
        said += f"; stated pauses of {took.pauses:.1f} h a specimen are"
    if took.unlike:
        said += f"; no alike block in the archive for {', '.join(took.unlike)}"
    return said


def rule_of(archive: Archive, quantity: Quantity, wanted: float) -> Rule:
    return Rule(archive.margin(quantity), archive.method.batches.significance, wanted)


def design_of(
    archive: Archive, quantity: Quantity, blocks: Sequence[int], specimens: int, batches: int, asked: Asked
) -> Design:
    """The planned batch against the archive's last one, all others beside them."""
    there = archive.specimens(quantity)
    last = there.pop(archive.other_batch, 0)
    return Design(
        specimens,
        last,
        tuple(blocks),
        (*there.values(), *[specimens] * (batches - 1)),
        archive.state_u(quantity) if asked.other_state else 0.0,
    )


def comparisons(
    archive: Archive, stops: pl.DataFrame, specimens: int, batches: int, asked: Asked
) -> tuple[list[Line], list[Curve], list[str], list[str]]:
    """(lines, curves, assumptions, what is undetermined) of the batch answers."""
    lines: list[Line] = []
    curves: list[Curve] = []
    assumed: list[str] = []
    open_: list[str] = []
    for q in QUANTITIES:
        scatter = archive.scatter(q)
        if isinstance(scatter, str):
            open_.append(f"{WORDS[q]} between batches: undetermined, because {scatter}")
            continue
        assumed.append(scatter_words(scatter))
        blocks = program.blocks_read(stops, q, archive.bite_at)
        rule = rule_of(archive, q, asked.wanted)
        each = {
            case: shown(scatter, design_of(archive, q, blocks, specimens, batches, asked), rule, case) for case in CASES
        }
        first, bad = each["as found"], each["pessimistic"]
        if first.why:
            open_.append(f"{WORDS[q]} between batches: undetermined, because {first.why}")
            continue
        lines += _answers(q, first.equivalent, bad.equivalent, first.difference, bad.difference, rule)
        if rule.margin is None:
            open_.append(f"{WORDS[q]} alike: undetermined, because no target gives the margin")
        else:
            curves.append(curve_of(archive, scatter, q, blocks, batches, rule, asked))
    return lines, curves, assumed, open_


def _answers(
    q: Quantity, equal: float | None, equal_bad: float | None, gap: float | None, gap_bad: float | None, rule: Rule
) -> list[Line]:
    found = []
    if rule.margin is not None:
        found.append(
            Line(
                f"{q}_equivalent", f"{WORDS[q]}: chance of `equivalent` if the batches are alike", "1", equal, equal_bad
            )
        )
    shown_as, unit = (math.expm1, "1") if q == "wear" else (float, "mu")
    why = None if gap is not None else "no difference is large enough"
    found.append(
        Line(
            f"{q}_difference", f"{WORDS[q]}: smallest {'ratio less 1' if q == 'wear' else 'difference'} called different",
            unit, None if gap is None else shown_as(gap), None if gap_bad is None else shown_as(gap_bad), why,
        )
    )  # fmt: skip
    return found


def curve_of(
    archive: Archive, scatter: Scatter, q: Quantity, blocks: Sequence[int], batches: int, rule: Rule, asked: Asked
) -> Curve:
    """Chance of `equivalent` of alike batches against specimens."""

    def chance(n: int, case: Case) -> float | None:
        found = chances(scatter, design_of(archive, q, blocks, n, batches, asked), rule, 0.0, case)
        return None if found is None else found[0]

    points = tuple((float(n), chance(n, "as found"), chance(n, "pessimistic")) for n in range(2, MOST_DRAWN + 1))
    return Curve(WORDS[q], "specimens of the planned batch", "chance of `equivalent`", points, rule.wanted)


def of_friction(archive: Archive, stops: pl.DataFrame, specimens: int) -> tuple[list[Line], list[str], list[str]]:
    """(lines, assumptions, what is undetermined) of window ends and mu at the reference."""
    what = "window ends and mu at the reference"
    truth = archive_map(archive)
    scatter = archive.scatter("mu")
    if truth is None:
        return [], [], [f"{what}: undetermined, because the compound's results hold no friction map"]
    if isinstance(scatter, str):
        return [], [], [f"{what}: undetermined, because {scatter}"]
    found = {}
    for case in CASES:
        between = scatter.specimen.of(case)
        if between is not None:
            found[case] = ends.foreseen(
                truth, stops, specimens, between / scatter.level, archive.method, archive.wanted,
                archive.friction.common_relative_u or 0.0,
            )  # fmt: skip
    first, bad = found["as found"], found.get("pessimistic")
    lines = [
        Line("window_low", "lower window end to +-", "K", first.low.half_k, bad.low.half_k if bad else None, first.low.why),
        Line("window_high", "upper window end to +-", "K", first.high.half_k, bad.high.half_k if bad else None, first.high.why),
        Line("mu", "mu at the reference to +-", "mu", first.mu_half, bad.mu_half if bad else None,
             None if first.mu_half is not None else "the planned stops do not reach the reference's temperature"),
    ]  # fmt: skip
    assumed = [
        f"window ends and mu: {ends.DRAWS} programs drawn from the friction map of {archive.other_batch}, fitted as tests "
        f"are; half widths of {in_percent(archive.method.friction.confidence)} intervals, the rig's calibration in them"
    ]
    if specimens == 1:
        assumed.append("window ends and mu of one specimen are its own: the scatter between specimens is not in them")
    if first.unsupported:
        assumed.append(
            f"{first.unsupported} map or check stops lie outside what the archive's map is known at and count for nothing"
        )
    return lines, assumed, []


def of_glazing(
    archive: Archive, stops: pl.DataFrame, wanted: float
) -> tuple[list[Line], list[Curve], list[str], list[str]]:
    """(lines, curves, assumptions, what is undetermined) of the loss of friction found."""
    noise = scatter_of(archive.repeatability)
    if noise is None:
        why = archive.repeatability.why or "no scatter of matched stops"
        return [], [], [], [f"glazing: undetermined, because {why}"]
    found = glaze.foreseen(stops, noise, archive.method.drift, wanted)
    if found.loss is None and not found.chance:
        return [], [], [], [f"glazing: undetermined, because {found.why}"]
    at = "" if found.power_w_mm2 is None else f" at {found.power_w_mm2:.2g} W/mm2"
    line = Line(
        "glazing_loss", f"smallest loss of friction found after {counted(found.gentle, 'gentle stop')}{at}", "1", found.loss,
        None, found.why,
    )  # fmt: skip
    assumed = [
        f"glazing: scatter of matched stops {in_percent(noise.sigma, 2)} ({noise.dof:.0f} degrees of freedom), neighbours alike by "
        f"{noise.rho:.2f}; false alarms {in_percent(found.false_alarms, 1)} of healthy tests, as the method has it; one specimen"
    ]
    open_ = [f"to call a loss glazing-like the program lacks: {text}" for text in found.lacking]
    curve = Curve("loss of friction found", "share of friction lost", "chance of an alarm",
                  tuple((loss, chance, None) for loss, chance in found.chance), wanted)  # fmt: skip
    return [line], [curve], assumed, open_


def of_wear(archive: Archive, card: Card, specimens: int, asked: Asked) -> tuple[list[Line], list[str], list[str]]:
    """(lines, assumptions, what is undetermined) of the law's parameters and the life on each duty."""
    part = (archive.wear.components or {}).get("disc")
    law = part.identified_law if part else None
    scatter = archive.scatter("wear")
    if part is None or law is None:
        why = (part.chosen_why if part else archive.wear.why) or "no wear of the disc was read"
        return [], [], [f"wear law and life: undetermined, because the archive's readings identify no law ({why})"]
    if isinstance(scatter, str):
        return [], [], [f"wear law and life: undetermined, because {scatter}"]
    try:
        run = planned_stops(card, replace(asked.assumed, mu=level(archive)), archive.method.wear)
    except InputError as error:
        return [], [], [f"wear law and life: undetermined, because {error}"]
    each = {
        case: life.foreseen(law, card, run, specimens, between, asked.reading, archive.method)
        for case in CASES
        if (between := scatter.specimen.of(case)) is not None
    }
    lines, open_ = [], []
    for k, parameter in enumerate(each["as found"].parameters):
        halves = [_half(one.parameters[k]) for one in each.values()]
        lines.append(
            Line(f"wear_{parameter.name}", f"{law.model} law, {parameter.name} (now {parameter.value:.3g}) to +-",
                 parameter.unit, halves[0], no_better(*halves) if len(halves) > 1 else None,
                 None if halves[0] is not None else each["as found"].why or "its interval would be open")
        )  # fmt: skip
    if not each["as found"].identified:
        open_.append(
            f"wear law: a test of it would be read as {each['as found'].chosen or 'no law'}: {each['as found'].why}"
        )
    tests = [Recorded(t.card, t.stops) for t in archive.tests]
    for duty in archive.duties:
        lives = [
            life.on_duty(duty, one, tests, archive.friction, archive.wear, archive.method) for one in each.values()
        ]
        open_ended = lives[0].why
        beside = untold(lives[0].by_source, 1.0, 1.0) if lives[0].half is None else None
        lines.append(
            Line(f"life_{duty.duty}", f"life of the disc on {duty.duty} to +-", "1", lives[0].half,
                 no_better(lives[0].half, lives[1].half) if len(lives) > 1 else None, f"{open_ended}; {beside}" if beside else open_ended)
        )  # fmt: skip
    assumed = [
        f"wear: the archive's {law.model} law; readings of {asked.reading.u_um:g} um after "
        + ("every block" if asked.reading.after is None else f"{counted(len(asked.reading.after), 'block')}")
        + f"; intervals of the planned test alone at {in_percent(archive.method.wear.confidence)}, without those of the archive; "
        f"the method's expected scatter of {in_percent(archive.method.wear.specimen_scatter)} counts as 4 degrees of freedom"
    ]
    return lines, assumed, open_


def _half(parameter: life.Parameter) -> float | None:
    if parameter.low is None or parameter.high is None:
        return None
    return (parameter.high - parameter.low) / 2


def judge(archive: Archive, card: Card, specimens: int, batches: int, asked: Asked) -> Plan:
    """Everything that the card's program can show on `specimens` of each of `batches` new batches."""
    stops = planned_table(archive, card, asked)
    lines, curves, assumed, open_ = comparisons(archive, stops, specimens, batches, asked)
    for more, told, undetermined in (
        of_friction(archive, stops, specimens), of_wear(archive, card, specimens, asked),
    ):  # fmt: skip
        lines, assumed, open_ = lines + more, assumed + told, open_ + undetermined
    more, drawn, told, undetermined = of_glazing(archive, stops, asked.wanted)
    run = run_of(archive, card, specimens * batches)
    return Plan(
        compound=archive.compound,
        method=archive.method_name,
        question=f"what {specimens} specimens of {'a new batch' if batches == 1 else f'each of {batches} new batches'} can show",
        program=card.test,
        run={"as found": run, "pessimistic": run},
        lines=tuple(lines + more),
        assumed=(*against(archive, asked), hours_words(archive, card), *assumed, *told),
        undetermined=tuple(open_ + undetermined),
        curves=tuple(curves + drawn),
        blocks=as_yaml(card.blocks),
        wanted=asked.wanted,
    )


def against(archive: Archive, asked: Asked) -> list[str]:
    """What a comparison is with."""
    state = "in the same calibration state"
    if asked.other_state:
        u = archive.state_u("mu")
        state = (
            f"with a calibration between, which adds {u:.4f} to the standard uncertainty of a difference of mu"
            if u
            else "with a calibration between, of which the cards state no accuracies: nothing is added for it"
        )
    return [
        f"a planned batch is compared with {archive.other_batch}, {'as asked' if archive.against else 'the last one of the archive'}, on the same rig {state}; all "
        "batches' specimens are pooled for the scatter, the answers' rules are the method's",
        "pessimistic: the upper end of the 95 % interval of the scatter between specimens",
    ]
