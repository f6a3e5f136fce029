"""Invented compounds whose friction is made at the rubbing face: judge of the friction map and of the law at the face.

The disc is a slab that heats from both faces: finite volumes through half its thickness, finer towards the face, heat
capacity rising with temperature, backward Euler in time, all stops at once. Friction follows the face's temperature at
every instant, times powers of pressure and speed; the shaft slows by the torque that results. A *separable* compound
is the rival world: mu is a function of the stop's initial temperature times the same powers. It shares
no model, code or default with what it judges.

    made = face_compounds.draw(seed)                 # Made: .compound, .stops, .run (traces), .brake, .settings
    made.stops                                       # stops table, one row a stop, with test, batch, specimen
    made.trace(row)                                  # dict of arrays of that stop: time_s, speed_rpm, torque_nm,
                                                     # pressure_bar, mu (in the window, else NaN), face_c, bulk_c, disc_temperature_c
    truth = made.truth(start_c, pressure_bar, speed_rpm)      # Truth: mu (mean of true stops), sd (of a single stop)
    truth.ends(wanted, low, high)                    # where the middle 90 % of true stops leave the target band

Design: three pressures by two speeds by 8 to 12 initial temperatures by two to four stops, and checks at the reference
between them. Half of the compounds have one specimen, half two or three, each of which runs the design. A stop's true mean
differs from its conditions' by a log-normal scatter of 0.5 to 2 %, neighbours alike up to a correlation of 0.3; a
specimen's level and the face temperature of its transition differ as well.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import polars as pl
from scipy.linalg import solve_banded

from tests.makers import stops_frame

CELLS, SPEED_STEPS, END_STEPS, BUILD_UP_STEPS = 22, 90, 3, 7
BUILD_UP_S, REACHED, END_MARGIN = 0.2, 0.95, 0.03
CHECK_C, START_SD_K, PRESSURE_SD, SPEED_SD = 260.0, 3.0, 0.008, 0.002
MIDDLE_90 = 1.6448536


@dataclass(frozen=True)
class Brake:
    """What the card states: SI but for the names that say otherwise."""

    inertia: float = 21.0  # kg m2
    ring_outer: float = 0.310
    ring_inner: float = 0.218
    radius: float = 0.133
    piston: float = 0.0592  # diameter of the one piston a side, m
    pad_area: float = 51e-4  # one of two pads, m2

    @property
    def torque_per_mu_bar(self) -> float:
        """N m per unit of mu and bar: two faces."""
        return 2 * 1e5 * np.pi / 4 * self.piston**2 * self.radius

    @property
    def ring(self) -> float:
        """Area of one face that the pads sweep, m2."""
        return float(np.pi / 4 * (self.ring_outer**2 - self.ring_inner**2))


@dataclass(frozen=True)
class Disc:
    """The slab and its thermocouple; the heat share goes into the disc, from both faces alike."""

    conductivity: float  # W/(m K)
    heat_share: float
    thickness: float  # m
    density: float = 1780.0
    depth: float = 0.006  # of the thermocouple below the face, m
    lag: float = 0.4  # of the thermocouple, s
    convection: float = 0.0  # of a face to the rig's air while it brakes, W/(m2 K)
    emissivity: float = 0.0  # of the faces
    air: float = 22.0  # degC

    @cached_property
    def cells(self) -> np.ndarray:
        """Widths from the face to the middle, m: the first a fiftieth of the last."""
        ratio = 50.0 ** (1 / (CELLS - 1))
        widths = ratio ** np.arange(CELLS)
        return widths * (self.thickness / 2) / widths.sum()

    def leaves(self, face: np.ndarray) -> np.ndarray:
        """W/m2 from a face at degC to air and surroundings."""
        black = 5.67e-8 * ((face + 273.15) ** 4 - (self.air + 273.15) ** 4)
        return self.convection * (face - self.air) + self.emissivity * black

    @cached_property
    def centres(self) -> np.ndarray:
        return np.cumsum(self.cells) - self.cells / 2


def heat_capacity(celsius: np.ndarray) -> np.ndarray:
    """J/(kg K) of this world's carbon: 700 at 20 C, 1300 at 300 C, towards 1950."""
    return 1950.0 - 1250.0 * np.exp(-(celsius - 20.0) / 430.0)


