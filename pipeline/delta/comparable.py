"""Whether sheets of the two methods remain comparable.

A class of stops is comparable where the change is small against what one stop is known to: 95 % of its stops move
by less than half a stop's standard uncertainty, or by less than 1 %. Conclusions that changed are named, and tests
kept as summary only stay on the method that reduced them: never comparable with anything newer.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from pipeline.results.delta import Answer, Comparable, Conclusion, TemperatureClass
from pipeline.results.model import renewed

SMALL_RELATIVE = 0.01
SHARE_OF_U = 1 / 2


def answer(
    delta: pl.DataFrame, classes: list[TemperatureClass], changed: list[Conclusion], summary_only: list[str]
) -> Comparable:
    """yes, no, or in part: some temperatures compare and others do not; with every class judged."""
    both = delta.filter(pl.col("mu_difference").is_not_null(), ~pl.col("test").is_in(summary_only))
    judged = [renewed(row, comparable=_small(both, row)) for row in classes]
    if not judged:
        return Comparable(answer="no", text="no stop has mu in both methods")
    held = [bool(row.comparable) for row in judged]
    ends = [row for row in changed if row.what != "usable"]
    kind: Answer = ("in part" if ends else "yes") if all(held) else ("in part" if any(held) else "no")
    return Comparable(answer=kind, text=_words(kind, judged, ends, summary_only), classes=judged)


def _small(both: pl.DataFrame, row: TemperatureClass) -> bool:
    low = -np.inf if row.low_c is None else row.low_c
    high = np.inf if row.high_c is None else row.high_c
    part = both.filter(pl.col("temperature_initial_c") >= low, pl.col("temperature_initial_c") < high)
    if not len(part):
        return True
    difference = np.abs(part["mu_difference"].to_numpy())
    u = part["mu_u"].fill_null(0.0).to_numpy() * SHARE_OF_U
    limit = np.maximum(u, SMALL_RELATIVE * np.abs(part["mu_a"].to_numpy()))
    return bool(np.mean(difference <= limit) >= 0.95)


def _words(kind: Answer, classes: list[TemperatureClass], changed: list[Conclusion], summary_only: list[str]) -> str:
    texts = []
    if kind == "yes":
        texts.append("sheets of both methods are comparable: no class of stops moves by more than a stop is known to")
    else:
        good = [_span(row) for row in classes if row.comparable]
        bad = [f"{_span(row)}{_moved(row)}" for row in classes if not row.comparable]
        texts.append(f"comparable: {', '.join(good) or 'nothing'}; not comparable: {', '.join(bad) or 'nothing'}")
    if changed:
        subjects = list(dict.fromkeys(row.name for row in changed))
        of = f"{', '.join(subjects[:4])}{' and others' if len(subjects) > 4 else ''}"
        count = "one conclusion" if len(changed) == 1 else f"{len(changed)} conclusions"
        texts.append(f"{count} changed, of {of}, listed one by one below")
    else:
        texts.append("no conclusion changed")
    if summary_only:
        texts.append(f"not reprocessable, kept on the method that reduced them: {', '.join(summary_only)}")
    return "; ".join(texts)


def _moved(row: TemperatureClass) -> str:
    if row.relative_p05 is None or row.relative_p95 is None:
        return ""
    return f" ({100 * row.relative_p05:+.1f} to {100 * row.relative_p95:+.1f} %)"


def _span(row: TemperatureClass) -> str:
    if row.low_c is None:
        return f"stops below {row.high_c:.0f} °C"
    return f"from {row.low_c:.0f} °C" if row.high_c is None else f"{row.low_c:.0f} to {row.high_c:.0f} °C"
