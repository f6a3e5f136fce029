"""Every requirement of a target answered for each batch and for the compound.

The compound's answer is its own figure's where all pairs of its batches are shown equivalent in what the figure rests on, else
the worst batch's. Disc wear and life always go by the worst batch, each by its own rates of every mechanism.
One specimen is no replicate of its batch: its batch is undecided, and the answer says what that specimen alone shows.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

from pipeline.archive.targets import Decision, Target
from pipeline.batches.compare import natural
from pipeline.batches.wear_parts import named
from pipeline.conformity import batches as of_batches
from pipeline.conformity import friction
from pipeline.conformity.batches import TestOfBatch
from pipeline.conformity.decision import RISK, decided, inside, probability, room
from pipeline.conformity.friction import Found
from pipeline.constants import ZERO_C
from pipeline.results.batches import CompoundBatches, Difference, Pair, Quantity, Verdict, WearAnswer
from pipeline.results.compound_friction import CompoundFriction, OfBatch
from pipeline.results.duty import BatchLife, CompoundDuty, DutyProjection
from pipeline.results.friction_map import CurvePoint, Holds, WindowAt
from pipeline.results.model import USUAL_CONFIDENCE, Interval
from pipeline.results.support import Extrapolation, basis_of
from pipeline.results.targets import Asked, Judged, Met, Requirement
from pipeline.results.wear import CompoundWear
from pipeline.tested.told import in_words

RANK: dict[Met, int] = {"not met": 0, "undecided": 1, "met": 2}
PAIRED: dict[Verdict, Met] = {"equivalent": "met", "different": "not met", "undecided": "undecided"}
AS_RUN = "over the program as run: a duty with another share of oxidation may set the batches farther apart"
NOT_PARTED = (
    "the batch's readings do not tell the mechanisms of the {parts} apart: its interval holds what that leaves open"
)
MOSTLY = "by the figures met, but {share:.0f} % of what it rests on is extrapolated; {why}"
BEYOND = "the projection goes beyond what the rig has shown: {beyond}"
ALONE = "one specimen cannot speak for its batch; that specimen alone: {verdict}, {why}"


@dataclass(frozen=True)
class Compound:
    """What the compound's requirements are answered from. coverage: of single stops, the method's; lives: wanted km by duty;
    confidence: of the intervals of friction, wear and duty, 95 % where it is not given."""

    name: str
    target: Target
    friction: CompoundFriction
    wear: CompoundWear
    batches: CompoundBatches
    duty: CompoundDuty
    tests: Sequence[TestOfBatch]
    coverage: float
    lives: Mapping[str, float]
    confidence: Mapping[str, float] = field(default_factory=dict)

    def sure_of(self, section: str) -> float:
        """Confidence of a section's intervals."""
        return self.confidence.get(section, USUAL_CONFIDENCE)

    @property
    def rule(self) -> Decision:
        return self.target.rule

    @property
    def specimens(self) -> dict[str, int]:
        """Specimens by batch."""
        return {batch.batch: batch.specimens for batch in self.batches.batches}

    def alike(self, quantity: Quantity) -> bool:
        """Whether every pair of batches is shown equivalent; True for one batch."""
        return all(pair.verdicts[quantity] == "equivalent" for pair in self.batches.pairs)


def requirements(of: Compound) -> list[Requirement]:
    """Every requirement that the target (a duty, for its life) states, worst first."""
    found = [*_friction(of), *_wear(of), *_lives(of), *_margins(of)]
    return sorted(found, key=lambda one: _worse(one.answer))


def _worse(one: Judged) -> tuple[int, float]:
    """What is worse comes first; probabilities that print alike are alike."""
    return RANK[one.verdict], 1.0 if one.conformity is None else round(one.conformity, 6)


def _judged(of: Compound, name: str, found: Found, specimens: int) -> Judged:
    verdict, why = decided(of.rule, found.held, found.conformity), found.why
    if verdict == "met" and found.tested is not None and basis_of(found.tested) == "mostly extrapolated":
        verdict, why = "undecided", MOSTLY.format(share=100 * (1 - found.tested), why=why)
    if specimens < 2:
        verdict, why = "undecided", ALONE.format(verdict=verdict, why=why)
    return Judged(
        of=name,
        verdict=verdict,
        figure=found.figure,
        conformity=found.conformity,
        conformity_why=None if found.conformity is not None else found.figure.why or "no interval is given",
        why=why,
        tested=found.tested,
    )


