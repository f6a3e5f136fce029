"""Verdicts in words: the drift of a test, the window, the wear law. Words only; every figure comes from the stage's
file.
"""

from collections.abc import Mapping
from typing import Any

from pipeline.report import numbers
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.drift import EvidenceItem, Item, Size, TestDrift, Trend, Verdict
from pipeline.results.friction import OfMap, TestFriction
from pipeline.results.friction_map import EndInterval, WindowEstimate

DRIFT: dict[Verdict, tuple[str, str]] = {
    "none": ("good", "No drift: friction at the checks stayed where the bedded map puts it."),
    "glazing-like": (
        "bad",
        "Glazing-like: friction fell and stayed low after low-power use, while the torque chain stayed steady.",
    ),
    "fade": ("open", "Fade: friction fell as the disc got hot within a block and came back when it was cool."),
    "bedding-in": ("open", "Bedding-in: friction changed early and settled."),
    "sensor": ("bad", "Sensor: what changed is the measurement, not shown to be the material."),
    "moisture": ("open", "Moisture: the first stops after a pause were low and recovered within a few stops."),
    "undetermined": ("open", "Undetermined: friction changed, and the recorded channels cannot tell why."),
}


def span(low: Any, high: Any, decimals: int = 0) -> str:
    """` (low to high)` or nothing."""
    if not (numbers.is_number(low) and numbers.is_number(high)):
        return ""
    return f" ({numbers.rounded(low, decimals)} to {numbers.rounded(high, decimals)})"


def drift_reason(drift: TestDrift) -> str | None:
    """Why there is no verdict."""
    return drift.why or drift.unusable


def recovery_word(drift: TestDrift) -> str:
    """Whether high-energy stops brought friction back; what did not come back to near the level before and did not clearly fail is
    unclear."""
    if drift.recovered is None:
        return "not tested"
    item = drift.evidence.items.get(drift.verdict, {}).get("recovery") if drift.verdict else None
    return "yes" if drift.recovered else "unclear" if isinstance(item, Item) and item.answer == "unclear" else "no"


def drift_sentences(drift: TestDrift) -> tuple[str, list[str]]:
    """Tone and sentences of a drift verdict: what, from where, how much, whether it came back, what is not excluded."""
    verdict = drift.verdict
    if verdict is None:
        return "open", [f"No drift verdict: {drift_reason(drift) or 'drift.json gives no reason'}."]
    tone, first = DRIFT[verdict]
    said = [first]
    why = drift.evidence.why
    if why and verdict in ("undetermined", "none", "sensor"):
        said.append(f"Why: {why.rstrip('.')}.")
    if drift.onset_stop is not None:
        said.append(f"First affected stop: {drift.onset_stop}{span(drift.onset_low, drift.onset_high)}.")
    loss, share = drift.mu_loss, drift.mu_loss_share
    if loss is not None:
        change = "fell" if loss >= 0 else "rose"
        relative = "" if share is None else f" ({abs(share) * 100:.1f} % of the level before)"
        between = span(drift.mu_loss_low, drift.mu_loss_high, 3)
        interval = f", 95 % interval{between}" if between else ""
        said.append(f"Friction {change} by {abs(loss):.3f}{relative}{interval}.")
    if verdict not in ("none", "bedding-in"):
        untold = f"Recovery: not told: {drift.recovered_reason or 'no high-energy stops followed'}."
        back = {
            "yes": "High-energy stops brought it back to near the level before; the evidence tells how much of the loss they regained.",
            "no": "It did not recover after high-energy stops.",
            "unclear": "Whether it recovered after high-energy stops is not clear; the evidence tells how much of the loss they regained.",
            "not tested": untold,
        }
        said.append(back[recovery_word(drift)])
    if drift.also:
        said.append(f"Also seen: {', '.join(drift.also)}.")
    return tone, said


