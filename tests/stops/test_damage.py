"""Damaged recordings: findings in place of tracebacks, and no silent number."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.stops.makers import Application, Rig, reduce, write_test

APPS = [Application(pressure=p, speed=(w, 500), block=f"{p} {w}") for p in (15, 30, 50) for w in (1200, 1500, 1800)]
HIT = 4  # index of the recording that is damaged


def damaged(change, at=HIT):
    return lambda i, c: change(c) if i == at else c


def span(c, low, high):
    """Mask of the samples between two times after the recording's start; the braking starts at 1 s."""
    t = c["time"] - c["time"][0]
    return (t >= low) & (t < high)


def without(c, low, high):
    keep = ~span(c, low, high)
    return {k: v[keep] for k, v in c.items()}


def put(c, name, low, high, value):
    return c | {name: np.where(span(c, low, high), value, c[name])}


def backwards(c):
    t = c["time"].copy()
    t[150:] -= 0.8
    return c | {"time": t}


def clock_set(seconds):
    """The clock set forward at 1.8 s, well inside the braking."""
    return lambda c: c | {"time": c["time"] + seconds * span(c, 1.8, 99.0)}


def spiked(c):
    torque = c["torque"].copy()
    torque[180] = 9000.0
    return c | {"torque": torque}


CASES = {
    "gap in the braking": (lambda c: without(c, 1.8, 2.1), "time_gap", "suspect"),
    "gap in the zero window": (lambda c: without(c, 0.6, 0.75), "time_gap", "suspect"),
    "time backwards": (backwards, "time_backwards", "rejected"),
    "clock set within the braking": (clock_set(3600.0), "time_leaps", "rejected"),
    "clock set by a second": (clock_set(1.0), "time_leaps", "rejected"),
    "torque missing": (lambda c: put(c, "torque", 1.8, 1.95, np.nan), "dropout", "suspect"),
    "torque held": (lambda c: put(c, "torque", 1.7, 2.0, 700.0), "held_value", "suspect"),
    "torque cut off": (lambda c: c | {"torque": np.minimum(c["torque"], 650.0)}, "saturated", "suspect"),
    "one wild sample": (spiked, "spike", "ok"),
    "starts in the braking": (lambda c: without(c, 0.0, 1.5), "clipped_start", "suspect"),
    "ends in the braking": (lambda c: without(c, 1.9, 99.0), "clipped_end", "suspect"),
    "thermocouple open": (lambda c: put(c, "disc_temperature", 1.5, 2.0, 1645.0), "thermocouple_open", "suspect"),
    "thermocouple stuck": (lambda c: c | {"disc_temperature": np.full_like(c["time"], 573.15)}, "thermocouple_stuck", "suspect"),
    "thermocouple missing": (lambda c: c | {"disc_temperature": np.full_like(c["time"], np.nan)}, "thermocouple_missing", "suspect"),
    "no pressure": (lambda c: c | {"pressure": np.full_like(c["time"], 2e3)}, "no_braking", "rejected"),
    "braking too short": (lambda c: put(c, "pressure", 1.35, 99.0, 0.0), "window_short", "rejected"),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_damage_is_found_in_its_stop_and_nowhere_else(tmp_path, case):
    change, code, status = CASES[case]
    _, truths = write_test(tmp_path, APPS, Rig(), change=damaged(change))
    found = reduce(tmp_path)
    hit = [f for f in found.findings if f["code"] == code]
    assert hit and {f["stop"] for f in hit} == {HIT + 1}
    assert hit[0]["file"] == f"recordings/stop_{HIT + 1:03d}.csv" and hit[0]["message"] and hit[0]["action"]
    states = found.stops["status"].to_list()
    assert states[HIT] == status
    assert states[:HIT] + states[HIT + 1 :] == ["ok"] * (len(APPS) - 1)
    assert code in found.stops["findings"][HIT].to_list()
    others = [i for i in range(len(APPS)) if i != HIT]
    mu = found.stops["mu"].to_list()
    assert [mu[i] for i in others] == pytest.approx([truths[i].mu_distance for i in others], abs=0.002)
    if status == "rejected":
        assert mu[HIT] is None
    if case == "one wild sample":
        assert mu[HIT] == pytest.approx(truths[HIT].mu_distance, abs=0.002)


def test_an_unreadable_recording_keeps_its_number_and_row(tmp_path):
    import json

    write_test(tmp_path, APPS, Rig())
    record = tmp_path / "t1.json"
    content = json.loads(record.read_text())
    content["recordings"].insert(
        2,
        {"recording": 99, "file": "recordings/stop_002b.csv", "rows": 0, "digest": None, "first_time": None,
         "last_time": None, "duplicate_of": None, "error": "no header"},
    )  # fmt: skip
    record.write_text(json.dumps(content))
    found = reduce(tmp_path)
    assert found.stops.height == len(APPS) + 1
    assert found.stops["status"][2] == "rejected" and found.stops["file"][2] == "recordings/stop_002b.csv"
    assert found.stops["findings"][2].to_list() == ["recording_unreadable"]
    (told,) = [f["message"] for f in found.findings if f["code"] == "recording_unreadable"]
    assert told == "stop 3: recordings/stop_002b.csv cannot be read: no header"
    assert found.stops["stop"].to_list() == list(range(1, len(APPS) + 2))


def test_of_a_recording_whose_time_goes_back_that_is_said_and_not_that_pressure_is_low(tmp_path):
    """Rows from last to first: a braking is found by nothing that comes after."""
    write_test(tmp_path, APPS, Rig(), change=lambda n, c: {k: v[::-1] for k, v in c.items()} if n == 2 else c)
    found = reduce(tmp_path)
    assert found.stops["status"][2] == "rejected" and found.stops["findings"][2].to_list() == ["time_backwards"]
    (told,) = [f["message"] for f in found.findings if f["code"] == "time_backwards"]
    assert told.startswith("stop 3: time goes back in recordings/") and " s" in told


def test_a_test_without_brakings_is_unusable_or_all_rejected(tmp_path):
    write_test(tmp_path, APPS[:2], Rig(), series=True, change=lambda _, c: c | {"pressure": np.zeros_like(c["time"])})
    found = reduce(tmp_path)
    assert found.stops.height == 0 and found.summary["unusable"]
    assert {f["code"] for f in found.findings} == {"test_unusable"}


def test_an_invalid_card_leaves_whole_files(tmp_path):
    folder, _ = write_test(tmp_path, APPS[:2], Rig())
    (folder / "test.yaml").write_text("schema: 1\ncompond: x\n")
    found = reduce(tmp_path)
    assert found.stops.height == 0 and found.traces.height == 0 and "test.yaml" in found.summary["unusable"]
    assert "mu_u" in found.stops.columns


DAMAGE = st.tuples(
    st.sampled_from(["time", "speed", "torque", "pressure", "disc_temperature"]),
    st.sampled_from(["nan", "hold", "zero", "huge", "negative", "drop", "repeat", "reverse", "inf"]),
    st.floats(0.0, 0.95),
    st.floats(0.002, 0.6),
)


def harmed(c, damage):
    name, how, start, share = damage
    n = c["time"].size
    a = int(start * n)
    b = min(max(a + int(share * n), a + 1), n)
    c = {k: v.copy() for k, v in c.items()}
    if how == "drop":
        return {k: np.r_[v[:a], v[b:]] for k, v in c.items()}
    if how == "repeat":
        return {k: np.r_[v[:b], v[a:b], v[b:]] for k, v in c.items()}
    value = {"nan": np.nan, "hold": c[name][a], "zero": 0.0, "huge": 1e9, "inf": np.inf}
    c[name][a:b] = -c[name][a:b] if how == "negative" else c[name][a:b][::-1] if how == "reverse" else value[how]
    return c


MANY = settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
DAMAGES = st.lists(DAMAGE, min_size=1, max_size=3)


@settings(MANY, max_examples=10)
@given(DAMAGES)
def test_no_damage_gives_a_traceback_or_a_silent_number(tmp_path_factory, damages):
    told_or_true(tmp_path_factory, damages)


@pytest.mark.heavy
@MANY
@given(DAMAGES)
def test_more_damage_gives_no_traceback_and_no_silent_number(tmp_path_factory, damages):
    told_or_true(tmp_path_factory, damages)


def told_or_true(tmp_path_factory, damages):
    """A damaged stop with status ok and no finding has mu within 0.02 and work within 5 % of the truth."""

    def change(i, c):
        if i == 1:
            for damage in damages:
                if c["time"].size > 5:
                    c = harmed(c, damage)
        return c

    base = tmp_path_factory.mktemp("damage")
    apps = APPS[:4]
    _, truths = write_test(base, apps, Rig(), change=change)
    found = reduce(base)
    assert found.stops.height == len(apps)
    for row, truth in zip(found.stops.iter_rows(named=True), truths, strict=True):
        if row["status"] == "ok" and not row["findings"]:
            assert row["mu"] == pytest.approx(truth.mu_distance, abs=0.02)
            assert row["energy_kj"] == pytest.approx(truth.energy / 1e3, rel=0.05)
        for name, value in row.items():
            assert not isinstance(value, float) or np.isfinite(value), name