def _answered(
    of: Compound, each: Mapping[str, Found], pooled: Found | None, quantity: Quantity | None, **head: object
) -> Requirement:
    """The requirement from every batch's figure; `pooled` is the compound's, used where the batches are alike in `quantity`."""
    names = sorted(each, key=natural)
    rows = [(_judged(of, name, each[name], of.specimens.get(name, 1)), each[name].room) for name in names]
    judged = [one for one, _ in sorted(rows, key=lambda row: (*_worse(row[0]), math.inf if row[1] is None else row[1]))]
    if not judged or (pooled is not None and len(judged) > 1 and quantity is not None and of.alike(quantity)):
        every = (
            Found(Interval(why="no batch has a figure"), None, None, "no batch has a figure")
            if pooled is None
            else pooled
        )
        answer = _judged(of, of.name, every, sum(of.specimens.values()))
        rests = "all batches together: every pair is shown equivalent in it" if judged else "the compound"
    else:
        answer, rests = judged[0], f"batch {judged[0].of}" + (", the worst" if len(judged) > 1 else "")
    return Requirement.model_validate(dict(head) | {"answer": answer, "rests_on": rests, "each": judged})


def _friction(of: Compound) -> list[Requirement]:
    """The target range and band; without a target range mu at the reference conditions."""
    target, band = of.target, of.target.mu
    if target.temperature_window is None:
        return [] if band is None else [_at_reference(of, band)]
    span = (target.temperature_window[0] - ZERO_C, target.temperature_window[1] - ZERO_C)
    if band is None:
        return [_ends(of, span)]
    at, every, sure = _place(of), _curves(of), of.sure_of("friction")
    head: dict[str, object] = {"unit": "", "low": band[0], "high": band[1], "at": at}
    head["wanted"] = f"{_words(span)}, µ {band[0]:.3g} to {band[1]:.3g}"
    stops = {
        name: _by_tests(friction.single_stops(curve, holds, band, span, of.coverage, sure), curve, span)
        for name, (curve, holds) in every.items()
    }
    means = {name: _by_tests(friction.mean(curve, band, span, sure), curve, span) for name, (curve, _) in every.items()}
    curve, holds = _pooled(of)
    share = f"{100 * of.coverage:.3g} % of single stops in the target band over the target range"
    whole = "Mean µ in the target band over the target range"
    every_stop = _by_tests(friction.single_stops(curve, holds, band, span, of.coverage, sure), curve, span)
    mean = _by_tests(friction.mean(curve, band, span, sure), curve, span)
    return [
        _answered(of, stops, every_stop, "mu", key="window", target=share, **head),
        _answered(of, means, mean, "mu", key="mu", target=whole, **head),
    ]


def _by_tests(found: Found, curve: Sequence[CurvePoint], span: tuple[float, float]) -> Found:
    """The answer with the share of the wanted temperatures at which stops were run near."""
    points = friction.wanted_points(curve, span) if curve else None
    if not points:
        return found
    share = sum(point.tested for point in points) / len(points)
    untested = [point.temperature_c for point in points if not point.tested]
    beyond = (
        f"between {untested[0]:.0f} and {untested[-1]:.0f} °C no stop was run near these conditions" if untested else ""
    )
    return replace(found, tested=share, why=f"{found.why}; {beyond}" if beyond else found.why)


def _words(span: tuple[float, float]) -> str:
    return f"{span[0]:.0f} to {span[1]:.0f} °C"


def _ends(of: Compound, span: tuple[float, float]) -> Requirement:
    """The window's ends, where no band of mu is wanted: then it is the window about the plateau."""
    rows = of.friction.by_batch
    each = {one.batch: friction.ends(one.window, one.window_reason, span) for one in rows}
    pooled = friction.ends(of.friction.window, of.friction.window_reason, span)
    each = each or ({name: pooled for name in of.specimens} if len(of.specimens) == 1 else {})
    words = "Friction window over the target range (no band is stated: that about the plateau)"
    return _answered(of, each, pooled, "mu", key="window", target=words, unit="°C", wanted=_words(span))


