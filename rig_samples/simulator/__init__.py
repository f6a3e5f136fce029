"""Simulator of an inertia dynamometer with a carbon-carbon brake.

`simulate` runs a test program sample by sample and `write_test` leaves it as a rig would;
`simulate_stops` gives the same test at the level of stops, fast enough for studies of thousands.
"""

from rig_samples.simulator.brake import Brake, Rig
from rig_samples.simulator.card import Identity, Stated, Style
from rig_samples.simulator.curve import friction_curve, stop_at, window_of
from rig_samples.simulator.disc import Disc
from rig_samples.simulator.material import MARRAM_4, MARRAM_6, Material, Surface
from rig_samples.simulator.program import Block, characterisation, glazing
from rig_samples.simulator.run import Simulated, simulate
from rig_samples.simulator.sensors import Change, Sensors
from rig_samples.simulator.stop_level import StopLevel, simulate_stops
from rig_samples.simulator.wear import Gauge
from rig_samples.simulator.writer import write_test

__all__ = [
    "MARRAM_4",
    "MARRAM_6",
    "Block",
    "Brake",
    "Change",
    "Disc",
    "Gauge",
    "Identity",
    "Material",
    "Rig",
    "Sensors",
    "Simulated",
    "Stated",
    "StopLevel",
    "Style",
    "Surface",
    "characterisation",
    "friction_curve",
    "glazing",
    "simulate",
    "simulate_stops",
    "stop_at",
    "window_of",
    "write_test",
]
