"""Job lines that were entered twice, and money on cancelled ones: what is told and what is not."""

from typing import Any

import pytest

SAME, KEPT = "same-job-again", "cancelled-with-price"


def rules(shop: Any) -> list[str]:
    """The rules that tell something of the small shop, without its quotes."""
    found: list[str] = shop.without("quotes").read().findings["rule"].tolist()
    return found


def test_the_same_job_under_another_number_in_words(shop: Any) -> None:
    told = shop.without("quotes").copy("jobs", 7, job_id="J30").copy("jobs", 7, job_id="J31").read()
    assert (
        told.findings["problem"].tolist()
        == ["every cell but the number is that of job J5, in row 7"] * 2
    )
    assert "If it is another vehicle, leave it." in told.findings["remedy"][0]


@pytest.mark.parametrize(
    "cells",
    [
        {"finished_on": "2026-07-10"},
        {"make": "Harrow", "model": "Pike"},
        {"service": "hood"},
        {"quoted_price": "481"},
        {"invoiced_price": "481"},
        {"model_year": "2022"},
        {"hours": "4.4"},
        {"crew": "Ines"},
        {"payment": "cash"},
    ],
)
def test_one_cell_apart_is_another_job(shop: Any, cells: dict[str, str]) -> None:
    assert SAME not in rules(shop.copy("jobs", 7, job_id="J30", **cells))


def test_blank_cells_are_alike_but_say_nothing_by_themselves(shop: Any) -> None:
    blank = {"model_year": "", "hours": "", "crew": "", "pulled_length": "", "finished_area": ""}
    for year, is_told in (("", False), ("2021", True)):
        shop.tables["jobs"] = shop.tables["jobs"][:8]
        shop.set("jobs", 7, **blank | {"model_year": year}).copy("jobs", 7, job_id="J30")
        assert (SAME in set(shop.read().findings["rule"])) == is_told


def test_two_lines_of_one_job_are_two_lines(shop: Any) -> None:
    assert SAME not in rules(shop.copy("jobs", 7, line="2"))


def test_where_both_numbers_have_time_or_cuts_two_jobs_were_done(shop: Any) -> None:
    shop.copy("jobs", 2, job_id="J30")
    assert SAME in set(shop.read().findings["rule"])
    shop.add("hours", job_id="J30", worked_on="2026-07-06", installer="Ines", hours="2.5")
    assert SAME not in set(shop.read().findings["rule"])


def test_a_price_on_a_cancelled_job_in_words(shop: Any) -> None:
    told = shop.set("jobs", 6, invoiced_price="150").read().findings
    assert told["rule"].tolist() == [KEPT]
    assert told["problem"].tolist() == [
        "the job is cancelled, and 150.00 USD stands as invoiced; it is in no revenue"
    ]


@pytest.mark.parametrize(("price", "is_told"), [("", False), ("0", False), ("480", True)])
def test_only_a_price_that_was_written_down_is_told(shop: Any, price: str, is_told: bool) -> None:
    assert rules(shop.set("jobs", 6, invoiced_price=price)) == [KEPT] * is_told
