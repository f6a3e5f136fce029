"""What is said of a test as a whole: its summary, and the findings about its sensors."""

import datetime
from collections.abc import Sequence

import numpy as np
import polars as pl

from pipeline.archive.card import Card, full_scales
from pipeline.archive.plausible import unusual
from pipeline.conditioning.conditioned import ConditionedTest
from pipeline.conditioning.from_brakings import FoundCorrections
from pipeline.conditioning.survey import Braking
from pipeline.conditioning.time_base import median_known
from pipeline.findings import Finding, finding
from pipeline.method import Method
from pipeline.results.model import renewed
from pipeline.results.summary import EnergyBalance, Share, TestSummary, TimeBase
from pipeline.stops.alignment import Alignment
from pipeline.stops.block_means import block_means
from pipeline.stops.faults.balance import balance_limit, candidates, ratio_statistics, units_of
from pipeline.stops.result import stop_counts
from pipeline.stops.rows import Context
from pipeline.stops.schedule import Entry, missing_stops
from pipeline.stops.uncertainty import budget


def findings_of_test(test: ConditionedTest, entries: Sequence[Entry], method: Method) -> list[Finding]:
    """Sign, offsets, drag, lag, missing sensor limits, further brakings in one-stop files."""
    result = []
    card, found = test.card, test.found
    corrections, zero = found.corrections, found.corrections.zero
    result += [
        finding("card_unusual", f"{key}: {what}", evidence={"key": key})
        for key, what in unusual(card, datetime.date.today())
    ]
    if corrections.sign < 0:
        result.append(
            finding("torque_turned", "torque is negative in every braking and was turned round", channel="torque")
        )
    if card.recordings.sensors is None:
        result.append(
            finding(
                "sensors_missing", "no sensor accuracies: mu_u is scatter and the threshold pressure's default only"
            )
        )
    else:
        missing = [name for name in ("torque", "pressure") if name not in card.recordings.sensors]
        if missing:
            text = f"no accuracy stated for {' and '.join(missing)}: counted as 0 in mu_u"
            result.append(finding("sensors_missing", text, evidence={"missing": missing}))
    if not any(stop.pressure_known for stop in corrections.stops):
        text = "no samples at rest: the pressure's zero is not subtracted"
        result.append(finding("zero_unknown", text, channel="pressure"))
    if not zero.known:
        result.append(
            finding(
                "zero_unknown",
                "no samples at zero pressure: the torque's offset and drag are not subtracted",
                channel="torque",
            )
        )
    elif zero.includes_drag and not zero.separated:
        result.append(
            finding(
                "drag_not_separated",
                f"offset and drag of torque were not separated: {zero.how}",
                channel="torque",
                evidence={"constant_nm": zero.offset, "b_nm_per_rad_s": zero.b},
            )
        )
    elif not zero.includes_drag and not zero.separated:
        result.append(
            finding(
                "drag_not_separated",
                "the sensor does not see the drag and the balance does not give it: energy_ratio lacks its work",
                channel="torque",
            )
        )
    result += _offset_findings(card, found, method)
    if corrections.lag:
        text = f"{corrections.late} comes {1e3 * abs(corrections.lag):.1f} ms late and was moved"
        evidence = {
            "lag_s": found.lag.value,
            "u_s": found.lag.u,
            "spread_s": found.lag.spread,
            "stops": found.lag.stops,
        }
        result.append(finding("lag_corrected", text, channel=corrections.late, evidence=evidence))
    if found.speed_late:
        ms = 1e3 * found.speed_late
        text = (
            f"the shaft's slowing is recorded {ms:.0f} ms behind the torque, while torque and pressure agree: the "
            "speed channel is "
            "late, or sees the torque (cross-talk); work, energy ratio and distance carry it, mu hardly does"
        )
        evidence = {"late_s": found.speed_late, "torque_behind_shaft_s": found.lag_behind_speed.value}
        result.append(finding("speed_late", text, channel="speed", evidence=evidence))
    step, slow = (median_known(np.array([getattr(b, k) for b in test.brakings])) for k in ("step", "build_up"))
    if found.lag.stops >= 3 and found.lag.spread > np.fmax(2 * step, 0.1 * slow):
        result.append(
            finding(
                "lag_scatter",
                f"the stops' lags of torque and pressure spread by {1e3 * found.lag.spread:.0f} ms",
                evidence={"spread_s": found.lag.spread, "sample_period_s": step},
            )
        )
    numbers = {e.recording: i + 1 for i, e in enumerate(entries)}
    files = {e.recording: e.file for e in entries}
    for recording, spans in test.applications.set_aside.items():
        text = f"{len(spans) + 1} applications in a one-stop recording: the one with most work is the stop"
        result.append(
            finding(
                "further_braking",
                text,
                stop=numbers[recording],
                file=files[recording],
                start_s=spans[0][0],
                end_s=spans[0][1],
                evidence={"spans_s": spans},
            )
        )
    return result


