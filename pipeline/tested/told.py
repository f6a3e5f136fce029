"""What lies outside what was run, as typed entries: one a direction and side, the combination beside them."""

from __future__ import annotations

import numpy as np

from pipeline.constants import Array
from pipeline.results.support import Extrapolation
from pipeline.tested.run import Direction, Flags, Run


def extrapolations(of: str, run: Run, points: Array, weight: Array, *, numbered: bool = True) -> list[Extrapolation]:
    """Entries of points [m, d] with weights [m] (energy, loss, kelvin); `of` is the conclusion's name.

    numbered: whether the points are the brakings of a cycle, whose numbers are told. What was not recorded with the stops is told
    as not known.
    """
    share = np.asarray(weight, float) / max(float(np.sum(weight)), 1e-300)
    if not len(run):
        return [_nothing(of, share, numbered)]
    beyond, found = run.beyond(points), []
    for k in range(len(run.directions)):
        for side in (1, -1):
            outside = beyond[:, k] * side > 0
            if outside.any():
                found.append(_along(of, run, k, side, points[:, k], outside, share, numbered))
    distance, nearest = run.nearest(points)
    alone = (beyond == 0).all(axis=1) & (distance > 1)
    if alone.any():
        worst = int(np.flatnonzero(alone)[distance[alone].argmax()])
        stop = run.values[nearest[worst]]
        found.append(
            Extrapolation(
                of=of,
                direction="combination",
                unit="1",
                value=float(distance[worst]),
                high=1.0,
                events=_events(alone, numbered),
                share=float(share[alone].sum()),
                words=f"{at_words(run.directions, points[worst])} taken together; the nearest stop run is at "
                f"{apart(run, points[worst], stop)}",
            )
        )
    return [*found, *(_unrecorded(of, one) for one in run.unrecorded)]


def _along(
    of: str, run: Run, k: int, side: int, values: Array, outside: Flags, share: Array, numbered: bool
) -> Extrapolation:
    direction = run.directions[k]
    far = float(values[outside].max() if side > 0 else values[outside].min())
    low, high = float(run.low[k]), float(run.high[k])
    way = "up to" if side > 0 else "down to"
    return Extrapolation(
        of=of,
        direction=direction.name,
        unit=direction.unit,
        value=far,
        low=low,
        high=high,
        events=_events(outside, numbered),
        share=float(share[outside].sum()),
        words=f"{direction.name} {way} {direction.said(far)}, run from {low:.{direction.decimals}f} to {direction.said(high)}",
    )


def _events(which: Flags, numbered: bool) -> list[int]:
    return [int(i) + 1 for i in np.flatnonzero(which)] if numbered else []


def at_words(directions: tuple[Direction, ...], point: Array) -> str:
    """Conditions with their units."""
    return ", ".join(d.said(float(x)) for d, x in zip(directions, point, strict=True) if np.isfinite(x))


def apart(run: Run, point: Array, stop: Array) -> str:
    """The stop's conditions that are out of reach of the point."""
    far = np.abs(run._scaled(point[None])[0] - run._scaled(stop[None])[0])
    names = [k for k in range(len(far)) if far[k] > 1] or [int(np.nanargmax(far))]
    return " and ".join(f"{run.directions[k].name} {run.directions[k].said(float(stop[k]))}" for k in names)


def _nothing(of: str, share: Array, numbered: bool) -> Extrapolation:
    return Extrapolation(
        of=of,
        direction="combination",
        unit="1",
        events=_events(np.ones(share.size, bool), numbered),
        share=1.0,
        words="no stop was run that says anything of it",
    )


def _unrecorded(of: str, direction: Direction) -> Extrapolation:
    return Extrapolation(
        of=of,
        direction=direction.name,
        unit=direction.unit,
        words=f"{direction.name} was not recorded with the tests: whether it lies inside what was run is not known",
    )


def in_words(entry: Extrapolation) -> str:
    """An entry in a line: of what, how far, of how much of the energy."""
    what = "loss" if entry.of.startswith("wear") else "energy"
    told = entry.share is not None and entry.share < 1 - 1e-9
    share = f" ({100 * (entry.share or 0):.0f} % of the {what})" if told else ""
    return f"{entry.of}: {entry.words}{share}"
