"""Values along lines of pressure and speed, and the compound's table of blocks."""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest

from pipeline.friction.block_scatter import Scatter, Variance
from pipeline.friction.blocks import scatter_of
from pipeline.friction.compound import StopsOfTest, of_compound
from pipeline.friction.compound_blocks import Between, OfTest, of_batches
from pipeline.friction.lines import lines
from pipeline.friction.wanted import Wanted
from pipeline.method import Method
from pipeline.results.friction_blocks import Line
from pipeline.results.friction_map import CurvePoint
from tests.friction.makers import Law, one_test, program
from tests.makers import stops_frame

OPTIONS = {"common": 0.0, "confidence": 0.95, "use_suspect": False}


def of(stops: pl.DataFrame, scatter: Scatter | None = None, **more: object) -> tuple[list[Line], dict[str, str]]:
    return lines(stops, "initial", scatter or Scatter(), **OPTIONS | more)  # type: ignore[arg-type]


def cells(*rows: tuple[float, float, float, float, float], stops: int = 2) -> pl.DataFrame:
    """Blocks of stops at (degC, bar, rpm, J/mm2, mu)."""
    t, p, w, e, mu = (np.repeat([row[k] for row in rows], stops) for k in range(5))
    names = np.repeat([f"map {k}" for k in range(len(rows))], stops)
    alternate = np.tile(np.linspace(-0.01, 0.01, stops), len(rows))
    return stops_frame(
        len(t), block=list(names), temperature_initial_c=t, pressure_bar=p, speed_start_rpm=w, energy_density_j_mm2=e,
        mu=mu * (1 + alternate),
    )  # fmt: skip


def test_lines_by_hand() -> None:
    found, why = of(
        cells(
            (270, 12, 1450, 20, 0.47), (270, 50, 1450, 20, 0.44), (262, 25, 1450, 20, 0.46),  # pressures, 262 degC is like 270
            (270, 25, 1950, 20, 0.45), (270, 25, 1000, 15, 0.48),  # a speed at that energy, and one at another
            (300, 25, 1450, 20, 0.99), (270, 35, 1450, 30, 0.99),  # too warm; another energy
        )
    )  # fmt: skip
    assert why == {} and [line.along for line in found] == ["pressure", "speed"]
    pressures, speeds = found
    assert [level.pressure_bar for level in pressures.levels] == [12, 25, 50]
    assert [level.mu.value for level in pressures.levels] == pytest.approx([0.47, 0.46, 0.44])
    assert [level.blocks for level in pressures.levels] == [["map 0"], ["map 2"], ["map 1"]]
    assert [level.speed_rpm for level in speeds.levels] == [1450, 1950] and not speeds.energy_moves


def test_a_line_of_speeds_along_which_the_energy_moves() -> None:
    found, why = of(cells((270, 25, 1000, 10, 0.48), (270, 25, 1500, 22, 0.46), (270, 25, 2000, 40, 0.44)))
    assert [len(line.levels) for line in found] == [3] and found[0].energy_moves
    assert why == {"pressure": "one pressure was run"}


def test_why_there_is_no_line() -> None:
    _, why = of(cells((270, 12, 1450, 20, 0.47), (400, 50, 1950, 20, 0.44)))
    assert "no two sets of conditions differ in pressure alone" in why["pressure"] and "speed" in why["speed"]
    assert (
        of(stops_frame(3, mu=None, status="rejected"))[1]["speed"]
        == "no map or check block has a stop that can be used"
    )
    drags = stops_frame(4, kind="drag", block=["a", "a", "b", "b"], pressure_bar=[10, 10, 20, 20])
    assert of(drags)[0] == []


def test_a_level_of_several_blocks_holds_what_parts_them() -> None:
    """u2 = s2 / n + between2 / k, both with their degrees of freedom."""
    stops = cells((270, 12, 1450, 20, 0.47), (270, 50, 1450, 20, 0.44), (270, 12, 1450, 20, 0.47))
    plain, _ = of(stops, Scatter(Variance(1e-4, 50.0)))
    apart, _ = of(stops, Scatter(Variance(1e-4, 50.0), between=0.02, between_dof=5.0))
    for line in (plain[0], apart[0]):
        assert line.levels[0].blocks == ["map 0", "map 2"] and line.levels[0].stops == 4
    own = np.array([level.mu.u_stops for level in plain[0].levels]) / [0.47, 0.44]
    more = np.array([level.mu.u_stops for level in apart[0].levels]) / [0.47, 0.44]
    assert more**2 - own**2 == pytest.approx([0.02**2 / 2, 0.02**2], rel=1e-6)


