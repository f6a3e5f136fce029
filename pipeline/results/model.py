"""What a stage writes, as types: one frozen model for each results file, written in one way and read in one way.

A field says its unit and meaning once, here: docs/results.md and the JSON Schema of each file follow from it, and so
does the unit under which a page shows it. A number that cannot be given is null and the model says why beside it
(`why_null`); a file whose stage could not do its work says so in `unusable` and holds its other fields at nothing.
Key order is the order of the fields, so that equal results are equal bytes.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from pipeline.errors import InputError
from pipeline.results.files import digest, plain, version, write_json


class Result(BaseModel):
    """A part of a results file: frozen, unknown keys refused, numpy scalars taken as numbers, NaN as null."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        populate_by_name=True,
        json_schema_serialization_defaults_required=True,
        defer_build=True,  # a stage starts without building the models that it does not use
    )

    @model_validator(mode="before")
    @classmethod
    def _plain(cls, content: Any) -> Any:
        if not isinstance(content, dict):
            return content
        return {key: _number(value) for key, value in content.items()}

    def why_null(self, name: str) -> str | None:
        """The reason that stands beside a null field: `<name>_reason`, `<name>_why`, or `why` (a text, or texts by
        key).
        """
        for key in (f"{name}_reason", f"{name}_why"):
            found = getattr(self, key, None)
            if isinstance(found, str) and found:
                return found
        why = getattr(self, "why", None)
        if isinstance(why, dict):
            found = why.get(name)
            return str(found) if found else None
        return why if isinstance(why, str) and why else None


def _number(value: Any) -> Any:
    """numpy scalars and arrays as plain numbers; a number that is not finite is a number that cannot be given."""
    kind = type(value)
    if kind is float:  # the usual cases first: a curve is thousands of them
        return value if math.isfinite(value) else None
    if value is None or kind is str or kind is int or kind is bool:
        return value
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return None
    if isinstance(value, list | tuple):
        return [_number(one) for one in value]
    return value


def given(meaning: str, unit: str = "", **options: Any) -> Any:
    """A field of a result: what it means and in which unit it stands; without a default it must be given."""
    return Field(**options, description=meaning, json_schema_extra={"unit": unit} if unit else None)


class Interval(Result):
    """A value with its interval, at the confidence that the file states (95 % where it states none)."""

    value: float | None = given("best estimate; null where it cannot be given", default=None)
    low: float | None = given("lower end of the interval", default=None)
    high: float | None = given("upper end of the interval", default=None)
    why: str | None = given("why there is no value", default=None)


class Stamp(Result):
    """What a result rests on."""

    stage: str = given("stage that wrote the file")
    revision: int = given("revision of the stage's numbers")
    settings: dict[str, Any] | None = given("the stage's settings and their revisions", default=None)
    software: str = given("version of the software")
    inputs: dict[str, str] = given("digest of every file read, by name", default_factory=dict)


USUAL_CONFIDENCE = 0.95


def confidence_of(made: Stamp | None, section: str) -> float:
    """Confidence of a file's intervals: what a section of the settings in its stamp says, 95 % where there is none."""
    sections = (made.settings if made is not None else None) or {}
    found = sections.get("settings", sections).get(section, {}).get("confidence", USUAL_CONFIDENCE)
    return float(found)


def stamp(stage: str, revision: int, settings: str, inputs: dict[str, Path]) -> Stamp:
    """What a result rests on; `settings` is the stage's canonical JSON string."""
    digests = {name: digest(path) for name, path in sorted(inputs.items()) if path.is_file()}
    given_settings = json.loads(settings) if settings else None
    return Stamp(stage=stage, revision=revision, settings=given_settings, software=version(), inputs=digests)


class OfTest(Result):
    """A results file of one test."""

    test: str = given("test's id")
    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why the stage could not do its work; null where it could", default=None)


class OfCompound(Result):
    """A results file of one compound."""

    compound: str = given("compound, as the cards name it")
    method: str | None = given("method's id", default=None)
    unusable: str | None = given("why the stage could not do its work; null where it could", default=None)


R = TypeVar("R", bound=Result)


def write(path: Path, result: Result) -> None:
    """Write a result whole or not at all; floats to nine digits, null for what cannot be given."""
    write_json(path, result.model_dump(mode="python", by_alias=True))


def read(path: Path, model: type[R]) -> R:
    """Read a results file. Raises InputError naming file and key where it is not what the stage writes."""
    try:
        return model.model_validate(json.loads(path.read_text(encoding="utf-8")))
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "file"
        raise InputError(
            f"{path}: {where}: {first['msg']}; not written by this version of the software, run again"
        ) from error
    except (ValueError, RecursionError) as error:  # no JSON, no UTF-8, nested without end
        raise InputError(f"{path}: not readable as JSON; delete it and run again") from error


def read_or_none(path: Path, model: type[R]) -> R | None:
    """`read`, or None where there is no such file."""
    return read(path, model) if path.is_file() else None


def as_read(result: R) -> R:
    """The result as a reader of its file gets it, for what goes on from it without a file."""
    return type(result).model_validate(plain(result.model_dump(mode="python", by_alias=True)))


def renewed(result: R, **changes: Any) -> R:
    """The result with some fields changed, checked like a new one."""
    return type(result).model_validate(fields(result) | changes)


def fields(result: Result) -> dict[str, Any]:
    """The result's fields by name, its parts as they are: to build a larger result from a part that it shares."""
    return {name: getattr(result, name) for name in type(result).model_fields}


__all__ = [
    "Interval",
    "OfCompound",
    "OfTest",
    "Result",
    "Self",
    "Stamp",
    "as_read",
    "fields",
    "given",
    "read",
    "read_or_none",
    "renewed",
    "stamp",
    "write",
]
