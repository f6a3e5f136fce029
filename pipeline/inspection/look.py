"""A look at recordings that nobody has seen: layout, columns, channels, units, brakings.

Several files of one form are looked at together: one stop shows little, twelve show which column does what.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from pipeline.errors import InputError
from pipeline.inspection.behaviour import Behaviour, seen
from pipeline.inspection.brakings import Braking, found, inertia_of, lead_of
from pipeline.inspection.guesses import NEEDED, NO_UNIT, Guess, guessed
from pipeline.inspection.names import said
from pipeline.inspection.tables import Column, Table, text_table
from pipeline.inspection.timing import Time, rates, same_columns, seconds_of, time_of
from pipeline.inspection.unit_guess import (
    FIRST,
    INERTIA,
    SENSE,
    TORQUE_PER_PRESSURE,
    fitting,
    in_si,
    kinds_of,
    kinds_said,
    readable,
    sensible,
)  # fmt: skip
from pipeline.recordings import kinds

NO_BRAKING = "by these channels no braking is found, though a load stands"
CREEP, CREEP_M_S = 15.0, 4.0  # rad/s, m/s: brakings begin faster, but for creep
AHEAD_S = 0.1  # by which torque may rise before pressure: lags of sensors and filters
TOGETHER = 12  # files looked at for the guesses


@dataclass(frozen=True)
class Range:
    """A column: what was found in it."""

    name: str
    unit: str
    low: float
    high: float
    rate: float
    share: float  # of the rows that have a value


@dataclass(frozen=True)
class Look:
    """What one recording, or several of one form, are."""

    files: list[str]
    table: Table
    time: Time | None
    ranges: list[Range]
    guesses: list[Guess]
    brakings: list[Braking]
    inertia: float  # kg m^2, as torque and speed say; NaN where they do not
    channels: dict[str, np.ndarray] = field(repr=False)  # of the first file, SI; NaN where there is none
    duration_s: float = float("nan")
    notes: list[str] = field(default_factory=list)
    linear: bool = False  # speed is a vehicle's

    def guess(self, channel: str) -> Guess | None:
        return next((one for one in self.guesses if one.channel == channel), None)


def tables_of(path: Path, name: str) -> list[tuple[str, Table]]:
    """(name of the recording, its table) of a file of any format that is read: of each sheet, group or table where it has several
    with the columns of the first. Raises InputError that says what the file is and how to save it.
    """
    form = kinds.form_of(path)
    if form is not None:
        from pipeline.inspection.stored import stored_tables

        tables = _most_alike(stored_tables(path, form))
        return [(f"{name}#{table.part}" if len(tables) > 1 else name, table) for table in tables]
    what = kinds.what(path)
    if what is not None:
        raise InputError(f"is {what[0]}; {what[1]}")
    return [(name, text_table(path))]


def _most_alike(tables: list[Table]) -> list[Table]:
    """The sheets, groups or tables of the form that most of them have; of forms as frequent, that of most columns."""
    forms: dict[tuple[str, ...], list[Table]] = {}
    for table in tables:
        forms.setdefault(tuple(column.name for column in table.columns), []).append(table)
    return max(forms.items(), key=lambda one: (len(one[1]) * (len(one[0]) > 2), len(one[0])))[1]


def look(paths: Sequence[Path], names: Sequence[str]) -> Look:
    """Look at recordings of one form, at most TOGETHER of them from the first to the last. names: as messages call them. Raises
    InputError where none can be read.

    Brakings are those of all recordings in the files looked at.
    """
    found_: list[tuple[str, Table]] = []
    failure = InputError("there is no file")
    for at in _spread(len(paths)):
        try:
            found_ += tables_of(paths[at], names[at])
        except InputError as error:
            failure = error
    if not found_:
        raise failure
    chosen = [found_[at] for at in _spread(len(found_))]
    seen_ = look_at([table for _, table in chosen], [file for file, _ in chosen])
    by_file = {file: [b for b in seen_.brakings if b.file == file] for file in seen_.files}
    brakings = [
        b for file, table in found_ for b in (by_file[file] if file in by_file else _brakings(table, file, seen_))
    ]
    return replace(seen_, brakings=brakings)


def _spread(count: int) -> list[int]:
    return sorted({round(x) for x in np.linspace(0, count - 1, min(TOGETHER, count))}) if count else []


def brakings_of(path: Path, name: str, known: Look) -> list[Braking]:
    """The brakings of a further file, by the channels that were found; none where it cannot be read or has other columns."""
    try:
        tables = tables_of(path, name)
    except InputError:
        return []
    return [one for file, table in tables for one in _brakings(table, file, known)]


def _brakings(table: Table, name: str, known: Look) -> list[Braking]:
    if [c.name for c in table.columns] != [c.name for c in known.table.columns]:
        return []
    return found(name, _channels(table, seconds_of(table, known.time), known.guesses))


def look_at(tables: list[Table], files: list[str]) -> Look:
    """The look at tables that are read already; those with other columns than the first are left out."""
    kept = same_columns(tables)
    files = [file for file, table in zip(files, tables, strict=True) if any(table is one for one in kept)]
    first = _dated(kept)
    time = time_of(first)
    clocks = [seconds_of(table, time) for table in kept]
    leave = _leave(first, time)
    behaviour = seen([_matrix(table) for table in kept], clocks, leave)
    guesses = [_with_unit(guess, behaviour, first) for guess in guessed(first.columns, behaviour, leave)]
    guesses = _together(guesses, behaviour)
    several = [_channels(table, clock, guesses) for table, clock in zip(kept, clocks, strict=True)]
    linear = _linear(guesses)
    brakings = [one for file, channels in zip(files, several, strict=True) for one in found(file, channels)]
    inertia = _inertia(files, several, brakings) if not linear else float("nan")
    guesses, time = _held_together(guesses, time, brakings, inertia, linear)
    guesses = _in_order(guesses, files, several, brakings)
    if behaviour.runs and not brakings:
        text = f"{NO_BRAKING}: a unit may be wrong, or one of them"
        guesses = [replace(g, doubts=[*g.doubts, text]) if g.channel in ("speed", "pressure") else g for g in guesses]
        time = replace(time, doubts=[*time.doubts, text]) if time else None
    ranges = [_range(column, first, rate) for column, rate in zip(first.columns, rates(first, clocks[0]), strict=True)]
    span = clocks[0][-1] - clocks[0][0] if clocks[0].size else float("nan")
    notes = [*first.notes, *_missing(first, guesses, time)]
    return Look(files, first, time, ranges, guesses, brakings, inertia, several[0], float(span), notes, linear)


def _dated(tables: list[Table]) -> Table:
    """The first table; where nothing in it tells how its dates are written, as another one of them tells."""
    first = tables[0]
    told = next((t for t in tables if t.dates in ("day_first", "month_first") and not t.dates_doubt), None)
    if told is None or not first.dates_doubt:
        return first
    return replace(first, dates=told.dates, dates_doubt="", begins="")


def _matrix(table: Table) -> np.ndarray:
    return np.column_stack([table.array(at) for at in range(len(table.columns))]) if table.columns else np.empty((0, 0))


def _leave(table: Table, time: Time | None) -> frozenset[int]:
    """Columns that are no quantity of a braking: times, counters, columns without numbers."""
    empty = (
        {at for at in range(len(table.columns)) if np.isfinite(table.array(at)).mean() < 0.01}
        if table.values.height
        else set()
    )
    named = {
        c.place
        for c in table.columns
        if said(c.bare).quantity in ("counter",) and said(c.bare).strength > 1 and not c.unit
    }
    return frozenset(empty | named | (set(time.counters) if time else set()))


def _with_unit(guess: Guess, behaviour: Behaviour, table: Table) -> Guess:
    """The guess with a unit: the stated one where it is of the kind, else what makes sense by size."""
    if guess.force:
        return guess
    kind = kinds_of(guess.channel)
    stated = next((k for k in kind if k in kinds_said(guess.unit)), None)
    if stated is not None and readable(guess.unit, guess.channel):
        return guess
    if kind[0] not in SENSE:
        return replace(guess, unit=FIRST.get(kind[0], {"length": "mm"}.get(kind[0], "%")))
    values = table.array(guess.place)
    values = values[np.isfinite(values)]
    level = behaviour.level.get(guess.place, float("nan"))
    low, high = (
        (level, level)
        if np.isfinite(level)
        else tuple(np.percentile(np.abs(values), [2, 98]))
        if values.size
        else (0.0, 0.0)
    )
    if kind[0] == "temperature" and values.size:
        low, high = np.percentile(values, [2, 98])
    if kind[0] == "angular_speed":
        low = high
    fits = [unit for k in kind for unit in fitting(k, float(low), float(high))]
    if guess.channel == "speed" and "angular_speed" in kinds_said(guess.unit):
        fits = [unit for unit in fits if unit in ("rpm", "rad/s")]
    if kind[0] == "temperature" and float(low) < 200 and "K" in fits:
        fits.remove("K")
    unit = fits[0] if fits else FIRST[kind[0]]
    others = f", or {' or '.join(fits[1:3])}" if fits[1:] else ""
    text = f"by its size ({float(high):.4g}) it is in {unit}{others}"
    kept = [doubt for doubt in guess.doubts if doubt != NO_UNIT]
    return replace(guess, unit=unit, doubts=[f"{NO_UNIT}: {text}" if len(kept) < len(guess.doubts) else text, *kept])


def _together(guesses: list[Guess], behaviour: Behaviour) -> list[Guess]:
    """Pressure and torque in units in which their ratio makes sense, where one of them was guessed."""
    by = {guess.channel: guess for guess in guesses}
    torque, pressure = by.get("torque"), by.get("pressure")
    if (
        torque is None
        or pressure is None
        or torque.force
        or torque.place not in behaviour.level
        or pressure.place not in behaviour.level
    ):
        return guesses
    levels = {g.channel: behaviour.level[g.place] for g in (torque, pressure)}
    ratio = in_si(levels["torque"], torque.unit, "torque") / max(
        in_si(levels["pressure"], pressure.unit, "pressure"), 1e-9
    )
    if TORQUE_PER_PRESSURE[0] <= ratio <= TORQUE_PER_PRESSURE[1]:
        return guesses
    for guess in (pressure, torque):
        kind = guess.channel
        if not any("by its size" in text for text in guess.doubts):
            continue
        for unit in fitting(kind, levels[kind], levels[kind]):
            turned = in_si(levels[kind], unit, kind) / in_si(levels[kind], guess.unit, kind)
            new = ratio * turned if kind == "torque" else ratio / turned
            if TORQUE_PER_PRESSURE[0] <= new <= TORQUE_PER_PRESSURE[1]:
                doubts = [
                    f"{NO_UNIT}: by its size beside the other it is in {unit}" if "by its size" in t else t
                    for t in guess.doubts
                ]
                return [replace(g, unit=unit, doubts=doubts) if g is guess else g for g in guesses]
    text = f"{ratio * 1e5:.3g} N m per bar: a brake gives 2 to 120; a unit may be wrong"
    return [replace(g, doubts=[*g.doubts, text]) if g.channel in ("torque", "pressure") else g for g in guesses]


def _linear(guesses: list[Guess]) -> bool:
    speed = next((g for g in guesses if g.channel == "speed"), None)
    return speed is not None and not np.isfinite(in_si(1.0, speed.unit, "angular_speed"))


def _channels(table: Table, clock: np.ndarray, guesses: list[Guess]) -> dict[str, np.ndarray]:
    """The channels of one recording in SI; a slower channel is bridged."""
    result = {"time": clock} | {name: np.full(clock.size, np.nan) for name in NEEDED}
    for guess in guesses:
        values = table.array(guess.place)
        known = np.flatnonzero(np.isfinite(values))
        if known.size and known.size < values.size:
            values = np.interp(np.arange(values.size), known, values[known])
        kind = next((k for k in kinds_of(guess.channel) if np.isfinite(in_si(1.0, guess.unit, k))), None)
        if kind is not None:
            result[guess.channel] = values * (in_si(1.0, guess.unit, kind) - in_si(0.0, guess.unit, kind)) + in_si(
                0.0, guess.unit, kind
            )
    return result


def _inertia(files: list[str], several: list[dict[str, np.ndarray]], brakings: list[Braking]) -> float:
    found_ = [
        inertia_of(channels, [b for b in brakings if b.file == file])
        for file, channels in zip(files, several, strict=True)
    ]
    known = [value for value in found_ if np.isfinite(value)]
    return float(np.median(known)) if known else float("nan")


def _in_order(
    guesses: list[Guess], files: list[str], several: list[dict[str, np.ndarray]], brakings: list[Braking]
) -> list[Guess]:
    """Pressure rises before torque, which it makes: a reason; a doubt where torque rises a good while before it."""
    leads = [
        lead_of(channels, [b for b in brakings if b.file == file])
        for file, channels in zip(files, several, strict=True)
    ]
    known = [lead for lead in leads if np.isfinite(lead)]
    lead = float(np.median(known)) if known else 0.0
    if lead > 0:
        return [
            replace(g, reasons=[*g.reasons, f"rises {1000 * lead:.0f} ms before torque"])
            if g.channel == "pressure"
            else g
            for g in guesses
        ]
    if lead < -AHEAD_S:
        text = f"torque rises {-lead:.2f} s before pressure"
        return [replace(g, doubts=[*g.doubts, text]) if g.channel in ("pressure", "torque") else g for g in guesses]
    return guesses


def _held_together(
    guesses: list[Guess], time: Time | None, brakings: list[Braking], inertia: float, linear: bool
) -> tuple[list[Guess], Time | None]:
    """Doubts by what the guesses say together: an inertia, durations, levels beyond sense."""
    further: dict[str, list[str]] = {}
    if np.isfinite(inertia) and not INERTIA[0] <= inertia <= INERTIA[1]:
        text = f"torque, speed and time together mean an inertia of {inertia:.3g} kg m^2; a unit may be wrong"
        further |= {"torque": [text], "speed": [text]}
    for channel, kind, values in (
        ("pressure", "pressure", [b.pressure for b in brakings]),
        ("torque", "torque", [b.torque for b in brakings]),
        ("disc_temperature", "temperature", [b.temperature_initial for b in brakings]),
    ):
        unit = {"pressure": "Pa", "torque": "N m", "temperature": "K"}[kind]
        level = float(np.median(values)) if values else float("nan")
        if np.isfinite(level) and not sensible(level, unit, kind):
            further.setdefault(channel, []).append("its values are beyond what a brake test has; its unit may be wrong")
    slow = float(np.median([b.speed_start for b in brakings])) if brakings else float("nan")
    if slow < (CREEP_M_S if linear else CREEP):
        further.setdefault("speed", []).append("the brakings begin at a crawl; its unit may be wrong")
    long = float(np.median([b.duration_s for b in brakings if not b.cut] or [1.0]))
    if time is not None and not sensible(long, "s", "duration"):
        time = replace(time, doubts=[*time.doubts, f"brakings would last {long:.3g} s; its unit may be wrong"])
    return [replace(g, doubts=[*g.doubts, *further[g.channel]]) if g.channel in further else g for g in guesses], time


def _range(column: Column, table: Table, rate: float) -> Range:
    values = table.array(column.place)
    known = values[np.isfinite(values)]
    low, high = (float(known.min()), float(known.max())) if known.size else (float("nan"), float("nan"))
    return Range(column.name, column.unit, low, high, rate, known.size / max(values.size, 1))


def _missing(table: Table, guesses: list[Guess], time: Time | None) -> list[str]:
    have = {guess.channel for guess in guesses}
    lost = [name.replace("_", " ") for name in NEEDED if name not in have]
    notes = (
        [f"no column was taken for {', '.join(lost)}: a run needs {'it' if len(lost) == 1 else 'them'}"] if lost else []
    )
    odd = {column.name: count for column in table.columns if (count := table.beyond(column.place))}
    notes += [
        f"column {name!r} holds {count} values that no sensor gives; they were left out" for name, count in odd.items()
    ]
    if time is None:
        notes.append("no column rises with the rows: a run needs a time")
    if table.layout is not None and table.layout.header_line is None:
        notes.append("there is no line of names: the columns are counted, column 1, column 2 ...")
    return notes
