"""What is said of a test as a whole: its summary, and the findings that belong to no single stop."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.conditioning.energy_balance import candidates, ratio_statistics
from pipeline.conditioning.of_test import Found, described
from pipeline.findings import Finding, finding
from pipeline.method import Method
from pipeline.stops.alignment import Alignment
from pipeline.stops.passes import Applications
from pipeline.stops.rows import Context
from pipeline.stops.schedule import Entry, missing_stops
from pipeline.stops.uncertainty import budget

ODD_RATIO = 0.05  # least distance from its neighbours at which a stop's energy ratio is odd
NEIGHBOURS = 9
FEWEST_RATIOS = 4
TREND_LIMIT = 0.015  # of the ratio over the whole test


def test_findings(
    card: Card, found: Found, applications: Applications, entries: Sequence[Entry], method: Method
) -> list[Finding]:
    """Sign, offsets, drag, lag, missing sensor limits, further brakings in one-stop files."""
    result = []
    corrections, zero = found.corrections, found.corrections.zero
    if corrections.sign < 0:
        result.append(
            finding("torque_turned", "torque is negative in every braking and was turned round", channel="torque")
        )
    if card.recordings.sensors is None:
        result.append(finding("sensors_missing", "no sensor accuracies: mu_u is scatter only"))
    else:
        missing = [name for name in ("torque", "pressure") if name not in card.recordings.sensors]
        if missing:
            text = f"no accuracy stated for {' and '.join(missing)}: counted as 0 in mu_u"
            result.append(finding("sensors_missing", text, evidence={"missing": missing}))
    if not zero.known:
        result.append(
            finding(
                "zero_unknown",
                "no samples at zero pressure: the torque's offset and drag are not taken off",
                channel="torque",
            )
        )
    elif zero.includes_drag and not zero.separated:
        result.append(
            finding(
                "drag_not_separated",
                f"offset and drag of torque were not told apart: {zero.how}",
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
    step = float(np.nanmedian([b.step for b in applications.found])) if applications.found else float("nan")
    slow = float(np.nanmedian([b.build_up for b in applications.found])) if applications.found else 0.0
    if found.lag.stops >= 3 and found.lag.spread > max(2 * step, 0.1 * slow):
        result.append(
            finding(
                "lag_scatter",
                f"the stops' lags of torque and pressure spread by {1e3 * found.lag.spread:.0f} ms",
                evidence={"spread_s": found.lag.spread, "sample_period_s": step},
            )
        )
    numbers = {e.recording: i + 1 for i, e in enumerate(entries)}
    files = {e.recording: e.file for e in entries}
    for recording, spans in applications.set_aside.items():
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


def _offset_findings(card: Card, found: Found, method: Method) -> list[Finding]:
    from pipeline.stops.facts import full_scales

    scales, result = full_scales(card), []
    for name, value, unit, factor in (
        ("torque", found.corrections.zero.offset, "N m", 1.0), ("pressure", found.pressure_rest, "bar", 1e-5),
    ):  # fmt: skip
        scale = scales.get(name)
        if scale and abs(value) > method.conditioning.offset_limit * scale:
            share = 100 * value / scale
            text = f"{name} reads {value * factor:.3g} {unit} at zero, {share:.1f} % of its range; taken off"
            result.append(
                finding(
                    "offset_large",
                    text,
                    channel=name,
                    evidence={"offset_si": value, "share_of_full_scale": value / scale},
                )
            )
    return result


def balance_findings(
    stops: pl.DataFrame, found: Found, card: Card, method: Method, alignment: Alignment
) -> list[Finding]:
    """Energy ratio off over the test (with candidates) and odd in single stops; levels off the schedule."""
    ratios = stops["energy_ratio"].cast(pl.Float64).to_numpy()
    statistics = ratio_statistics(ratios)
    median, limit = statistics["ratio_median"], method.reduction.balance_limit
    result: list[Finding] = []
    # A constant drag that was not told from the offset may be what the balance lacks.
    limit += unsplit_share(stops, found)
    causes = candidates(median, found.line, limit=limit)
    if causes:
        named = "; ".join(c["cause"] for c in causes)
        evidence = {"ratio_median": median, "candidates": causes}
        text = f"work at the brake is {median:.3f} of the energy the shaft gave up. Candidates: {named}"
        result.append(finding("energy_balance", text, evidence=evidence))
        if abs(median - 1) > max(method.reduction.balance_gross, limit):
            result += [
                finding("energy_balance", f"stop {s}: the whole test's energy ratio is {median:.3f}", stop=s, file=f, evidence={"ratio_median": median})
                for s, f in zip(stops["stop"], stops["file"], strict=True)
            ]  # fmt: skip
    trend, u = statistics["trend_per_100_stops"], statistics.get("trend_u")
    stretch = np.ptp(np.flatnonzero(np.isfinite(ratios))) / 100 if trend is not None else 0.0
    if trend is not None and u and abs(trend) > 4 * u and abs(trend) * stretch > TREND_LIMIT:
        text = f"energy ratio moves by {100 * trend * stretch:+.1f} % over the test: torque gain, speed or drag drifts"
        evidence = {"trend_per_100_stops": trend, "u": u, "over_test": trend * stretch}
        result.append(finding("energy_ratio_trend", text, channel="torque", evidence=evidence))
    for i in odd_ratios(ratios, statistics["ratio_scatter"]):
        text = f"energy ratio {ratios[i]:.3f} stands out from its neighbours: speed or torque is wrong in this stop"
        result.append(
            finding(
                "energy_ratio_odd",
                text,
                stop=int(stops["stop"][int(i)]),
                file=stops["file"][int(i)],
                evidence={"energy_ratio": float(ratios[i])},
            )
        )
    return result + _level_findings(alignment, stops)


def unsplit_share(stops: pl.DataFrame, found: Found) -> float:
    """What a constant reading that may be drag or offset is worth in the energy ratio: median over the stops; 0 if told apart."""
    zero = found.corrections.zero
    if zero.separated or not zero.known or not zero.includes_drag or "angle_rad" not in stops.columns:
        return 0.0
    share = (abs(zero.offset) * stops["angle_rad"] / (1e3 * stops["energy_kj"])).median()
    return float(share) if isinstance(share, int | float) and np.isfinite(share) else 0.0


def odd_ratios(ratios: np.ndarray, scatter: float | None) -> np.ndarray:
    """Indices of energy ratios far from the median of their neighbours: 5 % and eight robust sigmas."""
    index = np.flatnonzero(np.isfinite(ratios))
    if index.size < FEWEST_RATIOS or scatter is None:
        return np.empty(0, dtype=np.int64)
    values = ratios[index]
    if values.size < NEIGHBOURS:
        centre = np.full(values.size, np.median(values))
    else:
        padded = np.pad(values, NEIGHBOURS // 2, mode="reflect")
        centre = np.median(np.lib.stride_tricks.sliding_window_view(padded, NEIGHBOURS), axis=1)
    off = values - centre
    sigma = 1.4826 * float(np.median(np.abs(off)))
    return index[np.abs(off) > max(ODD_RATIO, 8 * sigma)]


PRESSURE_RATIOS = (
    ("psi labelled bar", 14.5037738), ("bar labelled psi", 1 / 14.5037738), ("kPa labelled bar", 100.0), ("bar labelled kPa", 0.01),
    ("bar labelled MPa", 10.0), ("MPa labelled bar", 0.1), ("psi labelled MPa", 145.037738), ("kPa labelled MPa", 1000.0),
    ("MPa labelled kPa", 1e-3), ("kgf/cm^2 labelled bar", 1.0197162),
)  # fmt: skip
SPEED_RATIOS = (
    ("rpm labelled rad/s", 9.54929659),
    ("rad/s labelled rpm", 1 / 9.54929659),
    ("rev/s labelled rpm", 1 / 60.0),
)
TORQUE_RATIOS = (
    ("lbf ft labelled N m", 0.73756215),
    ("N m labelled lbf ft", 1.35581795),
    ("kN m labelled N m", 1e-3),
    ("lbf in labelled N m", 8.8507458),
)


def _level_findings(alignment: Alignment, stops: pl.DataFrame) -> list[Finding]:
    """Channels whose level over the test stands in one ratio to the schedule's: a unit slip, or a wrong schedule."""
    result: list[Finding] = []
    for channel, known in (("pressure", PRESSURE_RATIOS), ("speed", SPEED_RATIOS), ("torque", TORQUE_RATIOS)):
        scale = alignment.scales.get(channel)
        if scale is None or abs(np.log(scale)) < 0.18:
            continue
        named = [
            {"cause": f"{channel} in {text}", "factor": factor}
            for text, factor in known
            if abs(scale / factor - 1) < 0.1 and abs(factor - 1) > 0.1
        ]
        named.append({"cause": f"gain of the {channel} sensor, or a schedule that was not run", "factor": scale})
        text = f"{channel} is {scale:.3g} times the schedule's. Candidates: {'; '.join(str(n['cause']) for n in named)}"
        result += _over_test(stops, "level_off_schedule", text, channel, {"ratio": scale, "candidates": named})
    if alignment.scales.get("temperature", 1.0) == 1.8:
        text = "disc temperature starts read as degF labelled degC against the schedule's"
        result += _over_test(
            stops,
            "level_off_schedule",
            text,
            "disc_temperature",
            {"ratio": 1.8, "candidates": [{"cause": "degF labelled degC", "factor": 1.8}]},
        )
    return result


