"""What is wrong with one test: its card, its recordings' heads, the brakings found in them, its wear readings."""

from __future__ import annotations

import datetime
import difflib
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal, NamedTuple

from pipeline.archive.card import CHANNELS, Card
from pipeline.archive.plausible import unusual
from pipeline.archive.scan import printable
from pipeline.errors import Complaint, InputError
from pipeline.inputs.yaml_text import line_of, text_of
from pipeline.method import Method
from pipeline.recordings.limits import TooMuch
from pipeline.wording import counted as number
from pipeline.workspace.counted import Counted

CARD = "test.yaml"
MOST_DAMAGED = 3  # recordings that lost much, by name
NEAR_NAME = 0.85  # likeness of a further channel's name from which a known one may be meant
Level = Literal["unusable", "left_out", "odd"]
# key of an unusual fact: what is accepted of it, what shows it
SOUND_FACTS = {
    "date": ("1960 to today", "the rig's log"),
    "sensors": ("what sensors have", "data sheet and certificate"),
}
RANK = {"odd": 0, "left_out": 1, "unusable": 2}


class Problem(NamedTuple):
    """One thing that is wrong. level: unusable (the test gives no result), left_out (a file is not used), odd."""

    where: str
    level: Level
    complaint: Complaint

    @property
    def message(self) -> str:
        """The complaint, without a file that `where` names already."""
        named = self.complaint.file == self.where.rpartition("/")[2]
        return self.complaint.words if named else str(self.complaint)


@dataclass(frozen=True)
class TestLook:
    """What a test holds. heads: recordings whose heads were looked at; counted: those that were read through, with `found` brakings
    in them; scheduled: stops of its blocks; channels: as the card names them.
    """

    __test__ = False  # not a test class, whatever its name says to a test collector

    test: str
    recordings: int = 0
    heads: int = 0
    counted: int = 0
    found: int | None = None
    scheduled: int | None = None
    channels: tuple[str, ...] = ()
    problems: tuple[Problem, ...] = ()

    @property
    def worst(self) -> Problem | None:
        return max(self.problems, key=lambda one: RANK[one.level], default=None)


@dataclass(frozen=True)
class Budget:
    """How much of a test is looked at. heads, whole: whether all recordings' heads, all recordings; else the first and some between,
    `few` in all. methods: by whose settings a run would go.
    """

    few: int = 3
    heads: bool = True
    whole: bool = True
    methods: tuple[Method, ...] = (Method(),)


def complaints_of(error: InputError, file: str, folder: Path | None = None) -> list[Complaint]:
    """The parts of an error; of one that is words alone what was found. In the card of `folder`, keys get their lines."""
    if not error.complaints:
        mend = "correct it in test.yaml" if file == CARD else "correct it, or export the file again"
        return [Complaint(file, str(error).removeprefix(f"{file}: "), "what docs/ says of such a file", mend)]
    found = [one if one.file else replace(one, file=file) for one in error.complaints]
    return [_with_line(one, folder) for one in found] if folder is not None else found


def looked(folder: Path, card: Card, paths: list[Path], look: TestLook, budget: Budget) -> TestLook:
    """Everything of one test whose card can be read. paths: its recordings' files."""
    odd = [*_odd_card(card), *_excluded(card, len(paths))]
    problems = [Problem(folder.name, level, _with_line(one, folder)) for level, one in odd]
    chosen = paths if budget.heads else _spread(paths, budget.few)
    look = replace(look, recordings=len(paths), heads=len(chosen))
    try:
        sound, of_heads = _of_heads(folder, card, chosen, paths)
        problems += of_heads
        if sound and card.recordings.holds != "summary":
            look, of_brakings = _of_brakings(folder, card, look, sound, budget)
            told = {one.where for one in problems}
            problems += [one for one in of_brakings if one.where == folder.name or one.where not in told]
    except TooMuch as error:  # one such recording makes a run refuse the test
        words = Complaint(CARD, str(error), "what a run reads of one test", "divide the test, or export it again")
        problems.append(Problem(folder.name, "unusable", words))
    problems += _wear(folder, card)
    return replace(look, problems=tuple(problems))


