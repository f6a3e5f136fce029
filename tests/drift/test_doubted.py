"""`none` is not said of a test whose stops are themselves in doubt."""

import polars as pl

from pipeline.drift.analysis import analyse
from pipeline.method.drift import Drift
from tests.makers import stops_frame


def test_a_steady_test_of_suspect_stops_is_undetermined():
    n = 60
    mu = [0.42 + 0.004 * ((7 * i) % 5 - 2) for i in range(n)]
    purpose = ["map"] * 10 + ["check"] * 50
    block = ["map 1"] * 10 + [f"check {1 + i // 10}" for i in range(50)]
    steady = stops_frame(n, mu=mu, purpose=purpose, block=block)
    assert analyse(steady, Drift()).verdict == "none"
    doubted = analyse(steady.with_columns(status=pl.lit("suspect")), Drift())
    assert doubted.verdict == "undetermined"
    assert "only 0 sound stops" in doubted.evidence.why
