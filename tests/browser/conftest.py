"""A real browser for the pages: headless, no network, fresh profile for every session."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--window-size=1280,1000",
)  # fmt: skip


def start(profile: Path) -> Any:
    """A headless Chromium with its own profile that logs the console and every request."""
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or shutil.which("chromium-browser") or ""
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    return webdriver.Chrome(options=options, service=webdriver.ChromeService(shutil.which("chromedriver")))


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The session's browser; the tests are skipped, with this message, where no Chromium is installed."""
    if not (shutil.which("chromedriver") and (shutil.which("chromium") or shutil.which("chromium-browser"))):
        pytest.skip("no Chromium with chromedriver on this machine: the pages are not opened in a browser")
    driver = start(tmp_path_factory.mktemp("profile"))
    yield driver
    driver.quit()


@pytest.fixture(scope="module", autouse=True)
def _pictures(pictures_once: None) -> None:
    """A page shows its still pictures in print and without its script: they are the same wherever its data are."""
