"""Twelve archives as strange rigs leave them, each of a simulated test of its own, so that what is true of it is known.

No two are alike in their tricks: format, delimiter, decimals, encoding, language, clock, units, files, metadata, schedule. A person
who has one knows what stands in `answers` (the rig's and the brake's own figures) and nothing else.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path

import polars as pl

from rig_samples.simulator import MARRAM_4, MARRAM_6, Block, Brake, Material, Rig, Simulated, simulate
from tests.inspection.messy import ENGLISH, FRENCH, GERMAN, Mess, names, units, write, write_parts

BEDDING = Block("bed-in", "bedding", 2, speed=(1600.0, 650.0), pressure=30.0, initial=230.0)
CHECK = Block("check 1", "check", 3)
CHECK_2 = Block("check 2", "check", 2)
SHORT = (BEDDING, CHECK, Block("map hot", "map", 2, initial=420.0, pressure=40.0), CHECK_2)
TO_REST = (BEDDING, CHECK, Block("to rest", "map", 2, speed=(1000.0, 0.0), kind="stop"), CHECK_2)
GENTLE = Block("gentle use 1", "duty", 14, speed=(900.0, 500.0), pressure=14.0, initial=90.0)
GLAZED = (
    Block("bed-in", "bedding", 12, speed=(1600.0, 650.0), pressure=30.0, initial=230.0), Block("check 1", "check", 6), GENTLE,
    Block("check 2", "check", 5), Block("gentle use 2", "duty", 14, speed=(900.0, 500.0), pressure=14.0, initial=90.0), Block("check 3", "check", 5),
    Block("hard use", "duty", 10, speed=(1900.0, 700.0), pressure=55.0, initial=360.0), Block("check 4", "check", 5),
)  # fmt: skip
GLAZES = MARRAM_4.varied(glaze_growth=0.04)
PLAIN, OWN = (
    Brake(efficiency=1.0, threshold_bar=0.0),
    Brake(effective_radius_mm=118.0, pistons_mm=(30.0, 34.0), pad_area_cm2=41.0),
)
ITALIAN = names("Tempo", "Giri", "Coppia frenante", "Pressione linea", "Temperatura disco")
SPANISH = names("Hora", "Velocidad de giro", "Par de frenado", "Presi\u00f3n", "Temperatura del disco")
IDLE_S = 20.0  # recorded between stops of a series, at most


@dataclass(frozen=True)
class Archive:
    """mess: how it is written; tricks: in words; schedule: the ending of a table of blocks beside it; lost: recordings that are not
    there (stops as run); parts: all recordings in one file; stalled: where its first walk ended, before that was mended; idle: what is
    between stops is recorded too."""

    mess: Mess
    tricks: str
    program: tuple[Block, ...] = SHORT
    material: Material = MARRAM_4
    brake: Brake = PLAIN
    rig: Rig = field(default_factory=lambda: Rig(sample_rate=50.0))
    seed: int = 1
    schedule: str = ""
    lost: tuple[int, ...] = ()
    parts: bool = False
    stalled: str = ""
    idle: bool = False

    @property
    def name(self) -> str:
        return self.mess.name

    @property
    def glazes(self) -> bool:
        return self.program is GLAZED


def rig(inertia: float, rate: float = 50.0) -> Rig:
    return Rig(inertia=inertia, sample_rate=rate)


NIGHT = datetime.datetime(2026, 3, 2, 18, 58, 40)
ARCHIVES = (
    Archive(
        Mess("bench of the nineties", GERMAN, units(speed="1/min"), "brackets", encoding="latin-1", newline="\r\n", clock="day first",
             file="Bremsung_{n}0",
             before=("Pr\u00fcfstand: Nord", "Werkstoff: Marram 4", "Charge: M4-2406", "Tr\u00e4gheitsmoment [kg m^2]: 22,5", "Datum: 02.03.2026", "")),
        "German, semicolons, decimal comma, Latin-1, CRLF, lines of metadata, units row in brackets, stamps day first (02.03.2026 14:05:09,25), names "
        "numbered by tens, one recording lost, schedule as CSV",
        rig=rig(22.5), seed=11, stalled="stamps with the day first were not read", schedule=".csv", lost=(5,)),
    Archive(
        Mess("two-byte text", FRENCH, units("ms", "km/h", "daNm", "MPa"), "names", delimiter="\t", encoding="utf-16-le", suffix=".txt",
             newline="\r\n", restarts=True, digits=4),
        "French, tabs, decimal comma, UTF-16 with its mark, units in the names, ms, km/h, daNm, MPa, the clock restarts with each file",
        material=MARRAM_6, rig=rig(31.0), seed=12, stalled="UTF-16 was not read"),
    Archive(
        Mess("one long log", ENGLISH, units(torque="lbf ft", pressure="psi", temperature="\u00b0F"), "names", delimiter=",", decimal=".", clock="epoch",
             series=True, file="log", before=("# rig: north", "# operator: -"), also=("Sample", "T_Umgebung")),
        "English, commas, comment lines, units in the names, seconds since 1970, lbf ft, psi, degF, all stops in one file with what is between, a counter "
        "before the time, ambient temperature; the surface glazes",
        program=GLAZED, material=GLAZES, seed=13, idle=True),
    Archive(
        Mess("bare numbers at night", GERMAN, units(), headless=True, delimiter=";", clock="time of day", begins=NIGHT, packed=".gz",
             file="n{n}"),
        "no line of names and no units at all, decimal comma, times of day over midnight, gzip",
        brake=OWN, rig=rig(18.0), seed=14, stalled="a file without a line of names was not read"),
    Archive(
        Mess("zoned and packed", SPANISH, units(), "row", decimal=".", clock="zoned", packed=".zst", file="prueba {n}", also=("T_Belag", "p_hinten"),
             after=("", "Fin de prueba", "Max;1612.4")),
        "Spanish, semicolons, decimal point, stamps with a zone, zstandard, blanks in names, lines behind the numbers, further channels; the surface glazes",
        program=GLAZED, material=GLAZES, rig=rig(28.0), seed=15),
    Archive(
        Mess("load cell", names("Time", "Speed", "Load cell force", "Line pressure", "Rotor temp"), units(torque="kgf", pressure="kgf/cm2"), "row",
             delimiter=" ", decimal=".", suffix=".asc", arm=0.25, file="RUN{n}"),
        "English, columns of one width with blanks between, units row, a load cell's force in kgf in place of torque, kgf/cm2",
        rig=rig(24.0), seed=16, stalled="blanks between columns were not read; a force was no channel"),
    Archive(
        Mess("workbook", names("Zeit", "n_ist", "M_ist", "p_ist", "T_Scheibe"), units(), "names", "xlsx", also=("p_soll", "n_soll", "M_soll"), file="all"),
        "XLSX, a sheet a stop in an order of its own, a sheet that is none, units in brackets, wanted values beside measured ones, schedule as XLSX",
        program=TO_REST, rig=rig(26.0), seed=17, schedule=".xlsx", parts=True),
    Archive(
        Mess("tree of groups", FRENCH, units(speed="rad/s", pressure="kPa"), "row", "hdf5", file="all"),
        "HDF5, a group a stop, French, units as attributes, rad/s, kPa",
        material=MARRAM_6, brake=OWN, rig=rig(20.0), seed=18, parts=True),
    Archive(
        Mess("names the wrong way round", names("time", "n", "Pressure", "Torque", "T disc"), units(time="ms"), "no", "parquet", clock="epoch",
             series=True, file="export"),
        "Parquet, one file of all stops, ms since 1970 as whole numbers, no units, the names of torque and pressure exchanged",
        rig=rig(27.0), seed=19),
    Archive(
        Mess("three days", ITALIAN, units(torque="kgf m"), "row", "tdms", negative=True, file="giorno {n}/prova"),
        "TDMS, Italian, a folder a stop with files of one name, kgf m, torque negative",
        rig=rig(23.0), seed=20, stalled="recordings in several folders were not taken together"),
    Archive(
        Mess("channels of two rates", names("t", "nRad", "MBrems", "pBrems", "TScheibe"), units(), "row", "mdf", slow=True, file="M4_2406_A_{n}", also=("T_Belag",)),
        "MDF, German abbreviations, temperatures of a slower rate, batch and specimen in the names of the files",
        material=MARRAM_6, rig=rig(21.0), seed=21),
    Archive(
        Mess("spreadsheet's export", names("Date", "Shaft speed", "Brake torque", "Line pressure", "Disc temp"), units(speed="rpm"), "names", delimiter=",",
             encoding="utf-8-sig", clock="month first", quoted=True, file="Export ({n})", before=("sep=,",)),
        "commas between the columns and in the numbers, every cell quoted, byte order mark, `sep=,`, stamps month first with AM and PM, brackets in names",
        rig=rig(25.0), seed=22, stalled="commas in quotes between commas were not read, nor stamps with the month first"),
)  # fmt: skip


@lru_cache(maxsize=len(ARCHIVES))
def simulated(name: str) -> Simulated:
    one = next(archive for archive in ARCHIVES if archive.name == name)
    return simulate(list(one.program), one.material, seed=one.seed, rig=one.rig, brake=one.brake)


def write_archive(one: Archive, folder: Path) -> Path:
    """The recordings, and the schedule beside them; the folder or file to begin with."""
    made = simulated(one.name).samples
    several = [rows for rows in made.partition_by("recording") if rows["recording"][0] not in one.lost]
    if one.idle:
        several = [
            pl.concat([rows, *_between(rows, after)]) for rows, after in zip(several, [*several[1:], None], strict=True)
        ]
    if one.schedule:
        write_schedule(one, folder.parent / f"Pr\u00fcfplan{one.schedule}")
    if one.parts:
        return write_parts(one.mess, folder, several)
    paths = write(one.mess, folder, several)
    for number in one.lost:  # the names go on as if it were there
        for at, path in list(enumerate(paths, start=1))[::-1]:
            if at >= number:
                path.rename(path.with_name(path.name.replace(f"{at}0.", f"{at + 1}0.")))
    return paths[0] if one.mess.series else folder


def _between(rows: pl.DataFrame, after: pl.DataFrame | None) -> list[pl.DataFrame]:
    """What the recorder saw from one stop to the next: the shaft brought to speed, the disc cooling."""
    if after is None:
        return []
    begin, step = rows.tail(1), float(rows["time_s"][1] - rows["time_s"][0])
    span = min(float(after["time_s"][0] - rows["time_s"][-1]), IDLE_S)
    count = max(int(span / step) - 1, 1)
    share = (pl.int_range(1, count + 1) / (count + 1)).cast(pl.Float64)
    ends = {name: (float(begin[name][0]), float(after[name][0])) for name in rows.columns if name != "recording"}
    ends["time_s"] = (ends["time_s"][0], ends["time_s"][0] + (count + 1) * step)
    made = pl.select(**{name: a + (b - a) * share for name, (a, b) in ends.items()})
    return [
        made.insert_column(0, pl.Series("recording", [begin["recording"][0]] * count, dtype=pl.Int32)).select(
            rows.columns
        )
    ]


SCHEDULE = (
    "Block",
    "Zweck",
    "Art",
    "Anzahl",
    "Anfangsdrehzahl [1/min]",
    "Enddrehzahl [1/min]",
    "Bremsdruck [bar]",
    "Anfangstemperatur [\u00b0C]",
)


def write_schedule(one: Archive, path: Path) -> None:
    """The programme as a table that the laboratory keeps."""
    path.parent.mkdir(parents=True, exist_ok=True)
    rows = [(b.name, b.purpose, b.kind, b.stops, *b.speed, b.pressure, b.initial) for b in one.program]
    if path.suffix == ".xlsx":
        import openpyxl

        book = openpyxl.Workbook()
        for row in (SCHEDULE, *rows):
            book.active.append(list(row))
        book.save(path)
        return
    lines = [";".join(str(cell).replace(".", ",") for cell in row) for row in (SCHEDULE, *rows)]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
