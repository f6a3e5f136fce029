"""The two passes over a test's samples, stretch by stretch."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
import polars as pl

from pipeline.conditioning.channels_file import HELD_BYTES, ChannelsFile
from pipeline.conditioning.rest import Rest, rest_of, settled_rest
from pipeline.conditioning.segments import brakings
from pipeline.conditioning.stretches import Stretch, recordings_in, stretches
from pipeline.conditioning.survey import Braking, surveyed
from pipeline.method.conditioning import Conditioning
from pipeline.method.segmentation import Segmentation


@dataclass(frozen=True)
class Applications:
    """Brakings of a test in the order run, and per recording what it holds."""

    found: tuple[Braking, ...]
    set_aside: dict[int, list[tuple[float, float]]]  # recording -> spans (s) of further brakings in a one-stop file
    samples: dict[int, int]
    held: tuple[Stretch, ...] | None = field(default=None, repr=False)  # the stretches, of a test that is small enough


NOISES_ON, NOISES_OFF = 6.0, 3.5  # thresholds in standard deviations of the pressure at rest, at least
LEAST_LEVELS = 2.5  # on-thresholds: a test whose pressures stay below was not recorded in the unit stated
SHARE_ON, SHARE_OFF = 0.05, 0.03  # of such a test's pressures


def rests_of(file: ChannelsFile) -> dict[int, Rest]:
    """Pressure at rest of each recording, from the pressure column alone."""
    parts: dict[int, list[Rest]] = {}
    for table in file.parts(["recording", "pressure"]):
        pressure = table["pressure"].cast(pl.Float64).to_numpy()
        for recording, rows in recordings_in(table["recording"].to_numpy()):
            if np.isfinite(pressure[rows]).any():
                parts.setdefault(recording, []).append(rest_of(pressure[rows]))
    return {key: _joined(several) for key, several in parts.items()}


def _joined(several: list[Rest]) -> Rest:
    if len(several) == 1:
        return several[0]
    high = max(r.high for r in several)
    several = [r for r in several if r.known] or several
    level, noise = (float(np.median([getattr(r, name) for r in several])) for name in ("level", "noise"))
    return Rest(level, noise, high, several[0].known)


def rest_levels(rests: Mapping[int, Rest], margin: float) -> dict[int, float]:
    """The rest level to use for each recording (Pa)."""
    if not rests:
        return {}
    known = [rest.level for rest in rests.values() if rest.known]
    test = float(np.median(known)) if known else 0.0
    return {key: settled_rest(rest, test, margin) for key, rest in rests.items()}


def thresholds_for(rests: Mapping[int, Rest], settings: Segmentation, *, speed_factor: float = 1.0) -> Segmentation:
    """The method's thresholds, raised above the noise at rest, or lowered for a test whose pressures are all tiny.

    Tiny or huge pressures come from a unit that is not the one stated: the test is then found suspect by its levels,
    but its brakings must be seen for that. So must those of a test whose speeds are speed_factor times the true ones.
    """
    if not rests:
        return settings
    if speed_factor < 1:
        speeds = {name: getattr(settings, name) * speed_factor for name in ("turning_speed", "lower_speed")}
        settings = settings.model_copy(update=speeds)
    noises = [rest.noise for rest in rests.values() if rest.known]
    noise = float(np.median(noises)) if noises else 0.0
    high = float(np.median([rest.high - rest.level for rest in rests.values()]))
    on, off = settings.on_pressure, settings.off_pressure
    if 10 * noise < high < LEAST_LEVELS * on:
        on, off = SHARE_ON * high, SHARE_OFF * high
    return settings.model_copy(
        update={"on_pressure": max(on, NOISES_ON * noise), "off_pressure": max(off, NOISES_OFF * noise)}
    )


def survey(
    file: ChannelsFile,
    columns: list[str],
    rests: dict[int, float],
    conditioning: Conditioning,
    segmentation: Segmentation,
    *,
    one_per_recording: bool,
    wanted: set[int],
) -> Applications:
    """First pass: every braking of the `wanted` recordings with the figures that the test's corrections rest on."""
    found: list[Braking] = []
    samples: dict[int, int] = {}
    held: list[Stretch] | None = []
    size = 0
    for stretch in stretches(file, columns, segmentation):
        if held is not None:
            held.append(stretch)
            size += stretch.bytes
            held = held if size <= HELD_BYTES else None
        if stretch.recording not in wanted:
            continue
        samples[stretch.recording] = samples.get(stretch.recording, 0) + stretch.size
        rest = rests.get(stretch.recording, 0.0)
        c = stretch.channels
        spans = brakings(c["time"], c["speed"], c["pressure"], segmentation, rest=rest)
        for span, before, after in with_bounds(spans, stretch.size):
            found.append(
                surveyed(
                    c,
                    span,
                    before,
                    after,
                    row=stretch.row,
                    recording=stretch.recording,
                    rest=rest,
                    conditioning=conditioning,
                    segmentation=segmentation,
                )
            )
    if not one_per_recording:
        return Applications(tuple(found), {}, samples, tuple(held) if held is not None else None)
    kept, aside = _largest(found)
    return Applications(tuple(kept), aside, samples, tuple(held) if held is not None else None)


def _largest(found: list[Braking]) -> tuple[list[Braking], dict[int, list[tuple[float, float]]]]:
    """The braking of each recording that takes most momentum or, held at speed, lasts longest; and the others'
    spans.
    """
    by_recording: dict[int, list[Braking]] = {}
    for braking in found:
        by_recording.setdefault(braking.recording, []).append(braking)
    kept, aside = [], {}
    for number, several in by_recording.items():
        best = max(several, key=lambda b: abs(b.torque_plateau) * (b.end_s - b.start_s))
        kept.append(best)
        if len(several) > 1:
            aside[number] = [(b.start_s, b.end_s) for b in several if b is not best]
    return kept, aside


def with_bounds(spans: list[slice], size: int) -> Iterator[tuple[slice, int, int]]:
    """Each span with the end of the one before and the start of the next (or the stretch's ends)."""
    for i, span in enumerate(spans):
        yield span, spans[i - 1].stop if i else 0, spans[i + 1].start if i + 1 < len(spans) else size


def second_pass(
    file: ChannelsFile, columns: list[str], segmentation: Segmentation, applications: Applications
) -> Iterator[tuple[int, Braking, Stretch, slice, tuple[int, int]]]:
    """Index of each braking, the braking, its stretch, its rows there, and the rows that its neighbours leave it."""
    position, found = 0, applications.found
    kept = applications.held
    for stretch in stretches(file, columns, segmentation) if kept is None else kept:
        inside = []
        while position < len(found) and found[position].recording == stretch.recording:
            if found[position].start >= stretch.row + stretch.size:
                break
            inside.append(position)
            position += 1
        spans = [slice(found[i].start - stretch.row, found[i].stop - stretch.row) for i in inside]
        for i, (span, before, after) in zip(inside, with_bounds(spans, stretch.size), strict=True):
            yield i, found[i], stretch, span, (before, after)
