"""The settings in which two methods differ, by name."""

from __future__ import annotations

from pipeline.method import SECTIONS, Method
from pipeline.results.delta import Setting


def differing(a: Method, b: Method) -> list[Setting]:
    """Every setting that is not the same, SI values side by side, in the order of the method file."""
    rows = []
    for section in SECTIONS:
        values = [getattr(method, section).model_dump(mode="json") for method in (a, b)]
        for key, field in type(getattr(a, section)).model_fields.items():
            old, new = (value[key] for value in values)
            if old != new:
                name = f"{section}.{field.alias or key}"
                rows.append(Setting(name=name, a=old, b=new, meaning=field.description or ""))
    return rows
