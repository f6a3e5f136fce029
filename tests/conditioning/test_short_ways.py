"""What is quicker for the short series of a stop gives what the long way gives."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.conditioning.faults.cut_short import torque_without_pressure
from pipeline.conditioning.faults.spikes import SPIKE_SAMPLES, SPIKE_SHARE, SPIKE_SIGMAS, spikes
from pipeline.conditioning.low_pass import _continued, filtered, low_pass, memory, pair_amplitude
from pipeline.conditioning.medians import mean, median, quantiles, running_median
from pipeline.conditioning.rest import BAND, CROWD, CROWD_SHARE, FEW_LAGS, effective_number, rest_of
from pipeline.conditioning.segments import runs
from pipeline.conditioning.time_base import EDGE, all_known, known_of, picking, rows_within, unbroken, within
from pipeline.constants import MAD_TO_SD
from pipeline.stops.ripple import fitted, ripple
from pipeline.stops.scatter import scatter_of_mean, smooth_basis
from pipeline.stops.work import between

SERIES = st.lists(st.integers(-5, 5) | st.floats(-1e6, 1e6), min_size=1, max_size=60).map(lambda v: np.array(v, float))
SEED = st.integers(0, 2**31)


@given(SERIES, st.lists(st.floats(0, 1), min_size=1, max_size=3))
def test_quantiles_are_numpys_to_the_last_bit(values, shares):
    assert quantiles(values, *shares) == [float(np.quantile(values, share)) for share in shares]
    assert median(values) == float(np.median(values)) and mean(values) == float(np.mean(values))


@given(SERIES, st.sampled_from([3, 5, 7]))
def test_running_medians_are_those_of_each_window(values, width):
    wide = np.concatenate([values, values[-1] * np.ones(width)])
    windows = np.lib.stride_tricks.sliding_window_view(wide, width)
    assert np.array_equal(running_median(wide, width), np.median(windows, axis=1))


def effective_by_transform(values):
    """All correlations at once: n / (1 + 2 sum up to the first pair that is not positive)."""
    n, centred = values.size, values - values.mean()
    size = 1 << int(np.ceil(np.log2(2 * n)))
    spectrum = np.fft.rfft(centred, size)
    r = np.fft.irfft(np.abs(spectrum) ** 2, size)[: max(n // 3, 2)] / float(centred @ centred)
    pairs = [a + b for a, b in zip(r[1::2], r[2::2], strict=False)]
    ends = next((i for i, pair in enumerate(pairs) if pair <= 0), len(pairs))
    return float(np.clip(n / (1 + 2 * sum(pairs[:ends])), 1, n))


@given(SEED, st.integers(4, 900), st.floats(0, 0.99))
def test_the_effective_number_needs_no_transform_where_few_lags_tell(seed, n, memory):
    """Noise that forgets at once, and such that remembers for longer than the few lags."""
    values = np.random.default_rng(seed).standard_normal(n)
    for i in range(1, n):
        values[i] += memory * values[i - 1]
    assert effective_number(values) == pytest.approx(effective_by_transform(values), rel=1e-9)


def test_a_slow_series_is_followed_beyond_the_few_lags():
    values = np.sin(np.arange(600) / 40)
    assert FEW_LAGS < 50 and effective_number(values) == pytest.approx(effective_by_transform(values), rel=1e-9)
    assert effective_number(values) < 15


@given(SEED, st.integers(4, 1500), st.floats(0.005, 0.44), st.integers(1, 8))
def test_a_length_that_is_transformed_fast_changes_nothing(seed, n, share, order):
    """Nor does any other that the ends are continued by, as nothing of what stands there is left."""
    rate, values = 200.0, np.cumsum(np.random.default_rng(seed).standard_normal(n))
    padding = 2 * max(int(6 / share) + 1, memory(share, order))
    wide = np.pad(values, padding, mode="reflect", reflect_type="odd")
    amplitude = pair_amplitude(np.fft.rfftfreq(wide.size, 1 / rate), share * rate, order, rate)
    plain = np.fft.irfft(np.fft.rfft(wide) * amplitude, wide.size)[padding : padding + n]
    found = low_pass(values, cutoff=share * rate, order=order, rate=rate)
    assert np.abs(found - plain).max() <= 1e-9 * max(np.abs(wide).max(), 1.0)


def test_prime_lengths_are_made_fast_ones():
    wide = _continued(np.arange(1009.0), 60)
    assert wide.size == 1152 and 1009 + 120 == 1129
    assert np.array_equal(wide, np.arange(-60.0, 1152 - 60))


@given(SEED, st.integers(0, 40))
def test_stretches_are_cut_at_every_gap_backward_step_and_missing_value(seed, wrong):
    rng = np.random.default_rng(seed)
    time, values = np.arange(80) / 10, rng.standard_normal(80)
    time[rng.integers(0, 80, wrong // 8)] += 3.0
    values[rng.integers(0, 80, wrong // 10)] = np.nan
    found = unbroken(time, values)
    inside = [i for part in found for i in range(part.start, part.stop)]
    assert inside == [i for i in range(80) if np.isfinite(values[i])]
    joined = {(i, i + 1) for part in found for i in range(part.start, part.stop - 1)}
    step = np.median(np.diff(time)[np.diff(time) > 0])
    for i in range(79):
        whole = np.isfinite(values[i : i + 2]).all() and 0 <= time[i + 1] - time[i] <= 5 * step
        assert ((i, i + 1) in joined) == whole


@given(SEED, st.integers(8, 400))
def test_the_scatters_trend_is_that_of_least_squares(seed, n):
    from scipy.interpolate import BSpline

    values = 0.4 + 0.01 * np.random.default_rng(seed).standard_normal(n)
    share, pieces = np.linspace(0, 1, n), max(min(12, n // 10), 1)
    knots = np.arange(-3, pieces + 4) / pieces
    splines = BSpline.design_matrix(np.minimum(share, 1 - 1e-15), knots, 3).toarray()
    assert smooth_basis(share, pieces) == pytest.approx(splines, abs=1e-12)
    residual = values - splines @ np.linalg.lstsq(splines, values, rcond=None)[0]
    sigma = np.sqrt(residual @ residual / (n - pieces - 3))
    u, number = scatter_of_mean(values, np.ones(n))
    assert u * np.sqrt(number) == pytest.approx(sigma, rel=1e-9)


@given(SEED, st.floats(20.0, 120.0))
def test_orders_fitted_together_are_as_each_by_itself(seed, rate):
    """At low rates the fast part of the stop shows the first order only: then each has its own samples."""
    rng = np.random.default_rng(seed)
    time = np.arange(0, 8, 1 / rate)
    speed = np.linspace(90, 20, time.size)
    angle = np.cumsum(speed) / rate
    torque = 500 + 20 * np.cos(angle) + 10 * np.cos(2 * angle) + rng.standard_normal(time.size)
    both = ripple(time, speed, torque)
    assert both == ripple(time, speed, torque, (1,)) | ripple(time, speed, torque, (2,))


@given(SEED, st.integers(1, 300), st.integers(0, 3), st.integers(0, 2))
def test_channels_filtered_together_are_as_each_by_itself(seed, n, missing, gaps):
    rng = np.random.default_rng(seed)
    time, both = np.arange(n) / 100, rng.standard_normal((2, n)).cumsum(axis=1)
    for at in rng.integers(0, n, gaps):
        time[at:] += 1.0
    both[rng.integers(0, 2, missing), rng.integers(0, n, missing)] = np.nan
    alone = [filtered(time, channel, cutoff=10.0, order=2) for channel in both]
    assert np.array_equal(filtered(time, both, cutoff=10.0, order=2), alone, equal_nan=True)


@given(st.lists(st.booleans(), max_size=30))
def test_runs_are_the_longest_without_a_false(mask):
    found = runs(np.array(mask, bool))
    assert [i for a, b in found for i in range(a, b)] == [i for i, held in enumerate(mask) if held]
    assert all(a < b for a, b in found) and all(b < a for (_, b), (a, _) in itertools.pairwise(found))


def times(rng, n: int) -> np.ndarray:
    """Of a recording whose clock runs on, or stands still or goes back or is missing here and there."""
    time = np.cumsum(rng.uniform(0.004, 0.006, n))
    for what in rng.integers(0, 4, rng.integers(0, 3)):
        at = rng.integers(1, n)
        time[at] = (time[at - 1], time[at - 1] - 0.1, np.nan, time[at])[what]
    return time


@given(SEED, st.floats(-0.1, 0.4), st.floats(-0.1, 0.4))
def test_a_slice_of_times_that_increase_holds_what_the_mask_does(seed, start, end):
    time = times(np.random.default_rng(seed), 50)
    steps = np.diff(time)
    slack = EDGE * np.median(steps[steps > 0])
    inside = (time >= start - slack) & (time <= end + slack)
    assert np.array_equal(within(time, start, end), inside)
    assert np.array_equal(time[rows_within(time, start, end)], time[inside], equal_nan=True)


@given(st.lists(st.booleans(), max_size=12))
def test_what_picks_the_samples_of_a_mask_picks_them_and_copies_none_that_follow_one_another(mask):
    values, mask = np.arange(len(mask)), np.array(mask, bool)
    assert np.array_equal(values[picking(mask)], values[mask])
    assert isinstance(picking(mask), slice) == (len(runs(mask)) < 2)


@given(SERIES, st.lists(st.sampled_from([np.nan, np.inf, -np.inf, 1e300]), max_size=2))
def test_samples_are_all_known_where_each_is(values, odd):
    values = np.concatenate([values, odd])
    assert all_known(values) == all(map(math.isfinite, values))
    assert known_of(values).tolist() == [value for value in values if math.isfinite(value)]


@given(SEED, st.integers(60, 400), st.integers(0, 2), st.floats(0, 2))
def test_a_ripple_fitted_by_normal_equations_is_that_of_least_squares(seed, n, holes, noise):
    """Where samples are missing over whole pieces of the trend as well: the shortest trend is then as good as any."""
    rng = np.random.default_rng(seed)
    angle = np.linspace(0, rng.uniform(4, 12) * 2 * np.pi, n)
    for _ in range(holes):
        angle = angle[(angle < (hole := rng.uniform(0, angle[-1]))) | (angle > hole + 0.3 * angle[-1])]
    if angle.size < 40:
        return
    trend = smooth_basis(angle / angle[-1], int(rng.integers(1, 5)))
    waves = np.stack([wave(k * angle) for k in (1, 2) for wave in (np.cos, np.sin)], axis=1)
    values = 900 + 50 * angle / angle[-1] + 9 * np.cos(angle + 1) + noise * rng.standard_normal(angle.size)
    design = np.concatenate([trend, waves], axis=1)
    solution = np.linalg.lstsq(design, values, rcond=None)[0]
    own = waves - trend @ np.linalg.lstsq(trend, waves, rcond=None)[0]
    covariance = np.linalg.inv(own.T @ own)
    if np.linalg.eigvalsh(covariance)[-1] > 4 * 2 / angle.size:
        return  # waves that are not told are none
    found = fitted(trend, waves, values)
    assert found[0] == pytest.approx(solution[-4:], abs=1e-7)
    assert found[1] == pytest.approx(covariance, rel=1e-7, abs=1e-9)
    assert found[2] == pytest.approx(float(np.square(values - design @ solution).sum()), rel=1e-7, abs=1e-9)


@given(SEED, st.floats(0, 300), st.floats(-100, 400))
def test_no_torque_beside_a_braking_is_missed_for_want_of_a_quantile(seed, beside, plateau):
    """What is told hangs on the tenth of a hundred that is lowest; the search may end before that is looked for."""
    rng = np.random.default_rng(seed)
    time = np.arange(600) / 100
    torque = rng.standard_normal(600) + np.where((time > 2) & (time < 4), plateau, 0.0)
    torque[410 : 410 + rng.integers(0, 90)] += beside
    options = {"start": 2.0, "end": 4.0, "plateau": plateau, "lag": 0.0, "after": True}
    found = torque_without_pressure(time, torque, **options)
    rest = np.quantile(torque[(time < 1.9999) | (time > 4.0001)], 0.1)
    high = (time >= 4.35) & (time <= 5) & (torque - rest > 0.25 * (plateau - rest))
    assert not found or plateau > rest
    if plateau > rest + 50 and np.count_nonzero(high) > 10 and np.ptp(time[high]) > 0.1:
        assert found and found[0].evidence["rest_nm"] == pytest.approx(rest)


@given(SEED, st.floats(0, 0.12), st.floats(0.13, 0.4))
def test_samples_between_two_moments_are_those_of_interpolation(seed, start, end):
    rng = np.random.default_rng(seed)
    time = np.sort(times(rng, 50))[:48]
    time, values = time[np.isfinite(time)], rng.standard_normal(48)
    values = values[: time.size]
    values[rng.random(values.size) < 0.1 * (seed % 2)] = np.nan
    grid, found = between(time, start, end, values)
    good = np.isfinite(values)
    assert np.array_equal(grid, np.r_[start, time[(time > start) & (time < end)], end])
    assert np.array_equal(found, np.interp(grid, time[good], values[good]))


@given(SEED, st.integers(0, 3), st.floats(0.1, 3))
def test_no_spike_is_lost_where_neighbours_are_looked_at_first(seed, wild, height):
    rng = np.random.default_rng(seed)
    values = np.clip(np.arange(60) / 20, 0, 1) + 0.01 * rng.standard_normal(60)
    for at in rng.integers(0, 58, wild):
        values[at : at + rng.integers(1, 4)] += height * rng.choice([-1, 1])
    seven = np.lib.stride_tricks.sliding_window_view(np.pad(values, 3, mode="edge"), 7)
    off = values - np.median(seven, axis=1)
    local = np.median(np.abs(np.lib.stride_tricks.sliding_window_view(np.pad(off, 7, mode="edge"), 15)), axis=1)
    sigma = MAD_TO_SD * np.maximum(local, np.median(np.abs(off)))
    far = np.abs(off) > np.maximum(SPIKE_SIGMAS * sigma, SPIKE_SHARE * np.quantile(np.abs(values), 0.95))
    assert spikes(values).tolist() == [i for a, b in runs(far) if b - a <= SPIKE_SAMPLES for i in range(a, b)]


@given(SEED, st.integers(1, 80), st.floats(0, 1))
def test_a_held_level_is_a_band_with_many_samples_in_it(seed, n, share):
    rng = np.random.default_rng(seed)
    pressure = np.where(rng.random(n) < share, 1.0 + 0.01 * rng.standard_normal(n), rng.uniform(0, 10, n))
    ordered = np.sort(pressure)
    few = min(3, n - 1)
    low, high = ordered[few], ordered[-1 - few]
    near = ordered[ordered <= low + 0.2 * (high - low)]
    most = max(int((near <= one + BAND * (high - low)).sum()) - i for i, one in enumerate(near))
    found = rest_of(pressure)
    assert found.level == float(np.median(near))
    assert found.known == (most >= max(CROWD, CROWD_SHARE * near.size))
