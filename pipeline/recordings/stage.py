"""Stage `channels`: a test's recordings -> one table of canonical channels, and a record of what was read.

Independent of any method. A recording that cannot be used keeps its place in the record with the reason;
the others go on.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Collection, Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline import faults
from pipeline.archive.card import Card, Recordings, load_card
from pipeline.errors import InputError
from pipeline.findings import finding
from pipeline.method.channels import REVISION
from pipeline.recordings import canonical, damage, files, kinds, limits, store, timestamps, torque_sign
from pipeline.recordings.chunk import Chunk, Damage
from pipeline.recordings.columns import split
from pipeline.recordings.identity import Identity, head, identity
from pipeline.recordings.kept import Kept
from pipeline.recordings.places import Place, places, reader
from pipeline.recordings.progress import Extent, Progress, Unusable
from pipeline.recordings.rates import on_torque_time
from pipeline.results.findings import recorded
from pipeline.results.model import renewed, stamp, write
from pipeline.results.record import Record, Recording


def run(
    test_folder: Path,
    channels_parquet: Path,
    channels_json: Path,
    *,
    refused: str | None = None,
    listed: Mapping[str, str] | None = None,
) -> None:
    """Write results/channels/<test>.parquet and .json; whatever the input, both are whole.

    refused: why the recordings are not to be read, where that is known already; listed: digests of the test's files as the
    run saw them.
    """
    found = read_recordings(test_folder, channels_parquet, refused=refused)
    write(channels_json, renewed(found, files=dict(listed or {})))


def read_recordings(
    test_folder: Path,
    channels_parquet: Path,
    *,
    refused: str | None = None,
    only: Collection[int | str] = (),
    kept: Kept | None = None,
) -> Record:
    """Write the table of channels, whole, and give the record of what was read; it says where nothing can be used.

    only: numbers or names of the recordings to read, all without any; InputError for one that the test has not.
    """
    progress, unusable, holds = Progress(), None, None
    try:
        card = _card(test_folder)
        holds = card.recordings.holds
        if refused is not None:
            raise limits.TooMuch(refused)
        if holds == "summary":
            if only:
                raise InputError(
                    "only a table of reduced rows was kept of this test: it has no recordings to choose from"
                )
            _write_summary(test_folder, card, channels_parquet, progress)
        else:
            _write_channels(test_folder, card, channels_parquet, progress, only, kept)
    except (Unusable, limits.TooMuch) as error:
        unusable = str(error)
        code = error.code if isinstance(error, Unusable) else "recordings_too_large"
        if not isinstance(error, Unusable):
            progress.findings.clear()
        progress.findings.append(finding(code, unusable))
        with store.channels_file(channels_parquet, list(canonical.FIRST)):
            pass
    return Record(
        test=test_folder.name,
        unusable=unusable,
        holds=holds,
        clock_from=progress.clock.counts_from,
        recordings=progress.recordings,
        findings=recorded(progress.findings),
        stamp=stamp("channels", REVISION, "", {"test.yaml": test_folder / "test.yaml"}),
    )


def _card(folder: Path) -> Card:
    try:
        return load_card(folder)
    except InputError as error:
        raise Unusable("card_invalid", str(error)) from error


def _write_summary(folder: Path, card: Card, output: Path, progress: Progress) -> None:
    from pipeline.recordings.summary import write_summary

    try:
        progress.findings += write_summary(folder, card, output, progress.recordings)
    except limits.TooMuch:
        raise
    except InputError as error:
        raise Unusable("no_recordings", str(error)) from error


def _write_channels(
    folder: Path, card: Card, output: Path, progress: Progress, only: Collection[int | str], kept: Kept | None
) -> None:
    try:
        columns = canonical.names(card.recordings.channels)
        units = canonical.conversions(card.recordings.channels, card.rolling_radius)
        paths = files.recording_files(folder, card.recordings.files, besides=(card.wear,) if card.wear else ())
        read = reader(card.recordings.format)
        read = partial(kept.read, read) if kept is not None else read
        found = places(paths, folder, card.recordings)
    except InputError as error:
        raise Unusable("no_recordings", str(error)) from error
    chosen = _chosen(list(enumerate(found, start=1)), folder, only)
    rows = 0
    with store.channels_file(output, columns) as append:
        for number, place in chosen:
            name = place.name(folder)

            def chunks(place: Place = place, number: int = number, name: str = name) -> Iterator[Chunk]:
                files.refuse_outside(place.path, folder)
                limits.alive(name)
                for chunk in on_torque_time(progress.clock.seconds(number, read(place, card.recordings))):
                    limits.alive(name)
                    yield canonical.in_si(chunk, columns, units)

            told = partial(kinds.told, path=place.path, folder=folder, form=card.recordings.format)
            progress.recordings.append(_ingested(number, name, place.path, chunks, append, progress, told))
            rows += progress.recordings[-1].rows
            limits.refuse_rows(rows, "the recordings hold {} rows or more")
    _settle_torque_sign(progress, output)
    progress.findings += timestamps.findings_of(progress.clock, progress.recordings)
    _report_units(progress, card.recordings)
    errors = [one for one in progress.recordings if one.error]
    if len(errors) == len(chosen):
        raise Unusable(
            "no_recordings", f"none of {len(chosen)} recordings can be read; {errors[0].file}: {errors[0].error}"
        )


def _chosen(found: list[tuple[int, Place]], folder: Path, only: Collection[int | str]) -> list[tuple[int, Place]]:
    """Those of the recordings that are asked for, by number, by name in the test's folder or by the file's own name."""
    if not only:
        return found
    called = {number: {number, name := place.name(folder), name.rsplit("/", 1)[-1]} for number, place in found}
    for one in only:
        if not any(one in names for names in called.values()):
            last = found[-1][1].name(folder)
            raise InputError(
                f"no recording {one!r}; the test has {len(found)}, numbered from 1, {found[0][1].name(folder)} to {last}"
            )
    return [(number, place) for number, place in found if called[number] & set(only)]


def _ingested(
    number: int,
    name: str,
    path: Path,
    chunks: Callable[[], Iterator[Chunk]],
    append: store.Append,
    progress: Progress,
    told: Callable[[InputError], InputError],
) -> Recording:
    """Read one recording, append its samples, and give its entry in the record. told: adds to an error what the file is."""
    extent = Extent()
    notes: list[Damage] = []
    said: dict[str, str] = {}
    try:
        source = _checked(chunks(), notes, said)
        first = list(itertools.islice(source, 2))
        rows = sum(frame.height for frame in first)
        limits.refuse_few_rows(rows)
        start = head(first[0])
        if start in progress.heads:
            # Read twice only when the first rows equal an earlier recording's: a copy must not reach the
            # table.
            known = identity(chunk.rows for chunk in chunks())
            if known.digest in progress.digests:
                return _duplicate(number, name, known, progress)
        progress.heads.add(start)
        known = identity(_appended(number, name, extent, itertools.chain(first, source), append, progress))
    except limits.TooMuch as error:
        raise limits.TooMuch(f"{name}: {error}") from error
    except InputError as error:
        faults.refuse(error, path)
        return _failed(number, name, extent, str(told(error)), progress)
    for channel, unit in said.items():
        progress.units.setdefault((channel, unit), []).append(name)
    _note_repeat(name, known, progress)
    progress.digests[known.digest] = name
    progress.findings += damage.findings_of(name, damage.summed(notes), extent.rows)
    return _entry(number, name, extent, digest=known.digest)


def _entry(number: int, name: str, extent: Extent, *, digest: str | None = None, error: str | None = None) -> Recording:
    return Recording(
        recording=number,
        file=name,
        rows=extent.rows,
        digest=digest,
        first_time=extent.first_time,
        last_time=extent.last_time,
        error=error,
    )


def _checked(chunks: Iterator[Chunk], notes: list[Damage], units: dict[str, str]) -> Iterator[pl.DataFrame]:
    """The chunks' rows; their damage goes to `notes`, and a wreck is refused before its rows are given
    out."""
    rows = 0
    for chunk in chunks:
        rows += chunk.rows.height
        limits.refuse_rows(rows, "holds {} rows or more")
        notes += chunk.damage
        units.update(chunk.units)
        damage.refuse_wreck(damage.summed(notes), rows)
        if chunk.rows.height:
            yield chunk.rows


def _appended(
    number: int, name: str, extent: Extent, frames: Iterator[pl.DataFrame], append: store.Append, progress: Progress
) -> Iterator[pl.DataFrame]:
    """Pass the frames on, appending each to the table and keeping the recording's extent up to date."""
    sums = np.zeros(6)
    for frame in frames:
        append(number, frame)
        sums += torque_sign.moments(frame)
        extent.first_time = frame["time"][0] if extent.first_time is None else extent.first_time
        extent.last_time = frame["time"][-1]
        extent.rows += frame.height
        yield frame
    progress.correlations[name] = torque_sign.correlation(sums)


