"""Arrays for the drift chart: residuals, chart statistics and limits, energy ratio, exposure, in time order."""

import numpy as np

from pipeline.constants import Array
from pipeline.drift.change import Change, Search
from pipeline.drift.monitoring import Watch
from pipeline.drift.series import Series
from pipeline.method.drift import Drift
from pipeline.results.drift import (
    ChartOnset,
    Charts,
    CusumChart,
    EwmaChart,
    ExposureChart,
    RatioChart,
    ResidualChart,
    UseChart,
)


def chart_data(s: Series, friction: Array, w: Watch, found: Search, change: Change | None, settings: Drift) -> Charts:
    """Everything one look needs. `friction` (n,) is ln mu after what torque chain and bedding explain is taken off."""
    detection = found.found
    stop = s.stop[w.deciding]
    charted = ~w.baseline if (~w.baseline).any() else np.ones(len(w.deciding), bool)
    with_ratio = np.isfinite(s.ratio)
    onset = change.onset if change else None
    return Charts(
        residual=ResidualChart(
            stop=stop,
            share=np.expm1(detection.residual),
            block=s.name[w.deciding],
            purpose=s.purpose[w.deciding],
            baseline=w.baseline,
            scaled=detection.scaled,
        ),
        use=_use(s, friction, w),
        cusum=CusumChart(
            stop=stop[charted],
            fall=detection.lower,
            rise=detection.upper,
            limit=detection.limits.cusum,
            allowance=settings.cusum_allowance,
        ),
        ewma=EwmaChart(
            stop=stop[charted], value=detection.average, limit=detection.limits.ewma, weight=settings.ewma_weight
        ),
        alarm_stop=detection.alarm_stop,
        onset=onset and ChartOnset(stop=onset.stop, low=onset.low, high=onset.high, shape=onset.family),
        energy_ratio=RatioChart(stop=s.stop[with_ratio], value=np.exp(s.ratio[with_ratio])),
        exposure=ExposureChart(
            stop=s.stop,
            power_density_w_mm2=s.power,
            temperature_initial_c=s.temperature,
            energy_density_j_mm2=s.energy,
            low_energy=s.low > 0,
            high_energy=s.high > 0,
            block=s.name,
            purpose=s.purpose,
        ),
    )


def _use(s: Series, friction: Array, w: Watch) -> UseChart:
    """Stops of use about their group's level before the change is known: the mean of their group's first third."""
    share = np.full(len(w.use), np.nan)
    for g in np.unique(s.group[w.use]):
        own = s.group[w.use] == g
        values = friction[w.use][own]
        share[own] = np.expm1(values - np.mean(values[: max(4, len(values) // 3)]))
    return UseChart(stop=s.stop[w.use], share=share, block=s.name[w.use])
