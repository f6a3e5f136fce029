"""Which channel is in another unit than the card says: every wrong unit tried against all that contradicts or bears
it out.

Witnesses are log ratios of a stop, zero on a sound rig: pressure, speed, torque and a drag's time over the
schedule's; work at the brake over the energy of the whole inertia; the drive's work over that of the inertia it
simulates; and mu, which no brake material has outside some 0.05 to 0.9; a second pressure sensor over the first. A
channel that reads f times the truth moves them by powers of f (the table EFFECTS): psi labelled bar lifts the
pressure over the schedule's and lowers mu by the same; rad/s labelled rpm lowers the speed and lifts the energy
ratio. The unit and stretch of stops that explain most are taken, their effect is removed, and the search goes on, so
that two slips in one test are both named.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from pipeline.inputs.unit_slips import APART, Slip, slips
from pipeline.stops.faults.stretch_search import best_stretch, bounded, left_open

# channel -> its dimension, and the power of its factor in each witness
EFFECTS: dict[str, tuple[str, dict[str, int]]] = {
    "pressure": ("pressure", {"pressure": 1, "mu": -1, "pressure_2": -1}),
    "pressure_2": ("pressure", {"pressure_2": 1}),
    "speed": ("angular_speed", {"speed": 1, "balance": -1, "drive": -1}),
    "torque": ("torque", {"torque": 1, "balance": 1, "mu": 1}),
    "time": ("duration", {"duration": 1, "balance": 1, "drive": 1}),
    "drive_torque": ("torque", {"drive": 1}),
    "inertia": ("inertia", {"balance": -1, "drive": -1}),
}
TOLERANCE = {
    "pressure": 0.08,
    "speed": 0.04,
    "torque": 0.10,
    "balance": 0.06,
    "drive": 0.15,
    "duration": 0.10,
    "mu": 0.10,
    "pressure_2": 0.08,
}
LEAST_STOPS = 4
LEAST_SCORE = 2.2
LEAST_GAINED = 0.4  # mean cost taken away a stop
LEFT = 0.3  # mean cost left in each witness that moved
RIVAL = 0.9  # of the best score
WHOLE = 0.9  # of the stops that tell
MOST = 4


@dataclass(frozen=True)
class Found:
    """A slip of `channel` over the stops first to last of (n,); rivals: other slips that explain as much."""

    channel: str
    slip: Slip
    first: int
    last: int
    score: float
    whole: bool = False
    rivals: tuple[tuple[str, Slip], ...] = ()


@dataclass(frozen=True)
class Search:
    """What a search holds against: per witness the band in which it may lie (absent: at 1) and its tolerance in logs;
    the least factor of a slip."""

    bands: Mapping[str, tuple[float, float]]
    tolerance: Mapping[str, float]
    least: float

    def off(self, name: str, values: np.ndarray) -> np.ndarray:
        """Log distance from where a witness should be, in tolerances."""
        low, high = np.log(self.bands.get(name, (1.0, 1.0)))
        return np.asarray(np.maximum(np.maximum(low - values, values - high), 0.0) / self.tolerance[name])


def slips_found(
    witnesses: Mapping[str, np.ndarray],
    units: Mapping[str, str],
    bands: Mapping[str, tuple[float, float]],
    *,
    tolerance: Mapping[str, float] = TOLERANCE,
    least: float = 1 + APART,
) -> list[Found]:
    """Unit slips that the witnesses show, the clearest first.

    witnesses: name -> logs (n,) in the stops' order, NaN where unknown; of ratios that should be 1, or of quantities
    that should lie in their band. units: channel -> the card's unit; only its channels are tried.
    """
    search = Search(bands, tolerance, least)
    now = {name: values.copy() for name, values in witnesses.items()}
    found: list[Found] = []
    while len(found) < MOST:
        best = _best(now, units, search)
        if best is None:
            break
        found.append(best)
        inside = slice(best.first, best.last + 1)
        for name, power in EFFECTS[best.channel][1].items():
            if name in now:
                now[name][inside] -= power * np.log(best.slip.factor)
    return found


def _best(now: Mapping[str, np.ndarray], units: Mapping[str, str], search: Search) -> Found | None:
    """The best slip onto the card's labels; without one, the best onto any label (a conversion made twice or
    forgotten).
    """
    for by_label in (True, False):
        found = [one for one in _tried(now, units, search, by_label=by_label) if one is not None]
        if found:
            best = max(found, key=lambda one: one.score)
            rivals = tuple((o.channel, o.slip) for o in found if o is not best and o.score > RIVAL * best.score)
            return Found(best.channel, best.slip, best.first, best.last, best.score, best.whole, rivals)
    return None


def _tried(
    now: Mapping[str, np.ndarray], units: Mapping[str, str], search: Search, *, by_label: bool
) -> Iterator[Found | None]:
    as_is = _as_is(now, search)
    for channel, unit in units.items():
        dimension, _ = EFFECTS[channel]
        for slip in slips(dimension, unit if by_label else None):
            if abs(np.log(slip.factor)) > np.log(search.least):
                yield _over(now, as_is, channel, slip, search)


def _over(
    now: Mapping[str, np.ndarray], as_is: Mapping[str, np.ndarray], channel: str, slip: Slip, search: Search
) -> Found | None:
    """The stretch that a slip explains best; None where it is short, weak, or leaves much of what it should explain."""
    gain, left, told = _taken_away(now, as_is, channel, slip, search)
    if not told.any():
        return None
    first, last, score = best_stretch(gain)
    inside = np.zeros(gain.size, dtype=bool)
    inside[first : last + 1] = True
    counted = inside & told
    n = int(counted.sum())
    if n < LEAST_STOPS or score < max(LEAST_SCORE, LEAST_GAINED * n) or left[counted].mean() > LEFT:
        return None
    whole = n >= WHOLE * told.sum()
    return Found(channel, slip, first, last, score, whole) if whole or channel != "inertia" else None


def _as_is(now: Mapping[str, np.ndarray], search: Search) -> dict[str, np.ndarray]:
    """What each witness costs each stop as the units are, (n,)."""
    return {name: bounded(search.off(name, values), 1.0) for name, values in now.items()}


def _taken_away(
    now: Mapping[str, np.ndarray], as_is: Mapping[str, np.ndarray], channel: str, slip: Slip, search: Search
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Cost that a slip takes from each stop, mean cost that it leaves, and which stops tell of it; (n,) each.

    as_is: what each witness costs without it.
    """
    size = next(iter(now.values())).size
    gain, left, count = np.zeros(size), np.zeros(size), np.zeros(size)
    for name, power in EFFECTS[channel][1].items():
        if name not in now:
            continue
        values = now[name]
        corrected = bounded(search.off(name, values - power * np.log(slip.factor)), 1.0)
        known = np.isfinite(values)
        gain += np.where(known, as_is[name] - corrected, 0.0)
        left += np.where(known, corrected, 0.0)
        count += known
    return gain, left / np.maximum(count, 1), count > 0


def not_excluded(
    witnesses: Mapping[str, np.ndarray], channel: str, unit: str, bands: Mapping[str, tuple[float, float]]
) -> list[Slip]:
    """Units that the channel might be in, in some stops in a row at least: the witnesses would not have shown the
    slip.

    witnesses: name -> (n,) log ratios of the stops, NaN where unknown; bands: name -> lowest and highest level
    possible.
    """
    found: list[Slip] = []
    search = Search(bands, TOLERANCE, 1 + APART)
    as_is = _as_is(witnesses, search)
    for slip in slips(EFFECTS[channel][0], unit):
        if abs(np.log(slip.factor)) <= APART:
            found.append(slip)
            continue
        gain, _, told = _taken_away(witnesses, as_is, channel, slip, search)
        if left_open(-gain[told], LEAST_GAINED, LEAST_STOPS):
            found.append(slip)
    return found
