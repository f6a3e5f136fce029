"""Figures are tested by their data: every usable stop is a point, bands and limits where the files say, units on axes."""

from itertools import pairwise

import numpy as np
import pytest

from pipeline.report import (
    drift_figure,
    in_stop_figures,
    order_figures,
    palette,
    stop_figures,
    surface_figures,
    wear_figures,
)
from pipeline.results.drift import TestDrift
from pipeline.results.friction import TestFriction
from pipeline.results.wear import TestWear
from tests.report import contents, makers

STOPS = makers.stops_of_programme(glaze=0.045)
TRACES = makers.traces_of(STOPS)


def points(fig, mode="markers"):
    return [t for t in fig.data if t.mode == mode]


def test_every_stop_with_mu_is_a_point_of_its_purpose():
    fig = stop_figures.friction_temperature(STOPS, contents.of_test())
    drawn = {row[0] for trace in points(fig) for row in trace.customdata}
    assert drawn == set(STOPS.filter(STOPS["mu"].is_not_null())["stop"].to_list())
    assert 55 not in drawn
    for trace in points(fig):
        for row, y in zip(trace.customdata, trace.y, strict=True):
            assert y == pytest.approx(STOPS["mu"][row[0] - 1], rel=1e-4)


def test_the_curve_and_window_are_the_files():
    friction = contents.of_test()
    fig = stop_figures.friction_temperature(STOPS, friction)
    curve = next(t for t in fig.data if t.name == "curve at reference conditions")
    assert list(curve.y) == [p.mu for p in friction.curve]
    lines = {round(shape.x0, 1) for shape in fig.layout.shapes if shape.type == "line"}
    assert lines == {231.4, 604.0}


def test_temperature_follows_the_method():
    fig = stop_figures.friction_temperature(STOPS, contents.of_test(), attribution="peak")
    trace = points(fig)[0]
    stop = trace.customdata[0][0]
    assert trace.x[0] == pytest.approx(STOPS["temperature_peak_c"][stop - 1], rel=1e-4)
    assert "Peak" in fig.layout.xaxis.title.text


def test_time_order_shows_rejected_stops_and_blocks():
    fig = order_figures.time_order(STOPS)
    rejected = next(t for t in fig.data if t.name.startswith("rejected"))
    assert list(rejected.x) == [55]
    shades = [shape for shape in fig.layout.shapes if shape.type == "rect"]
    purposes = [purpose for _, purpose, _ in contents.PROGRAMME]
    assert len(shades) == sum(a != b for a, b in pairwise(purposes)) + 1
    assert [a.text for a in fig.layout.annotations] == [name for name, _, _ in contents.PROGRAMME]


def test_in_stop_lines_keep_stops_apart():
    fig = in_stop_figures.in_stop(STOPS, TRACES, "time_s", [1, 2])
    (trace,) = fig.data
    gaps = [i for i, y in enumerate(trace.y) if y is None]
    assert len(gaps) == 2
    assert set(trace.customdata) == {1, 2}


def test_thinning_keeps_every_block():
    chosen = in_stop_figures.shown_stops(STOPS, TRACES, most=30)
    assert len(chosen) <= 40
    blocks = set(STOPS.filter(STOPS["stop"].is_in(chosen))["block"])
    assert blocks == {name for name, _, _ in contents.PROGRAMME}


def test_drift_chart_shows_residuals_limits_and_onset():
    drift = TestDrift.model_validate(contents.drift_json(STOPS, "glazing-like"))
    fig = drift_figure.drift_chart(STOPS, drift)
    check = next(t for t in fig.data if t.name == "check")
    assert list(check.y) == pytest.approx([100 * v for v in drift.charts.residual.share], rel=6e-4)
    cusum = next(t for t in fig.data if t.name.startswith("cumulative sum, fall"))
    assert list(cusum.y) == pytest.approx(np.abs(drift.charts.cusum.fall) / 6.1, rel=1e-3)
    onset = next(shape for shape in fig.layout.shapes if shape.fillcolor == palette.ONSET)
    assert (onset.x0, onset.x1) == (99.5, 109.5)
    assert {t.yaxis for t in fig.data} >= {"y2", "y3", "y4", "y5"}


