"""Self-starting charts: published statistics through them, alarms as rare as stated, steps found and sized."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.drift.charts import ewma, ewma_limit
from pipeline.drift.run_length import ewma_run_length
from pipeline.laboratory import control
from pipeline.laboratory.control import watch


@pytest.mark.published(
    "run lengths of the control charts", source="Lucas and Saccucci, Technometrics 32 (1990)", origin="from memory"
)
def test_run_lengths_are_those_stated():
    single, average = control.run_lengths()
    assert single == pytest.approx(370.4, abs=0.1)
    assert average == pytest.approx(1000, rel=0.005)
    assert control.limit_of_average() == pytest.approx(float(ewma_limit(control.WEIGHT, control.WIDTH, 1.0)))
    # Lucas and Saccucci (Technometrics 32, 1990; from memory): lambda 0.2, L 2.962 has 500
    assert ewma_run_length(control.WEIGHT, 2.962) == pytest.approx(500, rel=3e-3)


@pytest.mark.published(
    "the charts' average of a series whose level is known",
    source="NIST/SEMATECH e-Handbook, 6.3.2.4",
    origin="from memory",
)
def test_the_average_is_that_of_the_published_chart():
    """NIST/SEMATECH e-Handbook, 6.3.2.4 (from memory), by the level before as by the chart: 50 known over many values."""
    x = [52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]  # fmt: skip
    before = [50.0] * 100_000
    found = watch(before + x, sigma=2.0539).points[len(before) :]
    own = ewma((np.array(x) - 50) / 2.0539, control.WEIGHT)
    assert [p.average for p in found] == pytest.approx(list(own), abs=2e-3)
    assert not any(p.alarm or p.signals for p in found)


@pytest.mark.published(
    "the charts on a real series that left its level: the Nile", source="Cobb 1978", origin="from memory"
)
def test_the_nile_left_its_level_in_1899():
    """Nile 1871 to 1970: the last year of the old level is 1898 (Cobb 1978); known from 28 years on."""
    from statsmodels.datasets import nile

    y = nile.load_pandas().data.volume.to_numpy()
    found = watch(y)
    move = found.moves[0]
    assert 1871 + move.onset == 1899
    assert 1899 <= 1871 + move.alarm <= 1906
    assert 1871 + move.earliest >= 1895
    assert move.shift == pytest.approx(850 - 1098, abs=80)


@pytest.mark.parametrize("sigma", [1.0, pytest.param(None, marks=pytest.mark.heavy)])
def test_false_alarms_are_as_rare_as_stated(sigma):
    """Chances as in the study of charts, of which this is a small part: about 100 alarms, within 3 standard errors."""
    rng = np.random.default_rng(11)
    alarms = values = signals = 0
    for _ in range(50):
        found = watch(rng.normal(size=1500), sigma=sigma)
        end = found.moves[0].alarm if found.moves else 1499
        judged = [p for p in found.points[: end + 1] if p.z is not None]
        alarms, values, signals = (
            alarms + bool(found.moves),
            values + len(judged),
            signals + sum(p.signals for p in judged),
        )
    single, average = control.run_lengths()
    assert abs(alarms - values / average) < 3 * np.sqrt(values / average)
    assert abs(signals - values / single) < 3 * np.sqrt(values / single)


def test_a_step_is_found_dated_and_sized():
    rng = np.random.default_rng(12)
    x = 0.01 * rng.normal(size=60)
    x[40:] += 0.03
    found = watch(x)
    assert len(found.moves) == 1
    move = found.moves[0]
    assert 38 <= move.onset <= 42 < move.alarm + 3
    assert move.shift == pytest.approx(0.03, abs=3 * move.shift_u)
    assert found.stretches == (0, move.onset)


def test_a_new_batch_is_no_move_of_the_rig():
    rng = np.random.default_rng(13)
    group = [f"b{i // 4}" for i in range(40)]
    x = 0.01 * rng.normal(size=40) + 0.1 * (np.arange(40) // 4 % 3)
    found = watch(list(x), group)
    assert found.moves == ()
    assert sum(p.centre is None for p in found.points) == 10
    assert all(p.z is None or abs(p.z) < 4 for p in found.points)


def test_one_stray_value_signals_and_is_not_learnt():
    rng = np.random.default_rng(14)
    x = 0.01 * rng.normal(size=30)
    x[20] += 0.08
    found = watch(list(x))
    assert [i for i, p in enumerate(found.points) if p.signals] == [20]
    assert found.points[21].centre == pytest.approx(found.points[20].centre)


def test_a_restart_forgets_the_level_and_keeps_the_scatter():
    rng = np.random.default_rng(15)
    x = 0.01 * rng.normal(size=30)
    x[15:] += 0.5
    found = watch(list(x), restarts=[15])
    assert found.moves == ()
    assert found.points[15].centre is None
    assert found.points[16].z is not None
    assert found.stretches == (0, 15)


def test_values_without_scatter_and_too_few_say_nothing():
    assert watch([]).points == ()
    alike = watch([0.1] * 30)
    assert alike.moves == ()
    assert all(p.z is None or abs(p.z) < 1e-3 for p in alike.points)
    rounded = watch([0.122] * 5 + [0.123] * 25, least=0.001)
    assert rounded.moves == ()
    assert not any(p.signals for p in rounded.points)
    assert watch([1.0, 2.0]).sigma is None
    assert control.plugged_in(10) == pytest.approx(53, abs=1)


@settings(max_examples=20, deadline=None)
@given(seed=st.integers(0, 999), shift=st.floats(-10, 10), factor=st.floats(0.01, 100))
def test_charts_do_not_depend_on_origin_unit_or_what_comes_after(seed, shift, factor):
    x = np.random.default_rng(seed).normal(size=25)
    x[15:] += 2.5
    one = watch(list(x))
    other = watch(list(factor * (x + shift)))
    assert [m.alarm for m in one.moves] == [m.alarm for m in other.moves]
    for p, q in zip(one.points, other.points, strict=True):
        assert (p.z is None) == (q.z is None)
        assert p.z is None or p.z == pytest.approx(q.z, abs=1e-6)
    assert watch(list(x[:12])).points == one.points[:12]
