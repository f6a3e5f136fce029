"""The whole stage against simulated truth: every kind of braking, sensors as bad as they come, and what must not matter."""

import itertools
from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from tests.stops.makers import RPM, Application, Rig, reduce, write_test

CLEAN = Rig()
HARD = Rig(torque_delay=0.06, torque_offset=60.0, drag=(8.0, 0.06), ripple=(0.03, 0.02))  # 60 N m: 2 % of 3000


def rise(s):
    """Cold carbon: 0.15 rising to 0.45 within the stop."""
    return 0.15 + 0.30 / (1 + np.exp(-(s - 1.0) / 0.25))


SNUBS = [Application(pressure=p, speed=(w, 500), block=f"{p} {w}") for p in (10, 20, 40, 60) for w in (1200, 1800)]
KINDS = {
    "snubs": SNUBS,
    "stops": [Application(kind="stop", speed=(w, 0), pressure=p, block=f"{p} {w}") for p in (10, 20, 40) for w in (1000, 1500)],
    "drags": [
        Application(kind="drag", speed=(w, w), pressure=p, duration=6, block=f"{p} {w}", purpose="drag")
        for p in (6, 10, 20) for w in (600, 800)
    ],
    "torque-controlled": [
        Application(speed=(w, 500), torque=t, mu=rise, block=f"{t} {w}") for t in (400, 800) for w in (1500, 1800)
    ],
    "cold rise": [
        Application(kind="stop", speed=(w, 0), pressure=20, mu=rise, temperature=60, block=f"{w}") for w in (1000, 1200, 1500)
    ],
}  # fmt: skip


def column(frame, name):
    return frame[name].cast(pl.Float64).to_numpy()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(("rig", "tolerance"), [(CLEAN, 0.0025), (HARD, 0.004)], ids=["clean", "hard"])
def test_every_kind_of_braking_gives_its_true_friction_and_work(tmp_path, kind, rig, tolerance):
    _, truths = write_test(tmp_path, KINDS[kind], rig)
    found = reduce(tmp_path)
    assert found.stops["status"].to_list() == ["ok"] * len(truths)
    assert found.stops["block"].to_list() == [a.block for a in KINDS[kind]]
    for name in ("mu_distance", "mu_time", "mu_energy"):
        assert column(found.stops, name) == pytest.approx([getattr(t, name) for t in truths], abs=tolerance)
    assert column(found.stops, "mu") == pytest.approx(column(found.stops, "mu_distance"))
    assert column(found.stops, "energy_kj") == pytest.approx([t.energy / 1e3 for t in truths], rel=0.004)
    assert column(found.stops, "start_s") == pytest.approx([t.start for t in truths], abs=0.005)
    assert column(found.stops, "duration_s") == pytest.approx([t.end - t.start for t in truths], abs=0.02)
    assert column(found.stops, "speed_start_rpm") == pytest.approx([t.speed_start / RPM for t in truths], abs=1.5)
    assert column(found.stops, "speed_end_rpm") == pytest.approx([t.speed_end / RPM for t in truths], abs=2.5)
    if kind == "drags":
        assert found.stops["energy_ratio"].null_count() == len(truths) == found.stops["kinetic_energy_kj"].null_count()
    else:
        assert column(found.stops, "energy_ratio") == pytest.approx(1.0, abs=0.006)
        assert found.summary["energy_balance"]["ratio_median"] == pytest.approx(1.0, abs=0.003)


def test_without_conditioning_the_hard_case_is_far_off(tmp_path):
    _, truths = write_test(tmp_path, SNUBS, HARD)
    raw = reduce(tmp_path, conditioning={"lag_correction": "false"}, reduction={"drag_correction": "false"})
    error = np.abs(column(raw.stops, "mu") - [t.mu_distance for t in truths])
    assert error.max() > 0.012
    assert raw.summary["lag_s"]["applied"] == 0 and raw.summary["lag_s"]["value"] == pytest.approx(0.06, abs=0.003)


def test_offset_drag_and_lag_are_told_apart(tmp_path):
    write_test(tmp_path, SNUBS, HARD)
    found = reduce(tmp_path)
    assert found.summary["offsets"]["torque_nm"] == pytest.approx(60.0, abs=1.5)
    assert found.summary["drag"]["a_nm"] == pytest.approx(8.0, abs=1.5)
    assert found.summary["drag"]["b_nm_per_rad_s"] == pytest.approx(0.06, abs=0.01)
    assert found.summary["lag_s"]["value"] == pytest.approx(0.06, abs=0.003)
    assert found.summary["lag_s"]["late"] == "torque"
    codes = {f["code"] for f in found.findings}
    assert "lag_corrected" in codes and codes <= {"lag_corrected", "offset_large"}


