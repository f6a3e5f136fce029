"""Faults put into a clean simulated test, each at two sizes, with what a careful tool must make of them.

An injector changes the recorded samples (as the sensors or the recorder would), the card or the wear readings. `struck`
are the stops that it touches; `codes` the findings of which one must name it; `consequence` what must follow: corrected
(numbers still right), suspect or rejected (the struck stops left out of models), test (a finding on the test), told (info).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import polars as pl

Samples = pl.DataFrame
HIT, HITS = 21, range(21, 31)  # a map stop, and a stretch of ten in the middle of the test
LATER = 21  # what begins in the middle of the test begins here


@dataclass(frozen=True)
class Fault:
    """One kind of fault. The three injectors take the size; each may be None."""

    name: str
    sizes: tuple[Any, Any]
    codes: tuple[str, ...]
    consequence: str
    samples: Callable[[Samples, Any], Samples] | None = None
    card: Callable[[dict[str, Any], Any], None] | None = None
    wear: Callable[[pl.DataFrame, Any], pl.DataFrame] | None = None
    struck: Callable[[Any], list[int]] = field(default=lambda size: [])
    channel: str | None = None


def where(stops: range | list[int]) -> pl.Expr:
    return pl.col("recording").is_in(list(stops))


def into_braking(seconds: float, length: float) -> pl.Expr:
    """Samples from `seconds` after the recording's 1.3rd second, for `length` seconds: inside every braking."""
    t = pl.col("time_s") - pl.col("time_s").first().over("recording")
    return (t >= 1.3 + seconds) & (t < 1.3 + seconds + length)


def add(column: str, value: Any, when: pl.Expr | bool = True) -> Callable[[Samples], Samples]:
    return lambda s: s.with_columns(
        pl.when(pl.lit(when) if when is True else when)
        .then(pl.col(column) + value)
        .otherwise(pl.col(column))
        .alias(column)
    )


def set_to(column: str, value: Any, when: pl.Expr) -> Callable[[Samples], Samples]:
    return lambda s: s.with_columns(pl.when(when).then(value).otherwise(pl.col(column)).alias(column))


def _growing(column: str, share: float) -> Callable[[Samples], Samples]:
    """A gain that drifts evenly over the test to `share` at its end."""
    last = pl.col("recording").max()
    return lambda s: s.with_columns(pl.col(column) * (1 + share * (pl.col("recording") - 1) / (last - 1)))


def _lagged(s: Samples, seconds: float) -> Samples:
    n = round(seconds * 100)
    return s.with_columns(
        pl.col("torque_nm").shift(n).over("recording").fill_null(strategy="backward").over("recording")
    )


def _debonded(s: Samples, keep: float) -> Samples:
    start = pl.col("disc_temperature_c").first().over("recording")
    return set_to(
        "disc_temperature_c", start + keep * (pl.col("disc_temperature_c") - start), pl.col("recording") >= LATER
    )(s)


def _swapped(s: Samples, first: int) -> Samples:
    swap = pl.col("recording") >= first
    disc, pad = pl.col("disc_temperature_c"), pl.col("pad_temperature_c")
    return s.with_columns(
        disc_temperature_c=pl.when(swap).then(pad).otherwise(disc),
        pad_temperature_c=pl.when(swap).then(disc).otherwise(pad),
    )


def _held(s: Samples, column: str, length: float) -> Samples:
    inside = into_braking(0.4, length) & where([HIT])
    first = pl.col(column).filter(inside).first()
    return s.with_columns(pl.when(inside).then(first).otherwise(pl.col(column)).alias(column))


def _backwards(s: Samples, samples: int) -> Samples:
    inside = into_braking(0.5, samples / 100) & where([HIT])
    return set_to("time_s", pl.col("time_s") - 0.5, inside)(s)


def _spikes(s: Samples, count: int) -> Samples:
    rng = np.random.default_rng(7)
    rows = s.with_row_index().filter(into_braking(0.3, 1.0) & where([HIT]))["index"].to_numpy()
    struck = pl.Series(rng.choice(rows, count, replace=False))
    return (
        s.with_row_index()
        .with_columns(torque_nm=pl.when(pl.col("index").is_in(struck.implode())).then(3600.0).otherwise("torque_nm"))
        .drop("index")
    )


def _repeated(s: Samples, shift: float) -> Samples:
    """The samples of the stop before stand where the struck stop's should, under its own times (shift 1) or not (0)."""
    other = s.filter(pl.col("recording") == HIT - 1)
    own = s.filter(pl.col("recording") == HIT)
    start = own["time_s"][0] if shift else other["time_s"][0]
    copy = other.with_columns(recording=pl.lit(HIT, pl.Int32), time_s=pl.col("time_s") - other["time_s"][0] + start)
    return pl.concat([s.filter(pl.col("recording") != HIT), copy]).sort("recording", maintain_order=True)


