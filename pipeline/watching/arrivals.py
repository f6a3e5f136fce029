"""Which recordings of a running test are whole.

A rig writes a recording while it brakes, or copies it over a network: for a time the file is there and is no recording.
One counts as whole when it has not changed for a while; where a later one is there (rigs write one after the other), when it has
not changed from one look to the next, as what copies may write several at a time. None counts before those in front of it.
A last recording that reads as cut off though it stands still may be waiting for the rest of its lines: it is not yet, and
no fault, until a later one shows that nothing more comes, or until it has stood still for `PATIENCE` times as long.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

from pipeline.archive.card import Card
from pipeline.errors import InputError
from pipeline.recordings.files import recording_files
from pipeline.results.findings import Found

CUT = ("recording_cut", "recording_unreadable", "clipped_end", "no_braking", "stop_aborted")
PATIENCE = 10.0


class State(NamedTuple):
    """What a file looks like from outside: bytes and the time of its last change (ns)."""

    size: int
    changed_ns: int


def listed(folder: Path, card: Card) -> tuple[dict[str, State], str | None]:
    """The test's recordings by their path in its folder, in the order run; where files are there and none is one, why in words."""
    besides = (card.wear,) if card.wear else ()
    try:
        paths = recording_files(folder, card.recordings.files, besides=besides)
    except InputError as error:
        others = (path for path in folder.rglob("[!.]*") if path.is_file())
        known = {folder / name for name in ("test.yaml", *besides)}
        return {}, str(error) if any(path not in known for path in others) else None
    found = {path.relative_to(folder).as_posix(): state_of(path) for path in paths}
    return {name: state for name, state in found.items() if state is not None}, None


def state_of(path: Path) -> State | None:
    """None where there is no file, or none any more, or a link that leads nowhere yet."""
    try:
        info = path.stat()
    except OSError:
        return None
    return State(info.st_size, info.st_mtime_ns)


@dataclass
class Arrivals:
    """What was seen of a test's recordings; settle_s: how long one must stand still to be whole."""

    settle_s: float
    _since: dict[str, tuple[State, float]] = field(default_factory=dict)
    _doubted: dict[str, State] = field(default_factory=dict)

    def whole(self, now: Mapping[str, State], at_s: float) -> list[str]:
        """Names of the whole recordings at a time (s, of any clock that runs on), in the order run."""
        for name, state in now.items():
            if name not in self._since or self._since[name][0] != state:
                self._since[name] = (state, at_s)
        names = list(now)
        for place, name in enumerate(names):
            last = place == len(names) - 1
            if not (self._is_whole(name, now[name], at_s) if last else self._since[name][1] < at_s):
                return names[:place]
        return names

    def _is_whole(self, last: str, state: State, at_s: float) -> bool:
        wait = self.settle_s * (PATIENCE if self._doubted.get(last) == state else 1.0)
        return at_s - self._since[last][1] >= wait

    def quiet(self, now: Mapping[str, State], at_s: float) -> bool:
        """Whether no recording has changed for the time that one must stand still."""
        return all(name in self._since and at_s - self._since[name][1] >= self.settle_s for name in now)

    def doubt(self, name: str, state: State) -> None:
        """Wait for more of a last recording that reads as cut off."""
        self._doubted[name] = state

    def doubts(self, name: str, state: State) -> bool:
        """Whether more of it is waited for, or was."""
        return self._doubted.get(name) == state


def cut_off(last: str, found: Sequence[Found]) -> str | None:
    """Why the last recording reads as one that is not written to its end; None where it does not."""
    return next((one.message for one in found if one.code in CUT and one.file == last), None)
