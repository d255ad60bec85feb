"""What only the costing sees in the records, one fault each."""

# ruff: noqa: E501  (the rows of the example tables are read across)

from pathlib import Path

import pytest

from analysis.review import check_records
from tests.shops import write_shop

JOBS = """
    job_id | finished_on | service | make | model | film | quoted_hours | quoted_price | hours |
    pulled_length | payment
    J1 | 2026-02-10 | roof | Quillon | Heron | F | 3 | 400 | 3 | {length} | cash
    J2 | 2026-02-12 | removal | Quillon | Heron | | 3 | 400 | {hours} | | cash""".replace(
    "|\n", "|"
)
BOUGHT = """
    invoice | received_on | supplier | item | kind | roll_width | roll_length | quantity | unit_price
    A | 2026-01-05 | S | F | film | 1 | 10 | 1 | 100
    {more}"""
NARROW = "B | 2026-01-06 | S | F | film | 0.5 | 10 | 1 | 60"


def told(
    folder: Path, *, length: str = "2", hours: str = "3", more: str = "", cuts: str = ""
) -> list[tuple[str, int, str]]:
    tables = {
        "jobs": JOBS.format(length=length, hours=hours),
        "purchases": BOUGHT.format(more=more),
    }
    if cuts:
        tables["cuts"] = cuts
    findings = check_records(write_shop(folder, **tables)).findings
    return list(findings[["rule", "row", "table"]].itertuples(index=False, name=None))


def test_a_clean_shop_has_no_doubts(tmp_path: Path) -> None:
    assert told(tmp_path) == []


def test_more_cut_than_the_books_hold_is_told_once(tmp_path: Path) -> None:
    cuts = """
        cut_id | cut_on | film | pulled_length | job_id
        1 | 2026-02-01 | F | 9 | J1
        2 | 2026-02-02 | F | 2 | J1
        3 | 2026-02-03 | F | 2 | J1"""
    assert told(tmp_path, length="", cuts=cuts) == [("more-cut-than-stock", 3, "cuts")]


def test_an_offcut_that_is_not_on_the_shelf(tmp_path: Path) -> None:
    cuts = """
        cut_id | cut_on | film | pulled_length | source | job_id
        1 | 2026-02-01 | F | 1 | offcut | J1"""
    assert told(tmp_path, length="", cuts=cuts) == [("offcut-not-on-shelf", 2, "cuts")]


def test_a_job_sheet_without_a_width(tmp_path: Path) -> None:
    assert told(tmp_path, more=NARROW) == [("sheet-without-width", 2, "jobs")]


def test_a_finished_job_without_hours(tmp_path: Path) -> None:
    assert told(tmp_path, hours="") == [("finished-without-hours", 3, "jobs")]


@pytest.mark.parametrize(("film", "rules"), [("F", ["finished-without-film"]), ("", [])])
def test_a_finished_job_without_film(film: str, rules: list[str], tmp_path: Path) -> None:
    """Where film is written down at all; a job that names none takes none."""
    shop = write_shop(
        tmp_path,
        jobs=f"""
            job_id | finished_on | service | make | model | film | quoted_hours | quoted_price |
            J1 | 2026-02-10 | roof | Quillon | Heron | {film} | 3 | 400 |""".replace(" |\n", "\n"),
        hours="job_id | worked_on | installer | hours\nJ1 | 2026-02-10 | Ada | 3",
        purchases=BOUGHT.format(more=""),
        cuts="cut_id | cut_on | film | pulled_length\n1 | 2026-02-01 | F | 1",
    )
    found = check_records(shop).findings["rule"].tolist()
    assert [rule for rule in found if rule.startswith("finished")] == rules


def test_film_pulled_without_a_name(tmp_path: Path) -> None:
    shop = write_shop(
        tmp_path,
        jobs="""
            job_id | finished_on | service | make | model | film | quoted_hours | quoted_price | hours | pulled_length | roll_width | payment
            J1 | 2026-02-10 | roof | Quillon | Heron | | 3 | 400 | 3 | 2 | 1 | cash""",
        purchases=BOUGHT.format(more=""),
    )
    findings = check_records(shop).findings
    assert findings["rule"].tolist() == ["pull-without-film"]


@pytest.mark.parametrize(
    "purchases", ["invoice | received_on | supplier | item | kind | quantity | unit_price"]
)
def test_jobs_filled_in_and_purchases_still_empty(purchases: str, tmp_path: Path) -> None:
    """The first evening: the check says what is missing and does not fail."""
    shop = write_shop(tmp_path, jobs=JOBS.format(length="2", hours="3"), purchases=purchases)
    rules = check_records(shop).findings["rule"].tolist()
    assert "film-never-bought" in rules


@pytest.mark.parametrize(("length", "rules"), [("10.005", []), ("10.02", ["more-cut-than-stock"])])
def test_a_hand_of_film_is_a_matter_of_measuring(
    length: str, rules: list[str], tmp_path: Path
) -> None:
    """Ten square metres were bought; under a hundredth more is not told."""
    assert [rule for rule, *_ in told(tmp_path, length=length)] == rules
