"""A log's disc temperature against the duty's model, and the cooling that it shows.

The model starts at the log's temperature at the first braking and runs through the cut events with the duty's cooling; it is
compared at the end of each cool-down, where a thermocouple and the bulk are alike and the event's one speed of a pause stands
for all of it. On the way there a pause that begins standing and ends fast differs, as one speed cannot show it.

The fit takes the log's own temperatures between brakings. Over a stretch

    m (h(T1) - h(T2)) - e sigma integral (T^4 - Ta^4) dt = h0 integral (T - Ta) dt + h1 integral v^0.8 (T - Ta) dt

which is linear in h0 and h1: weighted least squares in the relative misfit, intervals by Student's t of its scatter. The disc's mass,
heat capacity and radiation are the card's, as in the projection. What the scatter cannot show is in no interval: a disc other than the
card's, air that does not come with the speed, and a thermocouple's bias, whose part of the conductance is told beside it (u over T - Ta)
and counts where the fit is used.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from pipeline.conditioning.time_base import within
from pipeline.constants import ZERO_C, Array, normal_reach
from pipeline.duty.cycle import Air, Events, one_cycle
from pipeline.duty.log_cut import Braking
from pipeline.duty.log_read import LogData
from pipeline.heat.capacity import enthalpy
from pipeline.heat.lumped import STEFAN_BOLTZMANN, Disc
from pipeline.heat.of_card import THERMOCOUPLE_U_K
from pipeline.results.duty import LogCooling, LogTemperature
from pipeline.results.model import Interval
from pipeline.wording import in_percent

AFTER_S = 6.0  # after a braking, until face and thermocouple follow the bulk (common practice: some seconds)
PIECE_S, SHORTEST_S = 15.0, 8.0
END_S = 1.5  # each end of a stretch is a line through this much on either side
LEAST_EXCESS_K = 40.0
LEAST_PIECES = 6
WIDEST = 0.25  # half width of the conductance at the log's speeds, relative, with which it may be used
LEAST_POINTS = 2
REACH = normal_reach(0.95)


@dataclass(frozen=True)
class Pieces:
    """Stretches of cooling, arrays [n]: heat given off J less radiation, integrals of the excess K s and of v^0.8 times it."""

    heat: Array
    still: Array
    moving: Array

    def design(self, at: float) -> tuple[Array, Array]:
        """(columns of h0 + at h1 and of h1 [n, 2], target [n]), each stretch over its excess."""
        return np.column_stack([np.ones_like(self.still), self.moving / self.still - at]), self.heat / self.still


def pieces(log: LogData, events: Sequence[Braking], disc: Disc, ambient: float, bias: float = 0.0) -> Pieces:
    """The stretches between brakings that cool, of PIECE_S each or a little longer; a short pause is one. bias: K that the disc truly is
    above what is logged.
    """
    assert log.disc_temperature is not None
    known = np.isfinite(log.disc_temperature)
    time, measured = log.time[known], log.disc_temperature[known]
    air = _air(log, ambient)
    rows = []
    for begin, end in _pauses(log, events):
        count = max(int((end - begin) // PIECE_S), int(end - begin >= SHORTEST_S))
        edges = np.linspace(begin, end, count + 1) if count else np.zeros(0)
        for first, last in pairwise(edges):
            inside = within(time, first, last)
            ends = [_level(time, measured, at) for at in (first, last)]
            if inside.sum() < 5 or np.max(np.diff(time[inside])) > 3.0 or None in ends:
                continue
            t = np.r_[first, time[inside], last]
            kelvin = np.r_[ends[0], measured[inside], ends[1]].astype(float)
            ta = np.interp(t, log.time, air)
            excess = kelvin - ta
            if excess.min() < LEAST_EXCESS_K:
                continue
            kelvin, excess = kelvin + bias, excess + bias
            wind = np.interp(t, log.time, log.speed) ** 0.8
            given_off = disc.mass * (enthalpy(kelvin[0], disc.material) - enthalpy(kelvin[-1], disc.material))
            radiated = disc.radiating * STEFAN_BOLTZMANN * np.trapezoid(kelvin**4 - ta**4, t)
            rows.append((float(given_off - radiated), np.trapezoid(excess, t), np.trapezoid(wind * excess, t)))
    heat, still, moving = np.array(rows, float).reshape(-1, 3).T
    return Pieces(heat, still, moving)


def _pauses(log: LogData, events: Sequence[Braking]) -> list[tuple[float, float]]:
    """From AFTER_S past each braking to the next, s."""
    begins = [e.begin.time for e in events[1:]] + [float(log.time[-1])]
    return [(e.end.time + AFTER_S, begin - 1.2 * END_S) for e, begin in zip(events, begins, strict=True)]


def _level(time: Array, values: Array, at: float) -> float | None:
    near = np.abs(time - at) <= END_S
    if near.sum() < 3:
        return None
    return float(np.polyfit(time[near] - at, values[near], 1)[1])


def _air(log: LogData, ambient: float) -> Array:
    """Ambient along the log in K: as logged, holes bridged, else the duty's."""
    if log.ambient is None or not np.isfinite(log.ambient).any():
        return np.full(log.time.shape, ambient)
    known = np.isfinite(log.ambient)
    return np.interp(log.time, log.time[known], log.ambient[known])


