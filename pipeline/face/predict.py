"""A whole stop by the law: friction, time, way and the pressure that a wanted torque needs, with intervals, inside the data.

The law and its heat inputs are drawn together (`portable.drawn`), every draw brakes once, and an interval is the middle of
what the draws came to. Two more errors act on a draw as a level of mu: what the law gets wrong at a condition, and the
calibration common to all stops. That is the interval of the mean over stops, specimens and batches. Beside it stand a single
stop of a further specimen (`pipeline.face.single`) and every batch tested.

Where a torque or deceleration is wanted, the pressure is sought for the best estimate, and its interval is what the mean may need;
the other figures, the wanted one too, are what the stated pressure gives.

The hottest face is the model's. Its interval does not rest on the heat inputs' fitted uncertainties, which a biased model of the
heat makes too small, but on what was known of them before, and on how far the fit lies from that.

Outside the support nothing is given: the best estimate's path through face temperature, pressure and speed has to lie in
the hull of the samples, but for the last speeds of a stop to rest, which carry next to no heat.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from scipy import special

from pipeline.constants import RAD_PER_S, ZERO_C, Array
from pipeline.face import braking, portable, single
from pipeline.face.braking import Braking, Laws
from pipeline.results.face import FaceBatchStop, FaceModel, FaceSingle, FaceStop
from pipeline.results.model import Interval

DRAWS = 120
PRESS = 0.03  # step of ln pressure by which the torque's slope in it is taken
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
    sought: Literal["torque", "deceleration"] = "torque"  # how the wanted torque was put


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
    count = len(asked)
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
        told = _of_good(drawn, [asked[i] for i in good], pressure[good], sought)
        for i, one in zip(good, told, strict=True):
            out[i] = one
    return [one for one in out if one is not None]


def _of_good(drawn: Drawn, asked: Sequence[Asked], pressure: Array, sought: bool) -> list[FaceStop]:
    """Stops inside the support, at the best estimate's pressures [asked]."""
    n, count = len(drawn.laws), len(asked)
    which, draws = np.repeat(np.arange(count), n), np.tile(np.arange(n), count)
    needed = pressure[which]
    if sought:
        needed, _ = _run(drawn, asked, draws, which, True, start=needed)
    stated = [replace(one, pressure=float(p), torque=None) for one, p in zip(asked, pressure, strict=True)]
    _, run = _run(drawn, stated, draws, which, False)
    ends, brake, zero = _ends(asked), portable.brake_of(drawn.model), np.zeros(count, int)

    def best(level: float, shift: float, harder: float = 0.0, laws: Laws = drawn.laws) -> Braking:
        return braking.run(laws, zero, brake, pressure=pressure * np.exp(harder), level=level, shift=shift, **ends)

    sd = single.sds(drawn.model, best)
    steep = np.log(best(0.0, 0.0, PRESS).torque / best(0.0, 0.0, -PRESS).torque) / (2 * PRESS)
    sd["pressure"] = sd["torque"] / np.maximum(steep, 0.1)
    batches = [(best(b.level, 0.0), best(b.level + b.u, 0.0)) for b in drawn.model.batches]
    faces = np.array([best(0.0, 0.0, laws=heated(drawn, row)).face for row in range(4)])
    told = []
    for k, one in enumerate(asked):
        own, row = slice(k * n, (k + 1) * n), slice(k, k + 1)
        of_batches = [(each.rows(row), up.rows(row)) for each, up in batches]
        scatter = {name: float(values[k]) for name, values in sd.items()}
        told.append(_told(drawn.model, one, sought, run.rows(own), needed[own], scatter, of_batches, faces[:, k]))
    return told


def heated(drawn: Drawn, row: int) -> Laws:
    """The best estimate's law with its conductivity (row 0), flux (1) or loss (2) higher by what was known of it before, or with all as
    they were before (3)."""
    model, laws = drawn.model, drawn.laws
    heat = np.array([laws.conductivity[0], laws.share[0], laws.convection[0]])
    if row == len(heat):
        heat = np.array([model.conductivity, model.heat_share, model.convection])
    else:
        heat[row] *= np.exp(model.heat_u[row])
    k, share, convection = heat[:, None]
    return replace(laws, s=laws.s[:1], p=laws.p[:1], w=laws.w[:1], conductivity=k, share=share, convection=convection)


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


