"""A card with chosen facts, for stages that look across tests."""

from __future__ import annotations

from typing import Any

from pipeline.archive.card import Card
from pipeline.inputs.model import parse


def card_content() -> dict[str, Any]:
    """test.yaml of a complete card."""
    return {
        "schema": 1,
        "compound": "Marram 4",
        "batch": "b1",
        "specimen": "A",
        "date": "2026-03-02",
        "rig": "north",
        "brake": {
            "friction_ring": {"outer_diameter": "312 mm", "inner_diameter": "220 mm"},
            "effective_radius": "134 mm",
            "pistons_per_side": ["30 mm", "34 mm", "38 mm"],
            "pad_area": "52 cm^2",
            "disc": {
                "mass": "1.7 kg",
                "thickness": "28 mm",
                "minimum_thickness": "24 mm",
                "density": "1.78 g/cm^3",
                "heat_capacity": "carbon",
            },
            "pad": {"mass": "0.22 kg", "thickness": "24 mm", "minimum_thickness": "10 mm", "density": "1.78 g/cm^3"},
        },
        "inertia": "22 kg m^2",
        "rolling_radius": "330 mm",
        "recordings": {
            "files": "recordings/*.csv",
            "channels": {
                "time": {"column": "t", "unit": "s"},
                "speed": {"column": "n", "unit": "rpm"},
                "torque": {"column": "M", "unit": "N m"},
                "pressure": {"column": "p", "unit": "bar"},
                "disc_temperature": {"column": "T", "unit": "degC"},
            },
        },
        "blocks": [
            {
                "name": "check 1",
                "purpose": "check",
                "kind": "snub",
                "stops": 8,
                "speed": ["1500 rpm", "500 rpm"],
                "pressure": "40 bar",
                "initial_temperature": "300 degC",
            }
        ],
    }


def card_of(test: str, **facts: Any) -> Card:
    """A complete card; `facts` overwrite its keys as test.yaml would have them."""
    return parse(card_content() | facts, Card, "test.yaml").model_copy(update={"test": test})
