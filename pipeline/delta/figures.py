"""Figures of two methods' sheets and tests, held against their intervals.

Every number of a sheet's result sections is paired with the same number of the other sheet, by file and label and, where several of a list are
called alike, by what stands first in their item (the temperature of a point of the curve). A number that stands twice on a sheet counts
once. Numbers about the data and their uncertainty are left out: they are not what a sheet states of the material. Of the
tests the ends of the window and the drift's onset count.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from pipeline.delta.moved import ORDER, Stated, held, wider
from pipeline.results.delta import Conclusion, Figure, Figures
from pipeline.results.sheet import PrintedNumber, PrintedSection, Sheet

NOT_OF_THE_MATERIAL = ("Identity", "Rig and method", "Data quality", "Uncertainty and comparability")
ITEM = re.compile(r".*/\d+(?=/)")  # of a JSON pointer, the innermost item of a list
Key = tuple[str, str]


@dataclass(frozen=True)
class Number:
    """A number of a sheet: where it stands and what it is."""

    part: str
    what: str
    printed: PrintedNumber

    @property
    def stated(self) -> Stated | None:
        one = self.printed
        if one.value is None:
            return None
        return Stated(float(one.value), one.low, one.high, one.text.split(" (")[0])


def numbers(sheet: Sheet | None) -> dict[Key, Number]:
    """Numbers of a sheet's result sections by file and name, each once."""
    found: dict[Key, Number] = {}
    seen: set[Key] = set()
    for section in sheet.sections if sheet else []:
        if section.title in NOT_OF_THE_MATERIAL:
            continue
        for what, one in _named(section):
            if (one.file, one.key) not in seen:
                seen.add((one.file, one.key))
                found.setdefault((one.file, what), Number(section.title, what, one))
    return found


def _named(section: PrintedSection) -> Iterator[tuple[str, PrintedNumber]]:
    """The section's numbers, those that are called alike told apart; what names an item of a list is no figure of its own."""
    often = Counter(one.label for one in section.numbers)
    places: Counter[str] = Counter()
    first: dict[Key, PrintedNumber] = {}
    for one in section.numbers:
        item = ITEM.match(one.key)
        head = first.setdefault((one.file, item[0]), one) if item else None
        if often[one.label] < 2:
            yield one.label, one
        elif head is None:
            places[one.label] += 1
            yield one.label if places[one.label] == 1 else f"{one.label} ({places[one.label]})", one
        elif head is not one:
            yield f"{one.label}, {head.label} {head.text}", one


def of_sheets(compound: str, a: Sheet | None, b: Sheet | None) -> Figures:
    """The figures of one compound's sheets, without those of its tests."""
    old, new = numbers(a), numbers(b)
    states: Counter[str] = Counter()
    moved = []
    alone: tuple[list[str], list[str]] = ([], [])
    for key in dict.fromkeys([*old, *new]):
        one, other = old.get(key), new.get(key)
        before, after = (None if side is None else side.stated for side in (one, other))
        if before is None or after is None:
            if before is not None or after is not None:
                alone[0 if after is None else 1].append(f"{compound}: {key[1]}")
            continue
        state = held(before, after)
        states[state] += 1
        if state != "no" and one is not None and other is not None:
            moved.append(
                Figure(
                    of=compound, part=one.part, what=one.what, a=one.printed.text, b=other.printed.text, moved=state,
                    relative=(after.value - before.value) / abs(before.value) if before.value else None, wider=wider(before, after),
                    file=one.printed.file,
                )
            )  # fmt: skip
    return _counted(states, moved, alone)


def of_tests(conclusions: Iterable[Conclusion]) -> Figures:
    """The figures of tests: their conclusions that are none of words."""
    rows = [row for row in conclusions if row.scope == "test" and row.kind == "figure"]
    moved = [
        Figure(of=row.name, part="Test", what=row.what, a=str(row.a), b=str(row.b), moved=row.moved)
        for row in rows
        if row.moved != "no"
    ]
    return _counted(Counter(row.moved for row in rows), moved, ([], []))


def _counted(states: Mapping[str, int], moved: list[Figure], alone: tuple[list[str], list[str]]) -> Figures:
    return Figures(
        compared=sum(states.values()), unmoved=states.get("no", 0), inside=states.get("inside", 0), beyond=states.get("beyond", 0),
        no_interval=states.get("no interval", 0), only_a=alone[0], only_b=alone[1], moved=moved,
    )  # fmt: skip


def together(parts: Iterable[Figures]) -> Figures:
    """All of them, those beyond their intervals first, of each kind what moved most."""
    every = list(parts)
    moved = [figure for part in every for figure in part.moved]
    return Figures(
        compared=sum(part.compared for part in every),
        unmoved=sum(part.unmoved for part in every),
        inside=sum(part.inside for part in every),
        beyond=sum(part.beyond for part in every),
        no_interval=sum(part.no_interval for part in every),
        only_a=[name for part in every for name in part.only_a],
        only_b=[name for part in every for name in part.only_b],
        moved=sorted(moved, key=lambda figure: (ORDER.index(figure.moved), -abs(figure.relative or 0.0))),
    )
