"""Pages of rigs and of batches over time, from charts of invented archives."""

from __future__ import annotations

import datetime
import re
from types import SimpleNamespace

import numpy as np
import pytest
from matplotlib.dates import date2num

from pipeline.archive.rigs import Rig
from pipeline.laboratory.charts import charts
from pipeline.laboratory.precision_stage import precision
from pipeline.report import chart_pages, frame, palette, still
from pipeline.report.chart_figures import chart_figure
from pipeline.report.index_page import rig_rows
from pipeline.results.charts import Charts
from pipeline.results.model import write
from pipeline.results.precision import RigPrecision
from tests.laboratory.test_charts import archive

RIG = Rig.model_validate(
    {"rig": "north", "events": [{"date": "2026-03-01", "what": "calibration", "note": "<b>yearly</b>"}]}
)


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """charts.json and precision.json of a rig that steps by 4 %."""
    folder = tmp_path_factory.mktemp("method")
    tests = archive(0.04, at=14, seed=2, ratio_step=0.02)
    write(folder / "charts.json", charts(tests, [RIG], [], {"north": "north-1"}))
    write(folder / "precision.json", precision(tests))
    return folder


def arguments(folder):
    return {"method": "first", "charts": folder / "charts.json", "precision": folder / "precision.json"}


def test_a_rigs_page_says_that_it_wandered(results):
    chart_pages.rig(rig="north-1", **arguments(results), into=results / "rigs")
    text = (results / "rigs" / "north-1.html").read_text()
    assert "Friction of Marram 4 on rig north left its level with t14" in text
    assert "Energy balance on rig north left its level with t14" in text
    assert "Limits from an estimated scatter" in text
    assert "taken for the truth it would be one single value in" in text
    assert "<b>yearly" not in text
    assert "&lt;b&gt;yearly" in text
    assert 'content="../../assets/plotly-' in text
    told = text.count("over dates with limits, and its weighted average: ")  # a chart without a point is told in words
    assert (text.count('class="plot"'), told) == (6, 1)
    stills = re.findall(r'(<noscript>)?<img class="still" alt="([^"]+)"[^>]* src="data:image/svg', text)
    assert [bool(waits) for waits, _ in stills] == [False] + 5 * [
        True
    ]  # text until the page has drawn what comes first
    assert "Friction of Marram 4 over dates" in stills[0][1]
    assert "not told: one state of one rig" in text


def test_a_compounds_page_has_its_batches_and_their_pairs(results):
    chart_pages.compound(compound="Marram 4", **arguments(results), into=results / "compounds" / "marram-4")
    text = (results / "compounds" / "marram-4" / "charts.html").read_text()
    assert "b0 and b1" in text
    assert 'content="../../../assets/plotly-' in text
    assert "fewer than 4 values" in text


def test_a_rig_and_a_compound_that_nobody_could_use_say_so(tmp_path):
    write(tmp_path / "charts.json", Charts())
    write(tmp_path / "precision.json", RigPrecision())
    chart_pages.rig(rig="south", **arguments(tmp_path), into=tmp_path / "rigs")
    chart_pages.compound(compound="X", **arguments(tmp_path), into=tmp_path / "compounds" / "x")
    for page in (tmp_path / "rigs" / "south.html", tmp_path / "compounds" / "x" / "charts.html"):
        assert "no test of it can be used" in page.read_text()


def test_figures_keep_wide_limits_from_pressing_the_values_flat():
    found = charts(archive(seed=1), [RIG], [], {})
    chart = next(c for c in found.rigs[0].charts if c.quantity == "mu")
    fig = chart_figure(chart, found.rigs[0].events)
    low, high = fig.layout.yaxis.range
    assert high - low < 15
    assert len(fig.layout.shapes) == 4  # three lines of the average and the event
    wear = next(c for c in found.rigs[0].charts if c.quantity == "wear")
    assert "no test has a value" in fig_text(chart_figure(wear, []))


def test_the_still_picture_has_the_points_of_its_chart():
    """Without a script it is all that a reader has: values on their dates, those that signal in their colour, events, limits."""
    found = charts(archive(0.04, at=14, seed=2), [RIG], [], {})
    chart = next(c for c in found.rigs[0].charts if c.quantity == "mu")
    fig = chart_figure(chart, found.rigs[0].events)
    upper, lower = still.drawn(fig, 700).axes
    marks = [trace for trace in fig.data if trace.mode == "markers"]
    wanted = {(days(x), round(y, 6)) for trace in marks for x, y in zip(trace.x, trace.y, strict=True)}
    points = [line for line in upper.lines if line.get_linestyle() == "None" and line.get_marker() != "_"]
    seen = {(x, round(y, 6)) for own in points for x, y in own.get_xydata().tolist()}
    assert seen == wanted and len(seen) > 10
    loud = sum(colour == palette.ALARM for trace in marks for colour in trace.marker.color)
    assert loud and loud == sum(len(own.get_xdata()) for own in points if own.get_markeredgecolor() == palette.ALARM)
    (event, *_) = [line for line in upper.lines if list(line.get_xdata()) == 2 * [days("2026-03-01")]]
    assert event.get_linestyle() == "--" and "calibration 2026-03-01" in [note.get_text() for note in upper.texts]
    average = next(trace for trace in fig.data if trace.name == "weighted average")
    drawn = {(x, y) for own in lower.lines if own.get_linestyle() == "None" for x, y in own.get_xydata().tolist()}
    assert drawn == {(days(x), y) for x, y in zip(average.x, average.y, strict=True)}


