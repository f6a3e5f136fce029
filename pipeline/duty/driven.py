"""A duty's cooling by the levels that its vehicle's disc reaches: a logged drive through it, with the disc temperature.

The duty's model runs through the drive's own brakings, each use from the disc temperature before its first one, and is compared with the log
before every other one, where a face, its thermocouple and the bulk are alike. One factor on the stated convection is fitted by least squares

    sum over brakings of (T_model(f) - T_log)^2,    T_model from  m dh = share E - (f (h0 + o h1 v^0.8) (T - Ta) + radiation) dt

The level of a use tells the ratio of share and convection, so that the factor is found anew with the heat share at its nodes, as the rig's
convection is: what a duty's brakings begin at then hardly depends on the share. Its uncertainty is of three parts, added in squares: the scatter
about the model, neighbours alike (rho of lag one); what drives differ by, at least 3 % each (wind and air, common practice); and what the
temperatures misread together. That part is no scatter and no length of log averages it out: a bias common to all of the log is carried through the
fit (the standard uncertainty of an installed thermocouple that is not stated is 5 K, `pipeline.heat.of_card`; the air's 1 K where it was
logged, limits of 8 K where not). It is not fitted either: which shape a thermocouple's error has nobody knows.

Share and split of the convection between still and moving air are the duty's: the log says most of the opening at which it was driven.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.polynomial import chebyshev

from pipeline.constants import ZERO_C, Array, normal_reach
from pipeline.duty.air import Cooled, with_moves
from pipeline.duty.cycle import Air, Events, one_cycle
from pipeline.duty.log import DrivenCycle
from pipeline.duty.log_cut import Braking
from pipeline.duty.log_read import LogData
from pipeline.duty.project import Brake
from pipeline.duty.rig_cooling import AIR_K
from pipeline.results.driven import DrivenLog
from pipeline.results.model import Interval, renewed
from pipeline.results.sources import HeatInput, InputName
from pipeline.wording import counted, in_percent

BEFORE_S = 6.0  # a straight line through this much before a braking is its temperature there
LEAST_SAMPLES, LEAST_POINTS = 3, 8
REST_S, RESTS = 600.0, 3.0  # a use begins after a pause as long, or so many times the duty's longest
DRIVES_U = 0.03  # of convection from drive to drive (common practice)
LOGGED_AIR_U_K = 1.0
LEAST_EXCESS_K = 40.0
WIDEST_U = 0.12  # of the factor's logarithm, with which it may be used
COLDER_K = 15.0  # under the air, which no disc is
MISFIT = 0.15  # of the excess, root mean square
SURPRISING = 3.0  # standard uncertainties of what is stated
CHECK = "check the opening and the load at which it was driven, brake_share, and the disc's mass"
FARTHEST = 0.9  # logarithm of the factors that are tried
POINTS = np.cos(np.pi * (np.arange(11) + 0.5) / 11)
FINE = np.linspace(-1, 1, 3601)


@dataclass(frozen=True)
class _Use:
    """Brakings of one use, the disc temperature in K before each of them [e], NaN where it is not known, and the air's in K."""

    events: Events
    level: Array
    air: float


@dataclass(frozen=True)
class _Fitted:
    """Of one case: logarithm of the factor; of its points in all uses [n], model less log in K and the model's slope in K per unit of it."""

    at: float
    off: Array
    slope: Array
    use: Array


def driven(duty: DrivenCycle, stated: Cooled, brake: Brake) -> tuple[Cooled, DrivenLog]:
    """(the cooling with the log's factor where it tells one, else as stated; what the log came to)"""
    assert duty.cooling_log is not None
    log = duty.cooling_log
    opening = duty.cooling.opening if log.opening is None else log.opening
    told = DrivenLog(
        file=duty.file,
        opening=opening,
        told_by=duty.brakings.told_by,
        brakings=len(duty.brakings.events),
        notes=list(duty.brakings.notes),
    )
    uses = _uses(duty)
    points = sum(int(np.isfinite(one.level[1:]).sum()) for one in uses)  # the first of a use is where the model begins
    told = renewed(told, uses=len(uses), points=points)
    if points < LEAST_POINTS:
        why = f"the log's disc temperature is known before {counted(points, 'braking')} of its uses; {LEAST_POINTS} are needed"
        return stated, renewed(told, why=why)
    coldest = min(uses, key=lambda one: float(np.nanmin(one.level)) - one.air)
    if np.nanmin(coldest.level) < coldest.air - COLDER_K:
        why = (
            f"its disc is logged at {np.nanmin(coldest.level) - ZERO_C:.0f} °C in air of {coldest.air - ZERO_C:.0f} °C, which no disc gets "
            "to: check both temperatures and their units"
        )
        return stated, renewed(told, why=why)
    air_u = LOGGED_AIR_U_K if _air_known(duty.data) else AIR_K / 3**0.5
    bias = float(np.hypot(duty.thermocouple_u, air_u))
    down, up = brake.factors("heat share")
    cases = [(1.0, 0.0), (down, 0.0), (up, 0.0), (1.0, -bias), (1.0, bias)]
    found = _fits(uses, stated.air, opening, brake, cases)
    if isinstance(found, str):
        return stated, renewed(told, why=found)
    return _judged(found, uses, stated, brake, renewed(told, excess_k=_excess(uses)))


