"""JSON Schema of every file that a person writes, for editors that complete and check: `docs/schemas/input/`."""

from __future__ import annotations

import json
from functools import cache

from pydantic import BaseModel

from pipeline.archive.card import Card
from pipeline.archive.duties import DutyCycle, LoggedDuty
from pipeline.archive.rigs import Rig
from pipeline.archive.targets import Target
from pipeline.archive.title_block import TitleBlockFile
from pipeline.inputs.json_schema import written
from pipeline.method import Method
from pipeline.workspace.config import ConfigFile

# name -> (what the file is, its model)
FILES: dict[str, tuple[str, type[BaseModel]]] = {
    "test": ("test.yaml, the card of a test", Card),
    "config": ("config.yaml of a workspace", ConfigFile),
    "method": ("a method", Method),
    "target": ("what a compound must meet", Target),
    "duty": ("a duty by its events", DutyCycle),
    "logged-duty": ("a duty by a log", LoggedDuty),
    "rig": ("a rig's events", Rig),
    "sheet": ("what stands in the title block of a compound's sheet", TitleBlockFile),
}


@cache
def text(name: str) -> str:
    """The schema of a file."""
    title, model = FILES[name]
    return json.dumps(written(model, title), indent=1) + "\n"
