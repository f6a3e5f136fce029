"""A braking in its stretch -> its row of the stops table, its trace, its findings."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from pipeline.archive.card import Block
from pipeline.conditioning.corrections import Conditioned, Corrections, conditioned
from pipeline.conditioning.faults.against_torque import coarse_values, pressure_jumps, pressure_losses, torque_losses
from pipeline.conditioning.faults.cut_short import speed_jumps, torque_without_pressure
from pipeline.conditioning.faults.samples import braking_faults, reversed_torque, spikes, without_spikes
from pipeline.conditioning.rest import reading
from pipeline.conditioning.stretches import Stretch
from pipeline.conditioning.survey import Braking
from pipeline.conditioning.time_base import median_known
from pipeline.findings import Finding, Severity, finding
from pipeline.method.conditioning import Conditioning
from pipeline.method.reduction import Reduction
from pipeline.stops.evaluation_window import END_MARGIN
from pipeline.stops.reduction import (
    KELVIN,
    RPM,
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

MARGIN_S = 1.0  # of samples before and after a braking that its filter may lean on
ZERO_SHARE = 0.01  # of the level
ONSET_PA = 1.0e5  # about where braking is taken to begin
DOUBTFUL_SHARE = 0.04  # of the level: what a lone reading may take off unasked
IMPOSSIBLE_MU = 3.0  # no number worth giving


@dataclass(frozen=True)
class Context:
    """What is the same for every stop of a test."""

    setup: Setup
    corrections: Corrections
    gains: Gains
    conditioning: Conditioning
    reduction: Reduction
    full_scales: dict[str, float]
    temperature_u: float | None
    simulated: bool  # the drive simulates inertia, so its torque counts in the balance


@dataclass(frozen=True)
class Reduced:
    row: dict[str, Any]
    trace: dict[str, np.ndarray]
    findings: list[Finding]


def reduced(
    context: Context,
    index: int,
    b: Braking,
    stretch: Stretch,
    span: slice,
    before: int,
    after: int,
    block: Block | None,
) -> Reduced:
    """Row, trace and findings of one braking; the findings without stop and file. `index`: among the test's brakings."""
    c, time = stretch.channels, stretch.channels["time"]
    kind = block.kind if block is not None else b.kind
    control = block.control if block is not None else "pressure"
    lead = _row(time, b.start_s - context.conditioning.zero_window - 0.1, before, span.start)
    found = _faults(context, b, c, span, lead, kind, block)
    codes = {f.code for f in found}
    row = _head(b, kind, control, block)
    if "time_backwards" in codes:
        # Without a time base there is no integral either.
        return Reduced(row | {"duration_s": None}, no_trace(), found)
    wide = slice(_row(time, b.start_s - MARGIN_S, before, span.start), _row(time, b.end_s + MARGIN_S, span.stop, after))
    torque, pressure, more = _unspiked(c, wide, span)
    found += more
    own = context.corrections.stops[index]
    if context.corrections.lag and context.corrections.late == "pressure":
        b = moved(b, time[wide], c["speed"][wide], context.corrections.lag)
        row |= _times(b)
    samples = conditioned(
        time[wide], c["speed"][wide], torque, pressure, context.corrections, own, context.conditioning
    )
    wanted_end = block.speed_end if block is not None and kind != "drag" else None
    at = Interval(b.start_s, b.end_s, b.speed_start, b.speed_end, kind, wanted_end)
    drive = c["drive_torque"][wide] if context.simulated and "drive_torque" in c else None
    row |= mechanics(samples, context.setup, at, drive_torque=drive)
    friction = friction_of(samples, context.setup, at, control=control, step=b.step)
    row |= friction.columns
    row |= temperatures(
        time[lead:after], c["disc_temperature"][lead:after], start=b.start_s, end=b.end_s, window=friction.window
    )
    found += torque_without_pressure(
        time[before:after], context.corrections.sign * c["torque"][before:after], start=b.start_s, end=b.end_s,
        plateau=context.corrections.sign * b.torque_plateau,
        lag=context.corrections.lag if context.conditioning.lag_correction else None,
        threshold=min(ONSET_PA / b.plateau, 1.0) if b.plateau > 0 else 1.0, after=not b.ends_by_speed,
    )  # fmt: skip
    for seen in (pressure_jumps, pressure_losses):
        found += seen(time[span], c["pressure"][span], c["torque"][span], plateau=b.plateau)
    sign = context.corrections.sign
    at_rest = sign * b.torque_rest.value if b.torque_rest else 0.0
    found += torque_losses(
        time[span], sign * c["torque"][span] - at_rest, c["pressure"][span] - (b.rest.value if b.rest else 0.0),
        plateau=b.plateau, full=sign * b.torque_plateau - at_rest,
    )  # fmt: skip
    found += coarse_values(c["pressure"][span], c["torque"][span])
    found += speed_jumps(
        time[before:after],
        c["speed"][before:after],
        start=b.start_s,
        end=b.end_s,
        first=b.speed_start,
        last=b.speed_end,
    )
    found += reversed_torque(samples.time, samples.unfiltered, start=b.start_s, end=b.end_s)
    row |= _zeros(b, context, index) | ripple_columns(samples, friction.window)
    if "ambient_temperature" in c:
        row["ambient_c"] = median_known(c["ambient_temperature"][lead:after]) - KELVIN
    row |= _second_pressure(c, samples, wide, slice(lead, span.start), friction)
    row |= _uncertainties(context, index, friction, row)
    found += _zero_moved(context, index, row) + _judged(context, row, friction)
    return Reduced(row, trace_of(samples, friction, b, c["disc_temperature"][wide]), found)


