"""A test reduced in memory, by the stages' own functions, and what follows from its stops: map, wear, drift."""

from __future__ import annotations

from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.conditioning.calibrations import corrected
from pipeline.constants import RPM, ZERO_C
from pipeline.drift import stage as drift
from pipeline.drift.repeatability import scatter_of
from pipeline.errors import InputError
from pipeline.friction import instop
from pipeline.friction import stage as friction
from pipeline.friction.wanted import Wanted
from pipeline.method import Method, from_stage_settings, load_method, settings_of
from pipeline.notebook.faults import named, told
from pipeline.notebook.test import Test, finding_frame
from pipeline.report import merge
from pipeline.results.drift import TestDrift
from pipeline.results.findings import Found, recorded
from pipeline.results.friction import TestFriction
from pipeline.results.model import as_read, renewed
from pipeline.results.repeatability import Repeatability
from pipeline.results.summary import StopCounts, TestSummary
from pipeline.results.wear import TestWear
from pipeline.stops import stage as stops
from pipeline.stops.calibrated import calibrations_of
from pipeline.stops.reduce import conditioned_stop, prepared
from pipeline.wear import stage as wear
from pipeline.wording import counted

File = str | PathLike[str]


@dataclass(frozen=True, eq=False, repr=False)
class Reduced:
    """A test reduced to its stops by `reduce`.

    stops: one row a brake application as run, columns of docs/tables.md (stops.parquet); traces: conditioned samples of
    each stop, thinned (traces.parquet); excluded: rows of the stops that the card excludes, as they would stand
    otherwise; summary: zeros, drag, lag, energy balance, budget of the uncertainty (summary.json); found: findings of the
    recordings and of the stops, worst first, with their evidence.
    """

    test: Test
    method: Method
    rig: Path | None
    stops: pl.DataFrame
    traces: pl.DataFrame
    excluded: pl.DataFrame
    summary: TestSummary
    found: list[Found]

    def __repr__(self) -> str:
        return f"<{self.test.name} reduced: {stops_words(self.summary.stops)}; {counted(len(self.found), 'finding')}>"

    @property
    def findings(self) -> pl.DataFrame:
        """One row a finding: code (docs/findings.md), severity, stop, file, channel, start_s and end_s, message, action."""
        return finding_frame(self.found)


def stops_words(counts: StopCounts) -> str:
    return f"{counted(counts.ok, 'stop')} ok, {counts.suspect} suspect, {counts.rejected} rejected"


def read_method(file: File | None = None) -> Method:
    """The settings of a method file in SI, every default filled in; without a file the default method.

    Raises InputError naming file and key where the file cannot be used.
    """
    if file is None:
        return Method()
    place = Path(file)
    with told(place):
        return load_method(place)


def reduce(test: Test, method: Method | File | None = None, *, rig: File | None = None) -> Reduced:
    """Reduce a test to its stops, with uncertainty and findings, as the stage `stops` does.

    method: a method or its file, the default method without one. rig: file of the test's rig, whose calibrations are
    then applied; without it none are.

    Zeros, drag, lag, energy balance and the places of the stops in the schedule are found from all recordings read. Of a
    test read with `only` they rest on those alone, so a stop's numbers differ a little from those of the whole test, its
    number counts from 1 among those read, and stops that were not read are not told as missing.
    Raises InputError where nothing of the test can be used.
    """
    chosen = method if isinstance(method, Method) else read_method(method)
    place = None if rig is None else Path(rig)
    with told(test.folder), named(test.name):
        result = stops.reduced(
            test.card, _as_staged(chosen, "stops"), test.channels, test.record, place, test.channels.parent
        )
    summary = as_read(renewed(result.summary, test=test.name))
    raised = [*test.record.findings, *recorded(result.findings)]
    if not test.whole:  # what was not read is not missing
        summary = renewed(summary, missing=[])
        raised = [one for one in raised if one.code != "stop_missing"]
    found = merge.merged(test.name, "", raised).findings
    return Reduced(test, chosen, place, result.stops, result.traces, result.excluded, summary, found)


