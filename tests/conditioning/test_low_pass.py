"""The low-pass: cut-off of the pair, zero phase, gaps and edges."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from pipeline.conditioning.low_pass import design_frequency, filtered, low_pass, pair_amplitude


def decibels(frequency, cutoff, order, rate):
    return 20 * np.log10(pair_amplitude(np.array([frequency]), cutoff, order, rate)[0])


@pytest.mark.published("low-pass filter: design frequency by class", source="SAE J211/1; ISO 6487", origin="published")
@pytest.mark.parametrize(("cfc", "cutoff"), [(60, 100.0), (180, 300.0), (600, 1000.0), (1000, 1650.0)])
def test_design_frequency_is_that_of_the_channel_frequency_classes(cfc, cutoff):
    """SAE J211/1, ISO 6487: design frequency 2.0775 x CFC, pair 3 dB down at 5/3 x CFC (1650 Hz is 1000's, rounded)."""
    assert design_frequency(5 / 3 * cfc, 2) == pytest.approx(2.0775 * cfc, rel=1e-5)
    assert 5 / 3 * cfc == pytest.approx(cutoff, rel=0.011)


@pytest.mark.parametrize(("cutoff", "rate"), [(100.0, 1e5), (300.0, 1e5), (20.0, 100.0), (20.0, 1000.0), (8.0, 50.0)])
@pytest.mark.parametrize("order", [1, 2, 4])
def test_pair_is_three_decibels_down_at_the_stated_cut_off(cutoff, rate, order):
    assert decibels(cutoff, cutoff, order, rate) == pytest.approx(-3.0103, abs=0.002)
    time = np.arange(int(40 * rate / cutoff)) / rate
    wave = np.sin(2 * np.pi * cutoff * time)
    middle = slice(time.size // 3, 2 * time.size // 3)
    passed = filtered(time, wave, cutoff=cutoff, order=order)[middle]
    assert np.abs(passed - wave[middle] / np.sqrt(2)).max() < 1e-3


@pytest.mark.published(
    "low-pass filter: the standard's own difference equation", source="SAE J211/1, appendix", origin="published"
)
@pytest.mark.parametrize("cfc", [60, 180])
def test_it_does_what_the_standards_difference_equation_does(cfc):
    """SAE J211/1 appendix: coefficients from wa = tan(pi CFC 2.0775 T), run forward and backward."""
    rate = 1e5
    wa = np.tan(np.pi * cfc * 2.0775 / rate)
    d = 1 + np.sqrt(2) * wa + wa * wa
    b = np.array([wa * wa, 2 * wa * wa, wa * wa]) / d
    a = np.array([1, 2 * (wa * wa - 1) / d, (1 - np.sqrt(2) * wa + wa * wa) / d])
    values = np.cumsum(np.random.default_rng(2).standard_normal(6000))
    both = signal.filtfilt(b, a, values, padlen=4000)
    ours = low_pass(values, cutoff=5 / 3 * cfc, order=2, rate=rate)
    assert np.abs(ours - both).max() < 1e-3 * np.ptp(values)


@pytest.mark.parametrize(("order", "cutoff"), [(1, 20.0), (2, 20.0), (3, 20.0), (2, 40.0), (4, 44.0), (8, 10.0)])
def test_it_is_the_digital_butterworth_filter_forward_and_backward(order, cutoff):
    """Near half the rate, and of a high order, it remembers for long."""
    values = np.cumsum(np.random.default_rng(4).standard_normal(800))
    sos = signal.butter(order, design_frequency(cutoff, order, rate=100.0), fs=100.0, output="sos")
    assert np.allclose(
        low_pass(values, cutoff=cutoff, order=order, rate=100.0), signal.sosfiltfilt(sos, values, padlen=600), atol=1e-8
    )


def test_a_step_keeps_its_place():
    time = np.arange(1000) / 1000.0
    step = (np.arange(1000) >= 500).astype(float)
    smooth = filtered(time, step, cutoff=8.022, order=2)
    assert np.interp(0.5, smooth[480:520], np.arange(480, 520)) == pytest.approx(499.5, abs=0.01)


def test_nothing_crosses_a_gap_or_a_missing_sample():
    time = np.r_[np.arange(100) / 100.0, 5.0 + np.arange(100) / 100.0]
    values = np.r_[np.zeros(100), np.ones(100)]
    assert np.allclose(filtered(time, values, cutoff=10.0, order=2), values, atol=1e-9)
    values = np.r_[np.zeros(50), np.nan, np.ones(49)]
    smooth = filtered(np.arange(100) / 100.0, values, cutoff=10.0, order=2)
    assert np.isnan(smooth[50]) and np.allclose(np.delete(smooth, 50), np.delete(values, 50), atol=1e-9)


def test_a_rate_too_low_for_the_cut_off_is_left_alone():
    time, values = np.arange(50) / 10.0, np.random.default_rng(1).standard_normal(50)
    assert np.array_equal(filtered(time, values, cutoff=20.0, order=2), values)


@settings(max_examples=30, deadline=None)
@given(st.integers(5, 300), st.floats(-1e3, 1e3), st.floats(-50, 50))
def test_straight_lines_pass_unchanged(size, level, slope):
    time = np.arange(size) / 100.0
    line = level + slope * time
    assert np.allclose(filtered(time, line, cutoff=20.0, order=2), line, atol=1e-5 * (1 + abs(level) + abs(slope)))
