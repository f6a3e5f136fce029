"""Precision of a laboratory from invented archives with planted scatter."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from pipeline.laboratory.precision import _component
from pipeline.laboratory.precision_stage import precision
from pipeline.laboratory.readings import readings
from tests.laboratory.makers import lab_test

STATES = ("north, before", "north, after")


def archive(
    *, specimen=0.01, batch=0.03, rig=0.02, stop=0.015, block=0.0, batches=12, seed=0, compound="Marram 4", wear=False
):
    """Batches of four specimens, half of each in either state of the rig; the truth is planted relative scatter."""
    rng = np.random.default_rng(seed)
    moved = dict(zip(STATES, rig * np.array([-1, 1]), strict=True))
    made = []
    for b in range(batches):
        level = np.log(0.42) + batch * rng.normal()
        for s in range(4):
            state = STATES[s // 2]
            ln = level + moved[state] + specimen * rng.normal()
            worn = float(np.exp(1 + 0.1 * rng.normal())) if wear else None
            made.append(
                lab_test(f"{compound[-1]}{b}-{s}", f"{compound[-1]}{b}", day=7 * len(made), state=state, mu=float(np.exp(ln)),
                         stop_sd=stop, block_sd=block, compound=compound, wear_um=worn, seed=seed)
            )  # fmt: skip
    return made


def test_planted_scatter_comes_back():
    found = precision(archive(block=0.006, seed=1)).of("mu", "Marram 4")
    sd = {kind: one.value for kind, one in found.components.items()}
    assert sd["stop"] == pytest.approx(0.015, rel=0.1)
    assert sd["occasion"] == pytest.approx(0.006, abs=0.0025)
    assert sd["specimen"] == pytest.approx(0.010, rel=0.35)
    assert sd["batch"] == pytest.approx(0.03, rel=0.5)
    truth = {"stop": 0.015, "occasion": 0.006, "specimen": 0.010, "batch": 0.03, "rig": np.sqrt(2) * 0.02}
    for kind, planted in truth.items():
        assert found.components[kind].low <= planted <= found.components[kind].high, kind
    assert found.components["rig"].df == 1
    assert "one degree of freedom" in found.components["rig"].why
    assert found.reproducibility.value > found.repeatability.value
    assert found.repeatability.limit == pytest.approx(2.8 * found.repeatability.value)
    assert (found.tests, found.specimens, found.batches, found.states, found.occasions) == (48, 48, 12, 2, 144)


def test_a_pair_that_ran_apart_has_the_rigs_share():
    tests = archive(seed=2) + [
        lab_test(f"z{i}", "early" if i < 2 else "late", day=400 + i, state=STATES[i // 2], mu=0.42 * (1 + 0.04 * (i // 2)))
        for i in range(4)
    ]  # fmt: skip
    found = precision(tests).of("mu", "Marram 4")
    pair = next(p for p in found.pairs if (p.a, p.b) == ("early", "late"))
    assert pair.state_apart == 1
    assert pair.difference == pytest.approx(-0.04, abs=0.02)
    assert pair.rig_sd > 2 * pair.specimen_sd
    assert abs(pair.difference) < pair.reach
    together = next(p for p in found.pairs if (p.a, p.b) == ("40", "41"))
    assert (together.state_apart, together.rig_sd, together.rig_share) == (0, 0, 0)


def test_one_state_and_one_specimen_say_what_they_cannot():
    alone = precision([lab_test(f"t{b}", f"b{b}") for b in range(4)]).of("mu", "Marram 4")
    assert alone.components["specimen"].value is None
    assert "two specimens" in alone.components["specimen"].why
    assert alone.components["rig"].value is None
    assert alone.components["stop"].value is not None
    assert alone.repeatability.value is None
    one = precision([lab_test("t", "b")]).of("mu", "Marram 4")
    assert "one test" in one.why
    assert precision([]).quantities[-1].why == "no test of it can be read in these conditions"


def test_compounds_of_unlike_scatter_are_not_pooled():
    quiet = archive(specimen=0.004, seed=3)
    wild = archive(specimen=0.05, seed=4, compound="Marram 6")
    found = precision(quiet + wild)
    assert found.of("mu").components["specimen"].value is None
    assert "Marram 6" in found.of("mu").components["specimen"].why
    assert found.component("specimen", "mu", "Marram 4").value == pytest.approx(0.004, abs=0.003)
    alike = precision(quiet + archive(specimen=0.004, seed=5, compound="Marram 6")).of("mu")
    assert alike.components["specimen"].value == pytest.approx(0.004, abs=0.002)
    assert alike.compound is None


def test_a_test_with_wild_stops_is_an_outlier():
    tests = archive(seed=6, batches=4)
    tests[5] = lab_test("wild", tests[5].batch, state=tests[5].state, mu=0.42, stop_sd=0.06)
    found = precision(tests).of("mu", "Marram 4")
    assert (found.cochran.test, found.cochran.verdict) == ("wild", "outlier")
    assert [c.test for c in found.consistency if c.odd and c.k > c.k_critical] == ["wild"]


def test_wear_of_another_program_is_left_out():
    tests = archive(seed=7, batches=3, wear=True)
    short = tests[0].stops.with_columns(energy_kj=tests[0].stops["energy_kj"] * 0.5)
    tests[0] = tests[0].__class__(**{**vars(tests[0]), "stops": short})
    found = precision(tests).of("wear", "Marram 4")
    assert found.tests == 11
    assert "another program" in found.left_out[0]
    assert found.components["stop"].why is not None
    assert found.components["specimen"].value == pytest.approx(0.1, rel=0.5)


def test_levels_compare_within_like_conditions():
    """A test that ran hotter by a cell, in part, is moved by what its own blocks show between the cells."""
    plain = lab_test("plain", "b", mu=0.40, stop_sd=0.0)
    mixed = lab_test("mixed", "b", mu=0.40, stop_sd=0.0)
    rows = mixed.stops.height
    hot = np.arange(rows) >= rows - 2
    both = mixed.stops.with_columns(
        temperature_initial_c=np.where(hot, 400.0, 300.0), mu=np.where(hot, 0.36, mixed.stops["mu"].to_numpy())
    )
    mixed = mixed.__class__(**{**vars(mixed), "stops": both})
    found = readings([plain, mixed], "mu").found
    assert found[0].value == pytest.approx(found[1].value, abs=1e-9)


def test_pace_is_told_by_clocks_that_run_through():
    tests = archive(seed=8, batches=2)
    found = precision(tests).pace
    assert found[0].rig == "north"
    assert found[0].hours_per_stop == pytest.approx(120 / 3600)
    assert found[0].hours_per_test == pytest.approx(15 * 120 / 3600)
    blind = [t.__class__(**{**vars(t), "stops": t.stops.with_columns(idle_before_s=None)}) for t in tests]
    assert precision(blind).pace[0].hours_per_stop is None
    assert "clock" in precision(blind).pace[0].why


def test_a_component_that_one_degree_of_freedom_finds_nothing_of_is_not_known():
    nothing = _component(cast(Any, SimpleNamespace(sd=(0.0, 0.0, 0.03), df=1.0)), None)
    assert nothing.value is None and nothing.high == 0.03
    assert "not known" in nothing.why and "3 %" in nothing.why
    assert _component(cast(Any, SimpleNamespace(sd=(0.0, 0.0, 0.03), df=5.0)), None).value == 0
