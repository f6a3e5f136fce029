"""Temperature that interacts with the conditions, cells left out, what a map misses, and windows at other conditions."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl
import pytest

from pipeline.archive.targets import Target
from pipeline.friction import comparison, effects, lack_of_fit, places, result
from pipeline.friction.cells import cells_of, repeated
from pipeline.friction.comparison import best_map, predicted_without, without_effect
from pipeline.friction.effects import Reference
from pipeline.friction.history import unchanged
from pipeline.friction.interaction import Interaction
from pipeline.friction.likelihood import CORRELATION, design_of, solve
from pipeline.friction.map import FrictionMap, fit_map
from pipeline.friction.wanted import Wanted
from pipeline.inputs.model import load
from pipeline.method.friction import Friction
from tests.makers import stops_frame

SETTINGS = Friction()
PRESSURES, ENERGIES = (20.0, 40.0, 60.0), (10.0, 20.0)


def moved(
    rng: np.random.Generator, *, scatter: float = 0.006, per_root: float = 140.0, per_j: float = 4.0
) -> pl.DataFrame:
    """Stops whose curve moves by so many K per root of the pressure and per J/mm2 about 40 bar and 20 J/mm2; three stops a cell."""
    cells = [(t, p, e) for e in ENERGIES for p in PRESSURES for t in np.linspace(60, 500, 9) for _ in range(3)]
    checks = [(260.0, 40.0, 20.0)] * 12
    t, p, e = (np.array(v) for v in zip(*checks, *cells, strict=True))
    t = t + rng.normal(0, 3, t.size)
    mu = truth(t + per_root * (np.sqrt(p / 40) - 1) + per_j * (e - 20))
    return stops_frame(
        t.size, temperature_initial_c=t, pressure_bar=p * (1 + rng.normal(0, 0.005, t.size)), energy_density_j_mm2=e,
        speed_start_rpm=1500 * np.sqrt(e / 20), mu=mu * np.exp(scatter * rng.normal(size=t.size)),
        purpose=["check"] * 12 + ["map"] * len(cells), block=["check 1"] * 12 + [f"map {p:.0f} {e:.0f}" for _, p, e in cells],
    )  # fmt: skip


def truth(celsius: np.ndarray) -> np.ndarray:
    return 0.2 + 0.22 / (1 + np.exp(-(celsius - 170) / 30))


@pytest.fixture(scope="module")
def stops() -> pl.DataFrame:
    return moved(np.random.default_rng(1))


@pytest.fixture(scope="module")
def compared(stops: pl.DataFrame) -> comparison.Compared:
    return best_map(stops, SETTINGS, temperature="initial")


@pytest.fixture(scope="module")
def map_(compared: comparison.Compared) -> FrictionMap:
    return compared.map


def test_who_knows_the_form_has_the_same_map(stops: pl.DataFrame, compared: comparison.Compared) -> None:
    again = comparison.map_of_form(stops, SETTINGS, temperature="initial", table=compared.table)
    assert again.fit.data.interaction is not None
    assert np.array_equal(again.fit.theta, compared.map.fit.theta)
    assert np.array_equal(again.predict(np.array([500.0])).mu, compared.map.predict(np.array([500.0])).mu)


def test_curve_that_conditions_move_is_found_with_its_shift(map_: FrictionMap, stops: pl.DataFrame) -> None:
    """The map without interaction is off by more than a tenth in the cold at other pressures; with it curve and shifts are
    the world's."""
    t = np.linspace(80.0, 480.0, 41)
    gentle = truth(t - 140 * (1 - np.sqrt(0.5)))
    plain = best_map(stops, SETTINGS, temperature="initial", interactions=False).map
    assert np.nanmax(np.abs(plain.predict(t + 273.15, pressure=20e5).mu / gentle - 1)) > 0.1
    assert np.nanmax(np.abs(map_.predict(t + 273.15, pressure=20e5).mu / gentle - 1)) < 0.03
    assert np.abs(map_.predict(t + 273.15).mu / truth(t) - 1).max() < 0.03
    moves = {move.condition: move for move in result.shifts(map_)}
    assert moves["pressure"].kelvin == pytest.approx(140 * (np.sqrt(1.5) - np.sqrt(0.5)), abs=15.0)
    assert moves["energy density"].kelvin == pytest.approx(40.0, abs=15.0)


