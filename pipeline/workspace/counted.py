"""The brakings of a test's recordings before any run: read as a run reads them, counted as it counts them, nothing conditioned.

All recordings where they are few, else the first and some between: a look at an archive of years must not take as long as its run.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from pipeline.archive.card import Card
from pipeline.conditioning.looks import Look, largest, looks_in
from pipeline.conditioning.passes import thresholds_for
from pipeline.conditioning.rest import Rest, rest_of
from pipeline.conditioning.segments import brakings
from pipeline.errors import Complaint, InputError
from pipeline.method.segmentation import Segmentation
from pipeline.recordings import canonical, damage, kinds
from pipeline.recordings.chunk import Damage
from pipeline.recordings.files import refuse_outside
from pipeline.recordings.limits import TooMuch, alive, refuse_few_rows, refuse_rows
from pipeline.recordings.places import Place, reader
from pipeline.recordings.rates import on_torque_time
from pipeline.recordings.timestamps import Clock

VACUUM_PA = 1e5
NEEDED = ("time", "speed", "torque", "pressure")
MOST_ROWS = 2_000_000  # of a recording: an hour and a half at 400 Hz


@dataclass
class Counted:
    """by_recording: name -> brakings found; failed: recordings that cannot be read; damaged: that lost much; backwards: whose time falls; cut: not all rows were looked at."""

    by_recording: dict[str, int] = field(default_factory=dict)
    looks: list[Look] = field(default_factory=list)
    failed: list[tuple[str, InputError]] = field(default_factory=list)
    damaged: list[tuple[str, Complaint]] = field(default_factory=list)
    backwards: list[str] = field(default_factory=list)
    lowest_pressure: float = 0.0  # Pa
    cut: bool = False

    @property
    def doubtful(self) -> bool:
        """Whether the pressure goes below any vacuum: it may count the other way."""
        return self.lowest_pressure < -VACUUM_PA

    @property
    def found(self) -> int:
        return sum(self.by_recording.values())


def counted(folder: Path, card: Card, chosen: Sequence[Place], settings: Segmentation) -> Counted:
    """Brakings in the chosen recordings of a test, by a method's thresholds. Raises TooMuch for what a run refuses as a whole.

    One recording is in memory at a time. Thresholds follow from all of them, where pressures are noisy or tiny: only such a
    test's recordings are read a second time.
    """
    result = Counted()
    rests: dict[int, Rest] = {}
    for number, name, series in _read(folder, card, chosen, result):
        if np.isfinite(series[3]).any():
            rests[number] = rest_of(series[3])
            result.lowest_pressure = min(result.lowest_pressure, float(np.nanquantile(series[3], 0.02)))
            found = looks_in(number, series, rests[number])
            result.looks += largest(found) if card.recordings.holds == "stop" else found
        result.by_recording[name] = _brakings(series, settings)
        if _falls(series[0]):
            result.backwards.append(name)
    thresholds = thresholds_for(rests, settings)
    if thresholds != settings:
        for _, name, series in _read(folder, card, chosen, Counted()):
            result.by_recording[name] = _brakings(series, thresholds)
    return result


def _brakings(series: Sequence[np.ndarray], thresholds: Segmentation) -> int:
    time, speed, _, pressure = series
    return len(brakings(time, np.abs(speed), pressure, thresholds))


def _falls(time: np.ndarray) -> bool:
    """Whether time runs backwards from most rows to the next."""
    steps = np.diff(time[np.isfinite(time)])
    return bool(steps.size and (steps < 0).mean() > 0.5)


def _read(
    folder: Path, card: Card, chosen: Sequence[Place], result: Counted
) -> Iterator[tuple[int, str, list[np.ndarray]]]:
    """(number, name, NEEDED as (n,) each in SI) of each recording that can be read; what cannot goes to `result`."""
    columns = canonical.names(card.recordings.channels)
    units = canonical.conversions(card.recordings.channels, card.rolling_radius)
    clock, before = Clock(), 0
    for number, place in enumerate(chosen, start=1):
        name = place.name(folder)
        parts: list[np.ndarray] = []
        notes: list[Damage] = []
        rows = 0
        try:
            alive(f"{folder.name}/{name}")
            refuse_outside(place.path, folder)
            chunks = clock.seconds(number, reader(card.recordings.format)(place, card.recordings))
            for chunk in on_torque_time(chunks):
                parts.append(canonical.in_si(chunk, columns, units).rows.select(NEEDED).to_numpy())
                rows += parts[-1].shape[0]
                notes += chunk.damage
                if rows > MOST_ROWS:
                    result.cut = True
                    break
            refuse_few_rows(rows)
        except TooMuch as error:
            raise TooMuch(f"{name}: {error}") from error
        except InputError as error:
            result.failed.append((name, kinds.told(error, place.path, folder, card.recordings.format)))
            continue
        finally:
            before += rows
        refuse_rows(before, "the recordings hold {} rows or more")
        result.damaged += [(name, one) for one in damage.complaints_of(notes, rows)]
        yield number, name, list(np.concatenate(parts).astype(float).T) if parts else [np.empty(0)] * len(NEEDED)
