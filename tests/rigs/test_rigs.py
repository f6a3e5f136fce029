"""Rig shifts: found when all specimens step at an event, silent on batch differences and scatter."""

from __future__ import annotations

import datetime

import numpy as np
import polars as pl
import pytest

from pipeline.archive.rigs import Rig
from pipeline.results.model import read, write
from pipeline.results.rigs import Rigs
from pipeline.rigs.epochs import boundaries, epoch
from pipeline.rigs.stage import RigTest, shifts
from tests.makers import stops_frame
from tests.rigs.makers import card_of

NORTH = Rig.model_validate({"rig": "north", "events": [{"date": "2026-02-01", "what": "rebuild", "note": "mount"}]})
EARLY, LATE = "2026-01-10", "2026-03-01"


def rig_test(name, batch, date, mu, *, compound="Marram 4", rig="north", ratio=1.0, seed=0):
    rng = np.random.default_rng(sum(map(ord, name)) + 1000 * seed)
    frame = stops_frame(
        8,
        purpose="check",
        mu=mu * (1 + rng.normal(0, 0.01, 8)),
        energy_ratio=ratio + rng.normal(0, 0.003, 8),
        temperature_initial_c=300 + rng.normal(0, 3, 8),
    )
    return RigTest(card_of(name, compound=compound, batch=batch, specimen=name, rig=rig, date=date), frame)


def shared_shift(step, *, sd=0.012, seed=1, ratio_after=1.0):
    """Two batches with three specimens each on either side of the event, `step` relative after it."""
    rng = np.random.default_rng(seed)
    made = []
    for batch, level in (("b1", 0.42), ("b2", 0.40)):
        for k in range(6):
            late = k >= 3
            mu = level * (1 + rng.normal(0, sd)) * (1 + step * late)
            ratio = ratio_after if late else 1.0
            made.append(rig_test(f"{batch}{k}", batch, LATE if late else EARLY, mu, ratio=ratio, seed=seed))
    return made


def test_a_shared_step_is_found_in_the_tests_after_it():
    result = shifts(shared_shift(0.06), [NORTH])
    (found,) = result.shifts
    assert found.shift_relative == pytest.approx(0.06, abs=0.02)
    late = {f"b{b}{k}" for b in (1, 2) for k in (3, 4, 5)}
    assert {f.test for f in result.findings} == late
    assert {f.code for f in result.findings} == {"rig_shift"}
    assert "rebuild 2026-02-01" in result.findings[0].message
    assert found.friction.groups == ["Marram 4 b1", "Marram 4 b2"]


@pytest.mark.parametrize(("tests", "most"), [(15, 2), pytest.param(60, 6, marks=pytest.mark.heavy)])
def test_false_alarms_stay_near_the_level(tests, most):
    alarms = sum(bool(shifts(shared_shift(0.0, seed=s), [NORTH]).shifts) for s in range(tests))
    assert alarms <= most


def test_another_batch_after_the_event_is_a_batch_difference():
    before = [rig_test(f"a{k}", "b1", EARLY, 0.42 + 0.003 * k) for k in range(4)]
    after = [rig_test(f"c{k}", "b2", LATE, 0.36 + 0.003 * k) for k in range(4)]
    result = shifts(before + after, [NORTH])
    assert result.shifts == []
    assert "no batch was tested on both sides" in result.examined[0].friction.why


def test_new_batches_of_the_reference_compound_are_batches_still():
    rig = Rig.model_validate({"rig": "north", "reference_compound": "Marram 4", "events": NORTH.model_dump()["events"]})
    before = [rig_test(f"a{k}", "b1", EARLY, 0.42 + 0.003 * k) for k in range(4)]
    after = [rig_test(f"c{k}", "b2", LATE, 0.36 + 0.003 * k) for k in range(4)]
    assert shifts(before + after, [rig]).shifts == []


def test_one_reference_specimen_on_either_side_speaks_with_scatter_from_the_others():
    rig = Rig.model_validate({"rig": "north", "reference_compound": "Datum", "events": NORTH.model_dump()["events"]})
    others = [rig_test(f"o{k}", f"x{k // 3}", EARLY, 0.40 * (1 + 0.01 * (k % 3 - 1))) for k in range(9)]
    datum = [rig_test("r1", "d1", EARLY, 0.45, compound="Datum"), rig_test("r2", "d1", LATE, 0.50, compound="Datum")]
    (found,) = shifts(others + datum, [rig]).shifts
    assert found.shift_relative == pytest.approx(0.111, abs=0.03)
    plain = shifts(others + datum, [NORTH])
    assert plain.shifts == []
    assert "too few" in plain.examined[0].friction.why


