"""Effective friction radius of a ring, by rule.

mean: a quarter of the sum of the diameters. uniform_pressure: (Do^3 - Di^3) / (3 (Do^2 - Di^2)). uniform_wear: of an
annulus the same as the mean (Shigley, Mechanical Engineering Design, disc brakes).
"""


def effective_radius(outer: float, inner: float, rule: str = "mean") -> float:
    """Radius (m) of a ring of outer and inner diameter (m); `rule` is mean, uniform_pressure or uniform_wear."""
    if not 0 <= inner < outer:
        raise ValueError("the outer diameter must be above the inner one")
    if rule in ("mean", "uniform_wear"):
        return (outer + inner) / 4
    if rule == "uniform_pressure":
        return (outer**3 - inner**3) / (3 * (outer**2 - inner**2))
    raise ValueError(f"{rule!r} is no radius rule; accepted: mean, uniform_pressure, uniform_wear")
