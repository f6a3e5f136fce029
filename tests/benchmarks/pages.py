"""Weight, time and way of the pages in a real browser, before and after they became working views.

    python -m tests.benchmarks.pages [--samples RESULTS] [--write]

Opens, in Debian's Chromium at 1440 by 900, the index of 1,000 invented tests and the page of an invented test of 1,000 stops and,
with `--samples`, index, longest test, compound and delta of finished results of the samples. "Drawn" is the first point of the
first plot (of an index: its table sorted). A click is then made as a user makes it, until the traces of a stop stand, on
whichever page they do. "Usable" is both together. Wall times depend on what else the machine does, the processor time of the
process that draws the page less so. `BEFORE` was measured by this module, or its first form, on pages as they were.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from tests.browser.conftest import start
from tests.browser.test_working_view import long_test
from tests.report import many_tests

REPO = Path(__file__).parents[2]
PAGE = REPO / "docs" / "pages_benchmark.md"
RUNS = 2
WAIT_S = 900
SAMPLE = "m4-2405-c"
PAINT = "performance.getEntriesByName('first-contentful-paint')"
TRACES = "document.querySelector('#stop-traces[data-shown]')"
WATCH = """
window.marks = {};
new MutationObserver(() => { if (!marks.drawn && document.querySelector(`DRAWN`)) { marks.drawn = performance.now(); } })
  .observe(document, {childList: true, subtree: true, HEARD});
