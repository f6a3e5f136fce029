"""One test's drift, from its stops to the content of drift.json.

Causes are taken off in the order in which they hide one another: stops that moisture touched are set aside, a drift of
the energy ratio is taken off friction (what is left is friction as the deceleration shows it), unfinished bedding is
modelled, and what then changes at matched conditions is judged by the evidence.
"""

from dataclasses import replace
from typing import Any, NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.drift import evidence as ev
from pipeline.drift.bedded import Bedding, unfinished_bedding
from pipeline.drift.change import Change, Search, date_change, phase_levels, phases, search
from pipeline.drift.chart_data import chart_data
from pipeline.drift.contrast import Levels
from pipeline.drift.fade import Hot, hot_blocks
from pipeline.drift.moisture import Damp, after_pauses
from pipeline.drift.monitoring import Watch, watch
from pipeline.drift.noise import Repeatability
from pipeline.drift.sensor import TorqueDrift, torque_drift
from pipeline.drift.series import Series, series
from pipeline.drift.verdict import first_in_precedence, judge_fall, judge_rise
from pipeline.method.drift import Drift

Array = NDArray[np.float64]


class Finding(NamedTuple):
    """One change with all that drift.json says about it."""

    verdict: str
    onset: tuple[int, int, int] | None
    loss: float | None
    loss_share: float | None
    recovered: bool | None
    why: str
    words: list[str]
    items: dict[str, Any]
    not_excluded: list[str]
    record_next: list[str]


def analyse(
    stops: pl.DataFrame, settings: Drift, noise: Repeatability | None = None, *, use_suspect: bool = False
) -> dict[str, Any]:
    """Verdict, onset, loss, evidence and chart data of one test, as contract.md's drift.json less test and method.

    `stops` as vocabulary.STOPS; `noise` pooled over the compound's tests, else a cautious default.
    """
    noise = noise or Repeatability()
    s = series(stops, settings, use_suspect=use_suspect)
    damp = after_pauses(s, noise, settings)
    wet = [d for d in damp if d.beyond]
    s = _set_aside(s, wet)
    w = watch(s, noise, settings)
    if len(w.checks) < 6:
        return _nothing_matched(s, w, damp, wet)
    noise = w.noise
    torque = torque_drift(s, settings)
    friction = s.friction - torque.effect if torque else s.friction
    recorded = s
    s = replace(s, ratio=s.ratio - torque.effect) if torque else s
    first = search(s, friction, w, noise, settings)
    bed = unfinished_bedding(s, friction, w, first, noise, settings)
    final = first
    if bed:
        friction = friction - bed.effect
        final = search(s, friction, w, noise, settings, extra=bed.column[w.checks][:, None], with_bedding=False)
    findings = [_sensor_finding(recorded, w, torque, noise, settings)] if torque else []
    findings += [_bedding_finding(s, bed)] if bed else []
    findings += [_moisture_finding(s, wet, settings)] if wet else []
    change, levels, main = _main_change(s, friction, w, final, noise, settings)
    findings += [main] if main else []
    hot = hot_blocks(s.with_friction(friction), noise, settings)
    findings += _fade_findings(s, hot, levels, change, noise)
    return _result(recorded, friction, w, final, change, levels, findings, damp, hot, torque, settings)


def _set_aside(s: Series, wet: list[Damp]) -> Series:
    damp = s.damp.copy()
    for d in wet:
        damp[d.index] = True
    return replace(s, damp=damp)


