"""The scenario: which tests the archive holds and what is true of their specimens.

`python -m rig_samples.scenario` writes the archive and the truth again, value for value.
"""

import argparse
import json
import shutil
from dataclasses import asdict, dataclass
from pathlib import Path

import polars as pl

from rig_samples.simulator.brake import Brake
from rig_samples.simulator.card import Identity, Stated, Style
from rig_samples.simulator.material import MARRAM_4, MARRAM_6, Material
from rig_samples.simulator.program import Block, characterisation, glazing
from rig_samples.simulator.run import Simulated, simulate
from rig_samples.simulator.writer import write_test

HERE = Path(__file__).parent
#: of the archive; raise it when what the simulator writes changes, with an entry `samples` in docs/changes.md
REVISION = 2
COMMA = Style(names=("t", "n", "Mb", "p", "T1"))
SEMICOLON = Style(
    delimiter=";",
    decimal=",",
    names=("Zeit", "Drehzahl", "Moment", "Druck", "Scheibe"),
    units_row=True,
    suffix=".txt",
)
TAB = Style(
    delimiter="\t",
    names=("time", "shaft speed", "brake torque", "line pressure", "disc temperature"),
    preamble=("rig north, recorder 2", "one application per file"),
    suffix=".tsv",
)

# The same caliper and disc size; the denser compound makes heavier parts.
BRAKES = {"Marram 4": Brake(), "Marram 6": Brake(disc_mass_kg=1.80, pad_mass_kg=0.214)}

# What is seldom measured of such a disc: how well it conducts through its thickness, and how much of the heat pads and air
# take. The cards of Marram 4 state 30 W/(m K) and no share, those of Marram 6 neither.
M4_2403 = MARRAM_4.varied(conductivity_w_mk=27.0, heat_share=0.93)
M6_2406 = MARRAM_6.varied(conductivity_w_mk=28.0, heat_share=0.91)
STATED = {"Marram 4": Stated(conductivity_w_mk=30.0), "Marram 6": Stated()}

# The odd batch of Marram 4: densified otherwise, its hot friction a tenth lower and its wear higher.
M4_2405 = M4_2403.scaled(friction=1.006, wear=1.03)
M4_2407 = M4_2403.scaled(friction=0.885, wear=1.30)


@dataclass(frozen=True)
class Entry:
    """One test of the archive."""

    name: str
    identity: Identity
    material: Material
    program: list[Block]
    seed: int
    style: Style = COMMA


def specimen(compound: str, batch: str, letter: str, date: str, procedure: str = "characterisation") -> Identity:
    """Identity of a test of the archive."""
    return Identity(compound, batch, letter, date, procedure=procedure)


def entries() -> list[Entry]:
    """The tests of the archive, in the order run."""
    usual, low = characterisation(), glazing()
    return [
        Entry("m4-2403-a", specimen("Marram 4", "M4-2403", "A", "2026-01-12"),
              M4_2403.scaled(1.004, 1.02), usual, 2403_1),
        Entry("m4-2403-b", specimen("Marram 4", "M4-2403", "B", "2026-01-19"),
              M4_2403.scaled(0.996, 0.98), usual, 2403_2),
        Entry("m4-2405-a", specimen("Marram 4", "M4-2405", "A", "2026-02-02"),
              M4_2405.scaled(0.997, 1.01), usual, 2405_1),
        Entry("m4-2405-b", specimen("Marram 4", "M4-2405", "B", "2026-02-09"),
              M4_2405.scaled(1.003, 0.99), usual, 2405_2, TAB),
        Entry("m4-2405-c", specimen("Marram 4", "M4-2405", "C", "2026-02-23", "low-energy use and recovery"),
              M4_2405, low, 2405_3),
        Entry("m4-2407-a", specimen("Marram 4", "M4-2407", "A", "2026-03-02"),
              M4_2407.scaled(1.004, 1.03), usual, 2407_1),
        Entry("m4-2407-b", specimen("Marram 4", "M4-2407", "B", "2026-03-09"),
              M4_2407.scaled(0.996, 0.97), usual, 2407_2),
        Entry("m6-2406-a", specimen("Marram 6", "M6-2406", "A", "2026-03-23"),
              M6_2406.scaled(1.005, 1.02), usual, 2406_1, SEMICOLON),
        Entry("m6-2406-b", specimen("Marram 6", "M6-2406", "B", "2026-03-30"),
              M6_2406.scaled(0.995, 0.98), usual, 2406_2, SEMICOLON),
    ]  # fmt: skip


def run(entry: Entry) -> Simulated:
    """Simulate one test of the archive."""
    return simulate(entry.program, entry.material, seed=entry.seed, brake=BRAKES[entry.identity.compound])


def write(folder: Path, entry: Entry, test: Simulated) -> None:
    """One test of the archive, its card saying of the disc's heat what is known of the compound."""
    write_test(folder, test, entry.identity, entry.style, STATED[entry.identity.compound])


def write_truth(folder: Path, entry: Entry, test: Simulated) -> None:
    """The truth of one test: per stop, per wear interval, and the material and state behind it."""
    folder.mkdir(parents=True, exist_ok=True)
    floats = pl.selectors.float()
    test.truth.with_columns(floats.round(6)).write_csv(folder / f"{entry.name}.stops.csv")
    read = test.truth.filter("reading")["stop"].to_list()
    lost = test.wear_truth.filter(pl.col("after_stop").is_in(read)).with_columns(floats.round(4))
    lost.write_csv(folder / f"{entry.name}.wear.csv")
    facts = {
        "test": entry.name,
        "seed": entry.seed,
        "material": asdict(entry.material),
        "rig": asdict(test.rig),
        "disc": asdict(test.disc),
        "sensors": asdict(test.sensors),
    }
    (folder / f"{entry.name}.json").write_text(json.dumps(facts, indent=1) + "\n", encoding="utf-8")


def main(arguments: list[str] | None = None) -> None:
    """Write archive/ and truth/ into a folder, by default this one."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--into", type=Path, default=HERE)
    into = parser.parse_args(arguments).into
    for entry in entries():
        folder = into / "archive" / entry.name
        shutil.rmtree(folder, ignore_errors=True)
        test = run(entry)
        write(folder, entry, test)
        write_truth(into / "truth", entry, test)
        print(f"{entry.name}: {test.truth.height} stops")


if __name__ == "__main__":
    main()