def _judged(
    found: Sequence[_Fitted], uses: Sequence[_Use], stated: Cooled, brake: Brake, told: DrivenLog
) -> tuple[Cooled, DrivenLog]:
    """The factor with its uncertainty, taken where it is told well enough; found: of the cases of `driven`."""
    as_known, poor, rich, low, high = found
    scatter, bias = _scatter_u(as_known), abs(high.at - low.at) / 2
    u = float(np.hypot(scatter, bias))
    rms = float(np.sqrt(np.mean(as_known.off**2)))
    half = normal_reach(brake.confidence) * u
    factor = Interval(value=np.exp(as_known.at), low=np.exp(as_known.at - half), high=np.exp(as_known.at + half))
    share = float(np.log(brake.factors("heat share")[1]))
    told = renewed(
        told,
        factor=factor,
        u=u,
        u_scatter=scatter,
        u_thermometers=bias,
        by_heat_share=(rich.at - poor.at) / (2 * share) if share else None,
        rms_k=rms,
    )
    assert told.excess_k is not None
    if told.excess_k < LEAST_EXCESS_K:
        return stated, renewed(
            told,
            why=f"its disc is {told.excess_k:.0f} K above the air on average, too little to tell cooling by; {LEAST_EXCESS_K:.0f} K are needed",
        )
    if rms > MISFIT * told.excess_k:
        why = f"the model misses its temperatures by {rms:.0f} K (root mean square) at any cooling: it is not this vehicle, disc or duty"
        return stated, renewed(told, why=why)
    if u > WIDEST_U:
        why = (
            f"it tells the cooling to a standard uncertainty of {in_percent(u)} only; {in_percent(WIDEST_U)} are needed"
        )
        return stated, renewed(told, why=why)
    times = float(np.exp(as_known.at))
    if abs(as_known.at) > SURPRISING * np.hypot(stated.known.u, share / 3**0.5):
        told = renewed(
            told,
            notes=[
                *told.notes,
                f"convection of {times:.2f} times what is stated is further off than that is known: {CHECK}",
            ],
        )
    air = replace(stated.air, h0=stated.air.h0 * times, h1=stated.air.h1 * times)
    moved: dict[InputName, tuple[float, float]] = {
        "heat share": (float(np.exp(poor.at - as_known.at)), float(np.exp(rich.at - as_known.at)))
    }
    known = HeatInput(name="cooling", u=u, source="the disc temperatures of the cooling log")
    source = f"{stated.source}, times {times:.2f} by the cooling log"
    return Cooled(with_moves(air, brake, u, moved), source, known), renewed(told, used=True)


def _scatter_u(one: _Fitted) -> float:
    """Standard uncertainty of the factor's logarithm by the scatter about the model and from use to use."""
    n, weight = len(one.off), float(one.slope @ one.slope)
    alike = one.use[1:] == one.use[:-1]
    rho = float(np.clip((one.off[1:] * one.off[:-1])[alike].sum() / max(float(one.off @ one.off), 1e-12), 0.0, 0.95))
    own = float(one.off @ one.off) / (n - 1) * (1 + rho) / (1 - rho) / weight
    uses = np.unique(one.use)
    away = [
        -float(one.off[mine] @ one.slope[mine]) / float(one.slope[mine] @ one.slope[mine])
        for mine in (one.use == k for k in uses)
    ]
    between = float(np.var(away, ddof=1)) if len(uses) > 1 else 0.0
    return float(np.sqrt(own + max(between, DRIVES_U**2) / len(uses)))


