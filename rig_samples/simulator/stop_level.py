"""A whole test at the level of stops: rows as the reduction would give them, in milliseconds a test.

Measured values are the true ones put through the sensors' gains; offsets are taken as removed by the zero
readings, which show them (pressure_rest_bar, torque_rest_nm).
"""

from dataclasses import dataclass

import numpy as np
import polars as pl

from rig_samples.simulator.brake import RPM, Brake, Rig
from rig_samples.simulator.braking import KELVIN
from rig_samples.simulator.coarse import (
    INSIDE,
    CoarseApplication,
    averaged,
    coarse_once,
    coarse_truth,
    column,
    well_readings,
)
from rig_samples.simulator.disc import Disc
from rig_samples.simulator.material import Material, Surface
from rig_samples.simulator.play import Played, disc_of, play
from rig_samples.simulator.program import Block
from rig_samples.simulator.run import place
from rig_samples.simulator.sensors import Sensors
from rig_samples.simulator.wear import Gauge, readings, true_wear

MU_NOISE = 0.0013  # of mu: what noise and rest readings leave in a stop's mean
RATIO_NOISE = 0.0017
COMMON_SHARE = 0.008  # standard uncertainty of mu common to the rig, of mu


@dataclass(frozen=True)
class StopLevel:
    """A test at stop level.

    `stops`: columns of stops.parquet. `traces`: a dozen points a stop, columns of traces.parquet, or None.
    `truth`, `wear`, `wear_truth` as in `Simulated`.
    """

    program: list[Block]
    material: Material
    brake: Brake
    rig: Rig
    disc: Disc
    stops: pl.DataFrame
    traces: pl.DataFrame | None
    truth: pl.DataFrame
    wear: pl.DataFrame
    wear_truth: pl.DataFrame


def measured(
    played: Played[CoarseApplication],
    truth: dict[str, float | None],
    sensors: Sensors,
    brake: Brake,
    rig: Rig,
    rng: np.random.Generator,
) -> dict[str, object]:
    """The row of an application as reduced from what the sensors saw."""
    done, part = played.done, played.done.steps[INSIDE]
    seconds = column(part, "seconds")
    torque_gain, pressure_gain = sensors.torque_gain_at(played.number), sensors.pressure_gain_at(played.number)
    pressure = float(truth["pressure_bar"] or 0.0)
    true_force, seen_force = pressure - brake.threshold_bar, pressure_gain * pressure - brake.threshold_bar
    gain = torque_gain * true_force / seen_force * (1.0 + MU_NOISE * rng.normal())
    mu = {key: float(truth[key] or 0.0) * gain for key in ("mu_distance", "mu_time", "mu_energy", "mu_bite")}
    in_window = [value * gain for value in column(part, "mu")]
    energy = done.friction_work * torque_gain
    kinetic = truth["kinetic_energy_kj"]
    ratio = None
    if kinetic is not None:
        ratio = (energy + torque_gain * done.drag_work) / (kinetic * 1e3) * (1.0 + RATIO_NOISE * rng.normal())
    well = well_readings(done, played.rest.disc_k, sensors.thermocouple_time_s)
    offset = sensors.temperature_offset_k
    wander = rng.normal(0.0, 0.1)
    mean_speed = averaged(column(part, "speed"), seconds)
    return {
        "mu": mu["mu_distance"],
        **mu,
        "mu_u": float(np.hypot(MU_NOISE, COMMON_SHARE)) * mu["mu_distance"],
        "mu_u_stop": MU_NOISE * mu["mu_distance"],
        "mu_u_common": COMMON_SHARE * mu["mu_distance"],
        "mu_start": in_window[0],
        "mu_end": in_window[-1],
        "mu_min": min(in_window),
        "mu_max": max(in_window),
        "mu_rise": in_window[-1] / in_window[0],
        "pressure_bar": pressure * pressure_gain,
        "pressure_plateau_bar": pressure * pressure_gain,
        "torque_nm": float(truth["torque_nm"] or 0.0) * torque_gain,
        "temperature_initial_c": (played.rest.disc_k - KELVIN) * sensors.temperature_gain + offset + wander,
        "temperature_end_c": well[-1] * sensors.temperature_gain + offset,
        "temperature_mean_c": averaged(well[INSIDE], seconds) * sensors.temperature_gain + offset,
        "temperature_peak_c": max(well[-1], done.disc_k - KELVIN) * sensors.temperature_gain + offset,
        "temperature_final_c": (done.disc_k - KELVIN) * sensors.temperature_gain + offset,
        "energy_kj": energy / 1e3,
        "kinetic_energy_kj": kinetic,
        "energy_ratio": ratio,
        "energy_density_j_mm2": energy / (brake.pad_face * 1e6),
        "power_density_w_mm2": energy / done.ended_s / (brake.pad_face * 1e6),
        "sliding_distance_m": sum(step.speed * step.seconds for step in done.steps) * brake.effective_radius_mm * 1e-3,
        "duration_s": done.ended_s,
        "speed_start_rpm": done.speed_start / RPM,
        "speed_end_rpm": done.speed_end / RPM,
        "window_start_s": done.steps[0].seconds,
        "window_end_s": done.steps[0].seconds + sum(seconds),
        "pressure_rest_bar": sensors.pressure_offset_bar
        + sensors.pressure_offset_change.at(played.number)
        + rng.normal(0.0, sensors.pressure_wander_bar),
        "torque_rest_nm": sensors.torque_offset_nm
        + sensors.torque_offset_change.at(played.number)
        + rng.normal(0.0, sensors.torque_wander_nm),
        "drag_torque_nm": rig.drag(mean_speed),
    }


