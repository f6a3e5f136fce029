"""Wear of a compound: the laws fitted to the intervals of all its tests at once.

The tests' stops are counted on after each other, so that every interval keeps its own stops; readings of different
tests share nothing, so the covariance is block-diagonal. Where single tests were cut off differently, each law still
sees exactly what was braked between two readings.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
from scipy.linalg import block_diag

from pipeline.compound.tests_of import CompoundTest
from pipeline.errors import InputError
from pipeline.method.wear import Wear
from pipeline.wear.components import component
from pipeline.wear.exposure import joined
from pipeline.wear.intervals import Intervals, intervals
from pipeline.wear.of_stops import TestExposure, test_exposure
from pipeline.wear.readings import read_wear
from pipeline.wear.result import component_result

Part = tuple[CompoundTest, TestExposure, Intervals]


def of_compound(tests: Sequence[CompoundTest], archive: Path, settings: Wear, temperature: str) -> dict[str, Any]:
    """wear.json of a compound without its heading; `tests` under each component names those that were read."""
    parts: dict[str, list[Part]] = {}
    left_out = {}
    for test in tests:
        try:
            for name, part in _measured(test, archive, settings, temperature):
                parts.setdefault(name, []).append(part)
        except InputError as error:
            left_out[test.name] = str(error)
    components = {name: _component(name, found, settings) for name, found in sorted(parts.items())}
    why = None if components else "no test of the compound has wear readings"
    return {"components": components, "wear_left_out": left_out, "why": why}


def _measured(test: CompoundTest, archive: Path, settings: Wear, temperature: str) -> list[tuple[str, Part]]:
    """Each component's intervals of one test beside the test's exposure."""
    if test.card.wear is None or not len(test.stops):
        raise InputError("the test card names no wear file" if test.card.wear is None else "no stop was found")
    folder = archive / test.name
    readings, _ = read_wear(folder / test.card.wear, inside=folder)
    missing = list(test.summary.get("missing") or [])
    exposed = test_exposure(test.stops, test.traces, missing, test.card, settings, temperature)
    found = []
    for name in sorted(set(readings["component"])):
        measured = intervals(
            readings.filter(pl.col("component") == name),
            component(name, test.card),
            assumed_thickness=settings.thickness_u,
            assumed_mass=settings.mass_u,
            last_stop=int(exposed.run_number.max()),
        )
        if measured is not None:
            found.append((name, (test, exposed, measured)))
    return found


def _component(name: str, parts: list[Part], settings: Wear) -> dict[str, Any]:
    exposed, measured = _counted_on(parts)
    result = component_result(
        measured,
        component(name, parts[0][0].card),
        exposed,
        th0_k=settings.central_temperature,
        p0_w_mm2=settings.power_reference / 1e6,
        confidence=settings.confidence,
    )
    ratios = [r for t, _, _ in parts if (r := _own(t, name).get("mass_to_thickness"))]
    return result | {
        "tests": [test.name for test, _, _ in parts],
        "mass_to_thickness": _middle(ratios),
        "mass_to_thickness_why": None if ratios else "no test gives one",
    }


def _counted_on(parts: list[Part]) -> tuple[TestExposure, Intervals]:
    """All tests as one, the stops of each counted on after the one before."""
    lasts = [max(int(e.run_number.max()), int(m.to_stop.max())) for _, e, m in parts]
    offsets = np.concatenate([[0], np.cumsum(lasts)[:-1]])
    first = parts[0][1]
    exposed = TestExposure(
        stops=joined([e.stops for _, e, _ in parts]),
        run_number=np.concatenate([e.run_number + o for (_, e, _), o in zip(parts, offsets, strict=True)]),
        block=[f"{t.name}: {b}" for t, e, _ in parts for b in e.block],
        purpose=[p for _, e, _ in parts for p in e.purpose],
        filled=sum(e.filled for _, e, _ in parts),
        dwell_known=float(np.mean([e.dwell_known for _, e, _ in parts])),
        surface=next((e.surface for _, e, _ in parts if e.surface != "modelled"), "modelled"),
        curve=first.curve,
    )
    measured = Intervals(
        from_stop=np.concatenate([m.from_stop + o for (_, _, m), o in zip(parts, offsets, strict=True)]),
        to_stop=np.concatenate([m.to_stop + o for (_, _, m), o in zip(parts, offsets, strict=True)]),
        wear=np.concatenate([m.wear for _, _, m in parts]),
        covariance=np.asarray(block_diag(*[m.covariance for _, _, m in parts])),
        dof=float(sum(m.dof for _, _, m in parts)),
        source=parts[0][2].source,
        details=[d for _, _, m in parts for d in m.details],
    )
    return exposed, measured


def _own(test: CompoundTest, name: str) -> dict[str, Any]:
    return dict((test.wear.get("components") or {}).get(name) or {})


def _middle(ratios: list[dict[str, Any]]) -> dict[str, Any] | None:
    """Median over the tests with the widest of their intervals."""
    known = [r for r in ratios if r.get("value") is not None]
    if not known:
        return None
    return {"value": float(np.median([r["value"] for r in known])), "low": min(r["low"] for r in known),
            "high": max(r["high"] for r in known)}  # fmt: skip