def _main_change(
    s: Series, friction: Array, w: Watch, found: Search, noise: Repeatability, settings: Drift
) -> tuple[Change | None, Levels | None, Finding | None]:
    if not found.found.alarm or found.found.best < 0:
        return None, None, None
    change = date_change(s, friction, w, found, noise, settings)
    phase = phases(s, w.checks, change, settings)
    levels = phase_levels(s, w.checks, friction, phase, noise)
    lost = levels.difference("fallen", "before", settings.confidence) if levels else None
    if levels is None or lost is None or abs(lost.share()[0]) < settings.least_loss:
        return None, levels, None
    before = _level_before(s, w, friction, phase)
    share = -lost.share()[0]
    fallen = s.stop[w.checks][phase == "fallen"]
    use = ev.low_energy_use(s, change.onset.low, int(fallen[-1]) + 1)
    recovery = ev.recovery(s, change, levels, settings, before)
    items = {
        "energy_ratio": ev.torque_chain(s, w.checks, phase, share, settings),
        "pressure_rest": ev.rest_pressure(s, w.checks, phase, share, settings),
        "pressure_level": ev.pressure_level(s, w.checks, phase, share, settings),
        "pressure_second": ev.second_pressure(s, w.checks, phase, share, settings),
        "exposure": ev.exposure_item(use, settings),
        "growth": ev.growth_item(change, use.stops >= settings.least_exposure),
        "recovery": recovery.item,
    }
    judged = judge_fall(items, recovery) if share > 0 else judge_rise(items)
    onset = change.onset
    low, high = -lost.share()[2], -lost.share()[1]
    verb = "fell" if share > 0 else "rose"
    opening = (
        f"friction at the {'check' if w.kind == 'checks' else 'stops of use'} {verb} {before * abs(share):.3f}"
        f" ({before * min(abs(low), abs(high)):.3f} to {before * max(abs(low), abs(high)):.3f}) from stop {onset.stop}"
        f" ({onset.low} to {onset.high})"
    )
    words = [opening, *(item.words for item in items.values() if item.answer != "missing")]
    return change, levels, Finding(
        judged.verdict, (onset.stop, onset.low, onset.high), before * share, share,
        recovery.recovered if share > 0 else None, judged.why, words,
        {"friction": {"share": -share, "low": -high, "high": -low, "mu_before": before},
         **{name: item.as_dict() for name, item in items.items()}},
        judged.not_excluded, judged.record_next,
    )  # fmt: skip


def _level_before(s: Series, w: Watch, friction: Array, phase: NDArray[np.str_]) -> float:
    """Mean mu before the change in the group with most fallen stops."""
    group = s.group[w.checks]
    counted = np.bincount(group[phase == "fallen"], minlength=group.max() + 1)
    own = (phase == "before") & (group == int(np.argmax(counted)))
    own = own if own.any() else phase == "before"
    return float(np.exp(np.nanmean(friction[w.checks][own])))


def _sensor_finding(s: Series, w: Watch, torque: TorqueDrift, noise: Repeatability, settings: Drift) -> Finding:
    phase = phases(s, w.checks, Change(torque.onset, 1.0, None), settings)
    levels = phase_levels(s, w.checks, s.friction, phase, noise)
    lost = levels.difference("fallen", "before", settings.confidence) if levels else None
    before = _level_before(s, w, s.friction, phase) if levels else None
    share = -lost.share()[0] if lost else None
    words = (
        f"energy ratio changed by {100 * torque.size:+.1f} % ({100 * torque.low:+.1f} to {100 * torque.high:+.1f} %) from stop"
        f" {torque.onset.stop} ({torque.onset.low} to {torque.onset.high}); friction as recorded moves with it, friction as"
        " the deceleration shows it does not: the torque chain drifted"
    )
    return Finding(
        "sensor", (torque.onset.stop, torque.onset.low, torque.onset.high),
        before * share if before is not None and share is not None else None, share, None,
        "the energy ratio moved", [words],
        {"torque_drift": {"share": torque.size, "low": torque.low, "high": torque.high, "threshold": settings.torque_change}},
        [], ["check the torque chain against a known load and the zero; repeat what was measured since"],
    )  # fmt: skip


def _bedding_finding(s: Series, bed: Bedding) -> Finding:
    words = (
        f"friction at the first check lay {100 * bed.size:+.1f} % ({100 * bed.low:+.1f} to {100 * bed.high:+.1f} %) off the level"
        f" at which it settled, dying away over about {bed.constant:.0f} stops; {bed.support}"
    )
    return Finding(
        "bedding-in", (bed.onset, bed.onset, bed.settled), bed.mu_settled * bed.size, bed.size / (1 + bed.size), None,
        "friction changed early and settled", [words],
        {"bedding": {"share": bed.size, "low": bed.low, "high": bed.high, "stops": bed.constant}},
        [], ["bed in longer, until friction is within 3 % of where it settles"],
    )  # fmt: skip


def _moisture_finding(s: Series, wet: list[Damp], settings: Drift) -> Finding:
    first = min(wet, key=lambda d: d.stop)
    words = [
        f"after {d.idle_s / 3600:.1f} h idle the first stops from stop {d.stop} lay {100 * d.dip:+.1f} %"
        f" ({100 * d.low:+.1f} to {100 * d.high:+.1f} %) off matched later ones, starting at {d.temperature_c:.0f} degC,"
        f" and were back after {max(d.stops, 1)} stops"
        for d in wet
    ]
    level = float(np.exp(np.nanmedian(s.friction[s.group == s.group[first.index[0]]])))
    last = int(s.stop[first.index[min(first.stops, len(first.index)) - 1]])
    warm = [d for d in wet if d.temperature_c > settings.dry_above]
    return Finding(
        "moisture", (first.stop, first.stop, last), -first.dip * level, -first.dip, None,
        "low only in the first stops after a pause", words,
        {"moisture": [d._asdict() | {"index": s.stop[d.index]} for d in wet]},
        ["contamination or handling in the pause: the stops did not start cold"] if warm else [],
        ["record humidity and dry the disc before the first stop"],
    )  # fmt: skip


