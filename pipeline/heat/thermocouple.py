"""What the disc's thermocouple reads within a stop: how deep it sits, how late it is, and what the disc loses while it brakes.

Conduction under each stop's own power gives the temperature at every depth (`pipeline.heat.slab`). A thermocouple at the depth d that
follows with a time constant tau shows

    dR/dt = (T(d, t) - R) / tau,   R = T = initial temperature at brake start

Over many stops its course tells d (hot stops of a thin layer rise late and little), tau (how the reading begins), and, where stops
begin at unlike temperatures, the heat that leaves the face while it brakes: a hot stop warms the disc less than a cold one of
equal work. Five numbers are fitted, Gauss and Newton's method, each held by what was known before:

    ln k/k0, ln share/share0    by the card or the method (`pipeline.heat.of_card`)
    ln h/h0                     convection of the face, 60 W/(m^2 K) within a factor of 3.3; radiation is the card's
    d / L                       0.35 of half the thickness, within 0.3
    ln tau/tau0                 0.4 s within a factor of 2.7                                        (the last three: common practice)

k, share, h and d may stand in for one another in short stops, so k and the share that this asks for are not used further. *The loss is
used where the traces show it*: where readings of stops left out (each by the fit without it, in closed form) are predicted better by
10 % rms or more than without any loss, the mean gain in squared error is over twice its standard error, and the loss is 2 % of a
stop's heat or more, which tabulated heat capacities cannot mimic. Depth and lag are told
where the same holds against a thermocouple that shows the disc's mean at once. Where the conductivity is a guess a place
near the middle is not told. Nothing is told where what remains is more than
a tenth of the rise: then the reading is no conduction into an even disc.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np
import polars as pl

from pipeline.archive.card import Card
from pipeline.constants import RAD_PER_S, ZERO_C, Array
from pipeline.heat import slab
from pipeline.heat.air import recorded_ambient
from pipeline.heat.of_card import Known
from pipeline.heat.plate import Plate, radiation_of
from pipeline.wording import counted

STEPS, SHOWN_AT = 40, 10  # of each stop: steps of conduction, instants compared
MOST_STOPS, FEWEST_STOPS = 30, 12
LEAST_RISE_K, ROUNDS, CLOSE = 8.0, 8, 0.1
SHOWN = np.linspace(STEPS // SHOWN_AT, STEPS - 1, SHOWN_AT).astype(int)
NODES, GRADING = 14, 1.2
AIR_C = 22.0  # where no ambient is recorded, common practice
CONVECTION, DEPTH, LAG_S = 60.0, 0.35, 0.4
WIDE = np.array([1.2, 0.3, 1.0])  # standard deviations of ln h, depth / L, ln lag
PROBE = np.array([0.05, 0.03, 0.2, 0.02, 0.05])  # steps by which slopes are taken
LONGEST = np.array([0.4, 0.15, 0.7, 0.15, 0.5])  # steps of the search
BEFORE = np.array([0.0, 0.0, 0.0, DEPTH, 0.0])
NOISE_K, OFFSET_K, UNLIKE = 1.0, 1.5, 0.02  # a reading's scatter, a stop's offset, what stops scatter of their rise
MARGIN, SURE = 0.10, 2.0
LEAST_LOST = 0.02  # of a stop's heat: a table of heat capacities is no truer
MOST_LEFT = 0.10  # of the rise
DEEP, GUESSED = 0.7, 0.3  # so deep a place is a worse conductor's nearer one, where the conductivity is a guess
DEPTH_U, LAG_U = 0.3e-3, 0.1  # m and s: what one dimension, a table of heat capacities and sampled power get wrong


@dataclass(frozen=True)
class Traces:
    """Stops as arrays [stops, STEPS], SI: time from brake start, friction power into both faces, reading; initial temperature [stops]."""

    time: Array
    power: Array
    reading: Array
    initial: Array
    ambient: float

    def __len__(self) -> int:
        return len(self.initial)


@dataclass(frozen=True)
class Reading:
    """What the thermocouple's course says. Depth in m, lag in s, convection in W/(m^2 K) of one face, lost: median share of a stop's
    heat that left meanwhile; `u` standard uncertainties (of the logarithm for convection); rms in K of what readings left
    out were missed by: as fitted, without loss, and as the disc's mean shown at once; rise: rms in K of the rise."""

    stops: int
    depth: float
    depth_u: float
    lag: float
    lag_u: float
    convection: float
    convection_u: float
    lost: float
    rms: float
    rms_without_loss: float
    rms_at_once: float
    rise: float
    loss_shown: bool
    place_shown: bool


