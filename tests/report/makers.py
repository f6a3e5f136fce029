"""A whole method's results, hand-made to docs/contract.md, for the pages: invented numbers, no stage run."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.archive.targets import Target
from pipeline.conformity.of_compound import of_compound
from pipeline.inputs.model import load
from pipeline.method import Method, stage_settings
from pipeline.report import per_test_findings, per_test_page
from pipeline.results import write_json, write_parquet, write_text
from pipeline.results.batches import CompoundBatches
from pipeline.results.compound_friction import CompoundFriction
from pipeline.results.duty import CompoundDuty
from pipeline.results.model import read
from pipeline.results.wear import CompoundWear
from pipeline.vocabulary import TRACES, conform
from tests.makers import stops_frame
from tests.report.contents import (
    PROGRAMME,
    batches_json,
    curve_mu,
    drift_json,
    duty_json,
    friction_json,
    full_friction_json,
    summary_json,
    wear_json,
)

CARD = """\
schema: 1
compound: {compound}
batch: {batch}
specimen: {specimen}
date: 2026-03-02
rig: north
procedure: characterisation
notes: {notes}
brake:
  friction_ring: {{outer_diameter: 312 mm, inner_diameter: 220 mm}}
  effective_radius: 134 mm
  pistons_per_side: [30 mm, 34 mm, 38 mm]
  pad_area: 52 cm^2
  disc: {{mass: 1.7 kg, thickness: 28 mm, minimum_thickness: 24 mm, density: 1.78 g/cm^3, heat_capacity: carbon}}
  pad: {{mass: 0.22 kg, thickness: 24 mm, minimum_thickness: 10 mm, density: 1.78 g/cm^3}}
