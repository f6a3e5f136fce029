"""Wear per interval between readings, with the covariance that shared readings bring.

The loss of an interval is the mean over the points that both readings have. Neighbouring intervals share a reading, so their
errors are opposed: the whole covariance goes into every fit, not the errors alone. The noise of one point's reading
comes from repeats; without enough of them from what points do beside the component's common loss and a steady
taper; without that from the method's assumed value, which is said.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pipeline.findings import Finding, finding
from pipeline.wear.components import Component, spoken
from pipeline.wear.readings import outlying

ENOUGH_DOF = 4


@dataclass(frozen=True)
class Noise:
    """Standard uncertainty of one reading of one point: value in m or kg, its degrees of freedom, where it is from."""

    value: float
    dof: float
    source: str


@dataclass(frozen=True)
class Intervals:
    """Thickness loss of one component per interval. wear in um [K]; covariance in um^2 [K, K]."""

    from_stop: np.ndarray
    to_stop: np.ndarray
    wear: np.ndarray
    covariance: np.ndarray
    dof: float
    source: str
    details: list[dict] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)

    @property
    def u(self) -> np.ndarray:
        return np.sqrt(np.diag(self.covariance))


def cells(readings: pl.DataFrame) -> tuple[list[int], list[str], np.ndarray, np.ndarray]:
    """(after_stop [R], points [P], means [R, P], repeats [R, P]) of one component's readings of one quantity."""
    table = readings.group_by("after_stop", "point", maintain_order=True).agg(pl.col("value").mean(), n=pl.len())
    stops = sorted(table["after_stop"].unique())
    points = sorted(table["point"].unique(), key=lambda p: (len(p), p))
    mean = np.full((len(stops), len(points)), np.nan)
    count = np.zeros(mean.shape)
    row = {s: i for i, s in enumerate(stops)}
    column = {p: i for i, p in enumerate(points)}
    for after, point, value, n in table.iter_rows():
        mean[row[after], column[point]] = value
        count[row[after], column[point]] = n
    return stops, points, mean, count


def noise(readings: pl.DataFrame, mean: np.ndarray, assumed: float) -> Noise:
    """Noise of one reading of one point; see the module's text for the order of sources. Never below the resolution."""
    floor = float(np.median(readings["resolution"].to_numpy())) / np.sqrt(12)
    spread = readings.group_by("after_stop", "point", maintain_order=True).agg(
        pl.col("value").var().alias("variance"), (pl.len() - 1).alias("dof")
    )
    spread = spread.filter(pl.col("dof") > 0)
    repeat_dof = int(spread["dof"].sum() or 0)
    repeat = float((spread["variance"] * spread["dof"]).sum() / repeat_dof) if repeat_dof else 0.0
    point, point_dof = _beside_common_loss(mean)
    if repeat_dof >= ENOUGH_DOF:
        return Noise(max(np.sqrt(repeat), floor), repeat_dof, "repeat readings")
    if point_dof >= ENOUGH_DOF:
        return Noise(max(np.sqrt(point), floor), point_dof, "scatter between points")
    # The method's value is of a reading's mean over its points.
    per_point = assumed * np.sqrt(np.median((~np.isnan(mean)).sum(axis=1)))
    return Noise(max(float(per_point), floor), np.inf, "assumed by the method")


def _beside_common_loss(mean: np.ndarray) -> tuple[float, int]:
    """Variance and degrees of freedom of point means after each point's place and its own share of the loss."""
    full = mean[:, ~np.isnan(mean).any(axis=0)]
    readings, points = full.shape
    if points < 2 or readings < 3:
        return 0.0, 0
    level = full.mean(axis=1)
    design = np.column_stack([np.ones(readings), level - level.mean()])
    coefficient, *_ = np.linalg.lstsq(design, full, rcond=None)
    rest = full - design @ coefficient
    dof = (points - 1) * (readings - 2)
    return float((rest**2).sum() / dof), dof


