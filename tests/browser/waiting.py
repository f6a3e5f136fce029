"""Waiting for what a page does: until it is done, however busy the machine is, and never for a time that should be enough."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

LONGEST_S = 300.0  # then something is wrong, and the wait says what it waited for

# The page's own timers go off in order, so what it had put off for less than `arguments[0]` milliseconds has run; then
# two frames have been drawn and nothing waits.
QUIET = """
const [after, done] = arguments;
const idle = () => requestIdleCallback(() => done(true));
setTimeout(() => requestAnimationFrame(() => requestAnimationFrame(idle)), after);
"""
# Figures are drawn when they come into view: every folded part is opened and every figure looked at.
DRAWN = """
for (const node of document.querySelectorAll("details")) { node.open = true; }
const left = [...document.querySelectorAll(".plot")].filter((node) => !node.querySelector(".main-svg"));
if (left.length) { left[0].scrollIntoView({block: "center"}); }
return !left.length;
"""

# Only these figures (their plots' names), with whatever comes into view beside them.
THESE_DRAWN = """
for (const node of arguments[0].map((name) => document.getElementById("plot-" + name))) {
  for (let part = node.closest("details"); part; part = part.parentNode.closest("details")) { part.open = true; }
  if (!node.querySelector(".main-svg")) { node.scrollIntoView({block: "center"}); return false; }
}
return true;
"""


def until(browser: Any, what: str, script: str, *arguments: Any) -> Any:
    """What a script gives as soon as it is true; fails with `what` where it never is."""
    end = time.monotonic() + LONGEST_S
    while time.monotonic() < end:
        if found := browser.execute_script(script, *arguments):
            return found
        time.sleep(0.05)
    raise AssertionError(f"{what}: not in {LONGEST_S:g} s")


def quiet(browser: Any, after_ms: int = 400) -> None:
    """Until the page has nothing left to do that it began by itself (400 ms: a figure waits 300 for a second click)."""
    browser.set_script_timeout(LONGEST_S)
    browser.execute_async_script(QUIET, after_ms)


READ = "return location.href === arguments[0] && document.readyState === 'complete'"


@contextmanager
def without_scripts(browser: Any, address: str) -> Iterator[None]:
    """A page opened by a browser whose pages may run no script, read to its end.

    The driver learns of a page's end by what it runs in the page, so with scripts off `get` may return before the page is read.
    """
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.get(address)
        until(browser, "the page is read to its end", READ, address)
        yield
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
