"""A whole stop by the law: friction, time, way and the pressure that a wanted torque needs, with intervals, inside the data.

The law and its heat inputs are drawn together (`portable.drawn`), every draw brakes once, and an interval is the middle of
what the draws came to. Two more errors act on a draw as a level of mu: what the law gets wrong at a condition, and the
calibration common to all stops. A single stop adds its own scatter, a further specimen's where specimens were compared.

Outside the support nothing is given: the best estimate's path through face temperature, pressure and speed has to lie in
the hull of the samples, but for the last speeds of a stop to rest, which carry next to no heat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from pipeline.constants import RAD_PER_S, ZERO_C, Array, Values
from pipeline.face import braking, portable
from pipeline.face.braking import Braking, Laws
from pipeline.face.samples import SEGMENTS
from pipeline.results.face import FaceModel, FaceStop
from pipeline.results.model import Interval

DRAWS = 120
FURTHER_K = 2.0
FACE_U = 0.02  # of the face's rise: what one dimension and a table of heat capacities get wrong
PRESSURE_SLACK = 0.05  # of the logarithm: set-points scatter
NEAR = 0.01
LITTLE_HEAT = 0.04  # share of the braking's energy that the slowest part may carry outside the tested speeds


@dataclass(frozen=True)
class Asked:
    """A stop that is asked for, SI: give a pressure (Pa) or a mean torque (N m) to be reached."""

    name: str
    initial: float
    first: float
    last: float
    inertia: float
    pressure: float | None = None
    torque: float | None = None
    wanted: str | None = None


@dataclass(frozen=True)
class Drawn:
    """Laws drawn from a model, best estimate first, and each draw's error common to all stops and at the condition: a level of
    ln mu, and kelvin by which the law is looked up hotter."""

    model: FaceModel
    laws: Laws
    level: Array
    shift: Array

    @classmethod
    def of(cls, model: FaceModel, count: int = DRAWS, seed: int = 0) -> Drawn:
        rng = np.random.default_rng([seed, 1])
        level = np.hypot(model.cell_sd, model.common) * rng.normal(size=count)
        return cls(
            model,
            portable.drawn(model, count, seed),
            np.r_[0.0, level],
            np.r_[0.0, model.cell_kelvin * rng.normal(size=count)],
        )


def stop(drawn: Drawn, asked: Asked) -> FaceStop:
    """The stop that is asked for, or why it is refused."""
    return stops(drawn, [asked])[0]


def stops(drawn: Drawn, asked: Sequence[Asked]) -> list[FaceStop]:
    """Stops that are asked for, all at once; each that would leave the support is refused with the reason."""
    found: list[FaceStop | None] = [None] * len(asked)
    for sought in (False, True):
        rows = [i for i, one in enumerate(asked) if (one.pressure is None) == sought]
        for i, one in zip(rows, _alike(drawn, [asked[i] for i in rows], sought) if rows else (), strict=True):
            found[i] = one
    return [one for one in found if one is not None]


def _alike(drawn: Drawn, asked: Sequence[Asked], sought: bool) -> list[FaceStop]:
    """Stops of which all give a pressure, or all a torque."""
    brake, count = portable.brake_of(drawn.model), len(asked)
    given, beyond = asked, [pressure_beyond(drawn.model, one) for one in asked]
    # a pressure that hardly presses the pads would never end a braking: it is refused, and another runs in its place
    asked = [
        one if why is None else replace(one, pressure=drawn.model.pressure_pa)
        for one, why in zip(asked, beyond, strict=True)
    ]
    pressure, best = _run(drawn, asked, np.zeros(count, int), np.arange(count), sought)
    reasons = [
        beyond[i]
        or _missed(one, float(best.torque[i]))
        or _unbuilt(drawn.model, float(best.time[i]))
        or outside(drawn.model, best.rows(slice(i, i + 1)), float(pressure[i]), one)
        for i, one in enumerate(asked)
    ]
    good = [i for i, why in enumerate(reasons) if why is None]
    out = [_refused(one, why) if why is not None else None for one, why in zip(given, reasons, strict=True)]
    if good:
        n = len(drawn.laws)
        which = np.repeat(good, n)
        found, run = _run(drawn, asked, np.tile(np.arange(n), len(good)), which, sought, start=pressure[which])
        hotter = braking.run(
            drawn.laws,
            np.zeros(len(good), int),
            brake,
            pressure=pressure[good],
            shift=FURTHER_K,
            **_ends([asked[i] for i in good]),
        )
        steep = np.log(hotter.mu / best.mu[good]) / FURTHER_K
        for k, i in enumerate(good):
            these = slice(k * n, (k + 1) * n)
            out[i] = _told(drawn, asked[i], run.rows(these), found[these], float(steep[k]))
    return [one for one in out if one is not None]


def pressure_beyond(model: FaceModel, asked: Asked) -> str | None:
    """Why a pressure that is asked for lies outside all that were run; None where it does not, or is to be found."""
    if asked.pressure is None:
        return None
    hull = portable.hull_back(model)
    middle = (hull.low + hull.high) / 2
    if asked.pressure > 0 and abs(np.log(asked.pressure) - middle[1]) <= (hull.high - hull.low)[1] / 2 + PRESSURE_SLACK:
        return None
    least, most = np.exp([hull.low[1], hull.high[1]]) / 1e5
    away = (
        f"{least - asked.pressure / 1e5:.1f} bar below"
        if asked.pressure / 1e5 < least
        else f"{asked.pressure / 1e5 - most:.1f} bar above"
    )
    return f"pressure {asked.pressure / 1e5:.1f} bar is {away} the data ({least:.1f} to {most:.1f} bar)"


def _missed(asked: Asked, torque: float) -> str | None:
    if asked.torque is None or abs(torque / asked.torque - 1) <= NEAR:
        return None
    return f"no pressure was found that brakes with {asked.torque:.0f} N m: friction changes too fast with it"


def _unbuilt(model: FaceModel, time: float) -> str | None:
    if time > model.build_up_s:
        return None
    return f"the stop ends after {time:.2f} s, before the pressure has built up ({model.build_up_s:.2f} s)"


def _ends(asked: Sequence[Asked]) -> dict[str, Array]:
    return {
        "initial": np.array([a.initial for a in asked]),
        "first": np.array([a.first for a in asked]),
        "last": np.array([a.last for a in asked]),
        "inertia": np.array([a.inertia for a in asked]),
    }


def _run(
    drawn: Drawn, asked: Sequence[Asked], draw: np.ndarray, which: np.ndarray, sought: bool, start: Array | None = None
) -> tuple[Array, Braking]:
    """(pressures, brakings) of draws `draw` at the conditions `which` of those asked."""
    brake = portable.brake_of(drawn.model)
    ends = {name: values[which] for name, values in _ends(asked).items()}
    errors = {"level": drawn.level[draw], "shift": drawn.shift[draw]}
    if sought:
        if any(a.torque is None for a in asked):
            raise ValueError("give a pressure or a torque")
        torque = np.array([a.torque for a in asked], float)[which]
        first = np.full(which.size, drawn.model.pressure_pa) if start is None else start
        return braking.pressure_for(torque, drawn.laws, draw, brake, first, **ends, **errors)
    pressure = np.array([a.pressure for a in asked], float)[which]
    return pressure, braking.run(drawn.laws, draw, brake, pressure=pressure, **ends, **errors)


def outside(model: FaceModel, path: Braking, pressure: float, asked: Asked) -> str | None:
    """Why the best estimate's path leaves the support; None where it stays inside."""
    hull = portable.hull_back(model)
    kelvin, speed = path.kelvin[0], path.speed[0]
    points = np.column_stack([kelvin, np.full(kelvin.size, np.log(pressure)), np.log(speed)])
    whole = asked.first**2 - asked.last**2
    little = (speed**2 - asked.last**2 < LITTLE_HEAT * whole) & (points[:, 2] < hull.low[2])
    return hull.why(points[~little])