def _over_test(stops: pl.DataFrame, code: str, text: str, channel: str, evidence: dict[str, Any]) -> list[Finding]:
    """The finding for the test and, short, for each of its stops: nothing measured in doubtful units is used unasked."""
    every = [
        finding(code, f"stop {s}: {channel} is off its schedule as in the whole test", stop=s, file=f, channel=channel, evidence={"ratio": evidence["ratio"]})
        for s, f in zip(stops["stop"], stops["file"], strict=True)
    ]  # fmt: skip
    return [finding(code, text, channel=channel, evidence=evidence), *every]


def time_base(applications: Applications) -> dict[str, Any]:
    """Sampling rate over the brakings: median, lowest and highest, and the median jitter; null with why without any."""
    steps = np.array([b.step for b in applications.found if np.isfinite(b.step)])
    if not steps.size:
        return {"rate_hz": None, "rate_low_hz": None, "rate_high_hz": None, "jitter": None, "why": "no braking"}
    jitters = np.array([b.jitter for b in applications.found if np.isfinite(b.jitter)])
    return {
        "rate_hz": float(1 / np.median(steps)),
        "rate_low_hz": float(1 / steps.max()),
        "rate_high_hz": float(1 / steps.min()),
        "jitter": float(np.median(jitters)) if jitters.size else None,
    }