def test_drag_is_kept_in_or_taken_out_of_mu_but_never_in_the_work(tmp_path):
    rig = replace(CLEAN, torque_offset=30.0, drag=(10.0, 0.05))
    _, truths = write_test(tmp_path, SNUBS, rig)
    without, with_drag = reduce(tmp_path), reduce(tmp_path, reduction={"drag_correction": "false"})
    assert column(with_drag.stops, "energy_kj") == pytest.approx(column(without.stops, "energy_kj"), rel=1e-9)
    share = column(without.stops, "drag_torque_nm") / column(without.stops, "torque_nm")
    assert column(with_drag.stops, "mu") / column(without.stops, "mu") - 1 == pytest.approx(share, abs=0.004)
    assert column(without.stops, "mu") == pytest.approx([t.mu_distance for t in truths], abs=0.0015)


def test_a_sensor_that_sees_no_drag(tmp_path):
    _, truths = write_test(tmp_path, SNUBS, replace(HARD, includes_drag=False))
    found = reduce(tmp_path)
    assert column(found.stops, "mu") == pytest.approx([t.mu_distance for t in truths], abs=0.004)
    middle = found.summary["drag"]["a_nm"] + 120 * found.summary["drag"]["b_nm_per_rad_s"]
    assert middle == pytest.approx(8.0 + 120 * 0.06, abs=1.5)
    assert column(found.stops, "energy_ratio") == pytest.approx(1.0, abs=0.006)


def test_a_simulated_inertia_is_closed_by_the_drive(tmp_path):
    write_test(tmp_path, SNUBS, replace(CLEAN, inertia_mechanical=18.0))
    assert column(reduce(tmp_path).stops, "energy_ratio") == pytest.approx(1.0, abs=0.006)


def test_a_simulated_inertia_without_the_drives_torque_has_no_balance(tmp_path):
    folder, _ = write_test(tmp_path, SNUBS[:3], CLEAN)
    card = folder / "test.yaml"
    card.write_text(card.read_text().replace("inertia: 22 kg m^2", "inertia: 22 kg m^2\ninertia_mechanical: 18 kg m^2"))
    found = reduce(tmp_path)
    assert found.stops["energy_ratio"].null_count() == 3
    assert found.summary["energy_balance"]["ratio_median"] is None and found.summary["energy_balance"]["why"]


def test_a_late_pressure_is_told_from_a_late_torque(tmp_path):
    _, truths = write_test(tmp_path, SNUBS, replace(HARD, torque_delay=0.0, pressure_delay=0.05))
    found = reduce(tmp_path)
    assert found.summary["lag_s"]["late"] == "pressure"
    assert column(found.stops, "mu") == pytest.approx([t.mu_distance for t in truths], abs=0.004)
    assert column(found.stops, "start_s") == pytest.approx([t.start for t in truths], abs=0.006)
    assert column(found.stops, "energy_ratio") == pytest.approx(1.0, abs=0.006)


def test_pressure_offset_is_read_at_rest(tmp_path):
    _, truths = write_test(tmp_path, SNUBS, replace(CLEAN, pressure_offset=0.5e5))
    found = reduce(tmp_path)
    assert found.summary["offsets"]["pressure_bar"] == pytest.approx(0.5, abs=0.02)
    assert column(found.stops, "mu") == pytest.approx([t.mu_distance for t in truths], abs=0.0015)


def test_torque_wholly_negative_is_turned_round(tmp_path):
    def negative(_, channels):
        return channels | {"torque": -channels["torque"]}

    _, truths = write_test(tmp_path, SNUBS, HARD, change=negative)
    found = reduce(tmp_path)
    assert column(found.stops, "mu") == pytest.approx([t.mu_distance for t in truths], abs=0.004)
    assert "torque_turned" in {f["code"] for f in found.findings}


NOISELESS = Rig(torque_noise=0.0, pressure_noise=0.0, speed_noise=0.0, temperature_noise=0.0, torque_offset=20.0)


def test_doubling_the_sampling_rate_changes_no_figure(tmp_path):
    tables = []
    for rate in (100.0, 200.0):
        base = tmp_path / str(rate)
        base.mkdir()
        write_test(base, [*SNUBS[:3], KINDS["cold rise"][0]], replace(NOISELESS, rate=rate))
        tables.append(reduce(base).stops)
    for name, tolerance in (
        ("mu", 5e-4),
        ("mu_bite", 3e-3),
        ("energy_kj", 0.1),
        ("duration_s", 0.004),
        ("start_s", 0.003),
    ):
        assert column(tables[0], name) == pytest.approx(column(tables[1], name), abs=tolerance), name


