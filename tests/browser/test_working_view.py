"""The test page as one working view: selection, drawer, address, table and keyboard, in a browser.

Of 250 stops by default; all of it with 1,000 stops is heavy.
"""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from selenium.webdriver import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from pipeline.results import write_json, write_parquet
from tests.browser.waiting import DRAWN, quiet, without_scripts
from tests.browser.waiting import until as until_script
from tests.report import makers
from tests.report.drawn import stops_of

STOPS = 1000
LINKED = ("friction_temperature", "time_order", "friction_energy", "friction_pressure", "friction_speed")


def long_test(root: Path, count: int = STOPS) -> Path:
    """The page of an invented test of so many stops, with 80 points of each stop's trace."""
    paths = makers.results_of_test(root, "m4-long", glaze=0.03, verdict="glazing-like")
    stops = stops_of(count, 1, frozenset())
    files = makers.contents_of(stops)
    for name in ("summary", "friction", "wear", "drift"):
        write_json(paths["into"] / f"{name}.json", files[name])
    write_parquet(paths["into"] / "stops.parquet", stops)
    whole = stops.with_columns(pl.col("mu_start", "mu_end").fill_null(0.3))
    write_parquet(paths["into"] / "traces.parquet", makers.traces_of(whole, 80))
    return makers.page_of_test(paths)


@pytest.fixture(scope="module", params=[pytest.param(STOPS, marks=pytest.mark.heavy), 250])
def count(request: pytest.FixtureRequest) -> int:
    return int(request.param)


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory, count: int) -> Path:
    return long_test(tmp_path_factory.mktemp("long"), count)


@pytest.fixture
def view(browser: Any, page: Path) -> Any:
    """The page opened anew, its first plot drawn."""
    return opened(browser, page.as_uri())


def opened(browser: Any, address: str) -> Any:
    browser.get("about:blank")
    browser.get_log("browser")
    browser.get(address)
    until(browser, "document.querySelector('#plot-friction_temperature .main-svg')")
    until(browser, "document.getElementById('stop-table')")
    return browser


def until(browser: Any, condition: str) -> Any:
    return until_script(browser, condition, f"return {condition}")


def complaints(browser: Any) -> list[str]:
    return [entry["message"] for entry in browser.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")]


def chosen(browser: Any) -> str:
    return browser.execute_script(
        "const d = document.getElementById('drawer'); return d.hidden ? '' : d.querySelector('h2').textContent"
    )


def rows_shown(browser: Any) -> list[int]:
    return browser.execute_script(
        "return [...document.querySelectorAll('#stop-table tbody tr')].filter((r) => !r.hidden).map((r) => Number(r.dataset.row))"
    )


@pytest.fixture
def stops(count: int) -> pl.DataFrame:
    return stops_of(count, 1, frozenset())


def test_the_page_is_small_and_its_first_screen_answers(browser, page):
    assert page.stat().st_size < 3_000_000
    try:
        browser.set_window_rect(0, 0, 1440, 900)
        browser.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": 1440, "height": 900, "deviceScaleFactor": 1, "mobile": False},
        )
        opened(browser, page.as_uri())
        tops = browser.execute_script(
            "return [...document.querySelectorAll('.glance'), document.getElementById('plot-friction_temperature')]"
            ".map((n) => n.getBoundingClientRect().bottom)"
        )
        assert len(tops) == 6 and max(tops) <= 900
        assert browser.execute_script("return document.documentElement.scrollWidth") <= 1440
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
        browser.set_window_size(1280, 1000)


def test_the_address_opens_a_stop_and_follows_the_chosen_one(browser, page):
    opened(browser, page.as_uri() + "#stop-78")
    assert chosen(browser) == "Stop 78"
    until(browser, "document.getElementById('stop-traces').dataset.shown === '78'")
    assert browser.execute_script("return scrollY") == 0
    browser.find_element(By.CSS_SELECTOR, "[data-part=next]").click()
    assert chosen(browser) == "Stop 79" and browser.current_url.endswith("#stop-79")
    browser.execute_script("location.hash = '#stop-240'")
    until(browser, "document.getElementById('stop-traces').dataset.shown === '240'")
    assert complaints(browser) == []


def test_a_stop_that_does_not_exist_is_said_to_be_none(browser, page):
    opened(browser, page.as_uri() + "#stop-1234")
    assert chosen(browser) == ""
    assert "no stop 1234" in browser.execute_script("return document.getElementById('selected-count').textContent")