def traces_of(stops: pl.DataFrame, traces: pl.DataFrame) -> Traces | str:
    """An even choice of the sound stops that warm the thermocouple, from an even disc; or why there are too few.

    `stops` and `traces` of one test; columns of docs/tables.md.
    """
    sound = stops.filter(
        pl.col("status") == "ok",
        (pl.col("kind") != "drag").fill_null(True),
        (pl.col("purpose") != "fade").fill_null(True),
        *(pl.col(c).is_finite() for c in ("temperature_initial_c", "energy_kj")),
    )
    sound = sound.join(traces.select("stop").unique(), on="stop", how="semi", maintain_order="left")
    rows = _rows(sound[_evenly(len(sound), MOST_STOPS)], traces)
    if len(rows) < min(MOST_STOPS, len(sound)) / 2:  # many of them hardly warm it
        rows = _rows(sound, traces)
        rows = [rows[i] for i in _evenly(len(rows), MOST_STOPS)]
    if len(rows) < FEWEST_STOPS:
        return f"{counted(len(rows), 'stop')} warming the thermocouple by {LEAST_RISE_K:g} K or more, {FEWEST_STOPS} are needed"
    time, power, reading, initial = (np.array(part) for part in zip(*rows, strict=True))
    return Traces(time, power, reading, initial, ambient_of(stops))


def ambient_of(stops: pl.DataFrame) -> float:
    """Air in K: as the test recorded it, else 22 degC or the coldest start, whichever is lower."""
    air = recorded_ambient(stops)
    if air is None:
        coldest = stops["temperature_initial_c"].min()
        air = min(AIR_C, float(coldest)) if isinstance(coldest, int | float) and np.isfinite(coldest) else AIR_C
    return air + ZERO_C


def _evenly(count: int, most: int) -> list[int]:
    """Row numbers of at most `most` of `count`, evenly."""
    return np.unique(np.linspace(0, count - 1, min(most, count)).astype(int)).tolist() if count else []


def _rows(stops: pl.DataFrame, traces: pl.DataFrame) -> list[tuple[Array, Array, Array, float]]:
    own = traces.filter(pl.col("time_s") >= 0, pl.col("stop").is_in(stops["stop"].implode()))
    by_stop = own.partition_by("stop", as_dict=True)
    found = [
        _row(by_stop[(stop,)], initial, energy)
        for stop, initial, energy in stops.select("stop", "temperature_initial_c", "energy_kj").rows()
        if (stop,) in by_stop
    ]
    return [row for row in found if row is not None]


def _row(own: pl.DataFrame, initial: float, energy: float) -> tuple[Array, Array, Array, float] | None:
    at, torque, speed, shown = (
        own[c].cast(pl.Float64).fill_null(float("nan")).to_numpy()
        for c in ("time_s", "torque_nm", "speed_rpm", "disc_temperature_c")
    )
    good = np.isfinite(at) & np.isfinite(shown)
    if good.sum() < SHOWN_AT or np.ptp(at[good]) <= 0:
        return None
    time = np.linspace(0.0, at[good][-1], STEPS)
    power = np.interp(time, at, np.nan_to_num(np.maximum(torque, 0.0) * speed * RAD_PER_S))
    work = float(np.trapezoid(power, time))
    reading = np.interp(time, at[good], shown[good])
    if work <= 0 or reading.max() - initial < LEAST_RISE_K:
        return None
    return time, power * (energy * 1e3 / work), reading + ZERO_C, initial + ZERO_C