def test_curve_between_gentler_and_harder_stops_is_its_own_and_not_drawn_to_theirs() -> None:
    """The face's rise goes with the root of the pressure, so over its logarithm the middle of three pressures lies below the line
    through the outer two; by that line curve and window would lie 5 K and more colder. Truth of the end: where the middle 90 % of
    stops, 0.6 % about the mean, reach down to 0.36."""
    map_ = best_map(moved(np.random.default_rng(1), per_root=280.0), SETTINGS, temperature="initial").map
    t = np.linspace(120.0, 220.0, 21)
    colder = (map_.predict(t + 273.15).mu - truth(t)) / np.gradient(truth(t), t)
    assert abs(colder.mean()) < 1.5
    assert result.shifts(map_)[0].kelvin == pytest.approx(280 * (np.sqrt(1.5) - np.sqrt(0.5)), abs=6.0)
    found = result.of_map(map_, SETTINGS, Wanted((0.36, 0.50)), 0.0).window_estimate
    assert found is not None
    end = float(np.interp(0.36, truth(t) * (1 - 1.645 * 0.006), t))
    assert found.low_c == pytest.approx(end, abs=2.0)
    assert found.low_interval_c.low < end < found.low_interval_c.high


@pytest.mark.parametrize("energy_form", ["linear", "log"])
def test_features_are_roots_of_the_conditions_whatever_the_form_of_the_effects(energy_form: str) -> None:
    reference = Reference(500.0, 40e5, 150.0, 20e6)
    x = effects.linear(np.array([10e5]), np.array([150.0 * 2.25]), np.array([5e6]), reference, energy_form)
    level = effects.levels(effects.NAMES, reference, energy_form)
    made = Interaction(np.array([10.0, 20.0, 0.0, 8.0]), ((0, 1),), (), np.ones(3), level, 300.0, 800.0)
    energy = -1.0 * (20.0 if energy_form == "linear" else 1.0)  # 2 (root(1/4) - 1), in J/mm2 or as a share
    assert made.features(x)[0] == pytest.approx([-1.0, 1.0, energy, -1.0])
    assert made.moved(np.array([400.0]), x)[0] == pytest.approx(400.0 - 10.0 + 20.0 - 8.0)
    assert made.without(0).features(x[:, 1:])[0] == pytest.approx([1.0, energy])


def test_conditions_that_only_multiply_do_not_interact() -> None:
    rng = np.random.default_rng(2)
    still = moved(rng, per_root=0.0, per_j=0.0)
    still = still.with_columns(mu=pl.col("mu") * (pl.col("pressure_bar") / 40) ** -0.05)
    assert best_map(still, SETTINGS, temperature="initial").map.fit.data.interaction is None


def test_errors_of_left_out_cells_are_those_of_fits_without_them(stops: pl.DataFrame) -> None:
    """The closed form against fits with the cell's rows gone; without autocorrelation, whose neighbours it may use."""
    map_ = fit_map(stops, SETTINGS, interaction=True)
    theta = map_.fit.theta.copy()
    theta[CORRELATION] = 0.0
    data = map_.fit.data
    cells = cells_of(map_.stops, map_.own_temperature, map_.logs)
    found = predicted_without(data, theta, data.response, cells)
    for cell in (0, 7, 30):
        kept = cells != cell
        less = replace(
            data,
            **{
                name: getattr(data, name)[kept]
                for name in ("temperature", "response", "linear", "weight_sd", "series", "position", "steepness")
            },
            groups=tuple(
                replace(group, columns=group.columns[kept]) for group in data.groups if group.columns is not None
            ),
        )
        assert found[~kept] == pytest.approx(design_of(data, theta)[~kept] @ solve(less, theta).coefficients, rel=1e-6)


def test_map_less_an_effect_has_no_part_of_it_left(map_: FrictionMap) -> None:
    data, theta = without_effect(map_.fit, 0)
    assert data.effects == 1
    assert design_of(data, theta).shape[1] == 2 + 1 + data.segments + 1 + data.shifts + sum(
        g.count for g in data.groups
    )
    only, shorter = without_effect(replace(map_.fit, data=data, theta=theta), 0)
    assert only.interaction is None
    assert shorter.size == theta.size - 1


def test_cells_are_sets_of_conditions_whatever_their_block() -> None:
    table = stops_frame(9, block=["a"] * 3 + ["b"] * 3 + ["c"] * 3)
    t = np.array([300, 305, 298, 340, 342, 338, 302, 299, 301.0])
    cells = cells_of(table, t, np.zeros((9, 3)))
    assert cells.tolist() == [0, 0, 0, 1, 1, 1, 0, 0, 0]
    assert not repeated(cells)