def test_keys_move_open_and_close(view):
    body = view.find_element(By.TAG_NAME, "body")
    row = view.find_element(By.CSS_SELECTOR, "#stop-table tr[data-row='1']")
    view.execute_script("arguments[0].focus()", row)
    row.send_keys(Keys.ARROW_DOWN)
    view.switch_to.active_element.send_keys(Keys.ENTER)
    assert chosen(view) == "Stop 2"
    body.send_keys(Keys.ARROW_RIGHT)
    body.send_keys(Keys.ARROW_RIGHT)
    body.send_keys(Keys.ARROW_LEFT)
    assert chosen(view) == "Stop 3"
    body.send_keys(Keys.ESCAPE)
    assert chosen(view) == "" and "#" not in view.current_url
    assert view.execute_script("return document.activeElement.dataset.row") == "2"
    assert view.execute_script("return document.querySelectorAll('#stop-table tbody tr[tabindex=\"0\"]').length") == 1


def test_the_chosen_stop_is_ringed_in_every_plot(view, stops):
    until_script(view, "all figures drawn", DRAWN)
    whole = stops.filter(pl.all_horizontal(pl.col("mu", "temperature_initial_c", "pressure_bar").is_not_null()))
    stop = whole["stop"][40]
    view.execute_script("document.querySelector(`[data-row='${arguments[0]}']`).click()", stop)
    for name, column in zip(LINKED, ("temperature_initial_c", None, "energy_density_j_mm2", "pressure_bar", "speed_start_rpm"), strict=True):  # fmt: skip
        rings = f"[...document.querySelectorAll('#plot-{name} .ring')]"
        until(view, f"{rings}.length")
        x, y, apart = view.execute_script(RINGED.replace("RINGS", rings), f"plot-{name}", stop)
        row = whole.filter(pl.col("stop") == stop)
        assert x[0] == pytest.approx(row[column][0] if column else stop, rel=1e-4)
        assert y[-1] == pytest.approx(row["mu"][0], rel=1e-4)
        assert apart < 2.0, name
    until(view, "document.querySelector('#plot-drift .ring')")


#: places of the rings, and how far (px) the nearest of them lies from the stop's drawn point
RINGED = """
const node = document.getElementById(arguments[0]), rings = RINGS, middle = (n) => { const b = n.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; };
const points = [...node.querySelectorAll(".scatterlayer path.point")].filter((n) => n.__data__.i !== undefined && stopsheet.linked.stopsOf(n.parentNode.parentNode.__data__[0].trace)?.[n.__data__.i] === arguments[1]);
const places = rings.map(middle), own = points.map(middle);
return [rings.map((n) => Number(n.dataset.x)), rings.map((n) => Number(n.dataset.y)), Math.max(...places.map(([x, y]) => Math.min(...own.map(([a, b]) => Math.hypot(a - x, b - y)))))];
"""


def test_one_selection_holds_plots_and_table_together(view, stops):
    table = stops
    view.find_element(By.CSS_SELECTOR, "[data-purpose=fade]").click()
    fade = table.filter(pl.col("purpose") == "fade")["stop"].to_list()
    assert rows_shown(view) == fade
    drawn = """
        const node = document.getElementById("plot-friction_temperature"), found = [];
        for (const trace of node.data) {
          if (trace.meta && trace.meta.stops) { trace.selectedpoints.forEach((place) => found.push(trace.meta.stops[place])); }
        }
        return found.sort((a, b) => a - b);
    """
    known = table.filter(
        pl.all_horizontal(pl.col("mu", "temperature_initial_c").is_not_null()) & (pl.col("purpose") == "fade")
    )
    assert view.execute_script(drawn) == known["stop"].to_list()
    view.execute_script("document.querySelector(`[data-row='${arguments[0]}']`).click()", fade[-1])
    assert view.execute_script("return document.querySelector('[data-part=next]').disabled")
    view.find_element(By.CSS_SELECTOR, "[data-part=previous]").click()
    assert chosen(view) == f"Stop {fade[-2]}"
    view.find_element(By.ID, "clear-selection").click()
    assert len(rows_shown(view)) == len(stops)
    view.execute_script(
        "const s = document.querySelector('select[name=findings]'); s.value = 'spike'; s.dispatchEvent(new Event('change'))"
    )
    assert rows_shown(view) == table.filter(pl.col("findings").list.contains("spike"))["stop"].to_list()


