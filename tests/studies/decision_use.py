"""The truth of a duty: an invented compound's disc run through it, cycle by cycle, at many openings, and to the end of its life.

From a use's first braking in a cold disc the bulk, the face and the film carry over from event to event; the disc conducts
throughout. Where a use has more cycles than are run, the last one repeats. Life is reached by losing the usable thickness at the
rate of the disc as thin as it is by then: the rates of two thicknesses in Gauss's places.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.studies.decision_compounds import Compound, Duty
from tests.studies.decision_world import CELLS, ZERO_K, Body, brake

MOST_CYCLES, STEPS = 14, (24, 24)
GRID = np.linspace(0, 1, 21) ** 1.4
DENSITY = 1780.0


@dataclass(frozen=True)
class Use:
    """One use at openings [k]: um by abrasion (per factor of one) and by oxidation, the largest loss of mu by the film, and the
    share of the last cycle's work that begins inside the window."""

    opening: np.ndarray
    abraded: float
    oxidised: np.ndarray
    loss: np.ndarray
    inside: np.ndarray
    coldest_c: np.ndarray
    hottest_c: np.ndarray

    def at(self, opening: float, name: str) -> float:
        return float(np.interp(opening, self.opening, getattr(self, name)))


def used(of: Compound, duty: Duty, opening: np.ndarray, body: Body | None = None) -> Use:
    """A use from a disc at ambient, its faces clean."""
    body, n = body or of.body, len(opening)
    ambient, work = duty.ambient_c + ZERO_K, duty.work()
    profile, film = np.full((n, CELLS), ambient), np.zeros(n)
    oxidised, worst, abraded = np.zeros(n), np.zeros(n), 0.0
    inside = np.zeros(n)
    coldest, hottest = np.full(n, np.inf), np.zeros(n)
    last: list[tuple[np.ndarray, ...]] = []
    lost = np.zeros(n)
    run = min(duty.cycles, MOST_CYCLES)
    for cycle in range(run):
        final, lost = cycle == run - 1, np.zeros(n)
        for e, joule in zip(duty.events, work, strict=True):
            v, at = (e.first + e.last) / 2 / 3.6, e.at / 3.6
            g = tuple(duty.cooled * (duty.h0 + opening * duty.h1 * speed**0.8) for speed in (v, at))
            starts = profile @ (body.widths / body.widths.sum())
            one = brake(
                body, profile, np.full(n, joule), np.full(n, e.first), np.full(n, e.last), np.full(n, e.seconds),
                np.full(n, e.then), g, ambient, steps=STEPS,
            )  # fmt: skip
            profile = one.end
            for time, face in ((one.time, one.face), (one.after_time, one.after_face)):
                lost += np.trapezoid(of.wear.oxidised(face, np.ones_like(face)), time, axis=0)
            power = np.full(n, joule / e.seconds / (2 * of.pad_area) / 1e6)
            path = np.full(n, v * e.seconds * of.radius / duty.rolling_radius)
            asked = (one.face_over_work, power, path, np.full(n, joule / 1e6))
            film = of.film.after(film, *asked)
            worst = np.maximum(worst, film)
            if final:
                last.append(asked)
                low, high = of.window_c
                inside += joule * ((starts - ZERO_K >= low) & (starts - ZERO_K <= high))
                coldest = np.minimum(coldest, np.minimum(starts, one.after_mean.min(axis=0)))
                hottest = np.maximum(hottest, one.after_mean[0])
        oxidised += lost
        abraded += of.wear.per_mj * work.sum() / 1e6
    left = duty.cycles - run
    for _ in range(left):
        for asked in last:
            film = of.film.after(film, *asked)
            worst = np.maximum(worst, film)
    oxidised, abraded = oxidised + left * lost, abraded + left * of.wear.per_mj * work.sum() / 1e6
    return Use(
        opening, abraded, oxidised, of.film.cover * worst, inside / work.sum(), coldest - ZERO_K, hottest - ZERO_K
    )


@dataclass(frozen=True)
class Life:
    """Cycles to the end of life of each batch and of their mean specimen, as the disc gets thinner, and by its rate when new."""

    by_batch: dict[str, float]
    mean: float
    new_by_batch: dict[str, float]
    new_mean: float


def life(of: Compound, duty: Duty) -> Life:
    """At the duty's own opening."""
    at = np.array([duty.opening])
    gone = of.usable_um * 1e-6 * (0.5 + np.array([-0.5, 0.5]) / np.sqrt(3))
    thin = [used(of, duty, at, of.body.thinner(x, DENSITY)) for x in gone]
    new = used(of, duty, at)

    def cycles(uses: list[Use], abrasion: float, oxidation: float) -> float:
        per_use = [abrasion * u.abraded + oxidation * float(u.oxidised[0]) for u in uses]
        return float(of.usable_um * duty.cycles * np.mean([1 / x for x in per_use]))

    mean = tuple(float(np.mean([f[i] for f in of.factors.values()])) for i in (0, 1))
    return Life(
        {b: cycles(thin, *f) for b, f in of.factors.items()}, cycles(thin, *mean),
        {b: cycles([new], *f) for b, f in of.factors.items()}, cycles([new], *mean),
    )  # fmt: skip
