"""A braking under the law: friction heats the face, and the face makes the friction.

The shaft's speed is the variable that runs, in steps of its fall: each step's friction work is known beforehand,
I (w_a^2 - w_b^2) / 2, and takes the time I (w_a - w_b) / torque. So a braking always ends, and all brakings of a call run together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from pipeline.constants import Array, Values
from pipeline.face.law import HATS, Axis
from pipeline.friction import smooth
from pipeline.heat import slab
from pipeline.heat.plate import Plate

STEPS, NODES, GRADING = 40, 12, 1.45
TABLE_K = 2.0
ATTEMPTS, CLOSE = 12, 5e-4
#: ln mu beyond which no couple rubs: a law drawn or fitted far from its stops may run away, and a braking must end all the same
NO_FRICTION = (float(np.log(1e-3)), float(np.log(10.0)))
SLOWEST = 0.03  # of the start speed: from there a stop to rest goes on with its last torque


@dataclass(frozen=True)
class Brake:
    """What turns pressure into torque and speed into heat; SI. `push` is the clamp force per pressure above the threshold, m^2;
    the pressure builds up evenly over `build_up` s."""

    plate: Plate
    push: float
    threshold: float
    radius: float
    build_up: float = 0.0
    built: float = 0.95  # share of the pressure from which means are taken
    average: str = "distance"  # time or energy: what mu's mean over the stop is weighted by
    cooling: slab.Cooling | None = None  # what the face loses meanwhile; its convection is each draw's own

    def torque(self, mu: Values, pressure: Values) -> Array:
        return 2 * np.asarray(mu) * self.push * np.maximum(np.asarray(pressure) - self.threshold, 0.0) * self.radius


@dataclass(frozen=True)
class Laws:
    """Drawn laws [d] as tables over temperature: ln mu = s + p ln(pressure / p0) + w ln(speed / w0); heat of each draw."""

    axis: Axis
    kelvin: Array
    s: Array  # [d, kelvin]
    p: Array
    w: Array
    conductivity: Array  # [d] W/(m K)
    share: Array  # [d]
    convection: Array  # [d] W/(m^2 K)

    def __len__(self) -> int:
        return len(self.share)

    def ln_mu(self, draw: np.ndarray, kelvin: Array, pressure: Array, speed: Array) -> Array:
        """ln mu of draws (row numbers) at face temperature in K, Pa and rad/s; held at the axis' ends, and within NO_FRICTION."""
        u = np.clip((kelvin - self.kelvin[0]) / TABLE_K, 0.0, self.kelvin.size - 1.000001)
        i = u.astype(int)
        part = u - i
        found = [table[draw, i] * (1 - part) + table[draw, i + 1] * part for table in (self.s, self.p, self.w)]
        ln_p, ln_w = np.log(pressure / self.axis.pressure), np.log(speed / self.axis.speed)
        return np.asarray(np.clip(found[0] + found[1] * ln_p + found[2] * ln_w, *NO_FRICTION))


def laws(axis: Axis, fixed: Array, conductivity: Array, share: Array, convection: Array) -> Laws:
    """Tables of drawn coefficients of the fixed part [d, columns]."""
    kelvin = np.arange(axis.low, axis.high + TABLE_K, TABLE_K)
    basis = smooth.bspline_basis(kelvin, axis.low, axis.high, axis.knots)
    hats = smooth.hats(kelvin, axis.low, axis.high, HATS)
    k = axis.columns
    by_p, by_w = fixed[:, k + 2 : k + 2 + HATS], fixed[:, k + 2 + HATS : k + 2 + 2 * HATS]
    return Laws(
        axis, kelvin, fixed[:, :k] @ basis.T, fixed[:, k, None] + by_p @ hats.T, fixed[:, k + 1, None] + by_w @ hats.T,
        conductivity, share, convection,
    )  # fmt: skip


@dataclass(frozen=True)
class Braking:
    """What came of brakings, arrays [n] or along the way [n, STEPS]; SI. Means of mu are over the evaluation window, from `built` of
    the pressure on; time, angle and torque over all of the braking, so that inertia (w1^2 - w2^2) / 2 = torque x angle."""

    mu: Array  # mean by the brake's average
    mu_start: Array  # first and last tenth of the time
    mu_end: Array
    time: Array
    angle: Array
    torque: Array  # mean over distance
    face: Array  # hottest
    bulk_end: Array
    kelvin: Array  # along the way, at the middle of each step
    speed: Array
    instant: Array  # time at the end of each step
    path_mu: Array
    work: Array

    def rows(self, these: slice | np.ndarray) -> Braking:
        """Some of the brakings."""
        return Braking(**{name: getattr(self, name)[these] for name in self.__dataclass_fields__})


