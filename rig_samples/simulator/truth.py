"""What the stops of a test truly were: friction and energy of the undisturbed signals.

The window is that of docs/contract.md: from the pressure (torque, where torque is controlled) having reached
95 % of its plateau, the median over the braking's last half, to the end of braking or to 3 % of the
start speed above the end speed. A drag has no such margin.
"""

import numpy as np

from rig_samples.simulator.brake import RPM, Brake, Rig
from rig_samples.simulator.braking import Application, Demand

BUILD_UP = 0.95
END_MARGIN = 0.03
BITE_TIME = 0.5


def window(application: Application, demand: Demand) -> slice:
    """Samples of the evaluation window."""
    signals = application.signals
    start = int(np.searchsorted(signals["time_s"], 0.0))
    end = application.release
    level = signals["pressure_bar" if demand.control == "pressure" else "brake_torque_nm"][start : end + 1]
    plateau = float(np.median(level[len(level) // 2 :]))
    first = start + int(np.argmax(level >= BUILD_UP * plateau))
    if demand.kind == "drag":
        return slice(first, end + 1)
    floor = (demand.speed_end + END_MARGIN * demand.speed_start) / RPM
    slow = np.flatnonzero(signals["speed_rpm"][start : end + 1] <= floor)
    last = start + int(slow[0]) if len(slow) else end
    return slice(first, max(last, first) + 1)


def friction_of(application: Application, demand: Demand, brake: Brake) -> dict[str, float]:
    """True friction over the window by each average, the bite and the means that go with them."""
    signals = application.signals
    part = window(application, demand)
    force_bar = signals["pressure_bar"] - brake.threshold_bar
    mu = signals["brake_torque_nm"] / (brake.torque_per_bar * np.where(force_bar > 0.05, force_bar, np.inf))
    speed, torque = signals["speed_rpm"][part] * RPM, signals["brake_torque_nm"][part]
    start = int(np.searchsorted(signals["time_s"], 0.0))
    pressure = signals["pressure_bar"]
    plateau = float(np.median(pressure[(start + application.release) // 2 : application.release + 1]))
    rise = start + int(np.argmax(pressure[start:] >= plateau / 2.0))
    bite = slice(rise, min(rise + round(BITE_TIME / (signals["time_s"][1] - signals["time_s"][0])),
                           application.release) + 1)  # fmt: skip
    return {
        "mu_distance": weighted(mu[part], speed),
        "mu_time": weighted(mu[part], np.ones(len(speed))),
        "mu_energy": weighted(mu[part], speed * torque),
        "mu_bite": float(mu[bite].mean()),
        "mu_end_over_start": ratio_of_ends(mu[part]),
        "pressure_bar": weighted(pressure[part], np.ones(len(speed))),
        "torque_nm": weighted(torque, np.ones(len(speed))),
        "surface_mean_c": float(signals["surface_c"][part].mean()),
    }


def weighted(values: np.ndarray, weights: np.ndarray) -> float:
    """Weighted mean by the trapezoidal rule on even samples."""
    if len(values) == 1:
        return float(values[0])
    return float(np.trapezoid(values * weights) / np.trapezoid(weights))


def ratio_of_ends(mu: np.ndarray) -> float:
    """Mean of the last tenth over the mean of the first tenth."""
    tenth = max(len(mu) // 10, 1)
    return float(mu[-tenth:].mean() / mu[:tenth].mean())


def stop_truth(application: Application, demand: Demand, brake: Brake, rig: Rig) -> dict[str, float | None]:
    """One row of truth: friction, energy and temperatures of an application.

    The energies are those of the whole braking, until the pressure is gone; `duration_s` is until the release.
    """
    signals = application.signals
    start, end = int(np.searchsorted(signals["time_s"], 0.0)), application.release
    off = start + int(np.flatnonzero(signals["pressure_bar"][start:] > 0.0)[-1])
    speed = signals["speed_rpm"] * RPM
    kinetic = rig.inertia * (speed[start] ** 2 - speed[off] ** 2) / 2.0
    return {
        **friction_of(application, demand, brake),
        "duration_s": float(signals["time_s"][end]),
        "energy_kj": application.friction_work / 1e3,
        "kinetic_energy_kj": None if demand.kind == "drag" else kinetic / 1e3,
        "temperature_initial_c": float(signals["bulk_c"][start]),
        "temperature_end_c": float(signals["bulk_c"][end]),
        "surface_peak_c": float(signals["surface_c"].max()),
        "oxidation_um": application.oxidation_um,
    }
