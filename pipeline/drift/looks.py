"""A test judged while it runs: looks at planned places, and one false-alarm rate for all of them together.

A test that is judged again after each block of checks has as many chances of a false alarm as it has looks. The looks
are therefore planned from the card's blocks before the first stop, K of them, and each is judged by the verdict's own
charts and shapes (`analysis`) at the stated rate divided by K. By Boole's inequality the chance that any of them raises
an alarm on a sound test is then at most the stated rate, however much the looks have in common (Bonferroni; equal shares
of the error over the looks as by Pocock 1977, spent by a plan that is fixed beforehand as by Lan and DeMets 1983, both
from memory). Looks that have in common most of their stops share most of their false alarms too, so the true rate is lower.

A look waits for the end of a block of matched checks: they decide. Where use goes on so long, in one block or several, that no check
comes for `LONGEST_USE` stops, there are looks within it, at which the stops of use speak for themselves. What is asked is whether
friction, or the torque chain beneath it, changed for good; moisture, unfinished bedding and fade are told, and are no
alarm. The level, the scatter and the limits come from the stops run so far and, where the compound has earlier tests,
from the scatter pooled over these: nothing is known beforehand of the test itself.

Blind to: what the verdict is blind to (a glaze before the first check, losses below `least_loss`); use without a check
after it, until the check comes; a change since fewer stops than one block of checks; the first block of checks itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import polars as pl

from pipeline.archive.block import Block
from pipeline.drift.analysis import analyse
from pipeline.drift.noise import Repeatability
from pipeline.method.drift import Drift
from pipeline.results.drift import OfStops
from pipeline.results.model import renewed

LONGEST_USE, WITHIN_USE = 40, 25  # stops of use without a check, and how far apart looks within it stand
LASTING = ("sensor", "glazing-like", "undetermined")


class Look(NamedTuple):
    """A planned look: stops of the schedule before it, the block that ends there (or within which it stands), and its
    place among the looks, from 1."""

    after: int
    block: str
    number: int


class Judged(NamedTuple):
    """What a look came to: the verdict on the stops so far, and whether it is an alarm; last: the last stop judged."""

    look: Look
    last: int
    found: OfStops
    alarm: bool


def planned_looks(blocks: Sequence[Block]) -> list[Look]:
    """The looks of a program: at the end of each block of checks but the first, and within long use without one.

    A program without checks is looked at within its use alone, and at its end.
    """
    places: list[tuple[int, str]] = []
    use: list[tuple[int, str]] = []  # stops of use since the last checks: place in the schedule, block
    run, checks = 0, 0
    for block in blocks:
        if block.purpose == "check":
            places += _within(use)
            run, use, checks = run + block.stops, [], checks + 1
            if checks > 1 or block.stops > LONGEST_USE:
                places.append((run, block.name))
            continue
        if block.purpose == "duty":
            use += [(run + n, block.name) for n in range(1, block.stops + 1)]
        run += block.stops
    places += _within(use)
    if use and (not places or places[-1][0] < run):
        places.append((run, blocks[-1].name))
    return [Look(after, name, number) for number, (after, name) in enumerate(places, 1)]


def _within(use: list[tuple[int, str]]) -> list[tuple[int, str]]:
    """Places within a stretch of use, in however many blocks; none right before its end, where there is a look anyway."""
    return use[WITHIN_USE - 1 : len(use) - WITHIN_USE // 2 : WITHIN_USE] if len(use) > LONGEST_USE else []


def rate_of_a_look(settings: Drift, looks: int) -> float:
    """The share of the method's false-alarm rate that each of so many looks may spend."""
    return settings.false_alarm_rate / max(looks, 1)


def reached(stops: pl.DataFrame, looks: Sequence[Look]) -> list[Look]:
    """The looks whose last stop of the schedule, or one after it, has been run. stops: columns of vocabulary.STOPS."""
    rows = stops["schedule_row"].drop_nulls()
    furthest = rows.max() if len(rows) else None
    return [look for look in looks if isinstance(furthest, int) and furthest >= look.after - 1]


def judged(
    stops: pl.DataFrame,
    look: Look,
    looks: int,
    settings: Drift,
    noise: Repeatability | None,
    *,
    use_suspect: bool = False,
) -> Judged:
    """The verdict at a look on the stops up to it, by the look's share of the false-alarm rate.

    stops: as vocabulary.STOPS, all that were run so far (those after the look are left out); noise: pooled over the
    compound's tests, None where there are none.
    """
    upto = before(stops, look)
    strict = settings.model_copy(update={"false_alarm_rate": rate_of_a_look(settings, looks)})
    found = renewed(analyse(upto, strict, noise, use_suspect=use_suspect), charts=None)
    last = upto["stop"].max()
    return Judged(look, last if isinstance(last, int) else 0, found, lasting(found))


def before(stops: pl.DataFrame, look: Look) -> pl.DataFrame:
    """The stops up to the last one of the schedule that the look waited for, in the order run."""
    upto = stops.filter(pl.col("schedule_row") < look.after)["stop"].max()
    return stops.filter(pl.col("stop") <= (upto if isinstance(upto, int) else 0)).sort("stop")


def lasting(found: OfStops) -> bool:
    """Whether a verdict names a change that stays: of the torque chain, of the surface, or of what cannot be told."""
    if found.onset_stop is None:
        return False
    return any(verdict in LASTING for verdict in (found.verdict, *found.also))