def run(
    laws_: Laws, draw: np.ndarray, brake: Brake, *, initial: Array, pressure: Array, first: Array, last: Array, inertia: Array, level: Values = 0.0, shift: Values = 0.0
) -> Braking:  # fmt: skip
    """Brakings [n] of drawn laws `draw` [n] from speed `first` to `last` (rad/s) at a constant pressure (Pa).

    initial: face and disc in K, even; inertia in kg m^2 at the shaft; level: added to ln mu; shift: K by which the law is
    looked up hotter.
    """
    n, plate = draw.size, brake.plate
    width = slab.mesh(plate.half_thickness, NODES, GRADING)
    link = slab.links(width, laws_.conductivity[draw])
    into = laws_.share[draw] / (2 * plate.ring_area)
    half = width[0] / (2 * laws_.conductivity[draw])
    cooling = None if brake.cooling is None else replace(brake.cooling, convection=laws_.convection[draw])
    done = np.linspace(0, 1, STEPS + 1) ** 1.4  # finest at the start
    # even in kinetic energy, so that a stop to rest ends with a step of little heat
    to = np.maximum(last, SLOWEST * first)
    speeds = np.sqrt(np.maximum(first[:, None] ** 2 + (to**2 - first**2)[:, None] * done, 0.0))
    cells = np.repeat(np.asarray(initial, float)[None, :], NODES, axis=0)
    face = np.asarray(initial, float).copy()
    kelvin, mus, time, middle = (np.empty((n, STEPS)) for _ in range(4))
    torque = np.empty((n, STEPS))
    rising, now, hottest = np.zeros(n), np.zeros(n), face.copy()
    for k in range(STEPS):
        speed = (speeds[:, k] + speeds[:, k + 1]) / 2
        guess = face + rising / 2
        acting = pressure * _share(now, brake.build_up)
        mu = np.exp(laws_.ln_mu(draw, guess + shift, acting, speed) + level)
        full = brake.torque(mu, pressure)
        dt = _duration(now, inertia * (speeds[:, k] - speeds[:, k + 1]), full, brake.build_up)
        torque[:, k] = inertia * (speeds[:, k] - speeds[:, k + 1]) / dt
        flux = into * torque[:, k] * speed
        if cooling is not None:
            flux = flux - cooling.flux(face)
        cells = slab.step(cells, dt, flux, width, link, plate.density, plate.material, passes=2)
        after = cells[0] + flux * half
        rising, now = after - face, now + dt
        kelvin[:, k], mus[:, k], time[:, k], middle[:, k] = guess, mu, dt, speed
        face, hottest = after, np.maximum(hottest, after)
    instant = np.cumsum(time, axis=1)
    to_rest = inertia * (to - last) / torque[:, -1]
    angle = (time * middle).sum(axis=1) + to_rest * (to + last) / 2
    inside = instant - time / 2 >= brake.built * brake.build_up
    inside[:, -1] = True
    way, spent = time * middle * inside, time * inside
    begun = instant[:, -1] - spent.sum(axis=1)
    early = instant - time - begun[:, None] < spent.sum(axis=1)[:, None] / 10
    late = instant - begun[:, None] > spent.sum(axis=1)[:, None] * 0.9

    def mean(values: Array, weight: Array) -> Array:
        return np.asarray((values * weight).sum(axis=1) / weight.sum(axis=1))

    return Braking(
        mu=mean(mus, {"distance": way, "time": spent, "energy": torque * way}[brake.average]),
        mu_start=mean(mus, spent * early),
        mu_end=mean(mus, spent * late),
        time=instant[:, -1] + to_rest,
        angle=angle,
        torque=inertia * (first**2 - last**2) / 2 / angle,
        face=hottest,
        bulk_end=width @ cells / plate.half_thickness,
        kelvin=kelvin,
        speed=middle,
        instant=instant,
        path_mu=mus,
        work=torque * middle * time,
    )


def _share(now: Array, build_up: float) -> Array:
    """Share of the pressure that acts a little after `now`."""
    if build_up <= 0:
        return np.ones(now.size)
    return np.clip(now / build_up + 0.05, 0.1, 1.0)


def _duration(now: Array, momentum: Array, full: Array, build_up: float) -> Array:
    """Seconds from `now` until the torque, which grows evenly to `full` over the build-up, has taken `momentum` N m s."""
    if build_up <= 0:
        return momentum / full
    room = np.maximum(full * (build_up**2 - now**2) / (2 * build_up), 0.0)
    building = np.sqrt(now**2 + 2 * np.minimum(momentum, room) * build_up / full) - now
    return np.where(momentum <= room, building, np.maximum(build_up - now, 0.0) + (momentum - room) / full)


def pressure_for(
    torque: Array, laws_: Laws, draw: np.ndarray, brake: Brake, start: Array, **conditions: Array | float
) -> tuple[Array, Braking]:
    """Pressure [n] in Pa at which the braking's mean torque over distance is `torque` [n] N m, and that braking; see `run`.

    Torque grows with pressure nearly in proportion, so the search multiplies by what is missing.
    """
    pressure = np.broadcast_to(np.asarray(start, float), draw.shape).copy()
    for _ in range(ATTEMPTS):
        found = run(laws_, draw, brake, pressure=pressure, **conditions)  # type: ignore[arg-type]
        ratio = torque / found.torque
        if np.abs(ratio - 1).max() < CLOSE:
            break
        pressure = brake.threshold + (pressure - brake.threshold) * ratio
    return pressure, found