def read(traces: Traces, plate: Plate, radiation: float, conductivity: Known, share: Known) -> Reading | str:
    """The fit, or why there is none. `radiation`: see `radiation_of`."""
    try:
        world = _World(traces, plate, radiation, conductivity, share, losing=True)
        full = _fitted(world, _start(world))
        even = _fitted(replace(world, losing=False), full.x)
    except np.linalg.LinAlgError:
        return "the readings cannot tell depth and lag"
    if not all(np.isfinite(part).all() for fit in (full, even) for part in (fit.x, fit.covariance, fit.left_out)):
        return "the readings cannot tell depth and lag"
    rise = float(np.sqrt(np.mean((traces.reading - traces.initial[:, None]) ** 2)))
    shows_loss = full.lost >= LEAST_LOST and _better(full.left_out, even.left_out)
    best = full if shows_loss else even
    at_once = traces.reading[:, SHOWN] - best.mean
    if _rms(best.left_out) > MOST_LEFT * rise:
        return (
            f"what remains of the readings, {_rms(best.left_out):.1f} K rms of a rise of {rise:.0f} K, is no conduction into "
            "an even disc"
        )
    half, u, lag = plate.half_thickness, np.sqrt(np.diag(best.covariance)), LAG_S * np.exp(best.x[4])
    return Reading(
        stops=len(traces), depth=float(best.x[3] * half), depth_u=float(np.hypot(u[3] * half, DEPTH_U)), lag=float(lag),
        lag_u=float(np.hypot(u[4] * lag, LAG_U)), convection=float(CONVECTION * np.exp(full.x[2])), convection_u=float(np.sqrt(full.covariance[2, 2])),
        lost=full.lost, rms=_rms(best.left_out), rms_without_loss=_rms(even.left_out), rms_at_once=_rms(at_once), rise=rise,
        loss_shown=shows_loss, place_shown=bool(_better(best.left_out, at_once) and (best.x[3] < DEEP or conductivity.u <= GUESSED)),
    )  # fmt: skip


def of_test(card: Card, plate: Plate, stops: pl.DataFrame, traces: pl.DataFrame, known: tuple[Known, Known]) -> Reading | str:  # fmt: skip
    """The fit to a test's traces; `known`: conductivity and heat share before."""
    made = traces_of(stops, traces)
    return made if isinstance(made, str) else read(made, plate, radiation_of(card, plate), *known)


def _rms(errors: Array) -> float:
    return float(np.sqrt(np.mean(errors**2)))


def _better(one: Array, other: Array) -> bool:
    """Whether errors [stops, instants] are clearly smaller than others'."""
    gain = (other**2).mean(axis=1) - (one**2).mean(axis=1)
    sure = gain.mean() > SURE * gain.std(ddof=1) / np.sqrt(gain.size)
    return bool(_rms(one) <= (1 - MARGIN) * _rms(other) and sure)