inertia: 22 kg m^2
rolling_radius: 330 mm
recordings:
  files: recordings/*.csv
  channels:
    time: {{column: t, unit: s}}
    speed: {{column: n, unit: rpm}}
    torque: {{column: Mb, unit: N m}}
    pressure: {{column: p, unit: bar}}
    disc_temperature: {{column: T1, unit: degC}}
blocks:
  - {{name: bed-in, purpose: bedding, kind: snub, stops: 20, speed: [1500 rpm, 500 rpm], pressure: 40 bar, initial_temperature: 250 degC}}
  - {{name: check 1, purpose: check, kind: snub, stops: 6, speed: [1500 rpm, 500 rpm], pressure: 40 bar, initial_temperature: 300 degC}}
"""
DEFAULT_SETTINGS = stage_settings(
    Method(), "conditioning", "segmentation", "reduction", "friction", "wear", "drift", "batches", "duty"
)


def stops_of_programme(*, glaze: float = 0.0, seed: int = 1) -> pl.DataFrame:
    """A programme's stops; from the duty on, mu falls by `glaze` in all. Stop 40 is suspect, stop 55 rejected."""
    rng = np.random.default_rng(seed)
    blocks = [name for name, _, n in PROGRAMME for _ in range(n)]
    purposes = [purpose for _, purpose, n in PROGRAMME for _ in range(n)]
    n = len(blocks)
    temperature = np.full(n, 300.0)
    for i, (block, purpose) in enumerate(zip(blocks, purposes, strict=True)):
        spread = {"bedding": (250, 20), "check": (300, 4), "fade": (450, 80), "recovery": (330, 30), "duty": (130, 15)}
        if purpose == "map":
            temperature[i] = rng.uniform(60, 300) if block == "map low" else rng.uniform(280, 620)
        else:
            temperature[i] = rng.normal(*spread[purpose])
    pressure = np.where(np.array(purposes) == "map", rng.choice([20.0, 40.0, 60.0], n), 40.0)
    speed = np.where(np.array(purposes) == "map", rng.choice([1000.0, 1500.0, 2200.0], n), 1500.0)
    late = np.cumsum(np.array(purposes) == "duty") / 24
    mu = curve_mu(temperature) * (1 - 0.02 * np.log(pressure / 40)) - glaze * late + rng.normal(0, 0.006, n)
    energy = 0.5 * 22 * ((speed * np.pi / 30) ** 2 - (500 * np.pi / 30) ** 2) / 1e3
    status = np.array(["ok"] * n, dtype=object)
    status[39], status[54] = "suspect", "rejected"
    rise = np.where(temperature < 180, 0.35, 0.02)
    keep = [None if s == "rejected" else 1.0 for s in status]
    found = pl.Series([[] if s == "ok" else ["stop_aborted"] for s in status], dtype=pl.List(pl.String))

    def unless_rejected(values: np.ndarray) -> list[float | None]:
        return [float(v) if k else None for v, k in zip(values, keep, strict=True)]

    return stops_frame(
        n, block=blocks, purpose=purposes, temperature_initial_c=temperature, temperature_end_c=temperature + 90,
        temperature_mean_c=temperature + 45, temperature_peak_c=temperature + 100, pressure_bar=pressure,
        speed_start_rpm=speed, energy_kj=energy, kinetic_energy_kj=energy * 1.002, energy_ratio=rng.normal(1.0, 0.003, n),
        energy_density_j_mm2=energy * 1e3 / 10400, power_density_w_mm2=energy * 1e3 / 10400 / 3, mu=unless_rejected(mu),
        mu_u=unless_rejected(np.full(n, 0.006)), mu_bite=unless_rejected(mu * (1 - rise / 2)), mu_time=unless_rejected(mu * (1 + rise / 20)),
        mu_distance=unless_rejected(mu), mu_energy=unless_rejected(mu * (1 + rise / 10)), mu_start=unless_rejected(mu * (1 - rise)),
        mu_end=unless_rejected(mu * (1 + rise)), mu_min=unless_rejected(mu * (1 - 1.1 * rise)), mu_max=unless_rejected(mu * (1 + 1.1 * rise)),
        status=list(status), findings=found,
    )  # fmt: skip


def traces_of(stops: pl.DataFrame, points: int = 40) -> pl.DataFrame:
    """Short traces with a build-up (mu null) and a plateau for every stop."""
    t = np.linspace(0, 3, points)
    parts = []
    for row in stops.iter_rows(named=True):
        built = 1 - np.exp(-t / 0.1)
        mu = np.interp(t, [0.3, 3], [row["mu_start"] or 0, row["mu_end"] or 0])
        parts.append(pl.DataFrame({
            "stop": [row["stop"]] * points, "time_s": t, "speed_rpm": np.interp(t, [0, 3], [row["speed_start_rpm"], 500]),
            "torque_nm": built * 900, "pressure_bar": built * row["pressure_bar"],
            "disc_temperature_c": np.interp(t, [0, 3], [row["temperature_initial_c"], row["temperature_end_c"]]),
            "mu": [float(m) if s > 0.3 and row["mu"] is not None else None for m, s in zip(mu, t, strict=True)],
        }))  # fmt: skip
    return conform(pl.concat(parts, how="vertical_relaxed"), TRACES)


def results_of_test(root: Path, test: str, *, glaze: float = 0.0, verdict: str = "none", unusable: str | None = None, notes: str = "none",
                 compound: str = "Marram 4", batch: str = "M4-2406", specimen: str = "A", seed: int = 1) -> dict[str, Path]:  # fmt: skip
    """Write one test's archive folder and its results under `root`; returns the paths that the page's stage wants."""
    folder, into = root / "archive" / test, root / "results" / "first" / "tests" / test
    text = CARD.format(compound=compound, batch=batch, specimen=specimen, notes=notes)
    write_text(folder / "test.yaml", text)
    stops = stops_of_programme(glaze=glaze, seed=seed)
    record = root / "results" / "channels" / f"{test}.json"
    if unusable:
        stops = stops.clear()
    rows = [
        {"recording": i, "file": f"recordings/{i:04d}.csv", "rows": 400, "error": None, "duplicate_of": None}
        for i in range(1, len(stops) + 1)
    ]
    write_json(record, {"test": test, "unusable": unusable, "holds": "stop", "recordings": rows, "findings": []})
    write_parquet(into / "stops.parquet", stops)
    write_parquet(
        into / "traces.parquet",
        traces_of(stops) if len(stops) else conform(pl.DataFrame(schema={"stop": pl.Int64}), TRACES),
    )
    own = {"test": test, "method": "first", "unusable": unusable}
    write_json(into / "summary.json", summary_json(stops, **own))
    write_json(into / "stops_findings.json", {**own, "findings": [] if unusable else [
        {"code": "stop_aborted", "severity": "rejected", "stop": 55, "file": "recordings/0055.csv", "channel": "pressure", "start_s": 6600.0,
         "end_s": 6601.2, "message": "braking was broken off at 1100 rpm", "evidence": {"energy_share": 0.41}, "action": "none"},
        {"code": "spike", "severity": "suspect", "stop": 40, "file": "recordings/0040.csv", "channel": "torque", "start_s": 4800.5, "end_s": 4800.6,
         "message": "torque has 3 spikes", "evidence": {"spikes": 3, "largest_nm": 410.0}, "action": "look at the connector"}]})  # fmt: skip
    empty = {"unusable": unusable} if unusable else {}
    write_json(
        into / "friction.json",
        friction_json(test=test)
        if not unusable
        else {"test": test, "window": None, "window_reason": unusable, **empty},
    )
    write_json(into / "wear.json", wear_json(test=test) if not unusable else {"test": test, "components": {}, **empty})
    write_json(into / "wear_findings.json", {"test": test, "findings": []})
    write_json(
        into / "drift.json",
        drift_json(stops, verdict, test=test)
        if not unusable
        else {"test": test, "verdict": None, "why": unusable, **empty},
    )
    rigs = root / "results" / "first" / "rigs.json"
    write_json(
        rigs,
        {
            "method": "first",
            "findings": [],
            "examined": [
                {
                    "rig": "north",
                    "date": "2026-02-16",
                    "events": [{"date": "2026-02-16", "what": "calibration", "note": "torque cell"}],
                    "shift_relative": None,
                    "friction": {"found": False, "step": 0.002, "low": -0.02, "high": 0.024},
                    "energy_ratio": {"found": False, "why": "1 test before and 0 after"},
                    "before": [],
                    "tests": [test],
                }
            ],
        },
    )
    return {"folder": folder, "record": record, "rigs": rigs, "into": into}


TARGET = """\
compound: Marram 4
temperature_window: [280 degC, 580 degC]
mu: [0.38, 0.56]
mu_batch_margin: 0.03
disc_wear: 0.25 um
wear_batch_ratio: [0.8, 1.25]
"""


def results_of_compound(
    root: Path, tests: tuple[str, ...] = ("m4-a", "m4-b"), *, target: bool = True, **changes: Any
) -> dict[str, Any]:
    """Write a compound's tests and files under `root`; returns the arguments of the sheet's stage."""
    for index, test in enumerate(tests):
        batch, specimen = f"M4-240{6 + index // 2}", "AB"[index % 2]
        results_of_test(root, test, batch=batch, specimen=specimen, seed=index + 1)
        folder = root / "results" / "first" / "tests" / test
        write_json(folder / "findings.json", {"test": test, "method": "first", "findings": [
            {"code": "spike", "severity": "suspect", "stop": 40, "file": "recordings/0040.csv", "channel": "torque", "start_s": 1.0, "end_s": 1.1,
             "message": "torque has 3 spikes", "evidence": {}, "action": "look at the connector"}]})  # fmt: skip
    into = root / "results" / "first" / "compounds" / "marram-4"
    write_text(into / "extracts" / "rigs.json", (root / "results" / "first" / "rigs.json").read_text())
    files = {"friction": friction_json(compound="Marram 4"), "wear": wear_json(compound="Marram 4"), "batches": batches_json(), "duty": duty_json(),
             "repeatability": {"compound": "Marram 4", "sigma": 0.006}, **changes}  # fmt: skip
    for name, content in files.items():
        write_json(into / f"{name}.json", content)
    target_file = root / "targets" / "marram-4.yaml"
    write_text(target_file, TARGET)
    if "targets" not in changes:
        write_json(into / "targets.json", targets_json(into, target_file if target else None))
    return {"compound": "Marram 4", "archive": root / "archive", "tests": list(tests), "results": root / "results" / "first", "method": "first",
            "target": target_file if target else None, "settings": DEFAULT_SETTINGS, "into": into}  # fmt: skip


def targets_json(into: Path, target: Path | None) -> dict[str, Any]:
    """targets.json as the compound stage gives it for these files; the tests' wear is left to the compound's."""
    names = {"friction": CompoundFriction, "wear": CompoundWear, "batches": CompoundBatches, "duty": CompoundDuty}
    files: dict[str, Any] = {name: read(into / f"{name}.json", model) for name, model in names.items()}
    return of_compound(
        None if target is None else load(target, Target),
        None,
        compound="Marram 4",
        tests=[],
        coverage=0.9,
        lives={},
        **files,
    ).model_dump(mode="json", by_alias=True)


def lowered(into: Path, *, block: str, temperature_c: float, mu: float) -> None:
    """Rewrite a test's stops so that a block starts at one temperature and reads one mu."""
    stops = pl.read_parquet(into / "stops.parquet")
    own = pl.col("block") == block
    changed = [
        pl.when(own).then(value).otherwise(pl.col(name)).alias(name)
        for name, value in (("temperature_initial_c", temperature_c), ("mu", mu))
    ]
    write_parquet(into / "stops.parquet", stops.with_columns(changed))


def contents_of(stops: pl.DataFrame) -> dict[str, Any]:
    """The files of a test and its compound, whole."""
    return {
        "friction": full_friction_json(), "compound-friction": full_friction_json(compound="Marram 4"), "wear": wear_json(),
        "compound-wear": wear_json(compound="Marram 4"), "drift": drift_json(stops, "glazing-like"),
        "summary": summary_json(stops, test="m4-a", method="first", unusable=None), "batches": batches_json(), "duty": duty_json(),
    }  # fmt: skip


def page_of_test(paths: dict[str, Path], *, renamed: str | None = None) -> Path:
    """Findings and page of the test that `results_of_test` wrote; returns the page."""
    per_test_findings.run(**paths, method="first", renamed=renamed)
    of_page = {name: path for name, path in paths.items() if name != "rigs"}
    per_test_page.run(**of_page, method="first", settings=DEFAULT_SETTINGS)
    return paths["into"] / "test.html"


def workspace(root: Path) -> Path:
    """A workspace with one test and its compound, as after their stages; returns the method's results folder."""
    results_of_compound(root, ("m4-a",))
    write_text(root / "methods" / "first.yaml", "reduction: {average: energy}\ndrift: {false_alarm_rate: 2 %}\n")
    files = "archive: archive\nresults: results\nmethods: [methods/first.yaml]\ntargets: targets/*.yaml\n"
    write_text(root / "config.yaml", files)
    return root / "results" / "first"


#: words of the fixtures that hold digits and are printed as they are
BATCH_WORDS = (
    "Marram 4 m4-6 m4-7 m4-9 2026-02-16 M4-2406 M4-2407 M4-2409 2026-03-02 m4-a m4-b 2 more specimens of each batch would decide it torque has 3 spikes 1 test before and 0 after below 450 degC",
)


def results_of_delta(folder: Path, *, traces: bool = False) -> Path:
    """Write delta.parquet, delta.json, shares.json and shares.parquet of an invented change of average; returns where the page goes.

    traces: also what both methods' results hold of the stops of m4-a, in the results that the folder lies in.
    """
    stops = stops_of_programme()
    delta = stops.select(
        pl.lit("m4-a").alias("test"), "stop", "block", pl.col("mu").alias("mu_a"), pl.col("mu_energy").alias("mu_b"),
        (pl.col("mu_energy") - pl.col("mu")).alias("mu_difference"), pl.col("energy_kj").alias("energy_kj_a"), pl.col("energy_kj").alias("energy_kj_b"),
        pl.col("status").alias("status_a"), pl.col("status").alias("status_b"), "purpose", "temperature_initial_c", "energy_density_j_mm2", "mu_u",
        pl.col("stop").alias("stop_a"), pl.col("stop").alias("stop_b"),
    )  # fmt: skip
    write_parquet(folder / "delta.parquet", delta)
    change = {
        "median": 0.0004,
        "p05": 0.0,
        "p95": 0.006,
        "largest": 0.011,
        "relative_median": 0.001,
        "relative_p05": 0.0,
        "relative_p95": 0.03,
    }
    known = delta.filter(pl.col("mu_difference").is_not_null()).head(3)
    largest = known.select(
        "test", "stop", "block", "mu_a", "mu_b", "mu_difference", "temperature_initial_c", "purpose", "stop_a", "stop_b"
    ).to_dicts()
    window = {
        "scope": "test",
        "name": "m4-a",
        "what": "window",
        "a": "231 to 604 °C",
        "b": "228 to 604 °C",
        "kind": "figure",
        "moved": "inside",
        "changed": False,
    }
    drift = {"scope": "test", "name": "m4-a", "what": "drift", "a": "none", "b": "undetermined", "changed": True}
    figures = [
        {
            "of": "Marram 4",
            "part": "Friction",
            "what": "cold friction",
            "a": "0.16 (0.15 to 0.17)",
            "b": "0.20 (0.19 to 0.21)",
            "moved": "beyond",
            "relative": 0.25,
        },
        {"of": "m4-a", "part": "Test", "what": "window", "a": "231 to 604 °C", "b": "228 to 604 °C", "moved": "inside"},
    ]
    classes = [
        {"low_c": None, "high_c": 100.0, "stops": 12, **change, "comparable": False},
        {"low_c": 100.0, "high_c": None, "stops": 115, **change, "comparable": True},
    ]
    cells = [{**row, "high_j_mm2": 20.0} for row in classes]
    write_json(folder / "delta.json", {
        "a": "first", "b": "revised", "verdict": ["1 verdict changed: drift of m4-a.", "2 figures moved: 1 inside their intervals, 1 beyond: cold friction."],
        "settings": [{"name": "reduction.average", "a": "time", "b": "distance", "meaning": "weights of the nominal mu"}],
        "overview": {"stops": 128, "with_mu_in_both": 127, "only_a": 0, "only_b": 0, "mu_unchanged": 0, "energy_unchanged": 128, "energy_changed": 0,
                     "status_changed": 0, "change": change},
        "classes": classes,
        "blocks": [{"test": "m4-a", "block": "check 1", "purpose": "check", "stops": 6, "mu_a": 0.45, "mu_b": 0.451, **change}],
        "largest": largest, "examples": largest[:1],
        "status_changes": [], "conclusions": [window, drift], "changed": [drift],
        "figures": {"compared": 40, "unmoved": 38, "inside": 1, "beyond": 1, "moved": figures},
        "comparable": {"answer": "in part", "text": "comparable from 100 °C, not below", "classes": [], "ranges": cells}, "not_reprocessable": ["old-1"],
    })  # fmt: skip
    _shares_of_delta(folder, largest[0]["stop"])
    for method in ("first", "revised") if traces else ():
        place = folder.parents[1] / method / "tests" / "m4-a"
        write_parquet(place / "stops.parquet", stops)
        write_parquet(place / "traces.parquet", traces_of(stops))
    return folder / "delta.html"


def _shares_of_delta(folder: Path, stop: int) -> None:
    """Two settings alone on one of three tests: of 2 % that stops below 100 degC move one does 3 % and one takes 1.2 % off."""
    runs = {"reduction.average": 0.03, "reduction.build_up": -0.012, "interaction": 0.002, "together": 0.02}
    parts = {
        name: {
            "classes": [
                {"low_c": None, "high_c": 100.0, "stops": 12, "mean": mean, "p05": mean - 0.001, "p95": mean + 0.001}
            ],
            "every": {"stops": 12, "mean": mean, "p05": mean - 0.001, "p95": mean + 0.001},
            "windows": [{"test": "m4-a", "low_k": 100 * mean, "high_k": None}],
        }
        for name, mean in runs.items()
    }
    alone = [{"name": name, **parts[name]} for name in ("reduction.average", "reduction.build_up")]
    write_json(folder / "shares.json", {
        "a": "first", "b": "revised", "tests": ["m4-a", "m4-b"], "tests_of": 3, "left_out": {"m4-b": "only reduced rows were kept"}, "reductions": 2,
        "stops": 12, "stops_of": 13, "settings": alone, "interaction": parts["interaction"], "together": parts["together"],
    })  # fmt: skip
    rows = {"test": ["m4-a"] * 4, "stop": [stop] * 4, "setting": list(runs), "mu_relative": list(runs.values())}
    write_parquet(folder / "shares.parquet", pl.DataFrame(rows))
