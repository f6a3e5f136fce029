"""Start temperatures against the schedule's: the witness of the disc thermocouple's unit, zero and gain.

A rig waits until the disc is at the wanted temperature before it brakes, and holds it within some 10 to 15 K (common
practice). What the recording shows at the brake's start should then be the schedule's figure. Sought is the stretch
of stops, up to the whole test, and the one reading error (a wrong unit, an offset, a gain) that explain most of what
is off: each stop costs

    c(d) = d^2 / (d^2 + T^2),    d = read - expected,  T = 15 K

so that a start which was missed for once decides nothing; the score of an error over a stretch is the sum of c as the
schedule stands less c with the error. A first stop that begins cold, or a block that warms from stop to stop, follows
no one error and stays silent; so does any error below 20 K.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl

from pipeline.findings import Finding, finding, of_each
from pipeline.inputs.unit_slips import Slip, slips
from pipeline.stops.faults.stretch_search import best_stretch, bounded, left_open

TOLERANCE_K = 15.0
LEAST_K = 20.0  # a smaller departure is the rig's control and the thermocouple's accuracy
LEAST_STOPS = 4
LEAST_SCORE = 2.2
LEFT, UNIT_LEFT = 0.3, 0.5  # mean cost that an error may leave; a unit has no size of its own to be fitted
UNIT_PREFERRED = 0.6  # of the best score: so much makes a wrong unit the cause
LEAST_GAINED = 0.4  # mean cost that an error must take away: less is a rig's own bias
OFFSETS_K = np.arange(-400.0, 401.0, 8.0)
GAINS = np.exp(np.arange(-0.7, 0.71, 0.02))
MOST = 4  # stretches
EXTENT = 0.9  # of the stops: more is the whole test
CHANNEL = "disc_temperature"


@dataclass(frozen=True)
class Departure:
    """A stretch of comparable stops, first to last of (n,), that reads gain x wanted + offset (degC); slip: the
    unit.
    """

    first: int
    last: int
    gain: float
    offset: float
    score: float
    slip: Slip | None = None


def cost(off: np.ndarray, scale: float = 1.0) -> np.ndarray:
    """Cost 0 to 1 of a difference in K; `scale`: by what a unit stretches the rig's own misses.

    off: (n,) K, NaN where unknown, counted as no cost; returns (n,).
    """
    return bounded(off, scale * TOLERANCE_K)


def start_temperatures(stops: pl.DataFrame, wanted: pl.DataFrame, unit: str | None = None) -> list[Finding]:
    """Systematic departures from the wanted start temperatures: one finding each, and one for each stop in doubt.

    stops: stop, file, block, schedule_row, temperature_initial_c; wanted: row, wanted_c, null where the schedule
    knows none. unit: the card's for the channel. Stops between the first and the last of a departure are in doubt
    even where the schedule knows no start for them. A departure of a few stops of one block that no unit explains may
    be how the rig was run: told of the test only.
    """
    joined = stops.join(wanted, left_on="schedule_row", right_on="row", how="left").sort("stop")
    known = joined.filter(pl.col("temperature_initial_c").is_finite() & pl.col("wanted_c").is_finite())
    read, want = (known[name].to_numpy().astype(float) for name in ("temperature_initial_c", "wanted_c"))
    found: list[Finding] = []
    for departure in departures(read, want, unit):
        found += _told(departure, known, joined, read, want)
    return found


def departures(read: np.ndarray, wanted: np.ndarray, unit: str | None = None) -> list[Departure]:
    """The stretches of read (n,) that stand off wanted (n,), degC, by one error each; in order."""
    left = np.ones(read.size, dtype=bool)
    found: list[Departure] = []
    while len(found) < MOST:
        best = _best(read, wanted, left, unit)
        if best is None:
            break
        found.append(best)
        left[best.first : best.last + 1] = False
    return sorted(found, key=lambda departure: departure.first)


def _best(read: np.ndarray, wanted: np.ndarray, left: np.ndarray, unit: str | None) -> Departure | None:
    """The departure with the best score among the stops `left`; a wrong unit that does nearly as well goes first."""
    if left.sum() < LEAST_STOPS:
        return None
    found = []
    for gain, offset, slip in _errors(unit):
        one = _stretch(read, wanted, left, gain, offset, slip)
        if one is not None and slip is None:
            one = _refined(read, wanted, left, one)
        if one is not None and _sound(read, wanted, one):
            found.append(one)
    top = max((one.score for one in found), default=0.0)
    units = [one for one in found if one.slip is not None and one.score >= UNIT_PREFERRED * top]
    best = max(units or found, key=lambda one: one.score, default=None)
    return best if best is None or best.slip is None else _widened(read, wanted, left, best)


def _widened(read: np.ndarray, wanted: np.ndarray, left: np.ndarray, one: Departure) -> Departure:
    """The stretch with the stops at its ends that read the same in either unit: nothing says that they are sound.

    K and degF cross at 301 degC, so that a start wanted there tells neither.
    """
    fits = left & (cost(read - one.gain * wanted - one.offset, max(one.gain, 1.0)) < UNIT_LEFT)
    first, last = one.first, one.last
    while first > 0 and fits[first - 1]:
        first -= 1
    while last + 1 < read.size and fits[last + 1]:
        last += 1
    return replace(one, first=first, last=last)


def unit_not_excluded(read: np.ndarray, wanted: np.ndarray, unit: str) -> list[str]:
    """Units that starts read (n,) might be in beside wanted (n,), degC, some in a row at least: the schedule would
    not show it.
    """
    found = []
    for slip in slips("temperature", unit):
        worse = cost(read - slip.celsius(wanted), max(slip.factor, 1.0)) - cost(read - wanted)
        if left_open(worse, LEAST_GAINED, LEAST_STOPS):
            found.append(slip.actual)
    return found


def _errors(unit: str | None) -> Iterator[tuple[float, float, Slip | None]]:
    """(gain, offset in degC, slip) of every error looked for: units, offsets, gains."""
    for slip in slips("temperature", unit):
        yield slip.factor, float(slip.celsius(np.zeros(1))[0]), slip
    for offset in OFFSETS_K:
        yield 1.0, float(offset), None
    for gain in GAINS:
        yield float(gain), 0.0, None


def _stretch(
    read: np.ndarray, wanted: np.ndarray, left: np.ndarray, gain: float, offset: float, slip: Slip | None = None
) -> Departure | None:
    """The stretch of stops `left` that an error explains best, by running sums."""
    better = cost(read - wanted) - cost(read - gain * wanted - offset, max(gain, 1.0))
    first, last, score = best_stretch(better, left)
    return Departure(first, last, gain, offset, score, slip) if score > LEAST_SCORE else None


def _refined(read: np.ndarray, wanted: np.ndarray, left: np.ndarray, one: Departure) -> Departure | None:
    """The offset or gain with its size from the stretch's own stops, and the stretch that then is its best."""
    inside = slice(one.first, one.last + 1)
    r, w = read[inside], wanted[inside]
    near = np.abs(r - one.gain * w - one.offset) < 2 * TOLERANCE_K
    if not near.any():
        return None
    if one.gain == 1.0:
        return _stretch(read, wanted, left, 1.0, float(np.median((r - w)[near])))
    square = float(w[near] @ w[near])
    return _stretch(read, wanted, left, float(r[near] @ w[near]) / square, 0.0) if square > 0 else None


