"""The table of blocks, green friction, and the intervals of fade and recovery, against hand computation and by simulation."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.friction import block_scatter, fade
from pipeline.friction.block_scatter import Scatter, Variance
from pipeline.friction.blocks import blocks, green, scatter_of
from pipeline.friction.stage import of_test
from pipeline.friction.wanted import Wanted
from pipeline.method import Method
from pipeline.results.friction_blocks import Block
from pipeline.results.friction_history import Bedding
from tests.makers import stops_frame

HAND = [0.40, 0.41, 0.42, 0.43]


def table(stops: pl.DataFrame, scatter: Scatter | None = None, common: float | None = 0.0) -> list[Block]:
    return blocks(stops, "initial", scatter or Scatter(), common=common, confidence=0.95, use_suspect=False)


def test_a_block_by_hand() -> None:
    """Mean 0.415, sd 0.01291, t(3) = 3.1824: half-width 3.1824 x 0.01291 / 2 = 0.02054."""
    stops = stops_frame(
        6, block="check 1", purpose="check", mu=[*HAND, None, 0.5], status=["ok"] * 4 + ["rejected", "suspect"],
        deceleration_mps2=[5.0, 5.2, 5.4, 5.6, None, 9.0], duration_s=[3.0, 3.1, 3.2, 3.3, 9.0, 9.0],
        temperature_peak_c=[390.0, 380.0, 400.0, 390.0, 900.0, 900.0], energy_kj=[240.0] * 4 + [100.0, 140.0],
        speed_end_rpm=0.0,
    )  # fmt: skip
    (row,) = table(stops)
    assert (row.stops, row.ok, row.used, row.from_stop, row.to_stop) == (6, 4, 4, 1, 6)
    assert row.mu.value == pytest.approx(0.415) and row.sd == pytest.approx(0.0129099, rel=1e-5)
    assert row.mu.low == pytest.approx(0.415 - 0.020543, abs=2e-6) and row.mu.high == pytest.approx(0.435543, abs=2e-6)
    assert (row.mu_least, row.mu_most) == (0.40, 0.43)
    assert row.deceleration_mps2.mean == pytest.approx(5.3) and row.deceleration_mps2.stops == 4
    assert row.duration_s.most == 3.3 and row.temperature_peak_c.most == 400.0 and row.temperature_peak_c.mean == 390.0
    assert row.energy_kj.mean == 240.0 and row.energy_all_kj == 1200.0  # work of stops that are not used counts as well


def test_the_common_part_joins_with_effective_degrees_of_freedom() -> None:
    """u = hypot(0.0129099 / 2, 0.02 x 0.415) = 0.010515, dof (0.010515 / 0.006455)^4 x 3 = 21.1: t = 2.079."""
    (row,) = table(stops_frame(4, block="check 1", purpose="check", mu=HAND), common=0.02)
    assert row.mu.u_stops == pytest.approx(0.00645497, rel=1e-5) and row.mu.u_common == pytest.approx(0.0083)
    assert row.mu.high is not None and row.mu.high - 0.415 == pytest.approx(0.010515 * 2.0789, rel=1e-3)


def test_suspect_stops_where_the_method_lets_them_in() -> None:
    stops = stops_frame(4, block="check 1", purpose="check", mu=HAND, status=["ok", "ok", "ok", "suspect"])
    (row,) = blocks(stops, "initial", Scatter(), common=None, confidence=0.95, use_suspect=True)
    assert (row.ok, row.used) == (3, 4) and row.mu.value == pytest.approx(0.415) and row.mu.u_common is None


def test_a_block_of_one_stop_says_what_its_interval_rests_on() -> None:
    one = stops_frame(1, block="check 1", purpose="check", mu=0.4)
    (alone,) = table(one)
    assert alone.mu.value == 0.4 and alone.mu.low is None and "a single stop" in str(alone.mu.why)
    assert alone.sd is None and alone.sd_why
    (drawn,) = table(one, Scatter(Variance(0.01**2, 10.0)))
    assert drawn.mu.high == pytest.approx(0.4 * (1 + 2.2281 * 0.01), rel=1e-5)  # t(10) = 2.2281


def test_a_block_without_a_usable_stop() -> None:
    (row,) = table(stops_frame(3, block="check 1", mu=None, status="rejected"))
    assert row.mu.value is None and row.mu.why == "no stop of the block can be used: 3 rejected"
    assert row.used == 0 and row.duration_s.mean is None and row.energy_all_kj == 720.0
    assert row.deceleration_mps2.why == "no stop of the block can be used"


@pytest.mark.parametrize(
    ("columns", "why"),
    [
        ({"kind": "drag", "speed_end_rpm": 1500.0}, "a drag keeps its speed"),
        ({"kind": "snub"}, "the snubs end above 0.1 of their start speed"),
        ({"kind": "stop", "speed_end_rpm": 5.0}, "no rolling radius"),
    ],
)
def test_why_there_is_no_deceleration(columns: dict[str, object], why: str) -> None:
    (row,) = table(stops_frame(3, mu=[0.4, 0.41, 0.42], **columns))
    assert row.deceleration_mps2.mean is None and row.deceleration_mps2.why == why


def test_extra_stops_part_no_block_and_belong_to_none() -> None:
    stops = stops_frame(5, block=["a", "a", None, "a", "b"], purpose=["map", "map", None, "map", "map"], mu=0.4)
    assert [(row.block, row.stops) for row in table(stops)] == [("a", 3), ("b", 1)]


def test_several_conditions_in_one_block_are_no_scatter() -> None:
    """A line run as one block: mu differs by conditions from 0.2 to 0.5, stops of one condition by 1 %."""
    rng = np.random.default_rng(1)
    t = np.repeat([100.0, 200.0, 300.0, 400.0], 3)
    level = np.repeat([0.2, 0.3, 0.4, 0.5], 3)
    mu = level * (1 + rng.normal(0, 0.01, 12))
    (row,) = table(stops_frame(12, block="line", temperature_initial_c=t, mu=mu))
    assert row.conditions == 4 and row.mu.low is not None and row.mu.high is not None
    assert row.mu.high - row.mu.low < 0.02 and row.sd is not None and row.sd > 0.1


def test_usual_scatter_of_blocks_that_scatter_alike_and_that_do_not() -> None:
    rng = np.random.default_rng(2)
    alike = [0.4 * (1 + rng.normal(0, 0.01, 4)) for _ in range(200)]
    found = block_scatter.usual(alike)
    assert found is not None and found.value**0.5 == pytest.approx(0.01, rel=0.05) and found.dof > 30
    unlike = [0.4 * (1 + rng.normal(0, 0.01 * np.sqrt(4 / rng.chisquare(4)), 4)) for _ in range(400)]
    found = block_scatter.usual(unlike)
    assert found is not None and 2.5 < found.dof < 7 and found.value**0.5 == pytest.approx(0.01, rel=0.1)
    assert block_scatter.usual(alike[:2]) is None


@pytest.mark.parametrize("per_block", [2, 5])
@pytest.mark.parametrize("unlike", [False, True])
def test_intervals_of_blocks_hold_their_true_means(per_block: int, unlike: bool) -> None:
    """200 tests of 12 blocks, scatter equal or unlike by a factor of about two: 95 % of the intervals hold the block's truth."""
    rng = np.random.default_rng(3)
    held = []
    for _ in range(200):
        sd = 0.015 * np.sqrt(6 / rng.chisquare(6, 12)) if unlike else np.full(12, 0.015)
        truth = rng.uniform(0.2, 0.5, 12)
        groups = [m * (1 + rng.normal(0, s, per_block)) for m, s in zip(truth, sd, strict=True)]
        usual = block_scatter.usual(groups)
        for m, g in zip(truth, groups, strict=True):
            single = block_scatter.drawn(block_scatter.about_mean(g), usual)
            found = block_scatter.interval(float(g.mean()), single, 1 / g.size, 0.0, 0.95)
            assert found.low is not None and found.high is not None
            held.append(found.low <= m <= found.high)
    assert 0.93 <= np.mean(held) <= 0.97


