"""What a match, a missing stop and a wrong unit cost when measured stops are laid beside the schedule.

All costs are in the same coin, about one per clear disagreement of one quantity, and bounded, so that a
channel that is wrong throughout costs every row the same.
"""

from __future__ import annotations

import numpy as np

from pipeline.conditioning.time_base import median_known
from pipeline.inputs.unit_slips import slips

SKIP = 2.5  # an extra or a missing stop
NUMBERED_SKIP = 0.6  # a missing stop where the files' own numbering leaves one out
AT_THE_END = 0.96  # of a missing stop's cost after the last measured one: between like places it decides, no more
ABORTED_SHARE = 0.8  # common practice: below four fifths of the wanted braking a stop counts as aborted
LEAST_OFF_K = 20.0  # starts that are nearer to the schedule's than this are in the unit stated


def number_gaps(number: np.ndarray) -> np.ndarray:
    """How many running numbers are left out before each measured stop (and 0 at the end); 0 where
    unnumbered.

    number: (n,) of the measured stops, NaN where a file has none; returns (n + 1,).
    """
    gaps = np.zeros(len(number) + 1, dtype=int)
    if runs_on(number):
        gaps[1:-1] = np.maximum(np.diff(number).astype(int) - 1, 0)
        gaps[0] = max(int(number[0]) - 1, 0) if number[0] <= 3 else 0
    return gaps


def runs_on(number: np.ndarray) -> bool:
    """Whether numbers are a running one: never falling (a repeat may share its number), mostly rising by one.

    number: (n,), NaN where a file has none.
    """
    if len(number) < 2 or not np.isfinite(number).all():
        return False
    steps = np.diff(number)
    return bool((steps >= 0).all() and np.median(steps) == 1)


def missing_cost(gaps: np.ndarray, idle: np.ndarray, lacking: int) -> np.ndarray:
    """Cost of a missing stop before each measured one and at the end.

    Cheap where the files' numbering leaves one out. A wait well above the neighbours' only breaks ties:
    waits have many reasons, but among like stops it is the likeliest place. Before it comes the end: a program that is
    still running, or was broken off, lacks its last stops, and a check early in it is like the checks late in it; a stop
    that is missing alone is rather a lost recording.
    gaps: (n + 1,) as of `number_gaps`; idle: (n,) s before each stop, NaN where unknown; lacking: by how many the
    schedule has more stops. Returns (n + 1,).
    """
    cost = np.where(gaps > 0, NUMBERED_SKIP, SKIP)
    if len(idle) >= 5 and np.isfinite(idle).sum() >= 5:
        around = np.array([median_known(idle[max(0, i - 3) : i + 4]) for i in range(len(idle))])
        long = np.isfinite(idle) & (idle > 1.6 * around)
        cost[:-1] = np.where(long & (gaps[:-1] == 0), 0.98 * SKIP, cost[:-1])
    if lacking >= 2:
        cost[-1] = min(cost[-1], AT_THE_END * SKIP)
    return cost


def scales_of(
    measured: dict[str, np.ndarray], target: dict[str, np.ndarray], moves: list[tuple[str, int, int]] | None
) -> dict[str, float]:
    """Measured over wanted per channel: from matched pairs, or from the quantiles of both sequences before
    there are any.

    Temperatures compare in K and catch a wrong unit.
    measured: channel -> (n,), target: channel -> (k,), SI with NaN where unknown; moves: of `alignment_path.path`.
    """
    pairs = [(i, j) for kind, i, j in moves if kind == "matched"] if moves is not None else None
    scales = {}
    for name, channel in (("speed", "speed_start"), ("pressure", "pressure"), ("torque", "torque")):
        got, want = measured[channel], target[channel]
        if pairs is not None:
            if not pairs:
                continue
            index = np.array(pairs)
            got, want = got[index[:, 0]], want[index[:, 1]]
            usable = (got > 0) & (want > 0)
            ratios = np.log(got[usable] / want[usable])
        else:
            got, want = got[got > 0], want[want > 0]
            if not (len(got) and len(want)):
                continue
            shares = np.linspace(0.1, 0.9, 17)
            ratios = np.log(np.quantile(got, shares)) - np.log(np.quantile(want, shares))
        if len(ratios):
            scales[name] = float(np.exp(np.median(ratios)))
    return scales | _temperature_scale(measured["temperature_initial"], target["temperature_initial"])


