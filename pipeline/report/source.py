"""A typed results file as the sheet cites it: a number is picked by a function of the typed result.

`friction.number("mean µ in the window", lambda f: f.window.mu_mean)` shows the value with the unit of the model's own
field and keeps the file and the JSON pointer that it was read from. The function is applied twice, to the result and to
a tracer that only notes the way, so a key that is renamed fails the type check and cannot vanish from a page.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar, get_args, get_origin

from pipeline.report import numbers
from pipeline.report.document import Number
from pipeline.results.model import Interval, Result

T = TypeVar("T")
U = TypeVar("U")
Picked = Interval | float | int | None


class _Way:
    """Notes the attributes and keys by which a function walks through a result."""

    def __init__(self, steps: tuple[str | int, ...] = ()) -> None:
        self._steps = steps

    def __getattr__(self, name: str) -> _Way:
        if name.startswith("__"):
            raise AttributeError(name)
        return _Way((*self._steps, name))

    def __getitem__(self, key: str | int) -> _Way:
        return _Way((*self._steps, key))

    def __contains__(self, key: object) -> bool:
        return True


@dataclass(frozen=True)
class _Leaf:
    """Where a way ends: its pointer, the unit of its field, and why it is null if it is."""

    pointer: str
    unit: str
    why: str | None


@dataclass(frozen=True)
class Cited(Generic[T]):
    """A results file (or a part of it, under `pointer`) and the name by which the sheet cites it."""

    file: str
    result: T
    pointer: str = ""

    def number(
        self,
        label: str,
        pick: Callable[[T], Picked],
        *,
        unit: str | None = None,
        decimals: int | None = None,
        factor: float = 1.0,
        ends: Callable[[T], tuple[Picked, Picked]] | None = None,
        why: str | None = None,
    ) -> Number:
        """The picked number with the unit of its field (`unit` overrides how it is written).

        An `Interval` brings its ends, `ends` names fields that hold them; a null brings its reason, `why` where
        neither it nor anything above it gives one.
        """
        value, leaf = pick(self.result), self._leaf(pick)
        shown = numbers.unit_words(leaf.unit) if unit is None else unit
        low: Any = None
        high: Any = None
        pointer, reason = leaf.pointer, leaf.why
        if isinstance(value, Interval):
            low, high, pointer = value.low, value.high, f"{pointer}/value"
            reason, value = value.why or reason, value.value
        elif ends is not None:
            low, high = ends(self.result)
        if not numbers.is_number(value):
            reason = reason or why or f"{self.file} gives no reason"
            return Number(label, None, shown, self.file, pointer, why=reason, decimals=decimals)
        scaled = [x * factor if numbers.is_number(x) and factor != 1.0 else x for x in (value, low, high)]
        low, high = (x if numbers.is_number(x) else None for x in scaled[1:])
        return Number(label, scaled[0], shown, self.file, pointer, low, high, decimals, factor)

    def part(self, pick: Callable[[T], U | None]) -> Cited[U] | None:
        """A part of the result, cited under its own pointer; None where the result has none."""
        found = pick(self.result)
        return None if found is None else Cited(self.file, found, self._leaf(pick).pointer)

    def each(self, pick: Callable[[T], Sequence[U]]) -> list[Cited[U]]:
        """The entries of a list, each cited under its own pointer."""
        pointer = self._leaf(pick).pointer
        return [Cited(self.file, one, f"{pointer}/{i}") for i, one in enumerate(pick(self.result))]

    def named(self, pick: Callable[[T], Mapping[str, U]]) -> dict[str, Cited[U]]:
        """The entries of a mapping by name, each cited under its own pointer."""
        pointer = self._leaf(pick).pointer
        return {name: Cited(self.file, one, f"{pointer}/{_escaped(name)}") for name, one in pick(self.result).items()}

    def reason(self, pick: Callable[[T], Any], otherwise: str | None = None) -> str:
        """Why the picked value is null: the nearest reason on the way up, else `otherwise`."""
        return self._leaf(pick).why or otherwise or f"{self.file} gives no reason"

    def _leaf(self, pick: Callable[[T], Any]) -> _Leaf:
        """Where the function ends. Below a part that is absent the way goes on by the models' fields."""
        way: Any = _Way()
        here: Any = self.result
        model = type(here) if isinstance(here, Result) else None
        pointer, unit, why = self.pointer, "", None
        for step in pick(way)._steps:
            if model is None:
                pointer += f"/{_escaped(str(step))}"
                here = _item(here, step)
                model = type(here) if isinstance(here, Result) else None
                continue
            name = str(step)
            info = model.model_fields[name]
            extra = info.json_schema_extra
            unit = str(extra.get("unit", "")) if isinstance(extra, dict) else ""
            pointer += f"/{_escaped(info.alias or name)}"
            if here is not None:
                why = here.why_null(name) or getattr(here, "unusable", None) or why
                here = getattr(here, name)
            model = type(here) if isinstance(here, Result) else _model_of(info.annotation) if here is None else None
        return _Leaf(pointer, unit, why)


def _item(here: Any, step: str | int) -> Any:
    """An entry of a list or a mapping; None where there is none."""
    try:
        return None if here is None else here[step]
    except (KeyError, IndexError):
        return None


def _model_of(annotation: Any) -> type[Result] | None:
    """The model of a part that may be absent; None for a plain value, a list or a mapping."""
    if get_origin(annotation) in (list, dict, tuple):
        return None
    for one in (annotation, *get_args(annotation)):
        if isinstance(one, type) and issubclass(one, Result):
            return one
    return None


def _escaped(step: str) -> str:
    """One step of a JSON pointer (RFC 6901, section 3)."""
    return step.replace("~", "~0").replace("/", "~1")
