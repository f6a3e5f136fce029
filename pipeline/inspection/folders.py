"""A folder of recordings: files grouped by their form, in natural order; one stop a file or series; the odd ones out."""

from __future__ import annotations

import itertools
import os
import re
from collections import Counter, defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.archive.scan import printable
from pipeline.errors import InputError
from pipeline.inspection.brakings import Braking, holds_of
from pipeline.inspection.look import Look, brakings_of, look
from pipeline.inspection.sniffing import Layout, NoTable, layout_of
from pipeline.recordings import kinds
from pipeline.recordings.files import opened, order_key

HEAD_BYTES = 1 << 14
MOST_FILES, MOST_BYTES = 5000, 400 << 20
BESIDE = ("test.yaml", "wear.csv", "config.yaml", "README.md", "README")
TYPED = (".yaml", ".yml", ".md", ".py", ".html", ".json", ".toml")


@dataclass(frozen=True)
class Group:
    """Files of one form in the order of their names; look: at them together, or why they cannot be read."""

    files: list[Path]
    form: str
    look: Look | None
    why: str = ""
    brakings: list[Braking] = field(default_factory=list)
    counted: int = 0  # files whose brakings were looked for
    root: Path | None = None  # the folder that they lie in, or below; of one file alone None

    @property
    def names(self) -> list[str]:
        """Of each file, below the root."""
        return [path.relative_to(self.root).as_posix() if self.root else path.name for path in self.files]

    @property
    def folders(self) -> int:
        """How many folders the files lie in."""
        return len({path.parent for path in self.files})

    @property
    def holds(self) -> str:
        """stop: one braking a file, most often; series: several."""
        return holds_of(self.brakings)

    @property
    def unlike(self) -> list[tuple[str, int]]:
        """Files of a group of single stops that hold none, or several: (name, brakings)."""
        if self.holds == "series":
            return []
        counts = Counter(one.file for one in self.brakings)
        if any("#" in name for name in counts):  # sheets or groups are the recordings
            return [(name, count) for name, count in counts.items() if count != 1]
        names = self.names[: self.counted]
        return [(name, counts.get(name, 0)) for name in names if counts.get(name, 0) != 1]


@dataclass(frozen=True)
class Folder:
    """groups: largest first; the first is what the folder holds, the others are odd ones out."""

    groups: list[Group]
    left: int = 0  # files beyond the most that are looked at


def files_in(place: Path) -> tuple[list[Path], int]:
    """Files of a folder and its folders that may be recordings, natural order; and how many more there are."""
    found: list[Path] = []
    for root, folders, names in os.walk(place):
        folders[:] = sorted(f for f in folders if not f.startswith("."))
        found += [
            Path(root) / name
            for name in names
            if not name.startswith(".") and name not in BESIDE and not name.lower().endswith(TYPED)
        ]
        if len(found) > 20 * MOST_FILES:
            break
    found = [path for path in found if path.is_file()]
    found.sort(key=lambda path: order_key(path.relative_to(place).as_posix()))
    return found[:MOST_FILES], max(len(found) - MOST_FILES, 0)


def looked_into(place: Path) -> Folder:
    """Look at every file's head, group them by their form, and look into each group; files of one form in several folders are one
    test's, in the order of their paths. Raises InputError where the folder has no file.
    """
    files, left = files_in(place)
    if not files:
        raise InputError(f"{printable(str(place))}: holds no file that may be a recording")
    groups: dict[tuple[str, ...], list[Path]] = defaultdict(list)
    for path in files:
        groups[_form(path)].append(path)
    ordered = sorted(groups.items(), key=lambda one: -len(one[1]))
    return Folder([_group(paths, key[0], key[1:], place) for key, paths in ordered], left)


def _form(path: Path) -> tuple[str, ...]:
    """What makes two files of one form: format, and of text the layout and names; of what is not read, why."""
    try:
        form = kinds.form_of(path)
        if form is not None:
            return (form,)
        if (what := kinds.what(path)) is not None:
            return "not read", f"is {what[0]}; {what[1]}"
        with opened(path) as stream:
            head = stream.read(HEAD_BYTES)
    except InputError as error:
        return "not read", str(error)
    found = layout_of(head, whole=len(head) < HEAD_BYTES)
    if isinstance(found, NoTable):
        return "not read", found.why
    return "delimited", *_told(found)


def _told(layout: Layout) -> tuple[str, ...]:
    header = "no header row" if layout.header_line is None else f"header in line {layout.header_line + 1}"
    delimiter = {"\t": "tab", " ": "blanks"}.get(layout.delimiter, repr(layout.delimiter))
    return (
        f"delimiter {delimiter}",
        f"decimal mark {layout.decimal!r}",
        header,
        "columns " + ", ".join(layout.names),
        " ".join(layout.units),
    )


def _group(files: list[Path], form: str, told: tuple[str, ...], root: Path) -> Group:
    if form == "not read":
        return Group(files, form, None, told[0], root=root)
    names = Group(files, form, None, root=root).names
    try:
        found = look(files, names)
    except InputError as error:
        return Group(files, form, None, str(error), root=root)
    size, counted = 0, 0
    brakings: list[Braking] = []
    known = {
        file: [b for b in found.brakings if b.file.split("#")[0] == file]
        for file in {f.split("#")[0] for f in found.files}
    }
    for path, name in zip(files, names, strict=True):
        size += path.stat().st_size
        if size > MOST_BYTES and counted:
            break
        counted += 1
        brakings += known[name] if name in known else brakings_of(path, name, found)
    return Group(files, form, found, "", brakings, counted, root)


LEAST_NUMBERED = 4  # files that show by what step they are numbered


def gaps_in(names: list[str]) -> list[str]:
    """Where the numbers of files that are alike but for one number leap, in words: a recording may be missing there."""
    parted = [re.split(r"(\d+)", name) for name in names]
    if len(names) < LEAST_NUMBERED or len({len(parts) for parts in parted}) != 1:
        return []
    moving = [at for at in range(len(parted[0])) if len({parts[at] for parts in parted}) > 1]
    if len(moving) != 1 or moving[0] % 2 == 0:
        return []
    numbers = [int(parts[moving[0]]) for parts in parted]
    steps = [b - a for a, b in itertools.pairwise(numbers)]
    step = min(steps)
    if step <= 0 or 2 * steps.count(step) < len(steps):
        return []
    return [
        f"between {printable(a)} and {printable(b)} {(leap - step) // step} may be missing, by their numbers"
        for a, b, leap in zip(names, names[1:], steps, strict=False)
        if leap > step and leap % step == 0
    ]


def differs(group: Group, main: Group) -> str:
    """By what a group differs from the main one, in words."""
    if group.look is None:
        return group.why
    if main.look is None or group.form != main.form:
        return f"is of format {group.form}"
    a, b = group.look.table.layout, main.look.table.layout
    if a is not None and b is not None:
        unlike = [f"{x} (not: {y})" for x, y in zip(_told(a), _told(b), strict=True) if x != y and x.strip()]
        if unlike:
            return "; ".join(unlike)[:300]
    return "has other columns"