"""
#: a plot below the first screen is drawn once a reader comes to it
TO_PLOT = "document.querySelector('.plot')?.scrollIntoView({block: 'nearest'})"
CLASSES = 'attributes: true, attributeFilter: ["class"]'  # only where a class is waited for: a plot changes many


@dataclass(frozen=True)
class Way:
    """How a page is judged: selectors of what has to stand, of what is clicked (None: no click), of the verdict; what is true
    once the click is answered."""

    drawn: str
    clicked: str | None
    verdict: str
    answered: str = TRACES
    axe: bool = True


POINT = "#plot-friction_temperature .scatterlayer path.point"
TO_STOP = "a[href*='#stop-']"
WAYS = {
    "index": Way("#test-table.ready tbody tr", f"#test-table {TO_STOP}", "#test-table"),
    "long index": Way(
        "#test-table.ready tbody tr", "[data-sort='by-window'] button", "#test-table",
        "document.querySelector('[data-sort=by-window][aria-sort=ascending]')", axe=False,
    ),
    "test": Way(POINT, POINT, ".glance"),
    "long test": Way(POINT, POINT, ".glance", axe=False),
    "compound": Way(POINT, POINT, ".answers"),
    "delta": Way(".scatterlayer path.point", TO_STOP, ".verdict"),
}  # fmt: skip


@dataclass(frozen=True)
class Measured:
    """One page: bytes on disk; times (s) from navigation, or from the click; distances in pixels; None: not measured."""

    page: str
    html_mb: float | None = None
    library_mb: float | None = None
    first_paint_s: float | None = None
    drawn_s: float | None = None
    answered_s: float | None = None
    cpu_drawn_s: float | None = None
    cpu_answered_s: float | None = None
    clicks: int | None = None
    verdict_to_plot_px: int | None = None
    verdict_to_trace_px: int | None = None
    page_height_px: int | None = None
    console_errors: int | None = None
    axe_serious: int | None = None


LONG, LONGEST, INDEX, THOUSAND = (
    f"Test {SAMPLE} of the samples, 255 stops", "Test of 1,000 invented stops", "Index of the samples, 9 tests",
    "Index of 1,000 invented tests",
)  # fmt: skip
COMPOUND, DELTA = "Compound Marram 4 of the samples", "Delta of the samples' two methods"

#: pages as they were (two browsers a test, one for the others, the machine as busy as after; of 1,000 stops axe-core came to no end).
#: Clicks, and the pixels from the index, as a reader counted them: from the compound four and more, from the delta no way led to a stop.
BEFORE: tuple[Measured, ...] = (
    Measured(INDEX, 0.01, None, 0.15, 0.05, None, 0.14, None, 3, None, 1000, 1336, 0, 0),
    Measured(COMPOUND, 0.82, None, 0.5, 0.15, None, 0.23, None, 4, None, None, 14764, 0, 0),
    Measured(DELTA, 0.19, 4.82, 3.3, 3.89, None, 1.49, None, None, None, None, 3363, 0, 2),
    Measured(LONG, 1.90, 4.82, 4.85, 10.45, 1.87, 3.06, 0.40, 1, 2572, 12233, 20577, 0, 16),
    Measured(LONGEST, 4.44, 4.82, 4.03, 12.25, 1.26, 3.61, 0.39, 1, 14349, 18545, 24260, 0),
)


def measured(name: str, page: Path, kind: str, count: int = RUNS) -> Measured:
    """Means of fresh browsers, `count` of them (axe-core once)."""
    way = WAYS[kind]
    runs = [_once(page, way, axe=way.axe and run == 0) for run in range(count)]
    library = max((path.stat().st_size for path in _results(page).rglob("plotly*.js")), default=0)
    first = runs[0]
    means = {
        key: round(statistics.mean(getattr(one, key) for one in runs), 2)
        for key in ("first_paint_s", "drawn_s", "answered_s", "cpu_drawn_s", "cpu_answered_s")
        if getattr(first, key) is not None
    }
    sizes = {"html_mb": round(page.stat().st_size / 1e6, 2), "library_mb": round(library / 1e6, 2) or None}
    found = replace(first, page=name, **sizes, **means)
    print(f"{name}: {figures(found)}", file=sys.stderr, flush=True)
    return found


def _results(page: Path) -> Path:
    """The results folder that the page lies in."""
    return next((one for one in page.parents if (one / "assets").is_dir()), page.parent)


def _once(page: Path, way: Way, *, axe: bool) -> Measured:
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        driver = start(Path(profile))
        try:
            return _of(driver, page, way, axe)
        finally:
            driver.quit()


def _of(driver: Any, page: Path, way: Way, axe: bool) -> Measured:
    driver.set_script_timeout(WAIT_S)
    driver.command_executor.client_config.timeout = WAIT_S  # axe-core over a page of many marks, on a busy machine
    size = {"width": 1440, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    watch = {"source": WATCH.replace("DRAWN", way.drawn).replace("HEARD", CLASSES if ".ready" in way.drawn else "")}
    driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", watch)
    time.sleep(1)
    clock = Clock(driver)
    before = clock.now()
    driver.get(page.as_uri())
    driver.execute_script(TO_PLOT)
    _until(driver, "window.marks.drawn")
    cpu_drawn = clock.now() - before
    _until(driver, f"{PAINT}.length")
    seen = {
        "first_paint_s": driver.execute_script(f"return {PAINT}[0].startTime") / 1e3,
        "drawn_s": driver.execute_script("return marks.drawn") / 1e3,
        "page_height_px": driver.execute_script("return document.documentElement.scrollHeight"),
        "verdict_to_plot_px": _apart(driver, way.verdict, "#plot-friction_temperature"),
    }
    errors = _errors(driver)
    answered = _clicked(driver, page, way, clock) if way.clicked else {}
    if axe:
        driver.get(page.as_uri())
        driver.execute_script(TO_PLOT)
        _until(driver, "window.marks.drawn")
        answered["axe_serious"] = _serious(driver)
    return Measured("", cpu_drawn_s=cpu_drawn, **seen, **{"console_errors": errors + _errors(driver), **answered})


def _clicked(driver: Any, page: Path, way: Way, clock: Clock) -> dict[str, Any]:
    """A click with the mouse: the time until it is answered, and how far the answer lies from the verdict where both are on the page."""
    place = driver.execute_script(
        """const all = document.querySelectorAll(arguments[0]); if (!all.length) { return null; }
        const one = all[Math.max(all.length - 3, 0)]; (one.closest(".plot") || one).scrollIntoView({block: "center"});
        const box = one.getBoundingClientRect(); return [box.x + box.width / 2, box.y + box.height / 2];""",
        way.clicked,
    )
    if place is None:
        return {}
    time.sleep(0.5)
    before = clock.now()
    begun = time.monotonic()  # before the press: the browser tells of an event once the page has dealt with it
    for kind in ("mouseMoved", "mousePressed", "mouseReleased"):
        button = "none" if kind == "mouseMoved" else "left"
        event = {"type": kind, "x": place[0], "y": place[1], "button": button, "clickCount": 1}
        driver.execute_cdp_cmd("Input.dispatchMouseEvent", event)
    _until(driver, way.answered)
    found: dict[str, Any] = {"answered_s": time.monotonic() - begun, "cpu_answered_s": clock.now() - before}
    if way.answered == TRACES:
        found["clicks"] = 1
        here = driver.current_url.split("#")[0] == page.as_uri()
        found["verdict_to_trace_px"] = _apart(driver, way.verdict if here else ".glance", "#stop-traces", below=True)
    return found


def _apart(driver: Any, first: str, second: str, *, below: bool = False) -> int | None:
    """Pixels from the top (`below`: from the end) of one element to the top of another; None where either is missing."""
    found = driver.execute_script(
        "const [a, b] = [arguments[0], arguments[1]].map((s) => document.querySelector(s)); if (!a || !b) { return null; }"
        "const [c, d] = [a.getBoundingClientRect(), b.getBoundingClientRect()]; return d.top - (arguments[2] ? c.bottom : c.top);",
        first, second, below,
    )  # fmt: skip
    return None if found is None else max(int(found), 0)


def _errors(driver: Any) -> int:
    return sum(entry["level"] == "SEVERE" for entry in driver.get_log("browser"))


class Clock:
    """Processor time of a browser's processes that draw pages, all their threads, s; of those that have ended too."""

    def __init__(self, driver: Any) -> None:
        self.driver, self.of = driver, dict[int, float]()

    def now(self) -> float:
        """What was spent so far."""
        import psutil

        for one in psutil.Process(self.driver.service.process.pid).children(recursive=True):
            try:
                if "--type=renderer" in " ".join(one.cmdline()):
                    self.of[one.pid] = float(sum(one.cpu_times()[:2]))
            except psutil.NoSuchProcess:
                continue
        return sum(self.of.values())


