"""Published and closed-form cases, through the reduction's own functions."""

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from pipeline.archive.card import SensorLimit
from pipeline.batches.mixed import fit, reml_variance
from pipeline.conditioning.offsets import least_squares
from pipeline.conditioning.time_base import widths
from pipeline.stops.evaluation_window import first_reaching
from pipeline.stops.friction import averages, clamp_force, coefficient, weights
from pipeline.stops.radius import effective_radius
from pipeline.stops.uncertainty import Gains, combined, effective_freedom, gain_and_zero, relative_uncertainty
from pipeline.stops.work import (
    between,
    fully_developed,
    kinetic_energy,
    mean_fully_developed_deceleration,
    revolutions,
    work,
)

RPM = np.pi / 30
PSI, INCH, LBF = 6894.757293168361, 0.0254, 4.4482216152605
TRACES = Path(__file__).parent / "traces"


@pytest.mark.published("mean fully developed deceleration", source="UN R13 and R13-H", origin="from memory")
def test_mean_fully_developed_deceleration_by_hand():
    """UN R13 and R13-H: 6300 / (25.92 x 35); the type-0 limit of 6.43 m/s2 at 100 km/h (from memory)."""
    assert fully_developed(80, 10, 14.0, 49.0) == pytest.approx(6.944444444, abs=1e-8)
    distance = ((80 / 3.6) ** 2 - (10 / 3.6) ** 2) / (2 * 6.43)
    assert fully_developed(80, 10, 0.0, distance) == pytest.approx(6.43, abs=1e-12)


@pytest.mark.published(
    "the same, of a deceleration that rises: by distance, not time", source="ramp of 4 + 2 t m/s2", origin="closed form"
)
def test_deceleration_is_averaged_over_distance_not_time():
    """Ramp a(t) = 4 + 2 t from 100 km/h: by distance 7.9206, by time 8.4764 m/s2 (closed form)."""
    v0 = 100 / 3.6
    time = np.arange(0.0, 3.55, 0.01)
    velocity = np.maximum(v0 - 4 * time - time**2, 0.0)
    assert mean_fully_developed_deceleration(time, velocity) == pytest.approx(7.920633332, rel=0.005)
    fine = np.arange(0.0, 3.55, 1e-4)
    assert mean_fully_developed_deceleration(fine, v0 - 4 * fine - fine**2) == pytest.approx(7.920633332, rel=1e-6)


def test_deceleration_needs_a_tenth_of_the_start_speed():
    time = np.arange(0.0, 3.0, 0.01)
    assert mean_fully_developed_deceleration(time, 30.0 - 5.0 * time) is None


@pytest.mark.published(
    "energy, duration and turns of a stop at constant torque", source="I (w1^2 - w2^2) / 2", origin="closed form"
)
def test_braking_energy_of_a_constant_torque_stop():
    """I = 60 kg m2, 1000 to 200 rpm at 1200 N m: 315 827 J, 4.18879 s (closed form)."""
    w1, w2, torque = 1000 * RPM, 200 * RPM, 1200.0
    energy = kinetic_energy(60.0, w1, w2)
    assert energy == pytest.approx(315827.34083486, abs=1e-4)
    duration = 60 * (w1 - w2) / torque
    time = np.arange(0.0, duration, 0.01)
    grid, speed, level = between(time, 0.0, float(time[-1]), w1 - torque / 60 * time, np.full(time.size, torque))
    assert work(grid, level, speed) == pytest.approx(kinetic_energy(60.0, w1, speed[-1]), rel=0.002)
    exact = np.linspace(0.0, duration, 400)
    turns = revolutions(exact, w1 - torque / 60 * exact)
    assert torque * turns * 2 * np.pi == pytest.approx(energy, abs=1e-6)
    assert kinetic_energy(1500.0, 100 / 3.6, 0.0) == pytest.approx(578703.7037037, abs=1e-6)


