"""The brakings of a test's recordings before any run: read as a run reads them, counted as it counts them, nothing conditioned.

All recordings where they are few, else the first and some between: a look at an archive of years must not take as long as its run.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from pipeline.archive.card import Card
from pipeline.conditioning.looks import Look, largest, looks_in
from pipeline.conditioning.passes import thresholds_for
from pipeline.conditioning.rest import Rest, rest_of
from pipeline.conditioning.segments import brakings
from pipeline.errors import InputError
from pipeline.method.segmentation import Segmentation
from pipeline.recordings import canonical, kinds
from pipeline.recordings.files import refuse_outside
from pipeline.recordings.limits import TooMuch, alive
from pipeline.recordings.places import Place, reader
from pipeline.recordings.rates import on_torque_time
from pipeline.recordings.timestamps import Clock

VACUUM_PA = 1e5
NEEDED = ("time", "speed", "torque", "pressure")
MOST_ROWS = 2_000_000  # of a recording: an hour and a half at 400 Hz


@dataclass
class Counted:
    """by_recording: name -> brakings found; failed: recordings that cannot be read; cut: not all rows were looked at."""

    by_recording: dict[str, int] = field(default_factory=dict)
    looks: list[Look] = field(default_factory=list)
    failed: list[tuple[str, InputError]] = field(default_factory=list)
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
    """Brakings in the chosen recordings of a test, by a method's thresholds. Raises TooMuch for what a run refuses as a whole."""
    columns = canonical.names(card.recordings.channels)
    units = canonical.conversions(card.recordings.channels, card.rolling_radius)
    result, clock = Counted(), Clock()
    series: dict[str, list[np.ndarray]] = {}
    rests: dict[int, Rest] = {}
    for number, place in enumerate(chosen, start=1):
        name = place.name(folder)
        try:
            alive(f"{folder.name}/{name}")
            refuse_outside(place.path, folder)
            chunks = clock.seconds(number, reader(card.recordings.format)(place, card.recordings))
            parts, rows = [], 0
            for chunk in on_torque_time(chunks):
                parts.append(canonical.in_si(chunk, columns, units).rows.select(NEEDED).to_numpy())
                rows += parts[-1].shape[0]
                if rows > MOST_ROWS:
                    result.cut = True
                    break
        except TooMuch as error:
            raise TooMuch(f"{name}: {error}") from error
        except InputError as error:
            result.failed.append((name, kinds.told(error, place.path, folder, card.recordings.format)))
            continue
        series[name] = list(np.concatenate(parts).astype(float).T) if parts else [np.empty(0)] * len(NEEDED)
        if np.isfinite(series[name][3]).any():
            rests[number] = rest_of(series[name][3])
            result.lowest_pressure = min(result.lowest_pressure, float(np.nanquantile(series[name][3], 0.02)))
            result.looks += looks_in(number, series[name], rests[number])
    if card.recordings.holds == "stop":
        result.looks = largest(result.looks)
    thresholds = thresholds_for(rests, settings)
    for name, (time, speed, _, pressure) in series.items():
        result.by_recording[name] = len(brakings(time, np.abs(speed), pressure, thresholds))
    return result
