"""A whole test, sample by sample: recordings as the sensors gave them, the truth and the wear readings."""

from dataclasses import dataclass

import numpy as np
import polars as pl

from rig_samples.simulator.brake import Brake, Rig
from rig_samples.simulator.braking import Application, brake_once
from rig_samples.simulator.disc import Disc
from rig_samples.simulator.material import Material, Surface
from rig_samples.simulator.play import Played, disc_of, play
from rig_samples.simulator.program import Block
from rig_samples.simulator.sensors import Sensors, recorded
from rig_samples.simulator.truth import stop_truth
from rig_samples.simulator.wear import Gauge, readings, true_wear


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
    disc: Disc
    sensors: Sensors
    samples: pl.DataFrame
    truth: pl.DataFrame
    wear: pl.DataFrame
    wear_truth: pl.DataFrame


def recording(played: Played[Application], sensors: Sensors, rig: Rig, rng: np.random.Generator) -> pl.DataFrame:
    """The samples of one application on the rig's clock."""
    channels = recorded(played.done.signals, sensors, played.number, 1.0 / rig.sample_rate, rng)
    clock = played.commanded + played.done.signals["time_s"]
    number = pl.Series("recording", np.full(len(clock), played.number, dtype=np.int32))
    return pl.DataFrame({"time_s": clock, **channels}).insert_column(0, number)


def place(played: Played) -> dict[str, object]:
    """Where an application stands in the program, and the state it began in."""
    return {
        "stop": played.number,
        "block": played.block.name,
        "purpose": played.block.purpose,
        "kind": played.block.kind,
        "start_s": played.commanded,
        "idle_before_s": played.rest.seconds if played.number > 1 else None,
        "oxidation_before_um": played.oxidation_before_um,
        "oxidation_after_um": played.oxidation_after_um,
        "glaze": played.before.glaze,
        "moisture": played.before.moisture,
        "bedding": played.before.bedding,
        "factor": played.factor,
        "reading": played.reading,
    }


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
    lasting: dict[int, float] | None = None,
    aborted: dict[int, float] | None = None,
) -> Simulated:
    """Run a program on a new specimen, or on one in a given surface state.

    `lasting` maps stop numbers to a factor of mu from that stop on that no use clears (contamination, damage).
    `aborted` maps stop numbers to the seconds after which they are released early. Equal arguments give
    equal results.
    """
    brake, rig, sensors = brake or Brake(), rig or Rig(), sensors or Sensors()
    disc = disc_of(brake, material, disc)
    state, rng = surface or Surface(moisture=rig.humidity), np.random.default_rng(seed)
    rows: list[dict[str, object]] = []
    recordings: list[pl.DataFrame] = []
    for played in play(brake_once, program, material, brake, rig, disc, state, rng, aborted or {}, lasting or {}):
        recordings.append(recording(played, sensors, rig, rng))
        rows.append({**place(played), **stop_truth(played.done, played.demand, brake, rig)})
    truth = pl.DataFrame(rows, infer_schema_length=None)
    lost = true_wear(truth, material, brake)
    at = truth.filter("reading")["stop"].to_list()
    wear = readings(lost, at, brake, gauge or Gauge(), rng)
    return Simulated(program, material, brake, rig, disc, sensors, pl.concat(recordings), truth, wear, lost)
