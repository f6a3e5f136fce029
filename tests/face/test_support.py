"""Where the law may be asked: the hull of the samples, and what is said outside it."""

from types import SimpleNamespace

import numpy as np

from pipeline.constants import RAD_PER_S, ZERO_C
from pipeline.face.of_compound import beside
from pipeline.face.support import hull_of


def points(celsius: float, bar: float, rpm: float) -> np.ndarray:
    return np.array([[celsius + ZERO_C, np.log(bar * 1e5), np.log(rpm * RAD_PER_S)]])


def made() -> object:
    """Cold stops at one pressure only, hot ones at three."""
    rng = np.random.default_rng(1)
    cold = np.column_stack([rng.uniform(60, 250, 400), rng.uniform(24, 26, 400), rng.uniform(500, 1500, 400)])
    hot = np.column_stack([rng.uniform(250, 700, 900), rng.uniform(12, 50, 900), rng.uniform(500, 1500, 900)])
    t, p, w = np.vstack([cold, hot]).T
    return hull_of(t + ZERO_C, p * 1e5, w * RAD_PER_S)


def test_inside_is_silent() -> None:
    hull = made()
    for at in ((100, 25, 1000), (500, 20, 700), (500, 45, 1400)):
        assert hull.why(points(*at)) is None, at  # type: ignore[attr-defined]


def test_outside_says_which_way_and_how_far() -> None:
    hull = made()
    why = hull.why(points(900, 25, 1000))  # type: ignore[attr-defined]
    assert "face temperature 900 °C" in why and "above the data" in why
    why = hull.why(points(500, 80, 1000))  # type: ignore[attr-defined]
    assert "pressure 80.0 bar is" in why and "above the data (up to" in why
    why = hull.why(points(500, 25, 2400))  # type: ignore[attr-defined]
    assert "speed 2400 rpm" in why


def test_conditions_never_met_together_are_outside() -> None:
    """45 bar and 70 degC were both run, and never together."""
    why = made().why(points(70, 45, 1000))  # type: ignore[attr-defined]
    assert "pressure 45.0 bar" in why and "there" in why


def test_the_worst_of_a_path_decides() -> None:
    hull = made()
    path = np.vstack([points(500, 25, 1000), points(640, 25, 900), points(860, 25, 800)])
    assert "860 °C" in hull.why(path)  # type: ignore[attr-defined]


def test_a_condition_that_was_not_varied_is_held_to_its_range() -> None:
    rng = np.random.default_rng(2)
    hull = hull_of(rng.uniform(350, 900, 300), np.full(300, 25e5), rng.uniform(60, 150, 300))
    assert hull.why(points(300, 25, 1000)) is None
    assert "pressure 30.0 bar" in (hull.why(points(300, 30, 1000)) or "")


def test_a_start_that_was_run_is_inside_though_mu_was_taken_later() -> None:
    """Stops from 60 degC whose face is at 80 degC when the pressure has built up: their own start is no extrapolation."""
    rng = np.random.default_rng(2)
    kelvin, speed = rng.uniform(80, 300, 500) + ZERO_C, rng.uniform(500, 1400, 500) * RAD_PER_S
    pressure = rng.uniform(24e5, 26e5, 500)
    start = points(60, 25, 1500)
    assert hull_of(kelvin, pressure, speed).why(start) is not None
    with_starts = hull_of(
        np.r_[kelvin, np.full(3, 60 + ZERO_C)],
        np.r_[pressure, np.full(3, 25e5)],
        np.r_[speed, np.full(3, 1500 * RAD_PER_S)],
    )
    assert with_starts.why(start) is None and with_starts.why(points(40, 25, 1500)) is not None


def test_where_law_and_map_lie_apart_a_single_place_is_no_range() -> None:
    t, flat, u = np.array([57.0, 57.3, 100.0, 150.0]) + ZERO_C, np.full(4, 0.3), np.full(4, 0.001)
    law = SimpleNamespace(temperature=t, mu=np.array([0.4, 0.4, 0.3, 0.36]), low=flat, high=flat, tolerance_low=flat,
                          tolerance_high=flat, u_curve=u)  # fmt: skip
    found = SimpleNamespace(mu=flat, se=u, supported=np.full(4, True))
    _, said = beside(law, SimpleNamespace(predict=lambda at: found))  # type: ignore[arg-type]
    assert [text.partition(":")[0] for text in said] == ["57 °C", "150 °C"]
