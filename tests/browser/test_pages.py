"""The pages in a real browser, from disk: drawn, complete, silent on the console, and without a single network request."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl
import pytest

from pipeline.report import delta_page, render, sheet
from tests.browser.waiting import DRAWN, THESE_DRAWN, quiet, until
from tests.report import makers

HOSTILE = "\"<script>window.hacked = 1</script><img src=x onerror='window.hacked = 2'>\""


@pytest.fixture(scope="module")
def pages(tmp_path_factory) -> dict[str, Path]:
    root = tmp_path_factory.mktemp("pages")
    made = {}
    for name, options in (
        ("usable", {"glaze": 0.045, "verdict": "glazing-like", "notes": HOSTILE, "batch": HOSTILE}),
        ("unusable", {"unusable": "test.yaml: inertia: missing; this key is needed"}),
    ):
        paths = makers.results_of_test(root, name, **options)
        made[name] = makers.page_of_test(paths)
    arguments = makers.results_of_compound(root, ("m4-a", "m4-b"))
    made["sheet"] = arguments["into"] / "sheet.html"
    sheet.print_html(sheet.made(**arguments), made["sheet"])
    made["delta"] = makers.results_of_delta(root / "results" / "deltas" / "first--revised", traces=True)
    delta_page.run(into=made["delta"].parent)
    return made


def opened(browser, page: Path, figures=None) -> list[str]:
    """Open a page from disk, look at each of its plots (or these) until it stands, and return what the console says."""
    browser.get_log("browser")
    browser.get_log("performance")
    browser.get(page.as_uri())
    until(browser, f"{page.name}: figures drawn", DRAWN if figures is None else THESE_DRAWN, figures)
    quiet(browser, 0)
    browser.execute_script("scrollTo(0, 0)")
    return [entry["message"] for entry in browser.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")]


def requested(browser) -> list[str]:
    """Addresses that the page asked for."""
    messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    return [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]


def widths(browser):
    return browser.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")


@pytest.fixture(scope="module")
def visited(browser, pages) -> dict[str, dict]:
    """What one look at each page found; to draw a page again for every question takes longer than all the answers."""
    found = {}
    for name, page in pages.items():
        complaints = opened(browser, page)
        found[name] = browser.execute_script(LOOK) | {"complaints": complaints, "addresses": requested(browser)}
        quiet(browser)
        found[name]["widths"] = widths(browser)
    return found


LOOK = """
const tables = [...document.querySelectorAll("table")];
return {
  plots: [...document.querySelectorAll(".plot")].map((n) => [n.dataset.figure, n.querySelectorAll(".main-svg").length, n.offsetWidth]),
  kinds: [...document.querySelectorAll(".plot")].flatMap((n) => n._fullData.map((t, at) => [t.type, n.data[at].type])),
  lang: document.documentElement.lang,
  title: document.title,
  viewport: document.querySelector("meta[name=viewport]") !== null,
  tables: tables.length,
  bare: tables.filter((t) => t.rows.length && !t.querySelector("th")).length,
  hacked: window.hacked,
  text: document.body.innerText,
};
"""


@pytest.mark.parametrize("name", ["usable", "unusable", "sheet", "delta"])
def test_a_page_opens_from_disk_quietly_and_offline(visited, name):
    assert visited[name]["complaints"] == []
    addresses = visited[name]["addresses"]
    assert addresses, "the log of requests is empty"
    assert all(address.startswith(("file:", "data:", "blob:")) for address in addresses)


def test_all_plots_of_a_test_are_drawn(visited):
    plots = visited["usable"]["plots"]
    assert {name for name, _, _ in plots} >= {
        "friction_temperature",
        "friction_energy",
        "in_stop_time",
        "time_order",
        "wear_intervals",
        "drift",
        "surface_0",
    }
    assert all(drawn > 0 and width > 250 for _, drawn, width in plots)
    kinds = visited["usable"]["kinds"]
    assert {asked for _, asked in kinds} == {"scatter", "bar", "contour", "heatmap"}
    assert all(drawn == asked for drawn, asked in kinds)  # an unknown kind would have been drawn as points


def test_every_table_has_heads_and_the_page_its_language_and_title(visited):
    for name in ("usable", "unusable", "sheet", "delta"):
        page = visited[name]
        assert page["lang"] == "en" and page["title"] and page["viewport"]
        assert page["bare"] == 0 and page["tables"] > 1


def test_user_text_is_text(visited):
    assert visited["usable"]["hacked"] is None
    assert "<script>window.hacked" in visited["usable"]["text"]


def trace_shown(browser, stop):
    """Wait until the drawer has drawn the stop's traces; the curve of the disc's temperature."""
    drawn = "return document.getElementById('stop-traces').dataset.shown === String(arguments[0])"
    until(browser, f"traces of stop {stop}", drawn, stop)
    curves = browser.execute_script("return document.getElementById('stop-traces').data.map((t) => [t.meta, t.y])")
    return next(y for meta, y in curves if meta == {"of": "conditioned", "column": "disc_temperature_c"})


def expected_trace(stop):
    traces = makers.traces_of(makers.stops_of_programme(glaze=0.045))
    return traces.filter(pl.col("stop") == stop)["disc_temperature_c"].to_list()


def test_a_click_on_a_finding_shows_that_stop(browser, pages):
    opened(browser, pages["usable"], [])
    browser.execute_script("document.querySelector('[data-stop=\"40\"]').click()")
    assert trace_shown(browser, 40) == pytest.approx(expected_trace(40), rel=1e-3)
    assert browser.current_url.endswith("#stop-40")
    said = browser.execute_script("return document.getElementById('drawer').innerText")
    assert "torque has 3 spikes" in said and "look at the connector" in said and "suspect" in said


def clicked(browser, name, place):
    """Click a drawn mark of a figure at its middle, as a mouse does; returns the stop that the page then shows."""
    from selenium.webdriver import ActionChains

    browser.execute_script(f"document.getElementById('plot-{name}').scrollIntoView({{block: 'center'}})")
    quiet(browser)  # figures beside it are drawn and move it no more
    mark = browser.execute_script(
        """
        const plot = document.getElementById("plot-" + arguments[0]);
        plot.scrollIntoView({block: "center"});
        return plot.querySelectorAll(".bars .point path, .scatter path.point")[arguments[1]];
        """,
        name,
        place,
    )
    ActionChains(browser).move_to_element(mark).perform()
    shown = "return document.querySelector('#plot-' + arguments[0] + ' .hovertext') !== null"
    until(browser, f"{name}: the mark's text under the pointer", shown, name)
    ActionChains(browser).click().perform()
    quiet(browser)
    return browser.execute_script("return document.getElementById('stop-number').value")


@pytest.mark.heavy
def test_a_click_on_a_bar_of_many_stops_opens_no_stop(browser, pages):
    """The bar's first figure is a loss in micrometres, which is no stop number."""
    opened(browser, pages["usable"], ["wear_intervals"])
    browser.execute_script("document.querySelector('[data-stop=\"40\"]').click()")
    listen = "document.getElementById('plot-wear_intervals').on('plotly_click', () => { window.heard = 1 + (window.heard || 0); })"
    browser.execute_script(listen)
    for heard, place in enumerate((0, 2), 1):
        assert clicked(browser, "wear_intervals", place) == "40"
        assert browser.execute_script("return window.heard") == heard


