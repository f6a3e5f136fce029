"""The calibrations that rigs' files state, in canonical words: what the reduction of a test's stops depends on."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path

from pipeline.archive.rigs import Rig, in_effect
from pipeline.inputs.model import load


class Calibrated:
    """The rigs of a workspace by their name; files are read once, when they are first asked for."""

    def __init__(self, files: Mapping[str, Path]) -> None:
        self._files = files

    def words(self, rig: str, date: str) -> str:
        """What is in effect on a rig at a date; empty for nothing."""
        known = self._stating.get(rig)
        if known is None:
            return ""
        try:
            found = in_effect(known, datetime.date.fromisoformat(date))
        except ValueError:  # a date that only the card's own reading can tell
            return repr((date, known))
        return repr(found) if found else ""

    @cached_property
    def _stating(self) -> dict[str, Rig]:
        """Rigs whose events state what a calibration found."""
        rigs = {name: load(path, Rig) for name, path in self._files.items()}
        return {name: rig for name, rig in rigs.items() if any(event.states for event in rig.events)}
