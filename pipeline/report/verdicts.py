"""Verdicts in words: the drift of a test, the window, the wear law. Words only; every figure comes from the stage's file."""

from collections.abc import Mapping
from typing import Any

from pipeline.report import numbers

DRIFT = {
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


def drift_sentences(drift: Mapping[str, Any]) -> tuple[str, list[str]]:
    """Tone and sentences of a drift verdict: what, from where, how much, whether it came back, what is not excluded."""
    verdict = drift.get("verdict")
    if verdict is None:
        return "open", [f"No drift verdict: {numbers.why_missing(drift, 'verdict') or 'drift.json gives no reason'}."]
    tone, first = DRIFT.get(verdict, ("open", f"{verdict}."))
    said = [first]
    why = (drift.get("evidence") or {}).get("why") if isinstance(drift.get("evidence"), Mapping) else None
    if why and verdict in ("undetermined", "none", "sensor"):
        said.append(f"Why: {str(why).rstrip('.')}.")
    if drift.get("onset_stop") is not None:
        said.append(
            f"First affected stop: {drift['onset_stop']}{span(drift.get('onset_low'), drift.get('onset_high'))}."
        )
    loss, share = drift.get("mu_loss"), drift.get("mu_loss_share")
    if isinstance(loss, Mapping):
        loss = loss.get("value")
    if isinstance(share, Mapping):
        share = share.get("value")
    if numbers.is_number(loss):
        change = "fell" if loss >= 0 else "rose"
        relative = f" ({abs(share) * 100:.1f} % of the level before)" if numbers.is_number(share) else ""
        said.append(f"Friction {change} by {abs(loss):.3f}{relative}{_loss_interval(drift)}.")
    if verdict not in ("none", "bedding-in"):
        said.append(
            {"True": "It recovered afterwards.", "False": "It did not recover after high-energy stops."}.get(
                str(drift.get("recovered")),
                f"Recovery: not told: {drift.get('recovered_reason') or 'no high-energy stops followed'}.",
            )
            if "recovered" in drift
            else "Nothing is written about recovery."
        )
    if drift.get("also"):
        said.append(f"Also seen: {', '.join(str(v) for v in drift['also'])}.")
    return tone, said


def _loss_interval(drift: Mapping[str, Any]) -> str:
    loss = drift.get("mu_loss")
    low, high = (
        (loss.get("low"), loss.get("high"))
        if isinstance(loss, Mapping)
        else (drift.get("mu_loss_low"), drift.get("mu_loss_high"))
    )
    return f", 95 % interval{span(low, high, 3)}" if numbers.is_number(low) and numbers.is_number(high) else ""


def evidence_rows(evidence: Any, prefix: str = "") -> list[tuple[str, str]]:
    """The evidence as (item, figure) rows: nested objects flattened, an interval's ends beside its value, lists as text."""
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
                rows.append((name, f"{numbers.MISSING}: {numbers.why_missing(value, 'value') or 'no reason written'}"))
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


def window_sentence(friction: Mapping[str, Any]) -> tuple[str, str]:
    """Tone and sentence of the friction window: ends with their intervals, what limits them, mu in it."""
    window = friction.get("window")
    if not window:
        reason = (
            friction.get("window_reason") or numbers.why_missing(friction, "window") or "friction.json gives no reason"
        )
        return "open", f"No friction window: {reason}"
    limits = {"band": "the tolerance band leaves the wanted band", "data": "the data end"}
    ends = []
    for end in ("low", "high"):
        interval = window.get(f"{end}_interval_c") or {}
        why = window.get(f"{end}_why") or limits.get(window.get(f"{end}_limited_by"), "not explained")
        ends.append((f"{window[f'{end}_c']:.0f} °C{span(interval.get('low'), interval.get('high'))}", why))
    targeted = friction.get("wanted_from") in (None, "target")
    source = "" if targeted else f" The wanted band is {friction['wanted_from']}."
    return (
        "good" if targeted else "open",
        f"Friction window {ends[0][0]} to {ends[1][0]}. Lower end: {ends[0][1]}; upper end: {ends[1][1]}.{source}",
    )


def drift_evidence(evidence: Mapping[str, Any] | None) -> tuple[list[str], list[list[str]], list[tuple[str, str]]]:
    """Evidence of a drift verdict: sentences, one row an item (verdict, item, answer, figure, threshold), the rest as names."""
    evidence = evidence or {}
    rows: list[list[str]] = []
    for verdict, items in (evidence.get("items") or {}).items():
        for name, item in (items or {}).items():
            if isinstance(item, Mapping) and "answer" in item:
                unit = "" if item.get("unit") in (None, "1") else str(item["unit"])
                figure = (
                    f"{numbers.with_interval(item['value'], item.get('low'), item.get('high'))} {unit}"
                    if numbers.is_number(item.get("value"))
                    else "\u2013"
                )
                threshold = f"{item['threshold']:.3g} {unit}" if numbers.is_number(item.get("threshold")) else "\u2013"
                rows.append([verdict, numbers.words(name), str(item["answer"]), figure.strip(), threshold.strip()])
            elif isinstance(item, Mapping) and numbers.is_number(item.get("share")):
                figure = numbers.with_interval(item["share"], item.get("low"), item.get("high"))
                further = {k: v for k, v in item.items() if k not in ("share", "low", "high", "threshold")}
                threshold = one(item["threshold"]) if "threshold" in item else "\u2013"
                rows.append([verdict, numbers.words(name), one(further), f"{figure} share", threshold])
            else:
                rows.append([verdict, numbers.words(name), "", one(item), ""])
    rest = [(title, "; ".join(str(v) for v in evidence.get(key) or []) or "nothing") for title, key in
            (("Not excluded", "not_excluded"), ("Record next time", "record_next")) if key in evidence]  # fmt: skip
    known = {"words", "items", "not_excluded", "record_next", "why", "pauses", "scatter", "stray_stops"}
    rest += evidence_rows({k: v for k, v in evidence.items() if k not in known})
    stray = evidence.get("stray_stops") or []
    if stray:
        rest.append(("Stray stops, left out of the chart", one(list(stray))))
    return [str(word) for word in evidence.get("words") or []], rows, rest
