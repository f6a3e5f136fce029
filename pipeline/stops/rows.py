"""A braking in its stretch -> its row of the stops table, its trace, its findings."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pipeline.conditioning.conditioned import ConditionedStop
from pipeline.conditioning.corrections import Corrections
from pipeline.conditioning.survey import Braking
from pipeline.constants import RPM, ZERO_C
from pipeline.findings import Finding, Severity, finding
from pipeline.method.reduction import Reduction
from pipeline.stops.reduction import (
    Friction,
    Interval,
    Setup,
    friction_of,
    mechanics,
    ripple_columns,
    temperatures,
)
from pipeline.stops.traces import no_trace, trace_of
from pipeline.stops.uncertainty import Gains, combined

ZERO_SHARE = 0.01  # of the level
DOUBTFUL_SHARE = 0.04  # of the level: what a lone reading may take off unasked
IMPOSSIBLE_MU = 3.0  # no number worth giving


@dataclass(frozen=True)
class Context:
    """What is the same for every stop of a test."""

    setup: Setup
    corrections: Corrections
    gains: Gains
    reduction: Reduction
    temperature_u: float | None


@dataclass(frozen=True)
class Reduced:
    row: dict[str, Any]
    trace: dict[str, np.ndarray]
    findings: list[Finding]


def reduced(context: Context, stop: ConditionedStop) -> Reduced:
    """Row, trace and findings of one braking; the findings without stop and file."""
    b, samples, found = stop.braking, stop.samples, list(stop.findings)
    row = _head(stop)
    if samples is None:
        return Reduced(row | {"duration_s": None}, no_trace(), found)
    at = interval_of(stop)
    drive = stop.recorded.get("drive_torque") if context.setup.inertia_mechanical is not None else None
    row |= mechanics(samples, context.setup, at, drive_torque=drive)
    friction = friction_of(samples, context.setup, at, control=stop.control, step=b.step)
    row |= friction.columns
    row |= temperatures(
        stop.around["time"], stop.around["disc_temperature"], start=b.start_s, end=b.end_s, window=friction.window
    )
    row |= _zeros(context, stop) | ripple_columns(samples, friction.window) | _second_pressure(stop, friction)
    if (ambient := stop.ambient) is not None:
        row["ambient_c"] = ambient - ZERO_C
    row |= _uncertainties(context, stop, friction, row)
    found += _zero_moved(context, stop, row) + _judged(context, row, friction)
    return Reduced(row, trace_of(samples, friction, b, stop.recorded["disc_temperature"]), found)


def interval_of(stop: ConditionedStop) -> Interval:
    b, block = stop.braking, stop.block
    wanted_end = block.speed_end if block is not None and stop.kind != "drag" else None
    return Interval(b.start_s, b.end_s, b.speed_start, b.speed_end, stop.kind, wanted_end)


def friction_within(context: Context, stop: ConditionedStop) -> Friction | None:
    """mu over one braking and its window, as its row has it; None without a time base."""
    if stop.samples is None:
        return None
    return friction_of(stop.samples, context.setup, interval_of(stop), control=stop.control, step=stop.braking.step)


def _times(b: Braking) -> dict[str, Any]:
    return {
        "start_s": b.start_s,
        "end_s": b.end_s,
        "duration_s": b.end_s - b.start_s,
        "speed_start_rpm": b.speed_start * RPM,
        "speed_end_rpm": b.speed_end * RPM,
    }


def _head(stop: ConditionedStop) -> dict[str, Any]:
    block = stop.block
    target = block.pressure / 1e5 if block is not None and block.pressure is not None else None
    wanted = block.initial_temperature if block is not None else None
    return _times(stop.braking) | {
        "kind": stop.kind,
        "control": stop.control,
        "target_pressure_bar": target,
        "target_temperature_c": wanted - ZERO_C if wanted is not None else None,
    }


def _zeros(context: Context, stop: ConditionedStop) -> dict[str, Any]:
    b = stop.braking
    return {
        "pressure_rest_bar": b.rest.value / 1e5 if b.rest else None,
        "torque_rest_nm": context.corrections.sign * b.torque_rest.value if b.torque_rest else None,
        "torque_zero_own_nm": stop.zero.torque,
        "lag_s": b.lag if b.lag_clear else None,
    }


def _second_pressure(stop: ConditionedStop, friction: Friction) -> dict[str, Any]:
    """Mean of the second pressure sensor over the window, above its own value at rest; null without one."""
    values = stop.recorded.get("pressure_2")
    inside = values[friction.inside] if values is not None and friction.window is not None else np.empty(0)
    inside = inside[np.isfinite(inside)]
    return {"pressure_2_bar": float(inside.mean() - stop.pressure_2_rest) / 1e5 if inside.size else None}


def _uncertainties(context: Context, stop: ConditionedStop, friction: Friction, row: dict[str, Any]) -> dict[str, Any]:
    """Standard uncertainties of mu and its parts, of the energy ratio (inertia taken as exact) and of temperatures."""
    own, zero, gains = stop.zero, context.corrections.zero, context.gains
    test_u = zero.u_rest if context.setup.drag_correction or not np.isfinite(zero.u_offset) else zero.u_offset
    test_u = test_u if own.torque_known else gains.torque_zero
    result = dict.fromkeys(("mu_u", "mu_u_common", "mu_u_stop", "mu_u_scatter", "energy_ratio_u"))
    result |= _temperature_uncertainties(context, row)
    if row["energy_ratio"] is not None:
        gain = float(np.hypot(gains.torque, gains.torque_calibration))
        zero_work = float(np.hypot(own.torque_u, test_u)) * row["angle_rad"]
        result["energy_ratio_u"] = float(np.hypot(gain, zero_work / (1e3 * row["energy_kj"]))) * row["energy_ratio"]
    mu = friction.columns.get("mu")
    if mu is None or not np.isfinite(mu):
        return result
    total, common, part = combined(
        mu,
        gains,
        torque=friction.torque,
        pressure=friction.pressure,
        torque_zero_stop=own.torque_u,
        torque_zero_test=test_u,
        pressure_zero_stop=own.pressure_u,
        pressure_zero_test=context.corrections.pressure_rest_u if own.pressure_known else gains.pressure_zero,
        scatter=friction.scatter if np.isfinite(friction.scatter) else 0.0,
    )
    return result | {"mu_u": total, "mu_u_common": common, "mu_u_stop": part, "mu_u_scatter": friction.scatter}


def _temperature_uncertainties(context: Context, row: dict[str, Any]) -> dict[str, Any]:
    """Of the start: the sensor's; of the end as well what the thermocouple lags behind a disc that warms at this
    rate.
    """
    sensor, rate = context.temperature_u, row.get("temperature_rate_k_s")
    lag = abs(rate) * context.reduction.thermocouple_lag / np.sqrt(3) if rate is not None else None
    end = float(np.hypot(sensor or 0.0, lag)) if lag is not None else None
    return {"temperature_initial_u_k": sensor, "temperature_end_u_k": end}


def _zero_moved(context: Context, stop: ConditionedStop, row: dict[str, Any]) -> list[Finding]:
    """A zero reading of this stop's own that is worth more than one percent of its mu."""
    own, found = stop.zero, []
    torque, pressure = row.get("torque_nm"), row.get("pressure_bar")
    moved_by = own.pressure - context.corrections.pressure_rest
    for name, value, u, level, unit, alone in (
        ("torque", own.torque, own.torque_u, torque, "N m", own.torque_alone),
        ("pressure", moved_by / 1e5, own.pressure_u / 1e5, pressure, "bar", own.pressure_alone),
    ):
        if not level or abs(value) <= max(ZERO_SHARE * abs(level), 5 * u):
            continue
        doubtful = alone and abs(value) > DOUBTFUL_SHARE * abs(level)
        text = f"zero of {name} stands {value:+.3g} {unit} beside the test's; subtracted"
        if doubtful:
            text += f", but only in this stop: {name} may really have been there"
        evidence = {"own": value, "u": u, "unit": unit, "share_of_level": abs(value / level), "alone": alone}
        severity: Severity | None = "suspect" if doubtful else None
        found.append(finding("zero_moved", text, severity=severity, channel=name, evidence=evidence))
    return found


