"""MDF recordings (ASAM MDF 4; older versions as far as the library reads them).

A mapped column is a channel's name, or group/channel where the name is not unique; the group by its
acquisition name, its comment or its number. Without a mapped time the group's master gives it. `asammdf` is
imported only here.

A channel's conversion from raw values is applied by the library where it is plain arithmetic or a table of numbers. A
formula is applied by `formula`: the library hands it to an evaluator and keeps the raw values, in silence, where that
fails. A conversion of any other kind is refused.
"""

from __future__ import annotations

import gc
import logging
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.archive.card import REQUIRED_CHANNELS
from pipeline.archive.written import Written
from pipeline.errors import InputError
from pipeline.recordings.chunk import Chunk, Damage
from pipeline.recordings.columns import missing
from pipeline.recordings.files import plain_file
from pipeline.recordings.formula import Applied, applied
from pipeline.recordings.timebases import Source, base_of, merged

NOT_INSTALLED = "MDF recordings need the package asammdf; install it with: pip install 'stopsheet[all]'"


def read(path: Path, recordings: Written, *, needed: Sequence[str] = REQUIRED_CHANNELS) -> Iterator[Chunk]:
    """Chunks of the recording. Raises InputError when it is not what the card says or asammdf is not
    installed."""
    try:
        from asammdf import MDF
        from asammdf.blocks import v2_v3_blocks, v4_blocks
    except ImportError as error:
        raise InputError(NOT_INSTALLED) from error
    for blocks in (v2_v3_blocks, v4_blocks):
        # What the library does with a formula that its first evaluator refuses; none reaches it, and it stays off.
        vars(blocks).update(lambdify=None, symbols=None)
    with plain_file(path) as plain, _silent():
        try:
            with _opened(MDF, plain) as file:
                sources, units, damage = _sources(file, recordings, needed)
                for chunk in merged(sources, units, base=base_of(needed)):
                    yield Chunk(chunk.rows, [*damage, *chunk.damage], chunk.units)
                    damage = []
        except (InputError, GeneratorExit):
            raise
        except Exception as error:  # a broken file fails in the library in any way
            raise InputError(f"cannot be read as MDF ({type(error).__name__}: {_line(error)})") from error


def listed(path: Path) -> list[tuple[str, int]]:
    """Every channel of numbers but the masters, as a card names it, with its number of samples."""
    try:
        from asammdf import MDF
    except ImportError as error:
        raise InputError(NOT_INSTALLED) from error
    with plain_file(path) as plain, _silent():
        try:
            with _opened(MDF, plain) as file:
                return _named_channels(file)
        except InputError:
            raise
        except Exception as error:  # a broken file fails in the library in any way
            raise InputError(f"cannot be read as MDF ({type(error).__name__}: {_line(error)})") from error


def _named_channels(file: Any) -> list[tuple[str, int]]:
    found = []
    for number, group in enumerate(file.groups):
        rows = int(group.channel_group.cycles_nr)
        for index, channel in enumerate(group.channels):
            if index == file.masters_db.get(number) or not rows:
                continue
            once = len(file.whereis(channel.name)) == 1
            name = channel.name if once else f"{_group_names(file, number)[0]}/{channel.name}"
            try:
                _place(file, name)
                _source(file, number, index, name)
            except InputError:
                continue
            found.append((name, rows))
    return found


@contextmanager
def _silent() -> Iterator[None]:
    """Keeps the library's log from the terminal; what matters in it comes out as an error or a short channel."""
    logger = logging.getLogger("asammdf")
    logger.addFilter(_never)
    try:
        yield
    finally:
        logger.removeFilter(_never)


def _never(_: logging.LogRecord) -> bool:
    return False


def _opened(kind: Any, path: Path) -> Any:
    """The open file. One that cannot be opened leaves a half-made object, whose noisy end is kept from the
    user."""
    hook = sys.unraisablehook
    sys.unraisablehook = lambda _: None
    try:
        why = ""
        try:
            return kind(path)
        except Exception as error:  # a broken file fails in the library in any way
            why = f"{type(error).__name__}: {_line(error)}"
        gc.collect()
        raise InputError(f"cannot be read as MDF ({why})")
    finally:
        sys.unraisablehook = hook


def _line(error: Exception) -> str:
    return " ".join(str(error).split())[:120]


def _sources(
    file: Any, recordings: Written, required: Sequence[str]
) -> tuple[dict[str, Source], dict[str, str], list[Damage]]:
    """The channels' sources, their units, and the channels beyond the needed ones that cannot be converted."""
    sources, units = {}, {}
    damage: list[Damage] = []
    for name, channel in recordings.channels.items():
        needed = name in required or name == "time"
        place = _place(file, channel.column)
        if place is None:
            if needed:
                raise InputError(missing(name, channel.column, sorted(set(file.channels_db))))
            continue
        group, index = place
        if group not in file.masters_db and "time" not in recordings.channels:
            raise InputError(f"group of {channel.column!r} has no master channel; map time")
        try:
            source = _source(file, group, index, channel.column)
        except InputError as error:
            if needed:
                raise
            rows = int(file.groups[group].channel_group.cycles_nr)
            damage.append(Damage("conversion", name, rows, None, str(error)))
            continue
        sources[name] = source
        unit = file.groups[group].channels[index].unit
        if unit:
            units[name] = str(unit)
    return sources, units, damage


