"""The report's page in a real browser: drawn, reachable, readable on a telephone and on paper."""

from __future__ import annotations

import base64
import gzip
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pypdfium2
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from analysis.report.page import render_page
from tests.browser.pages import marks_of_charts, wait_until
from tests.demo import demo_review

LARGEST = 6_000_000
DESKTOP, PHONE = (1280, 900), (390, 844)
OWN = ("file:", "data:", "blob:", "about:blank")
A4_PRINTED = 703  # 210 mm less twice the margin of 12 mm, at 96 pixels an inch
OPEN_ALL = "document.querySelectorAll('details').forEach(each => { each.open = true; })"
SENTENCE = "This browser cannot draw the chart; its numbers stand in the table."


@dataclass
class Opened:
    """A page, and what it asked for and complained of since it was opened."""

    page: Page
    requests: list[str] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)


Open = Callable[..., Opened]


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The page of the demo shop."""
    path = tmp_path_factory.mktemp("report") / "index.html"
    path.write_text(render_page(demo_review()), encoding="utf-8", newline="")
    return path


@pytest.fixture
def open_page(browser: Browser, report: Path) -> Iterator[Open]:
    """Opens the report, or another file, in a window of a size."""
    contexts = []

    def opened(size: tuple[int, int] = DESKTOP, path: Path = report, before: str = "") -> Opened:
        context = browser.new_context(
            viewport={"width": size[0], "height": size[1]}, reduced_motion="reduce"
        )
        contexts.append(context)
        made = Opened(context.new_page())
        context.on("request", lambda request: made.requests.append(request.url))
        made.page.on("pageerror", lambda error: made.errors.append(str(error)))
        made.page.on("console", lambda said: said.type == "error" and made.errors.append(said.text))
        if before:
            made.page.add_init_script(before)
        made.page.goto(path.as_uri())
        return made

    yield opened
    for context in contexts:
        context.close()


def scroll_through(page: Page) -> None:
    """From the top to the end, a screen at a time, as a reader does; then back to the top."""
    height = page.evaluate("document.scrollingElement.scrollHeight")
    for top in range(0, height, page.viewport_size["height"]):  # type: ignore[index]
        page.evaluate(
            "top => { scrollTo(0, top); return new Promise(requestAnimationFrame); }", top
        )
    wait_until(lambda: all(marks_of_charts(page, ".chart")), "every chart is drawn", page)
    page.evaluate("scrollTo(0, 0)")


def draw_all(page: Page) -> None:
    """Have every chart drawn as if the page were printed, and the tables folded again."""
    page.evaluate("dispatchEvent(new Event('beforeprint')); dispatchEvent(new Event('afterprint'))")
    wait_until(lambda: all(marks_of_charts(page, ".chart")), "every chart is drawn", page)


def test_the_file_is_small_enough_to_send(report: Path) -> None:
    assert report.stat().st_size < LARGEST


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_every_chart_is_drawn_and_nothing_is_asked_of_a_network(
    open_page: Open, size: tuple[int, int]
) -> None:
    opened = open_page(size)
    page = opened.page
    charts = page.locator(".chart").count()
    assert charts > 40
    drawn = marks_of_charts(page, ".chart")
    assert sum(each > 0 for each in drawn) < charts // 4, "those near the screen alone"
    height = page.evaluate("document.scrollingElement.scrollHeight")
    scroll_through(page)
    assert len(marks_of_charts(page, ".chart")) == charts
    assert page.evaluate("document.scrollingElement.scrollHeight") == height, "nothing moves"
    assert opened.requests
    assert [each for each in opened.requests if not each.startswith(OWN)] == []
    assert opened.errors == []


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["desktop", "phone"])
def test_no_word_of_a_chart_is_cut_off(open_page: Open, size: tuple[int, int]) -> None:
    page = open_page(size).page
    draw_all(page)
    cut = page.evaluate(
        """() => [...document.querySelectorAll(".chart")].flatMap(place => {
            const box = place.getBoundingClientRect();
            return [...place.querySelectorAll("svg.main-svg text")].filter(text => {
                const own = text.getBoundingClientRect();
                return own.width > 0 && (own.left < box.left - 2 || own.right > box.right + 2
                    || own.top < box.top - 2 || own.bottom > box.bottom + 2);
            }).map(text => place.id + ": " + text.textContent);
        })"""
    )
    assert cut == []


def test_a_browser_that_cannot_unpack_says_so_where_the_charts_would_be(open_page: Open) -> None:
    opened = open_page(before="delete window.DecompressionStream;")
    charts = opened.page.locator(".chart")
    wait_until(lambda: charts.first.text_content(), "the sentence", opened.page)
    assert set(charts.all_text_contents()) == {SENTENCE}
    assert len(opened.errors) == 1
    assert opened.page.locator("table").count() > 100


def test_no_other_script_runs_not_even_in_the_library_s_place(
    open_page: Open, report: Path, tmp_path: Path
) -> None:
    evil = base64.b64encode(gzip.compress(b"window.Plotly = {}; window.ran = true;")).decode()
    text, count = re.subn(
        r'(id="library">)[^<]*', rf"\g<1>{evil}", report.read_text(encoding="utf-8")
    )
    assert count == 1
    path = tmp_path / "changed.html"
    path.write_text(text, encoding="utf-8")
    opened = open_page(path=path)
    charts = opened.page.locator(".chart")
    wait_until(lambda: charts.first.text_content(), "the sentence", opened.page)
    assert opened.page.evaluate("window.ran") is None
    assert any("Content Security Policy" in each for each in opened.errors)


@pytest.mark.parametrize(
    ("size", "folded"), [(DESKTOP, False), (PHONE, True)], ids=["desktop, open", "phone, folded"]
)
def test_it_is_accessible(open_page: Open, size: tuple[int, int], folded: bool) -> None:
    """No finding of axe at all, of tables one row of each kind: thousands are like those."""
    page = open_page(size).page
    draw_all(page)
    if not folded:
        page.evaluate(OPEN_ALL)
    page.evaluate(
        """() => document.querySelectorAll("tbody").forEach(body => {
            const kinds = new Set();
            [...body.rows].forEach(row => {
                const kind = [...row.cells].map(cell => cell.tagName + cell.className
                    + (cell.textContent.trim() ? "" : "blank") + cell.title).join();
                if (kinds.has(kind)) { row.remove(); } else { kinds.add(kind); }
            });
        })"""
    )
    found = Axe().run(page).response["violations"]
    assert [(each["id"], each["impact"], each["nodes"][0]["html"][:200]) for each in found] == []


# Everything that must be reached, numbered in the order of the page.
NUMBER_STOPS = """() => {
    const stops = [...document.querySelectorAll("a[href], summary, .scroll.wide")]
        .filter(each => each.checkVisibility());
    stops.forEach((each, at) => { each.dataset.stop = at; });
    return stops.length;
}"""
FOCUSED = """() => {
    const one = document.activeElement, style = getComputedStyle(one);
    const box = one.getBoundingClientRect();
    return {
        body: one === document.body,
        stop: Number(one.dataset.stop ?? -1),
        what: one.tagName + " " + one.className + " " + one.textContent.slice(0, 40),
        ring: style.outlineStyle === "none" ? 0 : parseFloat(style.outlineWidth),
        seen: box.width > 0 && box.bottom > 0 && box.right > 0 && box.top < innerHeight
            && box.left < innerWidth,
    };
}"""


def test_the_keyboard_reaches_everything_and_shows_where_it_is(open_page: Open) -> None:
    page = open_page().page
    stops = page.evaluate(NUMBER_STOPS)
    assert stops > 80
    for stop in range(stops):
        page.keyboard.press("Tab")
        focus = page.evaluate(FOCUSED)
        assert focus["stop"] == stop, focus
        assert focus["ring"] >= 2, focus
        assert focus["seen"], focus
    page.keyboard.press("Tab")
    assert page.evaluate(FOCUSED)["body"], "and nothing else"


def test_the_skip_link_leads_past_the_navigation(open_page: Open) -> None:
    page = open_page().page
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    page.keyboard.press("Tab")
    assert page.evaluate("location.hash") == "#answers"
    assert page.evaluate("document.activeElement.closest('#answers') !== null")


@pytest.mark.parametrize("key", ["Enter", "Space"])
def test_keys_fold_and_unfold_a_table(open_page: Open, key: str) -> None:
    page = open_page().page
    details = page.locator("details").first
    details.locator("summary").focus()
    for is_open in (True, False):
        page.keyboard.press(key)
        assert details.evaluate("each => each.open") is is_open


@pytest.mark.parametrize("width", [1280, 390, 320])
def test_the_page_never_scrolls_sideways_and_wide_tables_say_that_they_do(
    open_page: Open, width: int
) -> None:
    page = open_page((width, 844)).page
    page.evaluate(OPEN_ALL)
    draw_all(page)
    assert page.evaluate("document.scrollingElement.scrollWidth <= innerWidth")
    boxes = page.evaluate(
        """() => [...document.querySelectorAll(".scroll")].map(box => {
            const words = box.querySelector("caption span")
                || box.closest("figure").querySelector("figcaption");
            return [box.scrollWidth > box.clientWidth + 1,
                    getComputedStyle(words, "::after").content.includes("scroll sideways"),
                    box.tabIndex === 0];
        })"""
    )
    assert len(boxes) > 100
    assert all(is_wide == is_told == is_reached for is_wide, is_told, is_reached in boxes)
    assert any(is_wide for is_wide, _, _ in boxes)


def test_arrows_scroll_a_wide_table(open_page: Open) -> None:
    page = open_page(PHONE).page
    box = page.locator(".scroll.wide").first
    box.focus()
    page.keyboard.press("ArrowRight")
    wait_until(lambda: box.evaluate("each => each.scrollLeft > 0"), "the table moves", page)


def squeezed(text: str) -> str:
    """A text without its blanks and line ends, and without the hyphens that end a line."""
    return re.sub(r"[\s\u00a0\u00ad\u2060\ufffe\x02-]+", "", text)


@dataclass
class Sheet:
    """A printed page: its words without blanks, and the right end of its text. [points]"""

    words: str
    right: float
    width: float
    tallest: float


@pytest.fixture(scope="module")
def printed(browser: Browser, report: Path) -> tuple[list[Sheet], list[str], list[list[str]]]:
    """The sheets, printed at once after opening; the titles; the words of every chart."""
    page = browser.new_page(viewport={"width": 1280, "height": 900})
    page.goto(report.as_uri())
    titles = page.locator("h2, h3").all_text_contents()
    content = page.pdf(prefer_css_page_size=True, format="A4")
    words = page.evaluate(
        """() => [...document.querySelectorAll(".chart")].map(place =>
            [...place.querySelectorAll("svg.main-svg text")]
                .filter(text => text.checkVisibility({ opacityProperty: true }))
                .map(text => text.textContent))"""
    )
    folded = page.locator("details:not([open])").count()
    assert folded == page.locator("details").count(), "folded again"
    page.close()
    document = pypdfium2.PdfDocument(content)
    sheets = [_sheet(each) for each in document]
    document.close()
    return sheets, titles, words


def _sheet(page: pypdfium2.PdfPage) -> Sheet:
    text = page.get_textpage()
    boxes = [text.get_rect(at) for at in range(text.count_rects())]
    made = Sheet(
        squeezed(text.get_text_range()),
        max(right for _, _, right, _ in boxes),
        page.get_width(),
        max(top - bottom for _, bottom, _, top in boxes),
    )
    text.close()
    page.close()
    return made


Printed = tuple[list[Sheet], list[str], list[list[str]]]


def test_on_paper_stands_what_stands_on_the_screen(printed: Printed) -> None:
    """Titles, and the charts below the screen too, which were not drawn before."""
    sheets, titles, charts = printed
    assert 40 < len(sheets) < 110
    assert "Whatdidthequarterleave?" in sheets[0].words
    assert "Skiptotheanswers" not in sheets[0].words
    everything = "".join(each.words for each in sheets)
    assert "scrollsideways" not in everything
    for title in titles:
        assert squeezed(title) in everything
    assert len(charts) > 40
    assert all(charts)


def test_on_paper_no_chart_is_split(printed: Printed) -> None:
    """All words of a chart stand on one sheet."""
    sheets, _, charts = printed
    for words in charts:
        wanted = {squeezed(each) for each in words if len(squeezed(each)) > 3}
        assert any(all(each in sheet.words for each in wanted) for sheet in sheets), wanted


def test_on_paper_nothing_is_cut_off_or_made_smaller_to_fit(printed: Printed) -> None:
    """Margins are 12 mm, and the report's name is as large as the style says."""
    sheets, _, _ = printed
    margin = 12 / 25.4 * 72
    assert max(each.right - (each.width - margin) for each in sheets) < 1.0
    assert sheets[0].tallest > 0.7 * 0.8 * 16


def test_on_paper_every_table_fits_its_sheet(open_page: Open) -> None:
    """A browser prints everything smaller where one table is wider than the sheet."""
    page = open_page((A4_PRINTED, 900)).page
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    wide = page.evaluate(
        """() => [...document.querySelectorAll("table, figure, svg.layouts")].filter(each =>
            each.getBoundingClientRect().right > innerWidth + 1)
            .map(each => each.closest("[aria-label]")?.ariaLabel)"""
    )
    assert wide == []