@pytest.mark.published(
    "effective radius and friction of an annular pad",
    source="Shigley, Mechanical Engineering Design, example 16-3",
    origin="from memory",
)
def test_effective_radius_and_friction_of_an_annular_pad():
    """Shigley, Mechanical Engineering Design, example 16-3 (from memory): uniform wear 4.6875 in, p_hyd 2121 psi, f 0.37."""
    mean = effective_radius(2 * 5.5, 2 * 3.875, "uniform_wear")
    assert mean == pytest.approx(4.6875) == effective_radius(2 * 5.5, 2 * 3.875, "mean")
    pressure = effective_radius(2 * 5.5, 2 * 3.875, "uniform_pressure")
    assert pressure == pytest.approx(4.7344444, abs=1e-6)
    torque = np.array([13000 * LBF * INCH])
    force = clamp_force(np.array([2120.7914 * PSI]), piston_area=np.pi * 1.5**2 / 4 * INCH**2)
    assert torque[0] == pytest.approx(1468.80278, rel=1e-7)
    assert coefficient(torque, force, mean * INCH)[0] == pytest.approx(0.37, abs=1e-6)
    assert coefficient(torque, force, pressure * INCH)[0] == pytest.approx(0.366331, abs=1e-6)


def test_example_card_clamp_force():
    """Two faces: mu 0.4 at 40 bar on the pistons of one side of 30, 34 and 38 mm at 134 mm gives 1132 N m."""
    area = np.pi / 4 * (0.030**2 + 0.034**2 + 0.038**2)
    force = clamp_force(np.array([40e5]), piston_area=area, threshold=0.4e5, efficiency=0.97)
    torque = 2 * 0.4 * force * 0.134
    assert torque[0] == pytest.approx(1131.94, abs=0.05)
    assert coefficient(torque, force, 0.134)[0] == pytest.approx(0.4, rel=1e-12)


def trace(name):
    with (TRACES / name).open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    table = {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}
    return table["t_s"], table["omega_rad_s"], table["p_MPa"] * 1e6, table["torque_Nm"]


@pytest.mark.parametrize(
    ("name", "whole", "held"),
    [
        ("cold_low_energy.csv", (0.384, 0.412, 0.437), (0.428, 0.449, 0.457)),
        ("warm_low_energy.csv", (0.519, 0.519, 0.518), (0.518, 0.519, 0.518)),
    ],
)
def test_averages_of_a_cold_and_a_warm_carbon_stop(name, whole, held):
    """A computed carbon-carbon stop (45 cm2, 118 mm, no threshold), by distance, time and energy: all samples with pressure,
    and from 95 % of the highest pressure."""
    time, speed, pressure, torque = trace(name)
    mu = coefficient(torque, clamp_force(pressure, piston_area=45e-4), 0.118)
    reached = first_reaching(time, pressure, 0.95 * pressure.max(), time[0], time[-1])
    for inside, expected in ((pressure > 0, whole), (time >= reached, held)):
        by = weights(widths(time), speed, torque)
        found = averages(mu[inside], {name: weight[inside] for name, weight in by.items()})
        assert [found[k] for k in ("distance", "time", "energy")] == pytest.approx(expected, abs=0.002)


@pytest.mark.published(
    "uncertainty of mu from those of its parts",
    source="three independent programs for uncertainties",
    origin="two programs",
)
def test_uncertainty_of_mu():
    """T 1200(12) N m, p 8.00(8) MPa, A 2290(4.58) mm2, r 110.0(1.1) mm, eta 0.950(0.0095): agreed by three programs."""
    mu = coefficient(np.array([1200.0]), clamp_force(np.array([8e6]), piston_area=2290e-6, efficiency=0.95), 0.110)[0]
    assert mu == pytest.approx(0.3134075761, abs=1e-9)
    relative = relative_uncertainty(0.01, 0.01, 0.002, 0.01, 0.01)
    assert mu * relative == pytest.approx(0.0062994143, abs=1e-9)
    assert mu * relative_uncertainty(0.01, 0.01, 0.002, 0.01, 0.01, correlation=0.8) == pytest.approx(
        0.00489558, abs=1e-8
    )


@pytest.mark.published("the same by simulation", source="400 000 draws", origin="two programs")
def test_uncertainty_of_mu_agrees_with_a_simulation():
    rng = np.random.default_rng(3)
    torque, pressure = 1200 + 12 * rng.standard_normal(400_000), 8e6 + 8e4 * rng.standard_normal(400_000)
    area, radius = (
        2290e-6 * (1 + 0.002 * rng.standard_normal(400_000)),
        0.11 * (1 + 0.01 * rng.standard_normal(400_000)),
    )
    force = clamp_force(pressure, piston_area=1.0, efficiency=0.95) * area
    mu = coefficient(torque, force, 1.0) / radius
    assert mu.std() / mu.mean() == pytest.approx(relative_uncertainty(0.01, 0.01, 0.002, 0.01), rel=0.01)


