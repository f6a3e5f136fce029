"""A world of its own for the study of decisions: a disc that conducts, a film on its faces, abrasion and oxidation.

It shares no model, code or default with what it judges:

    heat       half a disc in finite volumes, one flux into its face; convection takes from the whole thickness (a vented disc),
               radiation for the most part from the face; all stops, or all openings of a duty, in one banded system a time step
    film       share g of the face that glaze covers: dg = (1 - g) growth x path where the face is cold and the stop gentle,
               less g x removal x work where it is hot and hard; friction falls by `cover` times g
    abrasion   um per MJ of friction work
    oxidation  Arrhenius at the face's temperature, while braking and between stops

Heat capacity of carbon: the JANAF table's molar values over 12.011 g/mol (from memory), or one value where the card states one.
SI but for names that say otherwise; temperatures in K inside.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.linalg import solve_banded

CELLS, FIRST_OF_LAST = 16, 1 / 30
BRAKING_STEPS, AFTER_STEPS, TAIL = 32, 24, 120
FINE_S = 0.03  # first step after braking
FACE_RADIATES = (
    0.65  # of the radiating area, what the faces show beside the pads; the rest is as warm as what lies under it
)
ZERO_K, GAS, SIGMA = 273.15, 8.314462618, 5.670374419e-8
RATE_AT_K = 873.15  # where the oxidation rate is stated
GRAPHITE = np.array(
    [
        (200, 5.006), (250, 6.816), (298.15, 8.517), (350, 10.241), (400, 11.817), (450, 13.289), (500, 14.623),
        (600, 16.844), (700, 18.537), (800, 19.827), (900, 20.824), (1000, 21.610), (1100, 22.244), (1200, 22.766),
        (1300, 23.204), (1400, 23.578), (1600, 24.175), (1800, 24.63), (2000, 24.99), (2500, 25.65), (3000, 26.12),
    ]
)  # fmt: skip


@dataclass(frozen=True)
class Body:
    """The disc and its heat: `capacity` in J/(kg K), None for carbon; ring of one face; `radiating` emissivity x area, m2."""

    mass: float
    ring: float
    thickness: float
    conductivity: float
    share: float
    radiating: float
    capacity: float | None = None

    @cached_property
    def widths(self) -> np.ndarray:
        """Cells from the face to the middle, m."""
        w = np.geomspace(FIRST_OF_LAST, 1.0, CELLS)
        return w * self.thickness / 2 / w.sum()

    @property
    def density(self) -> float:
        return self.mass / (self.ring * self.thickness)

    def heat_capacity(self, kelvin: np.ndarray) -> np.ndarray:
        if self.capacity is not None:
            return np.full_like(kelvin, self.capacity)
        return np.interp(kelvin, GRAPHITE[:, 0], GRAPHITE[:, 1]) / 12.011e-3

    def thinner(self, gone: float, ring_density: float) -> Body:
        """The disc with `gone` m worn off its thickness, at the density of what is worn off; conductance as it was."""
        return replace(self, thickness=self.thickness - gone, mass=self.mass - ring_density * self.ring * gone)


def conducted(
    body: Body,
    kelvin: np.ndarray,
    before: np.ndarray,
    flux: np.ndarray,
    dt: np.ndarray,
    ratio: np.ndarray,
    conductance: np.ndarray,
    ambient: float,
    heater: np.ndarray | float = 0.0,
) -> np.ndarray:
    """Temperatures [n, cells] after dt [n] of `flux` [n] W/m2 into the face, by the second backward difference.

    `before`: temperatures one step earlier; ratio [n]: dt over that step, 0 to leave it out (backward Euler). conductance [n]:
    convection of the whole disc, W/K; heater: W/m2 of face, spread through the thickness. Heat capacity at the step's end, by
    extrapolation; radiation linear about the temperature at its start.
    """
    w, r = body.widths, ratio[:, None]
    part = w / w.sum()
    cp = body.heat_capacity(kelvin + r * (kelvin - before))
    store = body.density * cp * w / dt[:, None]
    link = body.conductivity / ((w[1:] + w[:-1]) / 2)
    radiated = body.radiating * SIGMA * (kelvin**2 + ambient**2) * (kelvin + ambient) / (2 * body.ring)
    leave = (conductance[:, None] / (2 * body.ring) + (1 - FACE_RADIATES) * radiated) * part
    leave[:, 0] += FACE_RADIATES * radiated[:, 0]
    diagonal = store * (1 + 2 * r) / (1 + r) + leave
    diagonal[:, :-1] += link
    diagonal[:, 1:] += link
    right = store * ((1 + r) * kelvin - r * r / (1 + r) * before) + leave * ambient
    right += np.outer(np.broadcast_to(heater, flux.shape), part)
    right[:, 0] += flux
    upper, lower = np.zeros_like(kelvin), np.zeros_like(kelvin)
    upper[:, 1:], lower[:, :-1] = -link, -link
    bands = np.vstack([upper.ravel(), diagonal.ravel(), lower.ravel()])
    solved = solve_banded((1, 1), bands, right.ravel(), overwrite_ab=True, overwrite_b=True, check_finite=False)
    return solved.reshape(kelvin.shape)


@dataclass(frozen=True)
class Film:
    """Growth per m of path on a face colder than `cold_k` under less than `gentle` W/mm2 of pad; removal per MJ on one hotter
    than `hot_k` under more than `hard`; widths of the two temperatures in K, of the powers as a share. cover: friction that a
    whole film costs."""

    growth: float
    removal: float
    cover: float
    cold_k: float
    gentle: float
    hot_k: float
    hard: float
    width_k: float
    width_share: float

    def after(
        self, g: np.ndarray, face_k: np.ndarray, power: np.ndarray, path: np.ndarray, mj: np.ndarray
    ) -> np.ndarray:
        """Film after one stop: face_k the mean over its work, power in W/mm2 of pad, path in m, mj of friction work."""
        grown = self.growth * path * step((self.cold_k - face_k) / self.width_k) * self._power(self.gentle, power, -1)
        gone = self.removal * mj * step((face_k - self.hot_k) / (2 * self.width_k)) * self._power(self.hard, power, 1)
        total = np.maximum(grown + gone, 1e-300)
        return grown / total + (g - grown / total) * np.exp(-total)  # of dg = (1 - g) grown - g gone

    def _power(self, at: float, power: np.ndarray, sign: int) -> np.ndarray:
        return step(sign * np.log(power / at) / self.width_share)


def step(x: np.ndarray) -> np.ndarray:
    """0 up to x = -2, 1 from 2 on, a cubic between."""
    u = np.clip((np.asarray(x) + 2) / 4, 0, 1)
    return u * u * (3 - 2 * u)


@dataclass(frozen=True)
class Wear:
    """Of one disc, both faces: um per MJ, um/s at RATE_AT_K, J/mol."""

    per_mj: float
    rate: float
    energy: float

    def oxidised(self, face_k: np.ndarray, seconds: np.ndarray) -> np.ndarray:
        """um over steps [..., n] at the face temperatures at their ends."""
        return self.rate * seconds * np.exp(-self.energy / GAS * (1 / face_k - 1 / RATE_AT_K))


@dataclass(frozen=True)
class Braked:
    """Stops [n]: times and face temperatures [k + 1, n] of the braking and of what follows it, the disc's mean there, and
    temperatures at its end [n, cells]. face_over_work: mean of the face's over the friction work."""

    time: np.ndarray
    face: np.ndarray
    after_time: np.ndarray
    after_face: np.ndarray
    after_mean: np.ndarray
    end: np.ndarray
    face_over_work: np.ndarray


