"""What brought a lost level back, where the usual reading of high-energy use misses it.

High-energy use is judged by power against the checks. Use that is only hotter or hardly harder can clear a glaze as
well: if the level is back after such use, that use was the recovery. If it is back without any, the loss was no
glaze's. And if a first hard block cleared little and a later one the rest, the checks after the later one show the
recovery.
"""

import numpy as np
from numpy.typing import NDArray

from pipeline.constants import Array
from pipeline.drift.change import Change, phase_levels, phases, pieces, use_begins
from pipeline.drift.contrast import Levels
from pipeline.drift.monitoring import Watch
from pipeline.drift.noise import Repeatability
from pipeline.drift.series import Series
from pipeline.method.drift import Drift

CLEAR = 3.5  # standard uncertainties by which a level must have come back to be seen without a cause to expect it
MORE = 2.5  # the same for the checks after a later hard block against those after the first


def with_return(s: Series, w: Watch, values: Array, change: Change, noise: Repeatability, settings: Drift) -> Change:
    """The fall with its recovery found; unchanged where the usual reading stands."""
    if change.sign > 0:
        return change
    if change.cut is None:
        return _unexpected(s, w, values, change, noise, settings)
    return _later(s, w, values, change, noise, settings)


def _by_piece(
    s: Series, w: Watch, values: Array, change: Change, noise: Repeatability, settings: Drift
) -> tuple[Levels | None, dict[str, tuple[int, int]]]:
    """Level of every piece of the watched stops after the onset, with the pieces' first and last stop numbers."""
    phase = phases(s, w.deciding, change._replace(cut=None), settings)
    piece = pieces(s, w.deciding, change.onset.stop)
    names = np.where(phase == "before", phase, np.char.add("piece ", piece.astype(str)))
    found = phase_levels(s, w.deciding, values, names, noise)
    stop = s.stop[w.deciding]
    spans = {str(n): (int(stop[names == n][0]), int(stop[names == n][-1])) for n in dict.fromkeys(names.tolist())}
    return found, spans


def _rise(found: Levels, a: str, b: str) -> float:
    """Rise from piece a to piece b over its standard uncertainty."""
    d = found.difference(b, a)
    return d.value / d.u if d is not None and d.u > 0 else 0.0


def _unexpected(s: Series, w: Watch, values: Array, change: Change, noise: Repeatability, settings: Drift) -> Change:
    found, spans = _by_piece(s, w, values, change, noise, settings)
    if found is None or len(found.names) < 2:
        return change
    lowest = int(np.argmin(found.value))
    if found.value[lowest] > -CLEAR * np.sqrt(found.covariance[lowest, lowest]):
        return change
    for later in found.names[lowest + 1 :]:
        if _rise(found, found.names[lowest], later) < CLEAR:
            continue
        between = (s.stop > spans[found.names[lowest]][1]) & (s.stop < spans[later][0]) & (s.purpose != "check")
        if not between.any():
            return change
        harder = between & ((s.power > 1.1 * s.reference_power) | (s.temperature > s.reference_temperature + 50))
        cut = int(np.flatnonzero(harder if harder.any() else between)[0])
        return change._replace(cut=cut, by_use=bool(harder.sum() >= settings.least_clearing))
    return change


def _later(s: Series, w: Watch, values: Array, change: Change, noise: Repeatability, settings: Drift) -> Change:
    found, spans = _by_piece(s, w, values, change, noise, settings)
    if found is None or change.cut is None:
        return change
    cut = int(s.stop[change.cut])
    again = [b for b in use_begins(s, settings) if b > cut]
    after = [n for n in found.names if spans[n][0] > cut and (not again or spans[n][1] < again[0])]
    if len(after) < 2 or _rise(found, after[0], after[-1]) < MORE:
        return change
    return change._replace(after_from=spans[after[-1]][0])


def clearing_stops(s: Series, change: Change) -> NDArray[np.bool_]:
    """The stops that cleared the loss: the high-energy ones from the cut to the checks after, or what was there
    instead.
    """
    if change.cut is None:
        return np.zeros(len(s), bool)
    from_cut = np.arange(len(s)) >= change.cut
    checks = np.flatnonzero(from_cut & (s.purpose == "check") & (s.stop >= (change.after_from or 0)))
    own = from_cut & (np.arange(len(s)) < (checks[0] if len(checks) else len(s))) & (s.purpose != "check")
    high = own & (s.high > 0)
    return high if high.any() else own