@dataclass(frozen=True)
class _World:
    """What is fitted, to what; x = (ln k/k0, ln share/share0, ln h/h0, depth / L, ln lag/lag0)."""

    traces: Traces
    plate: Plate
    radiation: float
    conductivity: Known
    share: Known
    losing: bool

    @property
    def free(self) -> np.ndarray:
        return np.array([0, 1, 2, 3, 4] if self.losing else [0, 1, 3, 4])

    @property
    def u(self) -> Array:
        return np.r_[self.conductivity.u, self.share.u, WIDE]

    @cached_property
    def white(self) -> Array:
        """Turns errors [SHOWN_AT] of each stop into ones of unit scatter."""
        rise = np.maximum(self.traces.reading - self.traces.initial[:, None], 1.0)[:, SHOWN]
        scatter = NOISE_K**2 * np.eye(SHOWN_AT) + OFFSET_K**2 + UNLIKE**2 * rise[:, :, None] * rise[:, None, :]
        return np.asarray(np.linalg.inv(np.linalg.cholesky(scatter)))

    def profiles(self, heat: Array) -> _Profiles:
        """Temperatures at every depth for some heat inputs [copies, 3], all at once."""
        t, copies, stops = self.traces, len(heat), len(self.traces)
        at = np.repeat(heat, stops, axis=0)
        power = np.tile((t.power + np.roll(t.power, 1, axis=1)) / 2, (copies, 1))
        flux = power * (self.share.value * np.exp(at[:, 1]) / (2 * self.plate.ring_area))[:, None]
        cooling = slab.Cooling(CONVECTION * np.exp(at[:, 2]), self.radiation, t.ambient) if self.losing else None
        depths, kelvin = slab.profiles(
            np.tile(t.time, (copies, 1)), flux, np.tile(t.initial, copies), half_thickness=self.plate.half_thickness,
            conductivity=self.conductivity.value * np.exp(at[:, 0]), density=self.plate.density, material=self.plate.material,
            nodes=NODES, grading=GRADING, passes=2, cooling=cooling,
        )  # fmt: skip
        lost = 0.0
        if cooling is not None:
            leaving = cooling.rows(slice(0, stops), len(at)).flux(kelvin[0, :stops].T).T
            lost = float(np.median(np.trapezoid(leaving, t.time) / np.trapezoid(flux[:stops], t.time)))
        kelvin = kelvin.reshape(depths.size, copies, stops, STEPS)
        return _Profiles(depths / self.plate.half_thickness, kelvin, t.time, lost)


@dataclass(frozen=True)
class _Profiles:
    depths: Array  # of half the thickness
    kelvin: Array  # [depths, copies, stops, STEPS]
    time: Array
    lost: float

    def reading(self, copy: int, depth: float, log_lag: float) -> Array:
        """What a thermocouple shows, K [stops, SHOWN_AT]."""
        at_depth = np.tensordot(_weights(self.depths, depth), self.kelvin[:, copy], axes=1)
        return lagged(at_depth, self.time, LAG_S * np.exp(log_lag))[:, SHOWN]

    @property
    def mean(self) -> Array:
        """The disc's mean, alike, of the first copy."""
        width = GRADING ** np.arange(NODES)
        return np.asarray(np.tensordot(width / width.sum(), self.kelvin[1:, 0], axes=1)[:, SHOWN])


def _start(world: _World) -> Array:
    """The best of a few conductivities, depths and lags, whatever the share: rises may be scaled."""
    u = world.conductivity.u
    conductivities = np.array([-1.3, 0.0, 1.3]) * u if u > 0.3 else np.zeros(1)
    profiles = world.profiles(np.column_stack([conductivities, np.zeros((conductivities.size, 2))]))
    initial = world.traces.initial[:, None]
    shown = world.traces.reading[:, SHOWN] - initial
    found, least = BEFORE.copy(), np.inf
    for copy, depth, lag in product(range(conductivities.size), (0.1, 0.25, 0.4, 0.6, 0.8), (-1.0, 0.0, 0.9)):
        rise = profiles.reading(copy, depth, lag) - initial
        factor = np.clip((rise * shown).sum() / max((rise**2).sum(), 1e-9), 0.5, 1.2)
        off = float(((shown - factor * rise) ** 2).sum())
        if off < least:
            found, least = np.array([conductivities[copy], 0.0, 0.0, depth, lag]), off
    return found


@dataclass(frozen=True)
class _Fit:
    x: Array
    covariance: Array
    left_out: Array  # K, [stops, SHOWN_AT]
    mean: Array  # the disc's mean, K, alike
    lost: float


