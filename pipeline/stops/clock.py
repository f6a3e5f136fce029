"""Idle time before each stop, from the clock.

If each recording's time starts after the one before ended, the clock runs through and the time between is idle. If it
restarts, idle time is unknown unless a block says how long the rig paused before it.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from pipeline.findings import Finding, finding


def runs_through(first: Sequence[float | None], last: Sequence[float | None]) -> bool:
    """Whether the clock runs through the recordings, given their first and last times (s): it does between most of
    them.
    """
    pairs = [(a, b) for a, b in zip(last[:-1], first[1:], strict=True) if a is not None and b is not None]
    return bool(pairs) and float(np.mean([b > a for a, b in pairs])) > 0.5


def idle_times(
    start: Sequence[float | None],
    end: Sequence[float | None],
    recording: Sequence[int],
    block: Sequence[str | None],
    pauses: dict[str, float],
    *,
    through: bool,
) -> list[float | None]:
    """Idle time (s) before each stop, None where unknown; `pauses` gives a block's pause_before (s).

    start, end (s), recording, block: (n,) in the order run; stops of one recording always share a clock.
    """
    result: list[float | None] = []
    for i, (begun, number, name) in enumerate(zip(start, recording, block, strict=True)):
        opens_block = name is not None and (i == 0 or block[i - 1] != name)
        stated = pauses.get(name) if opens_block and name is not None else None
        idle = None
        ended = end[i - 1] if i else None
        if begun is not None and ended is not None and (through or recording[i - 1] == number):
            idle = begun - ended if begun > ended else None
        result.append(idle if idle is not None else stated)
    return result


def clock_jumps(
    first: Sequence[float | None],
    last: Sequence[float | None],
    recording: Sequence[int],
    files: Sequence[str],
    stop_of: dict[int, int],
) -> list[Finding]:
    """Recordings that begin before the one before ended, in a test whose clock runs through otherwise.

    first, last (s), recording, files: of the recordings in order; stop_of: first stop of a recording.
    """
    begun = np.array([np.nan if value is None else value for value in first], dtype=float)
    ended = np.array([np.nan if value is None else value for value in last], dtype=float)
    back = [int(i) + 1 for i in np.flatnonzero(begun[1:] <= ended[:-1])]
    if not back or len(back) > 0.1 * max(len(first) - 1, 1):
        return []  # never, or a clock that restarts with every recording
    found = []
    for i in back:
        a, b = float(last[i - 1] or 0.0), float(first[i] or 0.0)
        text = (
            f"the clock jumps back by {a - b:.0f} s or more before {files[i]}: the idle time before this stop "
            "is unknown"
        )
        evidence: dict[str, Any] = {"last_s": a, "first_s": b}
        found.append(
            finding(
                "clock_jump", text, stop=stop_of.get(recording[i]), file=files[i], channel="time", evidence=evidence
            )
        )
    return found
