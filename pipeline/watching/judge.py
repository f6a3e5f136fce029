"""What a running test's stops so far come to: what is said in one line at each look, and when to stop and look.

An alarm says what changed, since which stop, how sure that is and what to do. How often a sound test raises one is stated
for the whole test (docs/watching_study.md); what is told without being an alarm (a note) has no such rate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal, NamedTuple

import numpy as np
import polars as pl

from pipeline.drift.looks import Judged, Look, before, judged, rate_of_a_look
from pipeline.drift.repeatability import pooled_over_tests, scatter_of
from pipeline.drift.series import Series, series
from pipeline.method import Method
from pipeline.method.drift import Drift
from pipeline.watching.faults import Fault
from pipeline.watching.wear_limit import PartOutlook
from pipeline.wear.components import spoken
from pipeline.wording import counted


class Said(NamedTuple):
    """Something that a watch says. key: two with the same are one, said once; since: stop (None: the whole test)."""

    kind: Literal["drift", "fault", "wear"]
    alarm: bool
    key: str
    since: int | None
    what: str
    sure: str
    to_do: str

    @property
    def words(self) -> str:
        """One line."""
        parts = [self.what, self.sure, f"to do: {self.to_do}" if self.to_do else ""]
        return f"{'STOP AND LOOK: ' if self.alarm else 'note: '}{'; '.join(filter(None, parts))}"


def series_of(tables: Mapping[str, pl.DataFrame], method: Method) -> dict[str, Series]:
    """What the scatter is pooled from, of tests' stops tables by name."""
    suspect = method.friction.use_suspect
    return {name: series(table, method.drift, use_suspect=suspect) for name, table in tables.items() if table.height}


def look_at(stops: pl.DataFrame, look: Look, looks: int, method: Method, others: Mapping[str, Series]) -> Judged:
    """The verdict at a look, by the scatter pooled over the compound's other tests and the stops of this one up to the look.

    others: of the other tests by name (`series_of`); none where this is the compound's first.
    """
    noise = scatter_of(pooled_over_tests({**others, **series_of({"": before(stops, look)}, method)}))
    return judged(stops, look, looks, method.drift, noise, use_suspect=method.friction.use_suspect)


def said_of_look(one: Judged, looks: int, settings: Drift) -> Said | None:
    """What a look says: an alarm where a change lasts, a note where only moisture, bedding or fade was found."""
    found = one.found
    if found.onset_stop is None:
        return None
    causes = " and ".join(filter(None, [found.verdict, *found.also]))
    opening = next(iter(found.evidence.words), found.evidence.why or "")
    if not one.alarm:
        words = f"{causes}: {opening}"
        return Said("drift", False, f"drift {causes}", found.onset_stop, words, "", _next(found.evidence.record_next))
    sure = (
        f"onset between stops {found.onset_low} and {found.onset_high} ({100 * settings.confidence:g} %), {causes} by what "
        f"is known so far ({found.evidence.why}); by plan at most {100 * settings.false_alarm_rate:g} % of sound tests say this at "
        f"any of their {counted(looks, 'look')} ({100 * rate_of_a_look(settings, looks):.2g} % a look)"
    )
    return Said("drift", True, f"drift {causes}", found.onset_stop, opening, sure, _next(found.evidence.record_next))


def _next(wanted: Sequence[str]) -> str:
    return "; ".join(wanted) or "look at the surface and the measuring chain before going on"


def said_of_faults(faults: Sequence[Fault]) -> list[Said]:
    """An alarm for each fault that lasts."""
    found = []
    for one in faults:
        where = "the whole test" if one.first is None else f"stops {one.first} to {one.last}"
        sure = "" if one.first is None else f"the same at {counted(one.stops, 'stop')} in a row"
        found.append(
            Said(
                "fault", True, f"fault {one.code}", one.first, f"{one.code} ({where}): {one.message}", sure, one.action
            )
        )
    return found


def said_of_wear(parts: Sequence[PartOutlook], confidence: float) -> list[Said]:
    """An alarm where a part does not last to the program's end, a note where that is doubtful."""
    found = []
    for part, after, one in parts:
        if one.lasts in ("yes", "not known"):
            continue
        name, key = spoken(part), f"wear {part} {one.lasts}"
        if one.end_um is None or one.low_um is None or one.high_um is None:
            what = f"{name} is at its minimum thickness after stop {after} ({_mm(one.left_um)} above it)"
            found.append(
                Said("wear", True, key, after, what, "by the readings", "change the part before the next stop")
            )
            continue
        what = (
            f"{name} has {_mm(one.left_um)} left above its minimum after stop {after} and would end the program at "
            f"{_mm(one.end_um)} ({_mm(one.low_um)} to {_mm(one.high_um)})"
        )
        sure = f"from {counted(one.rates, 'wear rate')} over work, {100 * confidence:g} % interval"
        to_do = "read wear sooner, shorten the program or change the part"
        found.append(Said("wear", one.lasts == "no", key, after, what, sure, to_do))
    return found


def _mm(um: float) -> str:
    return f"{np.round(um / 1e3, 3):g} mm"


def standing(stops: pl.DataFrame, scheduled: int) -> str:
    """How far the test is, in words: stops run and left in doubt."""
    rows = stops["schedule_row"].drop_nulls()
    furthest = rows.max() if len(rows) else None
    done = furthest + 1 if isinstance(furthest, int) else 0
    doubted = {name: int((stops["status"] == name).sum()) for name in ("suspect", "rejected")}
    words = [f"{done} of {scheduled} scheduled stops run"]
    words += [f"{count} {name}" for name, count in doubted.items() if count]
    checks = stops.filter((pl.col("purpose") == "check") & (pl.col("status") == "ok"))["mu"].drop_nulls()
    words += [f"mu at the last check {checks[-1]:.3f}"] if len(checks) else []
    return ", ".join(words)


def complete(stops: pl.DataFrame, scheduled: int) -> bool:
    """Whether the schedule's last stop has been run."""
    rows = stops["schedule_row"].drop_nulls()
    furthest = rows.max() if len(rows) else None
    return isinstance(furthest, int) and furthest >= scheduled - 1