@pytest.mark.published(
    "combined uncertainty and its degrees of freedom", source="JCGM 100:2008, H.1", origin="from memory"
)
def test_combined_uncertainty_of_a_gauge_block():
    """JCGM 100 (GUM) H.1: u_c 32 nm, 16 effective degrees of freedom, 93 nm at 99 % (from memory)."""
    parts, freedom = np.array([25.0, 9.7, 2.9, 16.6]), np.array([18, 25.6, 50, 2])
    own = combined(
        1.0, Gains(0, 0, 0, 0, 0), torque=1.0, pressure=1.0, torque_zero_stop=9.7, torque_zero_test=16.6,
        pressure_zero_stop=2.9, pressure_zero_test=0.0, scatter=25.0,
    )[0]  # fmt: skip
    assert round(own) == 32
    assert int(effective_freedom(parts, freedom)) == 16
    assert round(float(stats.t.ppf(0.995, 16)) * round(own)) == 93


@pytest.mark.published("calibration line with its covariance", source="JCGM 100:2008, H.3", origin="from memory")
def test_calibration_line():
    """JCGM 100 (GUM) H.3: intercept -0.1712(29), slope 0.00218(67), r -0.930; at 30 degC -0.1494(41) (from memory)."""
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    line, covariance = least_squares(np.column_stack([np.ones_like(t), t - 20]), b, np.ones_like(t))
    assert line == pytest.approx([-0.17120, 0.0021827], rel=1e-4)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([0.0028776, 0.00066794], rel=1e-4)
    assert covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]) == pytest.approx(-0.93043, rel=1e-4)
    at = np.array([1.0, 10.0])
    assert (at @ line, np.sqrt(at @ covariance @ at)) == pytest.approx((-0.149377, 0.0041386), rel=1e-4)


@pytest.mark.published(
    "variance between days of means whose own is known", source="JCGM 100:2008, H.5", origin="from memory"
)
def test_day_to_day_components_of_a_voltage_standard():
    """JCGM 100 (GUM) H.5: ten days of five readings; between days 43 uV, within 85 uV, of the mean 18 uV (from memory).

    The day means stand where specimens do in the batch comparison, their own variance is the readings' over five.
    """
    day = 10 + np.array([172, 116, 13, 144, 106, 31, 60, 125, 163, 41]) * 1e-6
    within = np.array([60, 77, 111, 101, 67, 93, 80, 73, 88, 86]) * 1e-6
    pooled = float(np.square(within).mean())
    between_days = np.sqrt(reml_variance(day, np.ones((10, 1)), np.full(10, pooled / 5)))
    assert round(np.sqrt(pooled) * 1e6) == 85 and round(between_days * 1e6) == 43
    found = fit(day, ["standard"] * 10, np.full(10, pooled / 5))
    assert found.effects[0] == pytest.approx(10.000097, abs=5e-7)
    assert round(float(np.sqrt(found.covariance[0, 0])) * 1e6) == 18


@pytest.mark.published("standard uncertainty of a stated limit", source="JCGM 100:2008, 4.3.7", origin="from memory")
def test_rectangular_limits():
    """JCGM 100, 4.3.7: limits +-a are a / sqrt(3); of full scale they bound gain and zero."""
    gain, zero = gain_and_zero(SensorLimit(absolute=6.0, full_scale=3000.0), 1000.0)
    assert (gain, zero) == pytest.approx((0.002 / np.sqrt(3), 6 / np.sqrt(3)))
    gain, zero = gain_and_zero(SensorLimit(absolute=6.0), 1000.0)
    assert (gain, zero) == pytest.approx((0.006 / np.sqrt(3), 6 / np.sqrt(3)))
    assert gain_and_zero(SensorLimit(relative=0.01), 1000.0) == pytest.approx((0.01 / np.sqrt(3), 0.0))
    assert gain_and_zero(None, 1000.0) == (0.0, 0.0)