def _exchanged(s: Samples, offset: int) -> Samples:
    """Two stops of different blocks filed under each other's number."""
    a, b = HIT, HIT + offset
    swapped = (
        pl.when(pl.col("recording") == a).then(b).when(pl.col("recording") == b).then(a).otherwise(pl.col("recording"))
    )
    return s.with_columns(recording=swapped.cast(pl.Int32)).sort("recording", maintain_order=True)


def _trimmed(s: Samples, keep: pl.Expr) -> Samples:
    return s.filter(~where([HIT]) | keep)


def _released(s: Samples, seconds: float) -> Samples:
    """The brake is released early: pressure and torque fall to rest, the shaft keeps the speed it then has."""
    t = pl.col("time_s") - pl.col("time_s").first().over("recording")
    gone = where([HIT]) & (t > 1.0 + seconds)
    held = pl.col("speed_rpm").filter(where([HIT]) & (t <= 1.0 + seconds)).last()
    rest = s.with_columns(
        pl.when(gone).then(0.12).otherwise("pressure_bar").alias("pressure_bar"),
        pl.when(gone).then(17.0).otherwise("torque_nm").alias("torque_nm"),
    )
    return rest.with_columns(speed_rpm=pl.when(gone).then(held).otherwise("speed_rpm"))


def _unit(column: str, factor: float, zero: float = 0.0) -> Callable[[Samples, Any], Samples]:
    """All or (size 2) the later half of the recordings are in another unit than the card says."""
    return lambda s, part: s.with_columns(
        pl.when(pl.col("recording") >= (1 if part == "all" else LATER))
        .then(pl.col(column) * factor + zero)
        .otherwise(column)
        .alias(column)
    )


def _scaled_inertia(card: dict[str, Any], share: float) -> None:
    card["inertia"] = f"{26 * (1 + share):g} kg m^2"


def _wear_value(
    component: str, quantity: str, after: int, change: Callable[[pl.Expr], pl.Expr]
) -> Callable[[pl.DataFrame], pl.DataFrame]:
    row = (pl.col("component") == component) & (pl.col("quantity") == quantity) & (pl.col("after_stop") == after)

    def apply(wear: pl.DataFrame) -> pl.DataFrame:
        value = pl.col("value").cast(pl.Float64)
        return wear.with_columns(value=pl.when(row).then(change(value)).otherwise(value))

    return apply


ALL = list(range(1, 41))
ONE, LATE = (lambda size: [HIT]), (lambda size: list(range(LATER, 41)))

