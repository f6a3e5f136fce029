"""Invented compounds for the study of decisions: what one is made of, what its card states, what it was run at, its duties.

What a card or a duty does not state exactly is drawn from the uncertainty that the analysis says it takes: conductivity, heat
share, the bias of the thermocouple, a vehicle's cooling (`wide` multiplies each). Batches differ by a factor of abrasion and one of oxidation, or
not at all; specimens by both. A duty's use is gentle or hard.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.studies.decision_world import ZERO_K, Body, Film, Wear

STATED_U, NOT_STATED_U, SHARE_U, COOLING_U = 0.15, 0.6, 0.06, 0.10  # of the logarithms
SHARE, CONDUCTIVITY = 0.95, 20.0  # what is taken where a card states neither, W/(m K)
GENTLE_RPM = 1150.0
COUPLE_K = 3.0  # limits of the thermocouple's bias, as the card says


@dataclass(frozen=True)
class Block:
    """Stops alike: initial temperature in degC, pressure in bar, speeds in rpm; read: wear is read after it; held: the rig holds the torque
    that this pressure makes on a clean disc, instead of the pressure."""

    name: str
    purpose: str
    start_c: float
    bar: float
    first: float
    last: float
    stops: int
    read: bool = False
    held: bool = False


@dataclass(frozen=True)
class Specimen:
    """One test: its batch and what it wears over the compound's mean, by abrasion and by oxidation."""

    batch: str
    letter: str
    abrasion: float
    oxidation: float
    program: tuple[Block, ...]


@dataclass(frozen=True)
class Event:
    """A braking of a duty: km/h from and to, its time, the time to the next and the speed then."""

    first: float
    last: float
    seconds: float
    then: float
    at: float


@dataclass(frozen=True)
class Duty:
    name: str
    use: str
    vehicle_mass: float
    brake_share: float
    cycles: int
    ambient_c: float
    h0: float
    h1: float
    opening: float
    events: tuple[Event, ...]
    cooled: float = 1.0  # the vehicle's convection over what h0 and h1 say
    rolling_radius: float = 0.318
    length: float = 4600.0

    def work(self) -> np.ndarray:
        """Friction work of each event at this brake, J."""
        speeds = np.array([(e.first, e.last) for e in self.events]) / 3.6
        return self.brake_share * self.vehicle_mass * (speeds[:, 0] ** 2 - speeds[:, 1] ** 2) / 2

    def power(self, pads: float) -> np.ndarray:
        """Mean power of each event over the area of both pads, W/mm2."""
        return self.work() / np.array([e.seconds for e in self.events]) / pads / 1e6


@dataclass(frozen=True)
class Compound:
    """A material on its brake, its tests and duties. factors: of each batch, (abrasion, oxidation)."""

    body: Body
    film: Film
    wear: Wear
    factors: dict[str, tuple[float, float]]
    specimens: tuple[Specimen, ...]
    duties: tuple[Duty, ...]
    window_c: tuple[float, float]
    level: float  # mu inside it
    scatter: float  # of single stops, relative
    reading_um: float
    rig_g: float  # convection on the rig, W/K
    bias_k: float  # of the thermocouple
    stated_conductivity: float | None
    stated_share: float | None
    glazes: bool
    alike: bool
    usable_um: float
    inertia: float = 26.0
    pad_area: float = 47e-4  # of one of two pads
    radius: float = 0.126
    piston: float = 2.42e-3  # area on one side, m2

    def mu(self, celsius: np.ndarray) -> np.ndarray:
        """Friction of a clean disc at initial temperatures: it falls off below the window and above it."""
        low, high = self.window_c
        cold = np.clip((low - celsius) / 120, 0, 1)
        hot = np.clip((celsius - high) / 200, 0, 1)
        return self.level * (1 - 0.5 * cold - 0.25 * hot)

    def gentle_rpm(self) -> tuple[float, float]:
        """Speeds on the rig of a stop with the work of the gentle duty's middle braking."""
        first = GENTLE_RPM * np.pi / 30
        last = np.sqrt(first**2 - 2 * float(np.median(self.duties[0].work())) / self.inertia)
        return GENTLE_RPM, float(round(last * 30 / np.pi))

    def bar_for(self, w_mm2: float, start_c: float, first: float, last: float) -> float:
        """Pressure under which a stop's mean power is that of the pads' area."""
        middle = (first + last) / 2 * np.pi / 30
        torque = w_mm2 * 1e6 * 2 * self.pad_area / middle
        return float(torque / (2 * self.mu(np.array(start_c)) * 1e5 * self.piston * self.radius))


