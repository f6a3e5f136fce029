"""The page of results and a JSON Schema for each file, from the typed results: key, type, unit, meaning.

The prose stands in `templates/results.md`. A line `<!-- keys of friction.json -->` there is replaced by the tables of
the models that the file has.
"""

from __future__ import annotations

import json
import re
import types
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from pipeline.results.catalogue import FILES, File
from pipeline.results.model import Interval, Result, Stamp

TEMPLATE = Path(__file__).parent / "templates" / "results.md"
DIALECT = "https://json-schema.org/draft/2020-12/schema"
KEYS_OF = re.compile(r"<!-- keys of (\S+) -->\n")
WORDS = {str: "text", int: "whole number", float: "number", bool: "true / false", type(None): "null", Any: "any"}
SHARED: tuple[type[Result], ...] = (Interval, Stamp)  # parts of several files, told once


def results_page() -> str:
    """The whole page, without the note of what generated it."""
    told = set(SHARED)
    text = KEYS_OF.sub(lambda match: _keys(match, told), TEMPLATE.read_text(encoding="utf-8"))
    shared = "\n".join(line for model in SHARED for line in [f"#### {_title(model)}\n", *_part(model)])
    return f"{text.rstrip()}\n\n## Parts of several files\n\n{shared}"


def schemas() -> dict[str, str]:
    """Text of the JSON Schema of every typed file, by `<name>.schema.json`."""
    return {f"{one.name}.schema.json": schema_text(one) for one in FILES}


def schema_text(file: File) -> str:
    """Text of the JSON Schema of a file."""
    return json.dumps(schema(file), indent=1, ensure_ascii=False) + "\n"


def schema(file: File) -> dict[str, Any]:
    """JSON Schema of a file as it is written. Further keys are allowed, as adding some is free; `unit` is a note."""
    content = file.model.model_json_schema(by_alias=True, mode="serialization")
    return {"$schema": DIALECT, "title": file.place, **_without(content, "title", "additionalProperties", "default")}


def _without(node: Any, *names: str, keys: bool = True) -> Any:
    """The schema without some keywords; `keys` says that the node is a schema and no table of named schemas."""
    if isinstance(node, list):
        return [_without(one, *names) for one in node]
    if not isinstance(node, dict):
        return node
    named = ("properties", "$defs")
    kept = {k: v for k, v in node.items() if not (keys and k in names and (k != "additionalProperties" or v is False))}
    return {k: _without(v, *names, keys=not (keys and k in named)) for k, v in kept.items()}


def _keys(match: re.Match[str], told: set[type[Result]]) -> str:
    """What stands for a line `keys of`; `told`, the parts that have their table on the page already, grows."""
    lines: list[str] = []
    for file in (file for file in FILES if file.file == match.group(1)):
        lines += [f"#### `{file.place}`\n", f"Schema: [{file.name}.schema.json](schemas/{file.name}.schema.json).\n"]
        lines += _part(file.model)
        for part in _parts(file.model):
            if part not in told:
                told.add(part)
                lines += [f"#### {_title(part)}\n", *_part(part)]
    return "\n".join(lines) + "\n"


def _parts(model: type[Result]) -> Iterator[type[Result]]:
    """The parts of a result, each before its own parts, in the order of the fields; some come more than once."""
    for field in model.model_fields.values():
        for part in _models(field.annotation):
            yield part
            yield from _parts(part)


def _models(annotation: Any) -> list[type[Result]]:
    if isinstance(annotation, type) and issubclass(annotation, Result):
        return [annotation]
    return [found for one in get_args(annotation) for found in _models(one)]


def _part(model: type[Result]) -> list[str]:
    about = " ".join((model.__doc__ or "").split("\n\n")[0].split())
    rows = []
    for name, field in model.model_fields.items():
        extra = field.json_schema_extra
        unit = str(extra.get("unit", "")) if isinstance(extra, dict) else ""
        key = field.alias or name
        meaning = " ".join((field.description or "").split()).replace("|", "\\|")
        rows.append(f"| `{key}` | {_type(field.annotation)} | {unit} | {meaning} |")
    return [about + "\n", "| key | type | unit | meaning |", "|---|---|---|---|", *rows, ""]


def _type(annotation: Any) -> str:
    """The type of a key in words, a part as a link to its table."""
    if annotation in WORDS:
        return WORDS[annotation]
    origin, inside = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return _type(inside[0])
    if origin in (Union, types.UnionType):
        return " or ".join(_type(one) for one in inside)
    if origin is Literal:
        return " / ".join(f"`{one}`" for one in inside)
    if origin in (list, tuple):
        return "list of " + _type(inside[0]) if inside else "list"
    if origin is dict:
        return f"{_type(inside[1])} by {_type(inside[0])}"
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        title = _title(annotation)
        return f"[{annotation.__name__}](#{re.sub(r'[^a-z0-9 _-]', '', title.lower()).replace(' ', '-')})"
    raise TypeError(f"no words for the type {annotation!r} of a result")


def _title(model: type[BaseModel]) -> str:
    """Heading of a part's table; the module tells parts of one name apart."""
    module = model.__module__.rsplit(".", 1)[-1]
    return model.__name__ if module == "model" else f"{model.__name__} ({module})"
