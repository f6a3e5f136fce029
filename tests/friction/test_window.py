"""Window, verdict and landmarks on curves drawn by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from pipeline.friction import verdict, window
from pipeline.friction.bands import Curve
from pipeline.friction.curve_window import estimate_found
from pipeline.friction.posterior import Curves
from pipeline.friction.transition import landmarks
from pipeline.method.friction import Friction
from pipeline.results.friction_map import WindowEstimate

ZERO_C = 273.15
WANTED = (0.38, 0.56)


def curve_of(t_c: np.ndarray, mu: np.ndarray, half: float = 0.02, stretch: np.ndarray | None = None) -> Curve:
    one, t = np.ones(t_c.size), np.asarray(t_c, float) + ZERO_C
    stretch = np.zeros(t.size, int) if stretch is None else stretch
    return Curve(t, stretch, mu, mu - half / 4, mu + half / 4, mu - half, mu + half, 10 * one, half / 10 * one, 0 * one,
                 half / 2 * one, 30 * one, 30 * one, 2 * one)  # fmt: skip


def drawn_of(curve: Curve, shift: float = 0.002, sd: float = 0.0085, count: int = 41) -> Curves:
    """Curves shifted in level, evenly weighted; the band that holds 90 % is 1.645 sd either side."""
    moves = np.linspace(-2, 2, count)[:, None] * shift
    mu = curve.mu + moves
    return Curves(mu, mu, np.full(mu.shape, sd**2), np.full(count, 1 / count))


def ramp(t_c: np.ndarray) -> np.ndarray:
    """0.30 at 100 C to 0.50 at 300 C, flat to 500 C, then down to 0.30 at 700 C."""
    return np.interp(t_c, [100, 300, 500, 700], [0.30, 0.50, 0.50, 0.30])


T = np.arange(100, 701, 5.0)


def test_ends_are_where_the_band_crosses() -> None:
    curve = curve_of(T, ramp(T))
    low, high = window.widest(curve, WANTED) or pytest.fail("no window")
    assert low.temperature - ZERO_C == pytest.approx(200.0)  # mu 0.40 less 0.02
    assert high.temperature - ZERO_C == pytest.approx(600.0)
    assert low.limited_by == high.limited_by == "band"
    assert low.why == "lower edge of the tolerance band crosses 0.38 at 200 C"


def test_upper_edge_limits_too() -> None:
    part = T[T <= 500]
    low, high = window.widest(curve_of(part, ramp(part)), (0.25, 0.50)) or pytest.fail("no window")
    assert (low.limited_by, high.limited_by) == ("data", "band")
    assert high.temperature - ZERO_C == pytest.approx(280.0)
    assert high.why == "upper edge of the tolerance band crosses 0.5 at 280 C"


def test_data_limit_an_end() -> None:
    part = T[(T >= 250) & (T <= 480)]
    low, high = window.widest(curve_of(part, ramp(part)), WANTED) or pytest.fail("no window")
    assert (low.limited_by, high.limited_by) == ("data", "data")
    assert high.why == "data end at 480 C" and low.why == "data begin at 250 C"
    curve = curve_of(part, ramp(part))
    same = window.with_intervals((low, high), curve, drawn_of(curve), "identity", WANTED, confidence=0.95, coverage=0.9)
    assert same[0].low is None and same[1].high is None


def test_widest_of_two_ranges_and_none_across_a_gap() -> None:
    mu = np.interp(T, [100, 200, 210, 300, 310, 700], [0.45, 0.45, 0.30, 0.30, 0.45, 0.45])
    low, high = window.widest(curve_of(T, mu), WANTED) or pytest.fail("no window")
    assert low.temperature - ZERO_C > 300 and high.limited_by == "data"
    stretch = (T > 400).astype(int)
    flat = curve_of(T, np.full(T.size, 0.45), stretch=stretch)
    low, high = window.widest(flat, WANTED) or pytest.fail("no window")
    assert (low.temperature - ZERO_C, high.temperature - ZERO_C) in ((100.0, 400.0), (405.0, 700.0))
    assert (low.limited_by, high.limited_by) == ("data", "data")


def test_reason_of_no_window() -> None:
    wide = curve_of(T, ramp(T), half=0.2)
    assert window.widest(wide, WANTED) is None
    assert "wider than the target band" in window.why_none(wide, WANTED)
    low = curve_of(T, ramp(T) - 0.2)
    assert window.widest(low, WANTED) is None
    assert "nowhere between 100 and 700 C" in window.why_none(low, WANTED)
    assert "0.280 to 0.320" in window.why_none(low, WANTED)


def test_interval_of_an_end() -> None:
    """Level uncertain by +-0.004, slope 0.001 per K, the true band 0.006 narrower: the crossing lies 6 K
    colder, +-4 K.
    """
    curve = curve_of(T, ramp(T))
    ends = window.widest(curve, WANTED) or pytest.fail("no window")
    drawn = drawn_of(curve, shift=0.002, sd=0.014 / 1.645)
    low, high = window.with_intervals(ends, curve, drawn, "identity", WANTED, confidence=0.9, coverage=0.9)
    assert low.low is not None and low.high is not None and high.low is not None and high.high is not None
    assert low.low - ZERO_C == pytest.approx(194 - 3.6, abs=0.3)
    assert low.high == pytest.approx(max(low.temperature, 194 + 3.6 + ZERO_C), abs=0.3)
    assert high.high - ZERO_C == pytest.approx(606 + 3.6, abs=0.3)


def test_interval_that_reaches_the_end_of_the_data_is_open() -> None:
    """Level uncertain by more than the room that is left at the hottest datum: some draws cross nowhere."""
    part = T[T <= 610]
    curve = curve_of(part, ramp(part))
    ends = window.widest(curve, WANTED) or pytest.fail("no window")
    assert ends[1].limited_by == "band"
    low, high = window.with_intervals(
        ends, curve, drawn_of(curve, shift=0.01), "identity", WANTED, confidence=0.9, coverage=0.9
    )
    assert high.beyond and high.high == curve.temperature[-1]
    assert not low.beyond


def estimate_of(curve: Curve, careful: tuple[window.End, window.End] | None) -> WindowEstimate | None:
    return estimate_found("identity", curve, drawn_of(curve), Friction(), WANTED, careful)


def test_best_estimate_has_no_margin_for_confidence() -> None:
    """Scatter 0.01, so that the middle 90 % end at mu 0.38 + 0.01645, on a slope of 0.001 per K; the tolerance band at 0.40."""
    curve = curve_of(T, ramp(T))
    found = estimate_of(curve, window.widest(curve, WANTED)) or pytest.fail("no estimate")
    assert (found.low_c, found.high_c) == pytest.approx((196.45, 603.55), abs=0.01)
    assert (found.low_limited_by, found.coverage) == ("band", 0.9)
    assert found.low_interval_c.low <= found.low_c <= found.low_interval_c.high < 200.0
    log = window.estimated(curve, "log", 0.9)
    assert log.tolerance_low[-1] == pytest.approx(0.30 * np.exp(-0.016449 / 0.30), rel=1e-4)


def test_best_estimate_stands_where_there_is_no_window_and_not_where_none_can_be() -> None:
    unsure = curve_of(T, ramp(T), half=0.2)
    unsure = replace(unsure, scatter=0.01 + 0 * T)
    assert window.widest(unsure, WANTED) is None
    found = estimate_of(unsure, None) or pytest.fail("no estimate")
    assert found.low_c == pytest.approx(196.45, abs=0.01)
    assert estimate_of(curve_of(T, ramp(T) - 0.2), None) is None


def test_best_estimate_is_of_the_range_that_has_the_window() -> None:
    """By best estimate the cold range is the wider one; the tolerance band, wide there, lies inside in the hot range alone."""
    mu = np.interp(T, [100, 400, 410, 490, 500, 700], [0.45, 0.45, 0.30, 0.30, 0.45, 0.45])
    curve = replace(curve_of(T, mu), scatter=0.01 + 0 * T)
    wide = np.where(T < 450, 0.09, 0.02)
    curve = replace(curve, tolerance_low=mu - wide, tolerance_high=mu + wide)
    careful = window.widest(curve, WANTED) or pytest.fail("no window")
    found = estimate_of(curve, careful) or pytest.fail("no estimate")
    assert found.low_c > 450
    alone = estimate_of(curve, None) or pytest.fail("no estimate")
    assert alone.high_c < 450


def test_plateau_band_without_target() -> None:
    """The plateau is 0.50 flat over 200 K; its flanks are no part of its mean."""
    curve = curve_of(T, ramp(T))
    (low, high), level = window.plateau_band(curve)
    assert level == pytest.approx(0.50)
    assert (low, high) == pytest.approx((0.85 * level, 1.15 * level))
    assert level == landmarks(curve, drawn_of(curve), 0.95).plateau.value


def test_plateau_band_of_a_curve_too_short_for_a_plateau() -> None:
    part = np.arange(300, 321, 5.0)
    assert window.plateau_band(curve_of(part, ramp(part)))[1] == pytest.approx(0.50)


def answers_of(curve: Curve, drawn: Curves) -> np.ndarray:
    return verdict.by_temperature(curve, drawn, "identity", WANTED, coverage=0.9, confidence=0.95)


def test_verdict_names_the_temperatures_that_fail() -> None:
    curve = curve_of(T, ramp(T))
    answers = answers_of(curve, drawn_of(curve))
    at = dict(zip(T, answers, strict=True))
    assert at[400] == "yes" and at[120] == "no" and at[195] == "not shown"
    found = verdict.over_window(curve, answers, WANTED, (150 + ZERO_C, 500 + ZERO_C))
    assert found.answer == "no"
    assert found.fails[0].from_c == pytest.approx(150) and 180 < found.fails[0].to_c < 200
    assert "reaches down to" in found.fails[0].what
    good = verdict.over_window(curve, answers, WANTED, (250 + ZERO_C, 550 + ZERO_C))
    assert good.answer == "yes" and not good.fails and not good.not_shown


def test_verdict_without_data_is_not_shown() -> None:
    part = T[T <= 480]
    curve = curve_of(part, ramp(part))
    answers = answers_of(curve, drawn_of(curve))
    found = verdict.over_window(curve, answers, WANTED, (250 + ZERO_C, 580 + ZERO_C))
    assert found.answer == "not shown" and found.why == "no data from 480 to 580 C"
    stretch = (part > 300).astype(int)
    gapped = verdict.over_window(
        curve_of(part, ramp(part), stretch=stretch), answers, WANTED, (250 + ZERO_C, 400 + ZERO_C)
    )
    assert gapped.not_shown[0].what == "no data from 300 to 305 C"


def carbon(t_c: np.ndarray, change: float) -> np.ndarray:
    flank = 0.16 + 0.30 / (1 + np.exp(-(t_c - 172.0) / 12))
    return flank * (1 + change / (1 + np.exp(-(t_c - 620.0) / 15)))


@pytest.mark.parametrize(("change", "sign"), [(-0.2, "falls"), (0.15, "rises")])
def test_landmarks_of_a_carbon_curve(change: float, sign: str) -> None:
    t = np.arange(60, 701, 5.0)
    curve = curve_of(t, carbon(t, change))
    found = landmarks(curve, drawn_of(curve), 0.95)
    assert found.cold_friction.value == pytest.approx(0.16, abs=0.001)
    assert found.transition.value == pytest.approx(172.0, abs=1.0)
    assert found.transition.low <= 172.5 and found.transition.high >= 171.5
    assert found.plateau.value == pytest.approx(0.46, abs=0.003)
    hot = found.high_temperature_change
    assert hot.sign == sign and hot.share == pytest.approx(change, abs=0.01)


def test_landmarks_that_the_data_do_not_hold() -> None:
    t = np.arange(300, 521, 5.0)
    flat = curve_of(t, carbon(t, -0.2))
    found = landmarks(flat, drawn_of(flat), 0.95)
    assert found.transition.value is None and "does not climb" in found.transition.why
    short = np.arange(100, 301, 5.0)
    curve = curve_of(short, carbon(short, -0.2))
    found = landmarks(curve, drawn_of(curve), 0.95)
    assert found.high_temperature_change.value is None and "data end at 300 C" in found.high_temperature_change.why
