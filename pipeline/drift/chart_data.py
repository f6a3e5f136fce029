"""Arrays for the drift chart: residuals, chart statistics and limits, energy ratio, exposure, in time order."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.drift.change import Change, Search
from pipeline.drift.monitoring import Watch
from pipeline.drift.series import Series
from pipeline.method.drift import Drift

Array = NDArray[np.float64]


def chart_data(
    s: Series, friction: Array, w: Watch, found: Search, change: Change | None, settings: Drift
) -> dict[str, Any]:
    """Everything one look needs; all arrays of one panel are equally long. Shares of mu as plain fractions."""
    d = found.found
    charted = ~w.baseline if (~w.baseline).any() else np.ones(len(w.checks), bool)
    return {
        "residual": {
            "stop": s.stop[w.checks], "share": np.expm1(d.residual), "block": s.name[w.checks].tolist(),
            "purpose": s.purpose[w.checks].tolist(), "baseline": w.baseline, "scaled": d.scaled,
        },
        "use": _use(s, friction, w),
        "cusum": {
            "stop": s.stop[w.checks][charted], "fall": d.lower, "rise": d.upper, "limit": d.limits.cusum,
            "allowance": settings.cusum_allowance,
        },
        "ewma": {
            "stop": s.stop[w.checks][charted], "value": d.average, "limit": d.limits.ewma, "weight": settings.ewma_weight,
        },
        "alarm_stop": d.alarm_stop,
        "onset": (
            {"stop": change.onset.stop, "low": change.onset.low, "high": change.onset.high, "shape": change.onset.family}
            if change else None
        ),
        "energy_ratio": {"stop": s.stop[np.isfinite(s.ratio)], "value": np.exp(s.ratio[np.isfinite(s.ratio)])},
        "exposure": {
            "stop": s.stop, "power_density_w_mm2": s.power, "temperature_initial_c": s.temperature,
            "low_energy": s.low > 0, "high_energy": s.high > 0, "block": s.name.tolist(), "purpose": s.purpose.tolist(),
        },
    }  # fmt: skip


def _use(s: Series, friction: Array, w: Watch) -> dict[str, Any]:
    """Stops of use about their group's level before the change is known: the mean of their group's first third."""
    share = np.full(len(w.use), np.nan)
    for g in np.unique(s.group[w.use]):
        own = s.group[w.use] == g
        values = friction[w.use][own]
        share[own] = np.expm1(values - np.mean(values[: max(4, len(values) // 3)]))
    return {"stop": s.stop[w.use], "share": share, "block": s.name[w.use].tolist()}
