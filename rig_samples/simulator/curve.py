"""True curve of mu over the initial temperature: single stops without any scatter."""

from dataclasses import replace

import numpy as np

from rig_samples.simulator.brake import RPM, Brake, Rig
from rig_samples.simulator.braking import KELVIN, Demand, brake_once
from rig_samples.simulator.material import Material, Surface
from rig_samples.simulator.play import disc_of
from rig_samples.simulator.truth import stop_truth

BEDDED = Surface(glaze=0.0, moisture=0.0, bedding=1.0)


def stop_at(
    material: Material,
    initial_c: float,
    *,
    pressure_bar: float = 25.0,
    speed_rpm: tuple[float, float] = (1450.0, 850.0),
    kind: str = "snub",
    surface: Surface = BEDDED,
    brake: Brake | None = None,
    rig: Rig | None = None,
) -> dict[str, float | None]:
    """Truth of one stop without scatter, from a disc of even temperature; keys as in `truth.stop_truth`."""
    brake = brake or Brake()
    quiet = replace(rig or Rig(), flutter=0.0, ripple=(0.0, 0.0))
    demand = Demand(kind, speed_rpm[0] * RPM, speed_rpm[1] * RPM, level=pressure_bar)
    disc = disc_of(brake, material)
    done = brake_once(demand, surface, initial_c + KELVIN, material, brake, quiet, disc, 1.0, np.random.default_rng(0))
    return stop_truth(done, demand, brake, quiet)


def friction_curve(
    material: Material, temperatures_c: np.ndarray, average: str = "mu_distance", **conditions: object
) -> np.ndarray:
    """True mean friction of a stop at each initial temperature (degC), other conditions as in `stop_at`."""
    return np.array([stop_at(material, t, **conditions)[average] for t in temperatures_c.tolist()])  # type: ignore[arg-type]


def window_of(
    material: Material,
    band: tuple[float, float],
    relative_scatter: float,
    quantile: float,
    temperatures_c: np.ndarray,
    **conditions: object,
) -> tuple[float, float] | None:
    """Ends of the widest range in which mu -+ quantile x scatter lies inside the band; None without one."""
    mu = friction_curve(material, temperatures_c, **conditions)  # type: ignore[arg-type]
    half = quantile * relative_scatter * mu
    inside = np.minimum(mu - half - band[0], band[1] - mu - half)
    best: tuple[float, float] | None = None
    start: float | None = None
    for i, ok in enumerate(inside >= 0.0):
        if ok and start is None:
            start = crossing(temperatures_c, inside, i) if i else float(temperatures_c[0])
        if start is not None and (not ok or i == len(inside) - 1):
            end = float(temperatures_c[-1]) if ok else crossing(temperatures_c, inside, i)
            if best is None or end - start > best[1] - best[0]:
                best = (start, end)
            start = None
    return best


def crossing(x: np.ndarray, y: np.ndarray, i: int) -> float:
    """Where the line from sample i - 1 to sample i passes zero."""
    return float(x[i - 1] + (x[i] - x[i - 1]) * y[i - 1] / (y[i - 1] - y[i]))
