"""The stops of a test as the drift stage sees them: arrays in time order, what is alike, what was low-energy.

Friction is taken as ln mu, since glaze, a torque gain and a pressure gain each change mu by the same share at all
conditions. Beside it stand the channels that tell the causes apart: ln of the energy ratio, ln of the pressure over
what the schedule wanted, the pressure at rest.

Stops are *matched* when their block's kind, wanted pressure, start speed and initial temperature agree; a group of
matched stops has a level of its own, so that no friction map is asked for a value it cannot give. Small departures
from the group's conditions are allowed for through slopes with their uncertainty.
"""

from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from pipeline.constants import ZERO_C, Array
from pipeline.drift.matching import MONITORED, matched_groups
from pipeline.method.drift import Drift


@dataclass(frozen=True)
class Series:
    """All stops of a test in time order, n long; NaN where a value is unknown.

    ln_mu (NaN where it may not be used), ratio ln energy_ratio, level ln(plateau / wanted pressure), rest bar, second
    ln of the first pressure over the second, rise ln of the in-stop rise, pressure bar, speed rpm, temperature degC
    initial, hot degC mean in the window, power W/mm2 and energy J/mm2 of pad, idle s; block is the index of the run of equal block
    names, group that of matched conditions (-1: none), low and high the exposure (1 low- or high-energy), damp the
    stops that moisture of a pause may touch.
    """

    stop: NDArray[np.int64]
    purpose: NDArray[np.str_]
    kind: NDArray[np.str_]
    name: NDArray[np.str_]
    ln_mu: Array
    ratio: Array
    level: Array
    rest: Array
    second: Array
    rise: Array
    pressure: Array
    speed: Array
    temperature: Array
    hot: Array
    power: Array
    energy: Array
    idle: Array
    control: NDArray[np.str_]
    block: NDArray[np.int64]
    group: NDArray[np.int64]
    low: Array
    high: Array
    damp: NDArray[np.bool_]
    pause: NDArray[np.int64]
    reference_power: float
    reference_temperature: float

    def __len__(self) -> int:
        return len(self.stop)

    def with_ln_mu(self, ln_mu: Array) -> "Series":
        """The same stops with another friction."""
        return replace(self, ln_mu=ln_mu)


def series(stops: pl.DataFrame, settings: Drift, *, use_suspect: bool = False) -> Series:
    """Arrays of a stops table (columns of vocabulary.STOPS), in the order run."""
    stops = stops.sort("stop")
    number = {name: _floats(stops, name) for name in _NUMBERS}
    for name in _POSITIVE:
        number[name] = np.where(number[name] > 0, number[name], np.nan)
    text = {name: _texts(stops, name) for name in ("purpose", "kind", "block", "control", "status")}
    usable = _usable(text["status"], use_suspect)
    ln_mu = np.where(usable, _log(number["mu"]), np.nan)
    block = _runs(text["block"])
    wanted = number["target_pressure_bar"]
    level = np.where(text["control"] == "pressure", _log(number["pressure_plateau_bar"] / wanted), np.nan)
    power = _power(number)
    checks = (text["purpose"] == "check") & np.isfinite(power)
    if not checks.any():
        checks = np.isin(text["purpose"], MONITORED) & np.isfinite(power)
    reference_power = float(np.median(power[checks])) if checks.any() else np.nan
    with_temperature = checks & np.isfinite(number["temperature_initial_c"])
    reference_temperature = (
        float(np.median(number["temperature_initial_c"][with_temperature])) if with_temperature.any() else np.nan
    )
    low, high = exposure(
        power, number["temperature_initial_c"], text["purpose"], reference_power, reference_temperature, settings
    )
    damp, pause = damp_stops(number["idle_before_s"], number["temperature_initial_c"], settings)
    condition = np.where(np.isfinite(wanted) & (text["control"] == "pressure"), wanted, number["pressure_bar"])
    conditions = np.column_stack(
        [
            np.log(condition),
            np.log(number["speed_start_rpm"]),
            number["speed_end_rpm"] / number["speed_start_rpm"],
            number["temperature_initial_c"],
            number["target_temperature_c"],
        ]
    )
    group = matched_groups(block, text, conditions, np.isfinite(ln_mu), settings)
    return Series(
        stop=stops["stop"].to_numpy().astype(np.int64),
        purpose=text["purpose"],
        kind=text["kind"],
        name=text["block"],
        ln_mu=ln_mu,
        ratio=np.where(usable, _ratio(number), np.nan),
        level=np.where(usable, level, np.nan),
        rest=number["pressure_rest_bar"],
        second=_log(number["pressure_bar"] / number["pressure_2_bar"]),
        rise=_log(number["mu_rise"]),
        pressure=number["pressure_bar"],
        speed=number["speed_start_rpm"],
        temperature=number["temperature_initial_c"],
        hot=number["temperature_mean_c"],
        power=power,
        energy=_energy(number),
        idle=number["idle_before_s"],
        control=text["control"],
        block=block,
        group=group,
        low=low,
        high=high,
        damp=damp,
        pause=pause,
        reference_power=reference_power,
        reference_temperature=reference_temperature,
    )