def test_a_box_selects_in_every_plot(view, stops):
    plot = view.find_element(By.ID, "plot-friction_temperature")
    view.execute_script("arguments[0].scrollIntoView({block: 'center'})", plot)
    drag = plot.find_element(By.CSS_SELECTOR, ".nsewdrag")
    width, height = drag.size["width"], drag.size["height"]
    moves = ActionChains(view).move_to_element_with_offset(drag, -width // 2 + 3, -height // 2 + 3).click_and_hold()
    moves.move_by_offset(width // 4, height // 2).move_by_offset(width // 6, height // 2 - 8).release().perform()
    quiet(view)  # what the box holds is told while it is drawn, too
    count = until(view, "(/^(\\d+) of/.exec(document.getElementById('selected-count').textContent) || [])[1]")
    assert 0 < int(count) < len(stops)
    shown = rows_shown(view)
    assert len(shown) == int(count)
    x = view.execute_script("return document.getElementById('plot-friction_temperature').layout.selections[0]")
    inside = stops.filter(
        pl.col("temperature_initial_c").is_between(min(x["x0"], x["x1"]), max(x["x0"], x["x1"]))
        & pl.col("mu").is_between(min(x["y0"], x["y1"]), max(x["y0"], x["y1"]))
    )
    assert set(shown) == set(inside["stop"])


def test_the_table_sorts_both_ways_with_gaps_last(view, stops):
    head = view.find_element(By.CSS_SELECTOR, "th[data-sort=mu] button")
    given = stops.with_columns(pl.col("mu").round_sig_figs(5))
    table = given.sort("mu", "stop", nulls_last=True)
    view.execute_script("arguments[0].scrollIntoView({block: 'center'})", head)
    head.click()
    assert rows_shown(view) == table["stop"].to_list()
    head.click()
    table = given.sort("mu", "stop", descending=[True, False], nulls_last=True)
    assert rows_shown(view) == table["stop"].to_list()
    assert view.find_element(By.CSS_SELECTOR, "th[data-sort=mu]").get_attribute("aria-sort") == "descending"


def test_nothing_is_cut_in_print(view):
    """Still pictures stand in for the plots, every folded part is open, and nothing is wider than the paper."""
    import re

    printed = base64.b64decode(view.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})["data"])
    assert len(re.findall(rb"/Type /Page\b", printed)) > 5
    view.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        view.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": 688, "height": 1000, "deviceScaleFactor": 1, "mobile": False},
        )
        view.execute_script("dispatchEvent(new Event('beforeprint'))")
        wide = view.execute_script(
            "if (document.querySelector('figure noscript')) { return -1; }"
            "return [...document.querySelectorAll('.still')].map((n) => n.getBoundingClientRect())"
            ".filter((b) => b.width > 690 || b.right > 690 || b.width < 100).length"
        )
        assert wide == 0
        seen = view.execute_script(
            "return [...document.querySelectorAll('.plot')].filter((n) => getComputedStyle(n).display !== 'none').length"
        )
        assert seen == 0
        assert view.execute_script("return document.querySelectorAll('details.part:not([open])').length") == 0
        assert view.execute_script("return document.documentElement.scrollWidth") <= 690
    finally:
        view.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
        view.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_without_scripts_the_page_has_pictures_and_its_table(browser, page):
    with without_scripts(browser, page.as_uri()):
        text = browser.find_element(By.ID, "stop-table").get_attribute("textContent")
        assert "valley duty" in text
        (box,) = [
            n
            for n in browser.find_elements(By.CSS_SELECTOR, ".still")
            if "disc temperature, with" in n.get_attribute("alt")
        ]
        assert box.is_displayed() and box.size["width"] > 300
        assert not browser.find_element(By.ID, "filters").is_displayed()
        assert not browser.find_element(By.ID, "drawer").is_displayed()


@pytest.mark.parametrize("stops", [12, pytest.param(60, marks=pytest.mark.heavy)])
def test_nothing_serious_against_accessibility(browser, tmp_path, stops):
    """axe-core's rules (WCAG 2 A and AA among them) over the page of a test, a stop open."""
    from axe_core_python.selenium import Axe

    page = long_test(tmp_path, stops)
    opened(browser, page.as_uri() + "#stop-7")
    until(browser, "document.getElementById('stop-traces').dataset.shown === '7'")
    browser.execute_script("for (const n of document.querySelectorAll('details')) { n.open = true; }")
    found = Axe().run(browser, options={"resultTypes": ["violations"]})["violations"]
    assert [
        (one["id"], [n["html"][:120] for n in one["nodes"]][:3])
        for one in found
        if one["impact"] in ("serious", "critical")
    ] == []