def _duplicate(number: int, name: str, known: Identity, progress: Progress) -> Recording:
    earlier = progress.digests[known.digest]
    progress.findings.append(
        finding(
            "recording_duplicate",
            f"{name} repeats {earlier} sample for sample; it is left out and has no stop number",
            file=name,
            evidence={"duplicate_of": earlier, "digest": known.digest},
        )
    )
    return Recording(recording=number, file=name, rows=0, digest=known.digest, duplicate_of=earlier)


def _note_repeat(name: str, known: Identity, progress: Progress) -> None:
    """A finding where all samples but the times equal an earlier recording's: no rig does the same stop
    twice."""
    if known.values is None:
        return
    earlier = progress.values.setdefault(known.values, name)
    if earlier != name:
        progress.findings.append(
            finding(
                "recording_repeated",
                f"{name} has the samples of {earlier} under other times",
                file=name,
                evidence={"same_as": earlier},
            )
        )


def _failed(number: int, name: str, extent: Extent, why: str, progress: Progress) -> Recording:
    """The entry of a recording that cannot be read, or not to its end: then what was read stays, with a
    finding."""
    if extent.rows:
        message = f"{name}: only the first {extent.rows} rows can be read: {why}"
        progress.findings.append(finding("recording_cut", message, file=name, evidence={"rows": extent.rows}))
        return _entry(number, name, extent)
    progress.findings.append(finding("recording_unreadable", f"{name}: {why}", file=name))
    return _entry(number, name, extent, error=why)


