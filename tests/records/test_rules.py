"""Every rule: one fault in a clean shop gives exactly its finding, and nothing more."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from analysis.records.model import DOUBTFUL, REJECTED, Records
from analysis.records.read import read_records
from analysis.records.rules import RULES

# A fault is (rule, what is spoilt, the findings as (table, row, column)).
Fault = tuple[str, Callable[[Any], object], list[tuple[str, int, str]]]


def _replace_file(shop: Any, name: str, text: str | bytes) -> None:
    """Write the shop, put a file of its own in place of a table, and keep it on later writes."""
    del shop.tables[name]
    shop.folder.mkdir(parents=True)
    data = text.encode() if isinstance(text, str) else text
    (shop.folder / f"{name}.csv").write_bytes(data)


REJECTING: list[Fault] = [
    ("required-blank", lambda s: s.set("jobs", 2, model=""), [("jobs", 2, "model")]),
    (
        "total-or-remark",
        lambda s: s.add("jobs", job_id="TOTAL", quoted_price="2100"),
        [("jobs", 9, "job_id")],
    ),
    ("required-blank", lambda s: s.set("rates", 3, wage=" "), [("rates", 3, "wage")]),
    ("not-a-date", lambda s: s.set("hours", 3, worked_on="6/7/26"), [("hours", 3, "worked_on")]),
    ("not-a-date", lambda s: s.set("jobs", 3, quoted_on="2026-02-30"), [("jobs", 3, "quoted_on")]),
    ("number-for-date", lambda s: s.set("cuts", 2, cut_on="46209"), [("cuts", 2, "cut_on")]),
    ("not-a-month", lambda s: s.set("overheads", 4, month="July"), [("overheads", 4, "month")]),
    ("not-a-time", lambda s: s.set("hours", 3, started_at="9"), [("hours", 3, "started_at")]),
    ("not-hours", lambda s: s.set("hours", 2, hours="all day"), [("hours", 2, "hours")]),
    (
        "not-minutes",
        lambda s: s.set("counter_sales", 3, minutes="some"),
        [("counter_sales", 3, "minutes")],
    ),
    (
        "not-a-length",
        lambda s: s.set("cuts", 7, pulled_length="68 kg"),
        [("cuts", 7, "pulled_length")],
    ),
    (
        "not-an-area",
        lambda s: s.set("jobs", 7, finished_area="22 in"),
        [("jobs", 7, "finished_area")],
    ),
    ("not-money", lambda s: s.set("rates", 2, wage="(24.50)"), [("rates", 2, "wage")]),
    ("not-money", lambda s: s.set("rates", 2, wage="nan"), [("rates", 2, "wage")]),
    ("other-currency", lambda s: s.set("rates", 2, wage="€24"), [("rates", 2, "wage")]),
    (
        "not-a-number",
        lambda s: s.set("purchases", 3, quantity="four"),
        [("purchases", 3, "quantity")],
    ),
    ("not-whole", lambda s: s.set("cuts", 2, pieces="1.5"), [("cuts", 2, "pieces")]),
    ("comma-decimal", lambda s: s.set("rates", 2, wage="24,5"), [("rates", 2, "wage")]),
    ("number-two-ways", lambda s: s.set("hours", 2, hours="1,500"), [("hours", 2, "hours")]),
    ("not-yes-no", lambda s: s.set("hours", 2, overtime="maybe"), [("hours", 2, "overtime")]),
    ("unknown-word", lambda s: s.set("cuts", 7, reason="tset"), [("cuts", 7, "reason")]),
    ("too-small", lambda s: s.set("hours", 2, hours="-1"), [("hours", 2, "hours")]),
    ("too-small", lambda s: s.set("cuts", 7, pulled_length="0"), [("cuts", 7, "pulled_length")]),
    (
        "too-small",
        lambda s: s.set("purchases", 3, unit_price="-12"),
        [("purchases", 3, "unit_price")],
    ),
    ("too-large", lambda s: s.set("hours", 2, hours="24:30"), [("hours", 2, "hours")]),
    (
        "text-too-long",
        lambda s: s.set("quotes", 5, make="x" * 501, lost_reason="x" * 32_767),
        [("quotes", 5, "make")],
    ),
    (
        "control-character",
        lambda s: s.set("quotes", 5, lost_reason="too\x07dear"),
        [("quotes", 5, "lost_reason")],
    ),
    ("spreadsheet-error", lambda s: s.set("rates", 2, wage="#REF!"), [("rates", 2, "wage")]),
    (
        "finished-without-date",
        lambda s: s.set("jobs", 2, finished_on=""),
        [("jobs", 2, "finished_on")],
    ),
    (
        "film-without-size",
        lambda s: s.set("purchases", 2, roll_width="").set("cuts", 2, pulled_width="60"),
        [("purchases", 2, "roll_width")],
    ),
    ("no-hours", lambda s: s.set("hours", 3, stopped_at=""), [("hours", 3, "hours")]),
    (
        "stopped-before-started",
        lambda s: s.set("hours", 3, stopped_at="08:30"),
        [("hours", 3, "stopped_at")],
    ),
    (
        "width-unknown",
        lambda s: s.copy("purchases", 2, roll_width="48 in", invoice="INV-3").set(
            "cuts", 3, pulled_width=""
        ),
        [("cuts", 3, "pulled_width")],
    ),
    (
        "count-without-size",
        lambda s: s.set("stock_counts", 2, roll_width=""),
        [("stock_counts", 2, "area_on_hand")],
    ),
    (
        "panel-without-vehicle",
        lambda s: s.set("panels", 3, model=""),
        [("panels", 3, "vehicle_class")],
    ),
    (
        "quantity-zero",
        lambda s: s.set("purchases", 3, quantity="0"),
        [("purchases", 3, "quantity")],
    ),
    (
        "quantity-negative",
        lambda s: s.set("purchases", 3, quantity="-1"),
        [("purchases", 3, "quantity")],
    ),
    (
        "credit-negative",
        lambda s: s.set("purchases", 6, unit_price="-20"),
        [("purchases", 6, "unit_price")],
    ),
    (
        "date-out-of-range",
        lambda s: s.set("decisions", 2, decided_on="2062-07-30"),
        [("decisions", 2, "decided_on")],
    ),
    (
        "date-out-of-range",
        lambda s: s.set("rates", 2, effective_from="0001-01-01"),
        [("rates", 2, "effective_from")],
    ),
    ("repeated-row", lambda s: s.copy("cuts", 2), [("cuts", 2, "cut_id")]),
    ("repeated-row", lambda s: s.copy("jobs", 3, quoted_price="420.00"), [("jobs", 3, "job_id")]),
    ("replaced-row", lambda s: s.copy("jobs", 3, quoted_price="430"), [("jobs", 3, "job_id")]),
    ("replaced-row", lambda s: s.copy("quotes", 5, quoted_price="1"), [("quotes", 5, "quote_id")]),
    (
        "replaced-row",
        lambda s: s.copy("counter_sales", 3, price="61"),
        [("counter_sales", 3, "sale_id")],
    ),
    (
        "missing-column",
        lambda s: s.rename("rates", "wage", "rate of pay"),
        [("rates", 1, "rate of pay"), ("rates", 1, "wage")],
    ),
    (
        "row-too-long",
        lambda s: s.tables["rates"][2].append("x"),
        [("rates", 3, "")],
    ),
    (
        "broken-quotes",
        lambda s: _replace_file(
            s,
            "decisions",
            "decided_on,service,old_price,new_price,effective_from,note\n"
            '2026-07-30,roof,440,460,2026-08-03,"a" b\n',
        ),
        [("decisions", 2, "")],
    ),
]

DOUBTING: list[Fault] = [
    ("unknown-column", lambda s: s.rename("jobs", "hours", "ours"), [("jobs", 1, "ours")]),
    (
        "kept-as-other",
        lambda s: s.set("jobs", 2, payment="barter"),
        [("jobs", 2, "payment")],
    ),
    ("kept-as-other", lambda s: s.set("hours", 2, task="tea"), [("hours", 2, "task")]),
    ("line-break", lambda s: s.set("cuts", 2, panel="roof\nrear"), [("cuts", 2, "panel")]),
    (
        "hours-over-times",
        lambda s: s.set("hours", 3, hours="2"),
        [("hours", 3, "hours")],
    ),
    (
        "status-with-finish",
        lambda s: s.set("jobs", 8, finished_on="2026-07-28"),
        [("jobs", 8, "status")],
    ),
    (
        "dates-out-of-order",
        lambda s: s.set("jobs", 7, finished_on="2026-07-03", started_on=""),
        [("jobs", 7, "finished_on")],
    ),
    (
        "dates-out-of-order",
        lambda s: s.set("jobs", 2, started_on="2026-07-07"),
        [("jobs", 2, "finished_on")],
    ),
    ("time-on-cancelled", lambda s: s.set("hours", 8, job_id="J4"), [("hours", 8, "job_id")]),
    (
        "work-outside-job",
        lambda s: s.set("hours", 4, worked_on="2026-07-06"),
        [("hours", 4, "worked_on")],
    ),
    (
        "work-outside-job",
        lambda s: s.set("cuts", 2, cut_on="2026-07-07"),
        [("cuts", 2, "cut_on")],
    ),
    (
        "long-day",
        lambda s: s.set("hours", 2, hours="8.5").copy("hours", 2, hours="8"),
        [("hours", 9, "hours")],
    ),
    ("unknown-job", lambda s: s.set("hours", 8, job_id="J66"), [("hours", 8, "job_id")]),
    ("unknown-job", lambda s: s.set("cuts", 2, job_id="J11"), [("cuts", 2, "job_id")]),
    ("unknown-line", lambda s: s.set("hours", 2, line="2"), [("hours", 2, "line")]),
    ("unknown-line", lambda s: s.set("cuts", 2, line="3"), [("cuts", 2, "line")]),
    ("hours-against-log", lambda s: s.set("jobs", 2, hours="3.4"), [("jobs", 2, "hours")]),
    ("redo-of-unknown", lambda s: s.set("jobs", 5, redo_of="J9"), [("jobs", 5, "redo_of")]),
    ("redo-of-itself", lambda s: s.set("jobs", 5, redo_of="J3"), [("jobs", 5, "redo_of")]),
    (
        "redo-of-itself",
        lambda s: s.set("jobs", 2, redo_of="J3"),
        [("jobs", 2, "redo_of"), ("jobs", 5, "redo_of")],
    ),
    (
        "redo-late",
        lambda s: (
            s.set("jobs", 2, started_on="", quoted_on="", finished_on="2025-07-19")
            .set("hours", 2, job_id="J6", worked_on="2026-07-28", line="")
            .set("hours", 3, job_id="J6", worked_on="2026-07-28", line="")
            .set("cuts", 2, job_id="", line="")
        ),
        [("jobs", 5, "redo_of")],
    ),
    (
        "redo-of-other",
        lambda s: s.set("jobs", 5, redo_of="J5"),
        [("jobs", 5, "redo_of")],
    ),
    (
        "redo-of-other",
        lambda s: s.set("jobs", 5, service="hood"),
        [("jobs", 5, "redo_of")],
    ),
    ("won-without-job", lambda s: s.set("quotes", 5, outcome="won"), [("quotes", 5, "job_id")]),
    (
        "won-without-job",
        lambda s: s.set("quotes", 6, outcome="won", job_id="J60"),
        [("quotes", 6, "job_id")],
    ),
    (
        "job-without-quote",
        lambda s: s.set("quotes", 3, outcome="open", job_id=""),
        [("jobs", 3, "job_id")],
    ),
    (
        "cut-before-bought",
        lambda s: s.set("cuts", 7, cut_on="2026-06-21"),
        [("cuts", 7, "cut_on")],
    ),
    (
        "cut-before-bought",
        lambda s: s.set("counter_sales", 3, sold_on="2026-06-19"),
        [("counter_sales", 3, "sold_on")],
    ),
    (
        "film-never-bought",
        lambda s: s.set("cuts", 6, film="ZZ-TOP").set("counter_sales", 2, film="ZZ-TOP"),
        [("cuts", 6, "film"), ("counter_sales", 2, "film")],
    ),
    ("film-never-bought", lambda s: s.set("jobs", 8, film="QQ-1"), [("jobs", 8, "film")]),
    (
        "wider-than-roll",
        lambda s: s.set("cuts", 7, pulled_width="60"),
        [("cuts", 7, "pulled_width")],
    ),
    (
        "wider-than-roll",
        lambda s: s.set("cuts", 6, pulled_width="61"),
        [("cuts", 6, "pulled_width")],
    ),
    (
        "wider-than-roll",
        lambda s: s.set("counter_sales", 3, width="49"),
        [("counter_sales", 3, "width")],
    ),
    ("wider-than-roll", lambda s: s.set("jobs", 7, roll_width="61"), [("jobs", 7, "roll_width")]),
    (
        "piece-over-pull",
        lambda s: s.set("cuts", 2, piece_length="69"),
        [("cuts", 2, "piece_length")],
    ),
    ("piece-over-pull", lambda s: s.set("cuts", 2, pieces="2"), [("cuts", 2, "piece_length")]),
    (
        "finished-over-piece",
        lambda s: s.set("cuts", 2, finished_width="49"),
        [("cuts", 2, "finished_length")],
    ),
    (
        "finished-over-piece",
        lambda s: s.set("jobs", 7, finished_area="29.5"),
        [("jobs", 7, "finished_area")],
    ),
    (
        "opening-over-finished",
        lambda s: s.set("cuts", 3, opening_area="20"),
        [("cuts", 3, "opening_area")],
    ),
    (
        "kept-over-pulled",
        lambda s: s.set("cuts", 2, kept_width="61"),
        [("cuts", 2, "kept_length")],
    ),
    ("half-a-size", lambda s: s.set("cuts", 2, kept_width=""), [("cuts", 2, "kept_width")]),
    ("half-a-size", lambda s: s.set("cuts", 2, piece_length=""), [("cuts", 2, "piece_length")]),
    ("job-and-sale", lambda s: s.set("cuts", 2, sale_id="S1"), [("cuts", 2, "sale_id")]),
    ("unknown-sale", lambda s: s.set("cuts", 7, sale_id="S9"), [("cuts", 7, "sale_id")]),
    ("unknown-roll", lambda s: s.set("cuts", 7, roll_id="R-9"), [("cuts", 7, "roll_id")]),
    ("roll-of-other-film", lambda s: s.set("cuts", 6, roll_id="R-1"), [("cuts", 6, "roll_id")]),
    (
        "length-against-cuts",
        lambda s: s.set("jobs", 2, pulled_length="80", roll_width="60"),
        [("jobs", 2, "pulled_length")],
    ),
    (
        "price-under-film",
        lambda s: s.without("price_list").set("jobs", 2, invoiced_price="35"),
        [("jobs", 2, "invoiced_price")],
    ),
    (
        "price-under-film",
        lambda s: s.without("price_list").set(
            "jobs", 7, invoiced_price="40", pulled_length="", finished_area=""
        ),
        [("jobs", 7, "invoiced_price")],
    ),
    # Under the cost of its film too, which is not told a second time.
    (
        "price-far-from-list",
        lambda s: s.set("jobs", 2, invoiced_price="35"),
        [("jobs", 2, "invoiced_price")],
    ),
    (
        "price-far-from-list",
        lambda s: s.set("jobs", 3, quoted_price="921", invoiced_price="921"),
        [("jobs", 3, "quoted_price")],
    ),
    (
        "price-far-from-list",
        lambda s: s.set("jobs", 8, vehicle_class="", quoted_price="129"),
        [("jobs", 8, "quoted_price")],
    ),
    (
        "hours-far-from-list",
        lambda s: s.set("jobs", 2, quoted_hours="30"),
        [("jobs", 2, "quoted_hours")],
    ),
    (
        "list-far-from-jobs",
        lambda s: s.copy("jobs", 8, job_id="J7").set("price_list", 4, list_price="2600"),
        [("price_list", 4, "list_price")],
    ),
    (
        "hours-far-from-quote",
        lambda s: s.set("jobs", 7, hours="0.25"),
        [("jobs", 7, "hours")],
    ),
    (
        "hours-far-from-quote",
        lambda s: s.set("hours", 2, hours="11"),
        [("jobs", 2, "hours")],
    ),
    ("sheet-over-a-day", lambda s: s.set("jobs", 7, hours="49"), [("jobs", 7, "hours")]),
    (
        "payment-blank",
        lambda s: s.set("jobs", 3, payment="").set("jobs", 7, payment=""),
        [("jobs", 3, "payment")],
    ),
    (
        "freight-alone",
        lambda s: s.set("purchases", 4, invoice="INV-9"),
        [("purchases", 4, "invoice")],
    ),
    (
        "credit-alone",
        lambda s: s.set("purchases", 6, invoice="INV-9", item="squeegee", roll_id="R-1"),
        [("purchases", 6, "item")],
    ),
    (
        "credit-alone",
        lambda s: s.set("purchases", 6, invoice="INV-9", received_on="2026-06-21"),
        [("purchases", 6, "item")],
    ),
    ("repeated-purchase", lambda s: s.copy("purchases", 3), [("purchases", 7, "invoice")]),
    (
        "film-price-out-of-line",
        lambda s: s.copy("purchases", 2, invoice="INV-3").copy(
            "purchases", 2, invoice="INV-4", roll_length="25 in"
        ),
        [("purchases", 8, "roll_length")],
    ),
    # Of two purchases that are far apart nobody can tell which is wrong.
    (
        "film-price-out-of-line",
        lambda s: s.copy("purchases", 2, invoice="INV-3", roll_length="5 yd"),
        [("purchases", 2, "roll_length"), ("purchases", 7, "roll_length")],
    ),
    # The two names as one have no wage either.
    (
        "crew-with-comma",
        lambda s: s.set("jobs", 7, crew="Ines, Tomas"),
        [("jobs", 7, "crew"), ("jobs", 7, "crew")],
    ),
    ("wage-jump", lambda s: s.set("rates", 3, wage="37"), [("rates", 3, "wage")]),
    ("wage-jump", lambda s: s.set("rates", 3, wage="16"), [("rates", 3, "wage")]),
    (
        "rate-twice",
        lambda s: s.copy("rates", 4, wage="23"),
        [("rates", 5, "effective_from")],
    ),
    (
        "before-first-wage",
        lambda s: s.set("rates", 4, effective_from="2026-07-08"),
        [("hours", 3, "worked_on")],
    ),
    ("no-wage", lambda s: s.set("hours", 8, installer="Wren"), [("hours", 8, "installer")]),
    ("no-wage", lambda s: s.set("jobs", 7, crew="Ines; Wren"), [("jobs", 7, "crew")]),
    (
        "price-list-twice",
        lambda s: s.copy("price_list", 3, list_price="485"),
        [("price_list", 6, "effective_from")],
    ),
    (
        "capacity-missing",
        lambda s: (
            s.copy("capacity", 3, month="2026-08")
            .copy("overheads", 3, month="2026-08")
            .set("capacity", 3, month="2026-08")
        ),
        [("overheads", 3, "month")],
    ),
    (
        "overheads-missing",
        lambda s: (
            s.copy("capacity", 3, month="2026-08")
            .copy("overheads", 3, month="2026-08")
            .set("overheads", 3, month="2026-08")
            .set("overheads", 4, month="2026-08")
        ),
        [("capacity", 3, "month")],
    ),
    # Of the newest month, which is over: beside the other table's row, else on the last of its own.
    (
        "overheads-missing",
        lambda s: s.set("overheads", 3, month="2026-06").set("overheads", 4, month="2026-06"),
        [("capacity", 3, "month")],
    ),
    (
        "capacity-missing",
        lambda s: s.set("capacity", 3, month="2026-06"),
        [("overheads", 3, "month")],
    ),
    (
        "overheads-missing",
        lambda s: (
            s.without("capacity")
            .set("overheads", 3, month="2026-06")
            .set("overheads", 4, month="2026-06")
        ),
        [("overheads", 4, "month")],
    ),
    (
        "overhead-category-missing",
        lambda s: (
            s.set("overheads", 4, month="2026-06")
            .add("overheads", month="2026-05", category="power", amount="30")
            .add("overheads", month="2026-04", category="Power", amount="30")
        ),
        [("overheads", 4, "category")],
    ),
    (
        "price-far-from-usual",
        lambda s: [
            s.without("price_list").set("jobs", 8, quoted_price="2600"),
            *(s.copy("jobs", 8, job_id=f"J{at}", quoted_price="260") for at in range(30, 35)),
        ][0],
        [("jobs", 8, "quoted_price")],
    ),
    (
        "same-job-again",
        lambda s: s.without("quotes").copy("jobs", 7, job_id="J30"),
        [("jobs", 9, "job_id")],
    ),
    (
        "cancelled-with-price",
        lambda s: s.set("jobs", 6, invoiced_price="100"),
        [("jobs", 6, "invoiced_price")],
    ),
    (
        "surplus-at-first-count",
        lambda s: s.set("stock_counts", 2, length_on_hand="60 yd"),
        [("stock_counts", 2, "length_on_hand")],
    ),
    (
        "unknown-class",
        lambda s: s.set("jobs", 7, vehicle_class="Mini Van").set(
            "jobs", 8, vehicle_class="Mini Van"
        ),
        [("jobs", 7, "vehicle_class")],
    ),
    (
        "unknown-later-job",
        lambda s: s.set("counter_sales", 3, later_job_id="J60"),
        [("counter_sales", 3, "later_job_id")],
    ),
    (
        "later-job-before-sale",
        lambda s: s.set("counter_sales", 3, later_job_id="J1"),
        [("counter_sales", 3, "later_job_id")],
    ),
    (
        "only-yes",
        lambda s: [
            s.set("counter_sales", 2, would_book="yes").set("counter_sales", 3, would_book=""),
            *(s.copy("counter_sales", 2, sale_id=f"S{number}") for number in range(10, 14)),
        ][0],
        [("counter_sales", 2, "would_book")],
    ),
    (
        "extras-cost-blank",
        lambda s: s.set("counter_sales", 2, extras_cost="").set(
            "counter_sales", 3, extras_price="9"
        ),
        [("counter_sales", 2, "extras_cost")],
    ),
    (
        "later-job-twice",
        lambda s: s.set("counter_sales", 2, later_job_id="J6").set(
            "counter_sales", 3, later_job_id="J6"
        ),
        [("counter_sales", 3, "later_job_id")],
    ),
    (
        "unknown-service",
        lambda s: s.set("decisions", 2, service="tint"),
        [("decisions", 2, "service")],
    ),
    (
        "decision-not-in-list",
        lambda s: s.set("decisions", 2, new_price="455"),
        [("decisions", 2, "new_price")],
    ),
    (
        "decision-not-in-list",
        lambda s: s.set("decisions", 2, effective_from="2026-08-02"),
        [("decisions", 2, "new_price")],
    ),
    (
        "decision-not-in-list",
        lambda s: s.copy("decisions", 2, vehicle_class="", new_price="470"),
        [("decisions", 3, "new_price")],
    ),
    (
        "decision-not-in-list",
        lambda s: s.copy("decisions", 2, service="tint").add(
            "quotes",
            quote_id="Q9",
            quoted_on="2026-07-09",
            service="tint",
            quoted_price="200",
            outcome="open",
        ),
        [("decisions", 3, "new_price")],
    ),
    ("spelt-two-ways", lambda s: s.set("jobs", 2, make="harrow"), [("jobs", 2, "make")]),
    ("spelt-two-ways", lambda s: s.set("jobs", 2, make="Harow"), [("jobs", 2, "make")]),
    ("spelt-two-ways", lambda s: s.set("jobs", 7, model="Ot-ter"), [("jobs", 7, "model")]),
    ("spelt-two-ways", lambda s: s.set("quotes", 5, service="Hood"), [("quotes", 5, "service")]),
    ("spelt-two-ways", lambda s: s.set("hours", 8, installer="tomas"), [("hours", 8, "installer")]),
    ("spelt-two-ways", lambda s: s.set("cuts", 6, film="GB60"), [("cuts", 6, "film")]),
    (
        "spelt-two-ways",
        lambda s: s.set("purchases", 3, supplier="Marlow  Supply"),
        [("purchases", 3, "supplier")],
    ),
    (
        "name-not-listed",
        lambda s: [
            s.set("jobs", 6, service="trim").set("quotes", 4, service="trim"),
            *(s.copy("jobs", 8, job_id=f"J{number}", service="roof") for number in range(30, 50)),
        ][0],
        [("jobs", 6, "service")],
    ),
    (
        "not-utf-8",
        lambda s: _replace_file(
            s,
            "panels",
            b"service,panel,finished_length,finished_width,vehicle_class\n"
            b"roof,d\xf4me,62,45,compact car\n",
        ),
        [("panels", 2, "")],
    ),
    (
        "rows-inside-cell",
        lambda s: s.set("decisions", 2, note="dear\n2026-07-30,roof,,440,,460,2026-08-03,x"),
        [("decisions", 2, "note")],
    ),
    (
        "column-without-name",
        lambda s: [row.append(str(at)[at == 0 :]) for at, row in enumerate(s.tables["rates"])],
        [("rates", 2, "column D")],
    ),
    ("empty-file", lambda s: _replace_file(s, "rates", ""), [("", 1, "")]),
    (
        "file-not-read",
        lambda s: s.tables.update({"jobs 2025": [["job_id"], ["J0"]]}),
        [("", 1, "")],
    ),
]


def _name(fault: Fault) -> str:
    return fault[0]


@pytest.mark.parametrize("fault", REJECTING + DOUBTING, ids=_name)
def test_one_fault_gives_exactly_its_finding(fault: Fault, shop: Any, findings: Any) -> None:
    rule, spoil, expected = fault
    spoil(shop)
    records = shop.read()
    assert sorted(each[:3] for each in findings(records)) == sorted(expected)
    assert rule in set(records.findings["rule"])
    for row in records.findings.itertuples():
        assert row.severity == RULES[row.rule].severity
        assert row.problem
        assert row.remedy.endswith(".")
    if RULES[rule].severity == DOUBTFUL:
        assert not records.rejected
        assert all(each.rows_rejected == 0 for each in records.sources)
    else:
        _assert_kept(records, rule, expected[0][0])


def _assert_kept(records: Records, rule: str, table: str) -> None:
    """The rejected rows are counted, left out, and kept as text."""
    source = next(each for each in records.sources if each.table == table)
    assert source.rows_rejected == (3 if rule == "missing-column" else 1)
    assert source.rows_read == source.rows_used + source.rows_rejected
    assert len(records[table]) == source.rows_used
    assert set(records.rejected) == {table}
    rejected = records.findings["severity"] == REJECTED
    assert not records[table]["row"].isin(records.findings["row"][rejected]).any()


# Rules whose fault needs settings or a workbook, and the tests that hold it.
ELSEWHERE = {
    "date-two-ways": "test_cells",
    "date-in-text": "test_cells",
    "no-settings": "test_read",
    "error-cell": "test_read",
    "formula-without-value": "test_read",
    "title-above-header": "test_delimited",
    "merged-cells": "test_workbook",
    "macros-ignored": "test_workbook",
    "sheet-not-read": "test_files",
    "format-not-read": "test_files",
}


def test_every_rule_has_a_fault() -> None:
    tested = {rule for rule, _, _ in REJECTING + DOUBTING} | set(ELSEWHERE)
    assert tested == set(RULES)
    for rule, module in ELSEWHERE.items():
        assert f'"{rule}"' in (Path(__file__).parent / f"{module}.py").read_text(encoding="utf-8")


def test_rules_read_as_sentences() -> None:
    for rule in RULES.values():
        assert rule.code == rule.code.lower().replace(" ", "-")
        assert rule.severity in (REJECTED, DOUBTFUL)
        assert rule.finds[0].isupper()
        assert rule.finds.endswith(".")
        assert rule.remedy.endswith(".")


def test_a_clean_shop_has_no_findings(shop: Any) -> None:
    records = shop.read()
    assert records.findings.empty
    assert not records.rejected
    assert records.present == set(shop.tables)


@pytest.mark.parametrize(
    ("table", "row", "column", "rule"),
    [
        ("jobs", 2, "quoted_hours", "not-hours"),
        ("purchases", 5, "kind", "unknown-word"),
        ("purchases", 5, "received_on", "not-a-date"),
        ("purchases", 2, "quantity", "not-a-number"),
        ("hours", 2, "hours", "not-hours"),
        ("rates", 4, "wage", "not-money"),
        ("overheads", 2, "amount", "not-money"),
        ("capacity", 2, "installer_hours", "not-hours"),
        ("counter_sales", 2, "price", "not-money"),
        ("quotes", 2, "quoted_price", "not-money"),
        ("vehicles", 3, "year_from", "not-whole"),
    ],
)
def test_a_rejected_row_makes_no_noise_elsewhere(
    table: str, row: int, column: str, rule: str, shop: Any, findings: Any
) -> None:
    shop.set("jobs", 2, hours="3").set(table, row, **{column: "?"})
    assert findings(shop.read()) == [(table, row, column, rule)]


def test_models_that_differ_by_a_number_are_two_models(shop: Any) -> None:
    for row in (2, 3, 4, 5):
        shop.set("jobs", row, model="Pike 150")
    shop.set("jobs", 7, make="Harrow", model="Pike 250").copy("jobs", 8, job_id="J7")
    assert "spelt-two-ways" not in set(shop.read().findings["rule"])


def test_a_redo_of_another_vehicle_or_service_in_words(shop: Any) -> None:
    shop.set("jobs", 5, redo_of="J5").copy("jobs", 5, job_id="J30", redo_of="J2", service="trim")
    told = shop.read().findings
    assert told["problem"].tolist() == [
        "job J5 was on a Bramble Otter, and this is a redo on a Harrow Pike",
        "job J2 was roof, hood, and this is a redo of trim",
    ]


def test_of_two_purchases_far_apart_neither_is_called_the_wrong_one(shop: Any) -> None:
    shop.copy("purchases", 2, invoice="INV-3", roll_length="5 yd")
    rest = "what it does in the film's only other purchase: one of the two is wrong"
    assert shop.read().findings["problem"].tolist() == [
        f"an area of GB-60 costs 0.2 times {rest}",
        f"an area of GB-60 costs 5.0 times {rest}",
    ]
    # Beside a roll that cost nothing no other is dear.
    shop.set("purchases", 7, unit_price="0")
    assert shop.read().findings["problem"].tolist() == [f"an area of GB-60 costs 0 times {rest}"]


def test_a_redo_is_of_any_line_of_its_job_however_it_is_spelt(shop: Any) -> None:
    shop.set("jobs", 5, redo_of="J2", service="hood")
    assert shop.read().findings.empty
    shop.set("jobs", 5, make="Harow")
    assert shop.read().findings["rule"].tolist() == ["spelt-two-ways"]


def test_a_redo_of_a_job_with_a_rejected_line_is_left_alone(shop: Any) -> None:
    shop.set("jobs", 5, redo_of="J2", service="trim").set("jobs", 4, quoted_hours="?")
    assert shop.read().findings["rule"].tolist() == ["not-hours"]


def test_doubts_are_told_once_with_their_count(shop: Any) -> None:
    for row in (2, 4, 5):
        shop.set("hours", row, installer="Wren")
    told = shop.read().findings
    assert told["rule"].tolist() == ["no-wage"]
    assert told["row"].tolist() == [2]
    assert told["problem"].tolist() == ["Wren has no wage in rates (3 rows of hours)"]


def test_no_optional_table_is_missed(shop: Any) -> None:
    shop.without(*(name for name in list(shop.tables) if name not in ("jobs", "purchases")))
    shop.set("jobs", 7, vehicle_class="").set("jobs", 6, vehicle_class="")
    records = read_records(shop.write())
    assert records.findings.empty
    assert records.present == {"jobs", "purchases"}
    assert records["hours"].empty
    assert str(records["hours"]["worked_on"].dtype) == "datetime64[us]"
