"""A whole test reduced: survey, corrections, schedule, then every stop with them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import polars as pl

from pipeline.archive.card import Card, full_scales
from pipeline.archive.rigs import Calibration
from pipeline.conditioning.calibrations import true_scales
from pipeline.conditioning.channels_file import ChannelsFile
from pipeline.conditioning.conditioned import ConditionedStop, ConditionedTest, condition
from pipeline.conditioning.looks import Look, first_look
from pipeline.conditioning.survey import Braking
from pipeline.errors import InputError
from pipeline.findings import RANK, Finding, Severity, finding
from pipeline.method import Method
from pipeline.results.model import renewed
from pipeline.results.record import Record, Recording
from pipeline.stops.alignment import Alignment
from pipeline.stops.calibrated import budget_rows, listed, with_calibrations
from pipeline.stops.clock import idle_times, runs_through
from pipeline.stops.facts import gains_of, setup_of, temperature_limit
from pipeline.stops.faults.gross_slips import gross_slips
from pipeline.stops.faults.table import schedule_levels, table_shows
from pipeline.stops.faults.units import apart_findings, without_consequences
from pipeline.stops.further_channels import further_channels, with_course
from pipeline.stops.reduction import Friction, Setup
from pipeline.stops.result import Result
from pipeline.stops.rows import Context, Reduced, friction_within, placed_at, reduced
from pipeline.stops.schedule import Entry, block_of, expanded, placed, schedule_findings
from pipeline.stops.summary import findings_of_test, summary_of
from pipeline.vocabulary import STOPS, TRACES, conform
from pipeline.wording import counted

WRONG_AS_A_WHOLE = ("recording_repeated", "recording_cut", "torque_sign_odd")
APART = "not reduced"
VACUUM_PA = 1.5e5  # an atmosphere, and half of one for a zero that is off


@dataclass(frozen=True)
class Prepared:
    """A test before its stops are reduced one by one."""

    test: ConditionedTest
    recordings: Sequence[Recording]  # without copies
    entries: Sequence[Entry]
    alignment: Alignment
    context: Context
    stated: dict[str, bool]  # which accuracies the card gives
    levels: pl.DataFrame
    apart: list[Finding]


def prepared(
    card: Card, method: Method, channels: Path, ingest: Record, calibrations: Sequence[Calibration] = ()
) -> Prepared:
    """Brakings, corrections and places in the schedule of a test; arguments and errors as of `reduce_test`."""
    recordings = [r for r in ingest.recordings if r.duplicate_of is None]
    file = ChannelsFile(channels)
    if recordings:
        refuse_negative_pressure(file)
    one = card.recordings.holds == "stop"
    rests, looks = first_look(file, one_per_recording=one) if recordings else ({}, [])
    levels = schedule_levels(card)
    setup = setup_of(card, method.reduction)
    apart, why_apart, slow = set_apart(card, setup, levels, looks, recordings)
    rests = {number: rest for number, rest in rests.items() if number not in why_apart}
    wanted = {r.recording for r in recordings} - set(why_apart)
    scales = true_scales(full_scales(card), calibrations)
    test = condition(card, method, file, rests, wanted=wanted, full_scales=scales, speed_factor=slow)
    entries = entries_of(recordings, test.brakings, one=one, apart=why_apart)
    if not entries:
        raise InputError("no recording of this test holds a brake application")
    alignment = placed(entries, card, test.found.corrections.sign)
    context, stated = _context(test, method, setup, calibrations)
    return Prepared(test, recordings, entries, alignment, context, stated, levels, apart)


def conditioned_stop(prepared: Prepared, stop: int) -> tuple[ConditionedStop, Friction | None]:
    """One stop's samples with all corrections, and its mu and window; None where it has no time base.

    stop: its number in the table. Raises InputError where the table has no such stop or that has no braking.
    """
    entries, card = prepared.entries, prepared.test.card
    if not 1 <= stop <= len(entries):
        raise InputError(
            f"there is no stop {stop}; the test has {counted(len(entries), 'brake application')}, numbered from 1"
        )
    wanted = entries[stop - 1].braking
    if wanted is None:
        raise InputError(f"stop {stop}: {entries[stop - 1].why}")
    index = next(i for i, braking in enumerate(prepared.test.brakings) if braking is wanted)
    block = block_of(prepared.alignment.stops.row(stop - 1, named=True), card, expanded(card))
    found = prepared.test.stop(index, block)
    return found, friction_within(prepared.context, found)


def reduce_test(
    card: Card, method: Method, channels: Path, ingest: Record, calibrations: Sequence[Calibration] = ()
) -> Result:
    """Stops, traces, summary and findings of a test from its channels file and ingest record.

    calibrations: those that the channels are corrected by already.
    Raises InputError where nothing of the test can be used.
    """
    p = prepared(card, method, channels, ingest, calibrations)
    test, entries, alignment, context = p.test, p.entries, p.alignment, p.context
    results = _reduced(context, test, entries, alignment)
    findings = [
        *p.apart,
        *findings_of_test(test, entries, method),
        *schedule_findings(alignment, entries),
        *(f for result in results for f in result.findings),
    ]
    stops = _stops(entries, alignment, results, p.recordings, card)
    shown = table_shows(stops, test, method, context.setup, p.levels, alignment, p.recordings)
    traces = _traces(results)
    uses, of_further = further_channels(card, test.channels, stops, traces)
    findings = [*without_consequences([*findings, *shown.findings], stops.height), *shown.of_other_temperatures]
    findings += of_further
    stops = with_status(stops, [*findings, *of_recordings(ingest, entries)])
    uses = with_course(uses, card, stops, traces)
    summary = summary_of(test, stops, context, p.stated, alignment, method)
    own = {"calibrations": listed(calibrations), "budget": [*summary.budget, *budget_rows(calibrations)]}
    return Result(stops, traces, renewed(summary, units=shown.units, channels=uses, **own), findings)


def refuse_negative_pressure(file: ChannelsFile) -> None:
    """Raises InputError where the pressure goes below any vacuum in braking: it counts the other way.

    A line pressure above the hall's cannot fall by more than one atmosphere below it.
    """
    level = pl.col("pressure").fill_nan(None)
    lowest = file.scan(["pressure"]).select(pl.col("pressure").min()).collect().item()
    if lowest is None or not lowest < -VACUUM_PA:
        return
    low, high = file.scan(["pressure"]).select(low=level.quantile(0.02), high=level.quantile(0.98)).collect().row(0)
    if low is not None and low < -VACUUM_PA and -low > 2 * abs(high):
        raise InputError(
            f"pressure goes down to {low / 1e5:.1f} bar in braking and not up: it counts the other way; correct the "
            "channel's "
            "sign in the rig's export"
        )


def set_apart(
    card: Card, setup: Setup, levels: pl.DataFrame, looks: Sequence[Look], recordings: Sequence[Recording]
) -> tuple[list[Finding], dict[int, str], float]:
    """Findings of recordings in a grossly wrong unit, the reason for each of them, and the factor of a whole test's
    speeds (1 where they are as stated). Raises InputError where the whole test's time is in another unit."""
    found = gross_slips(looks, card, setup, levels)
    for slip in found:
        if slip.channel == "time" and slip.whole:
            raise InputError(
                f"time is in {slip.slip.actual} labelled {slip.slip.labelled}: read {slip.slip.factor:.4g} times "
                "the true "
                "values, by the work at the brake and the energy of the shaft. Correct recordings.channels.time in "
                "test.yaml"
            )
    slow = next((slip.slip.factor for slip in found if slip.channel == "speed" and slip.whole), 1.0)
    if card.recordings.holds != "stop":
        return [], {}, slow
    files = {r.recording: r.file for r in recordings}
    return *apart_findings(found, [look.recording for look in looks], files, len(looks)), slow


