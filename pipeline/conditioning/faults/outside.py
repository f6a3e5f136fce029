"""Braking torque where the pressure says that the brake is open.

A pressure channel that loses samples at the start or the end of a braking makes it look shorter: mu stays plausible and
the energy balance closes over what is left. The torque beside the braking gives it away.
"""

import numpy as np

from pipeline.findings import Finding, finding

REACH_S = 1.0  # looked at before the start and after the end
RISE_S = 0.1  # before the start torque may lead by this, besides the lag
FALL_S = 0.35  # after the end it may need this to fall
SHARE = 0.2  # of the braking's torque
SHORTEST_S = 0.06
FEWEST = 3


def torque_without_pressure(
    time: np.ndarray, torque: np.ndarray, *, start: float, end: float, plateau: float, lag: float, after: bool
) -> list[Finding]:
    """A finding where torque stands well above its rest beside the braking from `start` to `end` (s).

    time, torque: (n,) from the end of the braking before to the start of the next, torque positive when it slows the shaft
    (N m). plateau: the braking's own torque as recorded; lag: the test's, s; after: look behind the end too (not where the
    shaft stands still there with the brake applied).
    """
    outside = (time < start) | (time > end)
    known = outside & np.isfinite(torque)
    if np.count_nonzero(known) < FEWEST or not np.isfinite(plateau):
        return []
    rest = float(np.quantile(torque[known], 0.1))
    limit = rest + SHARE * (plateau - rest)
    before = (time > start - REACH_S) & (time < start - RISE_S - lag)
    behind = (time > end + FALL_S + lag) & (time < end + REACH_S) if after else np.zeros(time.shape, dtype=bool)
    found = []
    for where, words in ((before, "before the start"), (behind, "after the end")):
        high = np.flatnonzero(known & where & (torque > limit))
        if plateau <= rest or high.size < FEWEST or time[high[-1]] - time[high[0]] < SHORTEST_S:
            continue
        level = float(np.mean(torque[high]))
        found.append(
            finding(
                "torque_without_pressure",
                f"torque stands at {level:.0f} N m {words} of the braking while the pressure is at rest",
                channel="pressure",
                start_s=float(time[high[0]]),
                end_s=float(time[high[-1]]),
                evidence={"torque_nm": level, "rest_nm": rest, "braking_nm": plateau, "samples": int(high.size)},
            )
        )
    return found
