"""Friction within stops against friction between them."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.friction.instop import Disc, in_stop, per_stop, slope_per_100k, surface_rise
from pipeline.friction.map import fit_map
from pipeline.heat.halfspace import effusivity
from pipeline.method.friction import Friction
from tests.friction.makers import Law, one_test

DISC = Disc(0.0355, 30.0, 1780.0, 1300.0, 0.014)


def trace_of(
    stop: int, initial_c: float, law: Law, *, seconds: float = 3.0, points: int = 60, torque: float = 900.0
) -> pl.DataFrame:
    """A snub whose mu follows the surface temperature while the sensor shows a third of its rise."""
    t = np.linspace(0, seconds, points)
    speed = np.linspace(1500, 500, points)
    flux = torque * speed * np.pi / 30 / (2 * DISC.swept_area)
    slope = (flux[-1] - flux[0]) / seconds
    e = float(effusivity(DISC.conductivity, DISC.density, 1300.0))
    rise = (2 * flux[0] * np.sqrt(t / np.pi) + 4 / 3 * slope * t**1.5 / np.sqrt(np.pi)) / e
    inside = t > 0.3
    return pl.DataFrame(
        {
            "stop": stop, "time_s": t, "speed_rpm": speed, "torque_nm": torque, "pressure_bar": 40.0,
            "disc_temperature_c": initial_c + rise / 3,
            "mu": pl.Series([float(m) if ok else None for m, ok in zip(law.mu(initial_c + rise), inside, strict=True)]),
        }
    )  # fmt: skip


@pytest.mark.published(
    "rise of the face under a falling flux", source="Carslaw and Jaeger 1959, 2.9", origin="closed form"
)
def test_surface_rise_of_a_falling_flux() -> None:
    """Carslaw and Jaeger 2.9: highest at half the stop, 0.531923 q0 sqrt(ts) / effusivity (derived;
    checked numerically).
    """
    points, seconds, q0 = 81, 4.0, 2e6
    t = np.linspace(0, seconds, points)
    torque = q0 * 2 * DISC.swept_area / (1500 * np.pi / 30) * np.ones(points)
    trace = pl.DataFrame({"torque_nm": torque, "speed_rpm": 1500 * (1 - t / seconds)})
    rise = surface_rise(t, trace, 300.0, DISC)
    assert rise is not None
    e = float(effusivity(DISC.conductivity, DISC.density, 1300.0))
    assert rise.max() == pytest.approx(0.531923 * q0 * np.sqrt(seconds) / e, rel=1e-3)
    assert t[rise.argmax()] == pytest.approx(2.0, abs=0.06)


def test_slope() -> None:
    assert slope_per_100k(np.array([100.0, 150, 200]), np.array([0.2, 0.25, 0.3])) == pytest.approx(0.1)
    assert slope_per_100k(np.array([100.0, 101, 102]), np.array([0.2, 0.25, 0.3])) is None


def test_disagreement_is_said_and_explained() -> None:
    law = Law(scatter=0.005, change=0.0)
    stops = one_test(law, np.random.default_rng(2))
    traces = pl.concat([trace_of(s, t, law) for s, t in stops.select("stop", "temperature_initial_c").iter_rows()])
    found = in_stop(stops, traces, fit_map(stops, Friction()), DISC)
    classes = {row.from_c: row for row in found.classes}
    cold = classes[100]
    assert cold.agrees is False and cold.surface_rise_k > 2.5 * cold.rise_k
    assert cold.text in found.disagreements and "the surface is estimated to rise by" in cold.text
    assert abs(cold.in_stop_per_100k_surface) < abs(cold.in_stop_per_100k) / 2.5
    assert classes[300].agrees is True and classes[300].text is None
    assert found.surface.valid_s == pytest.approx(0.1 * 0.014**2 * 1780 * 1300 / 30, rel=1e-6)


def test_rise_by_energy_class() -> None:
    law = Law()
    stops = one_test(law, np.random.default_rng(2))
    cold = pl.col("temperature_initial_c") < 200
    stops = stops.with_columns(mu_rise=pl.when(cold).then(1.8).otherwise(1.02))
    found = in_stop(stops, trace_of(1, 300.0, law), None, None)
    assert {row.state for row in found.rise} == {"cold", "warm"}
    assert all(row.rise == (1.8 if row.state == "cold" else 1.02) for row in found.rise)
    assert "no friction ring" in found.why


def test_broken_traces_are_left_out() -> None:
    stops = one_test(Law(), np.random.default_rng(2)).head(3)
    good = trace_of(1, 300.0, Law())
    no_mu = trace_of(2, 300.0, Law()).with_columns(mu=pl.lit(None, pl.Float64))
    no_temperature = trace_of(3, 300.0, Law()).with_columns(disc_temperature_c=pl.lit(None, pl.Float64))
    assert per_stop(stops, pl.concat([good, no_mu, no_temperature]), DISC)["stop"].to_list() == [1]
    assert in_stop(stops, good.clear(), None, DISC).why == "no traces of map or check stops"
