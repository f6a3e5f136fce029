"""The settings in which two methods differ, by name."""

from __future__ import annotations

from collections.abc import Iterable

from pipeline.method import SECTIONS, Method, differing_keys
from pipeline.results.delta import Setting


def differing(a: Method, b: Method, sections: Iterable[str] = tuple(SECTIONS)) -> list[Setting]:
    """Every setting of the sections that is not the same, SI values side by side, in the order of the method file."""
    rows = []
    for section, key in differing_keys(a, b, sections):
        field = type(getattr(a, section)).model_fields[key]
        old, new = (getattr(method, section).model_dump(mode="json")[key] for method in (a, b))
        rows.append(Setting(name=f"{section}.{field.alias or key}", a=old, b=new, meaning=field.description or ""))
    return rows