def _until(driver: Any, condition: str, most_s: float = 180.0) -> None:
    deadline = time.monotonic() + most_s
    while not driver.execute_script(f"return Boolean({condition})"):
        if time.monotonic() > deadline:
            raise TimeoutError(condition)
        time.sleep(0.02)


def _serious(driver: Any) -> int:
    """Nodes that break a serious or critical rule of axe-core."""
    from axe_core_python.selenium import Axe

    found = Axe().run(driver, options={"resultTypes": ["violations"]})["violations"]
    return sum(len(one["nodes"]) for one in found if one["impact"] in ("serious", "critical"))


ROWS = (
    ("page (MB)", "html_mb"), ("plotting library (MB)", "library_mb"), ("first paint, wall (s)", "first_paint_s"),
    ("drawn, wall (s)", "drawn_s"), ("click answered, wall (s)", "answered_s"), ("usable, wall (s)", "usable_s"),
    ("drawn, processor (s)", "cpu_drawn_s"), ("click answered, processor (s)", "cpu_answered_s"),
    ("usable, processor (s)", "cpu_usable_s"), ("clicks from the verdict to a stop's traces", "clicks"),
    ("verdict to first plot (px)", "verdict_to_plot_px"), ("verdict to the traces of that stop (px)", "verdict_to_trace_px"),
    ("height of the page (px)", "page_height_px"), ("console errors", "console_errors"), ("axe: serious nodes", "axe_serious"),
)  # fmt: skip


