"""One stop's pressure against what the rest of the test and the stop itself say of it.

The energy balance is blind to pressure, so a single recording with its pressure in another unit or range, or a
stretch of it, gives a false mu that nothing else contradicts but the schedule's level and the torque.
"""

from __future__ import annotations

import numpy as np

from pipeline.conditioning.medians import running_median
from pipeline.conditioning.time_base import all_known, known_of, median_known
from pipeline.findings import Finding, finding
from pipeline.wording import in_percent

JUMP = 0.15  # of the plateau, from one sample to the next
FOLLOWED = 0.4  # of the pressure's relative change: torque that follows so much says that the pressure was real
FOLLOW_S = 0.1  # within which torque would show a loss of pressure
LOST_SAMPLES = 2
LOST_SHARE = 0.5  # of the torque about it
LONGEST_LOSS_S = 0.25
COARSE = 0.08  # of the plateau, smallest step between recorded values
OFTEN = 0.1  # of the samples


def pressure_jumps(time: np.ndarray, pressure: np.ndarray, torque: np.ndarray, *, plateau: float) -> list[Finding]:
    """A finding where pressure steps within a braking and the torque does not follow.

    time (s), pressure (Pa), torque (N m): (n,) of the braking; plateau: Pa above rest.
    """
    if time.size < 12 or not plateau > 0:
        return []
    apart = np.abs(pressure[5:-4] - pressure[4:-5])  # of the samples in `middle` and those behind them
    if not (apart > JUMP * plateau).any():
        return []
    middle = np.arange(4, time.size - 5)
    before, after = (_medians(pressure, middle + shift) for shift in (-1, 3))
    low, high = (_medians(torque, middle + shift) for shift in (-1, 3))
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        change, followed = np.abs(np.log(after / before)), np.abs(np.log(high / low))
        # In the build-up both rise, and what the lag leaves of that is no jump.
        level = np.minimum(before, after) > 0.6 * plateau
        jumps = (apart > JUMP * plateau) & (change > JUMP) & level & ~(followed > FOLLOWED * change)
    at = middle[np.nan_to_num(jumps, nan=0).astype(bool)]
    if not at.size:
        return []
    first = int(at[0])
    return [
        finding(
            "pressure_jump",
            f"pressure steps from {before[first - 4] / 1e5:.3g} to {after[first - 4] / 1e5:.3g} bar; the torque does "
            "not follow",
            channel="pressure",
            start_s=float(time[first]),
            end_s=float(time[min(int(at[-1]) + 1, time.size - 1)]),
            evidence={"jumps": int(at.size), "from_bar": before[first - 4] / 1e5, "to_bar": after[first - 4] / 1e5},
        )
    ]


