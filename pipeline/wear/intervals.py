"""Wear per interval between readings, with the covariance that shared readings bring.

The loss of an interval is the mean over the points that both readings have. Neighbouring intervals share a reading,
so their errors are opposed: the whole covariance goes into every fit, not the errors alone. The noise of one point's
reading: `pipeline.wear.noise`; what the laws' residuals show beyond it is put in by `with_occasions`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
import polars as pl

from pipeline.findings import Finding, finding
from pipeline.wear.components import Component, spoken
from pipeline.wear.noise import noise, usual
from pipeline.wear.readings import outlying


class AtPoints(NamedTuple):
    """What the loss of an interval was read from, and where several points were read the loss at each (um)."""

    measured_by: str
    points_um: dict[str, float] | None = None
    taper_um: float | None = None


@dataclass(frozen=True)
class Intervals:
    """Thickness loss of one component per interval. wear in um [K]; covariance in um^2 [K, K].

    single_um: noise of one reading of one point; residual: (variance, dof) of the chosen law's whitened residuals, by
    which what is said of the readings themselves is widened (None: by the noise's own dof); last: what the last of the
    readings that were kept says at each point [P], m or kg, NaN where it has none.
    """

    from_stop: np.ndarray
    to_stop: np.ndarray
    wear: np.ndarray
    covariance: np.ndarray
    dof: float
    source: str
    points: list[AtPoints] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    single_um: float = 0.0
    residual: tuple[float, float] | None = None
    last: np.ndarray = field(default_factory=lambda: np.empty(0))

    @property
    def assumed(self) -> bool:
        """Whether the noise's size is the method's and not the readings'."""
        return self.source.startswith("assumed")

    @property
    def occasions(self) -> np.ndarray:
        """Covariance [K, K] of the losses per unit variance of what is common to all readings of an occasion."""
        at = np.unique(np.concatenate([self.from_stop, self.to_stop]))
        sign = (self.from_stop[:, None] == at).astype(float) - (self.to_stop[:, None] == at)
        return sign @ sign.T

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


def intervals(
    readings: pl.DataFrame, part: Component, *, assumed_thickness: float, assumed_mass: float, last_stop: float
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
                f"{last_stop:g}; that interval is given but no law is fitted to it",
                evidence={"after_stop": int(result.to_stop.max()), "run": last_stop},
            )
        )
    return result


def _losses(
    readings: pl.DataFrame, part: Component, assumed: float, scale: float, quantity: str, least: float
) -> Intervals | None:
    """Losses of one quantity in um (scale takes m or kg there)."""
    findings: list[Finding] = []
    state = "dry" if quantity == "mass" and (readings["state"] == "dry").any() else None
    if state:
        readings = readings.filter(pl.col("state") == state)
    stops, points, mean, count = cells(readings)
    sigma = noise(readings, mean, assumed)
    bad = outlying(mean, max(min(sigma.value, 4 * assumed), usual(readings, mean)), least=least)
    for r, p in np.argwhere(bad):
        findings.append(
            finding(
                "wear_reading_impossible",
                f"{spoken(part.name)} {quantity} at point {points[p]} after stop {stops[r]} fits neither the "
                "other points "
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
    at_points = []
    for k in range(len(stops) - 1):
        shared = ~np.isnan(mean[k]) & ~np.isnan(mean[k + 1])
        first, second = (shared, shared) if shared.any() else (~np.isnan(mean[k]), ~np.isnan(mean[k + 1]))
        if not shared.any():
            findings.append(
                finding(
                    "wear_points_differ",
                    f"{spoken(part.name)} {quantity}: the readings after stops {stops[k]} and {stops[k + 1]} share "
                    "no point; "
                    "the difference of their means is used",
                    evidence={"from_stop": stops[k], "to_stop": stops[k + 1]},
                )
            )
        weights[k, k] = first / first.sum()
        weights[k, k + 1] = -1.0 * second / second.sum()
        loss = (mean[k] - mean[k + 1]) * scale
        at_points.append(_at_points(points, loss, quantity))
    flat = weights.reshape(len(weights), -1)
    wear = flat @ np.nan_to_num(mean).ravel() * scale
    at_once = weights.sum(axis=2)
    covariance = ((flat * sigma.of_means(count).ravel()) @ flat.T + sigma.shared * at_once @ at_once.T) * scale**2
    result = Intervals(
        from_stop=np.array(stops[:-1]),
        to_stop=np.array(stops[1:]),
        wear=wear,
        covariance=covariance,
        dof=sigma.dof,
        source=sigma.source,
        points=at_points,
        findings=findings,
        single_um=float(np.sqrt(sigma.value**2 + sigma.stuck)) * scale,
        last=mean[-1],
    )
    _negative(result, part, quantity)
    return result


def _at_points(points: list[str], loss: np.ndarray, quantity: str) -> AtPoints:
    known = ~np.isnan(loss)
    if known.sum() < 2:
        return AtPoints(quantity)
    by_point = {p: float(v) for p, v, k in zip(points, loss, known, strict=True) if k}
    return AtPoints(quantity, by_point, float(np.nanmax(loss) - np.nanmin(loss)))


def _negative(result: Intervals, part: Component, quantity: str) -> None:
    for k in np.flatnonzero(result.wear < -3 * result.u):
        result.findings.append(
            finding(
                "wear_negative",
                f"{spoken(part.name)}: {quantity} grew by {-result.wear[k]:.1f} um between stops "
                f"{result.from_stop[k]} and "
                f"{result.to_stop[k]}, beyond its uncertainty of {result.u[k]:.1f} um: swelling, moisture, a hot or "
                "misread part; kept as it is",
                evidence={"wear_um": float(result.wear[k]), "u_um": float(result.u[k])},
            )
        )


def with_occasions(measured: Intervals, scatter_um: float, residual: tuple[float, float] | None) -> Intervals:
    """The intervals with a scatter common to each occasion's readings that the chosen law's residuals show, and what
    these say of the noise's size: (variance, degrees of freedom)."""
    if not scatter_um:
        return replace(measured, residual=residual)
    return replace(
        measured,
        covariance=measured.covariance + scatter_um**2 * measured.occasions,
        source=f"{measured.source}, and {scatter_um:.1f} um common to an occasion's readings, as the law's "
        "residuals show",
        residual=residual,
    )
