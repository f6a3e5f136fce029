"""Which files are lost that results rest on and list beside themselves (`results.beside`)."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from pipeline.results import beside
from pipeline.stages import STAGES


def _whole(path: Path) -> bool:
    """Whether the file is there; one without a byte holds the place of one that is to be made (`Run.extracts`)."""
    try:
        return path.stat().st_size > 0
    except OSError:
        return False


class Lost:
    """The lists below a results folder, each folder of lists looked at once.

    A file that many results share, outside their own folders, is made again by the first stage that asks: one is enough.
    """

    def __init__(self, results: Path) -> None:
        self._results = results
        self._lists: dict[Path, frozenset[str]] = {}
        self._left_to: dict[Path, Path] = {}  # shared file -> the output whose stage makes it again

    def of(self, stage: str, names: Mapping[str, str]) -> list[str]:
        """A line for each output of a stage that stands and of whose files some are lost; another line at each loss."""
        outputs = [self._results / path.format(**names) for path in STAGES[stage].files.values()]
        return [line for path in outputs if beside.place(path).name in self._in(path.parent) for line in self._of(path)]

    def _of(self, output: Path) -> list[str]:
        lost = [path for path in beside.listed(output) if not _whole(path) and self._left(path, output)]
        if not lost or not output.is_file():  # an output that is lost itself is missed by the engine
            return []
        return [f"{output.name} of {output.stat().st_mtime_ns}: {[str(path) for path in lost]!r}"]

    def _left(self, path: Path, output: Path) -> bool:
        return path.is_relative_to(output.parent) or self._left_to.setdefault(path, output) == output

    def _in(self, folder: Path) -> frozenset[str]:
        if folder not in self._lists:
            try:
                self._lists[folder] = frozenset(os.listdir(folder / beside.FOLDER))
            except OSError:
                self._lists[folder] = frozenset()
        return self._lists[folder]