def figures(one: Measured | None) -> dict[str, Any]:
    """The figures by key, with what makes a page usable: first plot drawn and a click answered."""
    if one is None:
        return {}
    found: dict[str, Any] = {key: value for key, value in asdict(one).items() if value is not None}
    for key, parts in (("usable_s", ("drawn_s", "answered_s")), ("cpu_usable_s", ("cpu_drawn_s", "cpu_answered_s"))):
        if all(part in found for part in parts):
            found[key] = round(sum(found[part] for part in parts), 2)
    return found


def table(after: list[Measured], runs: int) -> str:
    """The page of docs: before and after side by side."""
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    longest = figures(next(one for one in after if one.page == LONGEST))
    lines = [
        "# Weight, time and way of the pages\n",
        f"By `python -m tests.benchmarks.pages --samples RESULTS --write`; means over fresh browsers ({runs} a page) at 1440 by 900 on two cores. Load of the",
        f"machine while the figures after were taken: {load}; where it is above a few tenths, wall times are upper limits. Processor times are those",
        "of all threads of the processes that draw pages. Before: the pages before they became working views, with all traces inside.\n",
        f"The page of 1,000 invented stops has {longest['html_mb']} MB (aim: at most 3 besides plotting library and traces); its first text stands after",
        f"{longest['first_paint_s']} s, and {longest['cpu_drawn_s']} s of processor time draw its first plot. Usable, which is its first plot drawn and a click answered by",
        f"the stop's traces, it is after {longest['usable_s']} s on the clock and {longest['cpu_usable_s']} s of processor time (aim: 1 s on two idle cores).\n",
    ]
    for one in after:
        old, new = figures(next((before for before in BEFORE if before.page == one.page), None)), figures(one)
        lines += [f"## {one.page}\n", "| | before | after |", "|---|---|---|"]
        lines += [
            f"| {words} | {old.get(key, '–')} | {new.get(key, '–')} |"
            for words, key in ROWS
            if key in old or key in new
        ]
        lines.append("")
    lines += [
        "From index, compound and delta the click leads to the test's page, which opens with the stop; its time holds the opening of that page.",
        "On a test's page the traces stand beside the plots with the verdict in sight; before, they lay as far below as the table says and the page",
        "did not go there. Of the index of 1,000 tests the click sorts the table.",
    ]
    return "\n".join(lines) + "\n"


def of_samples(results: Path) -> Iterator[tuple[str, Path, str]]:
    """(name, page, kind) of the pages of finished results."""
    for name, pattern, kind in (
        (INDEX, "first/index.html", "index"), (LONG, f"first/tests/{SAMPLE}/test.html", "test"),
        (COMPOUND, "first/compounds/marram-4/sheet.html", "compound"), (DELTA, "deltas/*/delta.html", "delta"),
    ):  # fmt: skip
        yield from ((name, page, kind) for page in sorted(results.resolve().glob(pattern))[:1])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--samples", type=Path, help="finished results of the samples")
    parser.add_argument("--write", action="store_true", help=f"renew {PAGE.relative_to(REPO)}")
    parser.add_argument("--runs", type=int, default=RUNS, help="browsers a page")
    asked = parser.parse_args()
    after = [measured(*one, asked.runs) for one in (of_samples(asked.samples) if asked.samples else ())]
    with tempfile.TemporaryDirectory() as room:
        after.append(measured(THOUSAND, many_tests.page(Path(room) / "index", 1000), "long index", asked.runs))
        after.append(measured(LONGEST, long_test(Path(room) / "test"), "long test", asked.runs))
    text = table(after, asked.runs)
    print(text)
    if asked.write:
        PAGE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