def _settle_torque_sign(progress: Progress, output: Path) -> None:
    turned, odd = torque_sign.against(progress.correlations)
    if turned:
        store.turn_torque(output)
        progress.findings.append(
            finding(
                "torque_turned",
                "torque is negative in braking throughout the test; it is turned round",
                channel="torque",
                evidence={"recordings": len(progress.correlations), "against": len(progress.correlations) - len(odd)},
            )
        )
    for file in odd:
        progress.findings.append(
            finding(
                "torque_sign_odd",
                f"{file}: torque points the other way than in the rest of the test",
                file=file,
                channel="torque",
                evidence={"correlation_with_pressure": progress.correlations[file]},
            )
        )


def _report_units(progress: Progress, recordings: Recordings) -> None:
    """A finding for each channel and unit by which files contradict the card, with the files where it is not all of
    them.
    """
    channels = recordings.channels
    read = set(progress.digests.values())
    named = {(name, unit): list(read) for name, c in channels.items() if (unit := split(c.column)[1])}
    for (name, text), files_saying in (named | progress.units).items():
        if name not in canonical.disagreeing_units({name: text}, channels):
            continue
        stated, all_say = channels[name].unit, len(files_saying) >= len(read)
        where = "the recordings say" if all_say else f"{len(files_saying)} of {len(read)} recordings say"
        evidence: dict[str, Any] = {"recordings": text, "card": stated}
        progress.findings.append(
            finding(
                "unit_disagrees",
                f"{name}: {where} {text!r}, test.yaml says {stated!r}; the card's unit is used, no stop of them is "
                "used unasked",
                channel=name,
                file=files_saying[0] if len(files_saying) == 1 and not all_say else None,
                evidence=evidence if all_say else evidence | {"files": sorted(files_saying)},
            )
        )