def evidence_rows(evidence: Any, prefix: str = "") -> list[tuple[str, str]]:
    """The evidence as (item, figure) rows: nested objects flattened, an interval's ends beside its value, lists as
    text.
    """
    rows: list[tuple[str, str]] = []
    content = evidence if isinstance(evidence, Mapping) else {}
    for key, value in content.items():
        stem = key.removesuffix("_low").removesuffix("_high")
        if stem != key and stem in content:
            continue
        name = f"{prefix}{numbers.words(key)}"
        if isinstance(value, Mapping):
            if {"value", "low", "high"} <= set(value) and numbers.is_number(value["value"]):
                rows.append((name, numbers.with_interval(value["value"], value["low"], value["high"])))
            elif "value" in value and value["value"] is None:
                rows.append((name, f"{numbers.MISSING}: {value.get('why') or 'no reason written'}"))
            else:
                rows += evidence_rows(value, f"{name}: ")
        elif isinstance(value, list):
            rows.append((name, "; ".join(one(item) for item in value) or "none"))
        elif numbers.is_number(value) and numbers.is_number(content.get(f"{key}_low")):
            rows.append((name, numbers.with_interval(value, content[f"{key}_low"], content.get(f"{key}_high"))))
        else:
            rows.append((name, one(value)))
    return rows


def one(value: Any) -> str:
    """A single piece of evidence as text."""
    if value is None:
        return numbers.MISSING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if numbers.is_number(value):
        if isinstance(value, int):
            return str(value)
        return f"{value:.4f}" if 0.9 < abs(value) < 1.1 else f"{value:.4g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{numbers.words(k)} {one(v)}" for k, v in value.items())
    if isinstance(value, list):
        return ", ".join(one(v) for v in value)
    return str(value)


def window_sentence(friction: TestFriction) -> tuple[str, str]:
    """Tone and sentence of the friction window: ends with their intervals, what limits them, mu in it."""
    window = friction.window
    if window is None:
        none = no_window(friction) or "friction.json gives no reason"
        return "open", f"No friction window: {none.rstrip('.')}.{estimated(friction)}"
    ends = [
        (f"{at:.0f} °C{end_span(interval)}", why)
        for at, interval, why in (
            (window.low_c, window.low_interval_c, window.low_why),
            (window.high_c, window.high_interval_c, window.high_why),
        )
    ]
    targeted = friction.wanted_from in (None, "target")
    source = "" if targeted else f" The target band is {friction.wanted_from}."
    return (
        "good" if targeted else "open",
        f"Friction window {ends[0][0]} to {ends[1][0]}{conditions(friction)}{not_elsewhere(friction)}. Lower end: {ends[0][1]}; upper end: {ends[1][1]}.{source}{estimated(friction)}",
    )


def estimated(friction: OfMap) -> str:
    """Where the window ends by best estimate, in a sentence that follows another; empty where there is nothing to say."""
    found = friction.window_estimate
    if found is None or by_data_alone(found):
        return ""
    low = f"{found.low_c:.0f} °C{end_span(found.low_interval_c)}"
    high = f"{found.high_c:.0f} °C{end_span(found.high_interval_c)}"
    return f" {estimate_words(found, low, high, f'{100 * found.coverage:.0f} %')}{of_no_window(friction)}"


def by_data_alone(estimate: WindowEstimate) -> bool:
    """Whether stops leave the target band at neither end inside the data, so that there is no end to estimate."""
    return estimate.low_limited_by == estimate.high_limited_by == "data"


def estimate_words(estimate: WindowEstimate, low: str, high: str, coverage: str) -> str:
    """The best estimate's sentence with its ends and coverage as they are to be written."""
    ends = [
        f"at {end}, where the data {where}" if by == "data" else f"at {end}"
        for end, by, where in (
            (low, estimate.low_limited_by, "begin"),
            (high, estimate.high_limited_by, "end"),
        )
    ]
    return f"By best estimate the middle {coverage} of single stops enter the band {ends[0]} and leave it {ends[1]}"


def of_no_window(friction: OfMap) -> str:
    """How the estimate is to be taken: the window decides, or there is none."""
    if friction.window is None:
        return "; that is not shown with confidence, so there is no window."
    return "; that has no margin for how well they are known, the window has it and decides."


