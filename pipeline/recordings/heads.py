"""A look at a recording's head: can it be what the card says? Without reading it through."""

from __future__ import annotations

from pathlib import Path

from pipeline.archive.card import REQUIRED_CHANNELS, Card
from pipeline.errors import InputError
from pipeline.recordings import canonical, damage
from pipeline.recordings.files import recording_files, refuse_outside


def listed(folder: Path, card: Card) -> list[Path]:
    """The test's recordings in the order run; InputError where there are none or the channels' names or
    units are wrong."""
    if card.recordings.holds == "summary":
        from pipeline.recordings.summary import columns_of

        columns_of(card.recordings.channels)
    else:
        canonical.names(card.recordings.channels)
        canonical.conversions(card.recordings.channels)
    return recording_files(folder, card.recordings.files, besides=(card.wear,) if card.wear else ())


def looked_at(path: Path, folder: Path, card: Card) -> dict[str, str]:
    """Channels whose unit the recording itself contradicts (name -> its unit); InputError where it cannot
    be read."""
    refuse_outside(path, folder)
    recordings = card.recordings
    summary = recordings.holds == "summary"
    needed = tuple(recordings.channels) if summary else ("time", *REQUIRED_CHANNELS)
    if recordings.format == "delimited":
        from pipeline.recordings import delimited
        from pipeline.recordings.numbers import numbers_of

        layout, cells = delimited.head(path, recordings, needed=needed)
        if summary:
            return {}
        _, notes = numbers_of(cells.rows, recordings.decimal, cells.line)
        damage.refuse_wreck([*cells.damage, *notes], cells.rows.height)
        return canonical.disagreeing_units(layout.units, recordings.channels)
    if recordings.format == "parquet":
        from pipeline.recordings import parquet

        next(parquet.rows(path, recordings, needed=needed))
        return {}
    from pipeline.recordings.stage import reader

    chunk = next(reader(recordings.format)(path, recordings), None)
    if chunk is None:
        raise InputError("has no samples")
    return canonical.disagreeing_units(chunk.units, recordings.channels)