@pytest.mark.parametrize("days_apart", [1, 2, 5, 20, 64, 95, 200, 400, 800, 1200, 1500, 1800, 4000])
def test_dates_along_an_axis_are_few_however_far_they_reach(days_apart):
    """And the drawing library finds a step for them: its warning would end the test."""
    dates = [str(datetime.date(2026, 3, 1) + datetime.timedelta(days=days)) for days in (0, days_apart)]
    fig = frame.figure(frame.axis("Date", type="date"), frame.axis("mu"), height=300)
    fig.add_scatter(x=dates, y=[1.0, 2.0], mode="markers")
    assert 2 <= len(still.drawn(fig, 700).axes[0].get_xticks()) <= 8


def test_names_along_an_axis_in_a_script_without_signs_are_told_by_their_numbers():
    """The names of batches stand along an axis of numbers: as texts of their places, not as boxes."""
    across = {"tickvals": [0, 1], "ticktext": ["M4", "東-7"]}
    fig = frame.figure(frame.axis("Batch", "", **across), frame.axis("Wear", "µm"), height=300)
    fig.add_scatter(x=[0, 1], y=[1.0, 2.0], mode="markers")
    ticks = [one.get_text() for one in still.drawn(fig, 700).axes[0].get_xticklabels()]
    assert ticks == ["M4", "[U+6771]-7"]


def test_an_event_in_a_script_without_signs_is_told_by_their_numbers():
    """Not as boxes, and without a complaint of the drawing library in the log."""
    found = charts(archive(seed=1), [RIG], [], {})
    chart = next(c for c in found.rigs[0].charts if c.quantity == "mu")
    event = found.rigs[0].events[0].model_copy(update={"what": "校正"})
    (note,) = [
        n.get_text() for n in still.drawn(chart_figure(chart, [event]), 700).axes[0].texts if "2026" in n.get_text()
    ]
    assert note == "[U+6821][U+6B63] 2026-03-01"


def days(date):
    return date2num(np.datetime64(date))


def test_a_step_ends_at_a_gap():
    """A level is learnt before it holds: it does not reach back over values that had none."""
    chart = next(c for c in charts(archive(seed=1), [RIG], [], {}).rigs[0].charts if c.quantity == "mu")
    gap = chart.points[3].model_copy(update={"centre": None, "low": None, "high": None})
    holed = chart.model_copy(update={"points": [*chart.points[:3], gap, *chart.points[4:]]})
    upper = still.drawn(chart_figure(holed, []), 700).axes[0]
    levels = [line for line in upper.lines if line.get_drawstyle() == "steps-mid" and line.get_color() == palette.MUTED]
    assert not any(days(gap.date) in line.get_xdata() for line in levels) and len(levels) >= 2


def fig_text(fig):
    return " ".join(a.text for a in fig.layout.annotations)


def test_every_answer_has_its_tone():
    steady = charts(archive(seed=1), [RIG], [], {})
    tones = {c.quantity: chart_pages.answer(c)[0] for c in steady.rigs[0].charts}
    assert (tones["mu"], tones["energy_ratio"], tones["wear"]) == ("good", "good", "open")


def test_limits_are_printed_as_finely_as_their_value():
    """An energy ratio of 1.001 inside 0.9976 to 1.002 does not stand beside "0.998 to 1"."""
    chart = next(c for c in charts(archive(seed=1), [RIG], [], {}).rigs[0].charts if c.quantity == "energy_ratio")
    point = chart.points[-1].model_copy(update={"value": 1.00141, "low": 0.99757, "high": 1.00238})
    (row,) = chart_pages.point_rows(chart.model_copy(update={"points": [point]}))
    assert row[3:5] == ["1.001", "0.9976 to 1.002"]


def test_how_far_off_a_value_may_have_lain_is_as_fine_as_its_limits_are_wide():
    found = charts(archive(seed=1), [RIG], [], {}).rigs[0].charts
    said = {c.quantity: chart_pages.answer(c)[1] for c in found}
    ends = re.search(r"lain anywhere from (-?\d+\.?\d*) to (\d+\.?\d*) %", said["mu"])
    assert ends is not None and all(len(end.strip("-").replace(".", "").lstrip("0")) <= 2 for end in ends.groups())
    chart = next(c for c in found if c.quantity == "energy_ratio")
    point = next(p for p in chart.points if p.high is not None)
    same = chart.model_copy(update={"points": [*chart.points, point.model_copy(update={"low": 1.0, "high": 1.0})]})
    assert "could have lain" not in chart_pages.answer(same)[1]


def test_the_page_says_what_its_precision_does_not_hold(results):
    chart_pages.compound(compound="Marram 4", **arguments(results), into=results / "compounds" / "marram-4")
    text = (results / "compounds" / "marram-4" / "charts.html").read_text()
    assert "intermediate precision" in text and "if the standard deviation is as estimated" in text
    assert "differences of natural logarithms times 100" in text


def test_the_index_counts_the_charts_that_were_judged():
    """Where wear has no value and others few, a plain "within limits" would say too much."""
    found = charts(archive(seed=1), [RIG], [], {})
    run = SimpleNamespace(found=SimpleNamespace(rig_pages={"north": found.rigs[0].page}))
    (row,) = rig_rows(found, run)
    good = [c for c in found.rigs[0].charts if chart_pages.answer(c)[0] == "good"]
    assert 0 < len(good) < len(found.rigs[0].charts)
    assert row["said"][0].startswith(f"{len(good)} of {len(found.rigs[0].charts)} charts within limits;")