@dataclass(frozen=True)
class Law:
    """mu at the face: cold to hot about `middle`, a change at the top, powers of pressure and speed."""

    cold: float
    hot: float
    middle: float  # degC of the face
    width: float  # K, of the logistic
    change: float  # relative, at the top
    change_at: float  # degC
    pressure: float  # power of p/p0
    speed: float  # power of w/w0
    separable: bool = False  # the initial temperature stands for the face's

    def mu(self, celsius: np.ndarray, pressure_bar: np.ndarray, speed: np.ndarray, reference: Reference) -> np.ndarray:
        """mu at a temperature (degC), pressure (bar) and speed (rad/s), alike in shape."""
        rise = 1 / (1 + np.exp(-np.clip((celsius - self.middle) / self.width, -60, 60)))
        top = 1 / (1 + np.exp(-np.clip((celsius - self.change_at) / 40.0, -60, 60)))
        level = (self.cold + (self.hot - self.cold) * rise) * (1 + self.change * top)
        own = np.maximum(speed, 5.0) / (reference.speed_rpm * np.pi / 30)
        return level * np.maximum(pressure_bar / reference.pressure_bar, 0.02) ** self.pressure * own**self.speed


@dataclass(frozen=True)
class Reference:
    """Conditions of the checks."""

    pressure_bar: float
    speed_rpm: float


@dataclass(frozen=True)
class Compound:
    """A material on its disc, its scatter, and what it was run at."""

    law: Law
    disc: Disc
    reference: Reference
    pressures: tuple[float, ...]
    speeds: tuple[float, ...]
    starts: tuple[float, ...]  # degC
    repeats: int
    scatter: float  # relative sd of single stops
    correlation: float
    specimen_sd: float  # relative; 0 for one specimen
    specimen_shift: float  # sd of the transition's place, K
    specimens: int
    brake: Brake = Brake()


@dataclass(frozen=True)
class Run:
    """Stops as simulated: arrays (instants, stops) but for the end; window rows mark the evaluation window."""

    time: np.ndarray
    speed: np.ndarray  # rad/s
    pressure: np.ndarray  # bar
    mu: np.ndarray
    torque: np.ndarray
    face: np.ndarray  # degC
    bulk: np.ndarray
    thermocouple: np.ndarray
    window: slice
    energy: np.ndarray  # J, a stop

    def mean(self, weight: str = "distance") -> np.ndarray:
        """mu over the evaluation window, weights dt, w dt or T w dt; (stops,)."""
        rows = self.window
        flow = {"time": 1.0 + 0 * self.speed, "distance": self.speed, "energy": self.torque * self.speed}[weight][rows]
        over = self.time[rows]
        return np.trapezoid(self.mu[rows] * flow, over, axis=0) / np.trapezoid(flow, over, axis=0)


