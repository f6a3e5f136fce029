"""A duty's figures with the uncertainty of their heat inputs: temperatures, share in the window, ends of the openings.

Temperatures follow each draw of the inputs by the parabola through their nodes (`pipeline.heat.propagation`), the window's ends are
drawn from their own intervals and, being in indicated temperature, move together with the thermocouple's bias. Every draw then
counts as the figures themselves do. Wear and life are drawn with their law (`pipeline.wear.predict`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import special

from pipeline.constants import ZERO_C, Array, normal_reach
from pipeline.duty.cycle import Events, History
from pipeline.duty.project import Brake, brakings_at
from pipeline.heat.propagation import Draws, along, bend, by_source, dominant, shares, standard
from pipeline.results.duty import Span
from pipeline.results.model import renewed
from pipeline.results.sources import InputName, Sourced
from pipeline.wear.predict import interval
from pipeline.wording import in_percent

COUNT = 400
FINE = 201  # openings between the grid's ends
WINDOW, REST = "window", "what does not add up"


def draws_of(settled: History) -> dict[InputName, Array]:
    """Draws [COUNT] of the inputs that move the cycle, and of the thermocouple's bias."""
    return {name: standard(name, COUNT) for name in dict.fromkeys([*settled.nodes, "thermocouple"])}


def temperature_ends(settled: History, opening: int, confidence: float) -> tuple[Sourced, Sourced]:
    """Lowest and highest temperature of the cycle in degC, with intervals."""
    z = draws_of(settled)
    found = []
    for end in (History.lowest, History.highest):
        at = np.array(end(settled)[opening])
        nodes = {name: (np.array(end(a)[opening]), np.array(end(b)[opening])) for name, (a, b) in settled.nodes.items()}
        found.append(_sourced(float(at) - ZERO_C, along(at, nodes, z) - ZERO_C, z, confidence, REST))
    return found[0], found[1]


def brakings_drawn(settled: History, brake: Brake) -> Array:
    """The braking's temperature, as the window is in, of every draw in degC, [COUNT, e, k]."""
    at = brakings_at(settled, brake.temperature_kind)
    nodes = {
        name: (brakings_at(a, brake.temperature_kind), brakings_at(b, brake.temperature_kind))
        for name, (a, b) in settled.nodes.items()
    }
    return along(at, nodes, draws_of(settled))


def coldest_starts(histories: Sequence[History], brake: Brake) -> Array:
    """Lower end of the temperature at which each braking begins, as the rig's thermocouple would show it, degC [c, e, k].

    By the moments of the parabolas through the inputs' nodes, z being standard normal: mean T + sum c, variance sum (b^2 + 2 c^2). The
    same inputs move all brakings of a use, so that their ends go together.
    """
    at = np.array([h.braking[:, 0] for h in histories]) - ZERO_C
    bias = brake.known_input("thermocouple")
    middle, variance = at.copy(), np.full(at.shape, 0.0 if bias is None else bias.u**2)
    for name in [one for one in histories[-1].nodes if all(one in h.nodes for h in histories)]:
        low, high = (np.array([h.nodes[name][side].braking[:, 0] for h in histories]) - ZERO_C for side in range(2))
        b, c = bend(at, low, high)
        middle, variance = middle + c, variance + b**2 + 2 * c**2
    reach = normal_reach(brake.confidence) * np.sqrt(variance)
    return np.asarray(np.minimum(middle - reach, at), float)


def window_drawn(brake: Brake) -> tuple[Array, Array]:
    """Ends of the window of every draw in degC, true rather than indicated, [COUNT] each."""
    assert brake.window is not None
    inner, outer = brake.window_inner or brake.window, brake.window_outer or brake.window
    bias = brake.known_input("thermocouple")
    moved = standard("thermocouple", COUNT) * (0.0 if bias is None else bias.u)
    even = special.ndtri((np.arange(COUNT) + 0.5) / COUNT)
    ends = []
    for side, (end, one, other) in enumerate(zip(brake.window, inner, outer, strict=True)):
        # an end lies near the careful side of its interval and not in its middle: each side has its own width
        drawn = np.random.default_rng([13, side]).permutation(even) / normal_reach(brake.window_confidence)
        ends.append(end + moved + np.where(drawn > 0, max(one, other, end) - end, end - min(one, other, end)) * drawn)
    return ends[0], ends[1]


