"""Bedding, fade, recovery, pauses: what a test's history did to friction."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.friction import fade, pauses
from pipeline.friction.bedding import bedding, settling
from tests.makers import stops_frame


def settle_curve(n: int, length: float, start: float, end: float) -> np.ndarray:
    return end + (start - end) * np.exp(-np.arange(n) / length)


def test_bedding_counts_the_stops_to_three_percent() -> None:
    """20 % low at first, length 8 stops: 8 ln(0.2 / 0.03) = 15.2, so 16 stops."""
    rng = np.random.default_rng(1)
    mu = settle_curve(60, 8, 0.36, 0.45)
    found = settling(np.arange(60.0), mu * (1 + rng.normal(0, 1e-4, 60)), 0.95)
    assert found.stops == 16 and 15 <= found.low <= 16 <= found.high <= 17
    assert found.mu_start == pytest.approx(0.36, abs=1e-3) and found.asymptote == pytest.approx(0.45, abs=1e-3)


def test_bedding_interval_covers() -> None:
    held = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        n, length, share = 40, rng.uniform(3, 10), rng.uniform(0.1, 0.3)
        mu = settle_curve(n, length, 0.45 * (1 - share), 0.45) * (1 + rng.normal(0, 0.015, n))
        found = settling(np.arange(float(n)), mu, 0.95)
        true = np.ceil(length * np.log(share / 0.03))
        held.append(found.low <= true <= found.high)
    assert np.mean(held) >= 0.9


@settings(deadline=None, max_examples=25)
@given(st.floats(0.2, 5.0), st.floats(2, 12), st.integers(0, 50))
def test_bedding_does_not_depend_on_the_scale_of_mu(factor: float, length: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    mu = settle_curve(40, length, 0.36, 0.45) * (1 + rng.normal(0, 0.01, 40))
    one, other = settling(np.arange(40.0), mu, 0.95), settling(np.arange(40.0), factor * mu, 0.95)
    assert other.stops == one.stops and other.mu_end == pytest.approx(factor * one.mu_end, rel=1e-6)


def test_bedding_of_a_table() -> None:
    rng = np.random.default_rng(1)
    mu = np.r_[settle_curve(30, 5, 0.36, 0.45) * (1 + rng.normal(0, 0.004, 30)), np.full(10, 0.45)]
    stops = stops_frame(40, mu=mu, purpose=["bedding"] * 30 + ["check"] * 10)
    found = bedding(stops, None, confidence=0.95)
    assert found is not None and found.stops == pytest.approx(10, abs=2) and found.why is None
    assert bedding(stops.filter(pl.col("purpose") == "check"), None, confidence=0.95) is None
    few = bedding(stops.filter(pl.col("stop") < 5), None, confidence=0.95)
    assert few is not None and few.stops is None and "4 usable bedding stops" in few.why


def test_bedding_that_has_not_ended() -> None:
    stops = stops_frame(25, mu=settle_curve(25, 60, 0.30, 0.50), purpose="bedding")
    found = bedding(stops, None, confidence=0.95)
    assert found is not None and found.stops is None and "still changing when bedding ended after 25 stops" in found.why


def faded(recovered: float = 0.99, recovery: bool = True) -> pl.DataFrame:
    """Four checks at 0.40, five fade stops down to 0.30 at 520 C, three recovery stops, three checks."""
    parts = [("check", "check 1", [0.40] * 4, 300.0), ("fade", "fade", [0.39, 0.36, 0.33, 0.30, 0.31], 500.0)]
    if recovery:
        parts.append(("recovery", "recovery", [0.37, 0.395, 0.40], 250.0))
    if recovered:
        parts.append(("check", "check 2", [0.40 * recovered] * 3, 300.0))
    rows = [(purpose, block, mu, t + 5 * i) for purpose, block, mus, t in parts for i, mu in enumerate(mus)]
    purpose, block, mu, t = (list(column) for column in zip(*rows, strict=True))
    return stops_frame(len(rows), purpose=purpose, block=block, mu=mu, temperature_initial_c=t)


def test_fade_and_recovery() -> None:
    (found,) = fade.fades(faded(), "initial")
    assert found.mu_min == 0.30 and found.index == pytest.approx(0.75) and found.temperature_c == 515.0
    assert found.recovery.index == pytest.approx(0.99) and found.recovery.stops == 2


def test_recovery_by_its_own_last_stops() -> None:
    (found,) = fade.fades(faded(recovered=0.0), "initial")
    assert found.recovery.index == pytest.approx(np.mean([0.37, 0.395, 0.40]) / 0.40)
    assert found.recovery.after == "recovery"


def test_recovery_that_never_comes() -> None:
    stops = faded(recovered=0.85).with_columns(
        mu=pl.when(pl.col("purpose") == "recovery").then(0.33).otherwise(pl.col("mu"))
    )
    (found,) = fade.fades(stops, "initial")
    assert found.recovery.stops is None and "did not come back" in found.recovery.why
    assert found.recovery.index == pytest.approx(0.85)


def test_fade_without_check_before() -> None:
    (found,) = fade.fades(faded().filter(pl.col("block") != "check 1"), "initial")
    assert found.index is None and found.why == "no check block before the fade" and found.mu_min == 0.30
    assert fade.worst([]) is None


def test_rejected_stops_do_not_fade() -> None:
    stops = faded().with_columns(
        status=pl.when(pl.col("mu") == 0.30).then(pl.lit("rejected")).otherwise(pl.col("status")),
        mu=pl.when(pl.col("mu") == 0.30).then(None).otherwise(pl.col("mu")),
    )
    (found,) = fade.fades(stops, "initial")
    assert found.mu_min == 0.31


def test_first_stop_after_a_pause() -> None:
    mu = np.full(12, 0.42)
    mu[6:9] = [0.30, 0.37, 0.415]
    idle = np.full(12, 120.0)
    idle[6] = 14 * 3600
    stops = stops_frame(12, mu=mu, idle_before_s=idle, purpose="check", block="check 1", mu_bite=0.9 * mu)
    (found,) = pauses.pauses(stops, None, shortest=3600.0)
    assert found.stop == 7 and found.pause_h == pytest.approx(14) and found.against == "later stops of the block"
    assert found.ratio == pytest.approx(0.30 / 0.42, rel=0.01) and found.stops_to_normal == 3
    assert pauses.pauses(stops, None, shortest=86400.0) == []
    unknown = stops.with_columns(idle_before_s=pl.lit(None, pl.Float64))
    assert pauses.pauses(unknown, None, shortest=3600.0) == []