def _temperature_scale(got: np.ndarray, want: np.ndarray) -> dict[str, float]:
    """Factor and offset (K) of the wrong unit that the starts read as; empty where they read as they are wanted."""
    got, want = got[np.isfinite(got)], want[np.isfinite(want)]
    if len(got) < 5 or len(want) < 5:
        return {}
    shares = np.linspace(0.1, 0.9, 17)
    read, wanted = np.quantile(got, shares), np.quantile(want, shares)
    if np.ptp(read) < 0.2 * np.ptp(wanted):
        return {}  # a thermocouple that stands still
    off, factor, zero = min(
        (float(np.median(np.abs(read - slip.factor * wanted - slip.offset))), slip.factor, slip.offset)
        for slip in slips("temperature")
    )
    if off > 0.4 * max(float(np.median(np.abs(read - wanted))), LEAST_OFF_K):
        return {}
    return {"temperature": factor, "temperature_zero": zero}


def _bounded(difference: np.ndarray, cap: float) -> np.ndarray:
    """Cost of a difference in tolerances: quadratic near zero, `cap` far away, nothing where it is
    unknown."""
    square = np.square(np.nan_to_num(difference, nan=0.0))
    return cap * square / (square + 4.0)


def start_cost(m: dict[str, np.ndarray], t: dict[str, np.ndarray], scales: dict[str, float]) -> np.ndarray:
    """Cost from what a stop has when it begins, (measured, wanted): speed, level, temperature, drag or
    not.

    m: channel -> (n,) measured, t: channel -> (k,) wanted, SI; scales: measured over wanted by channel. Returns (n,
    k).
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        speed = np.log(m["speed_start"] / scales.get("speed", 1.0))[:, None] - np.log(t["speed_start"])[None, :]
        pressure = np.log(m["pressure"] / scales.get("pressure", 1.0))[:, None] - np.log(t["pressure"])[None, :]
        torque = np.log(m["torque"] / scales.get("torque", 1.0))[:, None] - np.log(t["torque"])[None, :]
    level = np.where(t["by_torque"][None, :], torque, pressure)
    level = np.where(np.isfinite(level), level, np.nan)
    initial = m["temperature_initial"]
    if "temperature" in scales:
        initial = (initial - scales["temperature_zero"]) / scales["temperature"]
    temperature = initial[:, None] - t["temperature_initial"][None, :]
    wanted_drag = (t["kind"] == "drag")[None, :]
    known = np.array([kind is not None for kind in m["kind"]])[:, None]
    other = known & ((m["kind"] == "drag")[:, None] != wanted_drag)
    return (
        _bounded(np.where(np.isfinite(speed), speed, np.nan) / 0.04, 3.0)
        + _bounded(level / 0.10, 2.5)
        + _bounded(temperature / 30.0, 1.5)
        + 2.0 * other
    )


def end_cost(
    m: dict[str, np.ndarray], t: dict[str, np.ndarray], scales: dict[str, float]
) -> tuple[np.ndarray, np.ndarray]:
    """Cost from how a stop ended, and whether it broke off early against each row (both (measured,
    wanted)).

    Arguments as of `start_cost`; both returned arrays are (n, k).
    """
    start, end = m["speed_start"] / scales.get("speed", 1.0), m["speed_end"] / scales.get("speed", 1.0)
    wanted_drop = (t["speed_start"] - t["speed_end"])[None, :]
    drag = (t["kind"] == "drag")[None, :]
    with np.errstate(divide="ignore", invalid="ignore"):
        short = (end[:, None] - t["speed_end"][None, :]) / t["speed_start"][None, :]
        done = np.where(
            drag,
            m["duration"][:, None] / t["duration"][None, :],
            (start[:, None] - end[:, None]) / np.where(wanted_drop > 0, wanted_drop, np.nan),
        )
        length = np.log(m["duration"][:, None] / t["duration"][None, :])
    differs = np.where(drag, np.where(np.isfinite(length), length, np.nan) / 0.15, short / 0.05)
    return _bounded(differs, 2.5), np.nan_to_num(done, nan=1.0) < ABORTED_SHARE
