"""The cooling opening from closed to full: what each does, and which to run.

The opening to run is the widest unbroken range in which the wanted share of the settled cycle's energy lies
in the compound's window. Its ends are refined by running more openings between the last that fails and the
first that holds.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from pipeline.archive.duties import DutyCycle
from pipeline.constants import ZERO_C, Array
from pipeline.duty.cycle import Air, Events, History, settle
from pipeline.duty.lives import over_distance, told
from pipeline.duty.project import (
    Brake,
    exposures,
    glazing_share,
    support,
    window_share,
)
from pipeline.duty.support import Braked, braked
from pipeline.results.duty import DutyProjection, Span, SweepRow
from pipeline.tested.told import in_words

GRID = np.round(np.linspace(0, 1, 41) ** 1.5, 6)  # a closed duct is the more sensitive end
SHOWN = 2  # every second opening of the grid is written out with its wear
REFINEMENTS, BETWEEN = 3, 9


def rows(
    duty: DutyCycle, events: Events, settled: History, brake: Brake, opening: Array, brakings: Braked | None = None
) -> list[SweepRow]:
    """One row per shown opening: temperatures, shares, wear and life of the settled cycle.

    opening: [k] of the grid, and the duty file's own last, 1; brakings: at the grid's openings (None: without a map).
    """
    grid = range(len(GRID))
    known = brakings or braked(
        duty, events, settled, brake.temperature_kind, grid, brake.known, brake.rubbing.friction_area
    )
    low, high = settled.lowest() - ZERO_C, settled.highest() - ZERO_C
    inside, gentle = window_share(settled, events, brake), glazing_share(settled, events, brake)
    found = []
    shown = range(0, len(GRID), SHOWN)
    for k, stops in zip(shown, exposures(settled, events, brake, shown), strict=True):
        of = told(brake.components, brake.batches, brake.alike, stops, 1, brake.confidence)
        km, pooled = (over_distance(one, duty.length) for one in (of.life, of.pooled.cycles))
        stands = support(known, k, settled, brake, stops, k)
        found.append(
            SweepRow(
                opening=float(opening[k]),
                temperature_low_c=float(low[k]),
                temperature_high_c=float(high[k]),
                window_share=None if inside is None else float(inside[k]),
                glazing_share=None if gentle is None else float(gentle[k]),
                wear_um_per_cycle=of.pooled.wear,
                life_km=km.value,
                life_km_low=km.low,
                life_of=of.of.batch if of.of else None,
                pooled_life_km=pooled.value if brake.batches else None,
                window_share_tested=stands.window_share_tested,
                extrapolated=[in_words(one) for one in stands.extrapolations],
            )
        )
    return found


def opening_to_run(
    events: Events, settled: History, brake: Brake, air: Air, opening: Array, wanted: float
) -> tuple[Span | None, str | None]:
    """(openings, None), or (None, why): no window, no opening, or none that holds the wanted share."""
    share = window_share(settled, events, brake)
    if share is None:
        return None, brake.window_why or "the compound has no window"
    grid, share = opening[: len(GRID)], share[: len(GRID)]
    good = share >= wanted - 1e-12
    if not good.any():
        return None, _why_none(events, settled, brake, grid, share, wanted)
    first, last = _longest(good)
    ends = [(float(grid[first]), float(grid[first - 1]) if first else None)]
    ends.append((float(grid[last]), float(grid[last + 1]) if last + 1 < len(grid) else None))
    low, high = _edges(events, brake, air, ends, wanted)
    return Span(low=low, high=high), None


def sure_range(events: Events, settled: History, brake: Brake, opening: Array, wanted: float) -> Span | None:
    """The openings that hold the wanted share even by the inner ends of the window's intervals, on the
    grid.

    opening: [k] of the grid, 1; wanted: share of the energy, 1.
    """
    if brake.window_inner is None or brake.window_inner[0] >= brake.window_inner[1]:
        return None
    share = window_share(settled, events, brake, brake.window_inner)
    assert share is not None
    good = share[: len(GRID)] >= wanted - 1e-12
    if not good.any():
        return None
    first, last = _longest(good)
    return Span(low=float(opening[first]), high=float(opening[last]))


def _longest(good: NDArray[np.bool_]) -> tuple[int, int]:
    """First and last index of the longest unbroken run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    starts, ends = edges[::2], edges[1::2]
    best = int(np.argmax(ends - starts))
    return int(starts[best]), int(ends[best]) - 1


def _edges(
    events: Events, brake: Brake, air: Air, ends: list[tuple[float, float | None]], wanted: float
) -> list[float]:
    """Each end moved from the opening that holds towards the one that fails (None: the sweep's own end)."""
    for _ in range(REFINEMENTS):
        between = [
            np.linspace(holds, fails, BETWEEN + 2)[1:-1] if fails is not None else np.array([holds])
            for holds, fails in ends
        ]
        settled = settle(events, brake.disc, air, np.concatenate(between), brake.heat_share)
        share = window_share(settled, events, brake)
        assert share is not None
        good = share >= wanted - 1e-12
        split = len(between[0])
        ends = [_closer(end, at, ok) for end, at, ok in zip(ends, between, (good[:split], good[split:]), strict=True)]
    return [holds for holds, _ in ends]


def _closer(end: tuple[float, float | None], at: Array, good: NDArray[np.bool_]) -> tuple[float, float | None]:
    """The last opening that holds and the first that fails, on the way from one to the other."""
    holds, fails = end
    if fails is None:
        return end
    failing = np.flatnonzero(~good)
    reached = int(failing[0]) if len(failing) else len(at)
    return (
        float(at[reached - 1]) if reached else holds,
        float(at[reached]) if reached < len(at) else fails,
    )


def _why_none(events: Events, settled: History, brake: Brake, grid: Array, share: Array, wanted: float) -> str:
    """Which side fails at the best opening."""
    assert brake.window is not None
    best = int(np.argmax(share))
    path = settled.braking
    kinds = {"initial": path[:, 0], "mean": path.mean(axis=1), "end": path[:, -1], "peak": path.max(axis=1)}
    temperature = kinds[brake.temperature_kind] - ZERO_C
    weight = events.energy / events.energy.sum()
    cold = float(weight @ (temperature[:, best] < brake.window[0]))
    hot = float(weight @ (temperature[:, best] > brake.window[1]))
    sides = [f"{x:.0%} {word}" for x, word in ((cold, "too cold"), (hot, "too hot")) if x > 0]
    return (
        f"no opening holds {wanted:.0%} of the energy in the window; the best, {grid[best]:.2f}, holds "
        f"{share[best]:.0%} "
        f"({', '.join(sides)})"
    )


def common(duties: Sequence[DutyProjection]) -> tuple[Span | None, str | None]:
    """One opening for all duties, or why there is none."""
    spans = [(one.duty, one.opening_to_run) for one in duties if one.opening_to_run is not None]
    lacking = [one.duty for one in duties if one.opening_to_run is None]
    if lacking:
        return None, f"no opening to run on {', '.join(lacking)}"
    low, high = max(span.low for _, span in spans), min(span.high for _, span in spans)
    if low > high:
        said = "; ".join(f"{duty} {span.low:.2f} to {span.high:.2f}" for duty, span in spans)
        return None, f"the duties' openings do not overlap: {said}"
    return Span(low=low, high=high), None
