"""The archive as folders: which tests there are, whose compound they are, and a fingerprint of their recordings.

Light on purpose: the Snakefile calls it at every start, for a thousand tests. The card is not validated here; only its
`compound` is read, so that a test with a bad card still stands with its compound where that can be read.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.archive.card import TEST_ID
from pipeline.archive.model import read_yaml
from pipeline.errors import InputError


@dataclass(frozen=True)
class Scan:
    """Tests of an archive (id -> compound, None where it cannot be read) and the folders skipped, with the reason."""

    tests: dict[str, str | None]
    wear: dict[str, str | None] = field(default_factory=dict)  # test -> its wear file, as the card names it
    skipped: tuple[tuple[str, str], ...] = ()

    @property
    def compounds(self) -> list[str]:
        return sorted({c for c in self.tests.values() if c is not None})


def scan(archive: Path) -> Scan:
    """Look at every folder of the archive, in natural order of their names."""
    tests: dict[str, str | None] = {}
    wear: dict[str, str | None] = {}
    skipped = []
    for folder in sorted(archive.iterdir(), key=lambda p: natural_key(p.name)):
        name = printable(folder.name)
        if not folder.is_dir():
            continue
        if folder.is_symlink() and not _inside(folder, archive):
            skipped.append((name, "is a link that leads out of the archive; copy the test's folder instead"))
        elif not TEST_ID.match(folder.name):
            if not folder.name.startswith("."):
                skipped.append(
                    (
                        name,
                        "the folder's name is not allowed; use letters, digits, '.', '_' and '-', not starting with a dot",
                    )
                )
        elif folder.name.lower() in {t.lower() for t in tests} - {folder.name}:
            skipped.append((name, "differs from another test only in upper and lower case; rename one of them"))
        else:
            tests[folder.name], wear[folder.name] = _compound_and_wear(folder)
    return Scan(tests, wear, tuple(skipped))


def _compound_and_wear(folder: Path) -> tuple[str | None, str | None]:
    try:
        content = read_yaml(folder / "test.yaml", inside=folder.parent)
    except InputError:
        return None, None
    if not isinstance(content, dict):
        return None, None

    def text(key: str) -> str | None:
        value = content.get(key)
        usable = isinstance(value, str) and 0 < len(value.strip()) <= 200 and all(ord(c) >= 32 for c in value)
        return value.strip() if usable and isinstance(value, str) else None

    return text("compound"), text("wear")


def _inside(path: Path, folder: Path) -> bool:
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError):
        return False


def printable(name: str) -> str:
    """A file name as text that any file and terminal can carry (undecodable bytes and controls escaped)."""
    text = name.encode("utf-8", "backslashreplace").decode("utf-8")
    return "".join(c if c.isprintable() else f"\\x{ord(c):02x}" for c in text)


def natural_key(name: str) -> list[tuple[int, int, str]]:
    """Sort key of the contract: digit runs as integers, case-insensitive, .gz and .zst stripped."""
    text = re.sub(r"\.(gz|zst)$", "", name, flags=re.IGNORECASE).casefold()
    return [
        (0, int(part), "") if part.isdecimal() and part.isascii() else (1, 0, part)
        for part in re.split(r"([0-9]+)", text)
        if part
    ]


def fingerprint(folder: Path, wear: str | None = None) -> str:
    """Digest of names, sizes and times of a test's files but its wear file: changes when a recording or the card does."""
    state = hashlib.sha256()
    for path in sorted(folder.rglob("*")):
        if wear is None or path != folder / wear:
            _add_file(state, path, folder)
    return state.hexdigest()[:16]


def file_fingerprint(folder: Path, name: str | None) -> str:
    """The same for one file of the folder; of an absent file or None it is that of nothing."""
    state = hashlib.sha256()
    if name:
        _add_file(state, folder / name, folder)
    return state.hexdigest()[:16]


def _add_file(state: hashlib._Hash, path: Path, folder: Path) -> None:
    try:
        if path.is_file():
            info = path.stat()
            line = f"{path.relative_to(folder)}\0{info.st_size}\0{info.st_mtime_ns}\n"
            state.update(line.encode("utf-8", "surrogateescape"))
    except (OSError, ValueError):
        return


def slugs(names: list[str]) -> dict[str, str]:
    """Folder name of each free text; empty and colliding ones get a numbered suffix, in the order of the sorted names.

    NFKD, lower case, runs of anything but a-z 0-9 become `-`.
    """
    taken: dict[str, str] = {}
    result = {}
    for name in sorted(set(names)):
        plain = unicodedata.normalize("NFKD", name).lower()
        slug = re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "unnamed"
        base, number = slug, 2
        while slug in taken:
            slug, number = f"{base}-{number}", number + 1
        taken[slug] = name
        result[name] = slug
    return result
