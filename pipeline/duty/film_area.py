"""What the tests say of a film over initial temperature and power density, where a duty runs.

The rate that matters is the growth at which one use, all of whose brakings grew alike with their energy, would lose what the
target accepts. A place glazes where the lower bound of growth reaches it, is harmless where the upper bound stays under it, and is
untested else: the boundary is the area between.
"""

from __future__ import annotations

import numpy as np

from pipeline.archive.duties import DutyCycle
from pipeline.constants import ZERO_C, Array
from pipeline.drift.film import Film
from pipeline.duty.cycle import Events
from pipeline.duty.limits import Run
from pipeline.duty.project import Brake
from pipeline.results.openings import Answer, DutyStopPlace, FilmArea

COLUMNS, ROWS = 33, 25
COLDEST_C, ROOM_K, ROOM_POWER = 20.0, 40.0, 1.3


def film_area(duty: DutyCycle, events: Events, found: Run, brake: Brake, k: int) -> FilmArea | None:
    """The area with the duty's stops at the opening of index k; None without any evidence of a film."""
    film, area = brake.film, brake.rubbing.friction_area
    if not film.groups and not film.grown:
        return None
    power, energy = events.energy / events.brake_time / area / 1e6, events.energy / area / 1e6
    starts = found.settled.braking[:, 0, k] - ZERO_C
    lost, stops = -float(np.log1p(-brake.glazing_loss)), duty.cycles * len(energy)
    rate = lost / (duty.cycles * float(energy.sum()))
    uses = [use for group in film.groups for use in group] + list(film.grown)
    hottest = max(starts.max(), *(float(np.median(use.temperature)) for use in uses), 300.0) + ROOM_K
    hardest = max(power.max(), *(float(np.median(use.power)) for use in uses)) * ROOM_POWER
    gentlest = min(power.min(), *(float(np.median(use.power)) for use in uses)) / ROOM_POWER
    columns = np.linspace(COLDEST_C, hottest, COLUMNS)
    rows = np.geomspace(gentlest, hardest, ROWS)
    return FilmArea(
        rate_per_j_mm2=rate,
        rate_per_stop=lost / stops,
        opening=float(found.opening[k]),
        temperature_c=np.round(columns, 1),
        power_density_w_mm2=[float(f"{p:.3g}") for p in rows],
        answers=[answers(film, float(p), columns, rate) for p in rows],
        duty_stops=[
            DutyStopPlace(
                temperature_c=float(t),
                power_density_w_mm2=float(p),
                energy_density_j_mm2=float(e),
                answer=answers(film, float(p), np.array([t]), rate)[0],
            )
            for p, e, t in zip(power, energy, starts, strict=True)
        ],
    )


def answers(film: Film, power: float, temperature: Array, rate: float) -> list[Answer]:
    """What is known at a power density and temperatures [m], at this rate of growth in mm2/J."""
    least = np.max([np.zeros(len(temperature)), *(film.at_least(u, power, temperature)[0] for u in film.grown)], axis=0)
    most = film.at_most(power, temperature)[0]
    return [
        "glazes" if g else "harmless" if h else "untested" for g, h in zip(least >= rate, most <= rate, strict=True)
    ]