# Conversions that the library applies itself, by its numbers: none, linear, polynomial, rational, exponential,
# logarithmic, tables of numbers. Texts and bit fields are no measurements; a number unknown to it is passed over in
# silence.
PLAIN = {"4": (0, 1, 2, 4, 5, 6), "3": (0, 1, 2, 6, 7, 8, 9, 65535)}
FORMULA = {"4": 3, "3": 10}


def _conversion(file: Any, group: int, index: int) -> Applied | None:
    """What to apply to the channel's raw values; None where the library does. Raises InputError where neither can."""
    channel = file.groups[group].channels[index]
    conversion = channel.conversion
    edition = "4" if str(file.version) >= "4" else "3"
    if not conversion or conversion.conversion_type in PLAIN[edition]:
        return None
    if conversion.conversion_type != FORMULA[edition]:
        raise InputError(
            f"channel {channel.name!r}: its conversion (kind {conversion.conversion_type}) gives no numbers"
        )
    try:
        return applied(str(conversion.formula))
    except InputError as error:
        raise InputError(f"channel {channel.name!r}: {error}") from None


def _place(file: Any, column: str) -> tuple[int, int] | None:
    """(group, index) of a channel; None where the file has none. Raises InputError where several have the
    name."""
    places = [tuple(place) for place in file.whereis(column)]
    if not places:
        for at, letter in enumerate(column):
            if letter == "/":
                group, channel = column[:at], column[at + 1 :]
                places += [tuple(p) for p in file.whereis(channel) if group in _group_names(file, p[0])]
    if len(places) > 1:
        where = ", ".join(f"{_group_names(file, group)[0]}/{column}" for group, _ in places[:6])
        raise InputError(f"channel {column!r} stands in several groups; write one of {where}")
    return places[0] if places else None


def _group_names(file: Any, group: int) -> list[str]:
    held = file.groups[group].channel_group
    names = [getattr(held, "acq_name", "") or "", getattr(held, "comment", "") or "", str(group)]
    return [name for name in names if name]


NUMBERS = {"4": range(6), "3": (0, 1, 2, 3, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16)}  # data types: integers and floats
STORED = (0, 2, 3, 4, 6)  # channel types of edition 4 whose value stands in the record, or is its number


def _refuse_layout(file: Any, group: int, index: int) -> None:
    """InputError where a channel's place does not lie within its group's record: the library copies from there
    unchecked, and what lies behind the record's memory is read, or the process crashes."""
    held, channel = file.groups[group].channel_group, file.groups[group].channels[index]
    edition = "4" if str(file.version) >= "4" else "3"
    size = 8 * held.samples_byte_nr
    if edition == "4":
        first, last = 8 * channel.byte_offset, 8 * channel.byte_offset + channel.bit_offset + channel.bit_count
        plain = channel.channel_type in STORED and not file.groups[group].channel_dependencies[index]
    else:
        first = 8 * channel.additional_byte_offset + channel.start_offset
        last, plain = first + channel.bit_count, True
    if not plain or channel.data_type not in NUMBERS[edition] or channel.bit_count > 64:
        raise InputError(f"channel {channel.name!r} holds no numbers")
    if not 0 <= first <= last <= size:
        raise InputError(
            f"channel {channel.name!r} lies outside its record of {held.samples_byte_nr} bytes: the file is damaged"
        )


def _source(file: Any, group: int, index: int, column: str) -> Source:
    """Samples of a channel, converted. Raises InputError where they or their times can't be."""
    master = file.masters_db.get(group)
    for each in (index, *([master] if master is not None else [])):
        _refuse_layout(file, group, each)
    apply = _conversion(file, group, index)
    if master is not None and _conversion(file, group, master) is not None:
        raise InputError(f"the time of channel {column!r} is given by a formula; map a channel of time in seconds")

    def read_part(first: int, count: int) -> tuple[np.ndarray, np.ndarray]:
        signal = file.get(
            group=group,
            index=index,
            record_offset=first,
            record_count=count,
            ignore_invalidation_bits=True,
            raw=apply is not None,
        )
        values = np.asarray(signal.samples)
        if values.ndim != 1 or values.dtype.kind not in "iufb":
            raise InputError(f"channel {column!r} holds {values.dtype}, not numbers")
        values = values.astype(float)
        if apply is not None:
            values = apply(values)
        if signal.invalidation_bits is not None:
            values[np.asarray(signal.invalidation_bits, dtype=bool)] = np.nan
        return np.asarray(signal.timestamps, dtype=float), values

    return Source(int(file.groups[group].channel_group.cycles_nr), group, read_part)