def test_a_mean_of_neighbours_alike() -> None:
    """Simulated first-order autoregression: variance of the mean over what the stops' own variance says."""
    rng = np.random.default_rng(4)
    r, n = 0.4, 6
    e = rng.normal(size=(40000, n))
    for i in range(1, n):
        e[:, i] = r * e[:, i - 1] + np.sqrt(1 - r * r) * e[:, i]
    seen = e.mean(axis=1).var() / e.var(axis=1, ddof=1).mean()
    assert block_scatter.of_mean(n, r) == pytest.approx(seen, rel=0.03)
    assert block_scatter.of_mean(n, 0.0) == 1 / n


def test_blocks_at_one_condition_that_lie_apart() -> None:
    """Six check blocks that differ by 2 % between and 0.5 % within."""
    rng = np.random.default_rng(5)
    found = []
    for _ in range(40):
        level = 0.4 * (1 + np.repeat(rng.normal(0, 0.02, 6), 4))
        stops = stops_frame(
            24, block=[f"check {k // 4}" for k in range(24)], purpose="check", mu=level * (1 + rng.normal(0, 0.005, 24))
        )
        between = scatter_of(stops, "initial", use_suspect=False).between
        assert between is not None
        found.append(between**2)
    assert np.mean(found) ** 0.5 == pytest.approx(0.02, rel=0.1)