def test_one_series_gives_what_single_recordings_give(tmp_path):
    tables = []
    for series in (False, True):
        base = tmp_path / str(series)
        base.mkdir()
        write_test(base, SNUBS, CLEAN, series=series)
        tables.append(reduce(base).stops)
    for name in ("mu", "energy_kj", "start_s", "temperature_initial_c", "idle_before_s"):
        assert column(tables[0], name) == pytest.approx(column(tables[1], name), rel=2e-3, nan_ok=True), name
    assert tables[0]["block"].to_list() == tables[1]["block"].to_list()


def test_stops_do_not_depend_on_the_order_they_were_run_in(tmp_path):
    tables = []
    for order in (SNUBS, SNUBS[::-1]):
        base = tmp_path / str(len(tables))
        base.mkdir()
        write_test(base, order, NOISELESS)
        tables.append(reduce(base).stops)
    assert column(tables[0], "mu") == pytest.approx(column(tables[1], "mu")[::-1], abs=1e-5)
    assert column(tables[0], "energy_kj") == pytest.approx(column(tables[1], "energy_kj")[::-1], rel=1e-5)


def test_ripple_is_found_by_shaft_order(tmp_path):
    apps = [Application(kind="stop", speed=(900, 0), pressure=20, block=str(i)) for i in range(3)]
    write_test(tmp_path, apps, replace(CLEAN, rate=200.0, ripple=(0.06, 0.02)))
    found = reduce(tmp_path)
    assert column(found.stops, "ripple_1_pct") == pytest.approx(6.0, abs=0.4)
    assert column(found.stops, "ripple_2_pct") == pytest.approx(2.0, abs=0.4)
    assert [f["evidence"]["order"] for f in found.findings if f["code"] == "torque_ripple"] == [1, 1, 1]


def test_temperatures_follow_the_contracts_definitions(tmp_path):
    _, truths = write_test(tmp_path, KINDS["stops"], replace(CLEAN, temperature_noise=0.0))
    stops = reduce(tmp_path).stops
    assert column(stops, "temperature_initial_c") == pytest.approx(300.0, abs=0.05)
    heated = np.array([t.energy for t in truths]) / (1.7 * 1400)
    assert column(stops, "temperature_peak_c") == pytest.approx(300 + heated, rel=0.01)
    assert column(stops, "temperature_end_c") == pytest.approx(300 + heated, rel=0.01)
    mean = column(stops, "temperature_mean_c")
    assert ((mean > 300) & (mean < column(stops, "temperature_end_c"))).all()


@pytest.mark.parametrize("rig", [CLEAN, HARD], ids=["clean", "hard"])
def test_a_recorder_that_runs_through_the_pauses(tmp_path, rig):
    apps = [*SNUBS[:4], *KINDS["stops"][:3]]
    _, truths = write_test(tmp_path, apps, rig, series=True, continuous=True, pause=15.0)
    found = reduce(tmp_path)
    assert found.stops["status"].to_list() == ["ok"] * len(apps)
    assert found.stops["kind"].to_list() == [a.kind for a in apps]
    assert column(found.stops, "mu") == pytest.approx([t.mu_distance for t in truths], abs=0.004)
    assert column(found.stops, "energy_ratio") == pytest.approx(1.0, abs=0.006)
    assert column(found.stops, "idle_before_s")[1:] == pytest.approx(
        [b.start - a.end for a, b in itertools.pairwise(truths)], abs=0.03
    )


@pytest.mark.parametrize("rate", [20.0, 50.0, 1000.0])
def test_other_sampling_rates(tmp_path, rate):
    _, truths = write_test(tmp_path, [*SNUBS[:6], *KINDS["stops"][:2]], replace(CLEAN, rate=rate))
    found = reduce(tmp_path)
    assert column(found.stops, "mu") == pytest.approx([t.mu_distance for t in truths], abs=0.003)
    assert column(found.stops, "energy_kj") == pytest.approx([t.energy / 1e3 for t in truths], rel=0.008)


def test_coarse_resolution_and_slow_build_up(tmp_path):
    def coarse(_, c):
        steps = {"speed": 2 * RPM, "torque": 5.0, "pressure": 1e5, "disc_temperature": 1.0}
        return c | {name: np.round(c[name] / step) * step for name, step in steps.items()}

    apps = [replace(app, ramp=40.0, line_time=0.1) for app in SNUBS]
    _, truths = write_test(tmp_path, apps, CLEAN, change=coarse)
    found = reduce(tmp_path)
    assert found.stops["status"].to_list() == ["ok"] * len(apps) and found.findings == []
    assert column(found.stops, "mu") == pytest.approx([t.mu_distance for t in truths], abs=0.003)


