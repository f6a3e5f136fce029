"""The forms of what the stages write (`results.forms`), kept among the results for as long as the software is the same.

To tell them all models are loaded, half a second at every start of the engine.
"""

from __future__ import annotations

import json
from pathlib import Path

from pipeline.results import write_text
from pipeline.results.fault import software
from pipeline.stages import STAGES

NOTE = ".forms.json"


def forms(results: Path) -> dict[str, str]:
    """Form of each stage by its name."""
    place = results / NOTE
    try:
        found: dict[str, str] = json.loads(place.read_text(encoding="utf-8"))[software()]
    except (OSError, ValueError, KeyError, TypeError):
        found = {}
    if found.keys() != STAGES.keys():
        from pipeline.results.forms import form

        found = {stage: form(stage) for stage in STAGES}
        write_text(place, json.dumps({software(): found}))
    return found
