"""Many cards at once, from a table of tests: one row a test, columns named as the card's keys or as rigs name them."""

from __future__ import annotations

import re
import sys
from pathlib import Path

from pipeline.archive.scan import natural_key, printable, slugs
from pipeline.errors import InputError

SOME_LEFT = 3


def from_register(archive: Path, recordings: Path, how: str, schedule: Path | None, register: Path) -> int:
    """Make a test's folder for each row; the others go on where one cannot be made. 3 where some could not."""
    from pipeline.cli.new_test import made
    from pipeline.inspection.said import key_of, taken
    from pipeline.inspection.text_tables import rows_of

    names, rows = rows_of(register)
    keys = [key_of(name)[0] for name in names]
    if "recordings" not in keys:
        raise InputError(
            f"{printable(register.name)}: no column says where a test's recordings lie; call it recordings (paths below {printable(str(recordings))})"
        )
    unknown = [name for name, key in zip(names, keys, strict=True) if not key and name]
    if unknown:
        print(f"{printable(register.name)}: columns that are not used: {printable(', '.join(unknown))}")
    failed = 0
    taken_ids: set[str] = set()
    for line, cells in rows:
        good, unclear = taken(dict(zip(names, cells, strict=False)))
        place = good.pop("recordings", "")
        test = _id(good.pop("test", "") or Path(place).stem, taken_ids)
        try:
            if not place:
                raise InputError("its cell of recordings is empty")
            print(
                "\n".join(
                    made(
                        archive / test,
                        _inside(recordings, place),
                        how,
                        schedule,
                        good,
                        printable(register.name),
                        unclear,
                    )
                )
            )
        except InputError as error:
            failed += 1
            print(f"stopsheet: {printable(register.name)}: line {line}: {error}", file=sys.stderr)
    print(f"{len(rows) - failed} of {len(rows)} tests made in {printable(str(archive))}")
    return SOME_LEFT if failed else 0


def _id(text: str, taken_ids: set[str]) -> str:
    """The id of a test: as it stands where it is allowed, else its slug; a number behind it where it is there already."""
    name = text if re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9._-]*", text) else slugs([text])[text]
    number, base = 2, name
    while name.lower() in taken_ids:
        name, number = f"{base}-{number}", number + 1
    taken_ids.add(name.lower())
    return name


def _inside(root: Path, place: str) -> Path:
    """The recordings of a row, below the root."""
    path = root / place
    if not path.resolve().is_relative_to(root.resolve()):
        raise InputError(f"{place!r} leads out of {printable(str(root))}; write paths below it")
    if not path.exists():
        near = sorted((p.name for p in root.iterdir()), key=natural_key)[:6] if root.is_dir() else []
        raise InputError(
            f"{place!r} is not in {printable(str(root))}; there are {printable(', '.join(near)) or 'no files'}"
        )
    return path