def intervals(
    readings: pl.DataFrame, part: Component, *, assumed_thickness: float, assumed_mass: float, last_stop: int
) -> Intervals | None:
    """Intervals of one component, by thickness, or by mass where thickness was not read; None with one reading or none.

    readings: the component's rows of `read_wear`. last_stop: how many stops the rig ran.
    """
    thickness = readings.filter(pl.col("quantity") == "thickness")
    mass = readings.filter(pl.col("quantity") == "mass")
    if thickness["after_stop"].n_unique() >= 2:
        result = _losses(thickness, part, assumed_thickness, 1e6, "thickness", 30e-6)
    elif mass["after_stop"].n_unique() >= 2 and part.density and part.area:
        result = _losses(mass, part, assumed_mass, 1e6 / (part.density * part.area), "mass", 0.5e-3)
    else:
        return None
    if result is None:
        return None
    beyond = result.to_stop > last_stop
    if beyond.any():
        result.findings.append(
            finding(
                "wear_after_last_stop",
                f"{spoken(part.name)}: a reading is placed after stop {int(result.to_stop.max())}, the rig ran "
                f"{last_stop}; that interval is given but no law is fitted to it",
                evidence={"after_stop": int(result.to_stop.max()), "run": last_stop},
            )
        )
    return result


def _losses(readings, part, assumed, scale, quantity, least) -> Intervals | None:
    """Losses of one quantity in um (scale takes m or kg there)."""
    findings: list[Finding] = []
    state = "dry" if quantity == "mass" and (readings["state"] == "dry").any() else None
    if state:
        readings = readings.filter(pl.col("state") == state)
    stops, points, mean, count = cells(readings)
    sigma = noise(readings, mean, assumed)
    bad = outlying(mean, min(sigma.value, 4 * assumed), least=least)
    for r, p in np.argwhere(bad):
        findings.append(
            finding(
                "wear_reading_impossible",
                f"{spoken(part.name)} {quantity} at point {points[p]} after stop {stops[r]} fits neither the other points "
                "nor the readings before and after; the reading is left out",
                evidence={"after_stop": stops[r], "point": points[p], "value_si": float(mean[r, p])},
            )
        )
    if bad.any():
        mean, count = np.where(bad, np.nan, mean), np.where(bad, 0, count)
        sigma = noise(readings, mean, assumed)
    kept = ~np.isnan(mean).all(axis=1)
    stops, mean, count = [s for s, k in zip(stops, kept, strict=True) if k], mean[kept], count[kept]
    if len(stops) < 2:
        return None
    weights = np.zeros((len(stops) - 1, *mean.shape))
    details = []
    for k in range(len(stops) - 1):
        shared = ~np.isnan(mean[k]) & ~np.isnan(mean[k + 1])
        first, second = (shared, shared) if shared.any() else (~np.isnan(mean[k]), ~np.isnan(mean[k + 1]))
        if not shared.any():
            findings.append(
                finding(
                    "wear_points_differ",
                    f"{spoken(part.name)} {quantity}: the readings after stops {stops[k]} and {stops[k + 1]} share no point; "
                    "the difference of their means is used",
                    evidence={"from_stop": stops[k], "to_stop": stops[k + 1]},
                )
            )
        weights[k, k] = first / first.sum()
        weights[k, k + 1] = -1.0 * second / second.sum()
        loss = (mean[k] - mean[k + 1]) * scale
        details.append(_point_detail(points, loss, quantity))
    flat = weights.reshape(len(weights), -1)
    variance = np.where(count > 0, sigma.value**2 / np.maximum(count, 1), 0.0).ravel()
    wear = flat @ np.nan_to_num(mean).ravel() * scale
    covariance = (flat * variance) @ flat.T * scale**2
    result = Intervals(
        from_stop=np.array(stops[:-1]),
        to_stop=np.array(stops[1:]),
        wear=wear,
        covariance=covariance,
        dof=sigma.dof,
        source=sigma.source,
        details=details,
        findings=findings,
    )
    _negative(result, part, quantity)
    return result


def _point_detail(points, loss, quantity) -> dict:
    known = ~np.isnan(loss)
    detail: dict = {"from": quantity}
    if known.sum() > 1:
        detail["points_um"] = {p: float(v) for p, v, k in zip(points, loss, known, strict=True) if k}
        detail["taper_um"] = float(np.nanmax(loss) - np.nanmin(loss))
    return detail


def _negative(result: Intervals, part: Component, quantity: str) -> None:
    for k in np.flatnonzero(result.wear < -3 * result.u):
        result.findings.append(
            finding(
                "wear_negative",
                f"{spoken(part.name)}: {quantity} grew by {-result.wear[k]:.1f} um between stops {result.from_stop[k]} and "
                f"{result.to_stop[k]}, beyond its uncertainty of {result.u[k]:.1f} um: swelling, moisture, a hot or "
                "misread part; kept as it is",
                evidence={"wear_um": float(result.wear[k]), "u_um": float(result.u[k])},
            )
        )
