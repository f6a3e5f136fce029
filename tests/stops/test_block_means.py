"""The block's mean friction without the stops left out, and with them."""

import pytest

from pipeline.stops.block_means import block_means
from tests.makers import stops_frame


def test_blocks_with_suspect_or_rejected_stops_give_both_means():
    stops = stops_frame(
        6,
        block=["a", "a", "a", "b", "b", "c"],
        mu=[0.40, 0.42, 0.50, None, 0.44, 0.45],
        status=["ok", "ok", "suspect", "rejected", "ok", "ok"],
    )
    a, b = block_means(stops)
    assert (a.block, a.ok, a.suspect, a.rejected) == ("a", 2, 1, 0)
    assert a.mu_without == pytest.approx(0.41)
    assert a.mu_with == pytest.approx(0.44)
    assert a.difference == pytest.approx(0.03)
    assert (b.block, b.rejected, b.difference) == ("b", 1, 0.0)


def test_a_healthy_test_has_none():
    assert block_means(stops_frame(4)) == []
