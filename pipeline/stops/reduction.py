"""One braking reduced to its row of the stops table.

Every figure is taken from conditioned samples: friction torque (offset and drag off), pressure above rest, speed, disc
temperature as recorded. Integrals run over the braking, means of mu over the evaluation window.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from pipeline.conditioning.corrections import Conditioned
from pipeline.conditioning.medians import mean, quantiles, running_median
from pipeline.conditioning.time_base import all_known, not_before, picking, rows_within, widths, within
from pipeline.constants import RPM, ZERO_C
from pipeline.stops.evaluation_window import bite_window, evaluation_window, plateau
from pipeline.stops.friction import averages, clamp_force, coefficient, weighted_mean, weights
from pipeline.stops.ripple import ripple
from pipeline.stops.scatter import scatter_of_mean
from pipeline.stops.work import (
    between,
    energy_ratio,
    integral,
    kinetic_energy,
    mean_fully_developed_deceleration,
    sliding_distance,
    work,
)

LEAST_SAMPLES = 8
LEAST_PRESSURE = 0.1  # of the plateau: below it a sample has no mu worth the name


@dataclass(frozen=True)
class Setup:
    """The facts of a test that its reduction needs, SI; inertia_mechanical is None where all inertia is mechanical."""

    piston_area: float
    radius: float
    threshold: float
    efficiency: float
    friction_area: float
    inertia: float
    inertia_mechanical: float | None
    rolling_radius: float | None
    average: str
    drag_correction: bool
    build_up: float
    least_window: float


class Interval(NamedTuple):
    """One braking: start and end (s), speeds there (rad/s), kind; the speed that the schedule ends it at, where
    known.
    """

    start: float
    end: float
    speed_start: float
    speed_end: float
    kind: str
    wanted_end: float | None = None


def mechanics(
    c: Conditioned, setup: Setup, at: Interval, *, drive_torque: np.ndarray | None
) -> dict[str, float | None]:
    """Work, energies, densities, distance and deceleration of one braking; columns of the table.

    drive_torque: (n,) N m over the samples of `c`, None where the drive's work does not count.
    """
    start, end, speed_start, speed_end, kind = at[:5]
    # Work needs no filter, and the filter would spread a steep build-up over the brake start.
    time, speed, friction, drag = between(c.time, start, end, c.speed, c.unfiltered, c.drag)
    done, dragged = work(time, friction, speed), work(time, drag, speed)
    duration = end - start
    row: dict[str, float | None] = {
        "duration_s": duration,
        "speed_start_rpm": speed_start * RPM,
        "speed_end_rpm": speed_end * RPM,
        "energy_kj": done / 1e3,
        "energy_density_j_mm2": done / setup.friction_area / 1e6,
        "power_density_w_mm2": done / duration / setup.friction_area / 1e6 if duration > 0 else None,
        "sliding_distance_m": sliding_distance(time, speed, setup.radius),
        "drag_energy_kj": dragged / 1e3,
        "angle_rad": integral(speed, time),
        "kinetic_energy_kj": None,
        "energy_ratio": None,
        "deceleration_mps2": None,
    }
    if kind == "drag":
        return row
    row["kinetic_energy_kj"] = kinetic_energy(setup.inertia, speed_start, speed_end) / 1e3
    if setup.inertia_mechanical is None:
        row["energy_ratio"] = energy_ratio(done, dragged, kinetic_energy(setup.inertia, speed_start, speed_end))
    elif drive_torque is not None:
        _, drive = between(c.time, start, end, drive_torque)
        mechanical = kinetic_energy(setup.inertia_mechanical, speed_start, speed_end)
        row["energy_ratio"] = energy_ratio(done, dragged, mechanical, work(time, drive, speed))
    if setup.rolling_radius is not None and (kind == "stop" or speed_end <= 0.1 * speed_start):
        row["deceleration_mps2"] = mean_fully_developed_deceleration(time, speed * setup.rolling_radius)
    return row


@dataclass(frozen=True)
class Friction:
    """mu of the samples (n,), the window's mask and figures; `why` when there is no mean."""

    mu: np.ndarray
    inside: np.ndarray
    window: tuple[float, float] | None
    columns: dict[str, float | None]
    scatter: float
    torque: float
    pressure: float  # above threshold
    why: str | None