@pytest.mark.published(
    "lack of fit beside pure error",
    source="Montgomery and Runger, Applied Statistics and Probability for Engineers, supplement, example S11-1",
    origin="published",
)
def test_pure_error_is_the_textbooks() -> None:
    """Montgomery and Runger, Applied Statistics and Probability for Engineers, supplement, example S11-1: F 1.42, p 0.3276."""
    rows = {1.0: (2.3, 1.8), 2.0: (2.8,), 3.3: (1.8, 3.7), 4.0: (2.6, 2.6, 2.2), 5.0: (2.0,), 5.6: (3.5, 2.8, 2.1),
            6.0: (3.4, 3.2), 6.5: (3.4,), 6.9: (5.0,)}  # fmt: skip
    x = np.array([x for x, ys in rows.items() for _ in ys])
    y = np.array([y for ys in rows.values() for y in ys])
    residual = y - np.polyval(np.polyfit(x, y, 1), x)
    found = lack_of_fit.pure_error(residual, np.unique(x, return_inverse=True)[1], 2)
    assert (found.dof_missed, found.dof_pure) == (7, 8) or (found.dof_missed, found.dof_pure) == (7, 7)
    assert found.f == pytest.approx(1.42, abs=0.01)
    assert found.p == pytest.approx(0.3276, abs=0.01)


def test_what_the_map_misses_is_told_with_its_place_and_is_no_scatter(stops: pl.DataFrame) -> None:
    """Three stops of one cell lie 6 % high together: the map misses there, the stops scatter no more for it. Which of the six
    cells at that temperature is the odd one a design of three pressures and two energies tells badly; it is among those named."""
    odd = (pl.col("block") == "map 60 10") & pl.col("temperature_initial_c").is_between(370, 405)
    told = lack_of_fit.lack_of_fit(best_map(stops.with_columns(mu=pl.when(odd).then(pl.col("mu") * 1.06).otherwise("mu")), SETTINGS, temperature="initial").map)  # fmt: skip
    assert told.p is not None and told.p < 0.05
    assert {round(place.temperature_c, -1) for place in told.where} == {390}
    assert any(place.pressure_bar == pytest.approx(60, rel=0.02) and place.share > 0.005 for place in told.where)
    assert told.stop_sd == pytest.approx(0.006, rel=0.35)


def test_a_condition_missed_in_two_tests_is_told_once_with_both(stops: pl.DataFrame) -> None:
    """One cell high in one test and low in the other; a cell off by less with more stops is shown too, and comes after."""
    map_ = fit_map(stops, SETTINGS)
    n = len(map_.stops)
    tests = np.where(np.arange(n) % 2, "b", "a")
    map_ = replace(map_, stops=map_.stops.with_columns(test=pl.Series(tests)))
    cell = np.full(n, 2)
    cell[:20], cell[20:24] = 0, 1
    _, place = np.unique(np.column_stack([cell, tests == "b"]), axis=0, return_inverse=True)
    off = np.where(cell == 0, 0.01, np.where(cell == 1, np.where(tests == "a", 0.03, -0.04), 0.0))
    found = lack_of_fit.worst(map_, cell, place.ravel(), off, off / 0.01)
    assert [[(one.test, one.stops, round(one.share, 3)) for one in missed.by_test] for missed in found] == [
        [("a", 2, 0.03), ("b", 2, -0.04)],
        [("a", 10, 0.01), ("b", 10, 0.01)],
    ]
    assert [missed.signs_differ for missed in found] == [True, False]
    assert [missed.stops for missed in found] == [4, 20]


def test_windows_stand_at_the_corners_of_what_was_run(map_: FrictionMap) -> None:
    found = result.of_map(map_, SETTINGS, Wanted((0.30, 0.50)), 0.0)
    at = {(round(w.pressure_bar, -1), round(w.energy_density_j_mm2)): w for w in found.windows_at}
    assert set(at) == {(20, 10), (60, 10), (20, 20), (60, 20)}
    gentle, hard = at[20, 10].window, at[60, 20].window
    assert gentle is not None and hard is not None and found.window is not None
    assert gentle.low_c > found.window.low_c + 50 > hard.low_c + 50
    assert all(w.from_c is not None and w.from_c > 45 and w.to_c is not None and w.to_c < 515 for w in at.values())


def test_without_a_window_elsewhere_the_reason_names_the_most_stops_beside_the_reference(stops: pl.DataFrame) -> None:
    """Gentle stops at one temperature, however many, show no window."""
    usual = pl.col("pressure_bar").is_between(35, 45) & (pl.col("energy_density_j_mm2") == 20)
    gentle = (pl.col("block") == "map 20 10") & pl.col("temperature_initial_c").is_between(100, 190)
    alone = fit_map(stops.filter(usual | gentle), SETTINGS)
    assert places.corners(alone) == []
    why = places.why_no_corner(alone)
    assert "but the reference's has 6 stops over an unbroken 60 K" in why
    assert "are 3 at 20 bar and 10 J/mm2, " in why or "are 6 at 20 bar and 10 J/mm2, " in why
    only = fit_map(stops.filter(usual), SETTINGS)
    assert places.why_no_corner(only) == "no other pressure or energy density than the reference's was run"


