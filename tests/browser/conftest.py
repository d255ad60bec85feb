"""A headless Chromium for the tests: the one of the machine, never one that a library downloads."""

import os
import shutil
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, sync_playwright

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")


def chromium() -> str:
    """Path of the machine's Chromium. Without one the tests are skipped, but never in CI."""
    found = next((path for name in NAMES if (path := shutil.which(name))), None)
    if found is None:
        reason = "no Chromium on this machine (on Debian: apt-get install chromium)"
        if os.environ.get("CI") == "true":
            pytest.fail(f"CI must not skip the tests in a browser: {reason}")
        pytest.skip(reason)
    return found


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for the tests of a file."""
    path = chromium()
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=path)
        yield browser
        browser.close()
