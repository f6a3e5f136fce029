"""method.yaml: the method with every default filled in, each with what it decides.

Values are written with their SI unit, so that the file is itself a method file and means the same when read back.
"""

import re
from typing import Any

import yaml
from pydantic.fields import FieldInfo

from pipeline.method import SECTIONS, Method
from pipeline.report.reference_pages import dimension_of


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
            lines.append(f"  {key}: {written(field, getattr(settings, key))}")
    return "\n".join(lines) + "\n"


def printable(text: str) -> str:
    """One line of text for a comment."""
    return " ".join(re.sub(r"[^\x20-\x7e\u00a0-\uffff]", " ", text).split())


def written(field: FieldInfo, value: Any) -> str:
    """The value as YAML, with its SI unit where it has one: it reads back to the same value."""
    dimension = dimension_of(field)
    if dimension is not None and dimension.name != "share":
        value = f"{value!r} {dimension.si}"
    listed = list(value) if isinstance(value, tuple) else value
    return yaml.safe_dump(listed, default_flow_style=True, width=10_000).removesuffix("\n...\n").strip()
