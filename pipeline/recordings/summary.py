"""`holds: summary`: one already reduced row per stop, from a test of which nothing else was kept.

The channels file then is a table of stops: mapped columns under their names in stops.parquet, in that
table's units. It can be shown and compared; it cannot be reduced again.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import polars as pl

from pipeline import faults
from pipeline.archive.card import Card, Recordings
from pipeline.archive.written import Channel
from pipeline.errors import InputError
from pipeline.findings import Finding, finding
from pipeline.inputs.quantities import reads_as, scale_offset
from pipeline.recordings import damage, files
from pipeline.recordings.chunk import Damage
from pipeline.recordings.limits import alive
from pipeline.recordings.numbers import numbers_of
from pipeline.results import write_parquet
from pipeline.results.record import Recording
from pipeline.vocabulary import STOPS

TEXT = ("block", "purpose", "kind", "status", "file")
# What each unit of the table measures, and that unit as it is written in a card.
MEASURED = {
    "s": ("duration", "s"),
    "rpm": ("angular_speed", "rpm"),
    "bar": ("pressure", "bar"),
    "N m": ("torque", "N m"),
    "degC": ("temperature", "degC"),
    "kJ": ("energy", "kJ"),
    "J/mm2": ("energy_density", "J/mm^2"),
    "W/mm2": ("power_density", "W/mm^2"),
    "m": ("length", "m"),
    "m/s2": ("acceleration", "m/s^2"),
}
ENERGY = {"J": 1e-3, "kJ": 1.0, "MJ": 1e3, "Nm": 1e-3, "N m": 1e-3, "W h": 3.6, "Wh": 3.6, "kWh": 3600.0}
SUFFIX = {
    "s": "_s",
    "rpm": "_rpm",
    "bar": "_bar",
    "N m": "_nm",
    "degC": "_c",
    "kJ": "_kj",
    "J/mm2": "_j_mm2",
    "W/mm2": "_w_mm2",
    "m": "_m",
    "m/s2": "_mps2",
    "%": "_pct",
}


def columns_of(
    channels: Mapping[str, Channel], rolling_radius: float | None = None
) -> dict[str, tuple[str, float, float]]:
    """Canonical name in the card -> column of stops.parquet, factor and offset to its unit; text columns:
    1, 0.

    Raises InputError for a name that no column has, or a unit that does not fit.
    """
    known = {column.name.removesuffix(SUFFIX.get(column.unit, "")): column for column in STOPS}
    result = {}
    for name, channel in channels.items():
        column = known.get(name) or next((c for c in STOPS if c.name == name), None)
        if column is None or column.kind == "list[str]":
            import difflib

            near = difflib.get_close_matches(name, known, n=1, cutoff=0.0)
            raise InputError(f"recordings.channels.{name}: no column of a summary; nearest: {near[0]}")
        try:
            factor, offset = _conversion(channel.unit, column.unit, rolling_radius)
        except ValueError as error:
            raise InputError(f"recordings.channels.{name}: {error}") from error
        result[name] = (column.name, factor, offset)
    return result


def _conversion(unit: str, wanted: str, rolling_radius: float | None) -> tuple[float, float]:
    """Factor and offset from the card's unit to the table's, a linear speed by the radius (m); raises ValueError."""
    if wanted in ("", "1"):
        if unit not in ("", "1", "-"):
            raise ValueError(f"unit {unit!r}, but this column has none")
        return 1.0, 0.0
    if wanted == "%":
        return {"%": 1.0}.get(unit, 100.0), 0.0
    dimension, spelled = MEASURED[wanted]
    if dimension == "energy":
        if unit not in ENERGY:
            raise ValueError(f"unit {unit!r} is not an energy; accepted: {', '.join(ENERGY)}")
        return ENERGY[unit], 0.0
    if dimension == "angular_speed" and reads_as(unit, "linear_speed"):
        if rolling_radius is None:
            raise ValueError(f"{unit!r} is a linear speed and needs rolling_radius")
        factor, offset = scale_offset(unit, "linear_speed")[0] / rolling_radius, 0.0
    else:
        factor, offset = scale_offset(unit, dimension)
    own, zero = scale_offset(spelled, dimension)
    return factor / own, (offset - zero) / own


def write_summary(folder: Path, card: Card, output: Path, recordings: list[Recording]) -> list[Finding]:
    """Write the table; `recordings` get an entry per file. Raises InputError where nothing can be used."""
    columns = columns_of(card.recordings.channels, card.rolling_radius)
    paths = files.recording_files(folder, card.recordings.files, besides=(card.wear,) if card.wear else ())
    tables, found = [], []
    for number, path in enumerate(paths, start=1):
        name = files.shown(path, folder)
        try:
            files.refuse_outside(path, folder)
            alive(name)
            table, notes = _table(path, card.recordings, columns)
        except InputError as error:
            faults.refuse(error, path)
            recordings.append(Recording(recording=number, file=name, rows=0, error=str(error)))
            found.append(finding("recording_unreadable", f"{name}: {error}", file=name))
            continue
        recordings.append(Recording(recording=number, file=name, rows=table.height))
        found += damage.findings_of(name, damage.summed(notes), table.height)
        tables.append(table.select(pl.lit(number, pl.Int32).alias("recording"), pl.all()))
    if not tables:
        errors = "; ".join(str(one.error) for one in recordings[:2])
        raise InputError(f"none of {len(paths)} summaries can be read: {errors}")
    write_parquet(output, pl.concat(tables, how="diagonal"))
    return found


def _table(
    path: Path, recordings: Recordings, columns: Mapping[str, tuple[str, float, float]]
) -> tuple[pl.DataFrame, list[Damage]]:
    """One file's rows under the table's names and units."""
    raw, notes = _raw(path, recordings)
    texts = [name for name in raw.columns if columns[name][0] in TEXT]
    cells = raw.select(pl.all().cast(pl.String))
    values, damaged = numbers_of(cells.select(pl.exclude(texts)), recordings.decimal)
    result = []
    for name in raw.columns:
        target, factor, offset = columns[name]
        if name in texts:
            text = cells[name].str.strip_chars()
            result.append(text.set(text == "", None).alias(target))
        else:
            result.append((values[name].fill_nan(None) * factor + offset).alias(target))
    return pl.DataFrame(result), [*notes, *damaged]


def _raw(path: Path, recordings: Recordings) -> tuple[pl.DataFrame, list[Damage]]:
    if recordings.format == "delimited":
        from pipeline.recordings import delimited

        cells = [part for _, part in delimited.rows(path, recordings, needed=tuple(recordings.channels))]
        return pl.concat([part.rows for part in cells]), [note for part in cells for note in part.damage]
    if recordings.format == "parquet":
        from pipeline.recordings import parquet

        return pl.concat(list(parquet.rows(path, recordings, needed=tuple(recordings.channels)))), []
    if recordings.format == "xlsx":
        from pipeline.recordings import xlsx

        sheets = xlsx.parts(path, recordings.part) if recordings.part else [None]
        needed = tuple(recordings.channels)
        return pl.concat(
            cells.rows for sheet in sheets for _, cells in xlsx.rows(path, recordings, sheet, needed=needed)
        ), []
    raise InputError(f"a summary is read from delimited text, parquet or xlsx, not {recordings.format}")