def simulate(
    law: Law,
    disc: Disc,
    brake: Brake,
    reference: Reference,
    start: np.ndarray,
    pressure: np.ndarray,
    speed_rpm: np.ndarray,
    factor: np.ndarray,
    shift: np.ndarray,
) -> Run:
    """Snubs from `speed_rpm` to a third of it, from a disc at one temperature (degC); all (stops,).

    factor multiplies a stop's mu, shift (K) moves its transition up. Pressure builds up in BUILD_UP_S; then the shaft's
    speed falls in even steps, each as long as the torque takes, so that quick and slow stops are resolved alike.
    """
    n, width = start.size, disc.cells
    first = speed_rpm * np.pi / 30
    last = first / 3
    celsius = np.repeat(start[:, None], CELLS, axis=1)
    couple, probe = start.copy(), np.searchsorted(disc.centres, disc.depth).clip(1, CELLS - 1)
    share = (disc.depth - disc.centres[probe - 1]) / (disc.centres[probe] - disc.centres[probe - 1])
    between = disc.conductivity / ((width[1:] + width[:-1]) / 2)  # W/(m2 K)
    time, speed = np.zeros(n), first.copy()
    build_up = np.linspace(0, REACHED * BUILD_UP_S, BUILD_UP_STEPS + 1)
    steps = BUILD_UP_STEPS + SPEED_STEPS + END_STEPS
    rows: dict[str, list[np.ndarray]] = {
        k: [] for k in ("time", "speed", "pressure", "mu", "torque", "face", "bulk", "couple")
    }
    face, flux = start.copy(), np.zeros(n)
    after_build_up = first
    for step in range(steps + 1):
        bar = pressure * np.minimum(np.maximum(time, 1e-3) / BUILD_UP_S, 1.0)
        mu = factor * law.mu((start if law.separable else face) - shift, bar, speed, reference)
        torque = mu * bar * brake.torque_per_mu_bar
        bulk = celsius @ width / width.sum()
        for name, value in zip(rows, (time, speed, bar, mu, torque, face, bulk, couple), strict=True):
            rows[name].append(value.copy())
        if step == steps:
            break
        if step < BUILD_UP_STEPS:
            dt = np.full(n, build_up[step + 1] - build_up[step])
            following = speed - torque / brake.inertia * dt
            after_build_up = following
        else:
            target = last + END_MARGIN * first
            over = (step + 1 - BUILD_UP_STEPS) / SPEED_STEPS
            following = after_build_up + (target - after_build_up) * over
            if over > 1:
                following = target + (last - target) * (step + 1 - BUILD_UP_STEPS - SPEED_STEPS) / END_STEPS
            dt = (speed - following) * brake.inertia / torque
        flux = disc.heat_share * brake.inertia * (speed**2 - following**2) / 2 / dt / (2 * brake.ring)  # W/m2, a face
        if disc.convection or disc.emissivity:
            flux = flux - disc.leaves(face)
        celsius = conducted(celsius, flux, dt, width, between, disc.density)
        face = celsius[:, 0] + flux * width[0] / 2 / disc.conductivity
        at_probe = celsius[:, probe - 1] * (1 - share) + celsius[:, probe] * share
        couple = at_probe + (couple - at_probe) * np.exp(-dt / disc.lag)
        time, speed = time + dt, following
    a = {k: np.array(v) for k, v in rows.items()}
    energy = brake.inertia * (first**2 - last**2) / 2
    window = slice(BUILD_UP_STEPS, BUILD_UP_STEPS + SPEED_STEPS + 1)
    return Run(
        a["time"], a["speed"], a["pressure"], a["mu"], a["torque"], a["face"], a["bulk"], a["couple"], window, energy
    )


def conducted(
    celsius: np.ndarray, flux: np.ndarray, dt: np.ndarray, width: np.ndarray, between: np.ndarray, density: float
) -> np.ndarray:
    """Temperatures (stops, cells) after `dt` (stops,) of `flux` (W/m2) into the first cell; the last is the middle.

    One tridiagonal system over all stops, one after the other, nothing between them.
    """
    store = density * heat_capacity(celsius) * width / dt[:, None]  # W/(m2 K)
    diagonal = store.copy()
    diagonal[:, :-1] += between
    diagonal[:, 1:] += between
    up = np.zeros_like(store)
    up[:, 1:] = -between  # upper diagonal, at the column that it multiplies
    down = np.zeros_like(store)
    down[:, :-1] = -between
    right = store * celsius
    right[:, 0] += flux
    bands = np.vstack([up.ravel(), diagonal.ravel(), down.ravel()])
    solved = solve_banded((1, 1), bands, right.ravel(), overwrite_ab=True, overwrite_b=True, check_finite=False)
    return solved.reshape(celsius.shape)


@dataclass(frozen=True)
class Truth:
    """True stops at one pressure and speed over initial temperatures (degC, rising): mean of mu, sd of a single stop of
    a further specimen."""

    start: np.ndarray
    mu: np.ndarray
    sd: np.ndarray

    def ends(self, wanted: tuple[float, float], low: float, high: float) -> tuple[float | None, float | None]:
        """Where the middle 90 % of true stops leave the band, going out from the widest range inside it between `low` and
        `high` (degC); None for an end at `low` or `high` or where no stop lies inside."""
        t = np.arange(low, high, 0.25)
        mu, half = np.interp(t, self.start, self.mu), MIDDLE_90 * np.interp(t, self.start, self.sd)
        inside = (mu - half >= wanted[0]) & (mu + half <= wanted[1])
        edges = np.flatnonzero(np.diff(np.r_[0, inside.astype(int), 0]))
        if edges.size == 0:
            return None, None
        first, last = max(zip(edges[::2], edges[1::2] - 1, strict=True), key=lambda e: e[1] - e[0])
        return (None if first == 0 else float(t[first])), (None if last == t.size - 1 else float(t[last]))

    def slope_per_100c(self, celsius: float) -> float:
        """Slope of the true mean, per 100 K."""
        return float(np.interp(celsius, self.start, np.gradient(self.mu, self.start)) * 100)