_NUMBERS = (
    "mu",
    "pressure_plateau_bar",
    "target_pressure_bar",
    "pressure_rest_bar",
    "pressure_bar",
    "pressure_2_bar",
    "target_temperature_c",
    "speed_start_rpm",
    "speed_end_rpm",
    "temperature_initial_c",
    "temperature_mean_c",
    "power_density_w_mm2",
    "energy_density_j_mm2",
    "duration_s",
    "idle_before_s",
    "mu_rise",
    "energy_ratio",
    "energy_kj",
    "kinetic_energy_kj",
)


_POSITIVE = ("mu", "pressure_bar", "pressure_2_bar", "pressure_plateau_bar", "target_pressure_bar", "speed_start_rpm")


def _floats(stops: pl.DataFrame, name: str) -> Array:
    if name not in stops.columns:
        return np.full(stops.height, np.nan)
    values = stops[name].cast(pl.Float64, strict=False).to_numpy()
    return np.where(np.isfinite(values), values, np.nan)


def _texts(stops: pl.DataFrame, name: str) -> NDArray[np.str_]:
    if name not in stops.columns:
        return np.full(stops.height, "", dtype=str)
    return np.asarray(stops[name].cast(pl.String).fill_null("").to_list(), dtype=str).reshape(stops.height)


def _log(values: Array) -> Array:
    return np.log(values, where=values > 0, out=np.full(values.shape, np.nan))


def _usable(status: NDArray[np.str_], use_suspect: bool) -> NDArray[np.bool_]:
    """Stops whose friction counts: ok ones; suspect ones too where the method says so, or where they are so many
    (over a fifth) that leaving them out would hide the very drift that made them suspect."""
    suspect = status == "suspect"
    many = suspect.sum() > 0.2 * max(1, (status != "rejected").sum())
    return (status == "ok") | (suspect if use_suspect or many else False)


def _runs(names: NDArray[np.str_]) -> NDArray[np.int64]:
    """Index of the run of equal names; an extra stop without a block does not cut the block it fell into."""
    named = np.where(names != "", np.arange(len(names)), 0)
    names = names[np.maximum.accumulate(named)] if len(names) else names
    changes = np.r_[False, names[1:] != names[:-1]] if len(names) else np.zeros(0, bool)
    return np.cumsum(changes).astype(np.int64)


def _ratio(number: dict[str, Array]) -> Array:
    """ln energy ratio; where it is not given, that of friction work to kinetic energy, which a steady drag only
    shifts.
    """
    given = number["energy_ratio"]
    if np.isfinite(given).any():
        return _log(given)
    kinetic = np.where(number["kinetic_energy_kj"] > 0, number["kinetic_energy_kj"], np.nan)
    return _log(number["energy_kj"] / kinetic)


def _power(number: dict[str, Array]) -> Array:
    """Power density; where it is not given, what pressure, speed and mu imply, scaled to the stops that have it."""
    power = number["power_density_w_mm2"]
    speed = (number["speed_start_rpm"] + np.nan_to_num(number["speed_end_rpm"])) / 2
    implied = number["pressure_bar"] * speed * number["mu"]
    both = np.isfinite(power) & np.isfinite(implied) & (implied > 0)
    scale = np.median(power[both] / implied[both]) if both.any() else 1.0
    return np.where(np.isfinite(power), power, implied * scale)


def _energy(number: dict[str, Array]) -> Array:
    """Energy density; where it is not given, that of the power density over the braking."""
    given = number["energy_density_j_mm2"]
    return np.where(np.isfinite(given), given, number["power_density_w_mm2"] * number["duration_s"])


def exposure(
    power: Array,
    temperature: Array,
    purpose: NDArray[np.str_],
    reference_power: float,
    reference_temperature: float,
    settings: Drift,
) -> tuple[Array, Array]:
    """Which stops were low-energy and which high-energy, as 0 or 1.

    Both are judged against the matched checks, at which friction is known to hold: low-energy is gentler and not
    hotter, or clearly colder and not harder; high-energy is harder and not colder. Checks are neither. Without checks a
    stop is low-energy when it starts below the method's absolute temperature.
    """
    p = np.nan_to_num(power, nan=reference_power) / reference_power
    t = np.nan_to_num(temperature, nan=reference_temperature) - reference_temperature
    gentle = (p < settings.low_power_share) & (t < 30)
    cold = (t < -settings.low_temperature_below) & (p < 1.1)
    if not (purpose == "check").any():  # nothing to compare with: cold by itself
        cold |= (np.nan_to_num(temperature, nan=np.inf) < settings.low_temperature - ZERO_C) & (p < 1.1)
    hard = (p > settings.high_power_share) & (t > -settings.low_temperature_below)
    check = purpose == "check"
    known = np.isfinite(p) & np.isfinite(power) & ~check
    return ((gentle | cold) & known).astype(float), (hard & known).astype(float)


def damp_stops(idle: Array, temperature: Array, settings: Drift) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Stops that moisture may touch: the first few after a long idle time, as long as they start cold.

    Also the index of the pause (from 0) that each stop follows within a few times that count, -1 elsewhere.
    """
    n = len(idle)
    damp = np.zeros(n, bool)
    pause = np.full(n, -1, np.int64)
    for number, start in enumerate(np.flatnonzero(idle >= settings.pause)):
        pause[start : start + 6 * settings.pause_stops] = number
        for i in range(int(start), min(n, int(start) + settings.pause_stops)):
            if temperature[i] > settings.dry_above - ZERO_C:
                break
            damp[i] = True
    return damp, pause
