"""No control of any page sends data out: every one is tried, and what the page asks for or opens is watched."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from pipeline.cli.guard import guarded
from pipeline.report import delta_page, index_page, render, sheet
from pipeline.results import read_table, write_parquet
from tests.browser.waiting import DRAWN, quiet, until
from tests.report import makers

LINK = "<a href='https://example.invalid/'>here</a>"

# Notes every attempt, also one that the content policy stops before it becomes a request.
WATCH = """
window.attempts = [];
const note = (what, address) => window.attempts.push(what + " " + address);
window.open = (address) => { note("window.open", address); return null; };
window.fetch = (address) => { note("fetch", address.url || address); return Promise.reject(new Error("watched")); };
XMLHttpRequest.prototype.open = function (method, address) { note("request", address); };
navigator.sendBeacon = (address) => { note("beacon", address); return false; };
HTMLFormElement.prototype.submit = function () { note("form", this.action); };
for (const name of ["WebSocket", "EventSource", "Worker", "RTCPeerConnection"]) {
  window[name] = function (address) { note(name, address); };
}
document.addEventListener("submit", (event) => { note("form", event.target.action); event.preventDefault(); }, true);
document.addEventListener("click", (event) => {
  const link = event.target.closest && event.target.closest("a");
  if (!link) { return; }
  const address = link.getAttribute("href") || link.getAttribute("xlink:href") || "";
  const file = new URL(address, document.baseURI);
  if (file.protocol !== "file:" && !link.hasAttribute("download")) { note("link", file.href); }
  if (file.href.split("#")[0] !== document.URL.split("#")[0]) { event.preventDefault(); }  // stay: the rest is to be tried
}, true);
document.addEventListener("securitypolicyviolation", (event) => note("stopped " + event.violatedDirective, event.blockedURI));
"""

# Each control once, as a user would: pressed, or changed; then whatever has come up because of it.
TRY = """
const kinds = "button, a, summary, input, select, textarea, label, area, [role=button], [onclick], [tabindex], [data-stop], .modebar-btn";
const tried = [...document.querySelectorAll(kinds)].filter((node) => !node.dataset.tried);
for (const node of tried) {
  node.dataset.tried = "1";
  for (const kind of ["mouseover", "mousedown", "mouseup", "click"]) {
    node.dispatchEvent(new MouseEvent(kind, {bubbles: true, cancelable: true, view: window}));
  }
  if ("value" in node) {
    for (const kind of ["input", "change"]) { node.dispatchEvent(new Event(kind, {bubbles: true})); }
  }
}
return tried.map((node) => node.dataset.title || node.textContent.trim().slice(0, 30) || node.tagName);
"""


@pytest.fixture(scope="module")
def pages(tmp_path_factory) -> dict[str, Path]:
    """One page of every kind, with links in the texts of users."""
    root = tmp_path_factory.mktemp("pages")
    into = makers.workspace(root)
    made = {"index": into / "index.html"}
    for name, options in (("usable", {"notes": LINK, "batch": LINK}), ("unusable", {"unusable": f"test.yaml: {LINK}"})):
        paths = makers.results_of_test(root, name, **options)
        stops = read_table(paths["into"] / "stops.parquet")
        named = pl.when(pl.col("block") == "check 1").then(pl.lit(LINK)).otherwise("block").alias("block")
        write_parquet(paths["into"] / "stops.parquet", stops.with_columns(named))
        made[name] = makers.page_of_test(paths)
    index_page.run(config=root / "config.yaml", method="first", into=into)
    index_page.draw(config=root / "config.yaml", method="first", into=into)
    arguments = makers.results_of_compound(root, ("m4-a", "m4-b"))
    made["sheet"] = arguments["into"] / "sheet.html"
    sheet.print_html(sheet.made(**arguments), made["sheet"])
    made["delta"] = makers.results_of_delta(root / "results" / "deltas" / "first--revised")
    delta_page.run(into=made["delta"].parent)
    made["fault"] = root / "fault.html"

    def fail() -> None:
        raise RuntimeError(LINK)

    guarded("test_page", LINK, [made["fault"]], fail)
    return made


def tried(browser: Any, page: Path) -> tuple[list[str], list[str]]:
    """Every control of the page pressed: their names, and every attempt to reach or open something elsewhere."""
    browser.execute_cdp_cmd("Browser.setDownloadBehavior", {"behavior": "deny"})
    watch = browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})["identifier"]
    try:
        browser.get_log("performance")
        browser.get(page.as_uri())
        until(browser, f"{page.name}: all figures drawn", DRAWN)
        names = []
        for _ in range(5):  # what a control brings up is tried too
            more = browser.execute_script(TRY)
            names += more
            quiet(browser)
            if not more:
                break
        attempts = browser.execute_script("return window.attempts")
        attempts += [f"window {handle}" for handle in browser.window_handles[1:]]
        messages = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
        asked = [m["params"]["request"]["url"] for m in messages if m["method"] == "Network.requestWillBeSent"]
        assert asked, "the log of requests is empty"
        return names, attempts + [f"request {url}" for url in asked if not url.startswith(("file:", "data:", "blob:"))]
    finally:
        browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", {"identifier": watch})


@pytest.mark.parametrize(
    "name", ["index", pytest.param("usable", marks=pytest.mark.heavy), "unusable", "sheet", "delta", "fault"]
)
def test_no_control_of_a_page_reaches_another_host(browser, pages, name):
    names, attempts = tried(browser, pages[name])
    assert attempts == []
    assert names or name == "fault", "no control was found"
    if name == "usable":
        assert len(names) > 100
        assert {"Zoom in", "Reset axes"} <= set(names)  # the figures' buttons are among them
    assert not {"share", "cloud", "edit", "plotly"} & {word.lower().strip(".") for n in names for word in n.split()}


def test_the_watch_sees_what_it_looks_for(browser, tmp_path):
    page = tmp_path / "page.html"
    page.write_text(
        """<!doctype html><title>x</title><button onclick="window.open('https://example.invalid/a')">open</button>
        <button onclick="fetch('https://example.invalid/b')">fetch</button><a href="https://example.invalid/c">link</a>
        <form action="https://example.invalid/d"><input type="submit"></form>
        <button onclick="document.body.append(Object.assign(new Image(), {src: 'https://example.invalid/e'}))">image</button>"""
    )
    _, attempts = tried(browser, page)
    for letter in "abcde":
        assert any(f"example.invalid/{letter}" in attempt for attempt in attempts), (letter, attempts)


def test_the_library_by_itself_would_send(browser, tmp_path):
    """Its own defaults put a button on every figure that uploads it: the check of the pages would see that."""
    (tmp_path / "plotly.js").write_bytes(render.BUNDLE.read_bytes())
    page = tmp_path / "page.html"
    page.write_text(
        """<!doctype html><title>x</title><script src="plotly.js"></script><div class="plot" id="p"></div>
        <script>Plotly.newPlot("p", [{y: [1, 2]}], {}, {})</script>"""
    )
    names, attempts = tried(browser, page)
    assert any("Share" in name for name in names)
    # The button asks first; its dialogue's buttons are tried as well.
    assert any("plotly.com" in attempt for attempt in attempts), (names, attempts)


@pytest.mark.parametrize("name", ["index", "usable", "unusable", "sheet", "delta", "fault"])
def test_every_page_carries_a_content_policy(pages, name):
    head = pages[name].read_text().split("<title>")[0]
    policy = head.split('Content-Security-Policy" content="')[1].split('"')[0]
    assert "default-src 'none'" in policy and "form-action 'none'" in policy and "base-uri 'none'" in policy
    assert "http" not in policy and "*" not in policy and "unsafe-eval" not in policy
    assert "'unsafe-inline'" not in policy.replace("style-src 'unsafe-inline'", "")


def test_a_script_that_is_not_ours_does_not_run(browser, pages, tmp_path):
    """The policy lets the page's own scripts run by their digests, no other."""
    text = pages["unusable"].read_text()
    hacked = tmp_path / "hacked.html"
    hacked.write_text(
        text.replace("</main>", "<script>window.hacked = 1</script><img src=x onerror='window.hacked = 2'></main>")
    )
    browser.get_log("browser")
    browser.get(hacked.as_uri())
    quiet(browser)
    assert browser.execute_script("return window.hacked") is None
    refused = [
        entry["message"] for entry in browser.get_log("browser") if "Content Security Policy" in entry["message"]
    ]
    assert len(refused) >= 2  # the script and the handler were reached, and both were stopped


def test_the_shared_script_knows_no_server_to_send_to():
    script = render.plotly_script()
    assert 'plotlyServerURL:{valType:"string",dflt:""}' in script
    for address in ("cloud.plotly.com", "chart-studio", "cdn.plot.ly", 'window.open("http', '"https://plotly.com'):
        assert address not in script
