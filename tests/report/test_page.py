"""The page: one file that loads nothing, the same bytes twice, and typed text that stays text."""

import base64
import gzip
import hashlib
import json
import re
from collections.abc import Callable
from dataclasses import replace
from html.parser import HTMLParser
from io import BytesIO

import numpy as np
import pandas as pd
import pytest
from openpyxl import load_workbook
from plotly.offline import get_plotlyjs

from analysis.counter_tables import COUNTER_RESULT_TABLES
from analysis.errors import Unavailable
from analysis.glossary import glossary_entries, heading
from analysis.report.cautions import CAUTIONS, STAFF_CAUTION
from analysis.report.page import json_for_script, page_context, render_page
from analysis.report.page_records import findings_grid, sources_grid
from analysis.report.results import Review
from analysis.report.sentences import answers
from analysis.report.workbook import workbook_bytes
from analysis.result_tables import RESULT_TABLES
from analysis.schema import Kind
from analysis.settings import Settings

MakeReview = Callable[..., Review]
VOID = {"meta", "link", "br", "img", "input", "hr"}
LOADING = {"src", "srcset", "href", "data", "poster", "action", "formaction", "background"}


class Page(HTMLParser):
    """The page's elements, checked for being closed in the order they were opened."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[tuple[str, str]] = []
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append((self.open[-1] if self.open else "", data))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        """The attributes of every element of that kind."""
        return [attributes for name, attributes in self.elements if name == tag]

    def text_of(self, tag: str) -> list[str]:
        """The texts that stand directly in elements of that kind."""
        return [text for name, text in self.texts if name == tag]


Parsed = Callable[[Review], Page]


@pytest.fixture
def parsed(monkeypatch: pytest.MonkeyPatch) -> Parsed:
    """Renders and parses with a stand-in for the chart library, which is most of the page."""
    monkeypatch.setattr("analysis.report.page.get_plotlyjs", lambda: "window.Plotly = {};")
    return lambda review: Page(render_page(review))


@pytest.fixture(scope="module")
def text(review: Review) -> str:
    """The page of the made-up review."""
    return render_page(review)


@pytest.fixture(scope="module")
def page(text: str) -> Page:
    """The same, parsed."""
    return Page(text)


def test_it_is_one_well_formed_document(page: Page, text: str) -> None:
    assert text.lstrip().startswith("<!DOCTYPE html>")
    assert page.open == []
    assert page.all("html")[0]["lang"] == "en"
    names = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    assert len(names) == len(set(names))
    assert page.text_of("title") == ["The shop in 2026Q3"]


def test_two_renders_are_the_same_bytes(text: str, make_review: MakeReview) -> None:
    assert render_page(make_review()) == text


def test_nothing_is_loaded_from_anywhere(page: Page) -> None:
    for tag, attributes in page.elements:
        for name in LOADING & set(attributes):
            value = attributes[name] or ""
            assert value.startswith("#") or value == "data:,", (tag, name, value)
    css = "".join(page.text_of("style"))
    assert "url(" not in css
    assert "@import" not in css
    assert not [each for each in page.all("script") if "src" in each]


def test_the_policy_lets_only_the_page_s_own_scripts_run(page: Page) -> None:
    policy = next(
        each["content"] or ""
        for each in page.all("meta")
        if each.get("http-equiv") == "Content-Security-Policy"
    )
    assert "default-src 'none'" in policy
    assert "connect-src" not in policy
    allowed = re.search(r"script-src ([^;]*);", policy)
    assert allowed is not None
    (written,) = [
        text
        for text, attributes in zip(page.text_of("script"), page.all("script"), strict=True)
        if "type" not in attributes
    ]
    # The library runs too: the page's own script unpacks it.
    scripts = [get_plotlyjs(), written]
    assert allowed[1].split() == [
        f"'sha256-{base64.b64encode(hashlib.sha256(each.encode()).digest()).decode()}'"
        for each in scripts
    ]


def test_the_chart_library_is_packed_whole_and_the_same_on_every_day(page: Page) -> None:
    kinds = [each.get("type") for each in page.all("script")]
    text = page.text_of("script")[kinds.index("application/gzip")]
    content = base64.b64decode(text, validate=True)
    assert gzip.decompress(content).decode() == get_plotlyjs()
    # Bytes 4 to 7 of a gzip header are a time (RFC 1952, 2.3); none is written.
    assert content[4:8] == bytes(4)


def test_every_chart_has_words_a_finding_and_a_table(page: Page, review: Review) -> None:
    charts = [each for each in page.all("div") if each.get("class") == "chart"]
    assert len(charts) == 52
    data = json.loads(next(each for each in page.text_of("script") if each.startswith("{")))
    assert sorted(data) == sorted(str(each["id"]) for each in charts)
    for each in charts:
        assert each["role"] == "img"
        assert len(each["aria-label"] or "") > 40
    blocks = [block for section in page_context(review).sections for block in section.blocks]
    assert all(block.info.title for block in blocks)
    # Two drawings of one job: their sizes stand in them.
    drawn = "chart-layout-example"
    assert all(block.info.grids or block.key == drawn for block in blocks)
    shown = sum(len(block.info.grids) for block in blocks) + 2
    assert len(page.all("table")) == shown == len(page.all("caption"))


def test_tables_are_headed_and_can_be_reached_by_keyboard(page: Page) -> None:
    assert {each.get("scope") for each in page.all("th")} == {"col", "row", "colgroup"}
    boxes = [
        each for each in page.all("div") if (each.get("class") or "").split()[:1] == ["scroll"]
    ]
    assert len(boxes) == len(page.all("table"))
    assert all(
        (each["tabindex"], each["role"]) == ("0", "region") and each["aria-label"] for each in boxes
    )


def test_links_inside_the_page_lead_somewhere(page: Page) -> None:
    names = {attributes["id"] for _, attributes in page.elements if "id" in attributes}
    links = {(each["href"] or "").removeprefix("#") for each in page.all("a")}
    assert links <= names
    sections = {"answers", "money", "hours", "overruns", "film", "redo", "people", "records"}
    assert sections | {"cautions", "glossary"} <= links


@pytest.mark.parametrize(
    "typed",
    [
        ("<script>alert(1)</script>", "</script><script>alert(1)</script>", "<!-- -->"),
        ("\"' onmouseover='alert(1)' x=\"", "{{ 7 * 7 }} {% raw %}", "a & b < c > d"),
        ("שלום עולם", "👩\u200d🔧 emoji", "a\u202eevil"),
    ],
    ids=["tags", "quotes and templates", "letters"],
)
def test_what_a_person_typed_is_text_everywhere(
    typed: tuple[str, ...], make_review: MakeReview, page: Page, parsed: Parsed
) -> None:
    made = make_review()
    tables = {}
    for table, key in [
        ("margin_by_service", "service"),
        ("hours_by_model", "model"),
        ("waste_by_film", "film"),
        ("film_reconciliation", "film"),
        ("film_prices", "supplier"),
        ("redo", "key"),
    ]:
        frame = made.frame(table)
        tables[table] = frame.assign(**{key: [*typed, *frame[key].tolist()[len(typed) :]]})
    year = {"hours_by_model": tables["hours_by_model"]}
    found = parsed(make_review(results=tables, year=year))
    assert found.open == []
    assert len(found.all("script")) == len(page.all("script"))
    assert not [a for _, a in found.elements if any(name.startswith("on") for name in a)]
    body = "".join(each for tag, each in found.texts if tag not in ("script", "style"))
    assert all(each.replace("\u202e", "") in body for each in typed)
    assert "\u202e" not in body
    assert "49" not in [each.strip() for each in found.text_of("bdi")]


def test_records_are_told_with_their_first_examples(review: Review, page: Page) -> None:
    grid = findings_grid(review)
    assert [row[3].text for row in grid.rows] == ["2", "1"]
    assert grid.rows[0][2].text == "left out"
    first, second = grid.rows[0][4].text.split("\n")
    assert first == (
        "jobs.csv, row 14, quoted_price: “<script>alert('x')</script>” – is no amount of money. "
        "Write a number such as 420."
    )
    assert "row 31" in second
    assert "<script>alert('x')</script>" in "".join(page.text_of("bdi"))
    sources = sources_grid(review)
    assert [cell.text for cell in sources.rows[0]] == ["jobs", "jobs.csv", "240", "238", "2"]
    assert [row[0].text for row in sources.rows] == ["jobs", "hours"]


def test_findings_stand_left_out_first_and_then_by_their_number(review: Review) -> None:
    found = review.records.findings
    doubtful = found[found["severity"] == "doubtful"]
    more = pd.concat([doubtful.assign(rule="wide cut")] * 3)
    records = replace(review.records, findings=pd.concat([doubtful, more, found.head(1)]))
    grid = findings_grid(replace(review, records=records))
    rows = [(row[0].text, row[2].text, row[3].text) for row in grid.rows]
    assert rows == [
        ("money", "left out", "1"),
        ("wide cut", "doubtful", "3"),
        ("unknown job", "doubtful", "1"),
    ]


def test_what_could_not_be_computed_is_said_in_its_place_and_at_the_end(
    make_review: MakeReview, parsed: Parsed
) -> None:
    line = "Margins by film want the table purchases."
    gone = Unavailable("margin_by_film", ("purchases",), line)
    found = parsed(make_review(results={"margin_by_film": gone}))
    assert line in found.text_of("p")
    assert any(each.startswith(line) for each in found.text_of("li"))
    assert len([each for each in found.all("div") if each.get("class") == "chart"]) == 51


def test_a_review_without_anything_is_still_a_page(make_review: MakeReview, parsed: Parsed) -> None:
    gone = {name: Unavailable(name, ("jobs",), f"No {name}.") for name in RESULT_TABLES}
    found = parsed(make_review(results=gone, year=gone, previous=gone))
    assert found.open == []
    assert not [each for each in found.all("div") if each.get("class") == "chart"]
    assert len(found.text_of("li")) >= len(RESULT_TABLES)


def test_without_counter_sales_the_page_says_so_once(
    make_review: MakeReview, parsed: Parsed, review: Review
) -> None:
    """One line and the kits, which need no sale; not the same line under seven titles."""
    line = "Nothing was sold over the counter."
    kits = "counter_kits"
    names = [table.name for table in COUNTER_RESULT_TABLES if table.name != kits]
    gone = {name: Unavailable(name, ("counter_sales",), line) for name in names}
    none = make_review(results=gone, year={"counter_sales": gone["counter_sales"]})
    section = next(each for each in page_context(none).sections if each.key == "counter")
    verdict, others = section.blocks
    assert [verdict.key, others.key] == ["chart-counter-verdicts", "chart-kits"]
    assert (verdict.info.line, verdict.chart) == (line, "")
    assert others.info.line == ""
    assert len(others.info.grids[0].rows) == len(none.frame(kits))
    assert parsed(none).text_of("p").count(line) == 2, "the answer, and the section"
    sold = next(each for each in page_context(review).sections if each.key == "counter")
    assert [each.key.removeprefix("chart-") for each in sold.blocks] == [
        *("counter-verdicts", "counter-sale", "displaced", "unknowns", "counter-quarters"),
        *("cut-film-prices", "kits"),
    ]


def test_blank_figures_are_a_dash_that_says_so(make_review: MakeReview, parsed: Parsed) -> None:
    frame = make_review().frame("margin_by_class").assign(full_margin=np.nan)
    found = parsed(make_review(results={"margin_by_class": frame}))
    titles = [each.get("title") for each in found.all("td")]
    assert titles.count("Cannot be computed from these records") >= len(frame)


def test_few_is_a_word_in_the_table(make_review: MakeReview, parsed: Parsed) -> None:
    frame = make_review().frame("hours_by_class").assign(enough=False)
    found = parsed(make_review(results={"hours_by_class": frame}))
    few = [each for each in found.all("td") if "few" in (each.get("class") or "").split()]
    assert len(few) >= len(frame) * 6
    assert found.text_of("span").count("few") >= len(frame)


def test_the_cautions_stand_on_it(page: Page) -> None:
    said = " ".join(page.text_of("dd"))
    assert all(text in said for _, text in CAUTIONS)
    for word in ("Blades", "Heat", "Air bags and sensors", "Solvents", "Lifting"):
        assert word in page.text_of("dt")
    assert any("Employment law" in each for each in page.text_of("p"))


def test_the_page_speaks_the_shop_s_units(make_review: MakeReview, parsed: Parsed) -> None:
    settings = Settings(currency="EUR", locale="de-DE", area_unit="m2")
    found = parsed(make_review(settings=settings))
    units = set(found.text_of("span"))
    assert {"[m²]", "[EUR]", "[EUR / m²]", "[h]", "[%]"} <= units
    assert not [each for each in units if "sq ft" in each or "USD" in each]


def test_json_cannot_end_its_script() -> None:
    value = {"a": "</script><!-- & \u2028"}
    text = json_for_script(value)
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text) == value


def test_the_glossary_defines_every_figure_once() -> None:
    entries = {entry.term: entry for entry in glossary_entries()}
    assert len(entries) == len(glossary_entries())
    for table in RESULT_TABLES.values():
        for column in table.columns:
            if column.kind in (Kind.MONEY, Kind.HOURS, Kind.PERCENT, Kind.AREA) and not column.key:
                term = heading(column, table.name)
                term += ", %" if column.kind is Kind.PERCENT else ""
                said = [text for text, _ in entries[term].definitions]
                assert column.sentence in said or column.sentence.startswith(
                    ("Cost of film ", "Cost of offcuts ")
                )


def test_a_long_table_is_folded_and_a_short_one_is_not(make_review: MakeReview) -> None:
    frame = make_review().frame("hours_by_service")
    many = pd.concat([frame.assign(service=frame["service"] + f" {at}") for at in range(4)])
    review = make_review(results={"hours_by_service": many}, year={"hours_by_service": many})
    blocks = {b.key: b for s in page_context(review).sections for b in s.blocks}
    assert blocks["chart-hours-service"].open_grids == ()
    assert len(blocks["chart-hours-service"].folded_grids[0].rows) == len(many)
    assert len(blocks["chart-hours-class"].open_grids) == 1


def test_a_table_without_a_chart_stands_open(review: Review, page: Page) -> None:
    blocks = {b.key: b for s in page_context(review).sections for b in s.blocks}
    quotes = blocks["chart-next-quotes"]
    assert (quotes.chart, quotes.info.line) == ("", "")
    assert len(quotes.open_grids[0].rows) == 25
    assert "chart-next-quotes" not in [each.get("id") for each in page.all("div")]
    assert quotes.info.note in page.text_of("p")


def test_people_stand_at_the_end_with_the_caution_in_front(review: Review, page: Page) -> None:
    section = page_context(review).sections[-1]
    assert section.key == "people"
    assert [block.key for block in section.blocks] == [
        "chart-people-pooled",
        "chart-hours-installer",
    ]
    assert section.caution == STAFF_CAUTION
    assert page.text_of("p").count(f" {STAFF_CAUTION}") == 1


def test_estimates_say_on_the_page_what_they_rest_on(review: Review) -> None:
    section = next(s for s in page_context(review).sections if s.key == "overruns")
    basis = "Estimated from all jobs up to Sep 30, 2026, not from 2026Q3 alone."
    assert basis in section.lead
    estimates = {"vehicles", "flagged-tasks", "next-quotes", "drift", "learning", "spread", "pulls"}
    said = {
        block.key.removeprefix("chart-") for block in section.blocks if basis in block.info.note
    }
    assert said == estimates


def test_a_number_keeps_its_unit_and_its_minus() -> None:
    from analysis.report.page import together

    kept = together("(−$1,743) 56.3 h over, 12 sq ft of 5 houses")
    assert kept == "(−\u2060$1,743) 56.3\u00a0h over, 12\u00a0sq ft of 5 houses"


def test_the_shops_name_stands_on_what_is_sent(make_review: MakeReview, parsed: Parsed) -> None:
    """Escaped, and an ampersand doubled where it begins a code; without a name there is none."""
    settings = Settings(shop_name="Penn & <b>Sons</b>")
    review = make_review(settings=settings)
    found = parsed(review)
    assert found.text_of("title") == ["Penn & <b>Sons</b> in 2026Q3"]
    book = load_workbook(BytesIO(workbook_bytes(review)))
    assert book["Cover"]["A1"].value.startswith("Penn & <b>Sons</b>: Review 2026Q3")
    plain = load_workbook(BytesIO(workbook_bytes(make_review())))
    assert plain["Cover"]["A1"].value.startswith("Review 2026Q3")


def test_the_cover_holds_the_answers_of_the_first_screen(make_review: MakeReview) -> None:
    """Whoever gets the workbook alone reads what changed and what to do."""
    review = make_review()
    sheet = load_workbook(BytesIO(workbook_bytes(review)))["Cover"]
    told = {row[0]: row[1] for row in sheet.iter_rows(max_col=2, values_only=True)}
    for each in answers(review):
        assert told[each.question].endswith(each.line)
        assert told[each.question].startswith("Not known: ") is not each.is_known
