"""What the sheet is made from: every file loaded once, under the name by which the sheet cites it."""

import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from pipeline import vocabulary
from pipeline.archive.card import Card, load_card
from pipeline.archive.targets import Target
from pipeline.errors import InputError
from pipeline.inputs.model import load as load_model
from pipeline.method import Method, from_stage_settings
from pipeline.report.document import Source
from pipeline.report.source import Cited
from pipeline.results import read_json, read_table
from pipeline.results.batches import CompoundBatches
from pipeline.results.drift import TestDrift
from pipeline.results.duty import CompoundDuty
from pipeline.results.model import read_or_none
from pipeline.results.rigs import Rigs

TEST_FILES = ("summary", "friction", "wear", "findings")
COMPOUND_FILES = ("friction", "wear")


@dataclass(frozen=True)
class OfTest:
    """One test's card and results."""

    test: str
    card: Card | None
    card_error: str | None
    facts: Source
    counts: Source
    stops: pl.DataFrame
    summary: Source
    friction: Source
    wear: Source
    drift: Cited[TestDrift]
    findings: Source

    @property
    def unusable(self) -> str | None:
        """Why the test can't be used, or None."""
        return self.card_error or self.summary.data.get("unusable") or None


@dataclass(frozen=True)
class Inputs:
    """All that a compound's sheet is made from."""

    compound: str
    method: str
    settings: Method
    digest: str
    software: str
    tests: Sequence[OfTest]
    friction: Source
    wear: Source
    batches: Cited[CompoundBatches]
    duty: Cited[CompoundDuty]
    rigs: Cited[Rigs]
    target: Source | None

    @property
    def usable(self) -> list[OfTest]:
        """The tests that can be used and count: a copy of another's recordings does not."""
        left_out = self.friction.get("/tests_left_out") or {}
        return [test for test in self.tests if not test.unusable and test.test not in left_out]


def load(
    *, compound: str, archive: Path, tests: Sequence[str], results: Path, method: str, target: Path | None, settings: str, into: Path, software: str
) -> Inputs:  # fmt: skip
    """Read every file of the compound and its tests; a missing file is an empty one that says so."""
    own = {name: _json(into / f"{name}.json", f"compounds/{into.name}/{name}.json") for name in COMPOUND_FILES}
    batches, duty = (f"compounds/{into.name}/{name}.json" for name in ("batches", "duty"))
    return Inputs(
        compound=compound, method=method, settings=from_stage_settings(settings),
        digest=hashlib.sha256(settings.encode()).hexdigest()[:16], software=software,
        tests=[of_test(name, archive / name, results / "tests" / name) for name in tests],
        target=target_source(target) if target else None, rigs=Cited("rigs.json", read_or_none(results / "rigs.json", Rigs) or Rigs(unusable="rigs.json does not exist")),
        batches=Cited(batches, read_or_none(into / "batches.json", CompoundBatches)
                      or CompoundBatches(compound=compound, unusable=f"{batches} does not exist")),
        duty=Cited(duty, read_or_none(into / "duty.json", CompoundDuty)
                   or CompoundDuty(compound=compound, unusable=f"{duty} does not exist")),
        **own,
    )  # fmt: skip


def _json(path: Path, name: str) -> Source:
    if not path.is_file():
        return Source(name, {"why": f"{name} does not exist"})
    content = read_json(path)
    return Source(name, content if isinstance(content, Mapping) else {"rows": content})


def of_test(name: str, folder: Path, results: Path) -> OfTest:
    """One test's files; a card that can't be read leaves its message."""
    try:
        card, error = load_card(folder), None
    except InputError as problem:
        card, error = None, str(problem)
    path = results / "stops.parquet"
    stops = read_table(path) if path.is_file() else vocabulary.empty(vocabulary.STOPS)
    found = {key: _json(results / f"{key}.json", f"tests/{name}/{key}.json") for key in TEST_FILES}
    drift = f"tests/{name}/drift.json"
    drifted = read_or_none(results / "drift.json", TestDrift) or TestDrift(
        test=name, unusable=f"{drift} does not exist"
    )
    return OfTest(
        name, card, error, Source(f"archive/{name}/test.yaml", card_facts(card) if card else {"why": error}),
        Source(f"tests/{name}/stops.parquet", stop_counts(stops)), stops, drift=Cited(drift, drifted), **found,
    )  # fmt: skip


def card_facts(card: Card) -> dict[str, Any]:
    """The card's figures under the keys of test.yaml, in the sheet's units (mm, cm², bar, kg m²)."""
    brake, disc, pad, ring = card.brake, card.brake.disc, card.brake.pad, card.brake.friction_ring

    def scaled(value: float | None, factor: float) -> float | None:
        return None if value is None else round(value * factor, 9)

    why = "not stated in test.yaml"
    return {
        "why": why, "inertia": card.inertia, "inertia_mechanical": card.inertia_mechanical, "rolling_radius": scaled(card.rolling_radius, 1e3),
        "brake": {
            "why": why, "effective_radius": scaled(brake.effective_radius, 1e3), "pad_area": scaled(brake.pad_area, 1e4), "pads": brake.pads,
            "efficiency": brake.efficiency, "threshold_pressure": scaled(brake.threshold_pressure, 1e-5), "piston_area": scaled(brake.piston_area, 1e4),
            "friction_ring": {"why": why, "outer_diameter": scaled(ring.outer_diameter, 1e3) if ring else None,
                              "inner_diameter": scaled(ring.inner_diameter, 1e3) if ring else None},
            "disc": {"why": why, "mass": disc.mass, "thickness": scaled(disc.thickness, 1e3), "minimum_thickness": scaled(disc.minimum_thickness, 1e3),
                     "density": scaled(disc.density, 1e-3)},
            "pad": {"why": why, "mass": pad.mass, "thickness": scaled(pad.thickness, 1e3), "minimum_thickness": scaled(pad.minimum_thickness, 1e3),
                    "density": scaled(pad.density, 1e-3)},
        },
    }  # fmt: skip


def stop_counts(stops: pl.DataFrame) -> dict[str, Any]:
    """Counts and simple statistics of a stops table, each under words that say how to get it from the table."""
    by_status = dict(stops["status"].value_counts().iter_rows()) if len(stops) else {}
    counts: dict[str, Any] = {"rows": len(stops)}
    counts |= {f"rows where status is {name}": int(by_status.get(name, 0)) for name in ("ok", "suspect", "rejected")}
    for column in ("energy_ratio", "mu_bite", "temperature_initial_c", "energy_density_j_mm2", "power_density_w_mm2"):
        values = stops.filter(pl.col("status") == "ok")[column].drop_nulls()
        for name in ("min", "median", "max"):
            found = getattr(values, name)()
            counts[f"{name} of {column} where status is ok"] = (
                None if found is None or not math.isfinite(found) else found
            )
    counts["why"] = "no stop with status ok has it"
    return counts


def target_source(path: Path) -> Source | None:
    """The target's figures in the sheet's units (°C, µm), under its own keys."""
    name = f"targets/{path.name}"
    try:
        target = load_model(path, Target)
    except InputError as error:
        return Source(name, {"why": str(error)})
    window, mu, ratio = target.temperature_window, target.mu, target.wear_batch_ratio
    return Source(name, {
        "why": "not stated in the target",
        "temperature_window": [round(t - 273.15, 6) for t in window] if window else None,
        "mu": list(mu) if mu else None, "mu_batch_margin": target.mu_batch_margin,
        "disc_wear": None if target.disc_wear is None else round(target.disc_wear * 1e6, 9),
        "wear_batch_ratio": list(ratio) if ratio else None,
    })  # fmt: skip