def _told(
    model: FaceModel, asked: Asked, sought: bool, run: Braking, needed: Array, sd: dict[str, float],
    batches: Sequence[tuple[Braking, Braking]], faces: Array,
) -> FaceStop:  # fmt: skip
    """One stop: draws `run` at the stated pressure, pressures that the draws need, and what is shifted about the best estimate."""
    draws = {name: np.asarray(getattr(run, name)) for name in single.QUANTITIES} | {"pressure": needed}
    u = {name: float(np.log(values[1:]).std()) for name, values in draws.items()}
    wide = single.halves(model, sd, u)
    z = float(special.ndtri((1 + model.confidence) / 2))

    def mean(name: str) -> Interval:
        return between(draws[name], model.confidence)

    def alone(name: str) -> Interval:
        return about(float(draws[name][0]), wide[name])

    def of_batch(each: Braking, up: Braking) -> Callable[[str], Interval]:
        def pick(name: str) -> Interval:
            value = float(getattr(each, name)[0])
            return about(value, z * float(np.hypot(u[name], np.log(getattr(up, name)[0] / value))))

        return pick

    picks = [of_batch(*one) for one in batches]
    return FaceStop(
        name=asked.name,
        temperature_c=asked.initial - ZERO_C,
        speed_start_rpm=asked.first / RAD_PER_S,
        speed_end_rpm=asked.last / RAD_PER_S,
        wanted=asked.wanted,
        sought=asked.sought if sought else None,
        pressure_bar=scaled(mean("pressure"), 1e-5) if sought else exact(float(needed[0]) / 1e5),
        mu=mean("mu"),
        mu_single=alone("mu"),
        mu_start=between(run.mu_start, model.confidence),
        mu_end=between(run.mu_end, model.confidence),
        **_moved(model, asked, mean),
        face_peak_c=_hottest(model, run.face, faces, asked.initial),
        single=FaceSingle(
            mu=alone("mu"),
            **_moved(model, asked, alone),
            pressure_bar=scaled(alone("pressure"), 1e-5) if sought else None,
        ),
        batches=[
            FaceBatchStop(batch=batch.name, mu=pick("mu"), **_moved(model, asked, pick))
            for batch, pick in zip(model.batches, picks, strict=True)
        ],
    )


def _moved(model: FaceModel, asked: Asked, pick: Callable[[str], Interval]) -> dict[str, Interval]:
    """Torque, time, distance and deceleration from the intervals of torque, time and angle."""
    rolling = model.brake.rolling_radius
    none = Interval(why="the card gives no rolling radius")
    return {
        "torque_nm": pick("torque"),
        "time_s": pick("time"),
        "distance_m": none if rolling is None else scaled(pick("angle"), rolling),
        "deceleration_mps2": none if rolling is None else scaled(pick("torque"), rolling / asked.inertia),
    }


def _hottest(model: FaceModel, drawn: Array, faces: Array, initial: float) -> Interval:
    """Hottest face; `faces` are its values with conductivity, flux, loss, and all moved (`heated`)."""
    best = float(drawn[0])
    z = float(special.ndtri((1 + model.confidence) / 2))
    moved = faces - best
    u = float(np.sqrt((moved[:-1] ** 2).sum() + (FACE_U * (best - initial)) ** 2 + drawn[1:].std() ** 2))
    half = float(np.hypot(z * u, moved[-1]))
    return Interval(value=best - ZERO_C, low=max(best - half, initial) - ZERO_C, high=best + half - ZERO_C)


def between(values: Array, confidence: float) -> Interval:
    """Row 0 with the middle of the draws after it."""
    low, high = np.quantile(values[1:], [(1 - confidence) / 2, (1 + confidence) / 2])
    return Interval(value=float(values[0]), low=float(min(low, values[0])), high=float(max(high, values[0])))


def about(value: float, half: float) -> Interval:
    """A value with an interval even in its logarithm."""
    return Interval(value=value, low=value * float(np.exp(-half)), high=value * float(np.exp(half)))


def exact(value: float) -> Interval:
    return Interval(value=value, low=value, high=value)


def scaled(one: Interval, factor: float) -> Interval:
    """An interval in another unit."""
    value, low, high = (None if x is None else x * factor for x in (one.value, one.low, one.high))
    return Interval(value=value, low=low, high=high, why=one.why)


def _refused(asked: Asked, why: str) -> FaceStop:
    none = Interval(why=why)
    return FaceStop(
        name=asked.name, temperature_c=asked.initial - ZERO_C, speed_start_rpm=asked.first / RAD_PER_S,
        speed_end_rpm=asked.last / RAD_PER_S, wanted=asked.wanted, sought=None if asked.torque is None else asked.sought,
        pressure_bar=none if asked.pressure is None else exact(asked.pressure / 1e5),
        mu=none, mu_single=none, mu_start=none, mu_end=none, torque_nm=none, time_s=none, distance_m=none,
        deceleration_mps2=none, face_peak_c=none, why=why,
    )  # fmt: skip