def placed(played: Played[CoarseApplication], schedule_row: int) -> dict[str, object]:
    """Columns that say where the stop stands."""
    block = played.block
    return {
        "stop": played.number,
        "file": f"recordings/stop_{played.number:03d}.csv",
        "block": block.name,
        "purpose": block.purpose,
        "kind": block.kind,
        "start_s": played.commanded,
        "end_s": played.commanded + played.done.ended_s,
        "recording": played.number,
        "run_number": played.number,
        "schedule_row": schedule_row,
        "control": block.control,
        "idle_before_s": played.rest.seconds if played.number > 1 else None,
        "target_pressure_bar": block.pressure if block.control == "pressure" else None,
        "target_temperature_c": block.initial,
        "deceleration_mps2": None,
        "status": "ok",
    }


def trace(played: Played[CoarseApplication], sensors: Sensors) -> pl.DataFrame:
    """The steps of an application as points in time."""
    steps = played.done.steps
    seconds = np.asarray(column(steps, "seconds"))
    inside = range(len(steps))[INSIDE]
    mu = [step.mu if i in inside else None for i, step in enumerate(steps)]
    return pl.DataFrame(
        {
            "stop": played.number,
            "time_s": np.cumsum(seconds) - seconds / 2.0,
            "speed_rpm": np.asarray(column(steps, "speed")) / RPM,
            "torque_nm": column(steps, "torque"),
            "pressure_bar": column(steps, "pressure"),
            "disc_temperature_c": well_readings(played.done, played.rest.disc_k, sensors.thermocouple_time_s),
            "mu": pl.Series(mu, dtype=pl.Float64),
        }
    )


def simulate_stops(
    program: list[Block],
    material: Material,
    *,
    seed: int,
    brake: Brake | None = None,
    rig: Rig | None = None,
    disc: Disc | None = None,
    sensors: Sensors | None = None,
    gauge: Gauge | None = None,
    surface: Surface | None = None,
    lasting: dict[int, float] | None = None,
    with_traces: bool = False,
) -> StopLevel:
    """Run a program at stop level; arguments as for `simulate`. Equal arguments give equal results."""
    brake, rig, sensors = brake or Brake(), rig or Rig(), sensors or Sensors()
    disc = disc_of(brake, material, disc)
    state, rng = surface or Surface(moisture=rig.humidity), np.random.default_rng(seed)
    rows: list[dict[str, object]] = []
    true: list[dict[str, object]] = []
    traces: list[pl.DataFrame] = []
    for played in play(coarse_once, program, material, brake, rig, disc, state, rng, {}, lasting or {}):
        truth = coarse_truth(played.done, played.demand, rig)
        truth["temperature_initial_c"] = played.rest.disc_k - KELVIN
        true.append({**place(played), **truth})
        seen = measured(played, truth, sensors, brake, rig, rng)
        rows.append({**placed(played, played.number - 1), **seen})
        if with_traces:
            traces.append(trace(played, sensors))
    table = pl.DataFrame(true, infer_schema_length=None)
    stops = pl.DataFrame(rows, infer_schema_length=None).with_columns(
        findings=pl.Series([[]] * len(rows), dtype=pl.List(pl.String)),
        deceleration_mps2=pl.lit(None, pl.Float64),
    )
    lost = true_wear(table, material, brake)
    wear = readings(lost, table.filter("reading")["stop"].to_list(), brake, gauge or Gauge(), rng)
    return StopLevel(
        program, material, brake, rig, disc, stops, pl.concat(traces) if traces else None, table, wear, lost
    )
