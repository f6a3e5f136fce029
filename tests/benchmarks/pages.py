"""Weight and time of test pages in a real browser, before and after they became one working view.

    python -m tests.benchmarks.pages [--samples RESULTS] [--write]

Opens the page of an invented test of 1,000 stops and, with `--samples`, the longest test of finished results of the
samples, in Debian's Chromium at 1440 by 900. "Drawn" is the first point of the first plot; "answered" the picture of a
clicked stop's traces. Wall times depend on what else the machine does, the processor time of the process that draws the
page less so. `BEFORE` was measured by this module on the pages as they were, on the same machine.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from tests.browser.conftest import start
from tests.browser.test_working_view import long_test

REPO = Path(__file__).parents[2]
PAGE = REPO / "docs" / "pages_benchmark.md"
RUNS = 2
SAMPLE = "m4-2405-c"
POINT = "#plot-friction_temperature .scatterlayer path.point"
TRACE = "#stop-traces"
ANSWERED = "document.querySelector('#stop-traces[data-shown]')"
WATCH = """
window.marks = {};
new MutationObserver(() => { if (!marks.drawn && document.querySelector("POINT")) { marks.drawn = performance.now(); } })
  .observe(document, {childList: true, subtree: true});
addEventListener("mousedown", () => { marks.asked = performance.now(); }, true);
""".replace("POINT", POINT)


@dataclass(frozen=True)
class Measured:
    """One page: bytes on disk; times (s) from navigation, or from the click; distances in pixels."""

    page: str
    html_mb: float
    library_mb: float
    first_paint_s: float
    drawn_s: float
    answered_s: float
    cpu_drawn_s: float
    cpu_answered_s: float
    verdict_to_plot_px: int
    verdict_to_trace_px: int
    page_height_px: int
    console_errors: int
    axe_serious: int | None


#: as measured before (two browsers each, on the machine as busy as after); of 1,000 stops axe-core came to no end
BEFORE: tuple[Measured, ...] = (
    Measured(
        f"{SAMPLE} of the samples, 255 stops", 1.90, 4.82, 4.85, 10.45, 1.87, 3.06, 0.40, 2572, 12233, 20577, 0, 16
    ),
    Measured("1,000 invented stops", 4.44, 4.82, 4.03, 12.25, 1.26, 3.61, 0.39, 14349, 18545, 24260, 0, None),
)


def measured(
    name: str, page: Path, *, answered: str = ANSWERED, trace: str = TRACE, verdict: str = ".glance", axe: bool = True
) -> Measured:
    """Medians over fresh browsers (of two: their mean); without `axe` its row is left out (it takes minutes over 20,000 elements)."""
    runs = [_once(page, answered, trace, verdict, axe and run == 0) for run in range(RUNS)]
    library = max(path.stat().st_size for path in page.parents[3].rglob("plotly*.js"))
    median = {key: statistics.median(run[key] for run in runs) for key in runs[0]}
    median["axe_serious"] = runs[0]["axe_serious"]
    whole = {key: int(median.pop(key)) for key in ("verdict_to_plot_px", "verdict_to_trace_px", "page_height_px", "console_errors", "axe_serious")}  # fmt: skip
    whole["axe_serious"] = whole["axe_serious"] if axe else None
    times = {key: round(value, 2) for key, value in median.items()}
    return Measured(name, round(page.stat().st_size / 1e6, 2), round(library / 1e6, 2), **times, **whole)


def _once(page: Path, answered: str, trace: str, verdict: str, axe: bool) -> dict[str, float]:
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        driver = start(Path(profile))
        try:
            return _of(driver, page, answered, trace, verdict, axe)
        finally:
            driver.quit()


def _of(driver: Any, page: Path, answered: str, trace: str, verdict: str, axe: bool) -> dict[str, float]:
    driver.set_script_timeout(300)
    driver.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride", {"width": 1440, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    )
    driver.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": WATCH})
    time.sleep(1)
    before = _cpu(driver)
    driver.get(page.as_uri())
    _until(driver, "window.marks.drawn")
    cpu_drawn = _cpu(driver) - before
    tops = driver.execute_script(
        "return [arguments[0], '#plot-friction_temperature'].map((s) => document.querySelector(s).getBoundingClientRect().top + scrollY)",
        verdict,
    )
    height = driver.execute_script("return document.documentElement.scrollHeight")
    x, y = driver.execute_script(
        f"""const points = document.querySelectorAll("{POINT}"); points[0].closest(".plot").scrollIntoView({{block: "center"}});
        const box = points[Math.max(points.length - 3, 0)].getBoundingClientRect(); return [box.x + box.width / 2, box.y + box.height / 2];"""
    )
    time.sleep(0.5)
    before = _cpu(driver)
    for kind in ("mouseMoved", "mousePressed", "mouseReleased"):
        button = "none" if kind == "mouseMoved" else "left"
        driver.execute_cdp_cmd(
            "Input.dispatchMouseEvent", {"type": kind, "x": x, "y": y, "button": button, "clickCount": 1}
        )
        time.sleep(0.1)
    _until(driver, answered)
    now, asked = driver.execute_script("return [performance.now(), marks.asked]")
    cpu_answered = _cpu(driver) - before
    spots = driver.execute_script(
        "return arguments[0].map((s) => { const b = document.querySelector(s).getBoundingClientRect(); return [b.top + scrollY, b.bottom + scrollY]; })",
        [verdict, trace],
    )
    paint = driver.execute_script("return performance.getEntriesByName('first-contentful-paint')[0].startTime")
    drawn = driver.execute_script("return marks.drawn")
    errors = sum(entry["level"] == "SEVERE" for entry in driver.get_log("browser"))
    return {
        "first_paint_s": paint / 1e3, "drawn_s": drawn / 1e3, "answered_s": (now - asked) / 1e3,
        "cpu_drawn_s": cpu_drawn, "cpu_answered_s": cpu_answered, "verdict_to_plot_px": tops[1] - tops[0],
        "verdict_to_trace_px": max(spots[1][0] - spots[0][1], 0), "page_height_px": height, "console_errors": errors,
        "axe_serious": _serious(driver) if axe else -1,
    }  # fmt: skip


def _cpu(driver: Any) -> float:
    """Processor time of the process that draws the page so far, all its threads, s."""
    import psutil

    every = psutil.Process(driver.service.process.pid).children(recursive=True)
    drawing = [one for one in every if "--type=renderer" in " ".join(one.cmdline())]
    return max(float(sum(one.cpu_times()[:2])) for one in drawing)


def _until(driver: Any, condition: str, most_s: float = 120.0) -> None:
    deadline = time.monotonic() + most_s
    while not driver.execute_script(f"return Boolean({condition})"):
        if time.monotonic() > deadline:
            raise TimeoutError(condition)
        time.sleep(0.02)


def _serious(driver: Any) -> int:
    """Nodes that break a serious or critical rule of axe-core."""
    from axe_core_python.selenium import Axe

    found = Axe().run(driver)["violations"]
    return sum(len(one["nodes"]) for one in found if one["impact"] in ("serious", "critical"))


ROWS = (
    ("page (MB)", "html_mb"), ("plotting library (MB)", "library_mb"), ("first paint, wall (s)", "first_paint_s"),
    ("first plot drawn, wall (s)", "drawn_s"), ("click to traces, wall (s)", "answered_s"),
    ("first plot drawn, processor (s)", "cpu_drawn_s"), ("click to traces, processor (s)", "cpu_answered_s"),
    ("verdict to first plot (px)", "verdict_to_plot_px"), ("verdict to the traces of a clicked stop (px)", "verdict_to_trace_px"),
    ("height of the page (px)", "page_height_px"), ("console errors", "console_errors"), ("axe: serious nodes", "axe_serious"),
)  # fmt: skip


def table(after: list[Measured]) -> str:
    """The page of docs: before and after side by side."""
    load = ", ".join(f"{one:.1f}" for one in os.getloadavg())
    lines = [
        "# Weight and time of test pages\n",
        "By `python -m tests.benchmarks.pages --samples RESULTS --write`; means of two fresh browsers at 1440 by 900. The machine",
        f"had two cores and other work (load while the figures after were taken: {load}), so all times are upper limits; processor times are",
        "those of all threads of the process that draws the page. Before: test pages with all traces inside and a plotting library for each method.\n",
    ]
    longest, first = after[-1], next((before for before in BEFORE if before.page == after[-1].page), after[-1])
    lines += [
        f"The page of {longest.page} has {longest.html_mb} MB (before: {first.html_mb}); its first text stands after {longest.first_paint_s} s",
        f"({first.first_paint_s}), and {longest.cpu_drawn_s} s of processor time draw its first plot ({first.cpu_drawn_s}). The aim, that on two",
        "idle cores the first plot stands and a click is answered within 1 s, is not shown here: the cores were not idle.\n",
    ]
    for one in after:
        was = next((before for before in BEFORE if before.page == one.page), None)
        lines += [f"## {one.page}\n", "| | before | after |", "|---|---|---|"]
        old, new = asdict(was) if was else {}, asdict(one)
        lines += [f"| {words} | {old.get(key, '–')} | {new[key]} |" for words, key in ROWS if new[key] is not None]
        lines.append("")
    lines += [
        "From the verdict to the traces of a stop it is one click on a point, before and after; before, the traces lay as far below as the table",
        'says and the page did not go there. Now they stand beside the plots with the verdict in sight. "Click to traces" draws more than before:',
        "the recorded beside the conditioned channels, the windows, and the ring in every plot in view.",
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--samples", type=Path, help="finished results of the samples")
    parser.add_argument("--write", action="store_true", help=f"renew {PAGE.relative_to(REPO)}")
    asked = parser.parse_args()
    after = []
    if asked.samples:
        (page,) = asked.samples.glob(f"*/tests/{SAMPLE}/test.html")
        after.append(measured(f"{SAMPLE} of the samples, 255 stops", page))
    with tempfile.TemporaryDirectory() as room:
        after.append(measured("1,000 invented stops", long_test(Path(room)), axe=False))
    text = table(after)
    print(text)
    if asked.write:
        PAGE.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
