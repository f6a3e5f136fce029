"""Every table column: name, type, unit, meaning. docs/tables.md is generated from it.

The columns of docs/contract.md keep its order and names; further ones follow. `empty(TABLE)` is the table of an
unusable test.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal, NamedTuple

if TYPE_CHECKING:
    import polars as pl

Kind = Literal["int", "float", "str", "list[str]", "bool"]


class Column(NamedTuple):
    name: str
    kind: Kind
    unit: str
    meaning: str


STOPS: tuple[Column, ...] = (
    Column("stop", "int", "", "number of the brake application as run, from 1"),
    Column("file", "str", "", "recording, relative to the test's folder"),
    Column("block", "str", "", "name of the schedule's block; null for an extra stop"),
    Column("purpose", "str", "", "purpose of the block"),
    Column("kind", "str", "", "stop, snub or drag"),
    Column("start_s", "float", "s", "brake start as the time channel counts"),
    Column("duration_s", "float", "s", "from the on-threshold to the end of braking"),
    Column("speed_start_rpm", "float", "rpm", "shaft speed at the start of braking"),
    Column("speed_end_rpm", "float", "rpm", "shaft speed at the end of braking"),
    Column("pressure_bar", "float", "bar", "mean line pressure over the evaluation window"),
    Column("torque_nm", "float", "N m", "mean friction torque over the evaluation window"),
    Column("mu", "float", "1", "nominal friction coefficient of the method"),
    Column("mu_u", "float", "1", "standard uncertainty of mu (JCGM 100): sensors and in-window scatter"),
    Column(
        "mu_bite",
        "float",
        "1",
        "mean over the first half second from the pressure's rise past half its plateau",
    ),
    Column("mu_start", "float", "1", "mean over the first tenth of the window's duration"),
    Column("mu_end", "float", "1", "mean over the last tenth of the window's duration"),
    Column("mu_min", "float", "1", "2nd percentile of mu in the window"),
    Column("mu_max", "float", "1", "98th percentile of mu in the window"),
    Column("mu_time", "float", "1", "mean over time, weights dt"),
    Column("mu_distance", "float", "1", "mean over distance, weights w dt"),
    Column("mu_energy", "float", "1", "mean over energy, weights T w dt"),
    Column("temperature_initial_c", "float", "degC", "disc, mean of the last 0.5 s before brake start"),
    Column("temperature_end_c", "float", "degC", "disc, at brake end"),
    Column("temperature_mean_c", "float", "degC", "disc, time mean over the window"),
    Column(
        "temperature_peak_c",
        "float",
        "degC",
        "disc, highest from brake start to the recording's end or the next start",
    ),
    Column("energy_kj", "float", "kJ", "friction work: integral of (torque less drag) x speed over the braking"),
    Column("kinetic_energy_kj", "float", "kJ", "change of kinetic energy from inertia and speeds; null for drags"),
    Column(
        "energy_ratio",
        "float",
        "1",
        "work of friction and drag over the energy taken from the shaft; 1 on a healthy rig",
    ),
    Column("energy_density_j_mm2", "float", "J/mm2", "friction work over the pads' friction area"),
    Column("power_density_w_mm2", "float", "W/mm2", "mean friction power over the braking per pad friction area"),
    Column("sliding_distance_m", "float", "m", "at the effective radius, over the braking"),
    Column("deceleration_mps2", "float", "m/s2", "mean fully developed deceleration at the rolling radius"),
    Column("status", "str", "", "ok, suspect or rejected"),
    Column("findings", "list[str]", "", "codes of the stop's findings"),
    # beyond docs/contract.md
    Column("recording", "int", "", "index of the recording in natural order"),
    Column("end_s", "float", "s", "end of braking as the time channel counts"),
    Column("run_number", "int", "", "count of what the rig ran up to this stop, missing recordings included"),
    Column("schedule_row", "int", "", "row of the expanded schedule, from 0; null for an extra stop"),
    Column("control", "str", "", "what the rig held: pressure, torque or deceleration"),
    Column("idle_before_s", "float", "s", "time from the end of the braking before; null where unknown"),
    Column("target_pressure_bar", "float", "bar", "pressure wanted by the schedule"),
    Column("target_temperature_c", "float", "degC", "initial temperature wanted by the schedule"),
    Column("pressure_plateau_bar", "float", "bar", "median pressure over the braking's last half"),
    Column("window_start_s", "float", "s", "start of the evaluation window after brake start"),
    Column("window_end_s", "float", "s", "end of the evaluation window after brake start"),
    Column("mu_u_stop", "float", "1", "part of mu_u that is the stop's own (scatter, drift of zero)"),
    Column("mu_u_common", "float", "1", "part of mu_u common to all stops of the rig (calibration, radius, area)"),
    Column("mu_rise", "float", "1", "mu_end over mu_start"),
    Column("pressure_rest_bar", "float", "bar", "pressure at rest before the stop"),
    Column("torque_rest_nm", "float", "N m", "torque at zero pressure before the stop, as recorded"),
    Column("drag_torque_nm", "float", "N m", "drag torque at the window's mean speed"),
    Column("temperature_final_c", "float", "degC", "disc, last value of the recording or before the next start"),
    Column(
        "ripple_1_pct",
        "float",
        "%",
        "torque amplitude at shaft order 1 over the mean torque; null where the samples do not tell it",
    ),
    Column(
        "ripple_2_pct",
        "float",
        "%",
        "torque amplitude at shaft order 2 over the mean torque; null where the samples do not tell it",
    ),
    Column("ripple_1_u_pct", "float", "%", "standard uncertainty of ripple_1_pct"),
    Column("ripple_2_u_pct", "float", "%", "standard uncertainty of ripple_2_pct"),
    Column("speed_mean_rpm", "float", "rpm", "shaft speed, time mean over the window"),
    Column("drag_energy_kj", "float", "kJ", "work of the drag torque over the braking"),
    Column(
        "energy_ratio_u", "float", "1", "standard uncertainty of energy_ratio from the torque; inertia taken as exact"
    ),
    Column("mu_u_scatter", "float", "1", "in-window scatter about a smooth trend over its effective number of samples"),
    Column("torque_zero_own_nm", "float", "N m", "torque zero of this stop beside the test's, subtracted as well"),
    Column("lag_s", "float", "s", "time by which torque comes after pressure in this stop's build-up"),
    Column("pressure_2_bar", "float", "bar", "second pressure sensor, mean over the window above its rest value"),
    Column("ambient_c", "float", "degC", "recorded ambient, median from before the stop to the next one's"),
    Column("temperature_rate_k_s", "float", "K/s", "disc, rate of warming at brake end"),
    Column("temperature_initial_u_k", "float", "K", "standard uncertainty of temperature_initial_c"),
    Column("temperature_end_u_k", "float", "K", "standard uncertainty of temperature_end_c, thermocouple lag included"),
    Column("angle_rad", "float", "rad", "angle that the shaft turned through during the braking"),
)

TRACES: tuple[Column, ...] = (
    Column("stop", "int", "", "number of the stop"),
    Column("time_s", "float", "s", "time from brake start"),
    Column("speed_rpm", "float", "rpm", "shaft speed"),
    Column("torque_nm", "float", "N m", "friction torque after conditioning"),
    Column("pressure_bar", "float", "bar", "line pressure after conditioning"),
    Column("disc_temperature_c", "float", "degC", "disc"),
    Column("mu", "float", "1", "inside the evaluation window, else null"),
)

DELTA: tuple[Column, ...] = (
    Column("test", "str", "", "test"),
    Column("stop", "int", "", "number of the stop"),
    Column("block", "str", "", "block"),
    Column("mu_a", "float", "1", "mu by the first method"),
    Column("mu_b", "float", "1", "mu by the second method"),
    Column("mu_difference", "float", "1", "second less first"),
    Column("energy_kj_a", "float", "kJ", "friction work by the first method"),
    Column("energy_kj_b", "float", "kJ", "friction work by the second method"),
    Column("status_a", "str", "", "status by the first method"),
    Column("status_b", "str", "", "status by the second method"),
)

SHARES: tuple[Column, ...] = (
    Column("test", "str", "", "test of the sample"),
    Column("stop", "int", "", "number of the stop by the first method"),
    Column("setting", "str", "", "setting changed alone; together: all; interaction: together less each alone"),
    Column("mu_relative", "float", "1", "change of mu from the first method, relative to its mu"),
)

FIGURE: tuple[Column, ...] = (
    Column("panel", "int", "", "panel of the figure, from 1, row by row"),
    Column(
        "series", "str", "", "what it is, as the legend names it where it stands in one; empty where it has no name"
    ),
    Column("mark", "str", "", "line, points, band, bar, field, or a line or stripe across the whole panel"),
    Column(
        "x",
        "float",
        "",
        "place along x, in the unit that x_is names; null where x_low and x_high or the whole panel stand for it",
    ),
    Column("x_low", "float", "", "lower end along x, of an interval, a stripe or a field"),
    Column("x_high", "float", "", "upper end along x"),
    Column("y", "float", "", "place along y, in the unit that y_is names; null as for x"),
    Column("y_low", "float", "", "lower end along y, of an interval, a band, a bar, a stripe or a field"),
    Column("y_high", "float", "", "upper end along y"),
    Column("value", "float", "", "what a field stands for, as series says"),
    Column("x_name", "str", "", "name that the axis bears there in place of a number"),
    Column("y_name", "str", "", "the same along y"),
    Column("x_is", "str", "", "quantity along x, with its unit"),
    Column("y_is", "str", "", "quantity along y, with its unit"),
)

#: tables with fixed columns by their file's name
TABLES = {
    "stops.parquet": STOPS,
    "traces.parquet": TRACES,
    "excluded.parquet": STOPS,
    "delta.parquet": DELTA,
    "shares.parquet": SHARES,
}


def schema(table: tuple[Column, ...]) -> dict[str, pl.DataType]:
    """Polars schema of a table."""
    import polars as pl

    types = {
        "int": pl.Int64(),
        "float": pl.Float64(),
        "str": pl.String(),
        "bool": pl.Boolean(),
        "list[str]": pl.List(pl.String()),
    }
    return {column.name: types[column.kind] for column in table}


def empty(table: tuple[Column, ...]) -> pl.DataFrame:
    """The table without rows: what a test that cannot be used gets."""
    import polars as pl

    return pl.DataFrame(schema=schema(table))


def conform(frame: pl.DataFrame, table: tuple[Column, ...]) -> pl.DataFrame:
    """The frame with the table's columns first, in order and type, missing ones null, NaN made null, further ones
    kept.
    """
    import polars as pl

    columns = []
    for name, dtype in schema(table).items():
        column = pl.col(name).cast(dtype) if name in frame.columns else pl.lit(None, dtype).alias(name)
        columns.append(column.fill_nan(None) if dtype == pl.Float64 else column)
    further = [name for name in frame.columns if name not in {c.name for c in table}]
    floats = [name for name in further if frame[name].dtype.is_float()]
    return frame.select(
        *columns, *(pl.col(name).fill_nan(None) if name in floats else pl.col(name) for name in further)
    )