def _offset_findings(card: Card, found: FoundCorrections, method: Method) -> list[Finding]:
    scales, result = full_scales(card), []
    for name, value, unit, factor in (
        ("torque", found.corrections.zero.offset, "N m", 1.0),
        ("pressure", found.pressure_rest, "bar", 1e-5),
    ):
        scale = scales.get(name)
        if scale and abs(value) > method.conditioning.offset_limit * scale:
            share = 100 * value / scale
            text = f"{name} reads {value * factor:.3g} {unit} at zero, {share:.1f} % of its range; subtracted"
            result.append(
                finding(
                    "offset_large",
                    text,
                    channel=name,
                    evidence={"offset_si": value, "share_of_full_scale": value / scale},
                )
            )
    return result


def time_base(brakings: Sequence[Braking]) -> TimeBase:
    """Sampling rate over the brakings: median, lowest and highest, and the median jitter; null with why without any."""
    steps = np.array([b.step for b in brakings if np.isfinite(b.step)])
    if not steps.size:
        return TimeBase(why="no braking")
    jitters = np.array([b.jitter for b in brakings if np.isfinite(b.jitter)])
    return TimeBase(
        rate_hz=float(1 / np.median(steps)),
        rate_low_hz=float(1 / steps.max()),
        rate_high_hz=float(1 / steps.min()),
        jitter=float(np.median(jitters)) if jitters.size else None,
    )


def summary_of(
    test: ConditionedTest,
    stops: pl.DataFrame,
    context: Context,
    stated: dict[str, bool],
    alignment: Alignment,
    method: Method,
) -> TestSummary:
    """summary.json without method, units and stamp."""
    card, found = test.card, test.found
    pressure = _median_pressure(stops, context)
    common = context.gains.common_at(pressure) if pressure else context.gains.common
    has_sensors = card.recordings.sensors is not None
    return TestSummary(
        test=card.test,
        stops=stop_counts(stops),
        block_means=block_means(stops),
        time_base=time_base(test.brakings),
        offsets=found.offsets,
        drag=found.drag,
        lag_s=found.delay,
        energy_balance=_balance(card, stops, found, method),
        mu_u_common_relative=common if has_sensors else None,
        mu_u_common_relative_why=None if has_sensors else "the card states no sensor accuracies",
        budget=[*budget(context.gains, stated, _typical(stops), pressure), *_test_zero(stops, context)],
        missing=missing_stops(alignment, stops, card.inertia),
        schedule_scales=alignment.scales,
        effective_radius_m=context.setup.radius,
        piston_area_m2=context.setup.piston_area,
    )


def _balance(card: Card, stops: pl.DataFrame, found: FoundCorrections, method: Method) -> EnergyBalance:
    statistics = ratio_statistics(stops["energy_ratio"].cast(pl.Float64).to_numpy())
    line, limit = found.line, balance_limit(stops, found, card, method)
    causes = candidates(statistics.ratio_median, line, limit=limit, units=units_of(card))
    why = statistics.why
    if card.simulates_inertia and "drive_torque" not in card.recordings.channels:
        why = "the drive simulates inertia and its torque is not recorded"
    if line is None:
        gain_why = "too few decelerating brakings, or torques too alike, for a line"
        return renewed(statistics, gain_why=gain_why, candidates=causes, why=why)
    return renewed(
        statistics,
        gain=line.gain,
        gain_low=line.gain - 2 * line.u_gain,
        gain_high=line.gain + 2 * line.u_gain,
        intercept_nm=line.zero,
        intercept_u_nm=line.u_zero,
        candidates=causes,
        why=why,
    )


def _median_pressure(stops: pl.DataFrame, context: Context) -> float | None:
    """The stops' median pressure above the threshold, Pa."""
    above = (stops.filter(pl.col("mu").is_not_null())["pressure_bar"] * 1e5 - context.setup.threshold).median()
    return float(above) if isinstance(above, int | float) and above > 0 else None


def _test_zero(stops: pl.DataFrame, context: Context) -> list[Share]:
    """What the test's own zeros (not a single stop's) are worth in mu, relative, median over the stops."""
    gains = context.gains
    threshold = gains.threshold / (stops["pressure_bar"] * 1e5 - context.setup.threshold)
    square = (stops["mu_u_common"] / stops["mu"]) ** 2 - gains.common**2 - threshold**2
    middle = square.clip(0.0).sqrt().median()
    if not isinstance(middle, int | float):
        return []
    return [Share(source="zeros of torque and pressure over the test", relative_u=float(middle), part="common")]


def _typical(stops: pl.DataFrame) -> dict[str, float]:
    """Medians over the test of the stops' own relative parts."""
    mu = stops["mu"]
    result = {}
    for name, column in (("in-window scatter", "mu_u_scatter"), ("scatter and zero readings", "mu_u_stop")):
        if column in stops.columns:
            middle = (stops[column] / mu).median()
            if isinstance(middle, int | float):
                result[name] = float(middle)
    return result
