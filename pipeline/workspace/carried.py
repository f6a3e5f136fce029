"""Which results carry a fault, and which of these are due for another try."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from pipeline.results.fault import Fault, left_in


class Carried:
    """The faults that results carry, each folder looked at once."""

    def __init__(self, results: Path) -> None:
        self._results = results
        self._found: dict[str, dict[Path, Fault]] = {}

    def within(self, folder: str) -> list[Fault]:
        """Those of a folder below the results."""
        return list(self._in(folder).values())

    def due(self, stage: str, folder: str, subject: str | None) -> list[str]:
        """Those of a stage that are to be tried again, each as a line; of one subject where the folder is shared."""
        return [
            f"{path.name}: {fault}"
            for path, fault in self._in(folder).items()
            if fault.stage == stage and fault.due and (subject is None or fault.subject == subject)
        ]

    def _in(self, folder: str) -> dict[Path, Fault]:
        if folder not in self._found:
            self._found[folder] = left_in(self._results / folder)
        return self._found[folder]


def place_of(wildcards: Any) -> tuple[str, str | None]:
    """Folder of a rule's results below the results, and whose they are where that folder is shared."""
    named = dict(wildcards.items())
    method = named.get("method")
    if method is None:
        return (f"deltas/{named['a']}--{named['b']}", None) if "a" in named else ("channels", named["test"])
    if "one" in named:
        return f"{method}/comparisons/{named['one']}--{named['other']}", None
    if "rig" in named:
        return f"{method}/rigs", f"rig {named['rig']}"
    for kind, name in (("tests", "test"), ("compounds", "compound")):
        if name in named:
            return f"{method}/{kind}/{named[name]}", None
    return method, None
