"""Where stops of the two methods remain comparable: by temperature, and by temperature and energy density.

A class of stops is comparable where the change is small against what one stop is known to: 95 % of its stops move
by less than half a stop's standard uncertainty, or by less than 1 %. Stops of one temperature can move up and others
down, by how much energy they take; so each temperature is looked at by energy too. Tests kept as summary only stay on the method that
reduced them: never comparable with anything newer.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby, pairwise

import numpy as np
import polars as pl

from pipeline.delta import per_stop
from pipeline.results.delta import Answer, Change, Comparable, Conclusion, Range, TemperatureClass
from pipeline.results.model import fields, renewed

SMALL_RELATIVE = 0.01
SHARE_OF_U = 1 / 2
SHARE_OF_STOPS = 0.95


def answer(
    delta: pl.DataFrame, classes: list[TemperatureClass], changed: list[Conclusion], summary_only: list[str]
) -> Comparable:
    """yes, no, or in part: some temperatures or energies compare and others do not, or conclusions changed; with every class judged."""
    both = delta.filter(pl.col("mu_difference").is_not_null(), ~pl.col("test").is_in(summary_only))
    judged = [
        renewed(row, comparable=small(per_stop.within(both, "temperature_initial_c", row.low_c, row.high_c)))
        for row in classes
    ]
    if not judged:
        return Comparable(answer="no", text=_nothing(both, summary_only))
    held = [bool(row.comparable) for row in judged]
    ends = any(row.what != "usable" for row in changed)
    cells = ranges(both)
    whole = all(held) and all(cell.comparable for cell in cells) and not ends
    kind: Answer = "no" if not any(held) else "yes" if whole else "in part"
    return Comparable(answer=kind, text=sentence(judged, cells), classes=judged, ranges=cells)


def _nothing(both: pl.DataFrame, summary_only: list[str]) -> str:
    """Why no class of temperature can be judged."""
    if len(both):
        return "No stop with µ in both methods has a temperature at its start, so none can be judged by temperature."
    anew = " of a test that was reduced anew" if summary_only else ""
    return f"No stop{anew} has µ in both methods."


def small(part: pl.DataFrame) -> bool:
    """Whether the change of mu is small against what one stop is known to."""
    if not len(part):
        return True
    difference = np.abs(part["mu_difference"].to_numpy())
    u = part["mu_u"].fill_null(0.0).to_numpy() * SHARE_OF_U
    limit = np.maximum(u, SMALL_RELATIVE * np.abs(part["mu_a"].to_numpy()))
    return bool(np.mean(difference <= limit) >= SHARE_OF_STOPS)


def ranges(both: pl.DataFrame) -> list[Range]:
    """Classes of temperature by classes of energy density; none where the energies leave no gap."""
    edges = per_stop.energy_edges(both)
    rows = []
    for low_c, high_c in per_stop.CLASSES if edges else ():
        warm = per_stop.within(both, "temperature_initial_c", low_c, high_c)
        for low, high in pairwise([None, *edges, None]):
            part = per_stop.within(warm, "energy_density_j_mm2", low, high)
            if len(part):
                rows.append(
                    Range(
                        low_c=low_c, high_c=high_c, low_j_mm2=low, high_j_mm2=high, stops=len(part), comparable=small(part),
                        **fields(per_stop.quantiles(part)),
                    )
                )  # fmt: skip
    return rows


def sentence(classes: list[TemperatureClass], cells: Sequence[Range] = ()) -> str:
    """Which temperatures compare, in a sentence; neighbouring classes of one answer are told as one, energies that differ by themselves."""
    runs = [(held, list(rows)) for held, rows in groupby(classes, key=lambda row: bool(row.comparable))]
    if not any(held for held, _ in runs):
        return f"µ of old and new stops is not comparable at any temperature ({moves(classes)})."
    good = {(row.low_c, row.high_c) for held, rows in runs if held for row in rows}
    apart = [cell for cell in cells if not cell.comparable and (cell.low_c, cell.high_c) in good]
    named = [
        f"{energy(cell.low_j_mm2, cell.high_j_mm2)} {span(cell.low_c, cell.high_c)} ({moves([cell])})" for cell in apart
    ]
    but = f", except stops {'; '.join(named)}" if named else ""
    if all(held for held, _ in runs):
        return f"µ of old and new stops is comparable at every temperature{but}."
    bad = "; ".join(f"{span(rows[0].low_c, rows[-1].high_c)} ({moves(rows)})" for held, rows in runs if not held)
    held_at = ", ".join(span(rows[0].low_c, rows[-1].high_c) for held, rows in runs if held)
    return f"µ of old and new stops is not comparable {bad}; it is {held_at}{but}."


def moves(classes: Sequence[Change]) -> str:
    """The change of 90 % of the stops of some classes, from the lowest to the highest: `−5 to +2 %`."""
    low = min((row.relative_p05 for row in classes if row.relative_p05 is not None), default=None)
    high = max((row.relative_p95 for row in classes if row.relative_p95 is not None), default=None)
    if low is None or high is None:
        return "no change to state"
    ends = dict.fromkeys([percent(low), percent(high)])
    return f"{' to '.join(ends)}\u00a0%"


def percent(share: float) -> str:
    """A relative change as per cent with its sign, one decimal below ten."""
    value = 100 * share
    text = f"{value:+.1f}" if abs(value) < 9.95 else f"{value:+.0f}"
    return "0" if float(text) == 0 else text.replace("-", "−")


def energy(low: float | None, high: float | None) -> str:
    """A range of energy densities in words."""
    if low is None:
        return f"below {high:g} J/mm²"
    return f"from {low:g} J/mm²" if high is None else f"of {low:g} to {high:g} J/mm²"


def span(low: float | None, high: float | None) -> str:
    """A range of temperatures in words."""
    if low is None and high is None:
        return "at every temperature"
    if low is None:
        return f"below {high:.0f} °C"
    return f"from {low:.0f} °C" if high is None else f"from {low:.0f} to {high:.0f} °C"