def as_recording(base, card, channels):
    """One recording of these channels as the channels stage hands it over."""
    import json

    import polars as pl

    from tests.stops.makers import record_of

    folder = base / "t1"
    folder.mkdir()
    (folder / "test.yaml").write_text(card, encoding="utf-8")
    size = channels["time"].size
    pl.DataFrame({"recording": np.full(size, 1, dtype=np.int32)} | channels).write_parquet(base / "t1.parquet")
    record = {"test": "t1", "unusable": None, "holds": "stop", "recordings": [record_of(1, channels)], "findings": []}
    (base / "t1.json").write_text(json.dumps(record), encoding="utf-8")


@pytest.mark.published(
    "a stop at constant torque through the whole stage", source="I (w1^2 - w2^2) / 2", origin="closed form"
)
def test_a_constant_torque_stop_through_the_whole_stage(tmp_path):
    """I = 60 kg m2, 1000 to 200 rpm at 1200 N m, 100 Hz, steps without a ramp: 315.827 kJ in 4.18879 s (closed form)."""
    from tests.stops.makers import Application, Rig, card_text, reduce

    time = np.arange(0, 8, 0.01)
    first, last = 1000 * RPM, 200 * RPM
    on = (time >= 1.0) & (time < 1.0 + 60 * (first - last) / 1200)
    channels = {
        "time": time, "speed": np.clip(first - 20 * (time - 1.0), last, first), "torque": 1200.0 * on,
        "pressure": 30e5 * on, "disc_temperature": 333.15 + time,
    }  # fmt: skip
    as_recording(
        tmp_path, card_text([Application(speed=(1000, 200), pressure=30)], Rig(), inertia="60 kg m^2"), channels
    )
    (row,) = reduce(tmp_path).stops.to_dicts()
    assert row["status"] == "ok"
    assert row["energy_kj"] == pytest.approx(315.827, rel=0.002)
    assert row["kinetic_energy_kj"] == pytest.approx(315.827, rel=0.002)
    assert row["energy_ratio"] == pytest.approx(1.0, abs=0.002)
    assert row["duration_s"] == pytest.approx(4.1888, abs=0.015)
    force = 0.97 * (30e5 - 0.4e5) * np.pi / 4 * (0.030**2 + 0.034**2 + 0.038**2)
    assert row["mu"] == pytest.approx(1200 / (2 * force * 0.134), rel=1e-4)


@pytest.mark.parametrize(
    ("name", "expected"),
    [("cold_low_energy.csv", (0.425, 0.444, 0.454)), ("warm_low_energy.csv", (0.518, 0.519, 0.518))],
)
def test_a_recording_that_starts_and_ends_with_the_brake(tmp_path, name, expected):
    """The computed carbon stops as recordings: nothing at rest before or after, so nothing is taken off and that is said;
    the window ends 3 % of the start speed above the end speed."""
    from tests.stops.makers import Application, Rig, card_text, reduce

    time, speed, pressure, torque = trace(name)
    app = Application(speed=(speed[0] / RPM, speed[-1] / RPM), pressure=pressure.max() / 1e5, temperature=60)
    card = card_text([app], Rig(), inertia="24.5 kg m^2", radius="effective_radius: 118 mm")
    for old, new in (
        ("[30 mm, 34 mm, 38 mm]", "[75.694 mm]"), ("efficiency: 0.97", "efficiency: 1"),
        ("threshold_pressure: 0.4 bar", "threshold_pressure: 0 bar"),
    ):  # fmt: skip
        card = card.replace(old, new)
    channels = {"time": time, "speed": speed, "torque": torque, "pressure": pressure, "disc_temperature": 333.15 + time}
    as_recording(tmp_path, card, channels)
    found = reduce(tmp_path, conditioning={"filter_cutoff": "24 Hz"})
    (row,) = found.stops.to_dicts()
    assert row["status"] == "ok"
    assert [row[f"mu_{k}"] for k in ("distance", "time", "energy")] == pytest.approx(expected, abs=0.002)
    assert {f["channel"] for f in found.findings if f["code"] == "zero_unknown"} == {"torque", "pressure"}
    assert row["energy_kj"] == pytest.approx(np.trapezoid(torque * speed, time) / 1e3, rel=0.003)
