"""Wear of a compound: reads its tests' wear files and hands all tests to the pooled fit."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from pipeline.compound.tests_of import CompoundTest
from pipeline.errors import InputError
from pipeline.heat.of_card import assumed_notes
from pipeline.method.wear import Wear
from pipeline.results.wear import CompoundWear
from pipeline.wear import compound
from pipeline.wear.dwells import placed
from pipeline.wear.members import WearRecord
from pipeline.wear.readings import read_wear


def of_compound(tests: Sequence[CompoundTest], archive: Path, settings: Wear, temperature: str) -> CompoundWear:
    """wear.json of a compound without its heading; `wear_left_out` says why a test's readings take no part."""
    read, left_out = [], {}
    for test in tests:
        try:
            read.append(_read(test, archive))
        except InputError as error:
            left_out[test.name] = str(error)
    found = compound.of_compound(read, settings, temperature)
    assumed = assumed_notes({test.name: test.card for test in tests}, settings) if found.components else []
    notes = [*found.notes, *assumed]
    return CompoundWear(compound="", components=found.components, notes=notes, why=found.why, wear_left_out=left_out)


def _read(test: CompoundTest, archive: Path) -> WearRecord:
    if test.card.wear is None or not len(test.stops):
        raise InputError("the test card names no wear file" if test.card.wear is None else "no stop was found")
    folder = archive / test.name
    readings, _ = read_wear(folder / test.card.wear, inside=folder)
    readings, _ = placed(readings, test.card)
    own = test.wear.components or {}
    ratios = {name: found.mass_to_thickness for name, found in own.items() if found.mass_to_thickness}
    return WearRecord(test.card, test.stops, test.traces, test.summary.missing, readings, ratios)
