"""A compound's archive and its tests' results on disk, made to docs/contract.md, with a known friction curve."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import yaml

from pipeline.method import Method, settings_of
from pipeline.results import write_json, write_parquet, write_text
from pipeline.vocabulary import TRACES, empty
from tests.makers import stops_frame
from tests.report.makers import curve_mu
from tests.rigs.makers import card_content

SETTINGS = settings_of(Method(), "compound")


def program(level: float, seed: int):
    """Checks, then a map over 60 to 600 degC and pressure, checks again; carbon's curve scaled by `level`."""
    rng = np.random.default_rng(seed)
    temperature = np.concatenate([rng.normal(300, 3, 8), rng.uniform(60, 600, 60), rng.normal(300, 3, 8)])
    n = len(temperature)
    pressure = np.where((np.arange(n) >= 8) & (np.arange(n) < 68), rng.choice([20.0, 40.0, 60.0], n), 40.0)
    purpose = ["check"] * 8 + ["map"] * 60 + ["check"] * 8
    mu = level * curve_mu(temperature) * (1 - 0.03 * np.log(pressure / 40)) * (1 + rng.normal(0, 0.012, n))
    return stops_frame(
        n, purpose=purpose, block=["check 1"] * 8 + ["map 1"] * 60 + ["check 2"] * 8, mu=mu, mu_bite=mu * 0.97,
        temperature_initial_c=temperature, temperature_end_c=temperature + 80, temperature_mean_c=temperature + 40,
        temperature_peak_c=temperature + 90, pressure_bar=pressure,
    )  # fmt: skip


def write_test(root: Path, test: str, *, batch: str, specimen: str, level: float = 1.0, seed: int = 0, **facts) -> None:
    """One test's card and results under root/archive and root/results/m; `facts` go into the card."""
    content = card_content() | {"batch": batch, "specimen": specimen} | facts
    write_text(root / "archive" / test / "test.yaml", yaml.safe_dump(content))
    into = root / "results" / "m" / "tests" / test
    write_parquet(into / "stops.parquet", program(level, seed))
    write_parquet(into / "traces.parquet", empty(TRACES))
    write_json(into / "summary.json", {"test": test, "unusable": None, "mu_u_common_relative": 0.004, "missing": []})
    write_json(into / "friction.json", {"test": test})
    write_json(into / "wear.json", {"test": test, "components": None, "why": "the test card names no wear file"})
    write_json(into / "drift.json", {"test": test, "verdict": "none", "onset_stop": None})


def write_unusable(root: Path, test: str) -> None:
    """A test whose card cannot be read, with the empty results its stages leave."""
    from pipeline.vocabulary import STOPS

    write_text(root / "archive" / test / "test.yaml", "schema: 1\ncompound: Marram 4\n")
    into = root / "results" / "m" / "tests" / test
    write_parquet(into / "stops.parquet", empty(STOPS))
    write_parquet(into / "traces.parquet", empty(TRACES))
    for name in ("summary", "friction", "wear", "drift"):
        write_json(into / f"{name}.json", {"test": test, "unusable": "test.yaml: batch: missing"})


TARGET = """\
compound: Marram 4
temperature_window: [280 degC, 560 degC]
mu: [0.36, 0.54]
mu_batch_margin: 0.03
wear_batch_ratio: [0.8, 1.25]
"""
DUTY = """\
duty: ridge
vehicle_mass: 1180 kg
brake_share: 0.22
rolling_radius: 330 mm
length: 4.6 km
cycles: 12
ambient: 22 degC
cooling: {h0: 6 W/K, h1: 1.9, opening: 0.5}
events:
  - {from: 190 km/h, to: 96 km/h, brake_time: 2.6 s, then: 20 s, at: 150 km/h}
  - {from: 150 km/h, to: 60 km/h, brake_time: 2.2 s, then: 30 s, at: 110 km/h}
"""


def compound(root: Path, levels: dict[str, list[float]]) -> dict[str, Path]:
    """A whole compound: `levels` gives each batch its specimens' factors of friction. Returns the stage's paths."""
    seed = 0
    for batch, values in levels.items():
        for index, level in enumerate(values):
            seed += 1
            write_test(
                root, f"{batch}-{'abcdef'[index]}", batch=batch, specimen="ABCDEF"[index], level=level, seed=seed
            )
    write_text(root / "target.yaml", TARGET)
    write_text(root / "duty.yaml", DUTY)
    write_json(root / "rigs.json", {"epochs": {}, "shifts": []})
    return {"archive": root / "archive", "results": root / "results" / "m", "rigs": root / "rigs.json",
            "target": root / "target.yaml", "duty": root / "duty.yaml", "into": root / "out"}  # fmt: skip
