"""A rig that writes recordings while a watch waits: its clock is turned by the waiting, and by nothing else."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from pipeline.cli.watch import Hands
from pipeline.results.findings import Found


def found(
    code: str, *, stop: int | None = None, file: str | None = None, severity: Any = "suspect", message: str = "-"
) -> Found:
    return Found(code=code, severity=severity, stop=stop, file=file, message=message, action="mend it")


class Rig:
    """Hands for a watch. steps: what the rig does at each wait, one after the other; runs: how `run` was called."""

    def __init__(self, steps: Sequence[Callable[[], object]], run: Callable[..., int] | None = None) -> None:
        self.at_s, self.runs, self._steps, self._run = 0.0, [], list(steps), run
        self.hands = Hands(now=lambda: self.at_s, wait=self._wait, run=self._called)

    def _wait(self, seconds: float) -> None:
        self.at_s += seconds
        if self._steps:
            self._steps.pop(0)()

    def _called(self, **how: Any) -> int:
        self.runs.append(how.get("only"))
        return self._run(**how) if self._run else 0


def nothing() -> None:
    """A wait in which the rig writes nothing."""


def emptied(test: Path, into: Path) -> list[Path]:
    """The test's recordings, moved out of it, in the order run."""
    into.mkdir(parents=True)
    recordings = sorted((test / "recordings").iterdir())
    return [Path(shutil.move(path, into / path.name)) for path in recordings]


def given(recording: Path, test: Path, *, share: float = 1.0) -> Callable[[], object]:
    """Write a recording into the test, or the first share of its bytes."""

    def write() -> None:
        content = recording.read_bytes()
        (test / "recordings" / recording.name).write_bytes(content[: round(share * len(content))])

    return write


def together(recordings: Sequence[Path], test: Path) -> Callable[[], object]:
    """Write several recordings at once."""

    def write() -> None:
        for one in recordings:
            given(one, test)()

    return write