def _place(of: Compound) -> str | None:
    at = of.target.at
    return None if at is None else f"{at.pressure / 1e5:.3g} bar and {at.energy_density / 1e6:.3g} J/mm²"


Curve = tuple[Sequence[CurvePoint], Holds | None]


def _curves(of: Compound) -> dict[str, Curve]:
    """Curve and answer of every batch, at the conditions asked for; a lone batch of the map has the compound's, a batch
    without a stop in the map none."""
    found: dict[str, Curve] = dict.fromkeys(of.specimens, ([], None))
    if of.friction.by_batch:
        return found | {one.batch: _of_place(of, one, one.asked) for one in of.friction.by_batch}
    mapped = {one.batch for one in of.friction.specimens}
    lone = mapped if len(mapped) == 1 else set(of.specimens) if len(of.specimens) == 1 else set()
    return found | dict.fromkeys(lone, _pooled(of))


def _pooled(of: Compound) -> Curve:
    asked = next((one for one in of.friction.windows_at if one.asked), None)
    return _of_place(of, of.friction, asked)


def _of_place(of: Compound, found: CompoundFriction | OfBatch, asked: WindowAt | None) -> Curve:
    if of.target.at is None:
        return found.curve, found.holds
    return (asked.curve if asked else []), found.holds


def _at_reference(of: Compound, band: tuple[float, float]) -> Requirement:
    each = {batch.batch: _plain(batch.mu, *band) for batch in of.batches.batches}
    return _answered(
        of, each, None, None, key="mu", target="µ at the reference conditions in the target band", unit="",
        wanted=f"{band[0]:.3g} to {band[1]:.3g}", low=band[0], high=band[1],
    )  # fmt: skip


def _plain(
    figure: Interval, low: float | None = None, high: float | None = None, confidence: float = USUAL_CONFIDENCE
) -> Found:
    """A figure, its interval of this confidence, held against limits."""
    held = inside(figure, low, high)
    bare = Interval(value=figure.value, low=figure.low, high=figure.high, why=figure.why)
    where = {
        True: "the best estimate is inside the limits",
        False: "the best estimate is beyond a limit",
        None: "no estimate",
    }
    sure = probability(figure, low, high, confidence=confidence)
    why = where[held] + (f": {figure.why}" if figure.why else "")
    return Found(bare, sure, held, why, room=room(bare, low, high, confidence=confidence))


def _wear(of: Compound) -> list[Requirement]:
    if of.target.disc_wear is None:
        return []
    limit = of.target.disc_wear * 1e6
    known = of_batches.disc_wear(of.tests, of.wear, of.sure_of("wear"))
    each = {name: _plain(figure, high=limit, confidence=sure) for name, (figure, sure) in known.items()}
    return [
        _answered(
            of, each, None, None, key="disc_wear", high=limit, unit="µm", wanted=f"{limit:.3g} µm",
            target="Disc wear per stop and face on map and duty blocks, at most",
        )
    ]  # fmt: skip


def _lives(of: Compound) -> list[Requirement]:
    found = []
    for duty in of.duty.duties:
        wanted = of.lives.get(duty.duty)
        if wanted is None:
            continue
        names = list(of.specimens)
        lives = {name: _plain(of_batches.life(name, duty), low=wanted, confidence=of.sure_of("duty")) for name in names}
        each = {name: _told(life, duty, name) for name, life in lives.items()}
        found.append(
            _answered(
                of, each, None, None, key="life", target=f"Life on {duty.duty}, at least", unit="km",
                wanted=f"{wanted:.6g} km", low=wanted,
            )
        )  # fmt: skip
    return found


def _told(found: Found, duty: DutyProjection, batch: str) -> Found:
    """A life says beside its answer what its interval rests on: mechanisms that the batch's readings do not tell apart, and wear
    beyond what the rig has shown."""
    own = next((row for row in duty.by_batch if row.batch == batch), None)
    entries, shares, of, words = _rests(duty, own)
    beyond = "; ".join([*map(in_words, entries), *words])
    parts = own.not_parted if own is not None else []
    untold = [NOT_PARTED.format(parts=" and ".join(parts))] if parts else []
    said = [found.why, *untold, *([BEYOND.format(beyond=beyond)] if beyond else [])]
    tested = shares[of] if of is not None and of in shares else min(shares.values(), default=None)
    return replace(found, why="; ".join(said), tested=tested)


