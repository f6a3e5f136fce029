"""Time of a duty swept over 50 openings, 40 cycles a use, with its heat inputs propagated.

    python -m tests.benchmarks.duty_sweep [--openings 50] [--cycles 40]

Settles an invented downhill duty at the openings as stated and at the nodes of heat share, conductivity and cooling, runs its use at each, and
projects the use's wear and life at every opening by an oxidation law of 400 joint draws, temperatures and the openings' ends besides.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from pipeline.duty.air import with_moves
from pipeline.duty.cycle import Air, events_of, settle, until_warm, warm_up
from pipeline.duty.lives import Worn, lives_of
from pipeline.duty.project import exposures, use_exposures
from pipeline.duty.propagation import opening_ends, share_span, surely_inside, temperature_ends
from pipeline.duty.rubbing import Plate
from pipeline.results.duty import Span
from pipeline.results.sources import HeatInput
from tests.duty.makers import brake, duty_cycle, oxidation_law

INPUTS = (
    HeatInput(name="heat share", value=0.95, u=0.06, source="default"),
    HeatInput(name="conductivity", value=25.0, u=0.15, source="card"),
    HeatInput(name="thermocouple", u=5.0, source="default"),
)


def sweep(openings: int, cycles: int) -> float:
    """Seconds of one sweep."""
    duty = duty_cycle(cycles=cycles)
    plate = Plate(0.0352, 0.028, 1.7 / (0.0352 * 0.028), 25.0, "carbon")
    ends = {"window": (260.0, 480.0), "window_inner": (266.0, 472.0), "window_outer": (252.0, 490.0)}
    made = brake(
        components=(Worn("disc", oxidation_law(), 4000.0),), plate=plate, heat_share=0.95, inputs=INPUTS, **ends
    )
    air = with_moves(Air(6.0, 1.9, 295.15), made, 0.1)
    opening = np.linspace(0, 1, openings)
    begin = time.perf_counter()
    events = events_of(duty)
    settled = settle(events, made.disc, air, opening, made.heat_share)
    stops = exposures(settled, events, made, range(openings))
    warming = warm_up(events, made.disc, air, opening, count=cycles, settled=settled.start, share=0.95)
    first = [until_warm(warming, float(start), k, cycles) for k, start in enumerate(settled.start)]
    for whole, one in zip(use_exposures(warming, stops, first, events, made, cycles), stops, strict=True):
        lives_of(made.components, whole, cycles, made.confidence, one)
    middle = openings // 2
    temperature_ends(settled, middle, made.confidence)
    share_span(settled, events, made, middle, 1.0)
    surely_inside(settled, events, made, 0.9)
    opening_ends(settled, events, made, opening, 0.9, Span(low=0.3, high=0.8))
    return time.perf_counter() - begin


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--openings", type=int, default=50)
    parser.add_argument("--cycles", type=int, default=40)
    asked = parser.parse_args()
    sweep(3, 1)  # imports and the first calls
    print(f"{asked.openings} openings, {asked.cycles} cycles: {sweep(asked.openings, asked.cycles):.1f} s")


if __name__ == "__main__":
    main()