def _fits(
    uses: Sequence[_Use], stated: Air, opening: float, brake: Brake, cases: Sequence[tuple[float, float]]
) -> list[_Fitted] | str:
    """The factor of each case (factor on the heat share, kelvin that the log reads too little), or why there is none.

    Temperatures are smooth in the factor's logarithm: run at Chebyshev's points and interpolated between them.
    """
    off, use = _off(uses, stated, opening, brake, cases, FARTHEST * POINTS)
    found = []
    for c in range(len(cases)):
        lines = chebyshev.chebfit(POINTS, off[:, c].T, len(POINTS) - 1)
        every = chebyshev.chebval(FINE, lines)
        at = int(np.einsum("nk,nk->k", every, every).argmin())
        if at in (0, len(FINE) - 1):
            reached = np.exp(FARTHEST)
            return (
                f"no cooling between {1 / reached:.2f} and {reached:.2f} times what is stated reaches its temperatures"
            )
        slope = chebyshev.chebval(FINE[at], chebyshev.chebder(lines)) / FARTHEST
        found.append(
            _Fitted(float(FARTHEST * FINE[at]), np.asarray(every[:, at], float), np.asarray(slope, float), use)
        )
    return found


def _off(
    uses: Sequence[_Use],
    stated: Air,
    opening: float,
    brake: Brake,
    cases: Sequence[tuple[float, float]],
    tried: Array,
) -> tuple[Array, Array]:
    """(model less log in K before each braking whose temperature is known [n, c, k], its use [n]); tried: logarithms of factors [k]."""
    factor = np.tile(np.exp(tried), len(cases))
    share, shift = (np.repeat([one[i] for one in cases], len(tried)) for i in range(2))
    of_log = replace(stated, h0=stated.h0 * factor, h1=stated.h1 * factor, moves={})
    rows, numbers = [], []
    for number, one in enumerate(uses):
        run = one_cycle(
            one.level[0] + shift,
            one.events,
            brake.disc,
            replace(of_log, ambient=one.air),
            np.full(factor.shape, opening),
            brake.heat_share * share,
        )
        known = np.flatnonzero(np.isfinite(one.level[1:])) + 1
        rows.append((run.braking[known, 0] - one.level[known, None] - shift).reshape(len(known), len(cases), -1))
        numbers.append(np.full(len(known), number))
    return np.concatenate(rows), np.concatenate(numbers)


def _uses(duty: DrivenCycle) -> list[_Use]:
    """The drive parted where it rested; only uses with a temperature before their first braking and some after it."""
    brakings, data = duty.brakings.events, duty.data
    rest = max(REST_S, RESTS * max(event.then for event in duty.events))
    edges = [0, *(i + 1 for i, one in enumerate(brakings[:-1]) if one.then > rest), len(brakings)]
    found = []
    for first, last in pairwise(edges):
        own = brakings[first:last]
        level = np.array([_before(data, one.begin.time) for one in own])
        if np.isfinite(level[0]) and np.isfinite(level[1:]).any():
            found.append(_Use(_events(duty, own), level, _air(duty, own[0].begin.time, own[-1].end.time)))
    return found


def _events(duty: DrivenCycle, brakings: Sequence[Braking]) -> Events:
    columns = np.array([[b.begin.speed, b.end.speed, b.seconds, b.then, b.at] for b in brakings]).T
    start, end, seconds, then, at = columns
    return Events(duty.brake_share * duty.vehicle_mass * (start**2 - end**2) / 2, seconds, then, start, end, at)


def _before(log: LogData, at: float) -> float:
    """The disc temperature in K where a braking begins, by a line through what was logged before it; NaN where too little was."""
    assert log.disc_temperature is not None
    first, last = np.searchsorted(log.time, [at - BEFORE_S, at])
    kelvin = log.disc_temperature[first:last]
    known = np.isfinite(kelvin)
    if known.sum() < LEAST_SAMPLES:
        return float("nan")
    time = log.time[first:last][known] - at
    return float(np.polyfit(time, kelvin[known], 1)[1]) if np.ptp(time) > BEFORE_S / 3 else float(kelvin[known].mean())


def _air(duty: DrivenCycle, begin: float, end: float) -> float:
    """A use's air in K: as logged in it, else in all of the log, else the duty's."""
    if not _air_known(duty.data):
        return duty.ambient
    assert duty.data.ambient is not None
    inside = duty.data.ambient[(duty.data.time >= begin) & (duty.data.time <= end)]
    return float(np.nanmedian(inside if np.isfinite(inside).any() else duty.data.ambient))


def _air_known(log: LogData) -> bool:
    return log.ambient is not None and bool(np.isfinite(log.ambient).any())


def _excess(uses: Sequence[_Use]) -> float:
    return float(np.nanmean(np.concatenate([one.level[1:] - one.air for one in uses])))
