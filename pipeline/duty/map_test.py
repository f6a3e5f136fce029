"""The map stops by which a duty's friction would be tested: its own brakings on the rig, as few as cover the others.

At constant deceleration a braking from w1 to w2 turns brake_share m r^2 (w1^2 - w2^2) / 2 into heat: the duty's own speeds at an
inertia of brake_share m r^2 (the drive simulates what the flywheel is not) have the duty's energy, and by the pressure that the
braking needs its torque, time and power too. Of the settled cycle's brakings at the openings to run (their two ends and the duty's
own opening) those are taken that lie at the ends of any range, then, one after the other, the one farthest from what was run or
taken so far, until all are covered.
"""

from __future__ import annotations

import numpy as np

from pipeline.archive.block import Block
from pipeline.archive.blocks import as_yaml, named_once
from pipeline.archive.duties import DutyCycle
from pipeline.constants import RAD_PER_S, Array
from pipeline.duty.cycle import Events
from pipeline.duty.support import Braked
from pipeline.results.duty import Span
from pipeline.results.support import MapTest
from pipeline.tested.run import PRESSURE, TEMPERATURE, Run

STOPS, MOST = 3, 24  # of a block, blocks of a test
NO_PRESSURE = "no friction map tells the pressure that its brakings need"


def map_test(
    duty: DutyCycle, events: Events, brakings: Braked, grid: Array, span: Span | None
) -> tuple[MapTest | None, str | None]:
    """(the map stops that would cover the duty, why none are named); brakings: at the grid's openings and the duty's own last."""
    run = brakings.friction.run
    if brakings.friction.pressing is None or PRESSURE not in run.directions or TEMPERATURE not in run.directions:
        return None, NO_PRESSURE
    positions = {len(brakings.points) // len(events.energy) - 1}
    if span is not None:
        positions |= {int(np.abs(grid - end).argmin()) for end in (span.low, span.high)}
    size = len(events.energy)
    rows = np.concatenate([np.arange(k * size, (k + 1) * size) for k in sorted(positions)])
    asked = rows[~run.covered(brakings.points[rows])]
    if not asked.size:
        return None, None
    taken = _few(run, brakings.points, asked)
    if len(taken) > MOST:
        return None, f"its brakings are too unlike each other: more than {MOST} sets of conditions would have to be run"
    inertia = duty.brake_share * duty.vehicle_mass * duty.rolling_radius**2
    at = brakings.points[taken]
    order = np.argsort(at[:, run.directions.index(TEMPERATURE)])
    blocks = [_block(duty, events, int(taken[i] % size), at[i], run) for i in order]
    low, high = at.min(axis=0), at.max(axis=0)
    said = ", ".join(
        d.said(float(a)) if np.isclose(a, b) else f"{a:.{d.decimals}f} to {d.said(float(b))}"
        for d, a, b in zip(run.directions, low, high, strict=True)
    )
    return (
        MapTest(
            inertia_kg_m2=inertia,
            stops=STOPS * len(blocks),
            blocks=as_yaml(named_once(blocks)),
            text=f"{STOPS * len(blocks)} map stops in {len(blocks)} block{'s' * (len(blocks) > 1)} at an inertia of {inertia:.3g} kg m2: {said}",
        ),
        None,
    )


def _few(run: Run, points: Array, asked: Array) -> list[int]:
    """Indices of as few of the points as cover all those asked."""
    own = points[asked]
    taken = list(dict.fromkeys([*asked[own.argmin(axis=0)].tolist(), *asked[own.argmax(axis=0)].tolist()]))
    while len(taken) <= MOST:
        known = Run(run.directions, np.vstack([run.values, points[taken]]))
        left = asked[~known.covered(points[asked])]
        if not left.size:
            break
        taken.append(int(left[known.nearest(points[left])[0].argmax()]))
    return taken


def _block(duty: DutyCycle, events: Events, e: int, at: Array, run: Run) -> Block:
    """A block of one braking's conditions."""
    value = dict(zip(run.directions, at, strict=True))
    first, last = (float(v[e]) / duty.rolling_radius / RAD_PER_S for v in (events.start, events.end))
    return Block.model_validate(
        {
            "name": f"map {value[TEMPERATURE]:.0f} C {value[PRESSURE]:.3g} bar {first:.0f}-{last:.0f}",
            "purpose": "map",
            "kind": "snub" if last > 0 else "stop",
            "stops": STOPS,
            "speed": [f"{first:.1f} rpm", f"{last:.1f} rpm"],
            "pressure": f"{value[PRESSURE]:.4g} bar",
            "initial_temperature": f"{value[TEMPERATURE]:.1f} degC",
        }
    )