def _rests(
    duty: DutyProjection, own: BatchLife | None
) -> tuple[list[Extrapolation], Mapping[str, float], str | None, list[str]]:
    """(where a life leaves what was run, by component the share of its wear that readings cover, the component that ends it, words where
    there are no entries): the batch's own, else the duty's; friction and cooling are no batch's."""
    support = duty.support
    beside = [one for one in support.extrapolations if one.of != "friction"] if support else []
    if own is None or not own.wear_share:
        return beside, support.wear_share if support else {}, duty.life_limited_by, [] if support else duty.extrapolated
    entries = [*own.extrapolations, *(one for one in beside if not one.of.startswith("wear"))]
    return entries, own.wear_share, own.life_limited_by, []


def _margins(of: Compound) -> list[Requirement]:
    """Batches within the margins of each other; asked for where the target gives a margin and there are two batches."""
    asked: tuple[tuple[Asked, Quantity, str, Callable[[Pair], Difference]], ...] = (
        (
            "mu_batch_margin",
            "mu",
            "Batches alike in µ at the reference conditions: difference",
            lambda p: p.mu_difference,
        ),
        ("bite_margin", "bite", "Batches alike in bite: difference", lambda p: p.bite_difference),
        ("wear_batch_ratio", "wear", "Batches alike in wear: ratio", lambda p: p.wear_ratio),
    )
    found = []
    for key, quantity, words, figure in asked:
        margin = of.batches.margins.get(quantity)
        if margin is None or not of.batches.pairs:
            continue
        ends = (margin.low, margin.high)
        rows = [_pair(of, pair, quantity, figure(pair), ends) for pair in of.batches.pairs]
        if quantity == "wear":
            rows += [_part(of, pair, row, ends) for pair in of.batches.pairs for row in pair.wear if row.matters]
        rows.sort(key=_worse)
        wanted = f"{margin.low:.3g} to {margin.high:.3g}"
        found.append(
            Requirement(key=key, target=words, wanted=wanted, unit="", low=margin.low, high=margin.high, answer=rows[0],
                        rests_on=f"{rows[0].of}" + (", the pair farthest from alike" if len(rows) > 1 else ""), each=rows)
        )  # fmt: skip
    return found


def _pair(of: Compound, pair: Pair, quantity: Quantity, figure: Difference, margin: tuple[float, float]) -> Judged:
    """The pair's answer to a question of the comparison."""
    asked = pair.verdicts[quantity], pair.whys[quantity]
    found = _within(of, pair, "", asked, figure, margin)
    if quantity == "wear" and not pair.wear and found.figure.value is not None:
        return found.model_copy(update={"why": f"{found.why}; {AS_RUN}"})
    return found


def _part(of: Compound, pair: Pair, row: WearAnswer, margin: tuple[float, float]) -> Judged:
    """The pair's answer for one part of a component's wear, or for a duty's mix."""
    return _within(of, pair, f", {named(row)}", (row.verdict, row.why), row.ratio, margin)


def _within(
    of: Compound,
    pair: Pair,
    words: str,
    asked: tuple[Verdict, str | None],
    figure: Difference,
    margin: tuple[float, float],
) -> Judged:
    """Guard band: equivalent is met (two one-sided tests at 5 %), different is not met where the margin too is shown to be
    passed; shared risk: the estimate's."""
    found = _plain(figure, *margin)
    verdict, why = PAIRED[asked[0]], asked[1] or asked[0]
    single = [name for name in (pair.a, pair.b) if of.specimens.get(name, 0) < 2]
    if of.rule == "shared_risk" and not single:
        verdict, why = decided(of.rule, found.held, found.conformity), found.why
    elif verdict == "not met" and found.conformity is not None and found.conformity > RISK:
        verdict, why = "undecided", "different, yet not shown to lie beyond the margin"
    return Judged(
        of=f"{pair.a} and {pair.b}{words}", verdict=verdict, figure=found.figure, conformity=found.conformity,
        conformity_why=None if found.conformity is not None else figure.why or "no interval is given", why=why,
    )  # fmt: skip