def test_a_target_may_ask_for_conditions_inside_what_was_run(map_: FrictionMap) -> None:
    wanted = Wanted((0.25, 0.50), (573.0, 673.0), (30e5, 15e6))
    found = result.of_map(map_, SETTINGS, wanted, 0.0)
    assert found.windows_at[0].asked and found.windows_at[0].window is not None
    assert found.holds is not None and found.holds.at == "30 bar and 15 J/mm2" and found.holds.answer == "yes"


@pytest.mark.parametrize(
    ("at", "why"),
    [
        ((90e5, 15e6), "pressure 90 bar is outside what was run (19.8 to 60.6 bar)"),
        ((30e5, 3e6), "energy density 3 J/mm2 is outside what was run (10 to 20 J/mm2)"),
    ],
)
def test_conditions_outside_what_was_run_are_refused(map_: FrictionMap, at: tuple[float, float], why: str) -> None:
    found = result.of_map(map_, SETTINGS, Wanted((0.25, 0.50), (573.0, 673.0), at), 0.0)
    assert found.holds is not None and found.holds.answer == "not shown"
    assert why.split("(")[0] in found.holds.why and "outside what was run" in found.holds.why
    assert found.windows_at[0].window is None


def test_a_place_between_lines_that_never_met_is_not_enclosed() -> None:
    """Stops along a pressure line and an energy line say nothing of their far corner."""
    line = np.array([[p, 0.0, 0.0] for p in (-1, -0.5, 0)] + [[0.0, 0.0, e] for e in (0.5, 1.0)])
    assert places.encloses(line - np.array([-0.5, 0, 0]))
    assert not places.encloses(line - np.array([-0.9, 0, 0.9]))


def test_target_file_says_conditions_with_units(tmp_path) -> None:  # type: ignore[no-untyped-def]
    file = tmp_path / "t.yaml"
    file.write_text(
        "compound: A\nmu: [0.3, 0.5]\nat: {pressure: 30 bar, energy_density: 15 J/mm^2}\n", encoding="utf-8"
    )
    at = load(file, Target).at
    assert at is not None and (at.pressure, at.energy_density) == (pytest.approx(30e5), pytest.approx(15e6))


def test_block_after_a_duty_at_conditions_that_move_the_curve_is_not_called_changed() -> None:
    """Gentle cold stops after a duty lie a tenth off the map of one curve and fixed effects, and on the map as it is; a block
    that did change is still left out."""
    rng = np.random.default_rng(5)
    before = moved(rng)
    n = 8
    t = 120 + rng.normal(0, 3, n)
    mu = truth(t - 140 * (1 - np.sqrt(0.5)) - 40) * np.exp(0.006 * rng.normal(size=n))
    duty = stops_frame(1, stop=[len(before) + 1], purpose="duty", block="duty 1")

    def left_out(factor: float) -> list[str]:
        after = stops_frame(
            n, stop=np.arange(n) + len(before) + 2, temperature_initial_c=t, pressure_bar=20.0, energy_density_j_mm2=10.0,
            speed_start_rpm=1500 * np.sqrt(0.5), mu=factor * mu, purpose="map", block="gentle",
        )  # fmt: skip
        found = unchanged(pl.concat([before, duty, after]), SETTINGS, "initial")[1]
        return [block.block for block in found]

    assert left_out(1.0) == []
    assert left_out(0.85) == ["gentle"]


@pytest.mark.parametrize(("stops", "columns"), [(6, 9), (40, 9)])
def test_what_is_left_out_is_found_alike_whichever_matrix_is_smaller(stops: int, columns: int) -> None:
    """Against the dense solution, for few and for many stops of a fold; neighbours alike, but for a break in the middle."""
    rng = np.random.default_rng(stops)
    beside = np.where(np.arange(stops - 1) == stops // 2, 0.0, -0.3)
    rows, misfit = 0.15 * rng.normal(size=(stops, columns)) / np.sqrt(stops), rng.normal(size=stops)
    left = np.eye(stops) + np.diag(beside, 1) + np.diag(beside, -1) - rows @ rows.T
    assert comparison._missed(beside, rows, misfit) == pytest.approx(np.linalg.solve(left, misfit), rel=1e-9)
    values, vectors = np.linalg.eigh(left + rows @ rows.T)
    rows = np.zeros((stops, columns))
    rows[:, 0] = np.sqrt(values[0] * (1 - 1e-9)) * vectors[:, 0]  # what one effect is known by is these stops alone
    assert comparison._missed(beside, rows, misfit) is None
