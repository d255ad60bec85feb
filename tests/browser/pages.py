"""What the tests ask of an open page."""

import time
from collections.abc import Callable
from typing import Any

from playwright.sync_api import Page

# Far longer than anything takes: it ends a test that would wait for ever, and asserts no time.
LONGEST_WAIT = 300.0


def wait_until(condition: Callable[[], Any], what: str, page: Page) -> Any:
    """The first true value of a condition, asked again and again.

    The page's policy forbids the driver's own waiting inside the page, which compiles text.
    """
    end = time.monotonic() + LONGEST_WAIT
    while not (value := condition()):
        assert time.monotonic() < end, f"waited in vain: {what}"
        page.wait_for_timeout(50)
    return value


def marks_of_charts(page: Page, within: str) -> list[int]:
    """Marks drawn in each chart: bars, points, lines and streams; 0 for one that is not drawn."""
    return page.evaluate(
        """within => [...document.querySelectorAll(within)].map(place =>
            [...place.querySelectorAll("svg.main-svg :is(.point, .js-line, .sankey-link)")]
                .filter(mark => mark.getBoundingClientRect().width
                                + mark.getBoundingClientRect().height > 0).length)""",
        within,
    )
