"""Charts of rigs and batches from invented archives, what they say in the tests, and what it does to a pair of batches."""

from __future__ import annotations

import datetime

import numpy as np
import pytest

from pipeline.archive.rigs import Rig
from pipeline.errors import InputError
from pipeline.inputs.model import parse
from pipeline.laboratory.charts import charts
from pipeline.results.charts import Charts
from pipeline.results.rigs import Examined, Step
from tests.laboratory.makers import lab_test

NORTH = Rig.model_validate({"rig": "north", "reference_compound": "Marram 4"})


def archive(step=0.0, *, at=20, count=30, sd=0.006, ratio_step=0.0, seed=0, per_batch=10):
    """One rig, a test a week, `per_batch` specimens a batch; mu steps from test `at` on."""
    rng = np.random.default_rng(seed)
    made = []
    for i in range(count):
        level = 0.42 * (1 + 0.05 * (i // per_batch)) * np.exp(sd * rng.normal()) * (1 + step * (i >= at))
        ratio = 1 + 0.001 * rng.normal() + ratio_step * (i >= at)
        zero = 5 + 0.3 * rng.normal()
        made.append(
            lab_test(f"t{i:02d}", f"b{i // per_batch}", day=7 * i, mu=float(level), ratio=ratio, torque_zero=zero)
        )
    return made


def chart(found: Charts, quantity: str):
    return next(c for c in found.rigs[0].charts if c.quantity == quantity)


def test_a_steady_rig_says_nothing():
    found = charts(archive(seed=1), [NORTH], [], {"north": "north"})
    assert found.findings == []
    assert found.wanders == []
    mu = chart(found, "mu")
    assert (mu.subject, mu.scatter, len(mu.points)) == ("Marram 4", "estimated", 30)
    assert mu.sigma == pytest.approx(0.006, rel=0.5)
    assert [c.quantity for c in found.rigs[0].charts] == ["mu", "bite", "wear", "energy_ratio", "torque_zero", "pressure_zero", "lag"]  # fmt: skip
    assert chart(found, "wear").why is not None


def test_a_rig_that_wanders_says_so_in_the_tests_it_touches():
    found = charts(archive(0.04, at=14, seed=2), [NORTH], [], {"north": "north"})
    (wander,) = [one for one in found.wanders if one.quantity == "mu"]
    assert abs(int(wander.onset[1:]) - 14) <= 1
    assert int(wander.alarm[1:]) <= 19
    assert wander.shift_relative == pytest.approx(0.04, abs=0.012)
    told = {f.test for f in found.findings if f.evidence["quantity"] == "mu"}
    assert told == {f"t{i:02d}" for i in range(int(wander.onset[1:]), 30)}
    assert {f.code for f in found.findings} == {"rig_wanders"}
    assert "no event is dated there" in found.findings[0].message


def test_the_energy_balance_finds_a_torque_chain_at_once():
    found = charts(archive(seed=3, ratio_step=0.015), [NORTH], [], {})
    (wander,) = found.wanders
    assert (wander.quantity, wander.onset) == ("energy_ratio", "t20")
    assert int(wander.alarm[1:]) <= 21
    assert wander.shift_relative == pytest.approx(0.015, abs=0.003)


def test_a_found_shift_of_a_dated_event_starts_the_chart_anew():
    tests = archive(0.05, at=15, seed=4, per_batch=30)
    date = tests[15].date
    rig = Rig.model_validate({"rig": "north", "events": [{"date": date.isoformat(), "what": "rebuild"}]})
    step = Step(found=True, step=0.05)
    shift = Examined(rig="north", date=date.isoformat(), events=[], shift_relative=0.05, friction=step, energy_ratio=step,
                     before=[], tests=[])  # fmt: skip
    dated = charts(tests, [rig], [shift], {})
    assert [w for w in dated.wanders if w.quantity == "mu"] == []
    assert "rebuild" in chart(dated, "mu").restarts[0].why
    assert [w.quantity for w in charts(tests, [rig], [], {}).wanders if w.quantity == "mu"] == ["mu"]


def test_a_known_scatter_judges_from_the_second_test_on():
    rig = parse(
        {"rig": "north", "scatter": {"mu": "0.6 %", "torque_zero": "0.3 N m", "lag": "2 ms"}}, Rig, "north.yaml"
    )
    found = charts(archive(seed=5), [rig], [], {})
    mu = chart(found, "mu")
    assert (mu.scatter, mu.sigma, mu.df, mu.run_length_plugged) == ("known", 0.006, None, None)
    assert mu.points[1].z is not None
    assert chart(charts(archive(seed=5), [NORTH], [], {}), "mu").points[1].z is None
    with pytest.raises(InputError, match="scatter of nothing"):
        parse({"rig": "north", "scatter": {"mu": 0}}, Rig, "north.yaml")


def test_a_batch_out_of_its_limits_on_a_rig_that_wandered_says_look_there_first():
    rng = np.random.default_rng(6)
    tests = []
    for b in range(14):
        for s in range(3):
            level = 0.42 * np.exp(0.004 * rng.normal()) * np.exp(0.004 * rng.normal())
            ratio = 1 + 0.001 * rng.normal()
            moved = 1.06 if b >= 11 else 1.0
            tests.append(
                lab_test(f"t{b:02d}{s}", f"b{b:02d}", day=7 * len(tests), mu=float(level * moved), ratio=ratio * moved)
            )
    found = charts(tests, [NORTH], [], {})
    mu = next(c for c in found.compounds[0].charts if c.quantity == "mu")
    assert [p.name for p in mu.points if p.signals][:1] == ["b11"]
    assert "look at the rig first" in mu.why


def test_tests_without_figures_and_an_empty_archive():
    assert charts([], [NORTH], [], {}) == Charts()
    bare = lab_test("t", "b")
    bare = bare.__class__(
        **{**vars(bare), "summary": bare.summary.__class__(test="t"), "date": datetime.date(2026, 1, 1)}
    )
    found = charts([bare], [], [], {})
    assert chart(found, "lag").points == []
    assert chart(found, "lag").left_out == ["t: not told"]