def test_unlike_temperatures_of_the_levels_are_told() -> None:
    stops = cells((100, 12, 1450, 20, 0.30), (110, 50, 1450, 20, 0.34))
    curve = [CurvePoint.model_construct(temperature_c=t, mu=0.3 + 0.004 * (t - 100)) for t in (90, 150)]
    found, _ = of(stops, curve=curve)
    assert found[0].by_temperature == pytest.approx(0.04)
    assert of(stops, curve=curve[1:])[0][0].by_temperature is None


def test_intervals_along_lines_hold_the_truth() -> None:
    """30 tests of the invented program with blocks that differ by 1 %: levels of its lines against the law."""
    law = Law(scatter=0.015, correlation=0.0)
    held = []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        plan = program(rng)
        stops = one_test(law, rng, plan=plan)
        names = stops["block"].unique(maintain_order=True).to_list()
        shift = dict(zip(names, 1 + rng.normal(0, 0.01, len(names)), strict=True))
        stops = stops.with_columns(mu=pl.col("mu") * pl.col("block").replace_strict(shift, return_dtype=pl.Float64))
        for line in of(stops, scatter_of(stops, "initial", use_suspect=False))[0]:
            for level in line.levels:
                truth = float(
                    law.mu(
                        np.array(level.temperature_c), level.pressure_bar, level.speed_rpm, level.energy_density_j_mm2
                    )
                )
                held.append(level.mu.low <= truth <= level.mu.high)
    assert len(held) > 300 and 0.91 <= np.mean(held) <= 0.99


def compound(seed: int = 0, specimens: int = 3) -> list[StopsOfTest]:
    rng = np.random.default_rng(seed)
    found = []
    for batch, level in (("one", 1.0), ("two", 0.9)):
        for specimen in range(specimens):
            stops = one_test(Law(), rng)
            own = level * (1 + rng.normal(0, 0.02))
            found.append(
                StopsOfTest(
                    f"{batch}-{specimen}", batch, str(specimen), stops.with_columns(mu=pl.col("mu") * own), common=0.005
                )
            )
    return found


def test_the_compounds_rows_are_means_over_its_specimens() -> None:
    tests = compound()
    found, along, _ = of_batches(
        [OfTest(t.batch, t.specimen, *[t.stops.with_columns(test=pl.lit(t.test))] * 2, t.common) for t in tests],
        Method(), Between(Variance(0.02**2, 4.0), 0.0),
    )  # fmt: skip
    (row,) = [r for r in found if r.block == "check 1" and r.batch == "one"]
    own = [t.stops.filter(pl.col("block") == "check 1")["mu"].to_numpy() for t in tests if t.batch == "one"]
    assert row.mu.value == pytest.approx(np.mean([mu.mean() for mu in own])) and row.specimens == 3
    assert row.sd == pytest.approx(np.sqrt(np.mean([mu.var(ddof=1) for mu in own])))
    assert row.mu_least == min(mu.min() for mu in own) and row.used == 18
    assert (
        row.mu.u_stops is not None and row.mu.u_stops > 0.02 / np.sqrt(3) * row.mu.value
    )  # specimens lie apart by 2 %
    assert row.mu.u_common == pytest.approx(0.005 * row.mu.value)
    order = [r.block for r in found]
    assert order[0] == order[1] == "check 1" and {line.batch for line in along} == {"one", "two"}


def test_stops_from_a_drift_on_are_in_no_row() -> None:
    tests = compound(specimens=1)
    cut = StopsOfTest("x", "one", "x", tests[0].stops, changed_at=10)
    found = of_compound([cut], Method(), Wanted())
    assert sum(r.stops for r in found.blocks) == 9
