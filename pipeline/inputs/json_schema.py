"""JSON Schema of what a person writes: keys, which are needed, words that are accepted; for editors.

It follows from the models that read the files. A scalar may be written as text or number throughout (`batch: 2406`, `pads: 2`), as
the reader takes both; what a value with a unit must be, the reader says.
"""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel

DIALECT = "http://json-schema.org/draft-07/schema#"
INSIDE = ("test", "speed_start", "speed_end")  # of the models, not of the file
SCALAR = ["string", "number", "boolean"]


def written(model: type[BaseModel], title: str) -> dict[str, Any]:
    """The schema of a file of that model as a person writes it."""
    content = model.model_json_schema(by_alias=True, mode="validation")
    return {"$schema": DIALECT, "title": title, **_loosened(content)}


def _loosened(node: Any, named: bool = False) -> Any:
    """Scalars of any kind, lists where one value may stand for them; `named`: the node is a table of named schemas."""
    if isinstance(node, list):
        return [_loosened(one) for one in node]
    if not isinstance(node, dict):
        return node
    if named:
        return {k: _loosened(v) for k, v in node.items() if k not in INSIDE}
    kept = {
        k: v
        for k, v in node.items()
        if k not in ("title", "default", "format", "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum")
    }
    kind = kept.get("type")
    if kind in ("string", "number", "integer", "boolean") and "enum" not in kept and "const" not in kept:
        return {"type": SCALAR, **({"description": kept["description"]} if "description" in kept else {})}
    if kind == "null":
        return {"type": ["null", *SCALAR]}
    if kind == "array":
        return {"type": ["array", *SCALAR], **{k: _loosened(v) for k, v in kept.items() if k == "items"}}
    if "const" in kept:
        return {"type": SCALAR}
    return {k: _loosened(v, named=k in ("properties", "$defs")) for k, v in kept.items()}
