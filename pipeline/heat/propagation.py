"""Uncertain heat inputs carried into an answer: the same draws everywhere, responses between a few exact runs, shares of variance.

A draw z of an input counts in its standard uncertainties u: a factor exp(u z) on conductivity, heat share and cooling, u z kelvin on
what the thermocouple shows. Before anything was looked at z is standard normal. A fitted law carries draws of its own (`inputs` of
its entry), and a projection takes the same, so that a law fitted at a draw and a duty run at it mean the same disc, and what cancels
between them cancels.

An answer y is run exactly at the inputs' values and, for each input alone, at z = -sqrt(3) and +sqrt(3), the outer nodes of the
three-point Gauss-Hermite rule (Abramowitz & Stegun 1964, 25.4.46). The response to an input is the parabola through the three,

    y(z) = y0 + b z + c z^2,        b = (y+ - y-) / (2 sqrt(3)),    c = (y+ + y- - 2 y0) / 6

and responses to several inputs add up; what is positive goes by its logarithm, so that they multiply. Nine draws in ten lie
between the nodes.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

import numpy as np

from pipeline.constants import Array
from pipeline.results.sources import InputName

NODE = 3**0.5
INPUTS: tuple[InputName, ...] = ("heat share", "conductivity", "thermocouple", "cooling")
READINGS = "wear readings"
LITTLE = 0.01  # a source with less of the variance is left out of the shares
ADVICE = {
    "heat share": "the settled temperature after single stops would tell it",
    "conductivity": "measure it through the thickness",
    "thermocouple": "calibrate it as installed",
    "cooling": "log the vehicle's cool-downs",
    "wear readings": "more or finer readings, or more specimens, would narrow it",
    "how uses depart": "more uses of unlike kinds, read one by one, would narrow it",
    "window": "more stops near its ends would narrow it",
}

Nodes = Mapping[InputName, tuple[Array, Array]]
Draws = Mapping[InputName, Array]


@lru_cache(maxsize=32)
def standard(name: InputName, count: int) -> Array:
    """The input's standard normal draws [count]: even quantiles, in an order of its own. The same each time: not to be written to."""
    from scipy import special

    even = (np.arange(count) + 0.5) / count
    found = np.asarray(special.ndtri(np.random.default_rng([7, INPUTS.index(name)]).permutation(even)), float)
    found.flags.writeable = False
    return found


def bend(at: Array, low: Array, high: Array) -> tuple[Array, Array]:
    """(b, c) of the parabola through values at z = -NODE, 0 and NODE."""
    return (high - low) / (2 * NODE), (high + low - 2 * at) / (2 * NODE**2)


def along(at: Array, nodes: Nodes, z: Draws) -> Array:
    """Values [d, ...] at draws z [d] of all inputs of `nodes`, from values [...] at the inputs' own and at their nodes."""
    at = np.asarray(at, float)
    count = len(next(iter(z.values())))
    moved = np.repeat(at[None], count, axis=0)
    for name, (low, high) in nodes.items():
        b, c = bend(at, low, high)
        one = np.asarray(z[name], float).reshape(-1, *[1] * at.ndim)
        moved += one * b + one**2 * c
    return moved


def shares(values: Array, z: Draws, rest: str) -> dict[str, float]:
    """Variance of draws [d] by source: what goes with a parabola in each input's draws z [d], and the rest.

    The part of an input is the covariance of its parabola with the whole, which adds up also where draws of two inputs go together.
    values: of a positive figure its logarithm.
    """
    values = np.asarray(values, float)
    centred = values - values.mean()
    if not z:
        return {rest: float(values.var())}
    columns = np.column_stack([c for one in z.values() for c in (one, np.asarray(one) ** 2)])
    columns = columns - columns.mean(axis=0)
    factors, *_ = np.linalg.lstsq(columns, centred, rcond=None)
    parts = columns * factors
    found = {
        str(name): max(float((parts[:, 2 * i : 2 * i + 2].sum(axis=1) * centred).mean()), 0.0)
        for i, name in enumerate(z)
    }
    return found | {rest: float((centred - parts.sum(axis=1)).var())}


def by_source(variance: Mapping[str, float]) -> dict[str, float] | None:
    """Shares of the whole variance, largest first, without what is next to nothing; None without a variance."""
    whole = sum(variance.values())
    if not whole > 0:
        return None
    found = {name: value / whole for name, value in variance.items() if value >= LITTLE * whole}
    return {name: round(found[name], 4) for name in sorted(found, key=found.__getitem__, reverse=True)}


def dominant(shares: Mapping[str, float] | None) -> str | None:
    """The largest source in words, and what would narrow it."""
    if not shares:
        return None
    name, share = next(iter(shares.items()))
    size = "nearly all" if share > 0.9 else f"{100 * share:.0f} %"
    return f"{size} of the interval's variance is {_spoken(name)}: {ADVICE[name]}"


def untold(shares: Mapping[str, float] | None, half: float, within: float) -> str | None:
    """What of a half width no further wear reading or specimen takes away, where it is more than is wanted or most of it, and what
    would; None where readings would do."""
    inputs = {name: share for name, share in (shares or {}).items() if name in INPUTS}
    if not inputs:
        return None
    name, share = max(inputs.items(), key=lambda one: one[1])
    alone = half * share**0.5
    if alone <= within and share < 0.5:
        return None
    return f"the {name} alone leaves +-{alone:.3g}, which more specimens do not narrow: {ADVICE[name]}"


def _spoken(name: str) -> str:
    words = {"wear readings": "the wear readings' and specimens'", "window": "the window's ends"}
    return words.get(name, name if name == "how uses depart" else f"the {name}")
