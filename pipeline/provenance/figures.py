"""Which printed number is meant by a path in sheet.json, by what the sheet prints of it, or by the key that it was read from."""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from pipeline.errors import InputError
from pipeline.results.sheet import PrintedNumber, Sheet

SHOWN = 6  # names offered


@dataclass(frozen=True)
class Printed:
    """A number with its part of the sheet and its path in sheet.json."""

    part: str
    path: str
    number: PrintedNumber

    @property
    def name(self) -> str:
        """Part and label, by which it can be asked for."""
        return f"{self.part}: {self.number.label}"

    @property
    def source(self) -> tuple[str, str]:
        """File and key that it was read from."""
        return self.number.file, self.number.key


def printed(sheet: Sheet) -> Iterator[Printed]:
    """Every number of the sheet, in reading order."""
    for k, section in enumerate(sheet.sections):
        for n, number in enumerate(section.numbers):
            yield Printed(section.title, f"sections.{k}.numbers.{n}", number)


def asked(sheet: Sheet, figure: str) -> Printed:
    """The number that is meant. Raises InputError with the nearest names where there is none, or where several are meant."""
    every = list(printed(sheet))
    wanted = _plain(figure)
    ways: tuple[Callable[[Printed], bool], ...] = (
        lambda one: wanted == one.path or wanted.startswith(f"{one.path}."),
        lambda one: wanted == _plain(one.name),
        lambda one: wanted == _plain(one.number.label),
        lambda one: wanted in (_dotted(*one.source), _dotted("", one.number.key)),
        lambda one: wanted == _plain(one.number.text),
    )
    for way in ways:
        found = {one.source: one for one in reversed(every) if way(one)}
        if len(found) == 1:
            return next(iter(found.values()))
        if found:
            raise InputError(f"{figure!r} is more than one number; write one of: {_offered(found.values())}")
    raise InputError(f"{figure!r} is no number of the sheet; nearest: {_nearest(every, wanted)}")


def _plain(text: str) -> str:
    return " ".join(text.split()).lower()


def _dotted(file: str, key: str) -> str:
    name = file.rsplit("/", 1)[-1].removesuffix(".json")
    return ".".join(filter(None, [name, key.strip("/").replace("/", ".")])).lower()


def _offered(found: Iterable[Printed]) -> str:
    every = list(found)
    shown = [f"{one.path} ({one.name} = {one.number.text})" for one in every[::-1][:SHOWN]]
    more = len(every) - len(shown)
    return "; ".join([*shown, *([f"and {more} more"] if more > 0 else [])])


def _nearest(every: list[Printed], wanted: str) -> str:
    words = {name: one for one in every for name in (_plain(one.name), _plain(one.number.label), _dotted(*one.source))}
    near = difflib.get_close_matches(wanted, list(words), n=SHOWN, cutoff=0.4)
    held = set(re.findall(r"\w{3,}", wanted))
    if not near and held:
        near = sorted(words, key=lambda name: -len(held & set(re.findall(r"\w{3,}", name))))[:SHOWN]
    return "; ".join(dict.fromkeys(words[name].name for name in near or list(words)[:SHOWN]))
