"""Whether a worn part lasts to the end of a test that is still running.

Each loss between two readings over the friction work in between is a rate. The work still to come (that of the stops run
since the last reading, and of those that the schedule has left: inertia and speeds) times the mean rate is the loss to
come, and what is left above the minimum thickness says whether the part lasts.

The rate of a further use departs from those seen: hot use oxidises, cold use does not. How far is taken from the scatter of
the rates' logarithms about that of the mean rate, drawn towards `EXPECTED` with the weight of `EXPECTED_DOF` readings, since
two or three rates say little of their scatter (the figures are from memory of how rates over work differ between gentle and
hard use). The mean rate weighs each rate by its work, w_i of the whole; so its variance is q = sum w_i^2 of a rate's, and the
squares about it come to n - 2 + n q times that on the mean (n - 1 where all did the same work). The interval is Student's, with q for the
mean and one for the use to come. The uncertainty of the readings is in the scatter. A rate that was lost in the readings' noise
counts as the noise.

Blind to: use ahead that is far harder than all before it, as every forecast by work alone is; the thinnest point where
readings are given as a mean. The first reading after bedding, when no other is there, tells no forecast.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from pipeline.archive.block import Block
from pipeline.archive.card import Card
from pipeline.errors import InputError
from pipeline.stops.work import kinetic_energy
from pipeline.wear.planned_stops import Assumed, braking

EXPECTED, EXPECTED_DOF = 0.4, 4.0  # standard deviation of ln rate between uses, and how firmly it is expected


class Loss(NamedTuple):
    """A loss between two readings: um with its standard uncertainty, the friction work in between (MJ), whether in bedding."""

    wear_um: float
    u_um: float
    energy_mj: float
    bedding: bool = False


class Outlook(NamedTuple):
    """What is left of a part above its minimum, and at the program's end (um: expected, low, high; below 0: worn through).

    lasts: `yes`, also where no work is left; `doubtful`: the expected end is below the minimum; `no`: so is the upper end of
    the interval, or the minimum is reached already; `not known`: work is left and no rate is known. The three figures stand
    where a rate was needed.
    """

    left_um: float
    end_um: float | None
    low_um: float | None
    high_um: float | None
    lasts: str
    rates: int


def outlook(losses: Sequence[Loss], left_um: float, ahead_mj: float, confidence: float) -> Outlook:
    """The outlook of one part.

    losses: in the order read; left_um: thickness at the last reading less the minimum; ahead_mj: friction work between the
    last reading and the program's end; confidence: of the interval, both sides.
    """
    known = [one for one in losses if one.energy_mj > 0]
    used = [one for one in known if not one.bedding]
    if left_um <= 0:
        return Outlook(left_um, None, None, None, "no", len(used))
    if not used or ahead_mj <= 0:
        return Outlook(left_um, None, None, None, "yes" if ahead_mj <= 0 else "not known", len(used))
    from scipy.special import stdtrit

    energy = np.array([one.energy_mj for one in used])
    worn = np.array([max(one.wear_um, one.u_um, 1e-6) for one in used])
    mean = float(worn.sum() / energy.sum())
    apart, further = np.log(worn / energy) - np.log(mean), len(used) - 1
    of_mean = float(energy @ energy) / float(energy.sum()) ** 2
    squares = float(apart @ apart) * further / (further - 1 + (further + 1) * of_mean) if further else 0.0
    dof = EXPECTED_DOF + further
    scatter = np.sqrt((EXPECTED_DOF * EXPECTED**2 + squares) / dof * (1 + of_mean))
    reach = float(stdtrit(dof, 0.5 + confidence / 2)) * scatter
    ends = [left_um - mean * ahead_mj * float(np.exp(by)) for by in (0.0, reach, -reach)]
    lasts = "no" if ends[2] < 0 else "doubtful" if ends[0] < 0 else "yes"
    return Outlook(left_um, ends[0], ends[1], ends[2], lasts, len(used))


def scheduled_mj(card: Card, after: int, mu: float | None) -> float | None:
    """Friction work (MJ) of the schedule's stops after the first `after` of them, by inertia and speeds; of a drag by speed,
    duration and torque, or the pressure's by the `mu` of the stops. None where a drag is among them of which these are not known.
    """
    total, run = 0.0, 0
    for block in card.blocks:
        left = block.stops - max(0, min(block.stops, after - run))
        run += block.stops
        if not left:
            continue
        energy = _drag(block, card, mu) if block.kind == "drag" else _stop(block, card.inertia)
        if energy is None:
            return None
        total += left * energy / 1e6
    return total


def _stop(block: Block, inertia: float) -> float:
    return kinetic_energy(inertia, block.speed_start, block.speed_end)


def _drag(block: Block, card: Card, mu: float | None) -> float | None:
    if block.duration is None or mu is None:
        return None
    try:
        return braking(block, card, Assumed(mu=mu))[0]
    except InputError:  # the block states neither pressure nor torque
        return None
