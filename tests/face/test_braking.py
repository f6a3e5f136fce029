"""A braking under the law, held against closed forms: even friction, heat that is stored, a half space."""

import numpy as np
import pytest

from pipeline.face import braking
from pipeline.face.braking import Brake
from pipeline.face.law import HATS, Axis
from pipeline.heat.plate import Plate

PLATE = Plate(ring_area=0.036, half_thickness=0.015, density=1780.0, material=1200.0)
BRAKE = Brake(PLATE, push=2.8e-3, threshold=0.4e5, radius=0.13)
AXIS = Axis(280.0, 1300.0, 20, 25e5, 120.0)


def even_law(mu: float, pressure: float = 0.0, speed: float = 0.0, share: float = 1.0, k: float = 30.0) -> braking.Laws:
    """mu everywhere, times powers of pressure and speed."""
    fixed = np.zeros((1, AXIS.fixed))
    fixed[0, : AXIS.columns] = np.log(mu)
    fixed[0, AXIS.columns : AXIS.columns + 2] = pressure, speed
    assert AXIS.fixed == AXIS.columns + 2 + 2 * HATS
    return braking.laws(AXIS, fixed, np.array([k]), np.array([share]), np.zeros(1))


def one(laws: braking.Laws, brake: Brake = BRAKE, pressure: float = 30e5, **changed: float) -> braking.Braking:
    at = {"initial": 400.0, "first": 150.0, "last": 50.0, "inertia": 22.0} | changed
    return braking.run(
        laws, np.zeros(1, int), brake, pressure=np.array([pressure]), **{k: np.array([v]) for k, v in at.items()}
    )


def test_even_friction_slows_evenly() -> None:
    run, torque = one(even_law(0.4)), 2 * 0.4 * BRAKE.push * (30e5 - 0.4e5) * BRAKE.radius
    assert run.time[0] == pytest.approx(22.0 * 100.0 / torque)
    assert run.angle[0] == pytest.approx((150.0**2 - 50.0**2) * 22.0 / 2 / torque)
    assert (run.mu[0], run.mu_start[0], run.mu_end[0]) == pytest.approx((0.4, 0.4, 0.4))


def test_pressure_that_builds_up_evenly_costs_half_its_time() -> None:
    slow = Brake(PLATE, BRAKE.push, BRAKE.threshold, BRAKE.radius, build_up=0.3)
    run = one(even_law(0.4), slow)
    assert run.torque[0] * run.angle[0] == pytest.approx(22.0 * (150.0**2 - 50.0**2) / 2)
    assert one(even_law(0.4), slow).time[0] - one(even_law(0.4)).time[0] == pytest.approx(0.15, abs=0.003)


@pytest.mark.parametrize("mu", [1e-300, 1e300])
def test_a_law_that_runs_away_ends_its_braking_with_numbers(mu: float) -> None:
    """As one may that is fitted without the cell it is asked for: it is wrong there, and is told as that."""
    run = one(even_law(mu), brake=Brake(PLATE, BRAKE.push, BRAKE.threshold, BRAKE.radius, build_up=0.3))
    assert np.isfinite([run.time[0], run.face[0], run.mu[0], run.torque[0]]).all()
    assert not 2e-3 < run.mu[0] < 5


def test_a_stop_to_rest_ends_at_rest() -> None:
    run, torque = one(even_law(0.4), last=0.0), 2 * 0.4 * BRAKE.push * (30e5 - 0.4e5) * BRAKE.radius
    assert run.time[0] == pytest.approx(22.0 * 150.0 / torque)
    assert run.angle[0] == pytest.approx(22.0 * 150.0**2 / 2 / torque)


def test_all_heat_that_goes_in_is_stored() -> None:
    run = one(even_law(0.35, share=0.9))
    energy = 22.0 * (150.0**2 - 50.0**2) / 2
    rise = 0.9 * energy / (2 * PLATE.ring_area * PLATE.half_thickness * PLATE.density * 1200.0)
    assert run.bulk_end[0] - 400.0 == pytest.approx(rise, rel=1e-3)
    assert run.work.sum() == pytest.approx(energy)


@pytest.mark.published(
    "hottest face of a thick disc in one stop",
    source="Carslaw and Jaeger, Conduction of Heat in Solids, 1959, 2.9",
    origin="closed form",
)
def test_face_of_a_thick_disc_is_that_of_a_half_space() -> None:
    """Under a torque that is even the flux falls linearly: the highest rise is 0.531923 q0 sqrt(ts) / e (from
    Carslaw and Jaeger 1959, 2.9)."""
    thick = Brake(Plate(0.036, 0.03, 1780.0, 1200.0), BRAKE.push, BRAKE.threshold, BRAKE.radius)
    run = one(even_law(0.4), thick, last=1.0)
    flux = float(run.work[0, 0] / np.diff(run.instant, prepend=0.0)[0, 0]) / (2 * 0.036)
    exact = 0.531923 * flux * np.sqrt(run.time[0]) / np.sqrt(30.0 * 1780.0 * 1200.0)
    assert run.face[0] - 400.0 == pytest.approx(exact, rel=0.02)


def test_pressure_for_a_torque_is_the_one_that_gives_it() -> None:
    laws = even_law(0.4, pressure=-0.1)
    wanted = one(laws, pressure=37e5).torque
    ends = {"initial": 400.0, "first": 150.0, "last": 50.0, "inertia": 22.0}
    found, run = braking.pressure_for(
        wanted, laws, np.zeros(1, int), BRAKE, np.array([20e5]), **{k: np.array([v]) for k, v in ends.items()}
    )
    assert found[0] == pytest.approx(37e5, rel=1e-3)
    assert run.torque[0] == pytest.approx(wanted[0], rel=1e-3)
