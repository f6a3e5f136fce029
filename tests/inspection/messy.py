"""Recordings as strange rigs write them, from one simulated test: names in several languages, units, decimals, clocks, headers, tricks.

What stands in which column in which unit is known; no two rows of MESSES are alike in all of it.
"""

from __future__ import annotations

import codecs
import datetime
import gzip
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

import numpy as np
import polars as pl

from tests.hostile.base import simulated

LBF_FT, PSI = 1.3558179483, 6894.757293168e-5  # N m, bar
KGF = 9.80665  # N
RADIUS = 0.318
BEGINS = datetime.datetime(2026, 3, 2, 8, 15)

# unit -> the simulated value in it
PRESSURE = {"bar": 1.0, "MPa": 0.1, "psi": 1 / PSI, "kPa": 100.0, "kgf/cm2": 1 / 0.980665}
TORQUE = {"N m": 1.0, "Nm": 1.0, "lbf ft": 1 / LBF_FT, "daNm": 0.1, "kgf m": 1 / KGF}
FORCE = {"N": 1.0, "kgf": 1 / KGF, "lbf": 1 / 4.4482216152605}
SPEED = {
    "rpm": 1.0,
    "1/min": 1.0,
    "U/min": 1.0,
    "tr/min": 1.0,
    "rad/s": np.pi / 30,
    "km/h": np.pi / 30 * RADIUS * 3.6,
    "m/s": np.pi / 30 * RADIUS,
}
TIME = {"s": 1.0, "ms": 1000.0}
TEMPERATURE = {"°C": (1.0, 0.0), "°F": (1.8, 32.0), "K": (1.0, 273.15)}
STAMPS = {
    "iso": "%Y-%m-%dT%H:%M:%S.%f", "zoned": "%Y-%m-%dT%H:%M:%S.%f", "time of day": "%H:%M:%S,%f", "german": "%d.%m.%Y %H:%M:%S.%f",
    "day first": "%d.%m.%Y %H:%M:%S,%f", "month first": "%m/%d/%Y %I:%M:%S.%f",
}  # fmt: skip


@dataclass(frozen=True)
class Mess:
    """names: channel -> column; units: channel -> unit of the values; shown: how units are told (row, bracket row, in names, not at all);
    also: further columns by name, made of the others; truth follows from names and units."""

    name: str
    names: Mapping[str, str]
    units: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    shown: str = "row"
    form: str = "delimited"
    delimiter: str = ";"
    decimal: str = ","
    encoding: str = "utf-8"
    newline: str = "\n"
    before: tuple[str, ...] = ()
    clock: str = "number"  # or epoch (since 1970, in the time's unit), or one of STAMPS
    begins: datetime.datetime = BEGINS
    series: bool = False
    negative: bool = False
    also: tuple[str, ...] = ()
    order: tuple[str, ...] = ("time", "speed", "torque", "pressure", "disc_temperature")
    digits: int = 3
    suffix: str = ".csv"
    wrong: Mapping[str, str] = field(
        default_factory=lambda: MappingProxyType({})
    )  # units that the file tells in place of the true ones
    file: str = "Bremsung {n}"  # name of the n-th recording, less its ending; folders too
    packed: str = ""  # .gz, .zst
    after: tuple[str, ...] = ()  # lines behind the numbers
    quoted: bool = False  # every cell
    headless: bool = False  # no line of names
    slow: bool = False  # temperatures are kept at a fifth of the rate (MDF)
    restarts: bool = False  # the clock, with each recording
    arm: float = 0.0  # m; the torque's column is a load cell's force at it


def names(time: str, speed: str, torque: str, pressure: str, temperature: str, **more: str) -> Mapping[str, str]:
    return MappingProxyType(
        {"time": time, "speed": speed, "torque": torque, "pressure": pressure, "disc_temperature": temperature, **more}
    )


