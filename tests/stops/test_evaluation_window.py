"""The evaluation window ends above the speed that the rig was told to end at, however slowly it lets go."""

import numpy as np
import polars as pl
import pytest

from pipeline.stops.evaluation_window import END_MARGIN, plateau, release_speed
from tests.stops.makers import RPM, Application, Rig, reduce, write_test
from tests.stops.test_truth import rise

RELEASES = (0.02, 0.06, 0.15)  # s, first order


def snubs(line_time: float, **more) -> list[Application]:
    return [
        Application(pressure=p, speed=(w, 850), mu=rise, temperature=60, block=f"{p} {w}", line_time=line_time, **more)
        for p in (15, 20) for w in (1500, 1700)
    ]  # fmt: skip


@pytest.mark.parametrize("line_time", RELEASES)
def test_a_cold_snub_has_its_friction_to_a_thousandth_whatever_the_release(tmp_path, line_time):
    """Friction rises through a cold snub, so that a window that lasts a moment too long reads high."""
    _, truths = write_test(tmp_path, snubs(line_time), Rig(torque_noise=0.0, pressure_noise=0.0))
    found = reduce(tmp_path)
    error = found.stops["mu"].to_numpy() / [t.mu_distance for t in truths] - 1
    # Through a build-up of half a second the rise of friction itself looks like a lag of 5 ms, worth two thousandths more.
    assert np.abs(error).max() < (0.0015 if line_time < 0.1 else 0.003)
    ends = found.stops["window_end_s"].to_numpy() + found.stops["start_s"].to_numpy()
    assert ends == pytest.approx([t.window[1] for t in truths], abs=0.004)


@pytest.mark.parametrize("line_time", RELEASES)
def test_without_a_schedule_that_fits_the_speed_at_the_release_stands_in(tmp_path, line_time):
    """The schedule says 400 rpm, the rig let go at 850: an end that was never commanded bounds nothing."""
    apps = snubs(line_time)
    blocks = "\n".join(
        f"  - {{name: {a.block}, purpose: map, kind: snub, stops: 1, speed: [{a.speed[0]} rpm, 400 rpm], pressure: {a.pressure} bar}}"
        for a in apps
    )
    _, truths = write_test(tmp_path, apps, Rig(), blocks=blocks)
    found = reduce(tmp_path).stops.filter(pl.col("window_end_s").is_not_null())
    assert found.height == len(apps)
    ends = found["window_end_s"].to_numpy() + found["start_s"].to_numpy()
    assert ends == pytest.approx([t.window[1] for t in truths], abs=0.02)


@pytest.mark.parametrize("release", [0.01, 0.05, 0.2])
@pytest.mark.parametrize("slope", [-0.1, 0.0, 0.1])
def test_the_speed_at_the_release_is_that_of_the_moment_the_level_breaks_down(release, slope):
    """A level that creeps up or down through the braking, noise on it, a fall of the first order."""
    t = np.arange(0.0, 4.0, 0.01)
    rng = np.random.default_rng(3)
    held = np.minimum(t / 0.1, 1.0) * (1 + slope * t)
    level = np.where(t < 2.5, held, (1 + slope * 2.5) * np.exp(-(t - 2.5) / release)) + 0.004 * rng.standard_normal(
        t.size
    )
    speed = (1500 - 200 * t) * RPM + 0.05 * rng.standard_normal(t.size)
    end = float(t[np.flatnonzero((t > 2.5) & (level < 0.03))[0]])
    found = release_speed(t, level, speed, 0.0, end, held=plateau(t, level, 0.0, end))
    assert found == pytest.approx(1000 * RPM, abs=0.3 * END_MARGIN * 1500 * RPM)
