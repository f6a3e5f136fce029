"""Questions whose every try is an analysis: window ends, life on a duty, activation energy, for more and more specimens."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from pipeline.archive.card import Card
from pipeline.archive.duties import DutyCycle
from pipeline.duty.air import Recorded
from pipeline.errors import InputError
from pipeline.heat.propagation import untold
from pipeline.planning import ends, life
from pipeline.planning.archive import Archive, archive_map
from pipeline.planning.components import CASES, Case
from pipeline.planning.judged import Asked, hours_words, level, planned_table
from pipeline.planning.plan import Curve, Line, Plan, no_better, scatter_words
from pipeline.planning.sought import Sought, plan_of
from pipeline.wear.planned_stops import planned_stops
from pipeline.wording import in_percent

TRIED = (1, 2, 3, 4, 6, 8, 12)  # specimens tried
WINDOW_TRIED = (2, 3, 4, 6)  # the map of one specimen is its own, and says nothing of how far another one lies


def of_window(archive: Archive, card: Card, sought: Sought, asked: Asked) -> Plan:
    """How many specimens of the program place both ends of the window."""
    if sought.within is None:
        raise InputError('--question window needs --within, such as "10 K"')
    question = f"both window ends to +-{sought.within:g} K"
    truth, scatter = archive_map(archive), archive.scatter("mu")
    if truth is None or isinstance(scatter, str):
        why = scatter if isinstance(scatter, str) else "the compound's results hold no friction map"
        return plan_of(
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

    needed, points = _tries(half, sought.within, WINDOW_TRIED)
    why = _last_words(points, sought.within, "K")
    return plan_of(
        archive, card, asked, question, needed, why,
        lines=tuple(_tried_lines("window", "the wider of the window's ends to +-", "K", needed, points)),
        assumed=(hours_words(archive, card), scatter_words(scatter),
                 f"{ends.DRAWS} programs a try drawn from the friction map of {archive.other_batch} and fitted as tests are; "
                 "the planned specimens alone, without those of the archive"),
        curves=(_tried_curve("window ends", "half width, K", points, sought.within),),
    )  # fmt: skip


def of_wear(archive: Archive, card: Card, sought: Sought, asked: Asked) -> Plan:
    """How many specimens give the life on a duty, or the activation energy, to the tolerance."""
    of_life = sought.question == "life"
    if sought.within is None:
        example = '"15 %"' if of_life else '"10 kJ/mol"'
        raise InputError(f"--question {sought.question} needs --within, such as {example}")
    duty = _duty(archive, sought.duty) if of_life else None
    question = (
        f"life of the disc on {duty.duty} to +-{in_percent(sought.within)}"
        if duty
        else f"activation energy to +-{sought.within:g} kJ/mol"
    )
    part = (archive.wear.components or {}).get("disc")
    law, scatter = part.identified_law if part else None, archive.scatter("wear")
    if law is None or isinstance(scatter, str):
        why = scatter if isinstance(scatter, str) else "the archive's readings identify no wear law of the disc"
        return plan_of(
            archive, card, asked, question, dict.fromkeys(CASES), why, undetermined=(f"undetermined, because {why}",)
        )
    if duty is None and "Ea" not in law.parameters:
        why = f"the archive's law is {law.model}, which has no activation energy"
        return plan_of(
            archive, card, asked, question, dict.fromkeys(CASES), why, undetermined=(f"undetermined, because {why}",)
        )
    run = planned_stops(card, replace(asked.assumed, mu=level(archive)), archive.method.wear)
    tests = [Recorded(t.card, t.stops) for t in archive.tests]
    lives: dict[Case, life.DutyLife] = {}  # at the most specimens tried

    def half(n: int, case: Case) -> float | None:
        between = scatter.specimen.of(case)
        if between is None:
            return None
        found = life.foreseen(law, card, run, n, between, asked.reading, archive.method)
        if duty is not None:
            lives[case] = life.on_duty(duty, found, tests, archive.friction, archive.wear, archive.method)
            return lives[case].half
        ea = next(p for p in found.parameters if p.name == "Ea")
        return None if ea.low is None or ea.high is None else (ea.high - ea.low) / 2

    needed, points = _tries(half, sought.within, TRIED)
    unit, what = ("1", f"life on {duty.duty} to +-") if duty else ("kJ/mol", "activation energy to +-")
    return plan_of(
        archive, card, asked, question, needed, _last_words(points, sought.within, unit, _untold(lives, sought.within)),
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
        own["pessimistic"] = no_better(own["as found"], own["pessimistic"])
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


def _untold(lives: Mapping[Case, life.DutyLife], within: float) -> str | None:
    """What of a life no further specimen tells, as found; None where specimens would do."""
    found = lives.get("as found")
    return None if found is None else untold(found.by_source, found.half or 1.0, within)


def _last_words(points: Points, within: float, unit: str, instead: str | None = None) -> str:
    """instead: what would help where no specimen does."""
    most = max(points)
    shown = ["open" if half is None else f"+-{half:.3g}" for half in points[most]]
    return (
        f"not with {most} specimens of this program: as found {shown[0]}, pessimistic {shown[1]}, wanted +-{within:g} {unit}; "
        f"{instead or 'another program is needed, or a scatter that is known better'}"
    )


def _tried_curve(name: str, y: str, points: Points, within: float) -> Curve:
    return Curve(name, "specimens", y, tuple((float(n), *own) for n, own in sorted(points.items())), within)