@dataclass(frozen=True)
class Made:
    """A compound as it was run: stops table, traces, truth."""

    compound: Compound
    stops: pl.DataFrame
    run: Run

    def trace(self, row: int) -> dict[str, np.ndarray]:
        """The traces of the stop in that row of `stops`, columns as in traces.parquet with face and bulk beside."""
        r, scale = self.run, 30 / np.pi
        mu = np.full(len(r.time), np.nan)
        mu[r.window] = r.mu[r.window, row]
        return {
            "time_s": r.time[:, row],
            "speed_rpm": r.speed[:, row] * scale,
            "torque_nm": r.torque[:, row],
            "pressure_bar": r.pressure[:, row],
            "disc_temperature_c": r.thermocouple[:, row],
            "mu": mu,
            "face_c": r.face[:, row],
            "bulk_c": r.bulk[:, row],
        }

    def truth(self, start: np.ndarray, pressure_bar: float, speed_rpm: float) -> Truth:
        """True stops over initial temperatures (degC) at one pressure and speed."""
        c = self.compound
        t = np.r_[start, start]
        shift = np.r_[np.zeros(start.size), np.full(start.size, 2.0)]
        ones = np.ones(t.size)
        run = simulate(c.law, c.disc, c.brake, c.reference, t, pressure_bar * ones, speed_rpm * ones, ones, shift)
        mean = run.mean()
        mu, along = mean[: start.size], (mean[start.size :] - mean[: start.size]) / 2.0
        own = mu * np.hypot(c.scatter, c.specimen_sd)
        return Truth(start, mu, np.hypot(own, along * c.specimen_shift))


def some_compound(rng: np.random.Generator, *, separable: bool = False) -> Compound:
    """A random compound and its design."""
    hot = rng.uniform(0.34, 0.48)
    middle, width = rng.uniform(140, 260), rng.uniform(14, 40)
    if separable:
        middle -= 40.0
    law = Law(
        hot * rng.uniform(0.35, 0.8), hot, middle, width, rng.uniform(-0.3, 0.1), rng.uniform(480, 680),
        rng.uniform(-0.08, 0.03), rng.uniform(-0.08, 0.03), separable,
    )  # fmt: skip
    disc = Disc(
        float(np.exp(rng.uniform(np.log(8), np.log(60)))), rng.uniform(0.85, 1.0), rng.uniform(0.020, 0.045),
        depth=rng.uniform(0.003, 0.008), lag=rng.uniform(0.1, 0.8),
    )  # fmt: skip
    middle_bar, fast = rng.uniform(25, 42), rng.uniform(1050, 1500)
    pressures = (middle_bar * rng.uniform(0.45, 0.6), middle_bar, middle_bar * rng.uniform(1.4, 1.8))
    speeds = (fast * rng.uniform(0.55, 0.75), fast)
    starts = np.linspace(rng.uniform(50, 90), rng.uniform(480, 620), int(rng.integers(8, 13)))
    specimens = int(rng.choice([1, 1, 2, 3]))
    several = specimens > 1
    return Compound(
        law, disc, Reference(middle_bar, speeds[int(rng.random() < 0.6)]), pressures, speeds, tuple(starts),
        2 if several else int(rng.integers(2, 5)), rng.uniform(0.005, 0.02), rng.uniform(0, 0.3),
        rng.uniform(0.004, 0.015) if several else 0.0, rng.uniform(0, 4) if several else 0.0, specimens,
    )  # fmt: skip


def program(of: Compound) -> list[tuple[str, str, float, float, float]]:
    """Set-points in run order: block, purpose, degC, bar, rpm. Blocks of one pressure and speed step the temperature up, the
    repeats of a cell one after the other; checks before each and at the end."""
    rows: list[tuple[str, str, float, float, float]] = []

    def checks(number: int) -> list[tuple[str, str, float, float, float]]:
        return [(f"check {number}", "check", CHECK_C, of.reference.pressure_bar, of.reference.speed_rpm)] * 3

    blocks = [(p, w) for w in of.speeds for p in of.pressures]
    for number, (bar, rpm) in enumerate(blocks, start=1):
        rows += checks(number)
        rows += [(f"map {number}", "map", t, bar, rpm) for t in of.starts for _ in range(of.repeats)]
    return rows + checks(len(blocks) + 1)