def test_a_click_on_a_point_opens_its_stop(browser, pages):
    names = ["energy_balance", "friction_temperature", "friction_pressure"]
    opened(browser, pages["usable"], names)
    for name in names:
        stop = clicked(browser, name, 3)
        assert trace_shown(browser, stop) == pytest.approx(expected_trace(int(stop)), rel=1e-3)
        said = browser.execute_script(
            "return [...document.querySelectorAll('#plot-' + arguments[0] + ' .hovertext')].map((n) => n.textContent)",
            name,
        )
        assert any(text.startswith(f"stop {stop}") for text in said), (name, stop, said)


def test_without_the_shared_script_the_page_says_so(browser, pages, tmp_path):
    alone = tmp_path / "test.html"
    alone.write_text(pages["usable"].read_text())
    browser.get(alone.as_uri())
    said = "return document.querySelector('.plot').textContent.includes('assets/')"
    until(browser, "the plot says what it needs", said)
    until(browser, "the table", "return document.getElementById('stop-table') !== null")
    browser.execute_script("document.querySelector('[data-row=\"40\"]').click()")
    said = "const t = document.getElementById('drawer').innerText; return t.includes('Stop 40') && t.includes('traces/04.js')"
    until(browser, "the drawer says which file it needs", said)
    browser.get_log("browser")


@pytest.mark.parametrize("name", ["usable", "sheet", "delta"])
def test_nothing_is_wider_than_the_window(visited, name):
    """No sideways scrolling of the page itself on a desk."""
    wide, inner = visited[name]["widths"]
    assert wide <= inner + 1


# The sheet in a window still narrower, its plots not drawn: test_compound.py.
@pytest.mark.parametrize("name", ["usable", pytest.param("sheet", marks=pytest.mark.heavy), "delta"])
def test_nothing_is_wider_than_a_small_window(browser, pages, name):
    try:
        browser.set_window_size(420, 900)
        opened(browser, pages[name])
        quiet(browser)
        wide, inner = widths(browser)
        assert wide <= inner + 1
    finally:
        browser.set_window_size(1280, 1000)


def test_a_page_prints(browser, pages):
    """The print has pages, and as many as a reader would still carry."""
    import base64

    opened(browser, pages["sheet"])
    printed = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})["data"])
    assert printed.startswith(b"%PDF")
    assert 2 <= printed.count(b"/Type /Page\n") + printed.count(b"/Type /Page ") <= 16


def test_all_pages_share_one_script(pages):
    results = pages["usable"].parents[3]
    assert [path.name for path in results.rglob("plotly*.js")] == [render.plotly_file(results).name]


def test_a_delta_made_by_hand_is_written(pages):
    text = pages["delta"].read_text()
    assert "1 verdict changed" in text
    assert "reduction.average" in text
