"""The index of 1,000 tests in a real browser: worst first, sorted and reduced quickly, whole without its script and in print."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.browser.waiting import quiet, without_scripts
from tests.report import many_tests

NUMBER = 1000
SHOWN = "return [...document.querySelectorAll('#test-table tbody tr:not([hidden])')].map((row) => row.querySelector('[data-is=\"test\"]').textContent)"
STATES = SHOWN.replace("row.querySelector('[data-is=\"test\"]').textContent", "row.dataset.state")
MOST_MB = 2.5
FEW = 100  # tests of the index that the processor time is held against


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return many_tests.page(tmp_path_factory.mktemp("index"), NUMBER)


@pytest.fixture
def opened(browser: Any, page: Path) -> Any:
    browser.get_log("browser")
    browser.get(page.as_uri())
    quiet(browser, 0)
    yield browser
    assert [entry for entry in browser.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")] == []


def put(browser: Any, name: str, value: str) -> None:
    """Set a field of the filters as a user does."""
    script = "const f = document.getElementById('test-filters').elements[arguments[0]]; f.value = arguments[1]; f.dispatchEvent(new Event('input', {bubbles: true}));"
    browser.execute_script(script, name, value)


def cpu(browser: Any) -> float:
    metrics = browser.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]
    return float(next(one["value"] for one in metrics if one["name"] == "TaskDuration"))


def test_worst_first_and_the_rest_on_demand(opened: Any) -> None:
    states = opened.execute_script(STATES)
    assert len(states) == 50
    assert states[:20] == ["unusable"] * 20 and states[20:] == ["problem"] * 30
    opened.execute_script("document.getElementById('more-tests').click()")
    assert len(opened.execute_script(SHOWN)) == NUMBER


def test_filters_leave_the_tests_that_they_name(opened: Any) -> None:
    put(opened, "compound", "Marram 4")
    put(opened, "rig", "south")
    put(opened, "from", "2021-01-01")
    expected = [place for place in range(NUMBER) if place % 9 == 4 and place % 3 == 1 and (place * 7) % 2000 >= 366]
    opened.execute_script("document.getElementById('more-tests').click()")
    assert sorted(opened.execute_script(SHOWN)) == sorted(f"m4-{place:04d}" for place in expected)
    assert (
        opened.execute_script("return document.getElementById('test-count').textContent")
        == f"{len(expected)} of {NUMBER} tests"
    )
    put(opened, "drift", "glazing-like")
    glazed = [place for place in expected if place % many_tests.DRIFTED_EACH == 0]
    assert sorted(opened.execute_script(SHOWN)) == [f"m4-{place:04d}" for place in glazed]
    opened.execute_script("document.querySelector('#test-filters [type=reset]').click()")
    quiet(opened)
    assert opened.execute_script("return document.getElementById('test-count').textContent").startswith(
        f"{NUMBER} tests"
    )


def test_the_heads_and_the_list_sort(opened: Any) -> None:
    put(opened, "sort", "date")
    date = "return [...document.querySelectorAll('#test-table tbody tr:not([hidden]) [data-is=\"date\"]')].map((n) => n.textContent)"
    dates = opened.execute_script(date)
    assert len(set(dates)) > 10 and dates == sorted(dates, reverse=True)
    head = "const head = document.querySelector('[data-sort=\"by-drift\"]'); head.querySelector('button').click(); return head.getAttribute('aria-sort')"
    words = (
        "return [...document.querySelectorAll('#test-table tbody tr:not([hidden])')].map((row) => row.dataset.drift)"
    )
    assert opened.execute_script(head) == "ascending"
    assert set(opened.execute_script(words)) == {"glazing-like"}
    assert opened.execute_script(head) == "descending"
    assert set(opened.execute_script(words)) == {"none"}


def test_a_thousand_tests_weigh_little(page: Path) -> None:
    assert page.stat().st_size / 1e6 < MOST_MB


def opened_and_sorted(browser: Any, page: Path) -> tuple[float, float]:
    """Processor time of the page's thread, s."""
    browser.execute_cdp_cmd("Performance.setTimeDomain", {"timeDomain": "threadTicks"})
    browser.execute_cdp_cmd("Performance.enable", {})
    try:
        browser.get(page.as_uri())
        quiet(browser, 0)
        begun = cpu(browser)
        browser.execute_script("document.querySelector('[data-sort=\"by-window\"] button').click()")
        quiet(browser, 0)
        return begun, cpu(browser) - begun
    finally:
        browser.execute_cdp_cmd("Performance.disable", {})


@pytest.mark.heavy
def test_what_a_thousand_tests_take_grows_no_faster_than_their_number(browser: Any, page: Path, tmp_path: Path) -> None:
    """Ten times the tests: by pairs of tests it would be a hundred times the time. Seconds are in the benchmark of pages."""
    few = opened_and_sorted(browser, many_tests.page(tmp_path, FEW))
    many = opened_and_sorted(browser, page)
    print(
        f"index of {FEW} and of {NUMBER} tests: opened {few[0]:.2f} and {many[0]:.2f} s, sorted {few[1]:.2f} and {many[1]:.2f} s"
    )
    assert 0 < many[0] < 1.5 * NUMBER / FEW * few[0]
    assert many[1] < 1.5 * NUMBER / FEW * few[1]


def test_without_its_script_the_table_is_whole(browser: Any, page: Path) -> None:
    with without_scripts(browser, page.as_uri()):
        rows = browser.find_elements("css selector", "#test-table tbody tr")
        assert len(rows) == NUMBER and rows[-1].is_displayed()
        assert not browser.find_element("id", "test-filters").is_displayed()
        assert not browser.find_element("id", "more-tests").is_displayed()


def test_nothing_is_wider_than_a_narrow_window(browser: Any, page: Path) -> None:
    size = {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        browser.get(page.as_uri())
        quiet(browser, 0)
        assert browser.execute_script("return document.documentElement.scrollWidth") <= 390
        table = "const t = document.getElementById('test-table'); return [t.scrollWidth, t.parentElement.clientWidth]"
        wide, room = browser.execute_script(table)
        assert wide <= room
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_axe_finds_nothing_serious(browser: Any, tmp_path: Path) -> None:
    axe = pytest.importorskip("axe_core_python.selenium")
    browser.get(many_tests.page(tmp_path, 8).as_uri())
    quiet(browser, 0)
    found = axe.Axe().run(browser, options={"resultTypes": ["violations"]})["violations"]
    assert [(one["id"], one["nodes"][0]["html"]) for one in found if one["impact"] in ("serious", "critical")] == []
