"""Duties, discs and wear laws with a known answer."""

from __future__ import annotations

from typing import Any

import numpy as np

from pipeline.archive.duties import DutyCycle
from pipeline.duty.lives import Worn
from pipeline.duty.project import Brake, GentleLimit
from pipeline.duty.rubbing import Rubbing
from pipeline.heat.lumped import Disc
from pipeline.inputs.model import parse
from pipeline.results.wear import FittedLaw
from tests.wear.makers import fitted_law

DISC = Disc(mass=1.7, material="carbon", radiating=0.07)
CURVE_C = np.linspace(40, 640, 61)


def duty_cycle(**facts: Any) -> DutyCycle:
    """A downhill cycle of three brakings; `facts` overwrite its keys as a duty file would have them."""
    content = {
        "duty": "ridge",
        "vehicle_mass": "1180 kg",
        "brake_share": 0.29,
        "rolling_radius": "330 mm",
        "length": "4.6 km",
        "cycles": 40,
        "ambient": "22 degC",
        "cooling": {"h0": "6 W/K", "h1": 1.9, "opening": 0.5},
        "events": [
            {"from": "214 km/h", "to": "96 km/h", "brake_time": "2.6 s", "then": "24 s", "at": "170 km/h"},
            {"from": "150 km/h", "to": "60 km/h", "brake_time": "2.2 s", "then": "30 s", "at": "110 km/h"},
            {"from": "180 km/h", "to": "110 km/h", "brake_time": "1.8 s", "then": "21 s", "at": "150 km/h"},
        ],
    }
    return parse(content | facts, DutyCycle, "duty.yaml")


def energy_law(a: float = 7.0, u: float = 0.2, **span: Any) -> FittedLaw:
    """A chosen energy law of wear.json: a um/MJ with standard uncertainty u."""
    draws = np.random.default_rng(1).normal(a, u, 400)
    return fitted_law({
        "model": "energy",
        "parameters": {"a": {"value": a, "low": a - 2 * u, "high": a + 2 * u, "unit": "um/MJ"}},
        "joint": {"a": draws.tolist()},
        "range": {"energy_mj": [0.02, 1.2], "power_w_mm2": [0.5, 80.0], "temperature_c": [40.0, 640.0]} | span,
    })  # fmt: skip


def oxidation_law(a: float = 6.0, b: float = 0.02, ea: float = 150.0) -> FittedLaw:
    """A chosen oxidation law: a um/MJ, B um/s at 873.15 K, Ea kJ/mol, drawn with small scatter."""
    rng = np.random.default_rng(2)
    return fitted_law({
        "model": "oxidation",
        "parameters": {"a": {"value": a}, "B": {"value": b}, "Ea": {"value": ea}},
        "fixed": {"th0_k": 873.15},
        "joint": {
            "a": rng.normal(a, 0.05 * a, 300).tolist(),
            "B": rng.normal(b, 0.05 * b, 300).tolist(),
            "Ea": rng.normal(ea, 3, 300).tolist(),
        },
        "range": {"energy_mj": [0.02, 1.2]},
    })  # fmt: skip


def brake(**facts: Any) -> Brake:
    """A carbon disc with an energy law, a pad with another, a flat friction curve and a window of 300 to 580 degC."""
    base: dict[str, Any] = {
        "disc": DISC,
        "plate": None,
        "rubbing": Rubbing(0.0104, CURVE_C, np.full(CURVE_C.size, 0.45)),
        "components": (Worn("disc", energy_law(), 4000.0), Worn("pad", energy_law(9.0), 14000.0)),
        "window": (300.0, 580.0),
        "glazing": GentleLimit(power=5.0, temperature_c=220.0),
    }
    return Brake(**(base | facts))