def friction_of(c: Conditioned, setup: Setup, at: Interval, *, control: str, step: float) -> Friction:
    """mu over the braking and its means over the evaluation window; `control`: pressure, torque or deceleration."""
    start, end = at.start, at.end
    torque = c.friction if setup.drag_correction else c.with_drag
    force = clamp_force(
        c.pressure, piston_area=setup.piston_area, threshold=setup.threshold, efficiency=setup.efficiency
    )
    mu = coefficient(torque, force, setup.radius)
    held = plateau(c.time, c.pressure, start, end)
    mu[~(c.pressure - setup.threshold > LEAST_PRESSURE * max(held - setup.threshold, 0.0))] = np.nan
    level, of_level = (c.pressure, held) if control == "pressure" else (torque, plateau(c.time, torque, start, end))
    window = evaluation_window(c.time, level, c.speed, **at._asdict(), held=of_level, build_up=setup.build_up)
    inside = np.zeros(c.time.size, dtype=bool)
    if window is not None:
        inside = within(c.time, *window)
    known = np.isfinite(mu)
    used = inside & known
    why = _too_short(window, used, setup.least_window)
    columns: dict[str, float | None] = {"pressure_plateau_bar": held / 1e5}
    if window is not None:
        columns |= {"window_start_s": window[0] - start, "window_end_s": window[1] - start}
    scatter, mean_torque, mean_pressure = float("nan"), float("nan"), float("nan")
    if why is None and window is not None:
        by = weights(widths(c.time, longest=5 * step), c.speed, torque)
        nominal, rows = by[setup.average], picking(used)
        bite = bite_window(c.time, c.pressure, start, end, held=held)
        columns |= _of_parts(c.time, mu, nominal, used, known, window, bite)
        columns |= _means(c, mu, torque, by, rows)
        columns["mu"] = columns[f"mu_{setup.average}"]
        scatter, _ = scatter_of_mean(mu[rows], np.abs(nominal[rows]))
        mean_torque = weighted_mean(torque[rows], by["time"][rows])
        mean_pressure = weighted_mean(c.pressure[rows], by["time"][rows]) - setup.threshold
    return Friction(mu, inside, window, columns, scatter, mean_torque, mean_pressure, why)


def _too_short(window: tuple[float, float] | None, used: np.ndarray, shortest: float) -> str | None:
    if window is None:
        return "the level never reaches its share of the plateau before the window would end"
    if window[1] - window[0] < shortest:
        return f"the evaluation window lasts {window[1] - window[0]:.2f} s, less than {shortest:g} s"
    if np.count_nonzero(used) < LEAST_SAMPLES:
        return f"the evaluation window has fewer than {LEAST_SAMPLES} samples with a friction coefficient"
    return None


def _of_parts(
    time: np.ndarray,
    mu: np.ndarray,
    weight: np.ndarray,
    used: np.ndarray,
    known: np.ndarray,
    window: tuple[float, float],
    bite: tuple[float, float] | None,
) -> dict[str, float | None]:
    """mu at the window's start and end, a tenth of it each, and in the bite; used, known (bool): (n,), samples of the window and of
    all that have a mu.
    """

    def part(first: float, last: float, mask: np.ndarray) -> float:
        rows = rows_within(time, first, last)
        usable = mask[rows]
        if usable.all():
            return weighted_mean(mu[rows], weight[rows])
        return weighted_mean(mu[rows][usable], weight[rows][usable])

    tenth = (window[1] - window[0]) / 10
    begin, finish = part(window[0], window[0] + tenth, used), part(window[1] - tenth, window[1], used)
    return {
        "mu_start": begin,
        "mu_end": finish,
        "mu_rise": finish / begin if begin > 0 else None,
        "mu_bite": part(*bite, known) if bite else None,
    }


