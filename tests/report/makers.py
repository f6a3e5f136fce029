"""A whole method's results, hand-made to the contract, for the pages: invented numbers, no stage run."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from pipeline.method import Method, stage_settings
from pipeline.results import write_json, write_parquet, write_text
from pipeline.vocabulary import TRACES, conform
from tests.makers import stops_frame

PROGRAMME = (
    ("bed-in", "bedding", 20), ("check 1", "check", 6), ("map low", "map", 24), ("map high", "map", 24), ("check 2", "check", 6),
    ("fade", "fade", 10), ("recovery", "recovery", 8), ("valley duty", "duty", 24), ("check 3", "check", 6),
)  # fmt: skip
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


def curve_mu(temperature_c: np.ndarray | float) -> Any:
    """An invented carbon curve: low when cold, a steep rise near 170 degC, easing when hot."""
    t = np.asarray(temperature_c, dtype=float)
    return 0.15 + 0.31 / (1 + np.exp(-(t - 170) / 18)) - 0.00012 * np.maximum(t - 420, 0)


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
    return conform(pl.concat(parts), TRACES)


def curve_points(low: float = 70, high: float = 610) -> list[dict[str, float]]:
    """The friction curve with bands, as in friction.json."""
    return [
        {"temperature_c": t, "mu": m, "low": m - 0.008, "high": m + 0.008, "tolerance_low": m - 0.03, "tolerance_high": m + 0.03}
        for t in np.linspace(low, high, 55).round(1).tolist() for m in [round(float(curve_mu(t)), 5)]
    ]  # fmt: skip


def friction_json(**changes: Any) -> dict[str, Any]:
    """friction.json of a test (or, with the compound's keys added, of a compound)."""
    base = {
        "test": "m4-a", "method": "first", "stops_used": 61,
        "reference": {"temperature_c": 300.2, "pressure_bar": 40.0, "speed_rpm": 1500.0, "energy_density_j_mm2": 23.3},
        "window": {"low_c": 231.4, "high_c": 604.0, "low_limited_by": "band", "high_limited_by": "data", "mu_mean": 0.4432,
                   "mu_low": 0.436, "mu_high": 0.451, "confidence": 0.95, "coverage": 0.9},
        "curve": curve_points(),
        "sensitivity": {"temperature_per_100c": {"value": -0.0102, "low": -0.014, "high": -0.006},
                        "pressure_per_10bar": {"value": -0.0021, "low": -0.0035, "high": -0.0007},
                        "speed_per_100rpm": None, "energy_per_j_mm2": None,
                        "why": {"speed_per_100rpm": "speed and energy change together in this programme",
                                "energy_per_j_mm2": "speed and energy change together in this programme"}},
        "bedding": {"stops": 12.3, "low": 8.0, "high": 19.0, "mu_start": 0.38, "mu_end": 0.446},
        "fade": {"mu_min": 0.401, "temperature_c": 540.0, "index": 0.902}, "recovery": {"index": 0.991, "stops": 3},
        "surfaces": [{"x": "temperature_c", "y": "energy_density_j_mm2", "x_values": [100, 200, 300, 400], "y_values": [10, 20, 30],
                      "mu": [[0.2, 0.38, 0.45, None], [0.19, 0.37, 0.45, 0.46], [None, 0.36, 0.44, 0.45]]}],
    }  # fmt: skip
    return {**base, **changes}


def wear_json(**changes: Any) -> dict[str, Any]:
    """wear.json of a test with disc and one pad."""
    intervals = [
        {"from_stop": a, "to_stop": b, "wear_um": w, "wear_u_um": 0.8, "wear_g": 0.05 * w, "predicted_um": w + d}
        for a, b, w, d in ((0, 20, 14.2, -0.4), (20, 50, 11.9, 0.6), (50, 80, 21.0, -0.2), (80, 128, 13.1, 0.3))
    ]
    rates = {"um_per_stop": {"value": 0.426, "low": 0.40, "high": 0.452}, "um_per_stop_per_face": {"value": 0.213, "low": 0.2, "high": 0.226},
             "mm3_per_mj": {"value": 68.2, "low": 63.0, "high": 73.5}, "mm3_per_n_m": {"value": 3.1e-5, "low": 2.9e-5, "high": 3.3e-5}}  # fmt: skip
    energy = {"model": "energy", "parameters": {"a": {"value": 1.81, "low": 1.7, "high": 1.92, "unit": "um/MJ"}}, "fixed": {}, "chi2_per_dof": 1.2,
              "aicc": 14.1, "loo_rmse_um": 1.3, "identified": True, "effective": False, "why": ""}  # fmt: skip
    oxidation = {"model": "oxidation", "parameters": {"a": {"value": 1.6, "low": 1.2, "high": 2.0, "unit": "um/MJ"}}, "fixed": {"th0_k": 773.15},
                 "chi2_per_dof": None, "aicc": None, "loo_rmse_um": None, "identified": False, "effective": True,
                 "why": "all blocks lie below 450 degC, where oxidation is too small to see"}  # fmt: skip
    component = {"intervals": intervals, "models": [energy, oxidation], "chosen": "energy", "rates": rates, "map_and_duty": {"um_per_stop_per_face": {"value": 0.213, "low": 0.2, "high": 0.226}, "stops": 72},
                 "law": {"unit": "um/s by oxidation, surface temperature", "points": [
                     {"temperature_c": t, "value": v, "low": 0.8 * v, "high": 1.2 * v} for t, v in ((450.0, 0.001), (600.0, 0.04), (700.0, 0.4))]},
                 "blocks": [{"block": b, "purpose": p} for b, p, _ in PROGRAMME],
                 "shares": [{"block": b, "wear_um": {"mechanical": 0.4 * n, "oxidation_braking": 0.1 * n}} for b, _, n in PROGRAMME],
                 "mass_to_thickness": {"value": 1.04, "low": 0.97, "high": 1.11}}  # fmt: skip
    return {
        "test": "m4-a",
        "method": "first",
        "components": {"disc": component, "pad_inner": {**component, "intervals": intervals[:2]}},
        **changes,
    }


def drift_json(stops: pl.DataFrame, verdict: str = "none", **changes: Any) -> dict[str, Any]:
    """drift.json with evidence and the charts' arrays; a found change starts at stop 104 (100 to 109)."""
    ok = stops.filter(pl.col("mu").is_not_null())
    share = (ok["mu"].to_numpy() / curve_mu(ok["temperature_initial_c"].to_numpy()) - 1).round(5)
    checks, use = ((ok["purpose"] == purpose).to_numpy() for purpose in ("check", "duty"))
    numbers, blocks = ok["stop"].to_numpy(), np.array(ok["block"].to_list())
    found = verdict != "none"
    fall = np.maximum(-share[checks] / 0.015, 0).cumsum()
    charts = {
        "residual": {"stop": numbers[checks].tolist(), "share": share[checks].tolist(), "block": blocks[checks].tolist(),
                     "purpose": ["check"] * int(checks.sum())},
        "use": {"stop": numbers[use].tolist(), "share": share[use].tolist(), "block": blocks[use].tolist()},
        "cusum": {"stop": numbers[checks].tolist(), "fall": fall.tolist(), "rise": [0.0] * int(checks.sum()), "limit": 6.1},
        "ewma": {"stop": numbers[checks].tolist(), "value": (share[checks] / 0.02).tolist(), "limit": 1.7},
    }  # fmt: skip
    items = {"energy_ratio": {"answer": "steady", "value": 0.0004, "low": -0.001, "high": 0.0018, "threshold": 0.02, "unit": "share",
                              "words": "energy ratio changed by +0.0 %: steady, so the torque chain is not the cause"}}  # fmt: skip
    base = {
        "test": "m4-a", "method": "first", "verdict": verdict, "onset_stop": 104 if found else None, "onset_low": 100 if found else None,
        "onset_high": 109 if found else None, "mu_loss": 0.041 if found else None, "mu_loss_share": 0.091 if found else None,
        "recovered": None, "recovered_reason": "no high-energy stops follow", "onset_reason": "no statistic passed its limit", "also": [],
        "mu_loss_reason": "no statistic passed its limit",
        "evidence": {"why": "friction fell with low-energy use" if found else "no statistic passed its limit",
                     "words": ["friction at the check fell 0.041 (0.035 to 0.047) from stop 104"] if found else [],
                     "items": {verdict: items} if found else {}, "not_excluded": ["a gain of the pressure sensor"] if found else [], "record_next": [],
                     "matched_stops": int(checks.sum())},
        "charts": charts,
    }  # fmt: skip
    return {**base, **changes}


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


def summary_json(stops: pl.DataFrame, **own: Any) -> dict[str, Any]:
    """summary.json with an energy balance and a budget."""
    counts = dict(stops["status"].value_counts().iter_rows()) if len(stops) else {}
    return {
        **own, "stops": counts, "offsets": {"torque_nm": 4.8, "pressure_bar": 0.02}, "drag": {"a_nm": 3.1, "b_nm_per_rad_s": 0.012},
        "lag_s": {"value": 0.004, "scatter": 0.001},
        "energy_balance": {"ratio_median": 1.0004, "ratio_scatter": 0.0031, "gain": 1.0003, "gain_low": 0.9991, "gain_high": 1.0016,
                           "intercept_nm": 0.4, "trend_per_100_stops": 0.0001, "candidates": []} if len(stops) else {},
        "mu_u_common_relative": 0.0112, "budget": [{"source": "torque", "relative_u": 0.0031, "part": "common"},
                                                   {"source": "effective radius", "relative_u": 0.0022, "part": "common"},
                                                   {"source": "scatter in the window", "relative_u": 0.006, "part": "stop"}],
        "missing": [],
    }  # fmt: skip


TARGET = """\
compound: Marram 4
temperature_window: [280 degC, 580 degC]
mu: [0.38, 0.56]
mu_batch_margin: 0.03
disc_wear: 0.25 um
wear_batch_ratio: [0.8, 1.25]
"""


def batches_json() -> dict[str, Any]:
    """batches.json with three batches: a pair equivalent, a pair different, a pair undecided."""
    names, mus = ("M4-2406", "M4-2407", "M4-2409"), (0.452, 0.449, 0.401)
    listed = [
        {"batch": n, "tests": [f"m4-{n[-1]}"], "specimens": 2, "mu": {"value": m, "low": m - 0.011, "high": m + 0.011},
         "bite": {"value": 0.14, "low": 0.12, "high": 0.16}, "wear_um_per_stop": {"value": 0.43, "low": 0.39, "high": 0.47}}
        for n, m in zip(names, mus, strict=True)
    ]  # fmt: skip
    pairs = [
        {"a": a, "b": b, "mu_difference": {"value": d, "low": d - 0.016, "high": d + 0.016}, "mu_verdict": v, "mu_why": w,
         "bite_difference": {"value": 0.001, "low": -0.02, "high": 0.022}, "bite_verdict": "equivalent",
         "wear_ratio": {"value": 1.02, "low": 0.88, "high": 1.19}, "wear_verdict": "equivalent", "caveat": None}
        for a, b, d, v, w in (
            ("M4-2406", "M4-2407", 0.003, "equivalent", None), ("M4-2406", "M4-2409", 0.051, "different", None),
            ("M4-2407", "M4-2409", 0.048, "undecided", "2 more specimens of each batch would decide it"),
        )
    ]  # fmt: skip
    reference = {"temperature_c": 300.2, "pressure_bar": 40.0, "speed_rpm": 1500.0, "energy_density_j_mm2": 23.3}
    specimens = [
        {"batch": n, "specimen": s, "value": m + d}
        for n, m in zip(names, mus, strict=True)
        for s, d in (("A", 0.002), ("B", -0.002))
    ]
    return {
        "compound": "Marram 4",
        "method": "first",
        "reference": reference,
        "batches": listed,
        "pairs": pairs,
        "specimen_values": {"mu": specimens},
    }


def duty_json() -> dict[str, Any]:
    """duty.json with one duty that has an opening to run and one that has none."""
    sweep = [{"opening": o, "temperature_low_c": 700 - 500 * o, "temperature_high_c": 800 - 480 * o, "window_share": s, "life_km": 4.6 * n}
             for o, s, n in ((0.0, 0.2, 900.0), (0.25, 0.7, 1500.0), (0.5, 0.95, 2100.0), (0.75, 0.9, 2300.0), (1.0, 0.6, 2350.0))]  # fmt: skip
    base = {"opening": 0.5, "temperature_low_c": 341.2, "temperature_high_c": 498.7, "window_share": 0.953, "glazing_share": 0.0,
            "wear_um_per_cycle": {"disc": {"value": 1.9, "low": 1.7, "high": 2.1}, "pad": {"value": 2.6, "low": 2.2, "high": 3.0}},
            "life_cycles": {"value": 2105.0, "low": 1900.0, "high": 2350.0}, "life_km": {"value": 9683.0, "low": 8740.0, "high": 10810.0},
            "opening_to_run": {"low": 0.42, "high": 0.66}, "extrapolated": [], "sweep": sweep, "life_limited_by": "disc",
            "history": {"time_s": [0.0, 10.0, 20.0], "temperature_c": [341.2, 498.7, 345.0]}}  # fmt: skip
    valley = {**base, "duty": "valley route", "opening_to_run": None, "why": "no opening keeps the disc inside the window",
              "window_share": 0.12, "extrapolated": ["power density under the lowest tested"]}  # fmt: skip
    return {"compound": "Marram 4", "method": "first", "duties": [{"duty": "ridge route", **base}, valley]}


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
    files = {"friction": friction_json(compound="Marram 4"), "wear": wear_json(compound="Marram 4"), "batches": batches_json(), "duty": duty_json(),
             "repeatability": {"sigma": 0.006}, **changes}  # fmt: skip
    for name, content in files.items():
        write_json(into / f"{name}.json", content)
    target_file = root / "targets" / "marram-4.yaml"
    write_text(target_file, TARGET)
    return {"compound": "Marram 4", "archive": root / "archive", "tests": list(tests), "results": root / "results" / "first", "method": "first",
            "target": target_file if target else None, "settings": DEFAULT_SETTINGS, "into": into}  # fmt: skip


#: words of the fixtures that hold digits and are printed as they are
BATCH_WORDS = (
    "Marram 4 2026-02-16 M4-2406 M4-2407 M4-2409 2026-03-02 m4-a m4-b 2 more specimens of each batch would decide it torque has 3 spikes 1 test before and 0 after below 450 degC",
)


def results_of_delta(folder: Path) -> Path:
    """Write delta.parquet and delta.json of an invented change of average; returns where the page goes."""
    stops = stops_of_programme()
    delta = stops.select(
        pl.lit("m4-a").alias("test"), "stop", "block", pl.col("mu").alias("mu_a"), pl.col("mu_energy").alias("mu_b"),
        (pl.col("mu_energy") - pl.col("mu")).alias("mu_difference"), pl.col("energy_kj").alias("energy_kj_a"), pl.col("energy_kj").alias("energy_kj_b"),
        pl.col("status").alias("status_a"), pl.col("status").alias("status_b"), "purpose", "temperature_initial_c", "mu_u",
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
    write_json(folder / "delta.json", {
        "a": "first", "b": "revised", "settings": [{"name": "reduction.average", "a": "time", "b": "distance", "meaning": "weights of the nominal mu"}],
        "overview": {"stops": 128, "with_mu_in_both": 127, "only_a": 0, "only_b": 0, "mu_unchanged": 0, "energy_unchanged": 128, "energy_changed": 0,
                     "status_changed": 0, "change": change},
        "classes": [{"low_c": None, "high_c": 100.0, "stops": 12, **change, "comparable": False}, {"low_c": 100.0, "high_c": None, "stops": 115, **change, "comparable": True}],
        "blocks": [{"test": "m4-a", "block": "check 1", "purpose": "check", "stops": 6, "mu_a": 0.45, "mu_b": 0.451, **change}],
        "largest": delta.filter(pl.col("mu_difference").is_not_null()).head(3).select("test", "stop", "block", "mu_a", "mu_b", "mu_difference", "temperature_initial_c").to_dicts(),
        "status_changes": [], "conclusions": [{"scope": "test", "name": "m4-a", "what": "window", "a": "231 to 604 degC", "b": "228 to 604 degC", "changed": True}],
        "changed": [{"scope": "test", "name": "m4-a", "what": "window", "a": "231 to 604 degC", "b": "228 to 604 degC", "changed": True}],
        "comparable": {"answer": "in part", "text": "comparable: from 100 degC; not comparable: stops below 100 degC", "classes": []}, "not_reprocessable": ["old-1"],
    })  # fmt: skip
    return folder / "delta.html"


def full_friction_json(**changes: Any) -> dict[str, Any]:
    """friction.json with all that the friction stage gives beyond the contract."""
    side = {"side": "low-energy side", "answer": "not shown", "text": "low-energy side: not shown; no fade",
            "questions": [{"question": "mu in the fade", "answer": "not shown", "value": None, "text": "no fade block was run"}]}  # fmt: skip
    mark = {"value": 0.157, "low": 0.14, "high": 0.18, "temperature_c": 57.0}
    bite = {"temperature_c": 98.5, "mu_bite": 0.146, "mu": 0.239, "ratio": 0.65, "stops": 40}
    return friction_json(**{
        "wanted_mu": [0.38, 0.56], "wanted_from": "target",
        "holds": {"answer": "no", "from_c": 280.0, "to_c": 580.0, "fails": [], "not_shown": [], "why": "fails from 560 to 580 C"},
        "sides": {"answer": "not shown", "low_energy": side, "high_energy": side, "text": "both"},
        "landmarks": {"cold_friction": mark, "transition": {"value": 168.0, "low": 160.0, "high": 177.0, "note": None, "slope_per_100c": 0.3},
                      "plateau": {**mark, "from_c": 255.0, "to_c": 355.0}, "high_temperature_change": {**mark, "sign": "falls"}},
        "bite": {"reference": bite, "coldest": bite, "why": None},
        "pauses": [{"stop": 21, "block": "check 1", "pause_h": 5.0, "temperature_c": 298.0, "mu": 0.44, "ratio": 0.97, "against": "map",
                    "bite_ratio": 0.9, "stops_to_normal": None}],
        "in_stop": {"classes": [{"from_c": 0, "to_c": 150, "stops": 8, "in_stop_per_100k": 0.2, "in_stop_u": 0.02, "between_stops_per_100k": 0.1,
                                 "between_stops_u": 0.02, "rise_k": 80.0, "surface_rise_k": 200.0, "agrees": False, "text": "they disagree"}],
                    "rise": [{"energy_from_j_mm2": 8.7, "energy_to_j_mm2": 20.0, "state": "cold", "stops": 6, "rise": 1.6, "rise_low": 1.4, "rise_high": 1.9}],
                    "disagreements": ["they disagree"], "surface": {"assumed": ["conductivity"], "valid_s": 1.6, "valid_why": None}, "why": None},
        "diagnostics": {"stops": [{"stop": s, "block": "check 1", "standardised": 0.3, "influence": 0.1, "held_back": s == 22} for s in range(21, 27)]},
        "gaps": [{"from_c": 400.0, "to_c": 480.0}], "left_out": [{"block": "check 3", "stops": [123], "shift": -0.09, "u": 0.01, "why": "check 3 lies -9 % off"}],
        "model": {"effects": "multiply mu", "kept": ["pressure"], "dropped": {"speed": "not told apart"}, "chosen_because": "it predicts best", "strays_held_back": 1},
        "between": {"unit": "relative", "specimen_sd": 0.02, "batch_sd": None, "batch_why": "one batch", "stop_sd": 0.01},
        **changes,
    })  # fmt: skip
