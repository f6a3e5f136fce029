"""Window and line pressure where batches are not shown equivalent in friction.

The compound's window and map are those of all batches together; where a pair of batches is not shown equivalent in mu (by the
target's margin, at the reference conditions), the disc fitted may be of a batch that neither describes. Then

    window          that of the batches together: the highest of their lower ends to the lowest of their upper ends,
                    so that every batch holds the target band in all of it
    line pressure   by the batch with the least friction, which needs the most: mu of the map times f,
                    f = mu of the batch's own curve / mu of the map, both at the reference conditions;
                    u(ln mu)^2 = u(ln map)^2 + u(ln f)^2, the batch's curve and the map taken as independent

An end's interval is the highest (lowest) of the batches' ends of it, for the end of the batches together is no lower than any. A batch whose
window ends where its data do has no interval there, for its band holds to that end: the end itself stands for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from pipeline.constants import ZERO_C, normal_reach
from pipeline.duty.pressing import Pressing
from pipeline.results.batches import Pair
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import DutyWindow
from pipeline.results.friction_map import EndInterval, Window
from pipeline.results.model import USUAL_CONFIDENCE, renewed


def mu_unlike(pairs: Sequence[Pair]) -> str | None:
    """Why batches are not shown equivalent in friction; None where every pair is, or where there is one batch."""
    apart = [f"{one.a} and {one.b} {one.mu_verdict}" for one in pairs if one.mu_verdict != "equivalent"]
    return f"batches are not shown equivalent in µ: {', '.join(apart)}" if apart else None


def window_of(friction: CompoundFriction, unlike: str | None) -> tuple[CompoundFriction, DutyWindow | None]:
    """(the friction with the window that a duty is held against, what is told of that window); the friction as it is where batches
    are shown equivalent or are not told apart."""
    if unlike is None or not friction.by_batch:
        return friction, None
    pooled = friction.window
    beside = {
        "pooled_low_c": pooled.low_c if pooled else None,
        "pooled_high_c": pooled.high_c if pooled else None,
    }
    lacking = [one for one in friction.by_batch if one.window is None]
    if lacking:
        why = "; ".join(f"batch {one.batch} has no window: {one.window_reason or 'not given'}" for one in lacking)
        told = DutyWindow(why=f"{unlike}; {why}", **beside)
        return renewed(friction, window=None, window_reason=why), told
    windows = {one.batch: one.window for one in friction.by_batch if one.window is not None}
    first = max(windows, key=lambda name: windows[name].low_c)
    last = min(windows, key=lambda name: windows[name].high_c)
    low, high = windows[first].low_c, windows[last].high_c
    if low >= high:
        why = f"the batches' windows do not meet: {first} begins at {low:.0f} °C, {last} ends at {high:.0f}"
        return renewed(friction, window=None, window_reason=why), DutyWindow(why=f"{unlike}; {why}", **beside)
    joint = renewed(
        windows[first],
        low_interval_c=_end([*windows.values()], windows[first], upper=False),
        high_c=high,
        high_limited_by=windows[last].high_limited_by,
        high_why=windows[last].high_why,
        high_interval_c=_end([*windows.values()], windows[last], upper=True),
    )
    why = f"{unlike}; the window of the batches together, from {first} below and {last} above"
    return renewed(friction, window=joint), DutyWindow(low_c=low, high_c=high, why=why, **beside)


def _end(each: Sequence[Window], own: Window, *, upper: bool) -> EndInterval:
    """Interval of the lowest of upper ends, or of the highest of lower ones; none where none has one."""
    ends = [(one.high_c, one.high_interval_c) if upper else (one.low_c, one.low_interval_c) for one in each]
    base = own.high_interval_c if upper else own.low_interval_c
    if all(interval.low is None or interval.high is None for _, interval in ends):
        return base
    picked = min if upper else max
    return renewed(
        base,
        low=picked(at if interval.low is None else interval.low for at, interval in ends),
        high=picked(at if interval.high is None else interval.high for at, interval in ends),
        why=None,
    )


def pressing_of(
    pressing: Pressing, friction: CompoundFriction, unlike: str | None, confidence: float = USUAL_CONFIDENCE
) -> Pressing:
    """The map's friction as the batch with the least of it has it; as it is where batches are shown equivalent.

    confidence: of the friction's bands.
    """
    if unlike is None or not friction.by_batch:
        return pressing
    reach = normal_reach(confidence)
    reference = pressing.map_.reference.temperature - ZERO_C
    at_reference = float(pressing.map_.predict(pressing.map_.reference.temperature).mu[0])
    found, lacking = {}, []
    for one in friction.by_batch:
        curve = [(p.temperature_c, p.mu, (p.high - p.low) / (2 * reach * p.mu)) for p in one.curve]
        if not np.isfinite(at_reference) or not curve or not curve[0][0] <= reference <= curve[-1][0]:
            lacking.append(one.batch)
            continue
        at, mu, u = np.array(curve).T
        found[one.batch] = (float(np.interp(reference, at, mu)) / at_reference, float(np.interp(reference, at, u)))
    silent = f"; no friction of {' and '.join(lacking)} at the reference, which may be lower" if lacking else ""
    if not found:
        return replace(pressing, why=f"{unlike}{silent}")
    batch = min(found, key=lambda name: found[name][0])
    factor, u = found[batch]
    why = f"{unlike}; by {batch}, whose µ at the reference is {factor:.3f} times that of the map of all{silent}"
    return replace(pressing, batch=batch, factor=factor, factor_u=u, why=why)
