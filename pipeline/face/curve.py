"""The law's mu of whole stops over the initial temperature, with the bands and drawn curves that windows are found by."""

from __future__ import annotations

import numpy as np
from scipy import special

from pipeline.constants import Array
from pipeline.face import braking, portable, single
from pipeline.face.predict import Asked, outside
from pipeline.friction.bands import Curve
from pipeline.friction.posterior import Curves
from pipeline.friction.smooth import hats
from pipeline.results.face import FaceModel

DRAWS = 80
LACK_K = 80.0  # over which what the law gets wrong stays alike
FEWEST = 5


def curve(
    model: FaceModel, temperatures: Array, asked: Asked, near: Array, seed: int = 0
) -> tuple[Curve, Curves] | None:
    """Curve and drawn curves at initial temperatures (K) inside the support, at the pressure and speeds of `asked`.

    `near` [temperatures] are the stops near each. None where fewer than FEWEST temperatures are supported.
    """
    laws_, brake = portable.drawn(model, DRAWS, seed), portable.brake_of(model)
    if asked.pressure is None:
        raise ValueError("a curve is at one pressure")
    pressure = asked.pressure

    def run(draw: Array, t: Array, **changed: Array | float) -> braking.Braking:
        one = np.ones(t.size)
        return braking.run(
            laws_, draw, brake, initial=t, pressure=pressure * one, first=asked.first * one,
            last=asked.last * one, inertia=asked.inertia * one, **changed,
        )  # fmt: skip

    best = run(np.zeros(temperatures.size, int), temperatures)
    inside = np.array(
        [outside(model, best.rows(slice(i, i + 1)), pressure, asked) is None for i in range(temperatures.size)]
    )
    if inside.sum() < FEWEST:
        return None
    t, near, stretch = temperatures[inside], near[inside], np.cumsum(np.diff(np.flatnonzero(inside), prepend=0) > 1)
    n = t.size
    rng = np.random.default_rng([seed, 2])
    low, high = float(t[0]), float(t[-1])
    count = max(int(np.ceil((high - low) / LACK_K)) + 1, 2)
    lack = model.cell_sd * rng.normal(size=(DRAWS, count)) @ hats(t, low, high, count).T
    level = lack + model.common * rng.normal(size=(DRAWS, 1))
    flank = model.cell_kelvin * rng.normal(size=(DRAWS, count)) @ hats(t, low, high, count).T
    drawn = run(np.repeat(np.arange(1, DRAWS + 1), n), np.tile(t, DRAWS), level=level.ravel(), shift=flank.ravel())
    z = np.log(drawn.mu).reshape(DRAWS, n)
    best_t = run(np.zeros(n, int), t)
    sd = single.sds(model, lambda level, shift: run(np.zeros(n, int), t, level=level, shift=shift))["mu"]
    return _with_bands(model, t, stretch, near, best_t.mu, z, sd)


def _with_bands(
    model: FaceModel, t: Array, stretch: np.ndarray, near: Array, mu: Array, z: Array, sd: Array
) -> tuple[Curve, Curves]:
    u = z.std(axis=0, ddof=1)
    half = special.ndtri((1 + model.confidence) / 2) * u
    factor, dof = single.tolerance(model)
    wide = np.sqrt((factor * sd) ** 2 + half**2)
    flat = np.ones(t.size)
    made = Curve(
        temperature=t, stretch=stretch, mu=mu, low=mu * np.exp(-half), high=mu * np.exp(half),
        tolerance_low=mu * np.exp(-wide), tolerance_high=mu * np.exp(wide), near=near,
        u_curve=np.sqrt(np.maximum(u**2 - model.common**2, 1e-12)) * mu, u_common=model.common * mu, scatter=sd * mu,
        dof_mean=60.0 * flat, dof_scatter=dof * flat, factor=wide / sd,
    )  # fmt: skip
    rng = np.random.default_rng(3)
    variance = sd**2 * (dof / rng.chisquare(dof, len(z)))[:, None]
    return made, Curves(np.exp(z), z, variance, np.full(len(z), 1 / len(z)))
