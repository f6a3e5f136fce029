"""A curve and a window say at which temperatures stops were run near their conditions: known by where they were run."""

from __future__ import annotations

import numpy as np
import pytest

from pipeline.friction import result
from pipeline.friction.map import fit_map
from pipeline.friction.tested import along, of_curve, reference_conditions
from pipeline.friction.wanted import Wanted
from pipeline.method.friction import Friction
from tests.friction.makers import P0, Law
from tests.makers import stops_frame

ZERO_C = 273.15
LINE = np.arange(60.0, 641.0, 20.0)


def fitted(bar_above: float):
    """A temperature line at the reference's pressure up to 400 degC and at another one above it, where a second line
    at 240 to 400 degC shows the pressure's effect; checks at 300 degC."""
    rows = [(t, P0 if t <= 400 else bar_above) for t in LINE for _ in range(2)]
    rows += [(t, bar_above) for t in np.arange(240.0, 401.0, 40.0)] + [(300.0, P0)] * 8
    t, bar = np.array(rows).T
    rng = np.random.default_rng(1)
    mu = Law(pressure=-0.03).mu(t, bar) * (1 + rng.normal(0, 0.01, t.size))
    purpose = ["map"] * (t.size - 8) + ["check"] * 8
    stops = stops_frame(
        t.size, purpose=purpose, block=purpose, temperature_initial_c=t + rng.normal(0, 0.5, t.size), pressure_bar=bar, mu=mu,
        speed_start_rpm=1500.0, energy_density_j_mm2=23.0, power_density_w_mm2=8.0,
    )  # fmt: skip
    return fit_map(stops, Friction(), temperature="initial")


@pytest.mark.parametrize(("bar", "reached"), [(P0, 640.0), (P0 * 1.45, 640.0), (P0 * 1.6, 460.0)])
def test_a_curve_is_tested_as_far_as_stops_were_run_near_its_conditions(bar: float, reached: float) -> None:
    """A stop speaks 60 K and a factor of 1.5 around it: at 1.6 times the pressure the reference is known to 400 + 60 degC."""
    map_ = fitted(bar)
    kelvin = np.arange(70.0, 631.0, 5.0) + ZERO_C
    tested = along(map_, kelvin, reference_conditions(map_))
    assert tested.tolist() == (kelvin - ZERO_C <= reached + 0.5).tolist()
    entries = of_curve(map_, kelvin, reference_conditions(map_), None)
    assert (entries == []) == (reached > 600)
    if entries:
        (entry,) = entries
        assert entry.direction == "combination" and entry.share == pytest.approx((630 - 460) / 560, abs=0.02)
        assert f"{bar:.1f} bar" in entry.words


def test_window_and_points_of_a_result_say_it() -> None:
    found = result.of_map(fitted(P0 * 1.6), Friction(), Wanted(mu=(0.30, 0.60)), 0.0)
    beyond = [point.temperature_c for point in found.curve if not point.tested]
    assert min(beyond) == pytest.approx(465, abs=6) and max(beyond) == found.curve[-1].temperature_c
    assert found.window is not None and found.window.high_c > 500
    assert [one.of for one in found.extrapolated] == ["friction window"]
    near = result.of_map(fitted(P0 * 1.45), Friction(), Wanted(mu=(0.30, 0.60)), 0.0)
    assert near.extrapolated == [] and all(point.tested for point in near.curve)
