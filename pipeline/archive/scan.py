"""The archive as folders: which tests there are, whose compound they are, and a fingerprint of their recordings.

Light on purpose: the Snakefile calls it at every start, for a thousand tests. The card is not validated here; only its
`compound` is read, so that a test with a bad card still stands with its compound where that can be read.
"""

from __future__ import annotations

import hashlib
import os
import re
import unicodedata
from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.archive.cards_kept import Kept
from pipeline.errors import InputError
from pipeline.inputs.blanks import holds_blank
from pipeline.inputs.model import read_yaml

ID = re.compile(r"[A-Za-z0-9_][A-Za-z0-9._-]*", re.ASCII)
LONGEST_ID = 200  # a file name holds 255 bytes, and the results add endings of their own to the id
KEYS = ("compound", "wear", "rig", "date", "holds")  # of a card that a run must know before the card is read whole
LONGEST_SLUG = 100  # of a compound's folder name
# Latin letters that NFKD does not take apart (casefold makes ss of ß)
WRITTEN_OUT = str.maketrans(
    {"æ": "ae", "œ": "oe", "ø": "o", "đ": "d", "ð": "d", "ħ": "h", "ı": "i", "ł": "l", "þ": "th"}
)


@dataclass(frozen=True)
class Scan:
    """Tests of an archive (id -> compound, None where it cannot be read) and the folders skipped, with the reason."""

    tests: dict[str, str | None]
    wear: dict[str, str | None] = field(default_factory=dict)  # test -> its wear file, as the card names it
    on_rigs: dict[str, tuple[str, str]] = field(default_factory=dict)  # test -> its rig and date, as the card has them
    skipped: tuple[tuple[str, str], ...] = ()
    refused: tuple[tuple[str, str], ...] = ()  # those of the skipped that hold a test.yaml: tests that give no result
    summary_only: frozenset[str] = frozenset()  # tests of which only reduced rows were kept

    @property
    def compounds(self) -> list[str]:
        return sorted({c for c in self.tests.values() if c is not None})

    @property
    def digest(self) -> str:
        """Of all of it, the same in every process: a set has another order in each."""
        words = repr((self.tests, self.wear, self.on_rigs, self.skipped, self.refused, sorted(self.summary_only)))
        return hashlib.sha256(words.encode("utf-8", "backslashreplace")).hexdigest()[:32]

    @property
    def rig_pages(self) -> dict[str, str]:
        """Name of the page of each rig that a card names."""
        return slugs([rig for rig, _ in self.on_rigs.values() if rig])


def scan(archive: Path, results: Path | None = None) -> Scan:
    """Look at every folder of the archive, in natural order of their names. InputError where it cannot be read.

    results: where a run keeps what the cards said.
    """
    kept, taken = Kept(results, archive, _said, __file__), set[str]()
    tests: dict[str, str | None] = {}
    wear: dict[str, str | None] = {}
    on_rigs: dict[str, tuple[str, str]] = {}
    skipped, refused, summary_only = [], [], set()
    try:
        folders = sorted(archive.iterdir(), key=lambda p: natural_key(p.name))
    except OSError as error:
        raise InputError(
            f"{printable(str(archive))}: the archive cannot be read ({error.strerror}); correct its path or permissions"
        ) from error
    for folder in folders:
        why = _unfit(folder, archive, taken)
        if why is None:
            said = kept.said(folder)
            taken.add(folder.name.lower())
            tests[folder.name], wear[folder.name] = said.get("compound"), said.get("wear")
            on_rigs[folder.name] = (said.get("rig", ""), said.get("date", ""))
            summary_only |= {folder.name} if said.get("holds") == "summary" else set()
        elif why:
            skipped.append((printable(folder.name), why))
            if holds_card(folder):
                refused.append(skipped[-1])
    kept.keep()
    return Scan(tests, wear, on_rigs, tuple(skipped), tuple(refused), frozenset(summary_only))


def holds_card(folder: Path) -> bool:
    """Whether somebody meant the folder as a test: also where its test.yaml is a folder, or a link that leads nowhere."""
    return os.path.lexists(folder / "test.yaml")


def refuse_empty(found: Scan, archive: Path) -> None:
    """InputError where the archive holds nothing that was meant as a test: most likely the path is wrong."""
    if not found.tests and not found.refused:
        told = "".join(f"; {name}: {why}" for name, why in found.skipped[:3])
        raise InputError(f"{printable(str(archive))}: holds no test folder (one per test, with its test.yaml){told}")


def _unfit(folder: Path, archive: Path, taken: Collection[str]) -> str | None:
    """Why a member of the archive is no test: in words, or "" where nobody would think it one; None for a test. taken: names in lower case."""
    name = folder.name
    if folder.is_symlink() and not folder.exists():
        return "is a link that leads nowhere; put the test's folder itself there"
    if not folder.is_dir():
        return ""
    if folder.is_symlink() and not _inside(folder, archive):
        return "is a link that leads out of the archive; copy the test's folder instead"
    if name.startswith("."):  # hidden: put away
        return ""
    why = refused_id(name)
    if why:
        return f"the folder's name {why}"
    if name.lower() in taken:
        return "differs from another test only in upper and lower case; rename one of them"
    return None


def refused_id(name: str) -> str | None:
    """Why a name cannot be an id of a test or a method, None where it can."""
    if name.startswith("-"):
        return "must not start with '-': programs would take it for an option; rename it"
    if not ID.fullmatch(name):
        return "is not allowed; use letters, digits, '.', '_' and '-', not starting with a dot"
    if len(name) > LONGEST_ID:
        return f"is longer than {LONGEST_ID} characters; shorten it"
    return None


def _said(folder: Path) -> dict[str, str]:
    """What a run must know of a card before it is read whole; keys that are missing or unfit are left out."""
    try:
        content = read_yaml(folder / "test.yaml", inside=folder.parent)
    except InputError:
        return {}
    if not isinstance(content, dict):
        return {}
    recordings = content.get("recordings")
    said = {**content, "holds": recordings.get("holds") if isinstance(recordings, dict) else None}
    texts = {key: value.strip() for key in KEYS if isinstance(value := said.get(key), str) and not holds_blank(value)}
    return {k: v for k, v in texts.items() if 0 < len(v) <= 200 and all(ord(c) >= 32 for c in v)}


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
    """Sort key of docs/contract.md: digit runs as integers, case-insensitive, .gz and .zst stripped."""
    text = re.sub(r"\.(gz|zst)$", "", name, flags=re.IGNORECASE).casefold()
    return [
        (0, int(part), "") if part.isdecimal() and part.isascii() else (1, 0, part)
        for part in re.split(r"([0-9]+)", text)
        if part
    ]


def slugs(names: list[str]) -> dict[str, str]:
    """Folder name of each free text; empty and colliding ones get a numbered suffix, in the order of the sorted names.

    NFKD without accents, the letters that are none of an accent spelt out (WRITTEN_OUT), lower case, runs of anything but
    a-z 0-9 become `-`; cut where it would be too long for a folder.
    """
    taken: dict[str, str] = {}
    result = {}
    for name in sorted(set(names)):
        spelt = unicodedata.normalize("NFKD", name.casefold().translate(WRITTEN_OUT)).lower()
        plain = "".join(letter for letter in spelt if not unicodedata.combining(letter))
        slug = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:LONGEST_SLUG].strip("-") or "unnamed"
        base, number = slug, 2
        while slug in taken:
            slug, number = f"{base}-{number}", number + 1
        taken[slug] = name
        result[name] = slug
    return result