def units(
    time: str = "s", speed: str = "rpm", torque: str = "Nm", pressure: str = "bar", temperature: str = "°C"
) -> Mapping[str, str]:
    return MappingProxyType(
        {"time": time, "speed": speed, "torque": torque, "pressure": pressure, "disc_temperature": temperature}
    )


GERMAN = names("Zeit", "Drehzahl", "Bremsmoment", "Bremsdruck", "Scheibentemperatur")
FRENCH = names("Temps", "Vitesse de rotation", "Couple de freinage", "Pression", "Température disque")
ITALIAN = names("Tempo", "Giri", "Coppia frenante", "Pressione linea", "Temperatura disco")
SPANISH = names("Tiempo", "Velocidad", "Par de frenado", "Presión", "Temperatura del disco")
ENGLISH = names("Time", "Speed", "Torque", "Line Pressure", "Rotor Temp")
SHORT = names("t", "n", "Mb", "p", "T1")
BARE = names("Ch1", "Ch2", "Ch3", "Ch4", "Ch5")
SHUFFLED = ("pressure", "disc_temperature", "time", "torque", "speed")

MESSES = (
    Mess("german, units row in brackets, Latin-1", GERMAN, units(speed="1/min"), "brackets", encoding="latin-1", newline="\r\n",
         before=("Prüfstand: Nord", "Prüfling: M4-2406 A", "")),
    Mess("french, tab, units row, km/h", FRENCH, units(speed="km/h", pressure="MPa"), delimiter="\t", decimal=",", suffix=".txt"),
    Mess("italian, units in names, ms", ITALIAN, units(time="ms", speed="rad/s", torque="daNm"), "names", delimiter=",", decimal="."),
    Mess("spanish, series, ISO stamps", SPANISH, units(speed="km/h"), clock="iso", series=True),
    Mess("english, psi, lbf ft, degF", ENGLISH, units(torque="lbf ft", pressure="psi", temperature="°F"), delimiter=",", decimal="."),
    Mess("short names, no units", SHORT, units(), "no", delimiter=",", decimal="."),
    Mess("numbered names, no units, shuffled", BARE, units(), "no", order=SHUFFLED),
    Mess("numbered names, units row", BARE, units(), "row", order=SHUFFLED),
    Mess("torque and pressure swapped by name and unit", names("Zeit", "Drehzahl", "Bremsdruck", "Bremsmoment", "Scheibentemperatur"), units(),
         "row", wrong=MappingProxyType({"torque": "bar", "pressure": "Nm"})),
    Mess("wanted values beside measured ones", names("Zeit", "n_ist", "M_ist", "p_ist", "T_Scheibe"), units(),
         also=("p_soll", "n_soll", "M_soll")),
    Mess("counter before time, comment lines", names("Time", "Shaft speed", "Brake torque", "Pressure", "Disc temperature"), units(), "names",
         delimiter=",", decimal=".", before=("# rig: north", "# operator: -"), also=("Sample",)),
    Mess("two temperatures and ambient", names("t", "n", "Mb", "p", "T_Scheibe"), units(), also=("T_Belag", "T_Umgebung")),
    Mess("T1 and T2, which is the disc's", names("t", "n", "Mb", "p", "T1"), units(), also=("T2",)),
    Mess("deceleration and mu beside torque", names("Zeit", "Drehzahl", "Moment", "Druck", "Temp Scheibe"), units(), also=("Verzögerung", "µ")),
    Mess("shaft and vehicle speed", names("Time", "Drum speed", "Torque", "Pressure", "Disc temp"), units(), "names", delimiter=",", decimal=".",
         also=("Vehicle speed [km/h]",)),
    Mess("negative torque, rad/s, kPa", names("time", "omega", "torque", "pressure", "disc"), units(speed="rad/s", pressure="kPa"), "row",
         decimal=".", negative=True),
    Mess("time of day, decimal comma", GERMAN, units(), clock="time of day"),
    Mess("dates that mean two days", GERMAN, units(), clock="german"),
    Mess("Parquet, units in names", names("time_s", "speed_rpm", "torque_Nm", "pressure_bar", "T_disc_degC"), units(), "names as they are", "parquet"),
    Mess("Parquet, timestamps, no units", names("timestamp", "n", "M", "p", "T"), units(), "no", "parquet", clock="iso"),
    Mess("MDF, german abbreviations", names("t", "nRad", "MBrems", "pBrems", "TScheibe"), units(), "row", "mdf"),
    Mess("TDMS with a time channel", names("Time", "Speed", "Torque", "Pressure", "Temperature disc"), units(), "row", "tdms"),
    Mess("HDF5, french", FRENCH, units(pressure="MPa"), "row", "hdf5"),
    Mess("workbook, header in row 3, units row", ENGLISH, units(), "row", "xlsx", before=("Rig North", "")),
    Mess("displacement and second pressure", names("t", "n", "Mb", "p_vorn", "T_Scheibe"), units(), also=("p_hinten", "Weg")),
    Mess("series, numbers without names' help, MPa and m/s", names("A", "B", "C", "D", "E"), units(speed="m/s", pressure="MPa"), "no", series=True,
         decimal="."),
)  # fmt: skip