def _odd_card(card: Card) -> Iterator[tuple[Level, Complaint]]:
    for key, what in unusual(card, datetime.date.today()):
        accepted, witness = SOUND_FACTS.get(key.split(".")[0], ("what brakes have", "drawing and certificate"))
        yield "odd", Complaint(CARD, what, accepted, f"check it against {witness}; it is used as it is", key=key)
    first: dict[str, int] = {}
    for at, block in enumerate(card.blocks, start=1):
        if first.setdefault(block.name, at) != at:
            words = f"{block.name!r} is the name of block {first[block.name]} too"
            mend = f"write another where the blocks are not one, such as {block.name} ({at})"
            yield (
                "odd",
                Complaint(CARD, words, "a name of its own for each block", mend, key=f"blocks.{at - 1}.name"),
            )
    for name in card.recordings.channels:
        near = difflib.get_close_matches(name, CHANNELS, n=1, cutoff=NEAR_NAME)
        if near and name not in CHANNELS and card.recordings.holds != "summary":
            words, mend = "is kept as a channel of its own", f"write {near[0]} if that is meant"
            accepted = f"nearest known channel: {near[0]}"
            yield "odd", Complaint(CARD, words, accepted, mend, key=f"recordings.channels.{name}")


def _excluded(card: Card, recordings: int) -> Iterator[tuple[Level, Complaint]]:
    """Stops that the card excludes and the test cannot have, as far as the recordings' number tells."""
    planned = sum(block.stops for block in card.blocks)
    one = card.recordings.holds == "stop" and card.recordings.part is None
    for entry, exclusion in enumerate(card.exclude):
        key, last = f"exclude.{entry}.stops", max(exclusion.stops)
        if one and last > recordings:
            said = f"stop {last} does not exist: the card says one stop a recording, and the test has {number(recordings, 'recording')}"
            yield "unusable", Complaint(CARD, said, f"stops 1 to {recordings}", "correct the number", key=key)
        elif not one and last > planned * 1.2 + 5:
            said = f"stop {last}: the schedule has {number(planned, 'stop')}"
            yield "odd", Complaint(CARD, said, f"stops 1 to {planned}", "correct the number", key=key)


def _with_line(complaint: Complaint, folder: Path) -> Complaint:
    """The complaint with the line of its key in the card; entries of lists counted from 1."""
    if complaint.file != CARD or complaint.line is not None:
        return complaint
    place = tuple(int(part) if part.isdigit() else part for part in complaint.key.split(".") if part)
    shown = ".".join(f"entry {part + 1}" if isinstance(part, int) else part for part in place)
    try:
        return replace(complaint, line=line_of(text_of(folder / CARD), place), key=shown)
    except InputError:
        return complaint


def _spread(files: list[Path], count: int) -> list[Path]:
    """First, last and some between."""
    if len(files) <= count:
        return files
    return [files[round(i * (len(files) - 1) / max(count - 1, 1))] for i in range(count)]


def _of_heads(folder: Path, card: Card, chosen: list[Path], paths: list[Path]) -> tuple[list[Path], list[Problem]]:
    """Files whose heads can be read, and what is wrong with the chosen ones. Where none of these can, the others are looked at:
    one that can be read makes a test. Raises TooMuch for one that holds more than is read.
    """
    from pipeline.recordings.files import shown
    from pipeline.recordings.heads import looked_at

    failed: list[tuple[str, InputError]] = []
    sound: list[Path] = []
    units: dict[str, str] = {}
    for path in [*chosen, *(path for path in paths if path not in chosen)] if len(chosen) < len(paths) else chosen:
        if sound and len(sound) + len(failed) >= len(chosen):
            break
        try:
            units.update(looked_at(path, folder, card))
            sound.append(path)
        except TooMuch as error:
            raise TooMuch(f"{shown(path, folder)}: {error}") from error
        except InputError as error:
            failed.append((shown(path, folder), error))
    if not sound:
        name, first = failed[0]
        said = complaints_of(first, name)
        return [], [
            Problem(folder.name, "unusable", replace(one, found=f"none of its recordings can be read; {one.found}"))
            for one in said
        ]
    problems = [
        Problem(f"{folder.name}/{name}", "left_out", one)
        for name, why in failed
        for one in complaints_of(why, name.rpartition("/")[2])
    ]
    for channel, unit in units.items():
        stated = card.recordings.channels[channel].unit
        words, key = (
            f"{channel}: the recordings say {unit!r}, test.yaml says {stated!r}",
            f"recordings.channels.{channel}",
        )
        said_ = Complaint(CARD, words, f"the recordings' own unit: {unit}", "correct the one that is wrong", key=key)
        problems.append(Problem(folder.name, "odd", _with_line(said_, folder)))
    return sound, problems