def stop_samples(reduced: Reduced, stop: int) -> pl.DataFrame:
    """All samples of one stop, as recorded and conditioned, from a second before its brake start to a second after.

    stop: its number. Columns, (n,) each at the recording's own rate: time_s (from brake start), speed_rpm,
    torque_recorded_nm and pressure_recorded_bar (as read, with the rig's calibrations where they are applied), torque_nm
    (friction: filtered, zero, drag and lag off), drag_torque_nm, pressure_bar (filtered, above rest),
    disc_temperature_c, mu (null where the clamp force is too small), in_window (whether the sample counts in the stop's
    means of mu). Raises InputError for a stop that the test has not, or one without a braking or a time base.
    """
    test, method = reduced.test, _as_staged(reduced.method, "stops")
    if test.card.recordings.holds == "summary":
        raise InputError(f"{test.name}: only reduced rows were kept of this test: it has no samples")
    with told(test.folder), named(test.name):
        calibrations = calibrations_of(test.card, reduced.rig, method)
        with corrected(test.channels, calibrations, test.channels.parent) as channels:
            ready = prepared(test.card, method, channels, test.record, calibrations)
            found, mu = conditioned_stop(ready, stop)
    samples = found.samples
    if samples is None or mu is None:
        raise InputError(f"{test.name}: stop {stop}: the recorded time goes back, so there are no conditioned samples")
    frame = pl.DataFrame(
        {
            "time_s": samples.time - found.braking.start_s,
            "speed_rpm": samples.speed * RPM,
            "torque_recorded_nm": found.recorded["torque"],
            "pressure_recorded_bar": found.recorded["pressure"] / 1e5,
            "torque_nm": samples.friction,
            "drag_torque_nm": samples.drag,
            "pressure_bar": samples.pressure / 1e5,
            "disc_temperature_c": found.recorded["disc_temperature"] - ZERO_C,
            "mu": mu.mu,
            "in_window": mu.inside & np.isfinite(mu.mu),
        }
    )
    return frame.with_columns(pl.selectors.float().fill_nan(None))


def friction_map(reduced: Reduced, *, target: File | None = None) -> TestFriction:
    """Friction map, window, sensitivities, fade and bedding of one test, as the stage `friction` does (docs/friction.md).

    target: file of the compound's target, whose wishes the window is held against. What the stops do not carry is null
    with its reason beside it (`window` and `window_reason`). Raises InputError where the target cannot be read.
    """
    method = _as_staged(reduced.method, "friction")
    wanted = Wanted()
    if target is not None:
        with told(Path(target)):
            wanted = friction.wanted_in(Path(target))
    found = friction.of_tables(
        reduced.stops,
        reduced.excluded,
        reduced.traces,
        method,
        wanted,
        reduced.summary.mu_u_common_relative,
        instop.disc_of(reduced.test.card),
    )
    return as_read(renewed(found, test=reduced.test.name))


def wear_laws(reduced: Reduced) -> TestWear:
    """Wear intervals, rates and laws of one test from its wear readings, as the stage `wear` does (docs/wear.md).

    `components` is null with `why` where the card names no wear file or that has no reading. Raises InputError for a
    test of which not all recordings were read: its wear is that of all stops.
    """
    _refuse_part(reduced.test, "wear is that of all stops")
    test, method = reduced.test, _as_staged(reduced.method, "wear")
    with told(test.folder):
        found, _ = wear.of_tables(test.folder, test.card, reduced.summary, reduced.stops, reduced.traces, method)
    return as_read(found)


def drift_verdict(reduced: Reduced, *, pooled: Repeatability | None = None) -> TestDrift:
    """Whether friction changed at matched conditions, since when, by how much and by what (docs/drift.md).

    pooled: the compound's scatter, `compound(...).repeatability` of a run's results. A run judges every test by it;
    without it a cautious default stands in, which finds less. Raises InputError for a test of which not all recordings
    were read.
    """
    _refuse_part(reduced.test, "drift is a matter of the order and the pauses of all stops")
    noise = None if pooled is None else scatter_of(pooled)
    found = drift.of_tables(reduced.stops, reduced.excluded, _as_staged(reduced.method, "drift"), noise)
    return as_read(renewed(found, test=reduced.test.name))


def _refuse_part(test: Test, why: str) -> None:
    if not test.whole:
        raise InputError(f"{test.name}: only some of its recordings were read, and {why}; read the test without `only`")


def _as_staged(method: Method, stage: str) -> Method:
    """The method as the stage gets it from the workflow."""
    return from_stage_settings(settings_of(method, stage))
