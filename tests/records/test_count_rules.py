"""First counts against what was bought and cut by then: where the bounds lie."""

from pathlib import Path

import pytest

from tests.shops import records_of

JOBS = """job_id|finished_on|service|make|model|quoted_hours|quoted_price|hours|payment
    A|2026-03-10|roof|Quorl|Mistle|3|400|3|cash"""
BOUGHT = """invoice|received_on|supplier|item|kind|roll_width|roll_length|quantity|unit_price
    P|2026-03-02|S|F|film|2|50|1|500"""
COUNT = "counted_on|film|area_on_hand|length_on_hand|roll_width"


def told(folder: Path, *counts: str, **tables: str) -> list[tuple[int, str, str, str]]:
    """Row, column, problem and remedy of each first count that is doubted."""
    rows = "\n".join([COUNT, *counts])
    records = records_of(
        folder, **{"jobs": JOBS, "purchases": BOUGHT, "stock_counts": rows} | tables
    )
    found = records.findings[records.findings["rule"] == "surplus-at-first-count"]
    wanted = found[["row", "column", "problem", "remedy"]]
    return list(wanted.itertuples(index=False, name=None))


def test_the_words_name_both_areas_and_the_day(tmp_path: Path) -> None:
    cuts = """cut_id|cut_on|job_id|film|pulled_length|pulled_width|kept_length|kept_width
        1|2026-03-10|A|F|20|2|5|2"""
    ((row, column, problem, remedy),) = told(tmp_path, "2026-03-31|F|90||", cuts=cuts)
    assert (row, column) == (2, "area_on_hand")
    assert problem == (
        "90 m2 of F were counted on 2026-03-31, and of what was bought up to then the cuts leave "
        "70 m2"
    )
    assert "add it to purchases, on 2026-03-01, the day before the first record" in remedy


@pytest.mark.parametrize(("area", "is_told"), [("105.2", False), ("105.3", True)])
def test_a_twentieth_of_the_count_passes(tmp_path: Path, area: str, is_told: bool) -> None:
    assert bool(told(tmp_path, f"2026-03-31|F|{area}||")) == is_told


@pytest.mark.parametrize(("area", "is_told"), [("4.9", False), ("5.1", True)])
def test_a_square_metre_passes(tmp_path: Path, area: str, is_told: bool) -> None:
    small = BOUGHT.replace("|2|50|", "|1|4|")
    assert bool(told(tmp_path, f"2026-03-31|F|{area}||", purchases=small)) == is_told


def test_what_is_bought_after_the_count_does_not_bear_it(tmp_path: Path) -> None:
    assert told(tmp_path / "1", "2026-03-01|F|50||")[0][2].endswith("the cuts leave 0 m2")
    assert not told(tmp_path / "2", "2026-03-02|F|100||")
    # A later cut does not speak against an earlier count.
    cuts = "cut_id|cut_on|job_id|film|pulled_length|pulled_width\n1|2026-03-10|A|F|20|2"
    assert not told(tmp_path / "3", "2026-03-09|F|100||", cuts=cuts)
    assert told(tmp_path / "4", "2026-03-10|F|100||", cuts=cuts)


def test_only_the_first_day_of_counting_is_held_against_purchases(tmp_path: Path) -> None:
    assert not told(tmp_path / "1", "2026-03-31|F|100||", "2026-04-30|F|300||")
    # Its rows are added, whichever way they are written.
    found = told(tmp_path / "2", "2026-03-31|F||30|2", "2026-03-31|F|50||")
    assert [(row, column) for row, column, _, _ in found] == [(2, "length_on_hand")]
    assert found[0][2].startswith("110 m2 of F")


def test_film_pulled_on_job_sheets_and_sold_over_the_counter_is_gone(tmp_path: Path) -> None:
    sheet = JOBS.replace("|payment", "|payment|film|pulled_length").replace("|cash", "|cash|F|20")
    found = told(tmp_path / "1", "2026-03-31|F|100||", jobs=sheet)
    assert found[0][2].endswith("the cuts leave 60 m2")
    sales = "sale_id|sold_on|film|length|width|price\nS1|2026-03-20|F|10|1|60"
    found = told(tmp_path / "2", "2026-03-31|F|100||", counter_sales=sales)
    assert found[0][2].endswith("the cuts leave 80 m2")


def test_film_that_went_back_is_gone_and_more_cut_than_bought_leaves_none(tmp_path: Path) -> None:
    back = BOUGHT + "\n    Q|2026-03-05|S|F|film|2|50|-1|500"
    assert told(tmp_path / "1", "2026-03-31|F|50||", purchases=back)
    cuts = "cut_id|cut_on|job_id|film|pulled_length|pulled_width\n1|2026-03-10|A|F|80|2"
    found = told(tmp_path / "2", "2026-03-31|F|50||", cuts=cuts)
    assert found[0][2].endswith("the cuts leave 0 m2")


def test_what_another_finding_tells_is_not_told_again(tmp_path: Path) -> None:
    # Of a film that was never bought; of a purchase that is to be mended.
    assert not told(tmp_path / "1", "2026-03-31|G|50||")
    broken = BOUGHT + "\n    Q|2026-03-05|S|F|film|2|50|?|500"
    assert not told(tmp_path / "2", "2026-03-31|F|150||", purchases=broken)
