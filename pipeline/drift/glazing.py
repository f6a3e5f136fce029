"""Glazing as a state over the test: which use it grew under, how fast, and which stops cleared it.

Between one block of checks and the next lies some use; the change of the checks' level across it, divided by its
low-energy stops, is the growth under that use's power density and temperature. Blocks that changed nothing are kept
too: from both together comes the compound's limit of low-energy use.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from pipeline.constants import Array
from pipeline.drift.change import Change, matched, spreads
from pipeline.drift.monitoring import Watch
from pipeline.drift.noise import Repeatability, covariance
from pipeline.drift.regain import clearing_stops
from pipeline.drift.series import Series
from pipeline.method.drift import Drift
from pipeline.results.drift import Cleared, Exposure, Grew, StopsUntil, UseBetweenChecks

Loss = tuple[float, float, float]  # share lost: value, low, high
Middle = tuple[float, float, float]  # median, 5 % and 95 % quantile


def uses_between_checks(
    s: Series, friction: Array, w: Watch, noise: Repeatability, settings: Drift
) -> list[UseBetweenChecks]:
    """Every stretch of use between consecutive blocks of checks of one group, with the change of level across it.

    `friction` (n,) is ln mu at every stop of the series.
    """
    index = w.deciding[s.purpose[w.deciding] == "check"]
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
    t = float(stdtrit(noise.dof, 0.5 + settings.confidence / 2))
    out = []
    for k in range(len(level) - 1):
        start = s.stop[index[number == k][-1]]
        end = s.stop[index[number == k + 1][0]]
        between = (s.stop > start) & (s.stop < end)
        used = between & (s.purpose != "check")
        if not used.any():
            continue
        low, high = between & (s.low > 0), between & (s.high > 0)
        own = low if low.any() and low.sum() >= high.sum() else high if high.any() else used
        power, temperature = _middle(s.power[own]), _middle(s.temperature[own])
        change = float(level[k + 1] - level[k])
        u = float(np.sqrt(cover[k, k] + cover[k + 1, k + 1] - 2 * cover[k, k + 1]))
        out.append(
            UseBetweenChecks(
                from_stop=start + 1,
                to_stop=end - 1,
                low_energy_stops=low.sum(),
                high_energy_stops=high.sum(),
                power_density_w_mm2=power[0],
                power_density_low_w_mm2=power[1],
                power_density_high_w_mm2=power[2],
                temperature_initial_c=temperature[0],
                temperature_low_c=temperature[1],
                temperature_high_c=temperature[2],
                mu_change_share=np.expm1(change),
                low=np.expm1(change - t * u),
                high=np.expm1(change + t * u),
                u=u,
                u_before=np.sqrt(cover[k, k]),
                u_after=np.sqrt(cover[k + 1, k + 1]),
            )
        )
    return out


def _joined(s: Series, index: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number of each stop's level: blocks of checks between which no use lies share one."""
    used = np.cumsum(s.purpose != "check")[index]
    return np.cumsum(np.r_[False, np.diff(used) > 0]).astype(np.int64)


def _middle(values: Array) -> Middle:
    values = values[np.isfinite(values)]
    if not len(values):
        return np.nan, np.nan, np.nan
    return float(np.median(values)), float(np.quantile(values, 0.05)), float(np.quantile(values, 0.95))


def exposure_result(
    s: Series, uses: list[UseBetweenChecks], change: Change | None, glazing: bool, loss: Loss | None
) -> Exposure:
    """What drift.json says about use: every stretch, and, for a glazing-like fall, how it grew and was cleared.

    `loss` is the share lost with its interval.
    """
    if not glazing or change is None or loss is None:
        return Exposure(blocks=uses, grew_reason="no glazing-like fall")
    cut = s.stop[change.cut] if change.cut is not None else s.stop[-1] + 1
    own = (s.low > 0) & (s.stop >= change.onset.stop) & (s.stop < cut)
    power, temperature = _middle(s.power[own]), _middle(s.temperature[own])
    grew = Grew(
        low_energy_stops=own.sum(),
        power_density_w_mm2=power[0],
        power_density_low_w_mm2=power[1],
        power_density_high_w_mm2=power[2],
        temperature_initial_c=temperature[0],
        temperature_low_c=temperature[1],
        temperature_high_c=temperature[2],
        stops_to_3_percent=_stops_to(0.03, int(own.sum()), change, loss),
    )
    return Exposure(blocks=uses, grew=grew, cleared=_cleared(s, change) if change.cut is not None else None)


def _stops_to(lost: float, stops: int, change: Change, loss: Loss) -> StopsUntil:
    """Low-energy stops after which `lost` of mu is gone, with interval from that of the loss; None where never reached.

    Growth is taken as 1 - exp(-n/N), N the constant of the likeliest shape (infinite: linear).
    """
    constant = change.onset.constant
    full = 1.0 if not np.isfinite(constant) else 1 - np.exp(-stops / constant)

    def until(share: float) -> float | None:
        part = lost / share * full if share > 0 else np.inf
        if not np.isfinite(constant):
            return float(part * stops) if np.isfinite(part) else None
        return float(-constant * np.log1p(-part)) if part < 1 else None

    return StopsUntil(value=until(loss[0]), low=until(loss[2]), high=until(loss[1]))  # a larger loss is reached sooner


def _cleared(s: Series, change: Change) -> Cleared:
    """The stops that brought the level back."""
    own = clearing_stops(s, change)
    power, temperature = _middle(s.power[own]), _middle(s.temperature[own])
    return Cleared(
        from_stop=s.stop[own][0],
        to_stop=s.stop[own][-1],
        high_energy_stops=own.sum(),
        power_density_w_mm2=power[0],
        power_density_low_w_mm2=power[1],
        temperature_initial_c=temperature[0],
        temperature_low_c=temperature[1],
    )
