"""Single stops, batches, the hottest face and the heat inputs' reservations."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import polars as pl
import pytest

from pipeline.constants import RAD_PER_S, ZERO_C
from pipeline.face import braking, portable, predict, reservations, single, whole_stops
from pipeline.face.inputs import Inputs, Prior
from pipeline.face.predict import Asked, Drawn
from pipeline.heat.plate import Plate
from pipeline.results.face import FaceBatch, FaceModel
from pipeline.results.model import renewed
from tests.face.test_law import model, world


def asked(of: FaceModel, celsius: float) -> Asked:
    c = world()[0].compound
    first = c.reference.speed_rpm * RAD_PER_S
    return Asked("x", celsius + ZERO_C, first, first / 3, of.brake.inertia, pressure=c.reference.pressure_bar * 1e5)


def test_a_level_counts_for_more_where_friction_heats_its_own_face() -> None:
    """Held against single stops drawn one by one, on the cold flank and where mu is nearly flat."""
    c = world()[0].compound
    of = renewed(
        model(), level=0.03, noise=0.0, wander=0.0, kelvin=0.0, specimen_sd=0.0, specimen_shift=0.0, batch_sd=0.0
    )
    laws, brake, rng = portable.drawn(of, 1), portable.brake_of(of), np.random.default_rng(1)
    gains = []
    for celsius in (c.starts[0], c.starts[-1]):
        one = asked(of, celsius)

        def run(level: Any, shift: Any, n: int = 1, one: Asked = one) -> braking.Braking:
            ones = np.ones(n)
            return braking.run(
                laws, np.zeros(n, int), brake, initial=one.initial * ones, pressure=(one.pressure or 0) * ones,
                first=one.first * ones, last=one.last * ones, inertia=one.inertia * ones, level=level, shift=shift,
            )  # fmt: skip

        many = run(0.03 * rng.normal(size=2000), 0.0, 2000)
        for name, sd in single.sds(of, run).items():
            assert float(sd[0]) == pytest.approx(np.log(getattr(many, name)).std(), rel=0.12), (celsius, name)
        gains.append(float(single.sds(of, run)["mu"][0]) / 0.03)
    assert max(gains) > 1.15


def test_single_stops_lie_wider_than_their_mean_in_every_figure() -> None:
    of = model()
    brake = of.brake.model_copy(update={"rolling_radius": 0.3})
    stop = predict.stop(Drawn.of(renewed(of, brake=brake)), asked(of, 300))
    assert stop.single is not None
    for name in ("mu", "torque_nm", "time_s", "distance_m", "deceleration_mps2"):
        mean, alone = getattr(stop, name), getattr(stop.single, name)
        assert alone.low < mean.low < mean.value < mean.high < alone.high, name
    assert stop.mu_single == stop.single.mu


def test_every_batch_has_its_own_stop() -> None:
    of = renewed(model(), batches=[FaceBatch(name="A", level=-0.05, u=0.01), FaceBatch(name="B", level=0.05, u=0.01)])
    stop = predict.stop(Drawn.of(of), asked(of, 450))
    low, high = stop.batches
    assert (low.batch, high.batch) == ("A", "B")
    assert low.mu.value < stop.mu.low and high.mu.value > stop.mu.high
    assert low.time_s.value > stop.time_s.value > high.time_s.value


def test_the_hottest_face_is_known_no_better_than_the_heat_was() -> None:
    of = model()
    narrow, wide = (
        predict.stop(Drawn.of(renewed(of, heat_u=u)), asked(of, 300)).face_peak_c
        for u in ([0.01, 0.01, 0.001], [0.15, 0.06, 0.001])
    )
    rise = narrow.value - 300
    assert wide.high - wide.low > narrow.high - narrow.low
    # a face's rise goes with flux / sqrt(conductivity) at least in part
    assert wide.high - wide.value > 1.96 * 0.5 * 0.06 * rise


def fit(theta: list[float], converged: bool = True, u: float = 0.03) -> Any:
    return SimpleNamespace(
        theta=np.array([*theta, 0.0]), theta_u=np.array([0.15, 0.0632, 0.001]), converged=converged, covariance=np.eye(3) * u**2,
        places={"heat": slice(0, 3)},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("of", "barred", "told"),
    [
        (fit([0.05, -0.02]), None, None),
        (fit([0.05, -0.02], converged=False), "did not settle", "did not settle"),
        (fit([-0.33, 0.0]), "limit of what it may try", "instead of 30"),
        (fit([-0.31, -0.139]), "outside the 95 %", "conductivity 22 instead of 30"),
        (fit([0.12, 0.0]), None, "conductivity 33.8 instead of 30"),
    ],
)
def test_heat_inputs_that_nothing_known_would_have_bar_the_law(of: Any, barred: str | None, told: str | None) -> None:
    plate = Plate(0.036, 0.014, 1780.0, 1200.0)
    heat = Inputs(plate, Prior("conductivity", 30.0, 0.15, "card"), Prior("heat share", 0.95, 0.0632, "method"))
    notes, why = reservations.of_heat(cast(Any, of), heat)
    assert (why is None) == (barred is None) and (barred or "") in (why or "")
    assert bool(notes) == bool(told) and (told or "") in "; ".join(notes)


def test_a_first_stop_after_a_pause_is_known_only_where_one_began_as_cold() -> None:
    stops = pl.DataFrame(
        {
            "temperature_initial_c": [60.0, 62.0, 300.0],
            "idle_before_s": [40.0, 7200.0, 18000.0],
            "mu": [0.3, 0.14, 0.45],
        }
    )
    assert "1 began" in whole_stops.after_pause([stops], 57.0) and "0.140" in whole_stops.after_pause([stops], 57.0)
    assert "is not known from these tests" in whole_stops.after_pause([stops], 150.0)
    assert "is not known" in whole_stops.after_pause([stops.drop("idle_before_s")], 57.0)
