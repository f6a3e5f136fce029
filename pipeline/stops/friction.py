"""Friction coefficient of a disc brake and its averages.

mu = T / (2 F r), F = eta (p - p_threshold) A the clamp force, A the area of the pistons on one side; F presses each
of the disc's two faces. Averages weigh the samples by time (dt), distance (w dt) or energy (T w dt): of a constant mu
they are the same, of a cold carbon stop with in-stop rise they are tens of percent apart.
"""

import numpy as np


def clamp_force(
    pressure: np.ndarray, *, piston_area: float, threshold: float = 0.0, efficiency: float = 1.0
) -> np.ndarray:
    """Force on each of the two disc faces (N) from line pressure above rest (Pa); negative below the threshold.

    pressure: (n,); piston_area: of one side (m^2); threshold (Pa); efficiency (1). Returns (n,).
    """
    return efficiency * (pressure - threshold) * piston_area


def coefficient(torque: np.ndarray, force: np.ndarray, radius: float) -> np.ndarray:
    """mu of each sample from friction torque (N m), clamp force (N) and effective radius (m); NaN where no force is.

    torque, force: (n,); returns (n,).
    """
    result = np.full(force.shape, np.nan)
    return np.divide(torque, 2 * force * radius, out=result, where=force > 0)


def weights(width: np.ndarray, speed: np.ndarray, torque: np.ndarray) -> dict[str, np.ndarray]:
    """Weights of the three averages: time that a sample stands for (s), with it sliding, with it friction work.

    width (s), speed (rad/s), torque (N m): (n,).
    """
    return {"time": width, "distance": speed * width, "energy": torque * speed * width}


def averages(mu: np.ndarray, by: dict[str, np.ndarray]) -> dict[str, float]:
    """Means of mu by each of `weights`; NaN where there is no weight.

    mu (1), each weight: (n,). A sample without torque or speed has no weight in energy or distance, so none in any.
    """
    known = np.isfinite(by["energy"])
    if not known.all():
        mu, by = mu[known], {name: weight[known] for name, weight in by.items()}
    return {name: weighted_mean(mu, weight) for name, weight in by.items()}


def weighted_mean(values: np.ndarray, weight: np.ndarray) -> float:
    """Mean of values by weight, both (n,); NaN without a positive sum of weights."""
    total = float(weight.sum())
    return float(values @ weight) / total if values.size and total > 0 else float("nan")
