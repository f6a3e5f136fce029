"""One test's drift, from its stops to the content of drift.json.

Causes are taken off in the order in which they hide one another: stops that moisture touched are set aside, a drift of
the energy ratio is taken off friction (what is left is friction as the deceleration shows it), unfinished bedding is
modelled, and what then changes at matched conditions is judged by the evidence.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.constants import ZERO_C
from pipeline.drift import causes
from pipeline.drift import evidence as ev
from pipeline.drift.bedded import unfinished_bedding
from pipeline.drift.causes import Statement
from pipeline.drift.change import Change, Search, date_change, phase_levels, phases, search
from pipeline.drift.chart_data import chart_data
from pipeline.drift.fade import hot_blocks
from pipeline.drift.glazing import exposure_result, uses_between_checks
from pipeline.drift.moisture import after_pauses
from pipeline.drift.monitoring import Watch, watch
from pipeline.drift.noise import Repeatability
from pipeline.drift.recovery import recovered
from pipeline.drift.regain import with_return
from pipeline.drift.sensor import torque_drift
from pipeline.drift.series import Series, series
from pipeline.drift.verdict import first_in_precedence, judge_fall, judge_rise
from pipeline.method.drift import Drift
from pipeline.results.drift import AfterPause, Evidence, Item, OfStops, Scatter, Size
from pipeline.results.model import renewed
from pipeline.wording import counted

LEAST_SOUND = 6  # ok stops without which `none` is not said


def analyse(
    stops: pl.DataFrame, settings: Drift, noise: Repeatability | None = None, *, use_suspect: bool = False
) -> OfStops:
    """Verdict, onset, loss, evidence, exposure and chart data of one test.

    `stops` as vocabulary.STOPS; `noise` pooled over the compound's tests, else a cautious default.
    """
    s = series(stops, settings, use_suspect=use_suspect)
    noise = noise or Repeatability()
    damp = after_pauses(s, noise, settings)
    wet = [d for d in damp if d.beyond]
    s = _set_aside(s, wet)
    w = watch(s, noise, settings)
    if len(w.deciding) < 6:
        return _nothing_matched(w, wet)
    noise = w.noise
    torque = torque_drift(s, settings, noise.sigma)
    recorded = s
    if torque:
        s = replace(s, ln_mu=s.ln_mu - torque.effect, ratio=s.ratio - torque.effect)
    found = search(s, s.ln_mu, w, noise, settings)
    bed = unfinished_bedding(s, s.ln_mu, w, found, noise, settings)
    if bed:
        s = s.with_ln_mu(s.ln_mu - bed.effect)
        found = search(s, s.ln_mu, w, noise, settings, extra=bed.column[w.deciding][:, None], with_bedding=False)
    main = _main_change(s, w, found, noise, settings)
    change = main.change if main else None
    findings = [causes.torque(recorded, w, torque, noise, settings)] if torque else []
    findings += [causes.bedding(bed)] if bed else []
    findings += [causes.moisture(s, wet, settings)] if wet else []
    findings += [main.statement] if main else []
    findings += causes.fade(s, hot_blocks(s, noise, settings), change)
    result = _result(found, findings, settings)
    evidence = renewed(
        result.evidence,
        matched_stops=len(w.deciding),
        decided_by=w.kind,
        stray_stops=s.stop[w.stray],
        scatter=Scatter.model_validate(noise._asdict()),
        pauses=damp,
        trend=ev.trend(s, w.deciding, settings),
    )
    glazing = main is not None and main.statement.verdict == "glazing-like"
    uses = uses_between_checks(s, s.ln_mu, w, noise, settings)
    result = renewed(
        result,
        evidence=evidence,
        exposure=exposure_result(s, uses, change, glazing, main.share if main else None),
        charts=chart_data(recorded, s.ln_mu, w, found, change, settings),
    )
    sound = stops.filter(pl.col("status") == "ok").height
    return _doubted(result, sound) if result.verdict == "none" and sound < LEAST_SOUND else result


def _doubted(result: OfStops, sound: int) -> OfStops:
    """No change seen, but in stops that are themselves in doubt: nothing is shown by that."""
    why = (
        f"no change was seen, but only {counted(sound, 'sound stop')} in the test: correct what the findings name, then "
        "judge again"
    )
    evidence = renewed(result.evidence, why=why, words=[why], not_excluded=["any change"])
    return renewed(result, verdict="undetermined", evidence=evidence)


def _set_aside(s: Series, wet: list[AfterPause]) -> Series:
    touched = [stop for d in wet for stop in d.touchable]
    return replace(s, damp=s.damp | np.isin(s.stop, touched))


class Main(NamedTuple):
    """The change that no other cause took off: as dated, as told, its loss as a share (value, low, high)."""

    change: Change
    statement: Statement
    share: tuple[float, float, float]


def _main_change(s: Series, w: Watch, found: Search, noise: Repeatability, settings: Drift) -> Main | None:
    """The change at matched conditions with its evidence; None without an alarm or below the least that counts."""
    if not found.found.alarm or found.found.best < 0:
        return None
    change = date_change(s, s.ln_mu, w, found, noise, settings)
    regained = with_return(s, w, s.ln_mu, change, noise, settings)
    if regained.cut != change.cut:
        change = date_change(s, s.ln_mu, w, found, noise, settings, regained.cut)._replace(by_use=regained.by_use)
    else:
        change = regained
    phase = phases(s, w.deciding, change, settings)
    levels = phase_levels(s, w.deciding, s.ln_mu, phase, noise)
    lost = levels.difference("fallen", "before", settings.confidence) if levels else None
    if levels is None or lost is None or abs(lost.share()[0]) < settings.least_loss:
        return None
    before = causes.level_before(s, w, s.ln_mu, phase)
    value, low, high = lost.share()
    share = (-value, -high, -low)
    fallen = s.stop[w.deciding][phase == "fallen"]
    use = ev.low_energy_use(s, change.onset.low, int(fallen[-1]) + 1)
    recovery = recovered(s, change, levels, settings, before)
    items = _evidence(s, w, change, phase, share[0], use, settings) | {"recovery": recovery.item}
    judged = judge_fall(items, recovery) if share[0] > 0 else judge_rise(items)
    not_excluded = list(judged.not_excluded)
    if share[0] > 0 and judged.verdict != "sensor" and _all_cold(s, w, settings):
        not_excluded.append("moisture taken up in cold use")
    onset = change.onset
    direction = 1 if share[0] > 0 else -1
    ends = sorted(direction * before * end for end in share[1:])
    opening = (
        f"friction at the {'check' if w.kind == 'checks' else 'stops of use'} {'fell' if direction > 0 else 'rose'}"
        f" {before * abs(share[0]):.3f} ({ends[0]:.3f} to {ends[1]:.3f}) from stop {onset.stop} ({onset.low} to "
        f"{onset.high})"
    )
    size = Size(share=value, low=low, high=high, mu_before=before, threshold=settings.least_loss)
    fell = Statement(
        verdict=judged.verdict,
        onset=(onset.stop, onset.low, onset.high),
        loss=(before * share[0], before * share[1], before * share[2]),
        loss_share=share[0],
        recovered=recovery.recovered if share[0] > 0 else None,
        why=judged.why,
        words=[opening, *(item.words for item in items.values() if item.answer != "missing")],
        items={"friction": size, **items},
        not_excluded=not_excluded,
        record_next=judged.record_next,
    )
    return Main(change, fell, share)


def _evidence(
    s: Series, w: Watch, change: Change, phase: NDArray[np.str_], loss: float, use: ev.Exposure, settings: Drift
) -> dict[str, Item]:
    """What speaks for and against each cause, but for the recovery."""
    return {
        "energy_ratio": ev.torque_chain(s, w.deciding, phase, loss, settings),
        "pressure_rest": ev.rest_pressure(s, w.deciding, phase, loss, settings),
        "pressure_level": ev.pressure_level(s, w.deciding, phase, loss, settings),
        "pressure_second": ev.second_pressure(s, w.deciding, phase, loss, settings),
        "pressure_pattern": ev.pressure_pattern(s, w, change),
        "exposure": ev.exposure_item(use, settings),
        "growth": ev.growth_item(change, use.stops >= settings.least_exposure),
        "in_stop": ev.in_stop_rise(s, w.deciding, phase, settings),
    }


def _all_cold(s: Series, w: Watch, settings: Drift) -> bool:
    """Whether all that was watched starts too cold to be dry."""
    temperature = s.temperature[w.deciding]
    known = temperature[np.isfinite(temperature)]
    return bool(len(known) and known.max() < settings.dry_above - ZERO_C)


def _nothing_matched(w: Watch, wet: list[AfterPause]) -> OfStops:
    why = "no stops are repeated at matched conditions, so a change of friction cannot be told from one of conditions"
    return OfStops(
        verdict="undetermined",
        also=["moisture"] if wet else [],
        evidence=Evidence(
            why=why,
            words=[why],
            not_excluded=["any change"],
            matched_stops=len(w.deciding),
            record_next=["repeat a matched check of five stops or more through the program"],
        ),
        charts_reason=why,
        onset_reason=why,
        mu_loss_reason=why,
        recovered_reason=why,
    )


def _result(found: Search, findings: list[Statement], settings: Drift) -> OfStops:
    """The finding that comes first, and what all of them rest on."""
    verdict, also = first_in_precedence([f.verdict for f in findings])
    lead = next((f for f in findings if f.verdict == verdict), None)
    if lead is None:
        none = _why_none(found, findings, settings)
        return OfStops(
            verdict=verdict,
            onset_reason=none,
            mu_loss_reason=none,
            recovered_reason="no fall to recover from",
            evidence=Evidence(why=none, words=[none]),
        )
    stop, low, high = lead.onset
    loss, loss_low, loss_high = lead.loss or (None, None, None)
    return OfStops(
        verdict=verdict,
        onset_stop=stop,
        onset_low=low,
        onset_high=high,
        mu_loss=loss,
        mu_loss_low=loss_low,
        mu_loss_high=loss_high,
        mu_loss_reason=None if lead.loss else "no matched stops both before and after",
        mu_loss_share=lead.loss_share,
        recovered=lead.recovered,
        recovered_reason=_why_not_recovered(lead),
        also=also,
        evidence=Evidence(
            why=lead.why,
            words=[word for f in findings for word in f.words],
            not_excluded=sorted({c for f in findings for c in f.not_excluded}),
            record_next=list(dict.fromkeys(n for f in findings for n in f.record_next)),
            items={f.verdict: f.items for f in findings},
        ),
    )


def _why_not_recovered(lead: Statement) -> str | None:
    """Why it is not known whether hard use brought friction back; None where it is known."""
    if lead.recovered is not None:
        return None
    item = lead.items.get("recovery")
    return item.words if isinstance(item, Item) else "not a fall that high-energy stops could bring back"


def _why_none(found: Search, findings: list[Statement], settings: Drift) -> str:
    d = found.found
    if d.alarm and not any("friction" in f.items for f in findings):
        return f"friction changed by less than {100 * settings.least_loss:g} %, which is not called a change"
    return (
        f"no drift signal ({100 * settings.false_alarm_rate:g} % false-alarm rate a test): largest shape"
        f" {abs(d.z[d.best]) if d.best >= 0 else 0:.1f} against {d.limits.ratio:.1f}, cumulative sum"
        f" {max(d.lower.max(initial=0), d.upper.max(initial=0)):.1f} against {d.limits.cusum:.1f}, weighted average"
        f" {np.abs(d.average).max(initial=0):.2f} against {d.limits.ewma:.2f}"
    )