def _told(drawn: Drawn, asked: Asked, run: Braking, pressure: Array, steep: float) -> FaceStop:
    model = drawn.model

    def middle(values: Array) -> Interval:
        return between(values, model.confidence)

    rolling = model.brake.rolling_radius
    why = "the card gives no rolling radius"
    way = None if rolling is None else run.angle * rolling
    slowing = None if rolling is None else run.torque / asked.inertia * rolling
    return FaceStop(
        name=asked.name,
        temperature_c=asked.initial - ZERO_C,
        speed_start_rpm=asked.first / RAD_PER_S,
        speed_end_rpm=asked.last / RAD_PER_S,
        wanted=asked.wanted,
        pressure_bar=middle(pressure / 1e5) if asked.pressure is None else exact(asked.pressure / 1e5),
        mu=middle(run.mu),
        mu_single=single(model, run, steep),
        mu_start=middle(run.mu_start),
        mu_end=middle(run.mu_end),
        torque_nm=middle(run.torque) if asked.pressure is not None else exact(float(run.torque[0])),
        time_s=middle(run.time),
        distance_m=Interval(why=why) if way is None else middle(way),
        deceleration_mps2=Interval(why=why) if slowing is None else middle(slowing),
        face_peak_c=middle(run.face + (run.face - asked.initial) * FACE_U * _normal(run.face.size) - ZERO_C),
    )


