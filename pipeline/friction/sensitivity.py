"""How mu answers to each condition at the reference: local slopes with intervals, and what the design can't
tell apart.

    pressure   b_p / p0    speed   b_w / w0    energy   b_e, or b_e / e0 in the log   (times mu at the reference where effects multiply it)

Where temperature interacts with an effect, b is the map's own slope in it at the reference, the shift of the curve included.

Temperature: mean slope over the window, over the data where there is none. An interval takes in the
calibration error common to all stops, which scales every slope as it scales mu.
"""

from __future__ import annotations

import numpy as np

from pipeline.friction import effects
from pipeline.friction.freedom import Neighbours, half_width
from pipeline.friction.map import FrictionMap
from pipeline.friction.model import Fit
from pipeline.results.friction_map import JointSlope, Sensitivity, Slope
from pipeline.results.model import renewed

KEYS = {"pressure": "pressure_per_10bar", "speed": "speed_per_100rpm", "energy": "energy_per_j_mm2"}
SMALL = 0.02  # of a logarithm, or J/mm2: either side of the reference
STEP = {"pressure": 10e5, "speed": 100 * np.pi / 30, "energy": 1.0}  # Pa, rad/s, J/mm2


def sensitivities(
    map_: FrictionMap, near: Neighbours, *, confidence: float, common: float, between: tuple[float, float] | None
) -> Sensitivity:
    """`sensitivity` of docs/contract.md; `between` are the temperatures (K) of the mean slope in temperature."""
    level = map_.predict(map_.reference.temperature)
    found: dict[str, Slope] = {}
    tied = {name: pair for pair in map_.choice.tied for name in pair}
    for name, key in KEYS.items():
        if name in tied:
            other = next(n for n in tied[name] if n != name)
            found[key] = Slope(
                why=f"{effects.WORDS[name]} and {effects.WORDS[other]} moved together in this design: the two can't be separated"
            )
        elif name in map_.choice.dropped:
            found[key] = Slope(why=map_.choice.dropped[name])
        elif not level.supported[0] and map_.link == "log":
            found[key] = Slope(why="the reference temperature is outside the data")
        else:
            found[key] = effect_slope(map_, near, name, confidence, common, float(level.mu[0]))
    return Sensitivity(
        temperature_per_100c=temperature_slope(map_, near, confidence, common, between),
        **found,
        joint=[
            joint(map_, near, pair, confidence, common, float(level.mu[0]))
            for pair in map_.choice.tied
            if pair[0] in map_.choice.kept
        ],
    )


def effect_slope(
    map_: FrictionMap, near: Neighbours, name: str, confidence: float, common: float, level: float
) -> Slope:
    """Slope of one effect at the reference, in mu per the key's unit."""
    k, step = map_.choice.kept.index(name), SMALL
    energy = map_.reference.energy_density / 1e6 if map_.choice.energy_form == "log" else 1.0
    reference = {"pressure": map_.reference.pressure, "speed": map_.reference.speed, "energy": energy}[name]
    unit = STEP[name] / reference * (level if map_.link == "log" else 1.0)
    at = np.full(2, map_.reference.temperature)
    either_side = np.zeros((2, len(map_.choice.kept)))
    either_side[:, k] = -step, step

    def row(fit: Fit) -> np.ndarray:
        rows = fit.row(at, either_side)
        return (rows[1] - rows[0]) / (2 * step)

    value = row(map_.fit) @ map_.fit.solved.coefficients * unit

    def variance(fit: Fit) -> np.ndarray:
        return fit.variance(row(fit)[None, :])

    return with_interval(value, variance(map_.fit)[0] * unit**2, near.degrees(variance)[0], confidence, common)


def joint(
    map_: FrictionMap, near: Neighbours, pair: tuple[str, str], confidence: float, common: float, level: float
) -> JointSlope:
    """The joint effect of a tied pair, in the unit of the one that stayed in the model."""
    stays, out = pair
    slope = effect_slope(map_, near, stays, confidence, common, level)
    text = f"{effects.WORDS[out]} moving with {effects.WORDS[stays]} as it did in this test"
    return JointSlope(
        effects=list(pair),
        per=KEYS[stays].split("_per_")[1],
        value=slope.value,
        low=slope.low,
        high=slope.high,
        meaning=text,
    )


def temperature_slope(
    map_: FrictionMap, near: Neighbours, confidence: float, common: float, between: tuple[float, float] | None
) -> Slope:
    """Mean slope of the curve between two temperatures (K), in mu per 100 K."""
    stretches = map_.support.stretches()
    low, high = between or (stretches[0][0], stretches[-1][1])
    if high - low < 1.0:
        return Slope(why="the temperatures are too near each other for a slope")
    ends = np.array([low, high])
    mu, _ = map_.mean(ends, np.zeros((2, 3)))
    weight = np.array([-1.0, 1.0]) * (mu if map_.link == "log" else 1.0) * 100 / (high - low)

    def variance(fit: Fit) -> np.ndarray:
        return fit.variance((weight @ fit.curve_row(ends))[None, :])

    value = (mu[1] - mu[0]) * 100 / (high - low)
    found = with_interval(value, variance(map_.fit)[0], near.degrees(variance)[0], confidence, common)
    return renewed(found, from_c=low - 273.15, to_c=high - 273.15)


def with_interval(value: float, variance: float, dof: float, confidence: float, common: float) -> Slope:
    total = variance + (common * value) ** 2
    wide = float(half_width(np.array([dof * (total / variance) ** 2]), confidence)[0] * np.sqrt(total))
    return Slope(value=float(value), low=float(value) - wide, high=float(value) + wide)