def _judged(context: Context, row: dict[str, Any], friction: Friction) -> list[Finding]:
    """Findings about the figures themselves."""
    if friction.why is not None:
        return [
            finding(
                "window_short",
                f"no friction coefficient: {friction.why}",
                evidence={"pressure_plateau_bar": row.get("pressure_plateau_bar")},
            )
        ]
    mu, found = row["mu"], []
    low, high = context.reduction.plausible_mu
    if mu is None or not np.isfinite(mu) or not low <= mu <= high:
        shown = f"{mu:.4g}" if mu is not None else "no number"
        impossible = mu is None or not 0 < mu < IMPOSSIBLE_MU
        found.append(
            finding(
                "mu_implausible",
                f"a friction coefficient of {shown} is none: look at units, torque and pressure",
                severity="rejected" if impossible else None,
                evidence={"mu": mu, "low": low, "high": high},
            )
        )
    averages = [row["mu_time"], row["mu_distance"], row["mu_energy"]]
    spread = max(averages) - min(averages)
    if row["mu_u"] is not None and spread > max(row["mu_u"], 0.005 * abs(mu)):
        evidence = {"mu_time": averages[0], "mu_distance": averages[1], "mu_energy": averages[2], "mu_u": row["mu_u"]}
        found.append(
            finding(
                "averages_differ",
                f"the three averages of mu lie {spread:.3f} apart: which is shown matters here",
                evidence=evidence,
            )
        )
    for order in (1, 2):
        share, u = row[f"ripple_{order}_pct"], row[f"ripple_{order}_u_pct"]
        if share is not None and share > 100 * context.reduction.ripple_limit and share > 4 * u:
            found.append(
                finding(
                    "torque_ripple",
                    f"torque ripples by {share:.1f} % once each {'turn' if order == 1 else 'half turn'}",
                    channel="torque",
                    evidence={"order": order, "share_pct": share, "u_pct": u},
                )
            )
    return found


def placed_at(found: list[Finding], stop: int, file: str) -> list[Finding]:
    return [replace(f, stop=stop, file=file) for f in found]