def cooling(
    log: LogData,
    events: Sequence[Braking],
    disc: Disc,
    ambient: float,
    confidence: float,
    thermocouple_u: float = THERMOCOUPLE_U_K,
) -> LogCooling:
    """h0 and h1 by the log's cool-downs, with intervals; or why they cannot be told. thermocouple_u: of its bias, K."""
    from scipy.special import stdtrit

    if log.disc_temperature is None:
        return LogCooling(why="the log has no disc temperature")
    found = pieces(log, events, disc, ambient)
    n = len(found.heat)
    if n < LEAST_PIECES:
        return LogCooling(
            stretches=n,
            why=f"stretches of {SHORTEST_S:.0f} to {2 * PIECE_S:.0f} s in the log: {n} that cool between brakings, at least {LEAST_EXCESS_K:.0f} K above "
            f"the air; {LEAST_PIECES} are needed",
        )
    at = float(found.moving.sum() / found.still.sum())
    # h0 + at h1 and h1: the conductance at the log's usual speed is told well even where the two cannot be parted
    design, target = found.design(at)
    if np.linalg.norm(design[:, 1]) < 0.1 * at * np.sqrt(n):
        return LogCooling(
            stretches=n, why="the speeds between brakings are too alike to part still air (h0) from moving air (h1)"
        )
    beta = np.linalg.lstsq(design, target, rcond=None)[0]
    misfit = target - design @ beta
    covariance = np.linalg.inv(design.T @ design) * float(misfit @ misfit) / (n - 2)
    wide = float(stdtrit(n - 2, (1 + confidence) / 2))
    lines = np.array([[1.0, -at], [0.0, 1.0], [1.0, 0.0]])  # h0, h1, conductance
    values = lines @ beta
    halves = wide * np.sqrt(np.einsum("ij,jk,ik->i", lines, covariance, lines))
    h0, h1, usual = (
        Interval(value=float(v), low=max(float(v - half), 0.0), high=float(v + half))
        for v, half in zip(values, halves, strict=True)
    )
    why = None
    if values[2] <= 0 or halves[2] > WIDEST * values[2]:
        why = f"the log tells the cooling to within {in_percent(halves[2] / abs(values[2]))} only; {in_percent(WIDEST)} are needed"
    elif values[0] < 0 or values[1] < 0:
        name = "h0" if values[0] < 0 else "h1"
        why = f"{name} comes out below zero: the disc does not cool as convection by the vehicle's speed would have it"
    return LogCooling(
        h0_w_k=h0 if values[0] >= 0 else Interval(why=why),
        h1=h1 if values[1] >= 0 else Interval(why=why),
        conductance_w_k=usual,
        conductance_u=float(stdtrit(n - 2, 0.975) / REACH * halves[2] / wide / values[2]) if values[2] > 0 else None,
        thermocouple_u=_by_bias(log, events, disc, ambient, at, thermocouple_u),
        stretches=n,
        why=why,
    )


def _by_bias(log: LogData, events: Sequence[Braking], disc: Disc, ambient: float, at: float, u: float) -> float | None:
    """What a thermocouple u off makes of the logarithm of h0 + at h1, the larger of both ways; None where it is not told."""
    each = (pieces(log, events, disc, ambient, bias).design(at) for bias in (0.0, -u, u))
    own, *off = (float(np.linalg.lstsq(*one, rcond=None)[0][0]) for one in each)
    return max(abs(float(np.log(one / own))) for one in off) if min(own, *off) > 0 else None


def compared(
    log: LogData, events: Events, cut: Sequence[Braking], disc: Disc, air: Air, opening: float, share: float
) -> LogTemperature:
    """The model run on the log's events against its disc temperature; or why not."""
    if log.disc_temperature is None:
        return LogTemperature(why="the log has no disc temperature")
    known = np.isfinite(log.disc_temperature)
    time, measured = log.time[known], log.disc_temperature[known]
    start = _level(time, measured, cut[0].begin.time - END_S) if known.sum() > LEAST_POINTS else None
    if start is None:
        return LogTemperature(why="the log's disc temperature is missing at the first braking")
    then = events.then.copy()
    then[-1] = max(float(log.time[-1]) - cut[-1].end.time, 0.0)  # the log's own, without what closes the cycle
    as_logged = Events(events.energy, events.brake_time, then, events.start, events.end, events.cooling_speed)
    model = one_cycle(np.array([start]), as_logged, disc, air, np.array([opening]), share)
    when = np.r_[[e.begin.time for e in cut[1:]], log.time[-1]]
    levels = [_level(time, measured, at - END_S) for at in when]
    known_there = np.array([np.nan if one is None else one for one in levels])
    off = model.cooling[:, -1, 0] - known_there
    use = np.isfinite(off) & (then >= AFTER_S)
    if use.sum() < LEAST_POINTS:
        return LogTemperature(
            points=int(use.sum()), why="the log's disc temperature ends fewer than two cool-downs of the events"
        )
    worst = int(np.nanargmax(np.where(use, np.abs(off), np.nan)))
    after = measured[time >= cut[-1].end.time]
    return LogTemperature(
        rms_k=float(np.sqrt(np.mean(off[use] ** 2))),
        largest_k=float(off[worst]),
        largest_at_s=float(when[worst]),
        points=int(use.sum()),
        measured_highest_c=float(measured.max()) - ZERO_C,
        measured_highest_after_last_c=float(after.max()) - ZERO_C if after.size else None,
        measured_end_c=float(measured[-1]) - ZERO_C,
    )