def _sound(read: np.ndarray, wanted: np.ndarray, one: Departure) -> bool:
    """Whether a departure is large, of several stops, and leaves little unexplained. Of a unit those stops count at whose wanted
    start it reads otherwise: K and degF cross at 301 degC, and a programme that starts mostly there tells by its other stops."""
    inside = slice(one.first, one.last + 1)
    r, w = read[inside], wanted[inside]
    rest = cost(r - one.gain * w - one.offset, max(one.gain, 1.0)).mean()
    tells = np.abs(one.gain * w + one.offset - w) > (TOLERANCE_K if one.slip else -1.0)
    if tells.sum() < LEAST_STOPS:
        return False
    size = np.quantile(np.abs(r - w)[tells], 0.75 if one.gain != 1.0 else 0.5)
    clear = one.score > LEAST_GAINED * tells.sum() and rest < (UNIT_LEFT if one.slip else LEFT)
    return bool(size > LEAST_K and clear)


def _told(
    one: Departure, known: pl.DataFrame, every: pl.DataFrame, read: np.ndarray, wanted: np.ndarray
) -> list[Finding]:
    """The finding of the test, then one for each stop that it puts in doubt."""
    inside = slice(one.first, one.last + 1)
    struck = known[inside]
    whole = struck.height >= EXTENT * known.height
    first = 1 if whole or one.first == 0 else int(struck["stop"][0])
    last = None if whole or one.last + 1 == known.height else int(struck["stop"][-1])
    where = "in the whole test" if whole else f"from stop {first} {'on' if last is None else f'to stop {last}'}"
    size = float(np.median(read[inside] - wanted[inside]))
    causes = _causes(one, wanted[inside])
    evidence: dict[str, Any] = {
        "from_stop": first,
        "to_stop": last,
        "compared_stops": struck.height,
        "departure_k": size,
        "ratio": one.gain,
        "offset_c": one.offset,
        "candidates": causes,
    }
    code = "unit_slip" if one.slip else "level_off_schedule" if whole else "level_step"
    if one.slip is not None:
        evidence |= {"actual": one.slip.actual, "labelled": one.slip.labelled}
    text = (
        f"disc temperature at the start is off the schedule's by {size:+.0f} K (median) {where}. "
        f"Candidates: {'; '.join(c['cause'] for c in causes)}"
    )
    found = [finding(code, text, channel=CHANNEL, evidence=evidence)]
    if not whole and one.slip is None and struck["block"].n_unique() == 1:
        return found
    in_doubt = every.filter((pl.col("stop") >= first) & (pl.lit(last is None) | (pl.col("stop") <= (last or 0))))
    said = "; or ".join(c["cause"] for c in causes)
    short = f"disc temperature is off the schedule's {where}: {said}"
    mark = {"from_stop": first, "ratio": one.gain, "offset_c": one.offset, "candidates": causes}
    return found + of_each(in_doubt.select("stop", "file").iter_rows(), code, short, channel=CHANNEL, evidence=mark)


def _causes(one: Departure, wanted: np.ndarray) -> list[dict[str, Any]]:
    """What a departure may come from, the likeliest first. An offset and a gain are told apart by unlike starts
    only.
    """
    if one.slip is not None:
        return [{"cause": f"disc temperature in {one.slip.text}", "factor": one.slip.factor}]
    level = float(np.median(wanted))
    alike = np.ptp(wanted) * abs((one.gain - 1) or one.offset / max(level, 1.0)) < TOLERANCE_K
    offset = one.offset if one.offset else (one.gain - 1) * level
    gain = one.gain if one.offset == 0 else 1 + one.offset / max(level, 1.0)
    causes: list[dict[str, Any]] = []
    if one.offset or alike:
        causes.append({"cause": f"an offset of {offset:+.0f} K of the disc temperature", "offset_k": offset})
    if not one.offset or alike:
        causes.append({"cause": f"a gain of {gain:.2f} of the disc temperature (°C)", "factor": gain})
    return [*causes, {"cause": "starts that the rig did not hold, or a schedule that was not run"}]