def conditions(friction: TestFriction) -> str:
    """The reference's pressure and energy density, at which the window holds, in a phrase; empty where neither was recorded."""
    r = friction.reference
    values = () if r is None else ((r.pressure_bar, "bar", 1), (r.energy_density_j_mm2, "J/mm²", 1))
    given = [f"{value:.{places}f} {unit}" for value, unit, places in values if value is not None]
    return f" at the reference's {' and '.join(given)}" if given else ""


def not_elsewhere(friction: OfMap) -> str:
    """What a window without others beside it does not say, in a phrase."""
    return ", not for gentler or harder stops" if friction.windows_at_why else ""


def end_span(interval: EndInterval) -> str:
    """` (low to high)` of a window's end, open where the interval reaches the end of the data; or nothing."""
    said = span(interval.low, interval.high)
    return f"{said[:-1]}, where the data end, or beyond)" if said and interval.beyond_data else said


def narrowest(friction: CompoundFriction) -> int | None:
    """The place in `by_batch` of the batch with the narrowest window (or none), where the window of the batches taken
    together reaches beyond it; None where it reaches beyond no batch's."""
    window = friction.window
    if window is None or not friction.by_batch:
        return None
    widths = [one.window.high_c - one.window.low_c if one.window else -1.0 for one in friction.by_batch]
    place = widths.index(min(widths))
    own = friction.by_batch[place].window
    within = own is not None and own.low_c <= window.low_c and own.high_c >= window.high_c
    return None if within else place


def no_window(friction: TestFriction | CompoundFriction) -> str | None:
    """Why there is no window."""
    return friction.window_reason or friction.unusable


def drift_evidence(drift: TestDrift) -> tuple[list[str], list[list[str]], list[tuple[str, str]]]:
    """Evidence of a drift verdict: sentences, one row an item (verdict, item, answer, figure, threshold), the rest as
    names.
    """
    evidence = drift.evidence
    rows = [
        [verdict, numbers.words(name), *_item_cells(item)]
        for verdict, items in evidence.items.items()
        for name, item in items.items()
    ]
    if drift.unusable:
        return evidence.words, rows, []
    rest = [
        ("Not excluded", "; ".join(evidence.not_excluded) or "nothing"),
        ("Record next time", "; ".join(evidence.record_next) or "nothing"),
    ]
    further: dict[str, Any] = evidence.model_dump(
        include={"matched_stops", "decided_by", "scatter_why"}, exclude_none=True
    )
    rest += evidence_rows(further)
    if evidence.trend is not None:
        rest.append(("Trend over the whole test", trend_words(evidence.trend)))
    if evidence.stray_stops:
        rest.append(("Stray stops, left out of the chart", one(evidence.stray_stops)))
    return evidence.words, rows, rest


def trend_words(trend: Trend) -> str:
    """Slope over the watched stops with its interval, and the p of the test of no trend."""
    if trend.share_per_100_stops is None:
        return f"{numbers.MISSING}: {trend.why or 'no reason written'}"
    slope, low, high = (None if v is None else 100 * v for v in (trend.share_per_100_stops, trend.low, trend.high))
    assert slope is not None
    chance = "" if trend.p is None else f"; p {trend.p:.2g} (Mann-Kendall test of no trend)"
    return f"{numbers.with_interval(slope, low, high)} % of µ per 100 stops{chance}"


def _item_cells(item: EvidenceItem) -> list[str]:
    """Answer, figure and threshold of one piece of evidence."""
    if isinstance(item, Item):
        unit = "" if item.unit == "1" else item.unit
        value, threshold = item.value, item.threshold
        decimals = 0 if item.unit == "stops" else None
        figure = "–" if value is None else f"{numbers.with_interval(value, item.low, item.high, '', decimals)} {unit}"
        return [item.answer, figure.strip(), "–" if threshold is None else f"{threshold:.3g} {unit}".strip()]
    if isinstance(item, Size):
        further = item.model_dump(include={"mu_before", "stops"}, exclude_none=True)
        figure = numbers.with_interval(item.share, item.low, item.high)
        return [one(further), f"{figure} share", "–" if item.threshold is None else one(item.threshold)]
    said = [part.model_dump(mode="json") for part in item] if isinstance(item, list) else item.model_dump(mode="json")
    return ["", one(said), ""]
