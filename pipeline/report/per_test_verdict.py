"""The verdict of a test at one glance: window, drift, wear, energy balance and stops of use, each as a figure with its
interval and one word of doubt.

The words are a reader's first look, not a second judgement: every figure and every answer is the stage's own, and the
full sentences stand beside them (`verdicts`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from pipeline.report import numbers, verdicts, wear_words
from pipeline.results.drift import TestDrift
from pipeline.results.friction import TestFriction
from pipeline.results.summary import TestSummary
from pipeline.results.wear import TestWear

#: answer whether friction holds over the target's range -> tone and word
HOLDS = {
    "yes": ("good", "target held"),
    "no": ("bad", "target not held"),
    "not shown": ("open", "target not shown"),
}


@dataclass(frozen=True)
class Glance:
    """One part of the verdict: what it is of, its figure, what goes with the figure, tone, word of doubt, its section."""

    name: str
    figure: str
    interval: str
    tone: str
    word: str
    section: str


def glances(
    stops: pl.DataFrame, friction: TestFriction, drift: TestDrift, wear: TestWear, summary: TestSummary
) -> list[Glance]:
    """The five parts in the order in which they are asked for."""
    return [of_window(friction), of_drift(drift), of_wear(wear), of_balance(summary), of_stops(stops)]


def of_window(friction: TestFriction) -> Glance:
    """The window; the word says whether it holds over the target's range, or by what it ends."""
    window = friction.window
    if window is None:
        return Glance(
            "Friction window", "none", _short(verdicts.no_window(friction) or ""), "open", "no window", "friction"
        )
    ends = [
        f"{name} {numbers.rounded(interval.low, 0)} to {numbers.rounded(interval.high, 0)} °C"
        for name, interval in (("lower end", window.low_interval_c), ("upper end", window.high_interval_c))
        if interval.low is not None and interval.high is not None
    ]
    limits = ((window.low_limited_by, "lower"), (window.high_limited_by, "upper"))
    ends += [f"{name} end: the data end" for by, name in limits if by == "data"]
    if friction.wanted_from not in (None, "target"):
        tone, word = "open", "no target"
    elif friction.holds is not None:
        tone, word = HOLDS[friction.holds.answer]
    else:
        tone, word = ("open", "data end") if "data" in (by for by, _ in limits) else ("good", "bounded")
    figure = f"{window.low_c:.0f} to {window.high_c:.0f} °C"
    return Glance("Friction window", figure, "; ".join(ends) or "ends without an interval", tone, word, "friction")


def of_drift(drift: TestDrift) -> Glance:
    """The drift verdict, first affected stop and loss; the word says whether friction came back, or how sure "none" is."""
    verdict = drift.verdict
    if verdict is None:
        why = verdicts.drift_reason(drift) or "drift.json gives no reason"
        return Glance("Drift", "not given", _short(why), "open", "not given", "drift")
    tone = verdicts.DRIFT[verdict][0]
    said = []
    if drift.onset_stop is not None:
        said.append(f"from stop {drift.onset_stop}{verdicts.span(drift.onset_low, drift.onset_high)}")
    if drift.mu_loss is not None:
        change = numbers.with_interval(-drift.mu_loss, *_turned(drift.mu_loss_low, drift.mu_loss_high))
        said.append(f"µ {change.replace('-', '−')}")
    word = {"none": "steady", "undetermined": "undetermined"}.get(verdict)
    if word is None:
        word = {
            "yes": "recovered",
            "no": "not recovered",
            "unclear": "recovery unclear",
            "not tested": "recovery untested",
        }[verdicts.recovery_word(drift)]
    if word == "recovered":
        tone = "open"
    if drift.also:
        said.append(f"also {', '.join(drift.also)}")
    return Glance("Drift", verdict, "; ".join(said) or "no drift signal", tone, word, "drift")


def _turned(low: float | None, high: float | None) -> tuple[float | None, float | None]:
    return (None, None) if low is None or high is None else (-high, -low)


def of_wear(wear: TestWear) -> Glance:
    """The disc's rate (or the first component's), the others' beside it; the word says whether laws are identified."""
    components = wear.components or {}
    names = sorted(components, key=lambda name: (not name.startswith("disc"), name))
    if not names:
        return Glance("Wear", "not given", _short(wear_words.none_words(wear)), "open", "no readings", "wear")
    rates = {name: wear_words.rate_words(components[name]) for name in names}
    given = {name: "because" not in said for name, said in rates.items()}
    first = names[0]
    figure, _, interval = rates[first].partition(" (")
    if given[first] and interval:
        figure = f"{wear_words.name_of(first)} {figure} µm per stop, {wear_words.basis(first)}"
        said = [f"({interval.removesuffix(' µm per stop')}"]
    else:
        figure, said = f"{wear_words.name_of(first)} {rates[first]}" if given[first] else "not given", []
    said += [
        f"{wear_words.name_of(name)} {rates[name].removesuffix(' µm per stop')}" for name in names[1:] if given[name]
    ]
    unknown = [name for name in names if not wear_words.identified(components[name])]
    if not all(given.values()):
        tone, word = "open", "rate missing"
    elif unknown:
        tone, word = "open", "no law" if len(unknown) == len(names) else f"no law: {wear_words.name_of(unknown[0])}"
    else:
        tone, word = "good", "law identified"
    return Glance("Wear", figure, "; ".join(said) or _short(rates[first]), tone, word, "wear")


def of_balance(summary: TestSummary) -> Glance:
    """Median energy ratio with the scatter of single stops; the word says whether the stage names causes of a departure."""
    balance = summary.energy_balance
    if balance is None or balance.ratio_median is None:
        why = (balance and balance.why) or summary.unusable or "no stop has an energy ratio"
        return Glance("Energy balance", "not given", _short(why), "open", "not checked", "quality")
    scatter = balance.ratio_scatter
    said = "scatter of a stop not given" if scatter is None else f"scatter of a stop {numbers.plain(scatter, '', 4)}"
    off = bool(balance.candidates)
    return Glance(
        "Energy balance",
        numbers.rounded(balance.ratio_median, 4),
        f"friction over kinetic energy, median; {said}",
        "open" if off else "good",
        "off 1" if off else "closes",
        "quality",
    )


def of_stops(stops: pl.DataFrame) -> Glance:
    """How many stops are of use, and what the others are."""
    return of_counts(dict(stops["status"].value_counts().iter_rows()) if len(stops) else {})


def of_counts(counts: Mapping[str, int]) -> Glance:
    """As `of_stops`, from the number of stops of each status."""
    ok, total = counts.get("ok", 0), sum(counts.values())
    others = [f"{counts[name]} {name}" for name in ("suspect", "rejected") if counts.get(name)]
    tone, word = ("bad", "none") if not ok else ("open", "some left out") if others else ("good", "all")
    return Glance("Stops usable", f"{ok} of {total}", ", ".join(others) or "none left out", tone, word, "stops")


def _short(text: str, most: int = 110) -> str:
    """A reason that fits a glance; the sentence beside it has it whole."""
    return text if len(text) <= most else text[: most - 1].rsplit(" ", 1)[0] + " …"