def _fade_findings(
    s: Series, hot: list[Hot], levels: Levels | None, change: Change | None, noise: Repeatability
) -> list[Finding]:
    out = []
    for h in hot:
        cool_again = change is None or not h.stop <= change.onset.stop <= h.last + 1
        if not h.beyond or not cool_again:
            continue
        level = float(np.exp(np.nanmedian(s.friction[s.name == h.block])))
        words = (
            f"in block {h.block} friction fell {100 * h.fall:+.1f} % ({100 * h.low:+.1f} to {100 * h.high:+.1f} %) as stops"
            f" started at {h.temperature_low_c:.0f} to {h.temperature_high_c:.0f} degC, and the checks after it were unchanged"
        )
        out.append(Finding(
            "fade", (h.stop, h.stop, h.last), -h.fall * level, -h.fall, None, "low when hot, back when cool", [words],
            {"fade": h._asdict()}, [], [],
        ))  # fmt: skip
    return out[:1]


def _nothing_matched(s: Series, w: Watch, damp: list[Damp], wet: list[Damp]) -> dict[str, Any]:
    why = "no stops are repeated at matched conditions, so a change of friction cannot be told from one of conditions"
    return {
        "verdict": "undetermined", "onset_stop": None, "onset_low": None, "onset_high": None, "mu_loss": None,
        "mu_loss_share": None, "recovered": None, "also": ["moisture"] if wet else [],
        "evidence": {
            "why": why, "words": [why], "not_excluded": ["any change"], "matched_stops": len(w.checks),
            "record_next": ["repeat a matched check of five stops or more through the program"],
        },
        "charts": None, "charts_reason": why, "onset_reason": why, "mu_loss_reason": why, "recovered_reason": why,
    }  # fmt: skip


def _result(
    s: Series, friction: Array, w: Watch, found: Search, change: Change | None, levels: Levels | None,
    findings: list[Finding], damp: list[Damp], hot: list[Hot], torque: TorqueDrift | None, settings: Drift,
) -> dict[str, Any]:  # fmt: skip
    verdict, also = first_in_precedence([f.verdict for f in findings])
    lead = next((f for f in findings if f.verdict == verdict), None)
    d = found.found
    none = (
        f"no statistic passed its limit for {100 * settings.false_alarm_rate:g} % false alarms a test: largest shape"
        f" {abs(d.z[d.best]) if d.best >= 0 else 0:.1f} against {d.limits.ratio:.1f}, cumulative sum"
        f" {max(d.lower.max(initial=0), d.upper.max(initial=0)):.1f} against {d.limits.cusum:.1f}, weighted average"
        f" {np.abs(d.average).max(initial=0):.2f} against {d.limits.ewma:.2f}"
    )
    if d.alarm and not any(f.items.get("friction") for f in findings):
        none = f"friction changed by less than {100 * settings.least_loss:g} %, which is not called a change"
    out: dict[str, Any] = {
        "verdict": verdict,
        "onset_stop": lead.onset[0] if lead and lead.onset else None,
        "onset_low": lead.onset[1] if lead and lead.onset else None,
        "onset_high": lead.onset[2] if lead and lead.onset else None,
        "mu_loss": lead.loss if lead else None,
        "mu_loss_share": lead.loss_share if lead else None,
        "recovered": lead.recovered if lead else None,
        "also": also,
        "evidence": {
            "why": lead.why if lead else none,
            "words": [word for f in findings for word in f.words] or [none],
            "not_excluded": sorted({c for f in findings for c in f.not_excluded}),
            "record_next": list(dict.fromkeys(n for f in findings for n in f.record_next)),
            "items": {f.verdict: f.items for f in findings},
            "matched_stops": len(w.checks),
            "decided_by": w.kind,
            "stray_stops": s.stop[w.stray],
            "pauses": [x._asdict() | {"index": s.stop[x.index]} for x in damp],
            "scatter": w.noise._asdict(),
        },
    }
    if lead is None:
        out |= {"onset_reason": none, "mu_loss_reason": none, "recovered_reason": "no fall to recover from"}
    elif lead.recovered is None:
        item = lead.items.get("recovery", {})
        out["recovered_reason"] = item.get("words", "not a fall that high-energy stops could bring back")
    out["charts"] = chart_data(s, friction, w, found, change, settings)
    return out
