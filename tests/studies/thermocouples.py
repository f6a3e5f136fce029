"""Are depth, lag and loss while braking right, as the thermocouple's course within the stops has them, and what is the loss worth to the law?

    python -m tests.studies.thermocouples [--count 24] [--seed 3] [--write]

Compounds of tests.studies.face_compounds, braked at a third of the pressure for three times as long, with a thermocouple 3 to 8 mm below the face, 0.1 to 0.8 s late, its readings scattering by
0.8 K. Two of three discs lose heat from their faces while they brake: convection of 50 to 300 W/(m2 K) and radiation at an emissivity of
0.8, of which the card says nothing; the others lose none. The law is fitted with what the readings show, and without. With --write the figures go to
docs/thermocouple_study.md.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any
from unittest import mock

import numpy as np
import polars as pl

from pipeline.face import of_compound as face
from pipeline.face import readings
from pipeline.face.of_compound import FaceTest
from pipeline.friction.comparison import best_map
from pipeline.method.friction import Friction
from pipeline.results.face import FaceLaw
from tests.studies import face_compounds
from tests.studies.face_compounds import Made
from tests.studies.face_law import SETTINGS, finely, given_tests, rms

PAGE = Path(__file__).parents[2] / "docs" / "thermocouple_study.md"
NOISE_K, AIR_C, GENTLE = 0.8, 22.0, 0.35


def losing(seed: int, number: int) -> Made:
    """A compound whose disc loses heat while it brakes; every third loses none."""
    rng = np.random.default_rng([seed, number])
    of = face_compounds.some_compound(rng)
    reference = replace(of.reference, pressure_bar=GENTLE * of.reference.pressure_bar)
    of = face_compounds.varied(of, pressures=tuple(GENTLE * p for p in of.pressures), reference=reference)
    if number % 3 != 2:
        disc = replace(
            of.disc, convection=float(np.exp(rng.uniform(np.log(50), np.log(300)))), emissivity=0.8, air=AIR_C
        )
        of = face_compounds.varied(of, disc=disc)
    with finely():
        return face_compounds.made(of, rng)


def as_read(made: Made, seed: int, number: int) -> list[FaceTest]:
    """The compound's tests, thermocouples scattering; every second card states a conductivity, wrong by a tenth."""
    rng = np.random.default_rng([seed, number, 1])
    tests = given_tests(made, number % 2 == 0, rng)
    return [
        replace(t, traces=t.traces.with_columns(pl.col("disc_temperature_c") + rng.normal(0, NOISE_K, len(t.traces))))
        for t in tests
    ]


def examine(seed: int, number: int) -> dict[str, Any]:
    """Figures of one compound: those of its first test's thermocouple, and the law's with the loss and without."""
    made = losing(seed, number)
    tests, disc = as_read(made, seed, number), made.compound.disc
    map_ = best_map(made.stops, Friction(), temperature="initial").map
    found = face.of_compound(tests, map_, SETTINGS, 0.004).result
    with mock.patch.object(readings, "losing", lambda _tests, inputs, _read: inputs):
        without = face.of_compound(tests, map_, SETTINGS, 0.004).result
    first = found.thermocouples[0]
    row: dict[str, Any] = {
        "loses": disc.convection > 0,
        "why": first.why,
        "used": any(h.name == "heat lost" for h in found.heat),
    }
    for key, interval, true in (("depth", first.depth_mm, disc.depth * 1e3), ("lag", first.lag_s, disc.lag)):
        if interval.value is not None and interval.low is not None and interval.high is not None:
            row[f"{key} off"] = interval.value - true
            row[f"{key} held"] = interval.low <= true <= interval.high
    for name, law in (("with", found), ("without", without)):
        row |= {f"{name} {key}": value for key, value in of_law(law, made).items()}
    return row


def of_law(law: FaceLaw, made: Made) -> dict[str, Any]:
    cells = next((r for r in law.left_out if r.what == "cells"), None)
    off = {h.name: float(np.log(h.value / getattr(made.compound.disc, h.name.replace(" ", "_")))) for h in law.heat[:2]}
    return {
        "cells": None if cells is None else cells.law, "shape": None if cells is None else cells.shape_law,
        "conductivity": off.get("conductivity"), "share": off.get("heat share"),
        "barred": any("limit" in note or "settle" in note for note in law.notes),
    }  # fmt: skip


def study(seed: int, count: int) -> list[dict[str, Any]]:
    return [examine(seed, number) for number in range(count)]


def page(rows: list[dict[str, Any]], seed: int) -> str:
    """The study's page."""
    kinds = {
        "discs that lose heat while braking": [r for r in rows if r["loses"]],
        "discs that lose none": [r for r in rows if not r["loses"]],
    }
    lines = [
        "# What thermocouples' courses within the stops say, and what it is worth to the law at the face",
        "",
        "Written by `python -m tests.studies.thermocouples --write`; nothing here is typed by hand.",
        "",
        f"{len(rows)} invented compounds, seed {seed}, discs by finite volumes of the study's own with a heat capacity that is not the analysis' table, stops of some 5 to 15 s: a thermocouple 3 to 8 mm",
        "below the face, 0.1 to 0.8 s late, readings scattering by 0.8 K. Two of three discs lose heat from their faces while they brake (convection of 50 to",
        "300 W/(m2 K), emissivity 0.8, of which no card says anything). *With* and *without*: the law with the loss that the readings show, and with none.",
        "",
        "| | " + " | ".join(kinds) + " |",
        "|---|" + "---|" * len(kinds),
    ]

    def values(of: list[dict[str, Any]], key: str) -> list[float]:
        return [r[key] for r in of if r.get(key) is not None]

    def told(name: str, each: Any) -> None:
        lines.append(f"| {name} | " + " | ".join(each(of) for of in kinds.values()) + " |")

    def share(key: str) -> Any:
        return lambda of: f"{np.mean(values(of, key)):.2f}" if values(of, key) else "none"

    told("compounds", lambda of: str(len(of)))
    told("readings that tell nothing", lambda of: str(sum(r["why"] is not None for r in of)))
    told("a loss is shown and used", share("used"))
    told("depth told", lambda of: str(len(values(of, "depth off"))))
    told("its error, rms (mm)", lambda of: f"{rms(values(of, 'depth off')):.2f}")
    told("inside its 95 % interval", share("depth held"))
    told("lag: error, rms (s)", lambda of: f"{rms(values(of, 'lag off')):.2f}")
    told("inside its 95 % interval", share("lag held"))
    for what, key in (("law: left-out cell, rms error in mu, median", "cells"), ("law: in-stop shape of left-out cells, rms error in mu, median", "shape")):  # fmt: skip
        for name in ("without", "with"):
            told(f"{what}, {name}", lambda of, k=f"{name} {key}": f"{np.median(values(of, k)):.4f}")
    for what, key in (("conductivity of the law, rms error (ln)", "conductivity"), ("heat share of the law, rms error (ln)", "share")):  # fmt: skip
        for name in ("without", "with"):
            told(f"{what}, {name}", lambda of, k=f"{name} {key}": f"{rms(values(of, k)):.3f}")
    for name in ("without", "with"):
        told(f"laws that their heat inputs rule out, {name}", share(f"{name} barred"))
    lines.append("")
    return "\n".join(lines)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=24)
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    text = page(study(options.seed, options.count), options.seed)
    print(text)
    if options.write:
        PAGE.write_text(text, encoding="utf-8")
