"""Glazing as a state over the test: which use it grew under, how fast, and which stops cleared it.

Between one block of checks and the next lies some use; the change of the checks' level across it, divided by its
low-energy stops, is the growth under that use's power density and temperature. Blocks that changed nothing are kept too:
from both together comes the compound's limit of low-energy use.
"""

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from pipeline.drift.change import Change, matched, spreads
from pipeline.drift.monitoring import Watch
from pipeline.drift.noise import Repeatability, covariance
from pipeline.drift.regain import clearing_stops
from pipeline.drift.series import Series
from pipeline.method.drift import Drift

Array = NDArray[np.float64]


class Use(NamedTuple):
    """Use between two blocks of checks: its stops, median power density and temperature, change of ln level (u)."""

    from_stop: int
    to_stop: int
    low_stops: int
    high_stops: int
    power: float
    power_range: tuple[float, float]
    temperature: float
    temperature_range: tuple[float, float]
    change: float
    u: float


def uses_between_checks(s: Series, friction: Array, w: Watch, noise: Repeatability) -> list[Use]:
    """Every stretch of use between consecutive blocks of checks of one group, with the change of level across it."""
    index = w.checks[s.purpose[w.checks] == "check"]
    if len(index) < 4:
        return []
    group = int(np.bincount(s.group[index]).argmax())
    index = index[s.group[index] == group]
    adjusted, columns = matched(s, index, friction)
    matrix = covariance(s.stop[index], s.block[index], spreads(s, index, noise), noise.rho, noise.block_sigma, columns)
    number = _joined(s, index)
    means = (number[None, :] == np.unique(number)[:, None]).astype(float)
    means /= means.sum(axis=1, keepdims=True)
    level, cover = means @ adjusted, means @ matrix @ means.T
    out = []
    for k in range(len(level) - 1):
        start = s.stop[index[number == k][-1]]
        end = s.stop[index[number == k + 1][0]]
        between = (s.stop > start) & (s.stop < end)
        low, high = between & (s.low > 0), between & (s.high > 0)
        if not (low.any() or high.any()):
            continue
        own = low if low.sum() >= high.sum() else high
        u = float(np.sqrt(cover[k, k] + cover[k + 1, k + 1] - 2 * cover[k, k + 1]))
        out.append(Use(
            int(start) + 1, int(end) - 1, int(low.sum()), int(high.sum()), *_middle(s.power[own]), *_middle(s.temperature[own]),
            float(level[k + 1] - level[k]), u,
        ))  # fmt: skip
    return out


def _joined(s: Series, index: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number of each stop's level: blocks of checks between which no use lies share one."""
    used = np.cumsum(s.low + s.high)[index]
    return np.cumsum(np.r_[False, np.diff(used) > 0]).astype(np.int64)


def _middle(values: Array) -> tuple[float, tuple[float, float]]:
    values = values[np.isfinite(values)]
    if not len(values):
        return np.nan, (np.nan, np.nan)
    return float(np.median(values)), (float(np.quantile(values, 0.05)), float(np.quantile(values, 0.95)))


def exposure_result(
    s: Series, uses: list[Use], change: Change | None, glazing: bool, loss: tuple[float, float, float] | None, noise: Repeatability,
    settings: Drift,
) -> dict[str, Any]:  # fmt: skip
    """What drift.json says about use: every stretch, and, for a glazing-like fall, how it grew and was cleared.

    `loss` is the share lost with its interval.
    """
    t = float(stdtrit(noise.dof, 0.5 + settings.confidence / 2))
    out: dict[str, Any] = {
        "blocks": [
            {
                "from_stop": u.from_stop, "to_stop": u.to_stop, "low_energy_stops": u.low_stops, "high_energy_stops": u.high_stops,
                "power_density_w_mm2": u.power, "power_density_low_w_mm2": u.power_range[0],
                "power_density_high_w_mm2": u.power_range[1], "temperature_initial_c": u.temperature,
                "temperature_low_c": u.temperature_range[0], "temperature_high_c": u.temperature_range[1],
                "mu_change_share": float(np.expm1(u.change)), "low": float(np.expm1(u.change - t * u.u)),
                "high": float(np.expm1(u.change + t * u.u)), "u": u.u,
            }
            for u in uses
        ],
        "grew": None, "cleared": None,
    }  # fmt: skip
    if not glazing or change is None or loss is None:
        out["grew_reason"] = "no glazing-like fall"
        return out
    cut = s.stop[change.cut] if change.cut is not None else s.stop[-1] + 1
    own = (s.low > 0) & (s.stop >= change.onset.stop) & (s.stop < cut)
    power, power_range = _middle(s.power[own])
    temperature, temperature_range = _middle(s.temperature[own])
    out["grew"] = {
        "low_energy_stops": int(own.sum()), "power_density_w_mm2": power, "power_density_low_w_mm2": power_range[0],
        "power_density_high_w_mm2": power_range[1], "temperature_initial_c": temperature,
        "temperature_low_c": temperature_range[0], "temperature_high_c": temperature_range[1],
        "stops_to_3_percent": dict(zip(("value", "low", "high"), _stops_to(0.03, int(own.sum()), change, loss), strict=True)),
    }  # fmt: skip
    if change.cut is not None:
        out["cleared"] = _cleared(s, change)
    return out


def _stops_to(lost: float, stops: int, change: Change, loss: tuple[float, float, float]) -> tuple[float | None, ...]:
    """Low-energy stops after which `lost` of mu is gone, with interval from that of the loss; None where never reached.

    Growth is taken as 1 - exp(-n/N), N the constant of the likeliest shape (infinite: linear).
    """
    constant = change.onset.constant
    full = 1.0 if not np.isfinite(constant) else 1 - np.exp(-stops / constant)
    out: list[float | None] = []
    for share in (loss[0], loss[2], loss[1]):  # a larger loss is reached sooner
        part = lost / share * full if share > 0 else np.inf
        if not np.isfinite(constant):
            out.append(float(part * stops) if np.isfinite(part) else None)
        else:
            out.append(float(-constant * np.log1p(-part)) if part < 1 else None)
    return tuple(out)


def _cleared(s: Series, change: Change) -> dict[str, Any]:
    """The stops that brought the level back."""
    own = clearing_stops(s, change)
    power, temperature = _middle(s.power[own]), _middle(s.temperature[own])
    return {
        "from_stop": int(s.stop[own][0]), "to_stop": int(s.stop[own][-1]), "high_energy_stops": int(own.sum()),
        "power_density_w_mm2": power[0], "power_density_low_w_mm2": power[1][0], "temperature_initial_c": temperature[0],
        "temperature_low_c": temperature[1][0],
    }  # fmt: skip
