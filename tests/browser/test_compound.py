"""The compound's page in a browser: its points lead to the stop on the test's page, its links to a selection; and every page in the
light and in the dark scheme, narrow and printed."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from pipeline.report import delta_page, index_page, sheet
from tests.browser.waiting import DRAWN, quiet, until
from tests.report import contents, makers

KINDS = ("index", "test", "sheet", "delta")
# The rules over a usual index and test page in the light scheme: test_index.py, test_working_view.py.
LIGHT = [pytest.param(kind, "light", marks=pytest.mark.heavy) for kind in KINDS]
#: the scheme in which a kind of page is held to all rules; in the other to those that look at colours
ALL_RULES_IN = {"index": "light", "test": "light", "sheet": "dark", "delta": "dark"}
OF_COLOURS = {"runOnly": {"type": "rule", "values": ["color-contrast", "link-in-text-block"]}}
IN_SCHEMES = [*LIGHT, *((kind, "dark") for kind in KINDS)]


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    root = tmp_path_factory.mktemp("compound")
    into = makers.workspace(root)
    made = {"index": into / "index.html"}
    for name, batch in (("m4-a", "M4-2406"), ("m4-b", "M4-2409")):
        paths = makers.results_of_test(root, name, batch=batch, glaze=0.045, verdict="glazing-like")
        made["test"] = makers.page_of_test(paths)
    arguments = makers.results_of_compound(
        root, ("m4-a", "m4-b"), friction=contents.full_friction_json(compound="Marram 4")
    )
    made["sheet"] = arguments["into"] / "sheet.html"
    sheet.print_html(sheet.made(**arguments), made["sheet"])
    made["delta"] = makers.results_of_delta(root / "results" / "deltas" / "first--revised")
    delta_page.run(into=made["delta"].parent)
    index_page.run(config=root / "config.yaml", method="first", into=into)
    index_page.draw(config=root / "config.yaml", method="first", into=into)
    return made


@pytest.fixture
def scheme(browser: Any, request: pytest.FixtureRequest) -> Iterator[str]:
    feature = {"name": "prefers-color-scheme", "value": request.param}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": [feature]})
    yield request.param
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "", "features": []})


def opened(browser: Any, page: Path, fragment: str = "") -> Any:
    browser.get("about:blank")
    browser.get_log("browser")
    browser.get(page.as_uri() + fragment)
    quiet(browser, 0)
    return browser


def complaints(browser: Any) -> list[str]:
    return [entry["message"] for entry in browser.get_log("browser") if entry["level"] in ("SEVERE", "WARNING")]


def test_a_point_leads_to_its_stop(browser: Any, pages: dict[str, Path]) -> None:
    opened(browser, pages["sheet"])
    until(
        browser,
        "the plot",
        "const n = document.getElementById('plot-friction_temperature'); return n && n.dataset.ready",
    )
    asked = browser.execute_script(
        "const node = document.getElementById('plot-friction_temperature'), trace = node.data.findIndex((t) => (t.meta || {}).test === 'm4-b');"
        "node.emit('plotly_click', { points: [{ data: node.data[trace], pointIndex: 2 }] }); return node.data[trace].customdata[2]"
    )
    until(
        browser,
        "the test's page",
        "return location.pathname.endsWith('m4-b/test.html') && document.getElementById('drawer')",
    )
    until(browser, "its stop", f"return document.querySelector('#drawer h2').textContent === 'Stop {asked}'")
    assert browser.current_url.endswith(f"#stop-{asked}")


def test_a_figure_leads_to_its_stops_by_links_alone(browser: Any, pages: dict[str, Path]) -> None:
    opened(browser, pages["sheet"])
    browser.execute_script("document.querySelector('#beside a.lead').click()")
    assert browser.current_url.endswith("#behind")
    browser.execute_script(
        "[...document.querySelectorAll('#behind a.way')].find((a) => a.textContent === 'checks').click()"
    )
    until(
        browser,
        "the test's page",
        "return location.hash.startsWith('#select') && document.getElementById('selected-count')",
    )
    counted = until(
        browser,
        "the selection",
        "const t = document.getElementById('selected-count').textContent; return t.includes(' of ') && t",
    )
    checks = makers.stops_of_programme(glaze=0.045).filter(purpose="check")
    assert counted == f"{len(checks)} of {len(makers.stops_of_programme())} stops selected"
    browser.execute_script("location.hash = '#select:purpose=nonsense'")
    until(
        browser,
        "a word",
        "return document.getElementById('selected-count').textContent.includes('There is no purpose')",
    )


@pytest.mark.parametrize(("kind", "scheme"), IN_SCHEMES, indirect=["scheme"])
def test_nothing_serious_against_accessibility_in_either_scheme(
    browser: Any, pages: dict[str, Path], scheme: str, kind: str
) -> None:
    axe = pytest.importorskip("axe_core_python.selenium")
    opened(browser, pages[kind])
    browser.execute_script("for (const n of document.querySelectorAll('details')) { n.open = true; }")
    ground = browser.execute_script("return getComputedStyle(document.body).backgroundColor")
    assert (ground == "rgb(20, 24, 28)") == (scheme == "dark")
    options = {"resultTypes": ["violations"]} | ({} if ALL_RULES_IN[kind] == scheme else OF_COLOURS)
    found = axe.Axe().run(browser, options=options)["violations"]
    assert [
        (one["id"], [n["html"][:120] for n in one["nodes"]][:3])
        for one in found
        if one["impact"] in ("serious", "critical")
    ] == []
    assert complaints(browser) == []


@pytest.mark.parametrize("scheme", ["dark"], indirect=True)
def test_print_is_light_and_no_plot_is_cut(browser: Any, pages: dict[str, Path], scheme: str) -> None:
    opened(browser, pages["sheet"])
    until(browser, "all figures", DRAWN)
    browser.execute_cdp_cmd(
        "Emulation.setEmulatedMedia",
        {"media": "print", "features": [{"name": "prefers-color-scheme", "value": "dark"}]},
    )
    size = {"width": 688, "height": 1000, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    try:
        browser.execute_script("dispatchEvent(new Event('beforeprint'))")
        assert browser.execute_script("return getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
        assert (
            browser.execute_script(
                "return [...document.querySelectorAll('figure')].filter((n) => getComputedStyle(n).filter !== 'none').length"
            )
            == 0
        )
        wide = "return [...document.querySelectorAll('img')].map((n) => n.getBoundingClientRect()).filter((b) => b.right > 690).length"
        assert browser.execute_script(wide) == 0
        assert browser.execute_script("return document.querySelectorAll('details.part:not([open])').length") == 0
        printed = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})["data"])
        assert printed.startswith(b"%PDF")
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_the_first_screen_answers_and_a_narrow_one_has_no_sideways_scroll(browser: Any, pages: dict[str, Path]) -> None:
    size = {"width": 1440, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    try:
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        opened(browser, pages["sheet"])
        bottoms = "return [document.querySelector('.answers table tbody tr'), document.querySelector('.answers figure')].map((n) => n.getBoundingClientRect().bottom)"
        assert max(browser.execute_script(bottoms)) <= 900
        assert browser.execute_script("return document.documentElement.scrollHeight") < 6000
        browser.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride", {**size, "width": 390, "height": 844, "mobile": True}
        )
        opened(browser, pages["sheet"])
        assert browser.execute_script("return document.documentElement.scrollWidth") <= 390
        table = "const t = document.querySelector('#beside table'); return [t.scrollWidth, t.parentElement.clientWidth]"
        wide, room = browser.execute_script(table)
        assert wide <= room
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