def shares_drawn(temperature: Array, events: Events, brake: Brake) -> Array:
    """Share of the energy in the window of every draw [COUNT, ...] from brakings' temperatures [COUNT, e, ...] in degC."""
    low, high = (end.reshape(-1, *[1] * (temperature.ndim - 1)) for end in window_drawn(brake))
    inside = (temperature >= low) & (temperature <= high)
    return np.asarray(np.einsum("e,de...->d...", events.energy, inside) / events.energy.sum())


def share_span(
    settled: History, events: Events, brake: Brake, opening: int, value: float
) -> tuple[Span | None, dict[str, float] | None]:
    """(interval of the share in the window, its variance by source); None without a window, or where nothing of it is uncertain."""
    if brake.window is None or (brake.window_inner is None and not settled.nodes):
        return None, None
    drawn = shares_drawn(brakings_drawn(settled, brake)[:, :, opening], events, brake)
    found = _sourced(value, drawn, draws_of(settled), brake.confidence, WINDOW)
    assert found.low is not None and found.high is not None
    return Span(low=found.low, high=found.high), found.by_source


def surely_inside(settled: History, events: Events, brake: Brake, wanted: float) -> NDArray[np.bool_]:
    """Whether the wanted share lies in the window in all but the tail of the draws, at each opening [k]."""
    share = shares_drawn(brakings_drawn(settled, brake), events, brake)
    return np.asarray((share >= wanted - 1e-12).mean(axis=0) >= (1 + brake.confidence) / 2)


def opening_ends(
    settled: History, events: Events, brake: Brake, grid: Array, wanted: float, span: Span
) -> tuple[Sourced, Sourced] | None:
    """Both ends of the openings that hold the wanted share in the window, with intervals: in every draw the widest unbroken range
    on a fine grid of openings. grid: [k], the first of the settled cycle's; span: the openings found. None without a window.

    In some draws no opening holds it, and there is no end: the interval of the others is then widened until it holds the end in the
    confidence's share of all draws, and says how many have none. Where these are more than the interval may miss there is none."""
    if brake.window is None:
        return None
    fine = np.linspace(grid[0], grid[-1], FINE)
    drawn = brakings_drawn(settled, brake)[:, :, : len(grid)]
    place = np.interp(fine, grid, np.arange(len(grid)))
    left = np.minimum(place.astype(int), len(grid) - 2)
    part = place - left
    ends = np.full((COUNT, 2), np.nan)
    low, high = window_drawn(brake)
    for d in range(COUNT):
        between = drawn[d][:, left] * (1 - part) + drawn[d][:, left + 1] * part
        inside = (between >= low[d]) & (between <= high[d])
        good = events.energy @ inside / events.energy.sum() >= wanted - 1e-12
        if good.any():
            first, last = longest(good)
            ends[d] = fine[first], fine[last]
    lost = np.isnan(ends[:, 0])
    z = draws_of(settled)
    if lost.mean() > 1 - brake.confidence:
        why = f"at other heat inputs within their uncertainty no opening holds the window ({in_percent(lost.mean())} of them)"
        return Sourced(value=span.low, why=why), Sourced(value=span.high, why=why)
    own: Draws = {name: one[~lost] for name, one in z.items()}
    sure = brake.confidence / (1 - float(lost.mean()))
    found = [
        _sourced(value, ends[~lost, side], own, min(sure, 1.0), WINDOW)
        for side, value in enumerate((span.low, span.high))
    ]
    if lost.any():
        why = f"in {in_percent(lost.mean(), 1)} of the heat inputs within their uncertainty no opening holds the window"
        found = [renewed(one, why=why) for one in found]
    return found[0], found[1]


def longest(good: NDArray[np.bool_]) -> tuple[int, int]:
    """First and last index of the longest unbroken run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], good.astype(int), [0]])))
    starts, ends = edges[::2], edges[1::2]
    best = int(np.argmax(ends - starts))
    return int(starts[best]), int(ends[best]) - 1


def _sourced(value: float, drawn: Array, z: Mapping[InputName, Array], confidence: float, rest: str) -> Sourced:
    """A figure with the interval of its draws and what of it each source makes."""
    ends = interval(value, drawn, confidence)
    told = by_source(shares(drawn, z, rest)) if drawn.std() > 1e-9 * max(abs(value), 1.0) else None
    if told is not None:
        told.pop(REST, None)
    return Sourced(value=ends.value, low=ends.low, high=ends.high, by_source=told, dominated_by=dominant(told))