def summary_of(
    card: Card,
    stops: pl.DataFrame,
    applications: Applications,
    found: Found,
    context: Context,
    stated: dict[str, bool],
    alignment: Alignment,
    method: Method,
) -> dict[str, Any]:
    """The keys of summary.json beside test, method, unusable and stamp."""
    statistics = ratio_statistics(stops["energy_ratio"].cast(pl.Float64).to_numpy())
    line = found.line
    balance = statistics | {
        "gain": line.gain if line else None,
        "gain_low": line.gain - 2 * line.u_gain if line else None,
        "gain_high": line.gain + 2 * line.u_gain if line else None,
        "intercept_nm": line.zero if line else None,
        "intercept_u_nm": line.u_zero if line else None,
        "candidates": candidates(
            statistics["ratio_median"], line, limit=method.reduction.balance_limit + unsplit_share(stops, found)
        ),
    }
    if line is None:
        balance["gain_why"] = "too few decelerating brakings, or torques too alike, for a line"
    if context.simulated and "drive_torque" not in card.recordings.channels:
        balance["why"] = "the drive simulates inertia and its torque is not recorded"
    common = context.gains.common
    has_sensors = card.recordings.sensors is not None
    counts = {name: int((stops["status"] == name).sum()) for name in ("ok", "suspect", "rejected")}
    return {
        "reprocessable": True,
        "stops": counts,
        "time_base": time_base(applications),
        **described(found, method.conditioning),
        "energy_balance": balance,
        "mu_u_common_relative": common if has_sensors else None,
        **({} if has_sensors else {"mu_u_common_relative_why": "the card states no sensor accuracies"}),
        "budget": budget(context.gains, stated, _typical(stops)),
        "missing": missing_stops(alignment, stops, card.inertia),
        "schedule_scales": alignment.scales,
        "effective_radius_m": context.setup.radius,
        "piston_area_m2": context.setup.piston_area,
    }


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
