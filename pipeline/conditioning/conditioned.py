"""A test's channels conditioned: where its brakings are, what they show of its sensors, and each braking's samples
with that taken off.

Two passes over the channels file. The first finds the brakings and the few figures of each that offset, drag, lag and
the balance's line rest on, as these belong to the test and not to a stop; the second hands over every braking with
its samples corrected and with the faults that the samples themselves show.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.archive.block import Block
from pipeline.archive.card import Card
from pipeline.conditioning.channels_file import ChannelsFile
from pipeline.conditioning.corrections import Conditioned, StopZero, conditioned
from pipeline.conditioning.faults.of_braking import faults_beside, faults_within, unspiked
from pipeline.conditioning.from_brakings import FoundCorrections, corrections_of
from pipeline.conditioning.passes import Applications, rest_levels, second_pass, survey, thresholds_for
from pipeline.conditioning.rest import Rest, reading
from pipeline.conditioning.stretches import Stretch
from pipeline.conditioning.survey import Braking
from pipeline.conditioning.time_base import median_known, row_at
from pipeline.findings import Finding
from pipeline.method import Method
from pipeline.method.conditioning import Conditioning
from pipeline.method.segmentation import Segmentation

COLUMNS = [
    "time",
    "speed",
    "torque",
    "pressure",
    "disc_temperature",
    "drive_torque",
    "pressure_2",
    "ambient_temperature",
]
AROUND: tuple[str, ...] = ("time", "disc_temperature", "ambient_temperature")
AS_RECORDED: tuple[str, ...] = ("torque", "pressure", "disc_temperature", "drive_torque", "pressure_2")
MARGIN_S = 1.0  # of samples before and after a braking that its filter may lean on


@dataclass(frozen=True)
class ConditionedStop:
    """One braking with all that conditioning knows of it, SI.

    samples: (n,) from a little before to a little after it, None where its time goes back; recorded:
    channels over the same samples as recorded; around: time, disc and ambient temperature from its zero window to the
    next braking.
    """

    index: int  # among the test's brakings
    braking: Braking
    block: Block | None
    zero: StopZero
    samples: Conditioned | None
    recorded: Mapping[str, np.ndarray]
    around: Mapping[str, np.ndarray]
    pressure_2_rest: float  # Pa, 0 where it was not read
    findings: list[Finding]  # without stop and file

    @property
    def kind(self) -> str:
        """As the schedule has it, else as its speeds look."""
        return self.block.kind if self.block is not None else self.braking.kind

    @property
    def control(self) -> str:
        """What the rig held: pressure, torque or deceleration."""
        return self.block.control if self.block is not None else "pressure"

    @property
    def ambient(self) -> float | None:
        """Median ambient temperature (K), None where the channel is not recorded."""
        values = self.around.get("ambient_temperature")
        return None if values is None else median_known(values)


@dataclass(frozen=True)
class ConditionedTest:
    """The brakings of a test in the order run and its corrections with what they rest on."""

    card: Card
    settings: Conditioning
    segmentation: Segmentation  # with the thresholds that this test's noise allows
    channels: ChannelsFile
    applications: Applications
    found: FoundCorrections
    full_scales: Mapping[str, float]  # of torque (N m) and pressure (Pa), as the channels reach them

    @property
    def brakings(self) -> tuple[Braking, ...]:
        return self.applications.found

    def stops(self, blocks: Sequence[Block | None]) -> Iterator[ConditionedStop]:
        """Every braking conditioned, in the order run; blocks: of each, None where the schedule has none for it."""
        for index, b, stretch, span, bounds in second_pass(
            self.channels, COLUMNS, self.segmentation, self.applications
        ):
            yield self._stop(index, b, stretch, span, bounds, blocks[index])

    def stop(self, index: int, block: Block | None) -> ConditionedStop:
        """One braking alone as `stops` gives it; reads no further than its stretch."""
        passed = second_pass(self.channels, COLUMNS, self.segmentation, self.applications)
        return next(self._stop(i, b, stretch, span, at, block) for i, b, stretch, span, at in passed if i == index)

    def _stop(
        self,
        index: int,
        b: Braking,
        stretch: Stretch,
        span: slice,
        bounds: tuple[int, int],
        block: Block | None,
    ) -> ConditionedStop:
        (before, after), corrections = bounds, self.found.corrections
        c, time = stretch.channels, stretch.channels["time"]
        lead = row_at(time, b.start_s - self.settings.zero_window - 0.1, before, span.start)
        around = {n: c[n][lead:after] for n in AROUND if n in c}
        findings = faults_within(
            b, c, span, lead, block, gap_periods=self.settings.gap_periods, full_scales=self.full_scales
        )
        bare = ConditionedStop(index, b, block, corrections.stops[index], None, {}, around, 0.0, findings)
        if any(f.code in ("time_backwards", "time_leaps") for f in findings):
            return bare  # without a time base there is no integral either
        wide = slice(
            row_at(time, b.start_s - MARGIN_S, before, span.start), row_at(time, b.end_s + MARGIN_S, span.stop, after)
        )
        torque, pressure, spiked = unspiked(c, wide, span)
        if corrections.lag and corrections.late == "pressure":
            b = moved(b, time[wide], c["speed"][wide], corrections.lag)
        samples = conditioned(time[wide], c["speed"][wide], torque, pressure, corrections, bare.zero, self.settings)
        lag = corrections.lag if self.settings.lag_correction else None
        findings = [
            *findings,
            *spiked,
            *faults_beside(b, c, span, before, after, sign=corrections.sign, lag=lag, samples=samples),
        ]
        rest = reading(c["pressure_2"][lead : span.start]) if "pressure_2" in c else None
        return replace(
            bare,
            braking=b,
            samples=samples,
            recorded={n: c[n][wide] for n in AS_RECORDED if n in c},
            pressure_2_rest=rest.value if rest else 0.0,
            findings=findings,
        )


def condition(
    card: Card,
    method: Method,
    channels: ChannelsFile,
    rests: Mapping[int, Rest],
    *,
    wanted: set[int],
    full_scales: Mapping[str, float],
    speed_factor: float = 1.0,
) -> ConditionedTest:
    """Brakings and corrections of a test from its channels file.

    rests: pressure at rest of each recording; wanted: the recordings to look at; full_scales: of torque (N m) and
    pressure (Pa); speed_factor: of the recorded speeds over the true ones, where a test's unit is known to be another.
    """
    segmentation = thresholds_for(rests, method.segmentation, speed_factor=speed_factor)
    levels = rest_levels(rests, segmentation.on_pressure)
    applications = survey(
        channels,
        COLUMNS,
        levels,
        method.conditioning,
        segmentation,
        one_per_recording=card.recordings.holds == "stop",
        wanted=wanted,
    )
    found = corrections_of(
        applications.found,
        method.conditioning,
        includes_drag=card.recordings.channels["torque"].includes_drag,
        inertia=card.inertia,
        inertia_mechanical=card.inertia_mechanical if card.simulates_inertia else None,
        has_drive="drive_torque" in card.recordings.channels,
    )
    return ConditionedTest(card, method.conditioning, segmentation, channels, applications, found, full_scales)


def moved(b: Braking, time: np.ndarray, speed: np.ndarray, lag: float) -> Braking:
    """The braking with its moments where the pressure, recorded -`lag` seconds late, truly passed its thresholds.

    time (s), speed (rad/s): (n,) around it. An end at the lower speed stays where it is: the speed is not late.
    """
    start, end = b.start_s + lag, b.end_s if b.ends_by_speed else b.end_s + lag
    good = np.isfinite(speed)
    speeds = (float(np.interp(moment, time[good], speed[good])) for moment in (start, end))
    first, last = speeds if good.any() else (b.speed_start, b.speed_end)
    # Before braking the shaft turns steadily: the longer mean is the better one.
    return replace(b, start_s=start, end_s=end, speed_start=b.speed_start if lag < 0 else first, speed_end=last)
