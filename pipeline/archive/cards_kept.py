"""What a run must know of the tests' cards, kept among the results: a thousand cards take some seconds to read.

What a card says is taken over as long as the state of its file is the same (`inputs.seen`), and the code that reads it. A card that
said nothing is read again.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import stat
import time
from collections.abc import Callable
from pathlib import Path

from pipeline.inputs import blanks, model, plain_files, seen, yaml_text
from pipeline.results import write_text

NAME = ".cards.json"
READERS = (blanks, model, plain_files, yaml_text)  # beside the one that `said` is given

Said = dict[str, str]


class Kept:
    """results: the folder that has the notes, None where none are kept; read: what a folder's card says, with the file of its code."""

    def __init__(self, results: Path | None, archive: Path, read: Callable[[Path], Said], code: str) -> None:
        self._place, self._read = None if results is None else results / NAME, read
        self._of = [str(archive), _digest([code, *(str(one.__file__) for one in READERS)])]
        self._before = self._noted()
        self._now: dict[str, tuple[Said, list[int]]] = {}

    def said(self, folder: Path) -> Said:
        """What the card in the folder says."""
        state = _state(folder / "test.yaml")
        known = self._before.get(folder.name)
        if known is None or state is None or known[1] != state:
            looked = time.time_ns()
            known = self._read(folder), state or []
            unread = not known[0]  # as where it may not be read now, of which its state tells nothing
            if unread or state is None or max(state[1], state[2]) >= looked - seen.UNSETTLED_S * 1e9:
                return known[0]
        self._now[folder.name] = known
        return known[0]

    def keep(self) -> None:
        """Note what the cards said that were asked for; where that cannot be written they are read again next time."""
        if self._place is not None and self._now != self._before and self._place.parent.is_dir():
            with contextlib.suppress(OSError):
                write_text(self._place, json.dumps({"of": self._of, "cards": self._now}))

    def _noted(self) -> dict[str, tuple[Said, list[int]]]:
        if self._place is None:
            return {}
        try:
            content = json.loads(self._place.read_text(encoding="utf-8"))
            cards = content["cards"] if content["of"] == self._of else {}
            return {name: (said, state) for name, (said, state) in cards.items()}
        except (OSError, ValueError, TypeError, KeyError, AttributeError):
            return {}


def _state(card: Path) -> list[int] | None:
    """None where it is no plain file."""
    try:
        info = card.lstat()
    except OSError:
        return None
    return list(seen.state_of(info)) if stat.S_ISREG(info.st_mode) else None


def _digest(files: list[str]) -> str:
    return hashlib.sha256(b"".join(Path(file).read_bytes() for file in files)).hexdigest()[: seen.DIGITS]
