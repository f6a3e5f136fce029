"""A list of parts of a results file as a table: a column a field with its unit, an interval as value, low and high.

What a file's model says of its fields (`given`) is all that is needed, so that a field that is added has its column.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from pydantic import BaseModel

from pipeline.results.model import Interval, Result
from pipeline.results.workbook import Worksheet

INTERVAL = ("value", "low", "high")


def table(name: str, parts: Sequence[tuple[Sequence[Any], Result]], model: type[Result], *lead: str) -> Worksheet:
    """A row for each part, which stands behind the cells of `lead`; fields with parts of their own but intervals are left
    out.
    """
    fields = [field for field in model.model_fields if _plain(model, field) or _interval(model, field)]
    head = [*lead]
    for field in fields:
        unit = _unit(model, field)
        suffix = f" ({unit})" if unit else ""
        head += [f"{field} {end}{suffix}" for end in INTERVAL] if _interval(model, field) else [f"{field}{suffix}"]
    rows = [[*first, *(cell for field in fields for cell in _cells(model, part, field))] for first, part in parts]
    return Worksheet(name, head, rows)


def _cells(model: type[Result], part: Result, field: str) -> list[Any]:
    value = getattr(part, field)
    if _interval(model, field):
        return [getattr(value, end) for end in INTERVAL] if value is not None else [None] * len(INTERVAL)
    return ["; ".join(f"{k}: {v}" for k, v in value.items())] if isinstance(value, dict) else [value]


def _unit(model: type[Result], field: str) -> str:
    extra = model.model_fields[field].json_schema_extra
    return str(extra.get("unit", "")) if isinstance(extra, dict) else ""


def _models(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [one for inner in getattr(annotation, "__args__", ()) for one in _models(inner)]


def _plain(model: type[Result], field: str) -> bool:
    return not _models(model.model_fields[field].annotation)


def _interval(model: type[Result], field: str) -> bool:
    """Whether the field is one interval (or null), and no list of them."""
    annotation = model.model_fields[field].annotation
    kinds = getattr(annotation, "__args__", (annotation,))
    return any(isinstance(kind, type) and issubclass(kind, Interval) for kind in kinds) and not (
        {getattr(annotation, "__origin__", None)} & {list, dict, tuple}
    )
