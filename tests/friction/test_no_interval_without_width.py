"""Equal or few values make no interval of zero width: what is not seen to scatter is still not known without error."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import polars as pl
import pytest

from pipeline.drift.analysis import analyse
from pipeline.friction.stage import of_test
from pipeline.friction.wanted import Wanted
from pipeline.method import Method
from tests.makers import stops_frame

BLOCKS = [("bed-in", "bedding")] * 10 + [("check 1", "check")] * 6 + [(f"map {i}", "map") for i in range(24)]
BLOCKS += (
    [("check 2", "check")] * 6 + [("fade", "fade")] * 6 + [("recovery", "recovery")] * 4 + [("check 3", "check")] * 4
)


def intervals(content: Any, path: str = "") -> Iterator[tuple[str, float, float]]:
    """Every low and high that stand side by side in a result, where both are numbers."""
    if isinstance(content, dict):
        low, high = content.get("low"), content.get("high")
        if isinstance(low, int | float) and isinstance(high, int | float):
            yield path, low, high
        for key, value in content.items():
            yield from intervals(value, f"{path}/{key}")
    elif isinstance(content, list):
        for i, value in enumerate(content):
            yield from intervals(value, f"{path}[{i}]")


def plain(found: Any) -> Any:
    return found if isinstance(found, dict) else found.model_dump()


def made(seed: int, scatter: float, u: float | None) -> pl.DataFrame:
    """A test whose mu is one number but for `scatter`, with `u` stated for each stop."""
    rng = np.random.default_rng(seed)
    n = len(BLOCKS)
    return stops_frame(
        n, block=[b for b, _ in BLOCKS], purpose=[p for _, p in BLOCKS], temperature_initial_c=rng.uniform(80, 640, n),
        mu=np.round(0.42 * (1 + rng.normal(0, scatter, n)), 4), mu_u=u, mu_u_stop=u, mu_u_common=u,
    )  # fmt: skip


@pytest.mark.parametrize(("scatter", "u"), [(0.0, 0.0), (0.0, None), (1e-4, 0.004)])
def test_equal_stops_leave_no_interval_without_width(u, scatter):
    frame = made(1, scatter, u)
    friction, _ = of_test(frame, Method(), Wanted(), None)
    seen = [*intervals(plain(friction)), *intervals(plain(analyse(frame, Method().drift, None)))]
    assert len(seen) > 5
    # A tenth of a thousandth of the values that the interval lies among; slopes lie about zero.
    narrow = [(path, low, high) for path, low, high in seen if not high - low > 1e-4 * max(abs(high), 0.01)]
    assert narrow == []
