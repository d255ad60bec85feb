"""Every notebook as a person runs it: in JupyterLab, from its menu, in a real browser."""

from __future__ import annotations

import time
from collections.abc import Iterator
from urllib.parse import urlsplit

import nbformat
import pytest
from playwright.sync_api import Browser, Page

from tests.browser.laboratory import ROOT, Laboratory, laboratory
from tests.browser.pages import marks_of_charts, wait_until

NOTEBOOKS = sorted(path.name for path in (ROOT / "notebooks").glob("*.ipynb"))
SLIDERS = {"02_quarterly_pricing_review.ipynb": 1, "05_counter_sale.ipynb": 2}
SLIDERS |= {"06_quote_the_next_job.ipynb": 1}
CHART, WIDGET = "application/vnd.plotly.v1+json", "application/vnd.jupyter.widget-view+json"
CELL = ".jp-Notebook .jp-CodeCell"
FAILED = (
    f"{CELL} :is([data-mime-type='application/vnd.jupyter.error'],"
    "[data-mime-type='application/vnd.jupyter.stderr'])"
)
IDLE = ".jp-Notebook-ExecutionIndicator[data-status='idle']"
QUESTION = "dialog.jp-Dialog button.jp-mod-accept"
DESK = f"{CELL} .widget-vbox"


@pytest.fixture(scope="module")
def lab(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Laboratory]:
    """One server for all notebooks; without a browser there is none."""
    with laboratory(tmp_path_factory.mktemp("laboratory")) as made:
        yield made


@pytest.fixture
def outside() -> list[str]:
    """Addresses that were asked for and are not the server's."""
    return []


@pytest.fixture
def page(browser: Browser, lab: Laboratory, outside: list[str]) -> Iterator[Page]:
    """A window in which no request gets further than this machine."""
    context = browser.new_context(viewport={"width": 1280, "height": 900})

    def note(address: str) -> None:
        parts = urlsplit(address)
        if parts.scheme not in ("data", "blob") and parts.hostname != "127.0.0.1":
            outside.append(address)

    context.on("request", lambda request: note(request.url))
    page = context.new_page()
    # On a slow machine JupyterLab asks, at any moment, which kernel to take: the proposed one.
    # It may stay for a moment, or ask again.
    page.add_locator_handler(
        page.locator(QUESTION), lambda button: button.click(), no_wait_after=True
    )
    page.on("websocket", lambda socket: note(socket.url))
    yield page
    context.close()
    lab.end_kernels()


def run_all_cells(page: Page) -> None:
    """Run all cells from the menu, and wait until each has its number."""
    prompts = page.locator(f"{CELL} .jp-InputArea-prompt")

    def started() -> bool:
        """Whether a cell is marked as running; the menu does nothing before a kernel is bound."""
        page.locator(".lm-MenuBar-itemLabel").get_by_text("Run", exact=True).click()
        page.locator(".lm-Menu-itemLabel").get_by_text("Run All Cells", exact=True).click()
        page.wait_for_timeout(2000)
        return any(map(_marked, prompts.all_text_contents()))

    def done() -> bool:
        failed = page.locator(FAILED)
        assert failed.count() == 0, failed.first.text_content()
        return all(_marked(text).isdigit() for text in prompts.all_text_contents())

    def bound() -> bool:
        """Whether a kernel has been idle for some seconds: a later one would run the rest."""
        for _ in range(4):
            indicator = page.locator(".jp-Notebook-ExecutionIndicator").first
            if page.locator(QUESTION).count() or indicator.get_attribute("data-status") != "idle":
                return False
            page.wait_for_timeout(1000)
        return True

    wait_until(bound, "a kernel is ready", page)
    wait_until(started, "the cells run", page)
    wait_until(done, "every cell has run", page)


def _marked(prompt: str) -> str:
    """What stands in a prompt: nothing, a star while the cell runs, then its number."""
    return prompt.strip("[]: \u00a0")


def expected(notebook: str, kind: str) -> int:
    """How many outputs of a kind the notebook was saved with."""
    book = nbformat.read(ROOT / "notebooks" / notebook, as_version=4)
    return sum(
        kind in output.get("data", {})
        for cell in book.cells
        if cell.cell_type == "code"
        for output in cell.outputs
    )


def move_a_slider(page: Page, desk: int) -> None:
    """Move the first slider of a desk with the keyboard; a number of what it shows changes."""
    shown = page.locator(DESK).nth(desk).locator(".widget-html-content").last
    before = wait_until(shown.inner_text, "the desk says something", page)
    page.locator(DESK).nth(desk).locator(".noUi-handle").first.focus()
    for _ in range(4):
        page.keyboard.press("ArrowRight")

    def changed() -> bool:
        now = shown.inner_text()
        return numbers(now) != numbers(before)

    wait_until(changed, "a shown number changes", page)


def numbers(text: str) -> list[str]:
    """The words of a text that hold a digit."""
    return [word for word in text.split() if any(sign.isdigit() for sign in word)]


@pytest.mark.parametrize("notebook", NOTEBOOKS)
def test_a_notebook_runs_and_shows_its_charts_and_tables(
    notebook: str, lab: Laboratory, page: Page, outside: list[str]
) -> None:
    page.goto(lab.address(notebook))
    cells = len(nbformat.read(ROOT / "notebooks" / notebook, as_version=4).cells)
    wait_until(lambda: page.locator(".jp-Notebook .jp-Cell").count() == cells, "opened", page)
    wait_until(page.locator(IDLE).count, "the kernel is there", page)
    start = time.monotonic()
    run_all_cells(page)
    spent, work = time.monotonic() - start, lab.seconds_of_work()
    print(f"\n{notebook}: {spent:.1f} s, of which its kernel worked {work:.1f} s")
    charts = f"{CELL} .js-plotly-plot"
    wanted = expected(notebook, CHART) + expected(notebook, WIDGET)
    wait_until(lambda: len(marks_of_charts(page, charts)) == wanted, "a place a chart", page)
    wait_until(lambda: all(marks_of_charts(page, charts)), "every chart is drawn", page)
    tables = page.locator(f"{CELL} .jp-RenderedHTMLCommon table")
    assert tables.count() == expected(notebook, "text/html")
    assert all(tables.evaluate_all("all => all.map(each => each.rows.length > 1)"))
    assert page.locator(DESK).count() == SLIDERS.get(notebook, 0) == expected(notebook, WIDGET)
    for desk in range(SLIDERS.get(notebook, 0)):
        move_a_slider(page, desk)
    assert page.locator(FAILED).count() == 0
    assert outside == []