def brake(
    body: Body,
    profile: np.ndarray,
    work: np.ndarray,
    first: np.ndarray,
    last: np.ndarray,
    seconds: np.ndarray,
    after: np.ndarray,
    conductance: tuple[np.ndarray, np.ndarray],
    ambient: float,
    heater: np.ndarray | float = 0.0,
    steps: tuple[int, int] = (BRAKING_STEPS, AFTER_STEPS),
) -> Braked:
    """Stops [n] of `work` J at an even deceleration from speed `first` to `last` (any unit) over `seconds`, and `after` s.

    profile: temperatures at their start [n, cells]; conductance: while braking and after it, W/K [n].
    """
    n, w = len(work), body.widths
    part = w / w.sum()
    time = seconds * np.linspace(0, 1, steps[0] + 1)[:, None] ** 1.6
    edge = first + (last - first) * time / seconds
    shares = (edge[:-1] ** 2 - edge[1:] ** 2) / (first**2 - last**2)
    fine = np.minimum(FINE_S, after / steps[1])
    later = np.concatenate([np.zeros((1, n)), fine * (after / fine) ** np.linspace(0, 1, steps[1])[:, None]])
    dt = np.concatenate([np.diff(time, axis=0), np.diff(later, axis=0)])
    flux = body.share * work / seconds * 2 * edge[1:] / (first + last) / (2 * body.ring)  # at the steps' ends
    flux[0] = body.share * work * shares[0] / dt[0] / (2 * body.ring)
    kelvin = before = profile
    face, mean, still = [profile[:, 0] + 0 * work], [profile @ part], np.zeros(n)
    for k in range(sum(steps)):
        braking = k < steps[0]
        q = flux[k] if braking else still
        ratio = dt[k] / dt[k - 1] if k not in (0, steps[0]) else still
        heated = still if braking else heater
        now = conducted(body, kelvin, before, q, dt[k], ratio, conductance[not braking], ambient, heated)
        kelvin, before = now, kelvin
        face.append(kelvin[:, 0] + q * w[0] / 2 / body.conductivity)
        mean.append(kelvin @ part)
    f, m, end = np.array(face), np.array(mean), steps[0]
    over_work = (shares * (f[1 : end + 1] + f[:end]) / 2).sum(axis=0)
    return Braked(time, f[: end + 1], later, f[end:], m[end:], kelvin, over_work)


def cooled(
    body: Body, start: np.ndarray, end: np.ndarray, conductance: float, ambient: float
) -> tuple[np.ndarray, np.ndarray]:
    """(times, temperatures) [k, n] of an even disc on its way from `start` to a colder `end`, by quadrature over temperature."""
    share = np.linspace(0, 1, TAIL)[:, None]
    kelvin = ambient + (start - ambient) * ((end - ambient) / (start - ambient)) ** share
    loss = conductance * (kelvin - ambient) + body.radiating * SIGMA * (kelvin**4 - ambient**4)
    slow = body.mass * body.heat_capacity(kelvin) / loss
    steps = -np.diff(kelvin, axis=0) * (slow[1:] + slow[:-1]) / 2
    return np.concatenate([np.zeros((1, len(start))), np.cumsum(steps, axis=0)]), kelvin
