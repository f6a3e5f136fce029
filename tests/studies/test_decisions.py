"""The world of the study of decisions and a compound's wear law in the default run; compounds judged, and its bounds, under the heavy mark."""

from __future__ import annotations

import json

import numpy as np
import pytest

from tests.studies.chance import surely_under
from tests.studies.decision_compounds import draw
from tests.studies.decision_world import CELLS, Body, brake, cooled
from tests.studies.decisions import Judged, _law, carried, judged, unlike
from tests.studies.decisions_page import Share, glazing, life, parameter, refused_wrongly, text


@pytest.mark.published(
    "the study of decisions' own disc: a face under a constant flux",
    source="Carslaw and Jaeger 1959, 2.9",
    origin="closed form",
)
def test_the_worlds_disc_conducts_like_a_half_space_and_keeps_its_heat():
    """A constant flux into a thick disc that loses nothing: Carslaw & Jaeger 1959, section 2.9: 2 q sqrt(t / (pi k rho c))."""
    body = Body(mass=8.0, ring=0.04, thickness=0.1, conductivity=20.0, share=0.9, radiating=0.0, capacity=1400.0)
    one, none = np.ones(1), np.zeros(1)
    start = np.full((1, CELLS), 300.0)
    # an even speed is a constant power: from a speed to all but the same one
    made = brake(body, start, 2e5 * one, one, 0.999999 * one, 2.0 * one, 30.0 * one, (none, none), 300.0)
    flux = 0.9 * 2e5 / 2.0 / (2 * body.ring)
    rise = 2 * flux * np.sqrt(2.0 / (np.pi * body.conductivity * body.density * body.capacity))
    assert made.face[-1, 0] - 300.0 == pytest.approx(rise, rel=0.01)
    assert made.after_mean[-1, 0] - 300.0 == pytest.approx(0.9 * 2e5 / 8.0 / 1400.0, rel=0.005)


def test_the_worlds_disc_cools_as_newton_has_it():
    body = Body(1.8, 0.035, 0.028, 20.0, 1.0, 0.0, capacity=1400.0)
    time, _ = cooled(body, np.array([600.0]), np.array([400.0]), 10.0, 300.0)
    assert time[-1, 0] == pytest.approx(1.8 * 1400 / 10 * np.log(3), rel=1e-3)


def test_a_share_outside_its_bounds_says_whether_chance_does_that():
    assert Share(0, 0).words() == "none" and Share(19, 20).words().startswith("95.0 % (19 of 20; 75.1 to 99.9)")


def test_the_wear_law_of_a_compound_is_read_and_holds_the_truth():
    rng = np.random.default_rng([1, 10, 88])
    of = draw(rng)
    tests = Judged(of, rng)
    law = _law(of, tests.wear)
    assert law["chosen"] == "oxidation" and law["identified"], law["why"]
    assert all(law[name]["low"] <= law[name]["true"] <= law[name]["high"] for name in ("a", "B", "Ea"))
    assert len(tests.drifts) == len(tests.runs) > 1 and tests.window.window is not None


@pytest.mark.heavy
def test_a_compound_goes_through_and_is_judged():
    found = [judged(88, 1, 1.0)]
    page = text(found, 1)
    assert "python -m tests.studies.decisions --count 1 --wide 0 --write" in page and "1 invented compounds" in page
    for one in found:
        assert {d["use"] for d in one["duties"]} == {"gentle", "hard"}
        assert all(d["life"]["true"] > 0 and d["life"]["shortest"] <= d["life"]["true"] * 1.2 for d in one["duties"])


@pytest.mark.heavy
def test_five_compounds_keep_the_bounds():
    found = [judged(index, 5, 1.0) for index in range(5)]
    for name, one in {"Ea": parameter(found, "Ea"), "life": life(found)}.items():
        assert one.of >= 3 and not surely_under(0.92, one.value, one.of), name
    assert glazing(found).hits <= 1


def record(index: int, tested: bool, **changed: object) -> dict:
    opening = {"span": [0.0, 0.2], "sure": None, "limits": [], "loss": 0.04} | changed
    if tested:
        opening["settled"] = True
    return {"index": index, "seed": 1, "wide": 1.0, "law": {}, "duties": [{"life": {}, "opening": opening}]}


def test_only_what_named_a_test_is_run_anew(tmp_path):
    earlier, kept = tmp_path / "earlier.jsonl", tmp_path / "kept.jsonl"
    earlier.write_text("".join(json.dumps(record(k, tested=k == 2)) + "\n" for k in range(3)))
    for _ in range(2):  # a run that was broken off begins so again
        assert [one["index"] for one in carried(earlier, kept, 1)] == [2]
        assert [json.loads(line)["index"] for line in kept.read_text().splitlines()] == [0, 1]
    assert all(json.loads(line)["carried"] for line in kept.read_text().splitlines())


def test_a_first_answer_that_moved_is_told():
    assert unlike([record(2, tested=True)], [record(2, tested=True)]) == []
    assert unlike([record(2, tested=True, loss=0.05)], [record(2, tested=True)]) == ["2 (wide 1)"]


def test_openings_that_the_named_test_ruled_out_are_held_against_the_truth():
    """One that is reserved for its window alone, the film settled, is not ruled out."""
    out = {"settled_loss": None, "ruled_out": True}
    window = out | {"ruled_out": False}
    found = [
        record(0, True, **out, run_loss=0.07),
        record(1, True, **out, run_loss=0.04),
        record(2, True, **window, run_loss=0.01),
    ]
    assert refused_wrongly(found) == Share(1, 2)
