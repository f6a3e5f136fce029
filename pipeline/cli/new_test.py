"""`stopsheet new-test`: a test's folder from recordings: copied or linked, with a card of what was found and blanks for the rest."""

from __future__ import annotations

import os
import shutil
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.archive.scan import printable, refused_id
from pipeline.cli.bounds import read_within
from pipeline.errors import InputError
from pipeline.wording import counted

if TYPE_CHECKING:
    from pipeline.inspection.folders import Group

SCHEMAS = ".schemas"  # beside the tests; a hidden folder is none
CARD_SCHEMA = "test.schema.json"


def new_test(*, folder: Path, recordings: Path, how: str, schedule: Path | None, register: Path | None) -> int:
    """Make one test's folder, or with a register one for each of its rows; print what was made and what is left to fill in."""
    if how not in ("copy", "link"):
        raise InputError(f"--recordings {how!r}: copy or link")
    refused = read_within()
    if refused is not None:
        raise InputError(refused)
    if register is not None:
        from pipeline.cli.register import from_register

        return from_register(folder, recordings, how, schedule, register)
    print("\n".join(made(folder, recordings, how, schedule, {})))
    return 0


def made(
    folder: Path, recordings: Path, how: str, schedule: Path | None, told: Mapping[str, str], where: str = "the recordings", unclear: Mapping[str, str] | None = None
) -> list[str]:  # fmt: skip
    """Make the folder of one test; what to say of it. told: values of card keys that a table gave."""
    from pipeline.inputs.blanks import blanks
    from pipeline.inspection.new_card import card_text
    from pipeline.inspection.said import taken
    from pipeline.inspection.schedule_table import stops_in
    from pipeline.results import write_text

    _refuse_folder(folder)
    if not (recordings.is_dir() or recordings.is_file()):
        raise InputError(f"{printable(str(recordings))}: no such file or folder")
    group, odd = _recordings(recordings)
    look = group.look
    assert look is not None
    good, open_ = taken(look.table.layout.said if look.table.layout is not None else {})
    lines = _scheduled(schedule) if schedule is not None else None
    wear = recordings / "wear.csv"
    good |= {"wear": "wear.csv"} if wear.is_file() else {}
    there = folder.exists()
    try:
        files = _placed(group, folder, how)
        if wear.is_file():
            shutil.copy2(wear, folder / "wear.csv")
        text = card_text(
            look, group.brakings, group.holds, files, good={**good, **told}, unclear={**open_, **(unclear or {})},
            schema=f"../{SCHEMAS}/{CARD_SCHEMA}", schedule=lines, where=where,
        )  # fmt: skip
        _schema(folder.parent)
        write_text(folder / "test.yaml", text)
    except BaseException:  # nothing half-made is left
        shutil.rmtree(folder if not there else folder / "recordings", ignore_errors=True)
        raise
    empty = blanks(text)
    said = [
        f"{printable(str(folder))}: {counted(len(group.files), 'recording')} {'linked' if how == 'link' else 'copied'}, "
        f"{counted(len(group.brakings), 'braking')} found"
    ]
    said += odd
    if lines is not None and (wanted := stops_in(lines)) != len(group.brakings) and group.counted == len(group.files):
        said.append(f"  odd: the schedule has {counted(wanted, 'stop')}, {len(group.brakings)} were found")
    said += [f"  to fill in, line {one.line}: {one.key} ({one.hint})" for one in empty]
    guesses = sum("guessed" in line for line in text.splitlines()[2:])
    said += [f"  guessed: {counted(guesses, 'line')} of test.yaml, marked there; look at them"] if guesses else []
    return [*said, f"  then: stopsheet check {printable(str(folder))}"]


def _refuse_folder(folder: Path) -> None:
    why = refused_id(folder.resolve().name)
    if why:
        raise InputError(f"{printable(str(folder))}: the folder's name is the test's id and {why}")
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(
            f"{printable(str(folder))}: is there already and not empty; name a new folder (nothing was changed)"
        )


def _recordings(place: Path) -> tuple[Group, list[str]]:
    """The recordings of one form at a place, and what else lies there in words. Raises InputError where none can be read."""
    from pipeline.inspection.folders import Group, differs, gaps_in, looked_into
    from pipeline.inspection.look import look

    if place.is_file():
        try:
            found = look([place], [place.name])
        except InputError as error:
            raise InputError(f"{printable(place.name)}: {error}") from error
        return Group([place], found.table.form, found, "", found.brakings, 1), []
    groups = looked_into(place).groups
    main = next((group for group in groups if group.look is not None), None)
    if main is None:
        first = groups[0]
        raise InputError(
            f"{printable(str(place))}: nothing in it can be read; {printable(first.names[0])}: {first.why}"
        )
    odd = [
        f"  not taken: {', '.join(printable(name) for name in group.names[:5])}{', ...' if len(group.files) > 5 else ''}: {differs(group, main)}"
        for group in groups
        if group is not main
    ]
    if main.folders > 1:
        odd.insert(
            0,
            f"  the recordings lie in {counted(main.folders, 'folder')}: taken for one test, in the order of their paths",
        )
    odd += [f"  odd: {text}" for text in gaps_in(main.names)]
    return main, [
        *odd,
        *(f"  odd: {printable(name)} holds {counted(count, 'braking')}" for name, count in main.unlike[:10]),
    ]


def _placed(group: Group, folder: Path, how: str) -> str:
    """Put the recordings into the folder as they are; the pattern that matches them."""
    from pipeline.inspection.words import pattern_of

    target = folder / "recordings"
    target.mkdir(parents=True, exist_ok=True)
    for path, name in zip(group.files, group.names, strict=True):
        (target / name).parent.mkdir(parents=True, exist_ok=True)
        if how == "copy":
            shutil.copy2(path, target / name)
            continue
        try:
            os.link(path.resolve(), target / name)  # a symbolic link out of the test's folder is refused by a run
        except OSError as error:
            raise InputError(
                f"{printable(path.name)}: cannot be linked ({error.strerror}); use --recordings copy"
            ) from error
    return pattern_of(group)


def _scheduled(table: Path) -> list[str]:
    from pipeline.inspection.schedule_table import schedule_lines

    return schedule_lines(table)


def _schema(archive: Path) -> None:
    """The card's JSON Schema beside the tests, for editors."""
    from pipeline.results import write_text
    from pipeline.workspace.input_files import text

    write_text(archive / SCHEMAS / CARD_SCHEMA, text("test"))