def entries_of(
    recordings: Sequence[Recording],
    brakings: Sequence[Braking],
    *,
    one: bool,
    apart: Mapping[int, str] | None = None,
) -> list[Entry]:
    """Every brake application as run, unreadable recordings, those set `apart` (recording -> why) and one-stop files
    without a braking among them."""
    by_recording: dict[int, list[Braking]] = {}
    for braking in brakings:
        by_recording.setdefault(braking.recording, []).append(braking)
    entries = []
    for recording in recordings:
        number, file = recording.recording, recording.file
        own = by_recording.get(number, [])
        entries += [Entry(number, file, braking) for braking in own]
        if apart and number in apart:
            entries.append(Entry(number, file, None, f"{APART}: {apart[number]}", "unit_slip"))
        elif not own and recording.error:
            why = f"{file} cannot be read: {recording.error}"
            entries.append(Entry(number, file, None, why, "recording_unreadable"))
        elif not own and one and (back := _goes_back(recording)):
            entries.append(Entry(number, file, None, back, "time_backwards"))
        elif not own and one:
            entries.append(Entry(number, file, None, "pressure never passes the on-threshold with the shaft turning"))
    return entries


def _goes_back(recording: Recording) -> str | None:
    """In words that the recording ends before it begins: then no braking is found in it, whatever the pressure does."""
    first, last = recording.first_time, recording.last_time
    if first is None or last is None or last >= first:
        return None
    return f"time goes back in {recording.file}, from {first:.3f} to {last:.3f} s"


def of_recordings(ingest: Record, entries: Sequence[Entry]) -> list[Finding]:
    """What ingest found wrong with whole recordings, as it bears on their stops; of a recording cut short, the last
    one.

    The ingest record keeps the findings themselves.
    """
    found = []
    for f in ingest.findings:
        if f.code == "unit_disagrees":
            files = f.evidence.get("files")
            held = [number for number, entry in enumerate(entries, start=1) if files is None or entry.file in files]
            found += [finding(f.code, f.message, stop=n, file=entries[n - 1].file, channel=f.channel) for n in held]
        elif f.code in WRONG_AS_A_WHOLE:
            held = [number for number, entry in enumerate(entries, start=1) if entry.file == f.file]
            held = held[-1:] if f.code == "recording_cut" else held
            found += [finding(f.code, f.message, stop=number, file=f.file) for number in held]
    return found


