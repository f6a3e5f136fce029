"""The form of what a stage writes: a digest of the keys and types of its files, and of the columns of its tables.

A file is read by the model that wrote it. Where a version of the software changes a model, the files of older ones
cannot be read or lack what is new, whatever the numbers: a run that finds another form than its own runs the stage
again, as it does for a changed setting. Meanings and units in words are not part of it.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable
from typing import Any

from pipeline.results.catalogue import written_by
from pipeline.results.model import Result
from pipeline.stages import STAGES
from pipeline.vocabulary import TABLES

PROSE = ("title", "description", "unit", "default")


def form(stage: str) -> str:
    """Digest of all that the stage writes; of a stage that writes pages only, that of nothing."""
    tables = {name: TABLES[name] for name in STAGES[stage].outputs if name in TABLES}
    return of(
        (file.model for file in written_by(stage)),
        {name: [(column.name, column.kind, column.unit) for column in table] for name, table in tables.items()},
    )


def of(models: Iterable[type[Result]], tables: Any = None) -> str:
    """Digest of the models' JSON Schemas without prose, and of the tables' columns."""
    schemas = [_without_prose(model.model_json_schema(by_alias=True)) for model in models]
    text = json.dumps([schemas, tables or {}], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _without_prose(node: Any, *, named: bool = False) -> Any:
    """A schema without prose; `named` says that the node is a table of schemas by name, whose names are kept."""
    if isinstance(node, list):
        return [_without_prose(one) for one in node]
    if not isinstance(node, dict):
        return node
    return {
        key: _without_prose(value, named=not named and key in ("properties", "$defs"))
        for key, value in node.items()
        if named or key not in PROSE
    }