def _row(time: np.ndarray, moment: float, low: int, high: int) -> int:
    return low + int(np.searchsorted(time[low:high], moment)) if high > low else low


def moved(b: Braking, time: np.ndarray, speed: np.ndarray, lag: float) -> Braking:
    """The braking with its moments where the pressure, recorded -`lag` seconds late, truly passed its thresholds.

    An end at the lower speed stays where it is: the speed is not late.
    """
    start, end = b.start_s + lag, b.end_s if b.ends_by_speed else b.end_s + lag
    good = np.isfinite(speed)
    speeds = (float(np.interp(moment, time[good], speed[good])) for moment in (start, end))
    first, last = speeds if good.any() else (b.speed_start, b.speed_end)
    # Before braking the shaft turns steadily: the longer mean is the better one.
    return replace(b, start_s=start, end_s=end, speed_start=b.speed_start if lag < 0 else first, speed_end=last)


def _times(b: Braking) -> dict[str, Any]:
    return {
        "start_s": b.start_s,
        "end_s": b.end_s,
        "duration_s": b.end_s - b.start_s,
        "speed_start_rpm": b.speed_start * RPM,
        "speed_end_rpm": b.speed_end * RPM,
    }


def _head(b: Braking, kind: str, control: str, block: Block | None) -> dict[str, Any]:
    target = block.pressure / 1e5 if block is not None and block.pressure is not None else None
    wanted = block.initial_temperature if block is not None else None
    return _times(b) | {
        "kind": kind,
        "control": control,
        "target_pressure_bar": target,
        "target_temperature_c": wanted - KELVIN if wanted is not None else None,
    }


def _zeros(b: Braking, context: Context, index: int) -> dict[str, Any]:
    sign = context.corrections.sign
    return {
        "pressure_rest_bar": b.rest.value / 1e5 if b.rest else None,
        "torque_rest_nm": sign * b.torque_rest.value if b.torque_rest else None,
        "torque_zero_own_nm": context.corrections.stops[index].torque,
        "lag_s": b.lag if b.lag_height >= 0.6 else None,
    }


def ends_short(b: Braking, block: Block | None) -> bool:
    """Whether a recording that ends with the brake applied ends before the braking had done what the schedule wants."""
    if not b.ends_inside or block is None:
        return b.ends_inside
    if block.kind == "drag":
        return block.duration is None or b.end_s - b.start_s < 0.95 * block.duration
    return b.speed_end > block.speed_end + END_MARGIN * block.speed_start


def _faults(
    context: Context, b: Braking, c: dict[str, np.ndarray], span: slice, lead: int, kind: str, block: Block | None
) -> list[Finding]:
    torque = c["torque"][span]
    energy = float(np.nansum(np.abs(torque) * c["speed"][span]) * (b.step if np.isfinite(b.step) else 0.0))
    return braking_faults(
        c, span, lead, gap_periods=context.conditioning.gap_periods, step=b.step, full_scales=context.full_scales,
        energy=energy, begins_inside=b.begins_inside, ends_inside=ends_short(b, block), moving=kind != "drag",
    )  # fmt: skip


def _unspiked(c: dict[str, np.ndarray], wide: slice, span: slice) -> tuple[np.ndarray, np.ndarray, list[Finding]]:
    """Torque and pressure with single wild samples bridged, each bridged channel a finding."""
    found, result = [], []
    for name in ("torque", "pressure"):
        values = c[name][wide]
        at = spikes(values)
        result.append(without_spikes(values, at))
        inside = at[(at + wide.start >= span.start) & (at + wide.start < span.stop)]
        if inside.size:
            time = c["time"][wide]
            found.append(
                finding(
                    "spike", f"{inside.size} wild samples of {name} are left out", channel=name,
                    start_s=float(time[inside[0]]), end_s=float(time[inside[-1]]),
                    evidence={"samples": int(inside.size), "worst_si": float(values[inside][np.argmax(np.abs(values[inside]))])},
                )
            )  # fmt: skip
    return result[0], result[1], found