FAULTS: tuple[Fault, ...] = (
    Fault("torque zero off", (40.0, 120.0), ("offset_large", "zero_moved"), "corrected", lambda s, x: add("torque_nm", x)(s), channel="torque"),
    Fault("torque zero steps", (25.0, 80.0), ("zero_moved",), "corrected", lambda s, x: add("torque_nm", x, pl.col("recording") >= LATER)(s), channel="torque"),
    Fault("torque gain drifts", (0.03, 0.08), ("energy_ratio_trend", "energy_balance"), "test", lambda s, x: _growing("torque_nm", x)(s), channel="torque"),
    Fault("torque gain steps", (0.04, 0.10), ("energy_ratio_trend", "energy_ratio_step", "energy_balance"), "test", lambda s, x: set_to("torque_nm", pl.col("torque_nm") * (1 + x), pl.col("recording") >= LATER)(s), channel="torque"),
    Fault("torque saturates", (0.9, 0.7), ("saturated",), "suspect", lambda s, x: set_to("torque_nm", pl.min_horizontal(pl.col("torque_nm"), pl.col("torque_nm").filter(where([HIT])).quantile(0.95) * x), where([HIT]))(s), struck=ONE, channel="torque"),
    Fault("torque lags", (0.05, 0.12), ("lag_corrected",), "corrected", _lagged, channel="torque"),
    Fault("torque drops out", (0.1, 0.5), ("dropout", "recording_damaged"), "suspect", lambda s, x: set_to("torque_nm", None, into_braking(0.4, x) & where([HIT]))(s), struck=ONE, channel="torque"),
    Fault("torque spikes", (1, 8), ("spike",), "corrected", _spikes, struck=ONE, channel="torque"),
    Fault("torque without pressure", (150.0, 400.0), ("torque_without_pressure", "zero_moved", "torque_rest_odd"), "told", lambda s, x: add("torque_nm", x, where([HIT]) & (pl.col("pressure_bar") < 0.5))(s), struck=ONE, channel="torque"),
    Fault("pressure zero off", (0.8, 3.0), ("offset_large", "zero_moved"), "corrected", lambda s, x: add("pressure_bar", x)(s), channel="pressure"),
    Fault("pressure zero steps", (0.5, 2.0), ("zero_moved",), "corrected", lambda s, x: add("pressure_bar", x, pl.col("recording") >= LATER)(s), channel="pressure"),
    Fault("pressure gain steps", (0.10, 0.20), ("level_step",), "test", lambda s, x: set_to("pressure_bar", pl.col("pressure_bar") * (1 + x), pl.col("recording") >= LATER)(s), channel="pressure"),
    Fault("pressure holds", (0.3, 0.8), ("held_value",), "suspect", lambda s, x: _held(s, "pressure_bar", x), struck=ONE, channel="pressure"),
    Fault("speed scale off", (0.05, 0.10), ("energy_balance", "level_off_schedule"), "test", lambda s, x: s.with_columns(pl.col("speed_rpm") * (1 + x)), channel="speed"),
    Fault("thermocouple open", (0.4, 1.0), ("thermocouple_open",), "suspect", lambda s, x: set_to("disc_temperature_c", 1372.0, into_braking(0.2, 99.0 if x == 1.0 else x) & where([HIT]))(s), struck=ONE, channel="disc_temperature"),
    Fault("thermocouple stuck", (1, 10), ("thermocouple_stuck",), "suspect", lambda s, x: set_to("disc_temperature_c", pl.col("disc_temperature_c").first().over("recording"), where(list(HITS)[:x]))(s), struck=lambda x: list(HITS)[:x], channel="disc_temperature"),
    Fault("thermocouple debonded", (0.5, 0.15), ("thermocouple_debonded", "thermocouple_stuck"), "suspect", _debonded, struck=LATE, channel="disc_temperature"),
    Fault("thermocouples swapped", (1, LATER), ("thermocouple_swapped",), "suspect", _swapped, struck=lambda first: list(range(first, 41)), channel="disc_temperature"),
    Fault("time gap", (0.2, 0.6), ("time_gap",), "suspect", lambda s, x: _trimmed(s, ~into_braking(0.4, x)), struck=ONE),
    Fault("time goes backwards", (5, 40), ("time_backwards",), "rejected", _backwards, struck=ONE),
    Fault("clock jumps back", (3600.0, 7200.0), ("clock_jump",), "told", lambda s, x: add("time_s", -x, pl.col("recording") >= LATER + 3)(s)),
    Fault("start cut off", (0.3, 0.8), ("clipped_start",), "suspect", lambda s, x: _trimmed(s, ~into_braking(-2.0, 2.0 + x)), struck=ONE),
    Fault("end cut off", (0.4, 0.8), ("clipped_end", "recording_cut", "stop_aborted"), "suspect", lambda s, x: _trimmed(s, into_braking(-2.0, 2.0 + x)), struck=ONE),
    Fault("braking broken off", (0.5, 1.2), ("stop_aborted",), "rejected", _released, struck=ONE),
    Fault("recording copied", (0.0, 1.0), ("recording_duplicate", "recording_repeated"), "told", _repeated),
    Fault("filed under the wrong block", (5, 12), ("stop_off_schedule", "stop_extra", "stop_missing"), "told", _exchanged, struck=lambda offset: [HIT, HIT + offset]),
    Fault("psi labelled bar", ("all", "half"), ("unit_slip", "level_off_schedule", "level_step", "mu_implausible"), "test", _unit("pressure_bar", 14.5037738), channel="pressure"),
    Fault("MPa labelled bar", ("all", "half"), ("unit_slip", "level_off_schedule", "level_step", "mu_implausible"), "test", _unit("pressure_bar", 0.1), channel="pressure"),
    Fault("lbf ft labelled N m", ("all", "half"), ("unit_slip", "energy_balance", "energy_ratio_step"), "test", _unit("torque_nm", 0.737562149), channel="torque"),
    Fault("degF labelled degC", ("all", "half"), ("unit_slip", "level_off_schedule", "level_step"), "test", _unit("disc_temperature_c", 1.8, 32.0), channel="disc_temperature"),
    Fault("rad/s labelled rpm", ("all", "half"), ("unit_slip", "energy_balance", "level_off_schedule", "level_step"), "test", _unit("speed_rpm", 0.104719755), channel="speed"),
    Fault("wrong inertia", (0.08, 0.15), ("energy_balance",), "test", card=_scaled_inertia),
    Fault("disc thickness gained", (60.0, 200.0), ("wear_negative", "wear_reading_impossible"), "told", wear=lambda w, x: _wear_value("disc", "thickness", 40, lambda v: v + x * 1e-3)(w)),
    Fault("disc weighed undried", (0.3, 0.6), ("wear_moisture", "wear_mass_thickness", "wear_negative"), "told", wear=lambda w, x: _wear_value("disc", "mass", 40, lambda v: v * (1 + x / 100))(w)),
    Fault("another disc weighed and measured", (0.4, 1.5), ("wear_mix_up", "wear_negative", "wear_mass_thickness", "wear_reading_impossible"), "told", wear=lambda w, x: _wear_value("disc", "thickness", 40, lambda v: v - x)(w)),
)  # fmt: skip
