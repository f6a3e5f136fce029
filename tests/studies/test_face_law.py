"""Seeded parts of the study of the law at the face, heavy; by default one compound of its world in test_thermocouples.py."""

from __future__ import annotations

import numpy as np
import pytest

from tests.studies.chance import surely_under
from tests.studies.face_law import Tally, examine, page, rms, study


@pytest.mark.heavy
def test_the_rule_takes_the_law_where_friction_is_made_at_the_face() -> None:
    # A compound that the map, with all its interactions, cannot follow; where the two are near each other either may be taken.
    kind, row, asked = examine(81, 7)
    assert kind == "face, not stated"
    assert row["cells_law"] < 0.5 * row["cells_map"]
    assert row["used"] == "law"
    # means of cells hold the stops' own scatter and the torque's gain error, the law's and the map's alike
    assert row["shape_law"] < 0.3 * row["shape_map"] and row["law_true"] < row["map_true"]
    assert rms([a["mu_error"] for a in asked]) < 0.01
    assert np.mean([a["mu_held"] for a in asked]) > 0.6


@pytest.mark.heavy
def test_the_rule_takes_the_map_where_friction_is_not_made_at_the_face() -> None:
    kind, row, _ = examine(81, 5)
    assert kind == "initial temperature"
    assert row["used"] == "map"


def test_the_page_has_a_column_for_each_kind() -> None:
    row = {"why": None, "used": "law", "right": True, "cells_law": 0.002, "cells_map": 0.01}
    asked = {"mu_held": True, "mu_error": 0.001, "map_error": 0.004, "pressure_error": 0.01, "face_error": 2.0}
    made = page({"face, conductivity stated": Tally([row], [asked]), "initial temperature": Tally([row], [asked])}, 1)
    assert "| compounds | 1 | 1 | 2 |" in made
    assert "nan" in made.lower()  # what was not measured is no number


@pytest.mark.heavy
def test_intervals_hold_and_the_rule_picks_the_better() -> None:
    tallies = study(0.06, 82)
    face = [t for name, t in tallies.items() if name.startswith("face")]
    rows, asked = [r for t in face for r in t.rows], [a for t in face for a in t.asked]
    assert len(rows) >= 10 and all(r["why"] is None for r in rows)
    # The questions of one compound share its torque's gain error and its heat inputs: chance is counted by compounds.
    assert not surely_under(0.92, float(np.mean([a["mu_held"] for a in asked])), len(rows))
    known = [a["pressure_held"] for a in asked if a["pressure_held"] is not None]
    assert not surely_under(0.92, float(np.mean(known)), len(rows))
    # Law and map may be near each other: what counts is that the choice costs little, and nothing where the law is wrong.
    cost = [r["chosen_true"] / max(min(r["law_true"], r["map_true"]), 1e-9) for r in rows]
    assert np.median(cost) < 1.2
    assert all(r["used"] == "map" for r in tallies["initial temperature"].rows)
    law, of_map = ([r[key] for r in rows] for key in ("cells_law", "cells_map"))
    assert np.median(law) < 0.8 * np.median(of_map)
