"""A whole test: the program's stops one after another, on one specimen and one clock."""

from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from rig_samples.simulator.brake import RPM, Brake, Rig
from rig_samples.simulator.braking import KELVIN, Demand, brake_once
from rig_samples.simulator.disc import MODES, Disc
from rig_samples.simulator.dwell import dwell
from rig_samples.simulator.material import Material, Surface
from rig_samples.simulator.program import Block
from rig_samples.simulator.sensors import Sensors, recorded
from rig_samples.simulator.truth import stop_truth
from rig_samples.simulator.wear import Gauge, readings, true_wear

READING_PAUSE_S = 5.0 * 3600.0


@dataclass(frozen=True)
class Simulated:
    """A simulated test.

    `samples`: recording (1-based), time_s (the rig's clock), speed_rpm, torque_nm, pressure_bar,
    disc_temperature_c and, with a simulated inertia, drive_torque_nm, as the sensors gave them.
    `truth`: one row per stop. `wear`: readings as in wear.csv. `wear_truth`: loss up to each stop.
    """

    program: list[Block]
    material: Material
    brake: Brake
    rig: Rig
    sensors: Sensors
    samples: pl.DataFrame
    truth: pl.DataFrame
    wear: pl.DataFrame
    wear_truth: pl.DataFrame


def disc_of(brake: Brake, material: Material, disc: Disc | None = None) -> Disc:
    """The disc as the brake and the compound make it."""
    return replace(
        disc or Disc(),
        mass=brake.disc_mass_kg,
        thickness=brake.disc_thickness_mm * 1e-3,
        density=material.density_kg_m3,
        conductivity=material.conductivity_w_mk,
        ring_area=brake.ring_area,
    )


def demand_of(block: Block, rig: Rig, rng: np.random.Generator, abort_after: float | None = None) -> Demand:
    """One application of a block, with the scatter of the rig's control."""
    level = {"pressure": block.pressure, "torque": block.torque, "deceleration": block.deceleration}[block.control]
    start = (block.speed[0] + rng.normal(0.0, rig.speed_scatter_rpm)) * RPM
    end = block.speed[1] * RPM
    if block.kind == "drag":
        end = start
    return Demand(
        block.kind,
        start,
        end,
        block.control,
        float(level or 0.0) * (1.0 + rng.normal(0.0, rig.level_scatter)),
        block.duration,
        abort_after,
    )


def mu_factors(stops: int, rig: Rig, rng: np.random.Generator) -> np.ndarray:
    """Stop-to-stop factor of mu, an AR(1) series about 1."""
    noise = rng.normal(0.0, rig.scatter, stops)
    keep = rig.scatter_correlation
    out = np.empty(stops)
    state = noise[0] if stops else 0.0
    for i in range(stops):
        state = noise[0] if i == 0 else keep * state + np.sqrt(1.0 - keep**2) * noise[i]
        out[i] = 1.0 + state
    return out


def simulate(
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
    aborted: dict[int, float] | None = None,
) -> Simulated:
    """Run a program on a new specimen (or one in a given surface state).

    `aborted` maps stop numbers to the seconds after which they are released early.
    """
    brake, rig, sensors = brake or Brake(), rig or Rig(), sensors or Sensors()
    disc = disc_of(brake, material, disc)
    state, rng = surface or Surface(moisture=rig.humidity), np.random.default_rng(seed)
    plan = [(block, k) for block in program for k in range(block.stops)]
    factors = mu_factors(len(plan), rig, rng)
    dt = 1.0 / rig.sample_rate
    disc_k, modes, ended, commanded, after_reading = disc.ambient, np.zeros(MODES), 0.0, 0.0, False
    rows: list[dict[str, object]] = []
    recordings: list[pl.DataFrame] = []
    for number, (block, k) in enumerate(plan, start=1):
        target = block.initial + KELVIN + rng.normal(0.0, rig.start_scatter_k)
        by_interval = block.interval is not None and k > 0
        pause = (block.pause_before or 0.0) if k == 0 else 0.0
        pause = max(pause, READING_PAUSE_S if after_reading else 0.0)
        rest = dwell(
            disc_k, modes, state.moisture, disc, material, rig, None if by_interval else target,
            max(block.interval - (ended - commanded), 3.0) if by_interval and block.interval else None, pause,
        )  # fmt: skip
        commanded = round(ended + rest.seconds + rig.before, 2)
        demand = demand_of(block, rig, rng, (aborted or {}).get(number))
        before = replace(state, moisture=rest.moisture)
        done = brake_once(demand, before, rest.disc_k, material, brake, rig, disc, factors[number - 1], rng)
        state, disc_k, modes = done.surface, done.disc_k, done.modes
        channels = recorded(done.signals, sensors, number, dt, rng)
        clock = commanded + done.signals["time_s"]
        recordings.append(
            pl.DataFrame({"time_s": clock, **channels}).insert_column(
                0, pl.Series("recording", np.full(len(clock), number, dtype=np.int32))
            )
        )
        ended = float(clock[-1])
        after_reading = block.reading and k == block.stops - 1
        cooled = dwell(disc_k, modes, 0.0, disc, material, rig, None, None, READING_PAUSE_S)
        rows.append(
            {
                "stop": number, "block": block.name, "purpose": block.purpose, "kind": block.kind,
                "start_s": commanded, "idle_before_s": rest.seconds if number > 1 else None,
                **stop_truth(done, demand, brake, rig),
                "oxidation_before_um": 0.0 if number > 1 and rows[-1]["reading"] else rest.oxidation_um,
                "oxidation_after_um": cooled.oxidation_um if after_reading else 0.0,
                "glaze": before.glaze, "moisture": before.moisture, "bedding": before.bedding,
                "factor": float(factors[number - 1]), "reading": after_reading,
            }
        )  # fmt: skip
    truth = pl.DataFrame(rows, infer_schema_length=None)
    lost = true_wear(truth, material, brake)
    at = truth.filter("reading")["stop"].to_list()
    wear = readings(lost, at, brake, gauge or Gauge(), rng)
    return Simulated(program, material, brake, rig, sensors, pl.concat(recordings), truth, wear, lost)
