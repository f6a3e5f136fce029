"""Invented archives of tests with planted scatter, for the laboratory's statistics."""

from __future__ import annotations

import datetime

import numpy as np

from pipeline.laboratory.readings import LabTest
from pipeline.results.summary import EnergyBalance, Lag, Offsets, StopCounts, TestSummary
from pipeline.results.wear import TestWear
from tests.makers import stops_frame

START = datetime.date(2026, 1, 5)


def lab_test(
    name: str,
    batch: str,
    *,
    day: int = 0,
    compound: str = "Marram 4",
    specimen: str | None = None,
    rig: str = "north",
    state: str = "north",
    mu: float = 0.42,
    stop_sd: float = 0.01,
    block_sd: float = 0.0,
    blocks: int = 3,
    stops: int = 5,
    ratio: float = 1.0,
    torque_zero: float = 5.0,
    wear_um: float | None = None,
    seed: int = 0,
) -> LabTest:
    """A test of check blocks at one condition: level `mu`, relative scatter of blocks and of stops."""
    rng = np.random.default_rng([seed, *map(ord, name)])
    n = blocks * stops
    block = np.repeat(np.arange(blocks), stops)
    ln = np.log(mu) + block_sd * rng.normal(size=blocks)[block] + stop_sd * rng.normal(size=n)
    frame = stops_frame(
        n,
        block=[f"check {b}" for b in block],
        purpose="check",
        mu=np.exp(ln),
        mu_bite=0.9 * np.exp(ln),
        energy_ratio=ratio + 0.002 * rng.normal(size=n),
        temperature_initial_c=300 + rng.normal(0, 2, n),
    )
    summary = TestSummary(
        test=name,
        stops=StopCounts(ok=n),
        offsets=Offsets(torque_nm=torque_zero, pressure_bar=0.1, told_apart=True, how="rest", torque_turned=False),
        lag_s=Lag(value=0.012, stops=n, significant=True),
        energy_balance=EnergyBalance(ratio_median=ratio),
    )
    return LabTest(
        test=name,
        compound=compound,
        batch=batch,
        specimen=specimen or name,
        date=START + datetime.timedelta(days=day),
        rig=rig,
        state=state,
        stops=frame,
        summary=summary,
        wear=wear_of(name, wear_um),
    )


def wear_of(name: str, um: float | None) -> TestWear:
    """A wear result with a rate of the disc known to 1 %, or none."""
    if um is None:
        return TestWear(test=name)
    rate = {"value": um, "low": um * 0.98, "high": um * 1.02}
    return TestWear.model_validate({"test": name, "components": {"disc": {"rates": {"um_per_stop": rate}}}})