def _normal(size: int) -> Array:
    """Standard normal draws but for the best estimate in row 0."""
    return np.r_[0.0, np.random.default_rng(4).normal(size=size - 1)]


def between(values: Array, confidence: float) -> Interval:
    """Row 0 with the middle of the draws after it."""
    low, high = np.quantile(values[1:], [(1 - confidence) / 2, (1 + confidence) / 2])
    return Interval(value=float(values[0]), low=float(min(low, values[0])), high=float(max(high, values[0])))


def exact(value: float) -> Interval:
    return Interval(value=value, low=value, high=value)


def single(model: FaceModel, run: Braking, steep: float) -> Interval:
    """Where a single stop's mean lies: `coverage` of stops about the mean, the mean's interval added to their scatter, as in
    the law's tolerance band."""
    z_stops, z_mean = (float(special.ndtri((1 + share) / 2)) for share in (model.coverage, model.confidence))
    half = float(np.hypot(z_stops * stop_sd(model, steep), z_mean * np.log(run.mu[1:]).std()))
    mu = float(run.mu[0])
    return Interval(value=mu, low=mu * np.exp(-half), high=mu * np.exp(half))


def stop_sd(model: FaceModel, steep: Values) -> Array:
    """Relative standard deviation of a single stop's mean, of a further specimen where they were compared."""
    within = model.noise**2 / SEGMENTS + model.wander**2 * min(2 * model.wander_range / SEGMENTS, 1.0)
    level = model.level**2 + model.specimen_sd**2 + model.batch_sd**2 + within
    return np.sqrt(level + np.asarray(steep, float) ** 2 * (model.kelvin**2 + model.specimen_shift**2))


def _refused(asked: Asked, why: str) -> FaceStop:
    none = Interval(why=why)
    return FaceStop(
        name=asked.name, temperature_c=asked.initial - ZERO_C, speed_start_rpm=asked.first / RAD_PER_S,
        speed_end_rpm=asked.last / RAD_PER_S, wanted=asked.wanted,
        pressure_bar=none if asked.pressure is None else exact(asked.pressure / 1e5),
        mu=none, mu_single=none, mu_start=none, mu_end=none, torque_nm=none, time_s=none, distance_m=none,
        deceleration_mps2=none, face_peak_c=none, why=why,
    )  # fmt: skip