@lru_cache(maxsize=1)
def stops() -> list[pl.DataFrame]:
    """Samples of eleven snubs."""
    return simulated().samples.partition_by("recording")


def columns_of(mess: Mess, rows: pl.DataFrame) -> dict[str, tuple[str, np.ndarray]]:
    """Column's name -> (unit, values) as the rig writes them."""
    get = {name: rows[column].to_numpy() for name, column in (
        ("time", "time_s"), ("speed", "speed_rpm"), ("torque", "torque_nm"), ("pressure", "pressure_bar"), ("disc_temperature", "disc_temperature_c"),
    )}  # fmt: skip
    unit = {**units(), **mess.units}
    rng = np.random.default_rng(1)
    noise = 0.05 * rng.standard_normal(get["time"].size)
    plain = {
        "time": (get["time"] + _since(mess)) * TIME.get(unit["time"], 1.0),
        "speed": get["speed"] * SPEED[unit["speed"]],
        "torque": get["torque"]
        * (FORCE[unit["torque"]] / mess.arm if mess.arm else TORQUE[unit["torque"]])
        * (-1 if mess.negative else 1),
        "pressure": get["pressure"] * PRESSURE[unit["pressure"]],
        "disc_temperature": get["disc_temperature"] * TEMPERATURE[unit["disc_temperature"]][0]
        + TEMPERATURE[unit["disc_temperature"]][1],
    }
    on = get["pressure"] > 2.0
    slowed = (
        -np.gradient(np.convolve(np.pad(get["speed"], 4, mode="edge"), np.ones(9) / 9, mode="valid"), get["time"])
        * np.pi
        / 30
        * RADIUS
    )
    mu = np.where(on, get["torque"] / np.maximum(get["pressure"] * 45.0, 1.0), 0.0)
    level = float(np.median(get["pressure"][on]))
    lag = np.exp(-np.arange(0, 12, 0.02) / 3.0)
    pad = np.convolve(np.pad(get["disc_temperature"], (lag.size - 1, 0), mode="edge"), lag / lag.sum(), mode="valid")
    further: dict[str, tuple[str, Callable[[], np.ndarray]]] = {
        "p_soll": ("bar", lambda: np.where(on, level, 0.0)),
        "n_soll": ("rpm", lambda: np.full(on.size, float(get["speed"][0]))),
        "M_soll": ("Nm", lambda: np.zeros(on.size)),
        "Sample": ("", lambda: np.arange(1.0, on.size + 1)),
        "T_Belag": ("°C", lambda: pad + noise),
        "T2": ("°C", lambda: pad + noise),
        "T_Umgebung": ("°C", lambda: 22.0 + 0.1 * noise),
        "Verzögerung": ("m/s²", lambda: slowed),
        "µ": ("-", lambda: mu),
        "Vehicle speed [km/h]": ("", lambda: get["speed"] * SPEED["km/h"]),
        "p_hinten": ("bar", lambda: get["pressure"] * 0.6 + noise),
        "Weg": ("mm", lambda: 0.3 + 0.004 * get["pressure"] + 0.1 * noise),
    }
    made = {mess.names[channel]: (unit[channel], plain[channel]) for channel in mess.order}
    extra = {name: (further[name][0], further[name][1]()) for name in mess.also}
    return {**extra, **made} if "Sample" in mess.also else {**made, **extra}


