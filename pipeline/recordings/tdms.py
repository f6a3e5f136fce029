"""TDMS recordings.

A mapped column is a channel's name, or group/channel where the name is not unique. Time is a mapped
channel, else the waveform track (wf_increment, wf_start_offset). `nptdms` is imported only here.
"""

from __future__ import annotations

import logging
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.archive.card import REQUIRED_CHANNELS
from pipeline.archive.written import Written
from pipeline.errors import InputError
from pipeline.inputs.quantities import scale_offset
from pipeline.recordings.chunk import Chunk
from pipeline.recordings.columns import missing
from pipeline.recordings.files import plain_file
from pipeline.recordings.timebases import Source, base_of, merged

NOT_INSTALLED = "TDMS recordings need the package nptdms; install it with: pip install 'stopsheet[all]'"


def read(path: Path, recordings: Written, *, needed: Sequence[str] = REQUIRED_CHANNELS) -> Iterator[Chunk]:
    """Chunks of the recording. Raises InputError when it is not what the card says or nptdms is not
    installed."""
    try:
        from nptdms import TdmsFile
    except ImportError as error:
        raise InputError(NOT_INSTALLED) from error
    with plain_file(path) as plain, _heard() as complaints:
        try:
            # The stream is ours, so that it is closed too where the library gives up on the file.
            with plain.open("rb") as stream, TdmsFile.open(stream) as file:
                sources, units = _sources(file, recordings, needed)
                for chunk in merged(sources, units, base=base_of(needed)):
                    yield _stamped(chunk) if recordings.timestamps else chunk
            if complaints:
                raise InputError(f"is damaged or ends early ({complaints[0]})")
        except (InputError, GeneratorExit):
            raise
        except Exception as error:  # a broken file fails in the library in any way
            text = " ".join(str(error).split())[:120]
            raise InputError(f"cannot be read as TDMS ({type(error).__name__}: {text})") from error


def listed(path: Path) -> tuple[list[tuple[str, int]], bool]:
    """Every channel of numbers or times, as a card names it, with its number of samples; whether all have a waveform track."""
    with _channels(path) as channels:
        names = [channel.name for channel in channels]
        found = [
            (c.name if names.count(c.name) == 1 else f"{c.group_name}/{c.name}", len(c))
            for c in channels
            if len(c) and c.dtype is not None and c.dtype.kind in "iufbM"
        ]
        tracks = [bool(c.properties.get("wf_increment")) for c in channels if len(c)]
    return found, bool(tracks) and all(tracks)


def plain(path: Path, names: Sequence[str], every: int) -> tuple[list[np.ndarray], list[str], int | None]:
    """Values of channels of one length, every so manieth, their units, and the place of the first that holds timestamps."""
    values, units, stamp = [], [], None
    with _channels(path) as channels:
        for at, name in enumerate(names):
            found = next(c for c in channels if name in (c.name, f"{c.group_name}/{c.name}"))
            if found.dtype.kind == "M" and stamp is None:
                stamp = at
            values.append(_floats(found, 0, len(found))[::every])
            units.append(str(found.properties.get("unit_string") or found.properties.get("NI_UnitDescription") or ""))
    if stamp is not None:
        values[stamp] = values[stamp] - values[stamp][0]
    return values, units, stamp


@contextmanager
def _channels(path: Path) -> Iterator[list[Any]]:
    try:
        from nptdms import TdmsFile
    except ImportError as error:
        raise InputError(NOT_INSTALLED) from error
    with plain_file(path) as plain, _heard():
        try:
            with plain.open("rb") as stream, TdmsFile.open(stream) as file:
                yield [channel for group in file.groups() for channel in group.channels()]
        except (InputError, GeneratorExit):
            raise
        except Exception as error:  # a broken file fails in the library in any way
            text = " ".join(str(error).split())[:120]
            raise InputError(f"cannot be read as TDMS ({type(error).__name__}: {text})") from error


