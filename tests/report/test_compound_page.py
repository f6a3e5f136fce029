"""The compound's page: batches side by side, points that are stops, and figures that lead to the tests and stops behind them."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from urllib.parse import unquote, urlsplit

import numpy as np
import polars as pl
import pytest

from pipeline.report import compound_figures, compound_page, condition_curves, leads, render, sheet, verdicts
from pipeline.report import friction_content as content
from pipeline.report.document import Number, Text
from pipeline.report.sections import side_by_side
from pipeline.results.drift import Item, Trend
from pipeline.results.friction import TestFriction
from pipeline.results.friction_map import LeftOut, Reference, Surface
from tests.report import contents, makers

NAMES = ("m4-a", "m4-b", "m4-c")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> sheet.Sheet:
    root = tmp_path_factory.mktemp("compound")
    friction = contents.full_friction_json(compound="Marram 4")
    return sheet.made(**makers.results_of_compound(root, NAMES, friction=friction))


@pytest.fixture(scope="module")
def page(made: sheet.Sheet) -> str:
    return compound_page.html(made.title, made.under, made.loaded, made.sections, {}, "../../../assets/plotly.js")


def test_every_point_is_the_stop_that_it_names(made: sheet.Sheet) -> None:
    stops = {test.test: test.stops for test in made.loaded.usable}
    columns = {"friction_temperature": "temperature_initial_c", "friction_energy": "energy_density_j_mm2",
               "friction_pressure": "pressure_bar", "friction_speed": "speed_start_rpm"}  # fmt: skip
    drawn = compound_figures.figures(made.loaded)
    for name, column in columns.items():
        points = [trace for trace in drawn[name].data if isinstance(trace.meta, dict) and "test" in trace.meta]
        assert {trace.meta["test"] for trace in points} == set(NAMES), name
        for trace in points:
            own = stops[trace.meta["test"]].filter(pl.col("stop").is_in(list(trace.customdata)))
            assert trace.meta["fields"] == ["stop"] and len(own) == len(trace.x)
            assert list(trace.x) == pytest.approx(own[column].to_list(), rel=1e-4)
            assert list(trace.y) == pytest.approx(own["mu"].to_list(), rel=1e-4)


def test_batches_that_differ_have_a_curve_each_and_others_share_one(made: sheet.Sheet, tmp_path: Path) -> None:
    def curves(of: sheet.Sheet) -> list[str]:
        figure = compound_figures.friction_temperature(of.loaded)
        return [str(t.name) for t in figure.data if t.mode == "lines" and (t.line.width or 0) > 1]

    assert curves(made) == ["curve of M4-2406", "curve of M4-2409", "all batches together"]
    batches = makers.batches_json()
    for pair in batches["pairs"]:
        pair["mu_verdict"] = "equivalent"
    friction = contents.full_friction_json(compound="Marram 4")
    alike = sheet.made(**makers.results_of_compound(tmp_path, NAMES[:2], friction=friction, batches=batches))
    assert curves(alike) == ["curve at reference conditions"]


def test_the_batches_stand_side_by_side(made: sheet.Sheet) -> None:
    table = side_by_side.table(made.loaded, made.loaded.batches.each(lambda found: found.batches))
    assert [row[0] for row in table.rows] == ["M4-2406", "M4-2407", "M4-2409"]
    assert all(len(row) == len(table.head) for row in table.rows)
    window = contents.window()
    shown = {row[0]: [cell if isinstance(cell, str) else cell.text for cell in row] for row in table.rows}
    assert shown["M4-2406"][3:5] == [
        f"{window['low_c']:.0f} to {window['high_c']:.0f}",
        "yes",
    ]  # the window and the answer of the batch itself
    assert shown["M4-2407"][3:5] == ["not given", "not given"]  # friction.json has no batch of that name
    beside = table.rows[0][-1]
    assert isinstance(beside, Text) and beside.tone == "bad"
    assert beside.text.startswith("different in friction (M4-2409)") and "equivalent" in beside.text


def addresses(page: str) -> list[str]:
    return re.findall(r'href="([^"]+)"', page)


def test_every_figure_leads_to_a_test_or_to_the_list_of_tests(page: str, made: sheet.Sheet) -> None:
    ids = set(re.findall(r'\bid="([^"]+)"', page))
    test_template = (render.TEMPLATES / "test.html").read_text()
    parts = set(re.findall(r'call part\("(\w+)"', test_template)) | set(
        re.findall(r'<section id="(\w+)"', test_template)
    )
    led = addresses(page)
    assert len([one for one in led if one == leads.BEHIND]) > 20
    to_tests = [one for one in led if one.startswith("../../tests/")]
    assert {one.split("/")[3] for one in to_tests} == set(NAMES)
    for one in led:
        split = urlsplit(one)
        if one.startswith("#"):
            assert split.fragment in ids, one
        elif one.startswith("../../tests/") and split.fragment:
            fragment = unquote(split.fragment)
            assert fragment in parts or re.fullmatch(r"stop-\d+|select:(use|purpose)=[a-z ]+", fragment), one


def test_a_number_leads_to_what_it_was_read_from() -> None:
    to = leads.Leads({"m4-a"}, {"Friction": "#part-3"})

    def number(file: str, key: str, value: Any = 3) -> Number:
        return Number("n", value, "", file, key, why="none" if value is None else None)

    assert to.of(number("tests/m4-a/drift.json", "/onset_stop", 78)) == "../../tests/m4-a/test.html#stop-78"
    assert to.of(number("tests/m4-a/drift.json", "/mu_loss", 0.1)) == "../../tests/m4-a/test.html#drift"
    assert to.of(number("compounds/marram-4/wear.json", "/x")) == leads.BEHIND
    assert to.of(number("targets/marram-4.yaml", "/mu")) is None
    assert to.of(number("tests/m4-a/drift.json", "/onset_stop", None)) is None
    said = to.text(Text("{answer} in {test} from stop {n}", {
        "answer": "fade", "test": "m4-a", "n": number("tests/m4-a/drift.json", "/onset_stop", 78)}, "open"))  # fmt: skip
    assert re.sub(r"<[^>]+>", "", said) == "fade in m4-a from stop 78"
    assert '<span class="mark open">fade</span>' in said and '<a href="../../tests/m4-a/test.html">m4-a</a>' in said
    hostile = to.text(Text("of {x}: {y}", {"x": "<b>", "y": "{z} & co"}))
    assert hostile == "Of &lt;b&gt;: {z} &amp; co"


def test_a_cut_through_a_surface_is_the_surface_at_the_reference() -> None:
    """Of a bilinear surface the cut is exact at any reference; it ends where the surface does and does not bridge a gap."""
    x, y = [0.0, 10.0, 20.0, 30.0], [1.0, 2.0, 4.0]
    plane = [[0.4 + 0.002 * a - 0.03 * b for a in x] for b in y]
    plane[1][3] = plane[2][0] = None  # type: ignore[call-overload]
    surface = Surface(
        x="pressure_bar", y="speed_rpm", x_values=x, y_values=y, mu=plane, u=[[0.01 for _ in x] for _ in y]
    )
    friction = TestFriction(test="t", surfaces=[surface], reference=Reference(pressure_bar=10.0, speed_rpm=1.25))
    found = condition_curves.cut(friction, "pressure_bar")
    assert found is not None and len(found.stretches) == 1
    assert [one[0] for one in found.stretches[0]] == x[:3]
    for place, mu, low, high in found.stretches[0]:
        assert mu == pytest.approx(0.4 + 0.002 * place - 0.03 * 1.25)
        assert (low, high) == pytest.approx((mu - 0.02, mu + 0.02))
    along = condition_curves.cut(friction, "speed_start_rpm")
    assert along is not None and [one[0] for one in along.stretches[0]] == y
    assert condition_curves.cut(friction, "energy_density_j_mm2") is None
    outside = friction.model_copy(update={"reference": Reference(pressure_bar=10.0, speed_rpm=9.0)})
    assert condition_curves.cut(outside, "pressure_bar") is None


def test_counts_and_trends_are_told_as_such() -> None:
    stops = Item(answer="yes", value=110.0, threshold=10.0, unit="stops", words="")
    assert verdicts._item_cells(stops) == ["yes", "110 stops", "10 stops"]
    told = verdicts.trend_words(Trend(share_per_100_stops=-0.064, low=-0.116, high=0.0074, p=0.086))
    assert told.startswith("-6 (-12 to 1) % of µ per 100 stops; p 0.086 (Mann-Kendall test of no trend)")
    unit = Trend.model_fields["share_per_100_stops"].json_schema_extra
    assert isinstance(unit, dict) and unit["unit"] == "1"  # a share: the slope of ln mu times 100 stops


def test_blocks_left_out_are_one_sentence() -> None:
    left = [LeftOut(block=f"check {k}", stops=[k], why=f"check {k} lies -{k}.0 % off") for k in range(4, 7)]
    said = [text for text in content.notes(contents.of_test(left_out=left)) if text.startswith("Left out of the map")]
    assert said == ["Left out of the map: check 4 lies -4.0 % off; check 5 lies -5.0 % off; check 6 lies -6.0 % off."]


def test_the_veil_lies_where_the_surface_is_less_sure() -> None:
    from pipeline.report import surface_figures

    x, y = [100.0, 200.0], [10.0, 20.0]
    surface = Surface(
        x="temperature_c",
        y="energy_density_j_mm2",
        x_values=x,
        y_values=y,
        mu=[[0.4, 0.4], [0.4, None]],
        u=[[0.007, 0.009], [0.0081, None]],
    )
    (_, figure), *_ = surface_figures.surfaces(contents.of_test(surfaces=[surface]), makers.stops_of_programme())
    (veil,) = [trace for trace in figure.data if trace.type == "heatmap"]
    assert np.array_equal([[one is not None for one in row] for row in veil.z], [[False, True], [True, False]])


def test_a_lying_bar_is_told_by_its_ends() -> None:
    from matplotlib.figure import Figure

    from pipeline.report import figure_data

    figure = Figure()
    axes = figure.subplots()
    axes.barh(-1, 3.0, 0.72, left=2.0, label="mechanical")
    axes.set_yticks([-1], ["disc, map"])
    (row,) = figure_data.data_of(figure).rows(named=True)
    assert (row["series"], row["mark"], row["y"], row["y_name"]) == ("mechanical", "bar", -1.0, "disc, map")
    assert (row["x_low"], row["x_high"], row["x"]) == (2.0, 5.0, None)


def test_a_field_is_whole_in_the_still_picture() -> None:
    from pipeline.report import frame, still

    figure = frame.figure(frame.axis("x"), frame.axis("y", rangemode="tozero"))
    figure.add_scatter(x=[1.0, 2.0], y=[0.2, 0.4], mode="markers")
    figure.add_hrect(y0=0.34, y1=0.6, fillcolor="#c88f16")
    (axes,) = still.drawn(figure, 700.0).axes
    assert axes.get_ylim()[0] == 0.0 and axes.get_ylim()[1] >= 0.6
