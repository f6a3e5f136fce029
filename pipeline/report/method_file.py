"""method.yaml: the method with every default filled in, each with what it decides.

Values are written with their SI unit, so that the file is itself a method file and means the same when read back.
"""

import re
from typing import Any

import yaml
from pydantic import ValidationError

from pipeline.method import SECTIONS, Method

UNITS = (
    "", "s", "Hz", "%", "Pa", "N m", "kg m^2", "K", "rad/s", "m", "m^2", "m/s", "W/m^2", "J/m^2", "J/(kg K)", "W/K", "W/(m K)", "kg", "m/s^2",
)  # fmt: skip


def filled_text(method: Method, name: str) -> str:
    """The YAML text of a filled method; every value reads back to the one in use."""
    lines = [
        f"# Method {printable(name)} with every default filled in. SI units; a comment says what a setting decides."
    ]
    for section in SECTIONS:
        settings = getattr(method, section)
        model: Any = type(settings)
        lines += ["", f"{section}:"]
        for key, field in model.model_fields.items():
            if field.description:
                lines.append(f"  # {printable(field.description)}")
            lines.append(f"  {key}: {written(model, key, getattr(settings, key))}")
    return "\n".join(lines) + "\n"


def printable(text: str) -> str:
    """One line of text for a comment."""
    return " ".join(re.sub(r"[^\x20-\x7e\u00a0-\uffff]", " ", text).split())


def written(model: Any, key: str, value: Any) -> str:
    """The value as YAML with the unit under which the model reads the same value back."""
    for candidate in spellings(value):
        try:
            if getattr(model.model_validate({key: candidate}), key) == value:
                return yaml.safe_dump(candidate, default_flow_style=True, width=10_000).removesuffix("\n...\n").strip()
        except ValidationError:
            continue
    return yaml.safe_dump(value, default_flow_style=True).removesuffix("\n...\n").strip()


def spellings(value: Any) -> list[Any]:
    """Ways to write a value: as it is, and numbers with each unit."""
    if isinstance(value, bool) or value is None or isinstance(value, str):
        return [value]
    if isinstance(value, tuple | list):
        return [list(value), *[[f"{item!r} {unit}" for item in value] for unit in UNITS[1:]]]
    if isinstance(value, int | float):
        return [value, *[f"{value!r} {unit}" for unit in UNITS[1:]]]
    return [value]