@contextmanager
def _heard() -> Iterator[list[str]]:
    """The library's warnings, kept from the terminal: they say that a file is damaged."""
    from nptdms.log import log_manager

    complaints: list[str] = []

    def keep(record: logging.LogRecord) -> bool:
        complaints.append(record.getMessage()[:120])
        return False

    log_manager.console_handler.addFilter(keep)
    try:
        yield complaints
    finally:
        log_manager.console_handler.removeFilter(keep)


def _stamped(chunk: Chunk) -> Chunk:
    """The chunk with its times, seconds of UTC, in microseconds."""
    return Chunk(chunk.rows.with_columns((pl.col("time") * 1e6).round()), chunk.damage, chunk.units, "zoned")


def _sources(file: Any, recordings: Written, required: Sequence[str]) -> tuple[dict[str, Source], dict[str, str]]:
    sources, units = {}, {}
    clock = recordings.channels.get("time")
    for name, channel in recordings.channels.items():
        found = _channel(file, channel.column)
        if found is None:
            if name in required or name == "time":
                raise InputError(missing(name, channel.column, [c.name for g in file.groups() for c in g.channels()]))
            continue
        track = None
        if clock is not None:
            track = _clock_of(file, found, clock.column)
            if recordings.timestamps and track.dtype.kind != "M":
                raise InputError(
                    f"channel {clock.column!r} holds {track.dtype}, no timestamps; give its unit in test.yaml, such as s"
                )
        elif "wf_increment" not in found.properties:
            raise InputError(f"channel {channel.column!r} has no waveform track (wf_increment); map time")
        sources[name] = _source(
            found, track, 1.0 if not clock or recordings.timestamps else scale_offset(clock.unit, "duration")[0]
        )
        unit = str(found.properties.get("unit_string") or found.properties.get("NI_UnitDescription") or "")
        if unit:
            units[name] = unit
    return sources, units


def _channel(file: Any, column: str) -> Any:
    """The channel of that name; None where the file has none. Raises InputError where several have the
    name."""
    channels = [channel for group in file.groups() for channel in group.channels()]
    found = [channel for channel in channels if channel.name == column]
    if not found:
        found = [channel for channel in channels if f"{channel.group_name}/{channel.name}" == column]
    if len(found) > 1:
        where = ", ".join(f"{channel.group_name}/{channel.name}" for channel in found[:6])
        raise InputError(f"channel {column!r} stands in several groups; write one of {where}")
    return found[0] if found else None


def _clock_of(file: Any, channel: Any, column: str) -> Any:
    """The time channel of a channel: of that name in its own group, else the only one, if as long."""
    name = column.rsplit("/", 1)[-1]
    own = [c for c in file[channel.group_name].channels() if c.name == name]
    clock = own[0] if own else _channel(file, column)
    if clock is None or len(clock) != len(channel):
        raise InputError(f"channel {channel.name!r} has {len(channel)} samples and no time channel of that length")
    return clock


def _source(channel: Any, clock: Any, seconds: float) -> Source:
    properties = channel.properties
    step, start = float(properties.get("wf_increment", 0.0)), float(properties.get("wf_start_offset", 0.0))

    def read_part(first: int, count: int) -> tuple[np.ndarray, np.ndarray]:
        values = _floats(channel, first, count)
        if clock is not None:
            return _floats(clock, first, count) * seconds, values
        return start + step * np.arange(first, first + values.size), values

    base = (clock.path,) if clock is not None else (step, start, len(channel))
    return Source(len(channel), base, read_part)


def _floats(channel: Any, first: int, count: int) -> np.ndarray:
    values = np.asarray(channel[first : first + count])
    if values.dtype.kind == "M":
        return values.astype("datetime64[ns]").astype(np.int64) / 1e9
    if values.ndim != 1 or values.dtype.kind not in "iufb":
        raise InputError(f"channel {channel.name!r} holds {values.dtype}, not numbers")
    return values.astype(float)
