"""Faults that are worth a stop of the rig, among what the reduction finds.

A single stop in doubt is none: its number is left out and the test goes on. The same finding at `IN_A_ROW` stops one after
the other is, and so is one that holds for the whole test (a channel's unit, a level off the schedule, an energy balance that
does not close). What is a median over the test says little while a few stops have been run (zeros, drag and lag rest on as
few): it counts from `WHOLE_FROM` stops on. Where it is off by much, so is each stop, and three in a row tell that sooner; a
wrong unit is a factor that no few stops make. If a sound stop is taken for a faulty one with the chance p, independently, three in a row turn up in a test
of n stops with a chance of at most n p^3: of 250 stops and p = 1 %, 0.025 %. What p is stands in the studies of faults.

Blind to: a fault that comes and goes, never at three stops in a row; what no recorded channel shows (`docs/faults_study.md`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import polars as pl

from pipeline.findings import CODES, RANK
from pipeline.results.findings import Found

IN_A_ROW = 3
WHOLE_FROM = (
    20  # stops; among the samples' sound tests one had an energy ratio of 0.978 by five stops, and none from ten on
)
AT_ONCE = ("unit_slip",)  # of the whole test, however few stops were run
# Said elsewhere, or no matter of the rig: the card's own words, what a person left out, the drift of friction itself, wear.
NOT_OF_THE_RIG = ("card_unusual", "excluded_by_hand", "test_copied", "stop_extra", "rig_shift", "rig_wanders")


class Fault(NamedTuple):
    """A finding that lasts: code, first and last stop (None: the whole test), how many stops, the first message, what to do."""

    code: str
    first: int | None
    last: int | None
    stops: int
    message: str
    action: str


def lasting_faults(stops: pl.DataFrame, found: Sequence[Found]) -> list[Fault]:
    """Faults that hold for the whole test or for `IN_A_ROW` stops one after the other, each code once, as they began.

    stops: as vocabulary.STOPS, in the order run; found: findings of the recordings and of the stops. What is said of a recording
    counts for its first stop.
    """
    rows = stops.sort("stop").select("stop", "file").rows()
    order = {stop: place for place, (stop, _) in enumerate(rows)}
    of_file = {file: stop for stop, file in reversed(rows)}
    serious = [
        one
        for one in found
        if RANK[one.severity] >= RANK["suspect"] and one.code not in NOT_OF_THE_RIG and not one.code.startswith("wear_")
    ]
    faults: list[Fault] = []
    for code in dict.fromkeys(one.code for one in serious):
        own = [one for one in serious if one.code == code]
        whole = next((one for one in own if one.stop is None and one.file is None), None)
        if code not in AT_ONCE and len(rows) < WHOLE_FROM:
            whole = None
        if whole is not None:
            faults.append(Fault(code, None, None, 0, whole.message, _action(whole)))
            continue
        stop_of = [(one, of_file.get(one.file or "") if one.stop is None else one.stop) for one in own]
        at = {order[stop]: one for one, stop in reversed(stop_of) if stop in order}
        run = _first_run(sorted(at))
        if run:
            first = at[run[0]]
            faults.append(Fault(code, rows[run[0]][0], rows[run[-1]][0], len(run), first.message, _action(first)))
    return sorted(faults, key=lambda fault: (fault.first or 0, fault.code))


def _first_run(places: Sequence[int]) -> list[int]:
    """The first `IN_A_ROW` or more places in a row, to their end; empty where there are none."""
    run: list[int] = []
    for place in places:
        if run and place != run[-1] + 1:
            if len(run) >= IN_A_ROW:
                return run
            run = []
        run.append(place)
    return run if len(run) >= IN_A_ROW else []


def _action(one: Found) -> str:
    return one.action or CODES[one.code].action