def _second_pressure(
    c: dict[str, np.ndarray], samples: Conditioned, wide: slice, quiet: slice, friction: Friction
) -> dict[str, Any]:
    """Mean of the second pressure sensor over the window, above its own value at rest; null without one."""
    if "pressure_2" not in c or friction.window is None:
        return {"pressure_2_bar": None}
    rest = reading(c["pressure_2"][quiet])
    inside = c["pressure_2"][wide][friction.inside]
    inside = inside[np.isfinite(inside)]
    if not inside.size:
        return {"pressure_2_bar": None}
    return {"pressure_2_bar": float(inside.mean() - (rest.value if rest else 0.0)) / 1e5}


def _uncertainties(context: Context, index: int, friction: Friction, row: dict[str, Any]) -> dict[str, Any]:
    """Standard uncertainties of mu and its parts, of the energy ratio (inertia taken as exact) and of temperatures."""
    own, zero, gains = context.corrections.stops[index], context.corrections.zero, context.gains
    test_u = zero.u_rest if context.setup.drag_correction or not np.isfinite(zero.u_offset) else zero.u_offset
    test_u = test_u if own.torque_known else gains.torque_zero
    result = dict.fromkeys(("mu_u", "mu_u_common", "mu_u_stop", "mu_u_scatter", "energy_ratio_u"))
    result |= _temperature_uncertainties(context, row)
    if row["energy_ratio"] is not None:
        zero_work = float(np.hypot(own.torque_u, test_u)) * row["angle_rad"]
        result["energy_ratio_u"] = (
            float(np.hypot(gains.torque, zero_work / (1e3 * row["energy_kj"]))) * row["energy_ratio"]
        )
    mu = friction.columns.get("mu")
    if mu is None or not np.isfinite(mu):
        return result
    total, common, part = combined(
        mu, gains, torque=friction.torque, pressure=friction.pressure,
        torque_zero_stop=own.torque_u, torque_zero_test=test_u,
        pressure_zero_stop=own.pressure_u,
        pressure_zero_test=context.corrections.pressure_rest_u if own.pressure_known else gains.pressure_zero,
        scatter=friction.scatter if np.isfinite(friction.scatter) else 0.0,
    )  # fmt: skip
    return result | {"mu_u": total, "mu_u_common": common, "mu_u_stop": part, "mu_u_scatter": friction.scatter}


def _temperature_uncertainties(context: Context, row: dict[str, Any]) -> dict[str, Any]:
    """Of the start: the sensor's; of the end as well what the thermocouple lags behind a disc that warms at this rate."""
    sensor, rate = context.temperature_u, row.get("temperature_rate_k_s")
    lag = abs(rate) * context.reduction.thermocouple_lag / np.sqrt(3) if rate is not None else None
    end = float(np.hypot(sensor or 0.0, lag)) if lag is not None else None
    return {"temperature_initial_u_k": sensor, "temperature_end_u_k": end}


def _zero_moved(context: Context, index: int, row: dict[str, Any]) -> list[Finding]:
    """A zero reading of this stop's own that is worth more than one percent of its mu."""
    own, found = context.corrections.stops[index], []
    torque, pressure = row.get("torque_nm"), row.get("pressure_bar")
    moved_by = own.pressure - context.corrections.pressure_rest
    for name, value, u, level, unit, alone in (
        ("torque", own.torque, own.torque_u, torque, "N m", own.torque_alone),
        ("pressure", moved_by / 1e5, own.pressure_u / 1e5, pressure, "bar", own.pressure_alone),
    ):
        if not level or abs(value) <= max(ZERO_SHARE * abs(level), 5 * u):
            continue
        doubtful = alone and abs(value) > DOUBTFUL_SHARE * abs(level)
        text = f"zero of {name} stands {value:+.3g} {unit} beside the test's; taken off"
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
            finding("averages_differ", f"the three averages of mu lie {spread:.3f} apart: which is shown matters here", evidence=evidence)
        )  # fmt: skip
    for order in (1, 2):
        share, u = row[f"ripple_{order}_pct"], row[f"ripple_{order}_u_pct"]
        if share is not None and share > 100 * context.reduction.ripple_limit and share > 4 * u:
            found.append(
                finding("torque_ripple", f"torque ripples by {share:.1f} % once each {'turn' if order == 1 else 'half turn'}", channel="torque", evidence={"order": order, "share_pct": share, "u_pct": u})
            )  # fmt: skip
    return found


def placed_at(found: list[Finding], stop: int, file: str) -> list[Finding]:
    return [replace(f, stop=stop, file=file) for f in found]
