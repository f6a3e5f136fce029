"""Messes drawn at random: languages, units, labels that are wrong, columns beside, numbers of stops, and rigs that brake otherwise."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import polars as pl

from rig_samples.simulator import MARRAM_4, Block, Rig, simulate
from tests.inspection.messy import BARE, ENGLISH, FRENCH, GERMAN, ITALIAN, SHORT, SPANISH, Mess, names, units

LANGUAGES = (
    GERMAN,
    FRENCH,
    ITALIAN,
    SPANISH,
    ENGLISH,
    SHORT,
    BARE,
    names("time_ms", "v_ref", "TRQ1", "PRS1", "TC01"),
    names("Uhr", "w", "M", "p1", "T"),
)
ALSO = (
    "p_soll",
    "n_soll",
    "M_soll",
    "T_Belag",
    "T2",
    "T_Umgebung",
    "Verzögerung",
    "µ",
    "Vehicle speed [km/h]",
    "p_hinten",
    "Weg",
    "Sample",
)
PROGRAMS = {
    "snubs": [Block("a", "map", 3), Block("b", "map", 3, initial=120.0, pressure=40.0)],
    "stops to rest": [Block("a", "map", 4, speed=(1200.0, 0.0), kind="stop"), Block("b", "map", 2, speed=(800.0, 0.0), kind="stop", pressure=40.0)],
    "torque held": [Block("a", "map", 4, control="torque", torque=500.0), Block("b", "map", 2, initial=150.0, control="torque", torque=800.0)],
    "drags": [Block("a", "drag", 3, kind="drag", speed=(700.0, 700.0), duration=6.0, pressure=12.0)],
    "snubs and drags": [Block("a", "map", 3), Block("b", "drag", 3, kind="drag", speed=(700.0, 700.0), duration=6.0, pressure=12.0)],
    "gentle": [Block("a", "duty", 5, speed=(600.0, 450.0), pressure=6.0, initial=60.0)],
    "one": [Block("a", "map", 1)],
}  # fmt: skip
RATES = {
    "snubs": 100.0,
    "stops to rest": 50.0,
    "torque held": 20.0,
    "drags": 50.0,
    "snubs and drags": 50.0,
    "gentle": 50.0,
    "one": 200.0,
}


@lru_cache(maxsize=len(PROGRAMS))
def brakings(program: str) -> list[pl.DataFrame]:
    """Recordings of a program, one a stop."""
    made = simulate(PROGRAMS[program], MARRAM_4, seed=7, rig=Rig(sample_rate=RATES[program]))
    return made.samples.partition_by("recording")


def drawn(seed: int) -> tuple[Mess, str]:
    """A mess and the program it is of."""
    rng = np.random.default_rng(seed)

    def one(*several: object) -> object:
        return several[int(rng.integers(len(several)))]

    language = LANGUAGES[int(rng.integers(len(LANGUAGES)))]
    unit = units(
        str(one("s", "s", "ms")), str(one("rpm", "1/min", "rad/s", "km/h", "m/s")), str(one("Nm", "lbf ft", "daNm")),
        str(one("bar", "MPa", "psi", "kPa")), str(one("°C", "°C", "°F")),
    )  # fmt: skip
    form = str(one("delimited", "delimited", "delimited", "parquet"))
    also = tuple(name for name in ALSO if rng.random() < 0.15)
    order = list(("time", "speed", "torque", "pressure", "disc_temperature"))
    if rng.random() < 0.5:
        rng.shuffle(order)
    delimiter, decimal = [(";", ","), (";", "."), ("\t", ","), (",", ".")][int(rng.integers(4))]
    mess = Mess(
        f"drawn {seed}", language, unit, str(one("row", "brackets", "names", "no")) if form == "delimited" else "no", form, delimiter, decimal,
        also=also, order=tuple(order), negative=bool(rng.random() < 0.2), series=bool(rng.random() < 0.3),
    )  # fmt: skip
    if rng.random() < 0.25:  # names of two channels exchanged
        a, b = rng.choice(["speed", "torque", "pressure", "disc_temperature"], 2, replace=False)
        mess = replace(mess, names={**mess.names, a: mess.names[b], b: mess.names[a]})
    if rng.random() < 0.25:  # a unit that the file tells wrongly
        channel, wrong = [
            ("pressure", "bar"),
            ("torque", "Nm"),
            ("time", "s"),
            ("disc_temperature", "°C"),
            ("speed", "rpm"),
        ][int(rng.integers(5))]
        mess = replace(mess, wrong={channel: wrong})
    return mess, list(PROGRAMS)[int(rng.integers(len(PROGRAMS)))]