def _means(
    c: Conditioned, mu: np.ndarray, torque: np.ndarray, by: dict[str, np.ndarray], rows: slice | np.ndarray
) -> dict[str, float | None]:
    """Means over the window's samples, which `rows` picks; by: weights of all samples."""
    means, width = averages(mu[rows], {name: weight[rows] for name, weight in by.items()}), by["time"][rows]
    low, high = quantiles(mu[rows], 0.02, 0.98)
    return {
        "mu_time": means["time"],
        "mu_distance": means["distance"],
        "mu_energy": means["energy"],
        "mu_min": low,
        "mu_max": high,
        "pressure_bar": weighted_mean(c.pressure[rows], width) / 1e5,
        "torque_nm": weighted_mean(c.friction[rows], width),
        "speed_mean_rpm": weighted_mean(c.speed[rows], width) * RPM,
        # A straight line in the speed: at the mean speed it is its own mean.
        "drag_torque_nm": weighted_mean(c.drag[rows], width),
    }


TEMPERATURES = ("initial", "end", "mean", "peak", "final")


def temperatures(
    time: np.ndarray, temperature: np.ndarray, *, start: float, end: float, window: tuple[float, float] | None
) -> dict[str, float | None]:
    """Disc temperatures (degC) before, over and after a braking, and the rate at its end (K/s); null where not
    recorded.

    time (s), temperature (K): (n,), from before the start to the recording's end or the next start.
    """
    if all_known(temperature):
        t, values = time[:], temperature - ZERO_C
    else:
        good = np.isfinite(temperature)
        t, values = time[good], temperature[good] - ZERO_C
    t.setflags(write=False)  # its median step is asked for again and again
    row: dict[str, float | None] = dict.fromkeys((f"temperature_{name}_c" for name in TEMPERATURES), None)
    row["temperature_rate_k_s"] = None
    if not t.size:
        return row
    begun = rows_within(t, start, np.inf)
    before = values[not_before(t, start - 0.5) & ~not_before(t, start)]
    first = values[rows_within(t, start, start + 0.1)]
    row["temperature_initial_c"] = _mean(before if before.size else first)
    near = _mean(values[rows_within(t, end - 0.05, end + 0.05)])
    row["temperature_end_c"] = near
    if t[0] <= end - 0.3 and end <= t[-1]:
        last = float(np.interp(end, t, values)) if near is None else near
        earlier = _mean(values[rows_within(t, end - 0.35, end - 0.25)])
        row["temperature_end_c"] = last
        row["temperature_rate_k_s"] = (
            last - (float(np.interp(end - 0.3, t, values)) if earlier is None else earlier)
        ) / 0.3
    if window is not None:
        inside = rows_within(t, *window)
        row["temperature_mean_c"] = weighted_mean(values[inside], widths(t)[inside]) if t[inside].size else None
    row["temperature_peak_c"] = highest(values[begun])
    row["temperature_final_c"] = _mean(values[-3:])
    return row


def highest(values: np.ndarray) -> float | None:
    """Highest of the running medians of five samples, so that one wild sample is no peak; None without samples.

    values: (n,) in the order of time.
    """
    if values.size == 0:
        return None
    if values.size < 5:
        return float(np.median(values))
    return float(running_median(values, 5).max())


def _mean(values: np.ndarray) -> float | None:
    return mean(values) if values.size else None


def ripple_columns(c: Conditioned, window: tuple[float, float] | None) -> dict[str, Any]:
    """Torque ripple at shaft orders 1 and 2 (% of mean torque) with standard uncertainties; null where the
    samples do not tell it.
    """
    result: dict[str, Any] = {
        "ripple_1_pct": None,
        "ripple_2_pct": None,
        "ripple_1_u_pct": None,
        "ripple_2_u_pct": None,
    }
    if window is None:
        return result
    inside = rows_within(c.time, *window)
    for order, (amplitude, u) in ripple(c.time[inside], c.speed[inside], c.unfiltered[inside]).items():
        result |= {f"ripple_{order}_pct": 100 * amplitude, f"ripple_{order}_u_pct": 100 * u}
    return result