def _since(mess: Mess) -> float:
    """Seconds since 1970 at which an epoch clock begins; 0 of others."""
    return mess.begins.replace(tzinfo=datetime.UTC).timestamp() if mess.clock == "epoch" else 0.0


def told(mess: Mess, name: str, unit: str) -> str:
    channel = next((ch for ch, column in mess.names.items() if column == name), "")
    return mess.wrong.get(channel, unit)


def moments(mess: Mess, seconds: np.ndarray) -> list[str]:
    at = [mess.begins + datetime.timedelta(seconds=float(s)) for s in seconds]
    text = [one.strftime(STAMPS[mess.clock])[:-3] for one in at]
    if mess.clock == "month first":
        return [f"{a} {'AM' if one.hour < 12 else 'PM'}" for a, one in zip(text, at, strict=True)]
    return [f"{a}+02:00" for a in text] if mess.clock == "zoned" else text


def write(mess: Mess, folder: Path, several: list[pl.DataFrame] | None = None) -> list[Path]:
    """The recordings of a mess, in the order run; of other stops where they are given."""
    folder.mkdir(parents=True, exist_ok=True)
    several = several or stops()
    parts = [pl.concat(several)] if mess.series else several
    if mess.restarts:
        parts = [rows.with_columns(pl.col("time_s") - pl.col("time_s").first()) for rows in parts]
    ending = {"delimited": mess.suffix, "mdf": ".mf4", "hdf5": ".h5"}.get(mess.form, f".{mess.form}")
    paths = []
    for number, rows in enumerate(parts, start=1):
        path = folder / f"{mess.file.format(n=number)}{ending}"
        path.parent.mkdir(parents=True, exist_ok=True)
        WRITERS[mess.form](mess, columns_of(mess, rows), path)
        paths.append(_packed(mess, path))
    return paths


def _packed(mess: Mess, path: Path) -> Path:
    if not mess.packed:
        return path
    import zstandard

    data = path.read_bytes()
    path.unlink()
    packed = path.with_name(path.name + mess.packed)
    packed.write_bytes(gzip.compress(data) if mess.packed == ".gz" else zstandard.compress(data))
    return packed


def _text(mess: Mess, made: dict[str, tuple[str, np.ndarray]], path: Path) -> None:
    shown = {name: told(mess, name, unit) for name, (unit, _) in made.items()}
    head = [f"{name} [{shown[name]}]" if mess.shown == "names" and shown[name] else name for name in made]
    rows = [] if mess.headless else [head]
    if mess.shown in ("row", "brackets") and not mess.headless:
        rows.append([f"[{u}]" if mess.shown == "brackets" else u for u in shown.values()])
    cells = []
    for name, (_, values) in made.items():
        if name == mess.names["time"] and mess.clock in STAMPS:
            cells.append(moments(mess, values))
        else:
            cells.append([f"{v:.{mess.digits}f}".replace(".", mess.decimal) for v in values])
    rows += [list(row) for row in zip(*cells, strict=True)]
    lines = [*mess.before, *(_line(mess, row) for row in rows), *mess.after]
    data = (mess.newline.join(lines) + mess.newline).encode(mess.encoding)
    path.write_bytes(codecs.BOM_UTF16_LE + data if mess.encoding == "utf-16-le" else data)


def _line(mess: Mess, cells: list[str]) -> str:
    if mess.delimiter == " ":  # columns of one width
        return "  " + "  ".join(cell.rjust(11) for cell in cells)
    return mess.delimiter.join(f'"{cell}"' if mess.quoted else cell for cell in cells)


