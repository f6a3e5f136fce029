"""Wear readings against mass, energy, clock and their own points: each slip told as what it is, clean readings left alone."""

import numpy as np
import polars as pl
import pytest

from pipeline.archive.card import Card
from pipeline.wear.reading_checks import reading_findings
from tests.makers import stops_frame
from tests.wear.makers import card_content

AT = [0, 20, 40, 60, 80, 100, 120]
STOPS = 120
AREA, DENSITY = {"disc": np.pi / 4 * (0.312**2 - 0.220**2), "pad": 52e-4}, 1780.0
RATE = {"disc": 1.4, "pad_inner": 1.9, "pad_outer": 1.8}  # um a stop
NEW = {"disc": (28e-3, 1.7), "pad_inner": (24e-3, 0.22), "pad_outer": (24e-3, 0.22)}


def bench(seed: int = 1, *, mass: bool = True, noise_um: float = 2.0) -> pl.DataFrame:
    """Readings of a disc and two pads, two repeats at six points and two weighings, as `read_wear` gives them."""
    rng = np.random.default_rng(seed)
    uneven = {part: rng.normal(0, 12e-6, 6) for part in RATE}
    # Wear per energy differs from block to block as conditions do.
    faster = np.r_[0.0, np.cumsum(20 * (1 + rng.normal(0, 0.05, len(AT) - 1)))]
    rows = []
    for k, after in enumerate(AT):
        for part, rate in RATE.items():
            gone, (thick, heavy) = 1e-6 * rate * faster[k], NEW[part]
            for point in range(6):
                rows += [(after, part, "thickness", str(point + 1), "dry", thick + uneven[part][point] - gone + rng.normal(0, noise_um * 1e-6), 1e-7) for _ in range(2)]  # fmt: skip
            lost = gone * DENSITY * AREA["disc" if part == "disc" else "pad"]
            if mass:
                rows += [(after, part, "mass", "1", "dry", heavy - lost + rng.normal(0, 2e-5), 1e-5) for _ in range(2)]
    names = ("after_stop", "component", "quantity", "point", "state", "value", "resolution")
    return pl.DataFrame(rows, schema=names, orient="row").with_row_index("line").cast({"line": pl.Int64, "after_stop": pl.Int64})  # fmt: skip


def found(readings: pl.DataFrame, *, pads: str = "2", paused: bool = False):
    card = Card.model_validate(card_content(pads=pads))
    idle = [18_000.0 if paused and stop - 1 in AT else 40.0 for stop in range(1, STOPS + 1)]
    stops = stops_frame(STOPS, idle_before_s=idle)
    numbers, energy = np.arange(1, STOPS + 1), np.full(STOPS, 0.24)
    return reading_findings(readings, card, stops, numbers, energy, (5e-6, 5e-5))


def shifted(readings: pl.DataFrame, when: pl.Expr, by: float) -> pl.DataFrame:
    return readings.with_columns(value=pl.when(when).then(pl.col("value") + by).otherwise("value"))


THICKNESS, MASS = pl.col("quantity") == "thickness", pl.col("quantity") == "mass"


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("mass", [True, False])
def test_clean_readings_have_none(seed, mass):
    assert found(bench(seed, mass=mass), paused=True) == []
    assert found(bench(seed, mass=mass, noise_um=10.0)) == []


@pytest.mark.parametrize("by", [20e-6, -20e-6, 50e-6])
def test_a_gauge_zero_off_in_one_session_is_told_of_that_session(by):
    (one,) = found(shifted(bench(), THICKNESS & (pl.col("after_stop") == 60), by))
    assert one.code == "wear_reading_odd" and one.severity == "suspect"
    assert one.evidence["after_stop"] == 60 and "gauge's zero" in one.message
    assert np.mean(one.evidence["off_um"]) == pytest.approx(1e6 * by, abs=4)


def test_a_scale_zero_off_in_one_session_is_told_of_the_scale():
    (one,) = found(shifted(bench(), MASS & (pl.col("after_stop") == 60), 2e-3))
    assert one.evidence["after_stop"] == 60 and "scale's zero, by +2 g" in one.message


def test_a_gauge_zero_off_from_a_reading_on_is_told_between_two():
    several = found(shifted(bench(), THICKNESS & (pl.col("after_stop") >= 60), 30e-6))
    assert {(f.evidence["from_stop"], f.evidence["to_stop"]) for f in several} == {(40, 60)}


def test_without_mass_a_session_off_in_all_parts_is_told_by_energy():
    (one,) = found(shifted(bench(mass=False), THICKNESS & (pl.col("after_stop") == 60), 40e-6))
    assert one.evidence["witness"] == "energy" and one.evidence["after_stop"] == 60


def test_a_wrong_after_stop_is_told_by_the_clock():
    readings = bench().with_columns(after_stop=pl.col("after_stop").replace(60, 70))
    odd = [f for f in found(readings, paused=True) if "stood_after" in f.evidence]
    assert [(f.evidence["after_stop"], f.evidence["stood_after"]) for f in odd] == [(70, 60)]


def test_points_read_in_another_order_are_told_with_the_turn():
    when = (pl.col("after_stop") >= 60) & (pl.col("component") == "disc") & THICKNESS
    readings = bench().with_columns(point=pl.when(when).then(((pl.col("point").cast(pl.Int64) + 1) % 6 + 1).cast(pl.String)).otherwise("point"))  # fmt: skip
    told = [f for f in found(readings) if f.evidence.get("part") == "disc"]
    assert told and all("another order, 2 on" in f.message for f in told)


def test_another_disc_is_told_by_its_shape():
    other = bench(9).filter((pl.col("component") == "disc") & (pl.col("after_stop") >= 60))
    own = bench().filter((pl.col("component") != "disc") | (pl.col("after_stop") < 60))
    assert any("another part" in f.message for f in found(pl.concat([own, other])))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda r: shifted(r, MASS & (pl.col("component") == "disc"), 0.2), "first mass is 1.118"),
        (lambda r: shifted(r, MASS & (pl.col("component") == "disc"), -0.5), "0.71 of its new mass"),
        (lambda r: shifted(r, THICKNESS & (pl.col("component") == "disc"), 1e-3), "first thickness is 1.036"),
    ],
)
def test_parts_that_are_not_the_cards_are_told(change, said):
    told = [f for f in found(change(bench())) if f.code == "wear_card_differs"]
    assert len(told) == 1 and said in told[0].message


def test_pads_of_another_number_than_read_are_told():
    assert [f.code for f in found(bench(), pads="4")] == ["wear_card_differs"]


def test_one_point_misread_in_one_session_is_told_with_its_point():
    when = THICKNESS & (pl.col("after_stop") == 60) & (pl.col("component") == "disc") & (pl.col("point") == "4")
    (one,) = found(shifted(bench(), when, 24e-6))
    assert (one.evidence["after_stop"], one.evidence["point"]) == (60, "4")
    assert one.evidence["off_um"] == pytest.approx(20, abs=4)  # of its five neighbours' and its own mean
