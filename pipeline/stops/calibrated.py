"""The rig's calibrations in the results of a test: which were applied, what they add to the uncertainty, what is told."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from pipeline.archive.card import Card
from pipeline.archive.rigs import Calibration, Rig, in_effect
from pipeline.findings import Finding, finding
from pipeline.inputs.model import load
from pipeline.method import Method
from pipeline.results.summary import Calibrated, Share
from pipeline.stops.uncertainty import COUNTED_AS_0, Gains

BAR = 1e5


def calibrations_of(card: Card, rig: Path | None, method: Method) -> tuple[Calibration, ...]:
    """What the card's rig file holds for the test's date; nothing where the method wants none applied."""
    if rig is None or not method.conditioning.calibrations:
        return ()
    return in_effect(load(rig, Rig), card.date)


def with_calibrations(gains: Gains, calibrations: Sequence[Calibration]) -> Gains:
    """The gains with the calibrations' own uncertainties: relative for gains, beside the sensor's limits for zeros."""
    u = {one.quantity: (one.u or 0.0) / (one.value if one.quantity.endswith("gain") else 1.0) for one in calibrations}
    return replace(
        gains,
        torque_calibration=u.get("torque_gain", 0.0),
        pressure_calibration=u.get("pressure_gain", 0.0),
        torque_zero=math.hypot(gains.torque_zero, u.get("torque_zero", 0.0)),
        pressure_zero=math.hypot(gains.pressure_zero, u.get("pressure_zero", 0.0)),
    )


def budget_rows(calibrations: Sequence[Calibration]) -> list[Share]:
    """Their parts of the budget of mu, common to all stops."""
    rows = []
    for one in calibrations:
        source = f"{one.quantity}, calibration of {one.found}"
        if one.quantity.endswith("gain"):
            why = None if one.u is not None else f"no uncertainty stated: {COUNTED_AS_0}"
            u = None if one.u is None else one.u / one.value
            rows.append(Share(source=source, relative_u=u, part="common", note=why, why=why))
        else:
            why = "what is read at rest is taken off after it; it counts in the stops without such a reading"
            rows.append(Share(source=source, part="common", why=why))
    return rows


def listed(calibrations: Sequence[Calibration]) -> list[Calibrated]:
    """As they stand in summary.json, in the units of the edges."""
    return [
        Calibrated(
            quantity=one.quantity,
            value=one.value / _scale(one),
            u=None if one.u is None else one.u / _scale(one),
            unit=_unit(one),
            found=one.found.isoformat(),
            since=one.since.isoformat(),
            later=list(one.later),
        )
        for one in calibrations
    ]


def told(calibrations: Sequence[Calibration], *, applied: bool = True) -> list[Finding]:
    """calibration_applied of each; calibration_not_applied where only reduced rows were kept."""
    found = []
    for one, row in zip(calibrations, listed(calibrations), strict=True):
        channel = one.quantity.split("_")[0]
        unit = "" if row.unit == "1" else f" {row.unit}"
        done = "divided by" if one.quantity.endswith("gain") else "less"
        u = f"u {row.u:.3g}{unit}" if row.u is not None else "no uncertainty stated: counted as 0"
        text = (
            f"{channel} readings {done} {row.value:.6g}{unit} ({u}): found on {row.found}, in effect from {row.since}"
        )
        if one.later:
            text += f"; {' and '.join(one.later)} came later and may have ended it: state the figure there, or an until"
        if not applied:
            text = f"only reduced rows were kept, so these are not corrected: {text}"
        code = "calibration_applied" if applied else "calibration_not_applied"
        found.append(finding(code, text, channel=channel, evidence=row.model_dump()))
    return found


def told_of_refused(why: str | None) -> list[Finding]:
    """Where the rig's file is left out, nobody knows what it would have corrected."""
    if not why:
        return []
    text = f"the rig's file is left out, so torque and pressure are as read, whatever it says of calibrations: {why}"
    return [finding("calibration_not_applied", text, severity="suspect", evidence={"why": why})]


def _scale(one: Calibration) -> float:
    return BAR if one.quantity == "pressure_zero" else 1.0


def _unit(one: Calibration) -> str:
    return {"torque_zero": "N m", "pressure_zero": "bar"}.get(one.quantity, "1")
