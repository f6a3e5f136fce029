"""Simulator of an inertia dynamometer with a carbon-carbon brake.

`simulate` runs a test program sample by sample and `write_test` leaves it as a rig would;
`simulate_stops` gives the same test at the level of stops, fast enough for studies of thousands.
"""

from rig_samples.simulator.brake import Brake, Rig
from rig_samples.simulator.disc import Disc
from rig_samples.simulator.material import MARRAM_4, MARRAM_6, Material, Surface
from rig_samples.simulator.program import Block, characterisation, glazing
from rig_samples.simulator.run import Simulated, simulate
from rig_samples.simulator.sensors import Change, Sensors
from rig_samples.simulator.wear import Gauge

__all__ = [
    "MARRAM_4",
    "MARRAM_6",
    "Block",
    "Brake",
    "Change",
    "Disc",
    "Gauge",
    "Material",
    "Rig",
    "Sensors",
    "Simulated",
    "Surface",
    "characterisation",
    "glazing",
    "simulate",
]