@pytest.mark.parametrize("kind", ["snubs", "stops", "cold rise", "torque-controlled"])
def test_the_other_figures_of_a_stop(tmp_path, kind):
    _, truths = write_test(tmp_path, KINDS[kind], CLEAN)
    stops = reduce(tmp_path).stops
    cold = kind in ("cold rise", "torque-controlled")
    for name, tolerance in (
        ("mu_bite", 0.008),
        ("mu_start", 0.006),
        ("mu_end", 0.006),
        ("mu_min", 0.012),
        ("mu_max", 0.012),
    ):
        noise = 0.02 if name in ("mu_min", "mu_max") else tolerance  # percentiles hold the noise as well
        assert column(stops, name) == pytest.approx([t.extra[name] for t in truths], abs=noise), name
    if cold:
        assert (column(stops, "mu_rise") > 1.05).all()
    assert column(stops, "sliding_distance_m") == pytest.approx([t.extra["distance"] for t in truths], rel=0.003)
    assert column(stops, "pressure_bar") == pytest.approx([t.pressure / 1e5 for t in truths], rel=0.004)
    assert column(stops, "torque_nm") == pytest.approx([t.torque for t in truths], rel=0.005)
    assert column(stops, "energy_density_j_mm2") == pytest.approx([t.energy / 10400 for t in truths], rel=0.004)
    if truths[0].extra["deceleration"] is None:
        assert stops["deceleration_mps2"].null_count() == len(truths)
    else:
        assert column(stops, "deceleration_mps2") == pytest.approx([t.extra["deceleration"] for t in truths], rel=0.006)


def test_the_methods_average_is_the_nominal_one(tmp_path):
    write_test(tmp_path, KINDS["cold rise"], CLEAN)
    for average in ("time", "distance", "energy"):
        stops = reduce(tmp_path, reduction={"average": average}).stops
        assert column(stops, "mu") == pytest.approx(column(stops, f"mu_{average}"))
    early = reduce(tmp_path, reduction={"build_up": "50 %"}).stops
    late = reduce(tmp_path).stops
    assert (column(early, "window_start_s") < column(late, "window_start_s")).all()
    assert (column(early, "mu") < column(late, "mu")).all()
    assert {"averages_differ"} <= set(late["findings"][0].to_list())


def test_the_radius_rule_acts_where_the_card_gives_no_radius(tmp_path):
    outer, inner = 0.312, 0.220
    write_test(tmp_path, SNUBS[:3], CLEAN, radius="# measured radius unknown")
    mean = reduce(tmp_path)
    pressure = reduce(tmp_path, reduction={"radius": "uniform_pressure"})
    assert mean.summary["effective_radius_m"] == pytest.approx((outer + inner) / 4)
    expected = (outer**3 - inner**3) / (3 * (outer**2 - inner**2))
    assert pressure.summary["effective_radius_m"] == pytest.approx(expected)
    assert column(pressure.stops, "mu") == pytest.approx(column(mean.stops, "mu") * (outer + inner) / 4 / expected)


def test_a_second_pressure_sensor_is_averaged_alike(tmp_path):
    folder, _ = write_test(tmp_path, SNUBS, CLEAN, change=lambda _, c: c | {"pressure_2": 0.95 * c["pressure"] + 0.4e5})
    card = folder / "test.yaml"
    card.write_text(
        card.read_text().replace("    pressure: {", "    pressure_2: {column: q, unit: bar}\n    pressure: {")
    )
    found = reduce(tmp_path)
    assert column(found.stops, "pressure_2_bar") == pytest.approx(0.95 * column(found.stops, "pressure_bar"), rel=0.01)
    assert "pressures_disagree" in {f["code"] for f in found.findings}


def test_a_recording_that_repeats_another_is_left_out(tmp_path):
    import json

    write_test(tmp_path, SNUBS, CLEAN)
    record = tmp_path / "t1.json"
    content = json.loads(record.read_text())
    content["recordings"][3]["duplicate_of"] = content["recordings"][2]["file"]
    record.write_text(json.dumps(content))
    found = reduce(tmp_path)
    assert found.stops["recording"].to_list() == [1, 2, 3, 5, 6, 7, 8]
    assert found.stops["stop"].to_list() == list(range(1, 8))


@pytest.mark.parametrize("kind", KINDS)
def test_one_recording_alone_is_conditioned_too(tmp_path, kind):
    """60 ms, 2 % of full scale, drag and ripple together in a test of a single recording."""
    _, truths = write_test(tmp_path, KINDS[kind][-1:], HARD)
    found = reduce(tmp_path)
    assert found.stops["mu"][0] == pytest.approx(truths[0].mu_distance, abs=0.004)
    assert found.stops["status"][0] == "ok"
    assert found.summary["lag_s"]["applied"] == pytest.approx(0.06, abs=0.006)