def draw(rng: np.random.Generator, wide: float = 1.0) -> Compound:
    """A random compound; `wide` multiplies the uncertainty of what the card does not state exactly."""
    conductivity, stated_k = _conductivity(rng, wide)
    share, stated_share = _share(rng, wide)
    ring = np.pi / 4 * (0.296**2 - 0.206**2)
    body = Body(
        1.77, ring, 0.028, conductivity, share, 0.85 * 0.095, None if rng.random() < 0.6 else rng.uniform(1300, 1600)
    )
    glazes = bool(rng.random() < 0.65)
    film = Film(
        growth=1 / (35.0 * rng.uniform(40, 130)) * (1.0 if glazes else 0.01), removal=rng.uniform(1.2, 3.0),
        cover=rng.uniform(0.15, 0.35), cold_k=ZERO_K + rng.uniform(150, 330), gentle=rng.uniform(2.5, 6.0),
        hot_k=ZERO_K + rng.uniform(340, 440), hard=rng.uniform(9.5, 12.5), width_k=rng.uniform(10, 25),
        width_share=rng.uniform(0.06, 0.15),
    )  # fmt: skip
    duties = (_gentle(rng, wide), _hard(rng, wide))
    low, high = rng.uniform(140, 220), rng.uniform(520, 640)
    names = [f"b{k + 1}" for k in range(int(rng.integers(2, 4)))]
    alike = bool(rng.random() < 0.5)
    factors = {b: (1.0, 1.0) if alike else (_about_one(rng, 0.15), _about_one(rng, 0.25)) for b in names}
    made = Compound(
        body, film, Wear(rng.uniform(5, 10), 0.0, rng.uniform(130e3, 190e3)), factors, (), duties, (low, high),
        rng.uniform(0.38, 0.5), rng.uniform(0.008, 0.014), rng.uniform(1.0, 3.0), rng.uniform(8, 18),
        wide * rng.uniform(-COUPLE_K, COUPLE_K), stated_k, stated_share,
        glazes, alike, usable_um=4000.0,
    )  # fmt: skip
    made = replace(made, specimens=_specimens(rng, made, names))
    return replace(made, wear=_with_oxidation(rng, made))


def _conductivity(rng: np.random.Generator, wide: float) -> tuple[float, float | None]:
    """(true, stated) in W/(m K)."""
    stated = float(np.exp(rng.uniform(np.log(12), np.log(45)))) if rng.random() < 0.6 else None
    off = np.exp(wide * (NOT_STATED_U if stated is None else STATED_U) * rng.normal())
    return float(np.clip((stated or CONDUCTIVITY) * off, 2.5, 200.0)), stated


def _share(rng: np.random.Generator, wide: float) -> tuple[float, float | None]:
    """(true, stated); a draw above one is one."""
    stated = round(float(rng.uniform(0.88, 0.96)), 2) if rng.random() < 0.3 else None
    return min(float((stated or SHARE) * np.exp(wide * SHARE_U * rng.normal())), 1.0), stated


def _about_one(rng: np.random.Generator, sd: float) -> float:
    return float(np.exp(rng.normal(0, sd)))