def test_drift_chart_without_charts_says_why():
    drift = TestDrift(test="m4-a", verdict="undetermined", charts_reason="no matched stops")
    fig = drift_figure.drift_chart(STOPS, drift)
    assert any("no matched stops" in str(a.text) for a in fig.layout.annotations)


def test_wear_bars_are_the_intervals_per_stop():
    wear = contents.wear_of_test()
    fig = wear_figures.wear_per_interval(wear)
    disc = next(t for t in fig.data if t.name == "disc")
    assert disc.y[0] == pytest.approx(14.2 / 20, rel=1e-4)
    assert disc.error_y.array[0] == pytest.approx(0.8 / 20, rel=1e-2)
    predicted = wear_figures.measured_predicted(wear)
    assert list(predicted.data[0].x) == [i.wear_um for i in wear.components["disc"].intervals]


def test_surfaces_stay_blank_outside_the_support():
    ((title, fig),) = surface_figures.surfaces(contents.of_test(), STOPS)
    assert title.startswith("Disc temperature and energy density")
    assert fig.data[0].z[0][3] is None
    assert fig.data[0].connectgaps is False


EMPTY = STOPS.clear()
NO_WEAR = TestWear(test="m4-a")


@pytest.mark.parametrize(
    "fig",
    [
        stop_figures.friction_temperature(EMPTY, TestFriction(test="m4-a")), stop_figures.friction_energy(EMPTY), stop_figures.averages(EMPTY),
        order_figures.time_order(EMPTY), order_figures.energy_balance(EMPTY), in_stop_figures.in_stop(EMPTY, TRACES.clear(), "time_s", []),
        wear_figures.wear_per_interval(NO_WEAR), wear_figures.measured_predicted(NO_WEAR), wear_figures.law_curve(NO_WEAR), wear_figures.wear_shares(NO_WEAR),
        drift_figure.drift_chart(EMPTY, TestDrift(test="m4-a")),
    ],
)  # fmt: skip
def test_an_empty_figure_says_what_is_missing(fig):
    assert not fig.data
    assert fig.layout.annotations[0].text


def test_every_axis_names_its_unit_or_is_a_pure_number():
    figures = [stop_figures.friction_temperature(STOPS, contents.of_test()), stop_figures.friction_energy(STOPS, contents.of_test()), stop_figures.averages(STOPS),
               order_figures.time_order(STOPS), order_figures.energy_balance(STOPS), wear_figures.wear_per_interval(contents.wear_of_test()),
               drift_figure.drift_chart(STOPS, TestDrift.model_validate(contents.drift_json(STOPS, "glazing-like")))]  # fmt: skip
    pure = ("µ", "ratio", "Component")
    for fig in figures:
        for name in ("xaxis", "yaxis", "yaxis2", "yaxis3", "yaxis4", "yaxis5"):
            title = fig.layout[name].title.text if name in fig.layout else None
            if title:
                assert "(" in title or any(word in title for word in pure), title


def test_user_text_in_a_figure_is_escaped():
    stops = STOPS.with_columns(block=STOPS["block"].replace({"bed-in": "<a href='http://x'>b</a>"}))
    fig = order_figures.time_order(stops)
    assert "<a" not in fig.to_json().replace("\\u003c", "<").replace("<br>", "").replace("<extra>", "")


def luminance(colour):
    rgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    return linear


# Dichromat simulation in linear RGB (Vienot, Brettel, Mollon 1999, from memory).
DICHROMATS = {
    "protan": np.array([[0.11238, 0.88762, 0.0], [0.11238, 0.88762, 0.0], [0.00401, -0.00401, 1.0]]),
    "deutan": np.array([[0.29275, 0.70725, 0.0], [0.29275, 0.70725, 0.0], [-0.02234, 0.02234, 1.0]]),
    "normal": np.eye(3),
}


@pytest.mark.parametrize("kind", DICHROMATS)
def test_purposes_differ_in_symbol_always_and_in_colour_for_most_eyes(kind):
    entries = list(palette.PURPOSES.values())
    assert len({symbol for _, symbol, _, _ in entries}) == len(entries)
    seen = [np.clip(DICHROMATS[kind] @ luminance(colour), 0, 1) ** (1 / 2.2) for colour, _, _, _ in entries]
    nearest = min(np.linalg.norm(a - b) for i, a in enumerate(seen) for b in seen[:i])
    assert nearest > 0.12
