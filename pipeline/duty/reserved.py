"""Openings to run that rest mostly on what was not tested are not free of reservation.

Of the openings that hold by every careful end, those stay without reservation at which at least half of the energy in the window
brakes at conditions that were tested (the longest unbroken run of the sweep's openings). Where the duty asks for a life, and less than half of its wear
is at conditions that the readings cover, no opening is without reservation: no opening changes the energies and powers of a duty.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from pipeline.constants import Array
from pipeline.duty.limits import Openings
from pipeline.duty.propagation import longest
from pipeline.results.duty import DutySupport, Span
from pipeline.results.openings import NotExcluded
from pipeline.results.support import basis_of
from pipeline.tested.told import in_words
from pipeline.wording import in_percent

MOSTLY = "mostly extrapolated"


def reserved(
    found: Openings, support: DutySupport, grid: Array, tested: Array, share: Array, *, life: bool
) -> Openings:
    """The openings with what their support stands against them.

    grid: openings of the sweep [k]; tested, share: of the energy in the window and tested, and in the window [k]; life: whether
    the duty asks for one.
    """
    span = found.span
    if span is None:
        return found
    part = np.divide(tested, share, out=np.zeros_like(tested), where=share > 0)
    open_ = [
        *_window(span, support, grid, part),
        *(_wear(span, support) if life and support.life_basis == MOSTLY else []),
    ]
    if not open_:
        return found
    sure = None if any(one.cause == "wear data" for one in open_) else _kept(found.sure, grid, part)
    why = None if sure else found.sure_why or "; ".join(one.why for one in open_)
    return dataclasses.replace(found, sure=sure, sure_why=why, not_excluded=(*found.not_excluded, *open_))


def _window(span: Span, support: DutySupport, grid: Array, part: Array) -> list[NotExcluded]:
    """Over the openings to run at which the share in the window is mostly extrapolated."""
    own = _inside(grid, span)
    poor = np.array([basis_of(float(value)) == MOSTLY for value in part]) & own
    if not poor.any():
        return []
    at = np.flatnonzero(poor)
    first, last = np.flatnonzero(own)[[0, -1]]
    low = span.low if at[0] == first else float(grid[at[0]])
    high = span.high if at[-1] == last else float(grid[at[-1]])
    least = float(part[poor].min())
    entries = [in_words(one).removeprefix("friction: ") for one in support.extrapolations if one.of == "friction"]
    beyond = f": {'; '.join(entries)}" if entries else ""
    why = f"of the energy in the window {in_percent(least)} brakes at conditions whose friction was tested{beyond}"
    return [NotExcluded(cause="window", low=low, high=high, why=why)]


def _wear(span: Span, support: DutySupport) -> list[NotExcluded]:
    entries = dict.fromkeys(in_words(one) for one in support.extrapolations if one.of.startswith("wear"))
    why = f"the life that is asked for rests mostly on wear that no reading covers: {'; '.join(entries)}"
    return [NotExcluded(cause="wear data", low=span.low, high=span.high, why=why)]


def _kept(sure: Span | None, grid: Array, part: Array) -> Span | None:
    """The longest run of openings without reservation that do not rest mostly on extrapolation."""
    if sure is None:
        return None
    own = _inside(grid, sure)
    good = own & (part >= 0.5)
    if not good.any():
        return None
    a, b = longest(good)
    first, last = np.flatnonzero(own)[[0, -1]]
    return Span(low=sure.low if a == first else float(grid[a]), high=sure.high if b == last else float(grid[b]))


def _inside(grid: Array, span: Span) -> np.ndarray:
    """Openings of the sweep inside the span; between two of them the nearer one speaks."""
    own = (grid >= span.low - 1e-9) & (grid <= span.high + 1e-9)
    return own if own.any() else np.arange(len(grid)) == int(np.abs(grid - (span.low + span.high) / 2).argmin())