def draw(seed: int | list[int], *, separable: bool = False) -> Made:
    """A random compound, run. Seeds of a study: [study, number]."""
    rng = np.random.default_rng(seed)
    return made(some_compound(rng, separable=separable), rng)


def made(of: Compound, rng: np.random.Generator) -> Made:
    """The compound's stops and traces; rows by specimen and stop."""
    plan = program(of)
    n, every = len(plan), len(plan) * of.specimens
    block, purpose, t, bar, rpm = (list(column) * of.specimens for column in zip(*plan, strict=True))
    who = np.repeat(np.arange(of.specimens), n)
    start = np.array(t) + rng.normal(0, START_SD_K, every)
    pressure = np.array(bar) * (1 + rng.normal(0, PRESSURE_SD, every))
    speed = np.array(rpm) * (1 + rng.normal(0, SPEED_SD, every))
    noise = rng.normal(size=every)
    for i in range(1, every):
        if who[i] == who[i - 1]:
            noise[i] = of.correlation * noise[i - 1] + np.sqrt(1 - of.correlation**2) * noise[i]
    level = rng.normal(0, of.specimen_sd, of.specimens)[who] if of.specimens > 1 else np.zeros(every)
    shift = rng.normal(0, of.specimen_shift, of.specimens)[who] if of.specimens > 1 else np.zeros(every)
    factor = np.exp(of.scatter * noise + level)
    run = simulate(of.law, of.disc, of.brake, of.reference, start, pressure, speed, factor, shift)
    return Made(of, stops_table(of, run, block, purpose, start, pressure, speed, who), run)


def stops_table(
    of: Compound,
    run: Run,
    block: list[str],
    purpose: list[str],
    start: np.ndarray,
    pressure: np.ndarray,
    speed: np.ndarray,
    who: np.ndarray,
) -> pl.DataFrame:
    """Rows as the reduction would give them, with test, batch and specimen."""
    mean, rows, every = run.mean(), run.window, start.size
    tenth = max(SPEED_STEPS // 10, 1)
    end = run.time[-1]
    friction_area = 2 * of.brake.pad_area
    each = every // of.specimens
    frame = stops_frame(
        every, block=block, purpose=purpose, mu=mean, mu_distance=mean, mu_time=run.mean("time"), mu_energy=run.mean("energy"),
        mu_u=0.004 * mean, mu_u_stop=0.002 * mean, mu_bite=run.mu[rows][:tenth].mean(axis=0), mu_start=run.mu[rows][:tenth].mean(axis=0),
        mu_end=run.mu[rows][-tenth:].mean(axis=0), mu_min=run.mu[rows].min(axis=0), mu_max=run.mu[rows].max(axis=0),
        mu_rise=run.mu[rows][-tenth:].mean(axis=0) / run.mu[rows][:tenth].mean(axis=0),
        pressure_bar=pressure, target_pressure_bar=pressure, pressure_plateau_bar=pressure, speed_start_rpm=speed, speed_end_rpm=speed / 3,
        torque_nm=run.torque[rows].mean(axis=0), temperature_initial_c=start, target_temperature_c=start.round(-1),
        temperature_mean_c=np.trapezoid(run.thermocouple[rows], run.time[rows], axis=0) / np.ptp(run.time[rows], axis=0),
        temperature_end_c=run.thermocouple[-1], temperature_peak_c=run.thermocouple.max(axis=0), temperature_final_c=run.bulk[-1],
        duration_s=end, window_start_s=run.time[rows][0], window_end_s=run.time[rows][-1], energy_kj=run.energy / 1e3,
        kinetic_energy_kj=run.energy / 1e3, energy_density_j_mm2=run.energy / friction_area / 1e6,
        power_density_w_mm2=run.energy / friction_area / end / 1e6,
    )  # fmt: skip
    number = np.tile(np.arange(1, each + 1), of.specimens)
    return frame.with_columns(
        stop=number,
        test=pl.Series([f"face-{w + 1}" for w in who]),
        batch=pl.lit("F-1"),
        specimen=pl.Series(["ABC"[w] for w in who]),
    )


def varied(of: Compound, **changes: object) -> Compound:
    """The compound with other fields: `varied(c, scatter=0.0)`."""
    return replace(of, **changes)  # type: ignore[arg-type]