def test_batches_that_step_apart_are_not_the_rig():
    before = [rig_test(f"a{k}", "b1", EARLY, 0.42) for k in range(3)] + [
        rig_test(f"d{k}", "b2", EARLY, 0.40) for k in range(3)
    ]
    after = [rig_test(f"e{k}", "b1", LATE, 0.46) for k in range(3)] + [
        rig_test(f"f{k}", "b2", LATE, 0.396) for k in range(3)
    ]
    result = shifts(before + after, [NORTH])
    assert result.shifts == []
    assert result.examined[0].friction.shared is False


def test_the_energy_balance_shows_a_torque_shift_without_matched_material():
    before = [rig_test(f"a{k}", "b1", EARLY, 0.42) for k in range(3)]
    after = [rig_test(f"c{k}", "b2", LATE, 0.44, ratio=1.04) for k in range(3)]
    result = shifts(before + after, [NORTH])
    (found,) = result.shifts
    assert found.shift_relative == pytest.approx(0.04, abs=0.005)
    assert "energy ratio" in result.findings[0].message


def test_other_rigs_are_not_touched():
    south = [rig_test(f"s{k}", "b1", LATE if k > 2 else EARLY, 0.42, rig="south") for k in range(6)]
    result = shifts(shared_shift(0.06) + south, [NORTH])
    assert not any(f.test.startswith("s") for f in result.findings)
    assert result.epochs["s0"] == "south"
    assert result.epochs["b13"] == "north, from 2026-02-01"


def test_drifted_checks_after_a_duty_are_not_used():
    tests = []
    for t in shared_shift(0.0):
        late = t.card.date.isoformat() == LATE
        frame = pl.concat(
            [
                t.stops,
                stops_frame(4, stop=np.arange(9, 13), purpose="duty"),
                stops_frame(6, stop=np.arange(13, 19), purpose="check", mu=0.30 if late else 0.42),
            ]
        )
        tests.append(RigTest(t.card, frame))
    assert shifts(tests, [NORTH]).shifts == []


def test_a_shift_that_a_later_event_undoes_does_not_touch_the_tests_after():
    rig = Rig.model_validate(
        {
            "rig": "north",
            "events": [{"date": "2026-02-01", "what": "rebuild"}, {"date": "2026-04-01", "what": "calibration"}],
        }
    )
    back = [rig_test(f"z{k}", "b1", "2026-05-01", 0.42 * (1 + 0.01 * (k - 1))) for k in range(3)]
    result = shifts(shared_shift(0.06) + back, [rig])
    first = next(item for item in result.examined if item.date == "2026-02-01")
    assert "z0" not in first.tests


def test_states_and_boundaries():
    dates = {name: datetime.date.fromisoformat(d) for name, d in (("a", EARLY), ("b", "2026-02-01"), ("c", LATE))}
    (boundary,) = boundaries(NORTH, dates)
    assert (boundary.before, boundary.after) == (("a",), ("b", "c"))
    assert epoch("north", dates["a"], NORTH.events) == "north, before all events"
    assert boundaries(NORTH, {"a": dates["a"]}) == []
    assert epoch("south", dates["a"], ()) == "south"


def test_two_events_without_a_test_between_are_one_boundary():
    rig = Rig.model_validate(
        {
            "rig": "north",
            "events": [{"date": "2026-02-01", "what": "rebuild"}, {"date": "2026-02-10", "what": "sensor"}],
        }
    )
    dates = {"a": datetime.date(2026, 1, 1), "b": datetime.date(2026, 3, 1)}
    (boundary,) = boundaries(rig, dates)
    assert [event.what for event in boundary.events] == ["rebuild", "sensor"]


def test_the_file_is_read_back_as_it_was_written(tmp_path):
    result = shifts(shared_shift(0.06), [NORTH])
    write(tmp_path / "rigs.json", result)
    again = read(tmp_path / "rigs.json", Rigs)
    assert again.shifts[0].tests == result.shifts[0].tests
    assert again.shifts[0].friction.step == pytest.approx(result.shifts[0].friction.step)
    assert again.shifts[0].events[0].note == "mount"
