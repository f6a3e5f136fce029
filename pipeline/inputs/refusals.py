"""What a model refuses, in words for who wrote the file: what was found, what is accepted, what to do.

The library that holds the models says why in words of its own types; none of them reaches a reader.
"""

from __future__ import annotations

import datetime
import difflib
import re
from dataclasses import dataclass
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from pipeline.errors import Place, Unfit
from pipeline.inputs.quantities import Dimension

NEAR = 0.6  # likeness from which a known word may be what was meant
MISSING = "missing"
DATE = "a date as 2026-03-02 (year-month-day)"
MOST = 14  # words of a list that are told
LIMITS = {"greater_than": ("gt", "above"), "greater_than_equal": ("ge", "not below"), "less_than": ("lt", "below"),
          "less_than_equal": ("le", "at most")}  # fmt: skip


@dataclass(frozen=True)
class Refusal:
    """place: of the value in the file's content; beside: other places that the refusal rests on."""

    place: Place
    found: str
    accepted: str
    mend: str
    beside: tuple[Place, ...] = ()

    @property
    def key(self) -> str:
        return ".".join(f"entry {part + 1}" if isinstance(part, int) else str(part) for part in self.place)

    def rests_on(self, place: Place) -> bool:
        """Whether the value at a place, or a part of it, bears on this refusal."""
        return any(_meet(own, place) for own in (self.place, *self.beside))


def refusals(error: ValidationError, model: type[BaseModel], content: Any) -> list[Refusal]:
    """All that is refused, in the order of the model's keys; of alternatives that all fail the first."""
    found: dict[Place, Refusal] = {}
    for item in error.errors():
        one = _refusal(item, model, content)
        if item["type"] != "too_short" or not any(_meet(other, one.place) for other in found):
            found.setdefault(one.place, one)  # a list whose entries are all refused is not empty
    return list(found.values())


def nearest(word: str, known: list[str]) -> str | None:
    """The known word that may be meant."""
    alike = difflib.get_close_matches(word.lower(), [k.lower() for k in known], n=1, cutoff=NEAR)
    return next((k for k in known if alike and k.lower() == alike[0]), None)


def one_of(value: Any, known: list[str]) -> tuple[str, str, str]:
    """(found, accepted, mend) of a word that is none of those known."""
    near = nearest(str(value), known)
    mend = f"write {near}" if near else "write one of them"
    return f"{_shown(value)} is not known", ", ".join(known), mend


def keys_of(model: Any) -> str:
    return f"known keys: {_listed(known_keys(model))}"


def _meet(a: Place, b: Place) -> bool:
    return a[: len(b)] == b[: len(a)]


def _refusal(item: Any, model: type[BaseModel], content: Any) -> Refusal:
    place, field = _placed(tuple(item["loc"]), model, content)
    kind, value = item["type"], item.get("input")
    cause = item.get("ctx", {}).get("error")
    if isinstance(cause, ValueError):
        unfit = Unfit.of(cause)
        own = Refusal(place, unfit.found, unfit.accepted or _accepted(field), unfit.mend or "correct it or its unit")
        return _below(own, unfit)
    if kind == "extra_forbidden":
        return Refusal(place, *_unknown_key(place, model, content))
    if kind == "missing":
        return Refusal(
            place, MISSING, _accepted(field), "add this entry" if isinstance(place[-1], int) else "add this key"
        )
    if kind == "literal_error":
        return Refusal(place, *one_of(value, [str(o) for o in _options(field)]))
    if kind.startswith("date"):
        return Refusal(place, *_date(value))
    if kind in LIMITS:
        name, word = LIMITS[kind]
        limit = item["ctx"][name]
        contrary = word.removeprefix("not ") if word.startswith("not ") else f"not {word}"
        return Refusal(
            place, f"{_shown(value)} is {contrary} {limit}", f"a value {word} {limit:g}", "correct the number"
        )
    if kind == "too_short":
        return Refusal(
            place, "is an empty list", f"at least {item['ctx']['min_length']} entries", "add what belongs there"
        )
    if kind == "too_long":
        most, count = item["ctx"]["max_length"], item["ctx"]["actual_length"]
        return Refusal(place, f"has {count} entries", f"at most {most}", "leave some out")
    if kind.startswith(("model", "dict")):
        return Refusal(place, f"{_shown(value)} is not a mapping of keys", _accepted(field), "write its keys below it")
    if kind.startswith(("tuple", "list")):
        return Refusal(
            place, f"{_shown(value)} is not a list", _accepted(field), "write a list in [ ], or entries with '- '"
        )
    return Refusal(place, f"{_shown(value)} is not what belongs here", _accepted(field), "write it as accepted")


def _below(own: Refusal, unfit: Unfit) -> Refusal:
    beside = tuple(_above((*own.place, *b)) for b in unfit.beside)
    return Refusal(_above((*own.place, *unfit.at)), own.found, own.accepted, own.mend, beside)


def _above(place: Place) -> Place:
    """The place with `..` taken for the level above."""
    found: list[str | int] = []
    for part in place:
        if part == "..":
            found.pop()
        else:
            found.append(part)
    return tuple(found)


