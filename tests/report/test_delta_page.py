"""The page of a method change says what delta.json and shares.json say."""

import json
import re

import polars as pl
import pytest

from pipeline.report import delta_figures, delta_page
from pipeline.results.model import read
from pipeline.results.shares import Shares
from tests.report import makers


@pytest.fixture
def folder(tmp_path):
    return makers.results_of_delta(tmp_path / "deltas" / "first--revised", traces=True).parent


@pytest.fixture
def page(folder):
    delta_page.run(into=folder)
    return (folder / "delta.html").read_text().replace("\u00a0", " ")


def part(page, name):
    """One section of the page as text without marks."""
    found = re.search(rf'<section id="{name}">(.*?)</section>', page, re.DOTALL)
    text = re.sub(r"<(script|style).*?</\1>", "", found[1], flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))


def test_the_verdict_is_the_first_thing_said(page):
    answer = part(page, "answer")
    assert answer.strip().startswith("What changed 1 verdict changed: drift of m4-a. 2 figures moved")
    assert 'class="verdict bad"' in page and "old-1" in answer
    assert (
        "undetermined" in answer and "231 to 604" not in answer
    )  # a window that moved inside its interval is no verdict


def test_figures_beyond_their_intervals_stand_apart(page):
    figures = part(page, "moved")
    assert "Of 40 figures" in figures and "38 are printed alike" in figures
    beyond, inside = figures.split("Inside their intervals (1)")
    assert "cold friction" in beyond and "+25 %" in beyond and "228 to 604 °C" not in beyond
    assert "228 to 604 °C" in inside


def test_where_mu_compares_is_told_by_temperature_and_energy(page):
    where = part(page, "comparable")
    assert "below 20 J/mm²" in where and "below 100 °C not comparable 0 to +3.0 % 12 stops" in where


def test_each_setting_has_its_share_and_the_rest_is_interaction(page):
    said = part(page, "settings")
    assert "time → distance" in said and "reduction.average" in said
    for row in ("+3.0 (+2.9 to +3.1)", "−1.2 (−1.3 to −1.1)", "+0.2 (+0.1 to +0.3)", "+2.0 (+1.9 to +2.1)"):
        assert row in said
    assert "On 1 of 3 tests (m4-a)" in said and "2 reductions" in said and "m4-b is left out: only reduced rows" in said


def test_the_stop_that_moved_most_is_drawn_by_both_methods_and_leads_to_both_pages(page):
    stop = 1
    assert f'href="../../first/tests/m4-a/test.html#stop-{stop}"' in page
    assert f'href="../../revised/tests/m4-a/test.html#stop-{stop}"' in page
    movers = part(page, "movers")
    assert "Each setting alone: reduction.average +3.0 %; reduction.build_up −1.2 %; interaction +0.2 %." in movers
    drawn = json.loads(re.search(r'id="figures">(.*?)</script>', page, re.DOTALL)[1])["mover_0"]
    assert [line["name"] for line in drawn["data"] if line.get("name")] == ["µ, first", "µ, revised"]
    assert len(drawn["layout"]["shapes"]) == 2  # both evaluation windows


def test_every_figure_has_a_still_picture_that_needs_no_script(page):
    figures = re.findall(r'data-figure="(\w+)"', page)
    assert len(figures) == 4 and page.count('<img class="still"') == 4 and "<noscript><img" not in page


def test_points_are_the_table(folder):
    delta = pl.read_parquet(folder / "delta.parquet")
    fig = delta_figures.scatter(delta)
    assert (
        sum(len(trace.x) for trace in fig.data if trace.mode == "markers") == delta["mu_difference"].drop_nulls().len()
    )
    by = delta_figures.by_temperature(delta, 0.01)
    largest = max(y for trace in by.data for y in trace.y)
    assert largest == pytest.approx(100 * (delta["mu_difference"] / delta["mu_a"]).max(), rel=1e-4)


def test_shares_are_drawn_over_their_temperatures(folder):
    fig = delta_figures.of_settings(read(folder / "shares.json", Shares), (60.0, 700.0))
    assert [trace.name for trace in fig.data] == ["reduction.average alone", "reduction.build_up alone", "all together"]
    assert list(fig.data[0].x) == [60.0, 100.0, None] and fig.data[0].y[0] == pytest.approx(3.0)


def test_a_delta_without_stops_says_so(folder):
    (folder / "delta.json").write_text(
        json.dumps(
            {"a": "x", "b": "y", "overview": {"stops": 0}, "comparable": {"answer": "no", "text": "no test has stops"}}
        )
    )
    pl.read_parquet(folder / "delta.parquet").clear().write_parquet(folder / "delta.parquet")
    (folder / "shares.json").unlink()
    (folder / "shares.parquet").unlink()
    delta_page.run(into=folder)
    text = (folder / "delta.html").read_text()
    assert "no test has stops" in text and "No setting differs" in text and "No stop's µ moved" in text


def test_why_no_setting_was_tried_alone_is_said(folder):
    (folder / "shares.json").write_text(json.dumps({"a": "first", "b": "revised", "unusable": "fault of ours"}))
    delta_page.run(into=folder)
    assert "fault of ours" in part((folder / "delta.html").read_text(), "settings")


def test_addresses_of_methods_hold_signs_that_an_address_reads_otherwise(folder):
    delta = json.loads((folder / "delta.json").read_text())
    (folder / "delta.json").write_text(json.dumps(delta | {"a": "at 5%#1", "b": "b"}))
    delta_page.run(into=folder)
    page = (folder / "delta.html").read_text()
    assert page.count('href="../../at%205%25%231/') > 2 and 'href="../../at 5' not in page


def test_no_two_parts_of_the_page_have_one_name(page):
    """A script that looks for its data by a name must not find a section."""
    names = re.findall(r'\sid="([^"]+)"', page)
    assert len(names) == len(set(names))