def _fitted(world: _World, start: Array) -> _Fit:
    free, x, white = world.free, start.copy(), world.white
    known = np.diag(world.u[free] ** -2.0)
    for _ in range(ROUNDS):
        model, slopes, mean, lost = _model(world, x)
        rest = world.traces.reading[:, SHOWN] - model
        rows, misfit = white @ slopes[:, :, free], (white @ rest[:, :, None])[:, :, 0]
        weight = 1 / np.maximum(1.0, np.sqrt((misfit**2).mean(axis=1)) / 2)  # Huber's, a stop as a whole
        normal = np.einsum("s,smp,smq->pq", weight, rows, rows)
        pull = np.einsum("s,smp,sm->p", weight, rows, misfit) - known @ (x - BEFORE)[free]
        step = np.linalg.solve(normal + known, pull)
        size = float(np.max(np.abs(step) / LONGEST[free]))
        if size < CLOSE:
            break
        x[free] += step / max(size, 1.0)
        x[3] = np.clip(x[3], 0.0, 0.97)
    # stops are the witnesses: their scores' scatter makes the covariance, whatever the samples of a stop have in common
    scores = np.einsum("smp,sm->sp", rows, misfit) * weight[:, None]
    inverse = np.linalg.inv(normal + known)
    own = inverse @ (scores.T @ scores + known) @ inverse
    hat = rows @ inverse @ rows.transpose(0, 2, 1) * weight[:, None, None]
    without = np.linalg.solve(np.eye(SHOWN_AT) - hat, misfit[:, :, None])
    left_out = np.asarray(np.linalg.solve(white, without)[:, :, 0], float)
    covariance = np.zeros((5, 5))
    covariance[np.ix_(free, free)] = own
    return _Fit(x, covariance, left_out, mean, lost)


def _model(world: _World, x: Array) -> tuple[Array, Array, Array, float]:
    """Readings [stops, SHOWN_AT], their slopes in x, the disc's mean alike, and the median share of the heat that is lost."""
    moved = np.diag(PROBE[:3])[: 3 if world.losing else 2]
    profiles = world.profiles(np.vstack([np.zeros(3), moved]) + x[:3])
    base = profiles.reading(0, x[3], x[4])
    slopes = np.zeros((*base.shape, 5))
    for i in range(len(moved)):
        slopes[..., i] = (profiles.reading(i + 1, x[3], x[4]) - base) / PROBE[i]
    slopes[..., 3] = (profiles.reading(0, x[3] + PROBE[3], x[4]) - base) / PROBE[3]
    slopes[..., 4] = (profiles.reading(0, x[3], x[4] + PROBE[4]) - base) / PROBE[4]
    return base, slopes, profiles.mean, profiles.lost


def _weights(depths: Array, at: float) -> Array:
    """Weights of the values at `depths` for the cubic through the four about one depth."""
    first = int(np.clip(np.searchsorted(depths, at) - 2, 0, depths.size - 4))
    own = depths[first : first + 4]
    out = np.zeros(depths.size)
    for i, one in enumerate(own):
        others = np.delete(own, i)
        out[first + i] = np.prod((at - others) / (one - others))
    return out


def lagged(values: Array, time: Array, lag: float) -> Array:
    """A first-order lag of `lag` s of values [stops, n], straight between the instants; exact for such."""
    out = np.empty_like(values)
    out[:, 0] = values[:, 0]
    for i in range(1, values.shape[1]):
        span = np.maximum(time[:, i] - time[:, i - 1], 1e-9)
        slope, keep = (values[:, i] - values[:, i - 1]) / span, np.exp(-span / lag)
        behind = out[:, i - 1] - values[:, i - 1] + slope * lag
        out[:, i] = values[:, i] - slope * lag + behind * keep
    return out


def words(one: Reading) -> str:
    """The reading in a sentence, for a person."""
    said = []
    if one.place_shown:
        said.append(f"within the stops it reads as at {one.depth * 1e3:.1f} mm below the face, {one.lag:.1f} s late")
    else:
        said.append("within the stops it reads no otherwise than the disc's mean")
    if one.loss_shown:
        said.append(
            f"the disc loses {100 * one.lost:.0f} % of a stop's heat while it brakes (median; {one.convection:.0f} W/(m² K) a face)"
        )
    return "; ".join(said)
