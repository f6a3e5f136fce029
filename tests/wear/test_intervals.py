"""Intervals: losses, their covariance, where the noise comes from, mass, growth, readings that are missing."""

import dataclasses

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.wear.components import Component, component, spoken
from pipeline.wear.intervals import intervals
from pipeline.wear.readings import SCHEMA
from tests.wear.makers import DISC


def table(rows):
    """Rows of (after, point, um of thickness or g of mass, quantity, state)."""
    full = [
        (i, after, "disc", quantity, str(point), state, value * (1e-6 if quantity == "thickness" else 1e-3), 1e-7)
        for i, (after, point, value, quantity, state) in enumerate(rows)
    ]
    return pl.DataFrame(full, schema=SCHEMA, orient="row")


def thickness(rows):
    return table([(after, point, value, "thickness", None) for after, point, value in rows])


def found(readings, part=DISC, last=1000):
    return intervals(readings, part, assumed_thickness=3e-6, assumed_mass=5e-5, last_stop=last)


def test_mean_over_points_and_shared_readings():
    result = found(
        thickness([(0, 1, 28000), (0, 2, 28010), (20, 1, 27960), (20, 2, 27980), (50, 1, 27900), (50, 2, 27930)])
    )
    assert result.wear == pytest.approx([35.0, 55.0])
    assert result.from_stop.tolist() == [0, 20] and result.to_stop.tolist() == [20, 50]
    assert result.source == "assumed by the method"
    # u of a mean over two points is the method's 3 um; a shared reading opposes its neighbours' errors.
    assert result.covariance == pytest.approx(9.0 * np.array([[2.0, -1.0], [-1.0, 2.0]]))


def test_a_point_not_read_again_takes_no_part():
    result = found(thickness([(0, 1, 28000), (0, 2, 28100), (20, 1, 27960)]))
    assert result.wear == pytest.approx([40.0])


def test_readings_without_a_common_point_use_their_means():
    result = found(thickness([(0, 1, 28000), (20, 2, 27960)]))
    assert result.wear == pytest.approx([40.0])
    assert [f.code for f in result.findings] == ["wear_points_differ"]


@given(st.permutations(range(12)), st.floats(-500, 500))
@settings(deadline=None, max_examples=20)
def test_order_of_rows_and_zero_of_the_gauge_do_not_matter(order, zero):
    rows = [(after, p, 28000 - loss + 7 * p + zero) for after, loss in ((0, 0), (20, 31), (50, 90)) for p in range(4)]
    result = found(thickness([rows[i] for i in order]))
    assert result.wear == pytest.approx([31.0, 59.0], abs=1e-6)


def test_noise_from_repeats():
    rng = np.random.default_rng(3)
    rows = [
        (after, p, 28000 - after + rng.normal(0, 2)) for after in range(0, 400, 40) for p in range(6) for _ in range(3)
    ]
    result = found(thickness(rows))
    assert result.source == "repeat readings" and result.dof == 10 * 6 * 2
    assert result.u == pytest.approx(np.full(9, 2 * np.sqrt(2 / 18)), rel=0.2)


def test_noise_from_points_beside_a_steady_taper():
    rng = np.random.default_rng(4)
    rows = [
        (after, p, 28000 - after * (1 + 0.1 * p) + rng.normal(0, 2)) for after in range(0, 400, 40) for p in range(6)
    ]
    result = found(thickness(rows))
    assert result.source == "scatter between points"
    assert result.u == pytest.approx(np.full(9, 2 * np.sqrt(2 / 6)), rel=0.25)


def test_noise_is_never_below_the_resolution():
    rows = [(after, p, 28000 - after) for after in (0, 40, 80) for p in (1, 2) for _ in range(3)]
    coarse = thickness(rows).with_columns(resolution=pl.lit(1e-5))
    result = found(coarse)
    # All readings of an occasion fall into one step of the gauge: their rounding is one and the same.
    assert result.u == pytest.approx(np.full(2, 10 / np.sqrt(12) * np.sqrt(2)), rel=1e-6)


def test_mass_stands_in_for_thickness_and_dry_comes_first():
    grams = 1e-6 * DISC.density * DISC.area * 1e3  # of one um over the ring
    rows = [
        (0, 1, 1700.0, "mass", "dry"),
        (0, 1, 1704.0, "mass", "as_found"),
        (60, 1, 1700.0 - 40 * grams, "mass", "dry"),
    ]
    result = found(table(rows))
    assert result.wear == pytest.approx([40.0], rel=1e-6)
    assert result.points[0].measured_by == "mass"


def test_mass_without_density_gives_nothing():
    part = dataclasses.replace(DISC, density=None)
    assert found(table([(0, 1, 1700.0, "mass", None), (60, 1, 1690.0, "mass", None)]), part) is None


def test_one_reading_gives_nothing():
    assert found(thickness([(0, 1, 28000)])) is None


def test_growth_beyond_the_uncertainty_is_said_and_kept():
    rows = [(after, p, 28000 + (30 if after == 40 else -after)) for after in (0, 40, 80) for p in (1, 2)]
    result = found(thickness(rows))
    assert result.wear[0] == pytest.approx(-30.0)
    assert [f.code for f in result.findings] == ["wear_negative"]


def test_growth_within_the_uncertainty_is_kept_without_a_word():
    result = found(thickness([(0, 1, 28000), (40, 1, 28001)]))
    assert result.wear == pytest.approx([-1.0]) and result.findings == []


def test_a_reading_after_the_last_stop_is_said():
    result = found(thickness([(0, 1, 28000), (40, 1, 27960), (300, 1, 27900)]), last=156)
    assert [f.code for f in result.findings] == ["wear_after_last_stop"]


def test_an_impossible_point_costs_itself_only():
    rows = [(after, p, 28000 - after + 6 * p) for after in (0, 40, 80, 120) for p in (1, 2, 3, 4)]
    rows[6] = (40, 3, 29518)
    result = found(thickness(rows))
    assert result.wear == pytest.approx([40.0] * 3)
    assert "point 3" in result.findings[0].message


def test_components_of_the_card(demo_like_card):
    disc, pad = component("disc", demo_like_card), component("pad_outer_2", demo_like_card)
    assert (disc.faces, pad.faces) == (2, 1) and pad.force_share == 0.5  # four pads: two share a side's force
    assert disc.usable_um == pytest.approx(4000)
    # One mm^3/(N m) over 1 N m wears 1 mm^3 off each of the disc's faces.
    assert disc.distance_factor == pytest.approx(2 * 1e3 / (np.pi / 4 * (312**2 - 220**2)))
    assert spoken("pad_inner_2") == "inner pad 2" and spoken("disc") == "disc"


@pytest.fixture
def demo_like_card():
    from pipeline.archive.card import Card
    from pipeline.inputs.model import parse
    from tests.wear.makers import card_content

    return parse(card_content(pads="4"), Card, "test.yaml")


def test_unknown_usable_thickness_is_none():
    part = Component("disc", 2, 0.03, 1.0, None, 0.028, None)
    assert part.usable_um is None
