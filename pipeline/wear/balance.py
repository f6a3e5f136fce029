"""Mass against thickness: two measures of one loss, and what it means when they part.

(mass loss / (density x area)) over thickness loss is 1 for wear off the faces. Well above 1, 15 to 20 % or more (common
practice), the disc loses carbon inside: an index of oxidation. Mass that moves by 0.1 to 0.5 % beside the thickness is
moisture: porous carbon takes it up in storage, so only readings dried before weighing make the index.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.findings import Finding, finding
from pipeline.results.model import Interval
from pipeline.wear.components import Component, spoken
from pipeline.wear.intervals import cells
from pipeline.wear.noise import noise
from pipeline.wear.rates import coverage_factor

INNER_OXIDATION, PICK_UP = 1.15, 0.85
MOISTURE = (0.001, 0.006)


def compare(
    readings: pl.DataFrame, part: Component, *, assumed_thickness: float, assumed_mass: float, confidence: float
) -> tuple[Interval | None, str | None, list[Finding]]:
    """(mass_to_thickness or None, why none or what to mind, findings) of one component.

    readings: the component's rows of `read_wear`.
    """
    thickness = readings.filter(pl.col("quantity") == "thickness")
    mass = readings.filter(pl.col("quantity") == "mass")
    if not mass.height:
        return None, "no mass was read", []
    findings = _uptake(mass, part)
    dry, unsaid = mass.filter(pl.col("state") == "dry"), mass.filter(pl.col("state").is_null())
    note, used = None, dry
    if dry["after_stop"].n_unique() < 2:
        used = unsaid
        note = "the readings' state is not said: moisture may be in it"
        if unsaid["after_stop"].n_unique() < 2:
            findings += [_not_dry(part)]
            return None, "mass was not read dry twice", findings + _moisture(thickness, mass, part)
    if note:
        findings += _moisture(thickness, used, part)
    if not (part.density and part.area):
        return None, "the card gives no density or no friction area of the part", findings
    ratio, why = _ratio(thickness, used, part, assumed_thickness, assumed_mass, confidence)
    if ratio:
        findings += _judged(ratio, part)
    return ratio, why or note, findings


def _ratio(
    thickness: pl.DataFrame,
    mass: pl.DataFrame,
    part: Component,
    assumed_thickness: float,
    assumed_mass: float,
    confidence: float,
) -> tuple[Interval | None, str | None]:
    both = sorted(set(thickness["after_stop"]) & set(mass["after_stop"]))
    if len(both) < 2:
        return None, "mass and thickness were not both read twice at the same stops"
    first, last = both[0], both[-1]
    t_loss, t_u, t_dof = _loss(thickness, first, last, assumed_thickness)
    m_loss, m_u, m_dof = _loss(mass, first, last, assumed_mass)
    assert part.density and part.area  # asked before
    m_loss, m_u = m_loss / (part.density * part.area), m_u / (part.density * part.area)
    if t_loss < 4 * t_u or t_loss <= 0:
        return None, f"the thickness loss of {t_loss * 1e6:.1f} um is too small beside its uncertainty"
    value = m_loss / t_loss
    u = np.hypot(m_u, value * t_u) / t_loss
    dof = min(t_dof, m_dof)
    q = coverage_factor(confidence, dof)
    return Interval(value=value, low=float(value - q * u), high=float(value + q * u)), None


def _loss(readings: pl.DataFrame, first: int, last: int, assumed: float) -> tuple[float, float, float]:
    """Mean loss over the points that both readings have, its standard uncertainty and degrees of freedom; SI."""
    stops, _, mean, count = cells(readings)
    sigma = noise(readings, mean, assumed)
    a, b = stops.index(first), stops.index(last)
    shared = ~np.isnan(mean[a]) & ~np.isnan(mean[b])
    if not shared.any():
        return float(np.nanmean(mean[a]) - np.nanmean(mean[b])), float("inf"), sigma.dof
    loss = float((mean[a, shared] - mean[b, shared]).mean())
    variance = sigma.of_means(count[[a, b]][:, shared]).sum() / shared.sum() ** 2 + 2 * sigma.shared
    return loss, float(np.sqrt(variance)), sigma.dof


def _judged(ratio: Interval, part: Component) -> list[Finding]:
    name = spoken(part.name)
    value, low, high = ratio.value, ratio.low, ratio.high
    assert value is not None and low is not None and high is not None
    evidence = {"mass_to_thickness": value, "low": low, "high": high}
    if low > 1.0 and value >= INNER_OXIDATION:
        text = f"{name}: mass fell {value:.2f} times as much as the thickness tells: oxidation inside, a lost fragment"
        return [finding("wear_mass_thickness", f"{text} or chipped edges", evidence=evidence)]
    if high < 1.0 and value <= PICK_UP:
        text = f"{name}: mass fell only {value:.2f} times what the thickness tells: something was picked up"
        return [
            finding(
                "wear_mass_thickness",
                f"{text} (moisture, cement, transfer) or density or area are wrong",
                evidence=evidence,
            )
        ]
    return []


def _not_dry(part: Component) -> Finding:
    return finding(
        "wear_not_dry", f"{spoken(part.name)}: mass was read as found, not dry: it is not set against thickness"
    )


def _uptake(mass: pl.DataFrame, part: Component) -> list[Finding]:
    """Moisture seen directly: a part weighed dry and as found after the same stop."""
    table = mass.filter(pl.col("state").is_not_null()).group_by("after_stop", "state").agg(pl.col("value").mean())
    wide = table.pivot("state", index="after_stop", values="value")
    if not {"dry", "as_found"} <= set(wide.columns):
        return []
    wide = wide.drop_nulls().with_columns(share=(pl.col("as_found") - pl.col("dry")) / pl.col("dry"))
    wet = wide.filter(pl.col("share") >= MOISTURE[0]).sort("after_stop")
    if not wet.height:
        return []
    most = float(wet["share"].to_numpy().max())
    return [
        finding(
            "wear_moisture",
            f"{spoken(part.name)}: up to {100 * most:.2f} % heavier as found than dry: moisture; the dry "
            "readings are used",
            evidence={"share": most, "after_stop": wet["after_stop"].to_list()},
        )
    ]


def _moisture(thickness: pl.DataFrame, mass: pl.DataFrame, part: Component) -> list[Finding]:
    """Readings not said to be dry whose mass moved, beside the thickness, by the size of moisture uptake."""
    if not (part.density and part.area) or not thickness.height:
        return []
    t_stops, _, t_mean, _ = cells(thickness)
    m_stops, _, m_mean, _ = cells(mass)
    both = [s for s in t_stops if s in m_stops]
    if len(both) < 2:
        return []
    height = np.array([np.nanmean(t_mean[t_stops.index(s)]) for s in both])
    weight = np.array([np.nanmean(m_mean[m_stops.index(s)]) for s in both])
    beside = np.diff(weight - part.density * part.area * height) / weight[0]
    # A loss inside the disc only ever takes mass away, step after step: a gain, or a swing, is moisture.
    moved = (np.abs(beside) >= MOISTURE[0]) & (np.abs(beside) <= MOISTURE[1])
    suspect = moved & ((beside > 0) | (len(beside) > 1 and (beside > MOISTURE[0]).any()))
    if not suspect.any():
        return []
    k = int(np.argmax(np.where(suspect, np.abs(beside), 0)))
    return [
        finding(
            "wear_moisture",
            f"{spoken(part.name)}: between stops {both[k]} and {both[k + 1]} the mass moved by "
            f"{100 * beside[k]:+.2f} % beside the "
            "thickness, the size of moisture uptake, and was not read dry",
            evidence={"share": float(beside[k]), "from_stop": both[k], "to_stop": both[k + 1]},
        )
    ]