def pressure_losses(time: np.ndarray, pressure: np.ndarray, torque: np.ndarray, *, plateau: float) -> list[Finding]:
    """A finding where pressure falls within a braking, comes back, and the torque never noticed.

    Arguments as of `pressure_jumps`. Up to LOST_SAMPLES samples are left to the search for single wild ones.
    time (s), pressure (Pa), torque (N m): (n,) of the braking; plateau: Pa above rest.
    """
    if time.size < 12 or not plateau > 0:
        return []
    level = pressure / plateau
    full = np.flatnonzero(level > 0.8)
    low = level < 0.6
    if full.size < 2:
        return []
    low[: full[0]] = low[full[-1] :] = False
    braking = median_known(torque[torque.size // 2 :]) if low.any() else 0.0
    if not abs(braking) > 0:
        return []
    reach = max(round(FOLLOW_S / max(float(np.median(np.diff(time))), 1e-6)), 1)
    padded = np.pad(torque / braking, reach, mode="edge")
    least = np.min(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1)
    lost = low & (least > level + 0.3)
    edges = np.flatnonzero(np.diff(np.r_[False, lost, False].astype(np.int8))).reshape(-1, 2)
    runs = edges[edges[:, 1] - edges[:, 0] > LOST_SAMPLES]
    if not runs.size:
        return []
    first, last = int(runs[0, 0]), int(runs[-1, 1]) - 1
    down = float(np.median(pressure[first : int(runs[0, 1])])) / 1e5
    return [
        finding(
            "pressure_jump",
            f"pressure falls to {down:.3g} bar within the braking and comes back; the torque does not follow",
            channel="pressure",
            start_s=float(time[first]),
            end_s=float(time[last]),
            evidence={"losses": len(runs), "samples": int((runs[:, 1] - runs[:, 0]).sum()), "to_bar": down},
        )
    ]


def torque_losses(
    time: np.ndarray, torque: np.ndarray, pressure: np.ndarray, *, plateau: float, full: float
) -> list[Finding]:
    """A finding where torque is lost for a moment within a braking and comes back, while the pressure stands.

    time (s), torque (N m, above its rest), pressure (Pa above rest): (n,) of the braking; plateau (Pa), full (N m):
    their levels over its last half. Friction has no way to leave and return within a few hundredths of a second; a
    recorder has. Up to LOST_SAMPLES samples are left to the search for single wild ones.
    """
    if time.size < 12 or not (plateau > 0 and full > 0):
        return []
    known = torque if all_known(torque) else np.nan_to_num(torque)
    # No median about a sample is above the highest of all.
    if not ((torque < LOST_SHARE * known.max()) & (pressure > 0.8 * plateau)).any():
        return []
    reach = max(round(LONGEST_LOSS_S / max(float(np.median(np.diff(time))), 1e-6)), LOST_SAMPLES + 1)
    padded = np.pad(known, reach, mode="edge")
    around = np.median(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1), axis=1)
    low = (torque < LOST_SHARE * around) & (pressure > 0.8 * plateau) & (around > 0.3 * full)
    sound = np.flatnonzero(torque > 0.7 * around)
    if sound.size < 2:
        return []
    low[: sound[0]] = low[sound[-1] :] = False
    edges = np.flatnonzero(np.diff(np.r_[False, low, False].astype(np.int8))).reshape(-1, 2)
    edges = edges[(edges[:, 1] - edges[:, 0] > LOST_SAMPLES) & (edges[:, 1] - edges[:, 0] <= reach)]
    # Torque that is lost goes at once: within two samples it is whole again on either side.
    whole = torque > np.maximum(0.7 * around, 0.5 * full)
    runs = [(a, b) for a, b in edges if whole[max(a - 2, 0) : a].any() and whole[b : b + 2].any()]
    if not runs:
        return []
    lost = int(sum(b - a for a, b in runs))
    return [
        finding(
            "torque_lost",
            f"torque is lost {len(runs)} times within the braking, {100 * lost / time.size:.1f} % of its samples, "
            "while the "
            "pressure stands: mu is too low by about as much",
            channel="torque",
            start_s=float(time[runs[0][0]]),
            end_s=float(time[runs[-1][1] - 1]),
            evidence={"losses": len(runs), "samples": lost, "of": int(time.size)},
        )
    ]


def _medians(values: np.ndarray, centre: np.ndarray) -> np.ndarray:
    """Median of three samples about each index, which follow one another."""
    return running_median(values[centre[0] - 1 : centre[-1] + 2], 3)


def coarse_values(pressure: np.ndarray, torque: np.ndarray) -> list[Finding]:
    """A finding per channel that is recorded in steps too wide for its level (a rounded or converted export).

    Only where it goes to and fro between such steps: a level that is held, or passed once in a ramp, shows no step.
    pressure (Pa), torque (N m): (n,) of the braking, as recorded.
    """
    found = []
    for name, values in (("pressure", pressure), ("torque", torque)):
        values = np.sort(known_of(values))
        least = max(int(np.ceil(OFTEN * values.size)), 2)
        if values.size < 20 or not (values[least - 1 :] == values[: 1 - least]).any():
            continue
        known, count = np.unique(values, return_counts=True)
        often = known[count >= OFTEN * values.size]
        if often.size < 2:
            continue
        level, step = float(np.max(np.abs(often))), float(np.min(np.diff(often)))
        if step > COARSE * level:
            found.append(
                finding(
                    "coarse_values",
                    f"{name} is recorded in steps of {in_percent(step / level)} of its level",
                    channel=name,
                    evidence={"step_si": step, "level_si": level, "values": int(known.size)},
                )
            )
    return found