def _specimens(rng: np.random.Generator, of: Compound, names: list[str]) -> tuple[Specimen, ...]:
    spread, found = rng.uniform(0.02, 0.09), []
    power = 0.95 * float(of.duties[0].power(2 * of.pad_area).min())
    cold, warm = rng.uniform(75, 110), rng.uniform(175, 240)
    between = cold + (warm - cold) * rng.uniform(0.35, 0.65)
    uses = {"A": ((cold, power), (warm, power)), "B": ((between, power), (between, 1.6 * power))}
    for batch in names:
        for letter, gentle in uses.items():
            found.append(
                Specimen(
                    batch, letter, of.factors[batch][0] * _about_one(rng, spread), of.factors[batch][1] * _about_one(rng, spread),
                    program(of, gentle),
                )
            )  # fmt: skip
    return tuple(found)


def program(of: Compound, gentle: tuple[tuple[float, float], ...], stops: int = 60) -> tuple[Block, ...]:
    """Bedding, checks, gentle use at each (degC, W/mm2) cleared by hard stops, a walk over temperature, hard and hot use."""
    checks = iter(f"check {k}" for k in range(1, 30))

    def check(n: int = 6) -> Block:
        return Block(next(checks), "check", 300.0, 25.0, 1450.0, 850.0, n)

    speeds = of.gentle_rpm()
    found = [Block("bed-in", "bedding", 230.0, 30.0, 1600.0, 650.0, 12, True), check()]
    for k, (start, power) in enumerate(gentle, 1):
        bar = of.bar_for(power, start, *speeds)
        found += [Block(f"gentle use {k}", "duty", start, bar, *speeds, stops, True), check()]
        found += [Block(f"clearing {k}", "duty", 340.0, 42.0, 1750.0, 800.0, 8, True), check()]
    walk = [Block(f"map {t} C", "map", float(t), 25.0, 1450.0, 850.0, 2, t in (260, 620)) for t in range(100, 640, 40)]
    found += [*walk, check(4)]
    found += [Block("hard use", "duty", 420.0, 40.0, 1700.0, 800.0, 16, True)]
    found += [Block("hot use", "duty", 550.0, 25.0, 1450.0, 850.0, 16, True), check(4)]
    found += [Block("hotter use", "duty", 650.0, 14.0, 1300.0, 850.0, 12, True)]
    return tuple(found)


def _gentle(rng: np.random.Generator, wide: float) -> Duty:
    events = tuple(
        Event(
            first := rng.uniform(135, 175),
            first * rng.uniform(0.52, 0.62),
            rng.uniform(2.3, 2.9),
            rng.uniform(13, 24),
            first * 0.75,
        )
        for _ in range(5)
    )
    return Duty(
        "valley", "gentle", rng.uniform(1100, 1350), rng.uniform(0.045, 0.075), int(rng.integers(12, 31)),
        rng.uniform(8, 28), rng.uniform(4, 8), rng.uniform(1.0, 2.2), rng.uniform(0.05, 0.5), events, _about_one(rng, wide * COOLING_U),
    )  # fmt: skip


def _hard(rng: np.random.Generator, wide: float) -> Duty:
    events = tuple(
        Event(
            first := rng.uniform(150, 195),
            first * rng.uniform(0.35, 0.55),
            rng.uniform(2.2, 3.2),
            rng.uniform(12, 20),
            first * 0.72,
        )
        for _ in range(5)
    )
    return Duty(
        "ridge", "hard", rng.uniform(1100, 1350), rng.uniform(0.15, 0.23), int(rng.integers(3, 8)),
        rng.uniform(8, 28), rng.uniform(4, 8), rng.uniform(1.2, 2.4), rng.uniform(0.2, 0.9), events, _about_one(rng, wide * COOLING_U),
    )  # fmt: skip


def _with_oxidation(rng: np.random.Generator, of: Compound) -> Wear:
    """Abrasion, and oxidation that is a fifth to a half of what a specimen loses in its program."""
    from tests.studies.decision_tests import run

    wear, share = replace(of.wear, rate=1.0), rng.uniform(0.2, 0.5)
    one = run(replace(of, wear=wear, specimens=of.specimens[:1]))[0]
    lost = float((one.oxidised / one.specimen.oxidation).sum())
    return replace(wear, rate=share / (1 - share) * wear.per_mj * float(one.mj.sum()) / lost)