def _placed(loc: Place, model: type[BaseModel], content: Any) -> tuple[Place, Any]:
    """The part of a location that stands in the file, and the annotation of its value."""
    place: list[str | int] = []
    at: Any = model
    for number, part in enumerate(loc):
        fields = getattr(_inner(at), "model_fields", {})
        name = next((n for n, f in fields.items() if part in (n, f.alias)), None)
        last = number == len(loc) - 1
        if name is not None:
            place.append(part)
            at, content = fields[name], _part(content, part)
        elif (
            isinstance(part, int)
            or (isinstance(content, dict) and part in content)
            or (last and isinstance(content, dict) and not fields)
        ):
            place.append(part)
            at, content = _entry(at), _part(content, part)
        elif fields and last:  # an unknown key
            place.append(part)
        else:
            break  # the library's name of an alternative
    return tuple(place), at


def _part(content: Any, part: Any) -> Any:
    if isinstance(content, dict):
        return content.get(part)
    return (
        content[part] if isinstance(content, list | tuple) and isinstance(part, int) and part < len(content) else None
    )


def _annotation(at: Any) -> Any:
    return at.annotation if isinstance(at, FieldInfo) else at


def _inner(at: Any) -> Any:
    """The model in an annotation."""
    annotation = _annotation(at)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    if get_origin(annotation) in (tuple, list, dict):
        return None
    return next((found for part in get_args(annotation) if (found := _inner(part)) is not None), None)


def _entry(at: Any) -> Any:
    """Annotation of the entries of a list, or of the values of a mapping."""
    annotation = _annotation(at)
    parts = [part for part in get_args(annotation) if part is not Ellipsis]
    if get_origin(annotation) is dict:
        return parts[1]
    if get_origin(annotation) in (tuple, list):
        return parts[0]
    return next((found for part in parts if (found := _entry(part)) is not None), None)


def known_keys(model: Any) -> list[str]:
    """Keys of a model as a file writes them."""
    inner = _inner(model)
    fields = getattr(inner, "model_fields", {})
    hidden = getattr(inner, "derived", ())
    return [field.alias or name for name, field in fields.items() if name not in hidden]


def _unknown_key(place: Place, model: type[BaseModel], content: Any) -> tuple[str, str, str]:
    key = str(place[-1])
    if re.match(r"\d", key):
        return ("a number where a key should be", "inside { } a decimal comma stands in quotes: '1,5 mm'",
                "put the value into quotes, or write a decimal point")  # fmt: skip
    _, at = _placed(place[:-1], model, content) if len(place) > 1 else ((), model)
    known = known_keys(at)
    near = nearest(key, known)
    if near:
        return "unknown key", f"nearest known key: {near}", f"write {near}, or leave the key out"
    return "unknown key", f"known keys: {_listed(known)}", "leave it out; free text belongs into notes or a comment (#)"


def _options(at: Any) -> list[Any]:
    annotation = _annotation(at)
    if get_origin(annotation) is Literal:
        return list(get_args(annotation))
    return [option for part in get_args(annotation) for option in _options(part)]


def dimension_of(at: Any) -> Dimension | None:
    """The dimension of a field, or of an annotation, that has one."""
    annotation = _annotation(at)
    marks = [*(at.metadata if isinstance(at, FieldInfo) else ()), *getattr(annotation, "__metadata__", ())]
    own = next((m for m in marks if isinstance(m, Dimension)), None)
    return own or next((found for part in get_args(annotation) if (found := dimension_of(part)) is not None), None)


def _accepted(at: Any) -> str:
    """What is accepted, by the annotation."""
    annotation = _annotation(at)
    origin = get_origin(annotation)
    if origin in (tuple, list):
        return f"a list in [ ] of {_accepted(get_args(annotation)[0])}"
    if type(None) in get_args(annotation):
        return next(_accepted(part) for part in get_args(annotation) if part is not type(None))
    dimension = dimension_of(at)
    if dimension is not None:
        return f"number and unit: {dimension.units}"
    if options := _options(annotation):
        return ", ".join(map(str, options))
    if _inner(annotation) is not None:
        return keys_of(annotation)
    if origin is dict:
        return "a mapping of keys"
    plain = {datetime.date: DATE, bool: "true or false", int: "a whole number", float: "a number", str: "text"}
    if annotation in plain:
        return plain[annotation]
    parts = [
        part for part in get_args(annotation) if part is not type(None) and not callable(getattr(part, "func", None))
    ]
    return next((words for part in parts if (words := _accepted(part)) != "see docs/"), "see docs/")


def _date(value: Any) -> tuple[str, str, str]:
    text = str(value).strip()
    match = re.match(r"^(\d{1,2})\s*([./-])\s*(\d{1,2})\s*[./-]\s*(\d{4})$", text, re.ASCII)
    mend = "write year, month and day as numbers"
    if match and match[2] == ".":
        mend = f"write {match[4]}-{int(match[3]):02d}-{int(match[1]):02d} if the day stands first"
    elif match:
        mend = "write the year first; which of the others is the month the file does not say"
    return f"{_shown(value)} is no date that can be read", DATE, mend


def _shown(value: Any) -> str:
    if isinstance(value, dict):
        return "a mapping of keys"
    if isinstance(value, list | tuple):
        return "a list"
    return "nothing" if value is None else repr(str(value)[:60])


def _listed(words: list[str]) -> str:
    return ", ".join(words[:MOST]) + (", ..." if len(words) > MOST else "")