def _frame(mess: Mess, made: dict[str, tuple[str, np.ndarray]]) -> pl.DataFrame:
    head = {name: f"{name} [{unit}]" if mess.shown == "names" and unit else name for name, (unit, _) in made.items()}
    frame = pl.DataFrame({name: values for name, (_, values) in made.items()})
    if mess.clock == "epoch":
        frame = frame.with_columns(pl.col(mess.names["time"]).round(0).cast(pl.Int64))
    if mess.clock == "iso":
        stamps = pl.Series(moments(mess, made[mess.names["time"]][1])).str.to_datetime("%Y-%m-%dT%H:%M:%S%.f")
        frame = frame.with_columns(stamps.alias(mess.names["time"]))
    return frame.rename(head)


def _parquet(mess: Mess, made: dict[str, tuple[str, np.ndarray]], path: Path) -> None:
    _frame(mess, made).write_parquet(path)


def _mdf(mess: Mess, made: dict[str, tuple[str, np.ndarray]], path: Path) -> None:
    from asammdf import MDF, Signal

    time = made[mess.names["time"]][1]
    kept = {name: (5 if mess.slow and unit == "°C" else 1) for name, (unit, _) in made.items()}
    with MDF(version="4.10") as file:
        for every in sorted(set(kept.values())):
            several = [name for name in made if kept[name] == every and name != mess.names["time"]]
            file.append([Signal(made[n][1][::every], time[::every], name=n, unit=made[n][0]) for n in several])
        file.save(path, overwrite=True)


def _tdms(mess: Mess, made: dict[str, tuple[str, np.ndarray]], path: Path) -> None:
    from nptdms import ChannelObject, TdmsWriter

    with TdmsWriter(path) as file:
        file.write_segment([ChannelObject("rig", n, v, properties={"unit_string": u}) for n, (u, v) in made.items()])


def _hdf5(mess: Mess, made: dict[str, tuple[str, np.ndarray]], path: Path) -> None:
    import h5py

    with h5py.File(path, "w") as file:
        for name, (unit, values) in made.items():
            file[name] = values
            file[name].attrs["units"] = unit


def _xlsx(mess: Mess, made: dict[str, tuple[str, np.ndarray]], path: Path) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    sheet = book.active
    for text in mess.before:
        sheet.append([text] if text else [])
    sheet.append(list(made))
    sheet.append([unit for unit, _ in made.values()])
    for row in np.column_stack([values for _, values in made.values()]).tolist():
        sheet.append(row)
    book.save(path)


WRITERS = {"delimited": _text, "parquet": _parquet, "mdf": _mdf, "tdms": _tdms, "hdf5": _hdf5, "xlsx": _xlsx}


def write_parts(mess: Mess, folder: Path, several: list[pl.DataFrame] | None = None) -> Path:
    """All stops in one file: a group (HDF5) or a sheet (XLSX) each, in an order of their own, and one part that is no recording."""
    folder.mkdir(parents=True, exist_ok=True)
    numbered = list(enumerate(several or stops(), start=1))
    if mess.form == "hdf5":
        import h5py

        path = folder / "all.h5"
        with h5py.File(path, "w") as file:
            file["info/serial"] = np.arange(3)
            for number, rows in numbered[::-1]:
                for name, (unit, values) in columns_of(mess, rows).items():
                    file[f"runs/stop {number}/{name}"] = values
                    file[f"runs/stop {number}/{name}"].attrs["units"] = unit
        return path
    import openpyxl

    path = folder / "all.xlsx"
    book = openpyxl.Workbook()
    book.active.append(["made up"])
    for number, rows in numbered[::-1]:
        sheet = book.create_sheet(f"Stop {number}")
        made = columns_of(mess, rows)
        sheet.append([f"{name} [{unit}]" for name, (unit, _) in made.items()])
        for row in np.column_stack([values for _, values in made.values()]).tolist():
            sheet.append(row)
    book.save(path)
    return path
