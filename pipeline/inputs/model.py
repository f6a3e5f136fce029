"""What every input file's model shares: frozen, unknown keys refused with the nearest known one, one-line errors.

`load(path, Model)` is the only way from a YAML file to a model. YAML is read with the safe loader, aliases and
excessive size refused (a few bytes of aliases can expand to gigabytes), identifiers kept as text whatever they look
like.
"""

from __future__ import annotations

import difflib
import re
from pathlib import Path
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ConfigDict, ValidationError

from pipeline.errors import InputError
from pipeline.inputs import blanks
from pipeline.inputs.plain_files import plain_bytes

MAX_BYTES = 2_000_000
MAX_DEPTH = 12


class Model(BaseModel):
    """Frozen, strict about keys; finite numbers only."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, populate_by_name=True, defer_build=True)


class _TextLoader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """Safe loader that keeps scalars as they were written: `batch: 2406` and `NO` stay text.

    Numbers and booleans are decided by the models, which know what each key wants. Duplicate keys and aliases are
    refused.
    """


def _mapping(loader: Any, node: Any) -> dict[str, Any]:
    pairs: dict[str, Any] = {}
    for key_node, value_node in node.value:
        if not isinstance(key_node, yaml.ScalarNode):
            raise yaml.constructor.ConstructorError(None, None, "a key must be text", key_node.start_mark)
        if key_node.tag == "tag:yaml.org,2002:merge":
            raise yaml.constructor.ConstructorError(None, None, "merge keys (<<) are not accepted", key_node.start_mark)
        if key_node.value in pairs:
            raise yaml.constructor.ConstructorError(
                None, None, f"key {key_node.value!r} is given twice", key_node.start_mark
            )
        pairs[key_node.value] = loader.construct_object(value_node, deep=True)
    return pairs


def _scalar(loader: Any, node: Any) -> Any:
    text = node.value
    if not node.style and text in ("", "~", "null", "Null", "NULL"):
        return None
    return text


_TextLoader.add_constructor("tag:yaml.org,2002:map", _mapping)
for _tag in ("str", "int", "float", "bool", "timestamp", "null"):
    _TextLoader.add_constructor(f"tag:yaml.org,2002:{_tag}", _scalar)


def read_yaml(path: Path, *, inside: Path | None = None) -> Any:
    """The file's content with every scalar as text or None. Raises InputError in one line, also for a link out of
    `inside`.
    """
    try:
        text = plain_bytes(path, MAX_BYTES, inside=inside).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"{path.name}: not UTF-8 text (byte {error.start}); save it as UTF-8") from error
    try:
        _refuse_aliases(text)
        return yaml.load(text, Loader=_TextLoader)
    except yaml.MarkedYAMLError as error:
        mark: Any = error.problem_mark or error.context_mark
        where = f" line {mark.line + 1}, column {mark.column + 1}" if mark else ""
        if mark and re.search(r"[:\[]\s*,", text.splitlines()[mark.line] if mark.line < len(text.splitlines()) else ""):
            raise InputError(f"{path.name}:{where} a comma that is a value stands in quotes: ','") from error
        raise InputError(
            f"{path.name}:{where} {_one_line(error.problem or error.context or 'not valid YAML')}"
        ) from error
    except (yaml.YAMLError, ValueError, RecursionError) as error:
        raise InputError(f"{path.name}: not valid YAML ({_one_line(str(error))})") from error


def _refuse_aliases(text: str) -> None:
    depth = 0
    events: Any = yaml.parse(text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    for event in events:
        if isinstance(event, yaml.AliasEvent) or getattr(event, "anchor", None):
            raise yaml.MarkedYAMLError(problem="anchors and aliases are not accepted", problem_mark=event.start_mark)
        if isinstance(event, yaml.MappingStartEvent | yaml.SequenceStartEvent):
            depth += 1
            if depth > MAX_DEPTH:
                mark: Any = event.start_mark
                raise yaml.MarkedYAMLError(problem=f"nested deeper than {MAX_DEPTH} levels", problem_mark=mark)
        elif isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent):
            depth -= 1


def _one_line(text: str) -> str:
    return " ".join(text.split())[:300]


M = TypeVar("M", bound=BaseModel)


def load(path: Path, model: type[M], *, empty_ok: bool = False, inside: Path | None = None) -> M:
    """Read a YAML file into a model; InputError lists every problem, `; ` between, in one line."""
    content = read_yaml(path, inside=inside)
    if blanks.holds_blank(content):
        raise InputError(
            blanks.told(path.name, blanks.blanks(plain_bytes(path, MAX_BYTES, inside=inside).decode("utf-8-sig")))
        )
    if content is None and empty_ok:
        content = {}
    if not isinstance(content, dict):
        raise InputError(f"{path.name}: is empty or not a mapping of keys; see the input format in docs/")
    return parse(content, model, path.name)


def parse(content: dict[str, Any], model: type[M], name: str) -> M:
    """Model of already read content; `name` is the file named in messages."""
    try:
        return model.model_validate(content)
    except ValidationError as error:
        raise InputError(f"{name}: " + "; ".join(_messages(error, model))) from error
    except RecursionError as error:
        raise InputError(f"{name}: nested too deeply") from error


def _messages(error: ValidationError, model: type[BaseModel]) -> list[str]:
    messages = []
    for item in error.errors()[:6]:
        where = ".".join(_place(part) for part in item["loc"]) or "file"
        if item["type"] == "extra_forbidden" and re.match(r"\d", str(item["loc"][-1])):
            messages.append(
                f"{where}: a number where a key should be; inside {{ }} write a decimal comma in quotes, '1,5 mm'"
            )
        elif item["type"] == "extra_forbidden":
            known = _known_keys(model, item["loc"][:-1])
            near = difflib.get_close_matches(str(item["loc"][-1]), known, n=1, cutoff=0.4)
            hint = f"nearest known key: {near[0]}" if near else f"known keys: {', '.join(sorted(known))}"
            messages.append(f"{where}: unknown key; {hint}")
        elif item["type"] == "missing":
            messages.append(f"{where}: missing; this key is needed")
        else:
            text = item["msg"].removeprefix("Value error, ")
            messages.append(f"{where}: {_one_line(text)}")
    return messages


def _place(part: Any) -> str:
    """Part of a key's place; entries of a list are counted from 1, as people count."""
    return f"entry {part + 1}" if isinstance(part, int) else str(part)


def _known_keys(model: type[BaseModel], path: tuple[Any, ...]) -> list[str]:
    current: Any = model
    for part in path:
        fields = getattr(current, "model_fields", None)
        if fields is None:
            return []
        if part in fields:
            current = _inner_model(fields[part].annotation)
    fields = getattr(current, "model_fields", {})
    return [field.alias or name for name, field in fields.items()]


def _inner_model(annotation: Any) -> Any:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    for part in getattr(annotation, "__args__", ()):
        found = _inner_model(part)
        if found is not None:
            return found
    return None
