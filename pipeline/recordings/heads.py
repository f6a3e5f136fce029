"""A look at a recording's head: can it be what the card says? Without reading it through."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from pipeline.archive.card import REQUIRED_CHANNELS, Card
from pipeline.archive.written import Channel
from pipeline.errors import InputError
from pipeline.recordings import canonical, damage, kinds
from pipeline.recordings.columns import split
from pipeline.recordings.files import recording_files, refuse_outside, shown
from pipeline.recordings.limits import TooMuch, alive
from pipeline.recordings.places import places, reader


def listed(folder: Path, card: Card) -> list[Path]:
    """The test's recordings in the order run; InputError where there are none or the channels' names or
    units are wrong."""
    if card.recordings.holds == "summary":
        from pipeline.recordings.summary import columns_of

        columns_of(card.recordings.channels, card.rolling_radius)
    else:
        canonical.names(card.recordings.channels)
        canonical.conversions(card.recordings.channels, card.rolling_radius)
    return recording_files(folder, card.recordings.files, besides=(card.wear,) if card.wear else ())


def looked_at(path: Path, folder: Path, card: Card) -> dict[str, str]:
    """As `_looked_at`; where a recording cannot be read, with what the file is instead."""
    try:
        return _looked_at(path, folder, card)
    except TooMuch:
        raise
    except InputError as error:
        raise kinds.told(error, path, folder, card.recordings.format) from error


def _looked_at(path: Path, folder: Path, card: Card) -> dict[str, str]:
    """Channels whose unit the recording itself contradicts (name -> its unit); InputError where it cannot
    be read."""
    refuse_outside(path, folder)
    alive(f"{folder.name}/{shown(path, folder)}")
    recordings = card.recordings
    summary = recordings.holds == "summary"
    needed = tuple(recordings.channels) if summary else ("time", *REQUIRED_CHANNELS)
    if recordings.format == "delimited":
        from pipeline.recordings import delimited

        layout, cells = delimited.head(path, recordings, needed=needed)
        if summary:
            return {}
        damage.refuse_wreck(delimited.in_numbers(cells, layout, recordings).damage, cells.rows.height)
        return canonical.disagreeing_units(_named(recordings.channels) | layout.units, recordings.channels)
    if recordings.format == "parquet":
        from pipeline.recordings import parquet

        units: dict[str, str] = {}
        next(parquet.rows(path, recordings, needed=needed, units=units))
        return canonical.disagreeing_units(_named(recordings.channels) | units, recordings.channels)
    if summary and recordings.format == "xlsx":
        from pipeline.recordings import xlsx

        next(xlsx.rows(path, recordings, places([path], folder, recordings)[0].part, needed=needed))
        return {}
    chunk = next(reader(recordings.format)(places([path], folder, recordings)[0], recordings), None)
    if chunk is None:
        raise InputError("has no samples")
    return canonical.disagreeing_units(_named(recordings.channels) | chunk.units, recordings.channels)


def _named(channels: Mapping[str, Channel]) -> dict[str, str]:
    """Units that the columns' names end in."""
    return {name: unit for name, c in channels.items() if (unit := split(c.column)[1])}
