"""Friction that falls as a block of use grows hot, beyond what the map knows, and is back when cool.

A declared fade block is expected to do that and is not judged. Here every other block whose stops start ever hotter is:
the slope of ln mu on temperature within the block, less the slope that the test's own map shows there.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from pipeline.drift.detection import FADE
from pipeline.drift.monitoring import local_slopes
from pipeline.drift.noise import Repeatability, covariance, generalised
from pipeline.drift.series import Series
from pipeline.method.drift import Drift
from pipeline.results.drift import HotBlock

LEAST_RISE = 60.0  # K within a block


def hot_blocks(s: Series, noise: Repeatability, settings: Drift) -> list[HotBlock]:
    """Blocks of use or map whose friction falls with temperature beyond chance and beyond the map."""
    candidates = []
    for b in np.unique(s.block):
        own = np.flatnonzero((s.block == b) & np.isfinite(s.ln_mu) & np.isfinite(s.temperature) & ~s.damp)
        if len(own) < 6 or s.purpose[own[0]] in ("bedding", "fade", "check", "recovery"):
            continue
        third = max(2, len(own) // 3)
        ordered = np.sort(s.temperature[own])
        cool, hot = ordered[:third].mean(), ordered[-third:].mean()
        if hot - cool >= LEAST_RISE and hot >= s.reference_temperature + 40:
            candidates.append((own, cool, hot))
    return [_fall(s, own, cool, hot, noise, settings, len(candidates)) for own, cool, hot in candidates]


def _fall(
    s: Series, own: NDArray[np.int64], cool: float, hot: float, noise: Repeatability, settings: Drift, tests: int
) -> HotBlock:
    others = np.isin(s.purpose, ("map", "check")) & (s.block != s.block[own[0]])
    known = local_slopes(s, (cool + hot) / 2, others)
    values = s.ln_mu[own] - known.value[0] * (s.temperature[own] - cool) / 100
    departure = (s.temperature[own] - s.temperature[own].mean()) / 100
    matrix = covariance(s.stop[own], s.block[own], np.full(len(own), noise.sigma), noise.rho, 0.0)
    beta, cover = generalised(np.column_stack([np.ones(len(own)), departure]), values, matrix)
    reach = (hot - cool) / 100
    fall, u = float(beta[1] * reach), float(np.sqrt(cover[1, 1] + known.u[0] ** 2) * reach)
    t = -float(stdtrit(noise.dof, FADE * settings.false_alarm_rate / tests))
    t_interval = float(stdtrit(noise.dof, 0.5 + settings.confidence / 2))
    beyond = fall + t * u < 0 and fall <= np.log1p(-1.5 * settings.least_loss)
    affected = own[s.temperature[own] > cool + (hot - cool) / 2]
    return HotBlock(
        stop=s.stop[affected[0]],
        last=s.stop[own[-1]],
        block=str(s.name[own[0]]),
        fall=np.expm1(fall),
        low=np.expm1(fall - t_interval * u),
        high=np.expm1(fall + t_interval * u),
        limit=np.expm1(-t * u),
        temperature_low_c=cool,
        temperature_high_c=hot,
        beyond=beyond,
    )
