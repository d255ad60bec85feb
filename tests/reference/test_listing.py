"""How published figures are compared, shown and listed, and that a wrong one is told."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.reference import __main__, listing
from tests.reference.published import (
    ENTRIES,
    Check,
    Entry,
    Figures,
    Source,
    Work,
    as_printed,
    published,
)

BOOK = Source("Book", "A book of figures")


def checks_of(work: Work) -> list[Check]:
    """What a function notes."""
    return Entry(work, BOOK, "page 1", "text").run(Path())


def one(ours: float, theirs: str, within: float | None = None) -> Check:
    (check,) = checks_of(lambda figures: figures.add("a figure", ours, theirs, within))
    return check


@pytest.mark.parametrize(
    ("own", "theirs", "tolerance", "shown"),
    [
        (20.0, "20", 0.005, "20"),
        (0.25, "0.2", 0.1, "0.3"),
        (-0.25, "-0.2", 0.1, "-0.3"),
        (0.12499999999999999, "0.13", 0.01, "0.13"),
        (319.65427684, "319.654276842342", 1e-8, "319.65427684"),
        (1234567.8, "1,234,568", 1.0, "1,234,568"),
        (-1e-12, "0.00", 0.01, "0.00"),
        (3.6383e-9, "3.638e-09", 1e-12, "3.638e-09"),
        (0.0254, "2.54e-02", 1e-9, "2.54e-02"),
        (float("nan"), "1.0", 0.1, "nan"),
    ],
)
def test_ours_is_shown_with_the_digits_of_theirs(
    own: float, theirs: str, tolerance: float, shown: str
) -> None:
    assert as_printed(own, theirs, tolerance) == shown


def test_a_figure_holds_within_its_tolerance_alone() -> None:
    assert one(1.004, "1.00", 0.005).holds
    assert not one(1.006, "1.00", 0.005).holds
    assert not one(float("nan"), "1.00", 0.005).holds
    assert one(1e6 + 1e-4, "1,000,000").holds
    assert not one(1e6 + 1e-2, "1,000,000").holds
    assert not one(1e-8, "0").holds


def test_words_are_the_same_or_not() -> None:
    (same, other) = checks_of(
        lambda figures: [
            figures.add("a word", each, "desk > chair") for each in ("desk > chair", "")
        ]
    )
    assert (same.holds, other.holds) == (True, False)


def test_many_figures_in_one_row() -> None:
    def work(figures: Figures) -> None:
        figures.table("near", [1.0, 2.004], [1, 2], 0.005)
        figures.table("far", [1.0, 2.006], [1, 2], 0.005)
        figures.table("none where none is", [1.0, np.nan], [1, np.nan], 0.005)
        figures.table("one where none is", [1.0, 2.0], [1, np.nan], 0.005)
        figures.table("none where one is", [1.0, np.nan], [1, 2], 0.005)

    checks = checks_of(work)
    assert [each.holds for each in checks] == [True, False, True, False, False]
    assert [each.published.figures for each in checks] == [2, 2, 1, 1, 2]
    assert checks[0].ours == "at most 0.0040 off"
    with pytest.raises(ValueError, match="published"):
        checks_of(lambda figures: figures.table("short", [1.0], [1, 2]))


@pytest.fixture
def entries() -> Iterator[None]:
    """Leaves the entries as they were."""
    before = dict(ENTRIES)
    yield
    ENTRIES.clear()
    ENTRIES.update(before)


def test_a_test_fails_where_a_figure_is_wrong_or_none_is_noted(entries: None) -> None:
    right = published(BOOK)(lambda figures: figures.add("a figure", 1.0, "1.0"))
    right()
    wrong = published(BOOK, "page 7")(lambda figures: figures.add("a figure", 1.1, "1.0"))
    with pytest.raises(AssertionError, match=r"ours 1\.1, published 1\.0 .*Book, page 7"):
        wrong()
    with pytest.raises(AssertionError, match="no figure"):
        published(BOOK)(lambda figures: None)()


def test_the_command_ends_with_1_where_a_figure_is_wrong(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    right, wrong = one(1.0, "1.0"), one(1.1, "1.0")
    monkeypatch.setattr(__main__, "parts", lambda: (("Made up", [right]),))
    assert __main__.main([]) == 0
    assert "0 out of tolerance" in capsys.readouterr().out
    monkeypatch.setattr(__main__, "parts", lambda: (("Made up", [right, wrong]),))
    assert __main__.main(["--markdown"]) == 1
    out = capsys.readouterr().out
    assert "| a figure | 1.0 | 1.1 (WRONG) | exact | text | Book, page 1 |" in out
    assert "- Book: A book of figures." in out


def test_rows_that_cannot_be_told_apart_are_refused() -> None:
    row = one(1.0, "1.0")
    listing.refuse_twins([("One", [row])])
    with pytest.raises(ValueError, match=r"called a figure \(Book, page 1\)"):
        listing.refuse_twins([("One", [row]), ("Another", [row])])
    other = Source("Book", "Another book")
    (twin,) = checks_of(lambda figures: figures.add("other", 1.0, "1.0", source=other))
    with pytest.raises(ValueError, match="called Book"):
        listing.refuse_twins([("One", [row, twin])])


def test_the_summary_counts_figures_by_how_they_are_known() -> None:
    def work(figures: Figures) -> None:
        figures.add("a figure", 1.0, "1.0")
        figures.table("many", [1.0, 2.0, 3.0], [1, 2, 3], seen="from memory")

    found = (("Made up", checks_of(work)),)
    assert listing.summary(found).startswith("4 published figures in 2 rows from 1 sources: 1 read")
    assert "3 from memory; 0 out" in listing.summary(found)
    assert "\nmany      3 figures " in listing.plain(found)