def course(kind: str, n: int) -> np.ndarray:
    along = np.linspace(0, 1, n)
    return {
        "falls": 0.45 * (1 - 0.25 * along),
        "dips": 0.45 * (1 - 0.25 * np.sin(np.pi * along)),
        "none": np.full(n, 0.45),
    }[kind]


@pytest.mark.parametrize("kind", ["dips", *(pytest.param(kind, marks=pytest.mark.heavy) for kind in ("falls", "none"))])
def test_interval_of_the_fade_index_holds_the_true_lowest(kind: str) -> None:
    """Truth: lowest expected mu of the fade over the checks' true level; stops scatter by 2 %."""
    held = []
    for seed in range(250):
        rng = np.random.default_rng(seed)
        mu = course(kind, 12) * (1 + rng.normal(0, 0.02, 12))
        checks = 0.45 * (1 + rng.normal(0, 0.02, 6))
        low, high = fade.index_interval(mu, checks, Scatter(Variance(0.02**2, 20.0)), 0.95)
        assert low is not None and high is not None
        held.append(low <= course(kind, 12).min() / 0.45 <= high)
    assert np.mean(held) >= 0.90


def test_interval_of_the_recovery_index() -> None:
    held = []
    for seed in range(400):
        rng = np.random.default_rng(seed)
        before, later = 0.45 * (1 + rng.normal(0, 0.02, 6)), 0.43 * (1 + rng.normal(0, 0.02, 4))
        low, high = fade.ratio_interval(later.mean() / before.mean(), before, later, Scatter(), 0.95)
        assert low is not None and high is not None
        held.append(low <= 0.43 / 0.45 <= high)
    assert 0.92 <= np.mean(held) <= 0.98


def test_an_index_of_single_stops_says_that_it_has_no_interval() -> None:
    stops = stops_frame(2, block=["check", "fade"], purpose=["check", "fade"], mu=[0.4, 0.3])
    (found,) = fade.fades(stops, "initial")
    assert found.index == pytest.approx(0.75) and found.index_low is None and found.index_why == fade.UNKNOWN


def test_green_friction() -> None:
    rng = np.random.default_rng(6)
    mu = 0.45 - 0.1 * np.exp(-np.arange(30) / 6) + rng.normal(0, 0.002, 30)
    stops = stops_frame(
        33, mu=[0.33, 0.34, 0.35, *mu], purpose=["check"] * 3 + ["bedding"] * 30, block=["green"] * 3 + ["bed-in"] * 30
    )
    options = {"common": 0.01, "confidence": 0.95, "use_suspect": False}
    checks = green(stops, Bedding(stops=13.0), Scatter(), **options)
    assert checks is not None and checks.value == pytest.approx(0.34) and checks.source == "checks run before bedding"
    first = green(stops.filter(pl.col("stop") > 3), Bedding(stops=13.0), Scatter(), **options)
    assert first is not None and first.stops == 5 and first.value == pytest.approx(mu[:5].mean())
    assert first.low is not None and first.low < first.value < (first.high or 0)
    quick = green(stops.filter(pl.col("stop") > 3), Bedding(stops=3.0), Scatter(), **options)
    assert quick is not None and quick.stops == 1  # half of three stops
    bedded = green(stops.filter(pl.col("stop") > 3), Bedding(stops=0.0), Scatter(), **options)
    assert bedded is not None and bedded.value is None and "from the first" in str(bedded.why)
    assert green(stops, None, Scatter(), **options) is None


def test_a_test_without_fade_bedding_or_map_has_its_table() -> None:
    stops = stops_frame(3, block="a", purpose="drag", kind="drag", mu=[0.4, 0.41, 0.42])
    found, map_ = of_test(stops, Method(), Wanted(), None)
    assert map_ is None and found.fade is None and found.green is None
    assert [row.used for row in found.blocks] == [3]
    assert found.lines == [] and set(found.lines_why) == {"pressure", "speed"}
