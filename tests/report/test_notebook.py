"""Tables in notebooks: aligned text, and HTML in which nothing that a person typed is markup."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from analysis.report import figures_money, notebook
from analysis.report.grids import Band, Cell, FigureInfo, Grid, Heading
from analysis.report.results import Review

GRID = Grid(
    "Caption <b>",
    1,
    (Band("", 1), Band("2026Q3", 2)),
    (
        Heading("Service", is_number=False),
        Heading("Jobs"),
        Heading("Money", "USD", "What is <i>left</i>."),
    ),
    (
        (Cell("roof"), Cell("12"), Cell("1,200")),
        (Cell("<script>alert(1)</script>"), Cell("2", is_few=True, says_few=True), Cell("–")),
    ),
    "A note & more",
)


def test_text_is_aligned_and_says_few() -> None:
    lines = repr(notebook.Shown(GRID)).splitlines()
    assert lines[0] == "Caption <b>"
    assert lines[2].split() == ["Service", "Jobs", "Money,", "USD"]
    assert lines[3].endswith("12       1,200")
    assert "2 (few)" in lines[4]


def test_html_escapes_what_a_person_typed() -> None:
    html = notebook.Shown(GRID)._repr_html_()
    assert "<script>" not in html
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in html
    assert "Caption &lt;b&gt;" in html
    assert 'title="What is &lt;i&gt;left&lt;/i&gt;."' in html
    assert "A note &amp; more" in html
    assert '<th colspan="2">2026Q3</th>' in html


def test_tables_of_a_review(review: Review) -> None:
    shown = notebook.table(figures_money.gather_statement(review))
    assert shown.grid.caption == "The statement"
    assert len(notebook.summary(review).grid.rows) >= 5
    assert notebook.rows_read(review).grid.headings[2].text == "Rows read"
    assert notebook.cautions().grid.note
    assert len(notebook.words().grid.rows) > 30


def test_rows_left_out_come_first(make_review: Callable[..., Review]) -> None:
    frame = notebook.worst_findings(make_review(), most=3).grid
    assert len(frame.rows) <= 3
    assert [heading.text for heading in frame.headings][:3] == ["File", "Row", "Column"]


def test_a_review_is_no_figure(review: Review) -> None:
    with pytest.raises(TypeError, match="gather one"):
        notebook.table(review)


def test_an_amount_is_no_formula() -> None:
    """A notebook typesets what stands between two dollar signs, unless each stands alone."""
    grid = Grid("C", 1, (), (Heading("Answer", is_number=False),), ((Cell("$4 & $5"),),))
    html = notebook.Shown(grid)._repr_html_()
    assert "<span>$</span>4 &amp; <span>$</span>5" in html


def test_a_result_that_is_missing_is_a_sentence_and_no_table() -> None:
    """A caption is as narrow as its table: of nothing, a word a line."""
    shown = notebook.table(FigureInfo(title="Hours by task", line="It needs <tasks> at $5 or $6."))
    assert repr(shown) == "It needs <tasks> at $5 or $6."
    html = shown._repr_html_()
    assert html.startswith("<p>It needs &lt;tasks&gt;")
    assert "<table" not in html
    assert "$5" not in html


def test_a_word_with_several_meanings_says_where_each_holds() -> None:
    rows = notebook.words().grid.rows
    assert all(text.text for _, text, _ in rows)
    at = [number for number, row in enumerate(rows) if not row[0].text]
    assert at
    assert all(rows[number][2].text for number in at)
    assert " / " not in {row[1].text for row in rows}