def _context(
    test: ConditionedTest, method: Method, setup: Setup, calibrations: Sequence[Calibration]
) -> tuple[Context, dict[str, bool]]:
    torque = max((abs(b.torque_plateau) for b in test.brakings if np.isfinite(b.torque_plateau)), default=0.0)
    pressure = max((b.plateau for b in test.brakings if np.isfinite(b.plateau)), default=0.0)
    gains, stated = gains_of(test.card, method.reduction, setup, torque=torque, pressure=pressure)
    gains = with_calibrations(gains, calibrations)
    context = Context(setup, test.found.corrections, gains, method.reduction, temperature_limit(test.card))
    return context, stated


def _reduced(context: Context, test: ConditionedTest, entries: Sequence[Entry], alignment: Alignment) -> list[Reduced]:
    """The result of each entry."""
    order, labels = expanded(test.card), alignment.stops.to_dicts()
    place_of = {(e.recording, e.braking.start): i for i, e in enumerate(entries) if e.braking is not None}
    places = [place_of[b.recording, b.start] for b in test.brakings]
    results = [None if entry.braking is not None else _without_braking(i + 1, entry) for i, entry in enumerate(entries)]
    for stop in test.stops([block_of(labels[place], test.card, order) for place in places]):
        place, result = places[stop.index], reduced(context, stop)
        at = placed_at(result.findings, place + 1, entries[place].file)
        results[place] = Reduced(result.row, result.trace, at)
    return [result or _without_braking(i + 1, entries[i]) for i, result in enumerate(results)]


def _without_braking(stop: int, entry: Entry) -> Reduced:
    severity: Severity | None = "rejected" if entry.code == "unit_slip" else None
    text = f"stop {stop}: {entry.why or ''}"
    return Reduced({}, {}, [finding(entry.code, text, severity=severity, stop=stop, file=entry.file)])


def _stops(
    entries: Sequence[Entry],
    alignment: Alignment,
    results: Sequence[Reduced],
    recordings: Sequence[Recording],
    card: Card,
) -> pl.DataFrame:
    rows = []
    for i, (entry, label, result) in enumerate(
        zip(entries, alignment.stops.iter_rows(named=True), results, strict=True)
    ):
        head = {"stop": i + 1, "file": entry.file, "recording": entry.recording}
        head |= {name: label[name] for name in ("block", "purpose", "schedule_row", "run_number")}
        rows.append(head | {"kind": label["kind"]} | result.row)
    # Not-a-number and infinite figures become null: the table never holds them.
    figures = pl.selectors.float()
    frame = pl.DataFrame(rows, infer_schema_length=None).with_columns(pl.when(figures.is_finite()).then(figures))
    through = runs_through([r.first_time for r in recordings], [r.last_time for r in recordings])
    frame = conform(frame, STOPS)
    pauses = {b.name: b.pause_before for b in card.blocks if b.pause_before is not None}
    idle = idle_times(
        frame["start_s"].to_list(),
        frame["end_s"].to_list(),
        frame["recording"].to_list(),
        frame["block"].to_list(),
        pauses,
        through=through,
    )
    return frame.with_columns(idle_before_s=pl.Series(idle, dtype=pl.Float64))


def _traces(results: Sequence[Reduced]) -> pl.DataFrame:
    parts = {i: r.trace for i, r in enumerate(results, start=1) if r.trace and r.trace["time_s"].size}
    if not parts:
        return conform(pl.DataFrame(), TRACES)
    columns = {name: np.concatenate([part[name] for part in parts.values()]) for name in next(iter(parts.values()))}
    stop = np.repeat(list(parts), [part["time_s"].size for part in parts.values()])
    return conform(pl.DataFrame({"stop": stop} | columns), TRACES)


NULL_WHEN_REJECTED = (
    "mu",
    "mu_u",
    "mu_bite",
    "mu_start",
    "mu_end",
    "mu_min",
    "mu_max",
    "mu_time",
    "mu_distance",
    "mu_energy",
    "mu_rise",
    "mu_u_stop",
    "mu_u_common",
)


def with_status(stops: pl.DataFrame, findings: Sequence[Finding]) -> pl.DataFrame:
    """Status and codes of each stop from its findings; a rejected stop's friction figures are null, its energy is
    kept.
    """
    worst: dict[int, str] = {}
    codes: dict[int, list[str]] = {}
    for f in findings:
        if f.stop is None:
            continue
        if RANK[f.severity] >= RANK[worst.get(f.stop, "info")]:
            worst[f.stop] = f.severity
        if f.code not in codes.setdefault(f.stop, []):
            codes[f.stop].append(f.code)
    numbers = stops["stop"].to_list()
    status = ["ok" if worst.get(n, "info") == "info" else worst[n] for n in numbers]
    frame = stops.with_columns(
        status=pl.Series(status, dtype=pl.String),
        findings=pl.Series([codes.get(n, []) for n in numbers], dtype=pl.List(pl.String)),
    )
    rejected = pl.col("status") == "rejected"
    return frame.with_columns(pl.when(~rejected).then(pl.col(name)).alias(name) for name in NULL_WHEN_REJECTED)