def _of_brakings(
    folder: Path, card: Card, look: TestLook, paths: list[Path], budget: Budget
) -> tuple[TestLook, list[Problem]]:
    """The brakings found in the recordings, and what they say of the card."""
    from pipeline.recordings.places import places
    from pipeline.workspace.counted import counted
    from pipeline.workspace.counted_against import complaints

    chosen = places(paths if budget.whole else _spread(paths, budget.few), folder, card.recordings)
    chosen = chosen if budget.whole else chosen[: budget.few]
    result = counted(folder, card, chosen, budget.methods[0].segmentation)
    recordings = look.recordings if card.recordings.part is None or not budget.whole else len(chosen)
    problems = [
        Problem(f"{folder.name}/{name}", "left_out", one)
        for name, error in result.failed
        for one in complaints_of(error, name.rpartition("/")[2])
    ]
    problems += _damaged(folder, result)
    odd = [_with_line(one, folder) for one in complaints(card, result, recordings)]
    problems += [Problem(folder.name, "odd", one) for one in odd]
    if not result.found or result.doubtful or any(one.key != "blocks" for one in odd):
        problems += [Problem(folder.name, "unusable", one) for one in refused_by_run(folder, card, budget.methods)]
    found = replace(look, recordings=recordings, counted=len(result.by_recording), found=result.found)
    return found, problems


def _damaged(folder: Path, result: Counted) -> list[Problem]:
    """The recordings that lost much, the first few by name."""
    said = [replace(one, file=name.rpartition("/")[2]) for name, one in result.damaged]
    shown = [
        Problem(f"{folder.name}/{name}", "odd", one)
        for (name, _), one in zip(result.damaged[:MOST_DAMAGED], said[:MOST_DAMAGED], strict=True)
    ]
    if (more := len(said) - len(shown)) > 0:
        words = f"{more} more like these, in other recordings or channels"
        shown.append(Problem(folder.name, "odd", Complaint("", words, mend="correct the first ones and check again")))
    return shown


def refused_by_run(folder: Path, card: Card, methods: Sequence[Method]) -> list[Complaint]:
    """Why a run would refuse the test, by its own functions: all recordings are read and the first of its passes made."""
    from pipeline.recordings import stage
    from pipeline.results.model import read
    from pipeline.results.record import Record
    from pipeline.stops.reduce import prepared

    with tempfile.TemporaryDirectory(prefix="stopsheet-") as room:
        channels, record = Path(room) / "channels.parquet", Path(room) / "channels.json"
        stage.run(folder, channels, record)
        ingest = read(record, Record)
        if ingest.unusable is not None:
            return [_of_run(ingest.unusable)]
        try:
            for method in methods:
                prepared(card, method, channels, ingest)
        except InputError as error:
            return [_of_run(str(error))]
    return []


def _of_run(why: str) -> Complaint:
    return Complaint(
        CARD, why, "recordings in which a run finds brakings", "correct what it names, or the units and columns"
    )


def _wear(folder: Path, card: Card) -> Iterator[Problem]:
    if card.wear is None:
        if (folder / "wear.csv").exists():
            words = "wear.csv is there, but test.yaml does not name it"
            yield Problem(folder.name, "odd", Complaint(CARD, words, "wear: wear.csv", "write it", 1))
        return
    from pipeline.recordings.files import refuse_outside
    from pipeline.wear.dwells import placed
    from pipeline.wear.readings import read_wear

    path, name = folder / card.wear, printable(card.wear).rpartition("/")[2]
    where = f"{folder.name}/{printable(card.wear)}"
    try:
        refuse_outside(path, folder)
        readings, findings = read_wear(path)
    except InputError as error:
        for one in complaints_of(error, name):
            yield Problem(where, "left_out", replace(one, mend=f"{one.mend}; wear is not given"))
        return
    _, misplaced = placed(readings, card)
    for found in [*findings, *misplaced]:
        line = found.evidence.get("line")
        words = found.message.removeprefix(f"{name} line {line}: ")
        said = Complaint(name, words, "readings of the parts as they were", found.action, line)
        yield Problem(where, "odd", said)
    planned = sum(block.stops for block in card.blocks)
    last = readings["after_stop"].max() if readings.height else None
    if isinstance(last, int) and last > planned * 1.2 + 5:
        words = f"a reading after stop {last}, but the schedule has {number(planned, 'stop')}"
        line = int(readings.filter(readings["after_stop"] == last)["line"][0])
        mend = "correct after_stop, or the blocks"
        yield Problem(where, "odd", Complaint(name, words, f"0 to {planned}", mend, line))
