"""The price that a quote asks: what the shop usually charges, the floor, and the question first."""

from __future__ import annotations

from dataclasses import replace
from math import isnan, nan
from pathlib import Path

import pandas as pd
import pytest

from analysis.costing.jobs import Costing, cost_records
from analysis.pricing.asking_price import PriceFrom, asking_price, rounded_up
from analysis.pricing.class_words import classes_meant
from analysis.pricing.quote import Quote
from analysis.pricing.quote_surcharge import QuoteSurcharge
from analysis.pricing.usual_price import UsualPrice, usual_price
from analysis.report.numbers import Numbers
from analysis.report.quote_text import price_words, quote_lines, quote_object
from analysis.settings import Settings, parse_settings
from tests.pricing.test_quote import DAY, TOML, quoter_of, roof, small_shop
from tests.shops import records_of

PURCHASES = small_shop()["purchases"]
NO_LIST = "service | vehicle_class | list_price | list_hours | effective_from"
# Six on a compact car that count: 400, 410, 420, 440, 460, 600; their quarters by hand.
JOBS = """
    job_id | line | finished_on | service | make | model | vehicle_class | quoted_hours |
    quoted_price | invoiced_price | redo_of | status
    A | 1 | 2025-07-01 | roof | Quillon | Heron | compact car | 3 | 500 | 400 | | finished
    B | 1 | 2025-08-01 | roof | Quillon | Heron | compact car | 3 | 500 | 410 | | finished
    C | 1 | 2025-09-01 | roof | Quillon | Heron | compact car | 3 | 420 | | | finished
    D | 1 | 2026-01-01 | roof | Quillon | Heron | compact car | 3 | 500 | 440 | | finished
    E | 1 | 2026-02-01 | roof | Quillon | Heron | compact car | 3 | 500 | 460 | | finished
    F | 1 | 2026-06-30 | roof | Quillon | Heron | compact car | 3 | 500 | 600 | | finished
    G | 1 | 2025-06-30 | roof | Quillon | Heron | compact car | 3 | 500 | 9000 | | finished
    H | 1 | 2026-07-01 | roof | Quillon | Heron | compact car | 3 | 500 | 9000 | | finished
    I | 1 | 2026-03-01 | roof | Quillon | Heron | compact car | 3 | 500 | 9000 | A:1 | finished
    J | 1 | 2026-03-01 | roof | Quillon | Heron | compact car | 3 | 500 | 0 | | finished
    K | 1 | | roof | Quillon | Heron | compact car | 3 | 500 | 9000 | | open
    L | 1 | 2026-03-02 | roof | Quillon | Crane | cargo van | 3 | 700 | 700 | | finished
    M | 1 | 2026-03-03 | hood | Quillon | Crane | cargo van | 3 | 80 | 80 | | finished""".replace(
    "|\n", "|"
)


@pytest.fixture(scope="module")
def costing(tmp_path_factory: pytest.TempPathFactory) -> Costing:
    return cost_records(
        records_of(tmp_path_factory.mktemp("usual"), jobs=JOBS, purchases=PURCHASES), DAY
    )


@pytest.fixture(scope="module")
def quote(tmp_path_factory: pytest.TempPathFactory) -> Quote:
    return roof(quoter_of(tmp_path_factory.mktemp("price")))


def test_the_usual_price_is_the_middle_of_the_years_first_time_invoices(costing: Costing) -> None:
    """Not of redos, of what was given away, of open jobs, or of other months."""
    found = usual_price(costing, "roof", "compact car", DAY)
    assert found == UsualPrice(430.0, 412.5, 455.0, 6, "compact car")


def test_without_a_job_on_the_class_it_is_that_of_the_service(costing: Costing) -> None:
    for vehicle_class in ("minivan", None):
        found = usual_price(costing, "roof", vehicle_class, DAY)
        # The van's 700 among them.
        assert (found.median, found.jobs, found.vehicle_class) == (440.0, 7, None)


def test_of_few_jobs_no_range_is_told_and_of_none_nothing(costing: Costing) -> None:
    few = usual_price(costing, "roof", "cargo van", DAY)
    assert (few.median, few.jobs, few.vehicle_class) == (700.0, 1, "cargo van")
    assert isnan(few.low)
    assert isnan(few.high)
    none = usual_price(costing, "wash", "cargo van", DAY)
    assert isnan(none.median)
    assert none.jobs == 0
    old = usual_price(costing, "roof", "cargo van", pd.Timestamp("2030-01-01"))
    assert old.jobs == 0


USUAL = UsualPrice(432.0, 420.0, 440.0, 14, "compact car")
FEW = UsualPrice(432.0, nan, nan, 3, None)
NONE = UsualPrice(nan, nan, nan, 0, None)


def priced(
    quote: Quote,
    listed: float = nan,
    floor: float = nan,
    usual: UsualPrice = NONE,
    more: float = 0.0,
) -> Quote:
    return replace(
        quote,
        at_list=replace(quote.at_list, price=listed),
        floor=replace(quote.floor, price=floor),
        usual_price=usual,
        surcharge=QuoteSurcharge(1.5 if more else 0.0, more),
    )


@pytest.mark.parametrize(
    ("listed", "more", "usual", "floor", "price", "source", "for_model"),
    [
        (400.0, 0.0, USUAL, 380.0, 400.0, PriceFrom.LIST, 0.0),
        # With what the model adds the list is over the floor.
        (400.0, 95.0, USUAL, 450.5, 495.0, PriceFrom.LIST, 95.0),
        (400.0, 95.0, USUAL, nan, 495.0, PriceFrom.LIST, 95.0),
        (400.0, 20.0, USUAL, 450.5, 455.0, PriceFrom.FLOOR, 0.0),
        (400.0, 0.0, USUAL, 450.0, 450.0, PriceFrom.FLOOR, 0.0),
        (nan, 0.0, USUAL, 256.38, 432.0, PriceFrom.USUAL, 0.0),
        (nan, 0.0, USUAL, nan, 432.0, PriceFrom.USUAL, 0.0),
        (nan, 0.0, USUAL, 433.0, 435.0, PriceFrom.FLOOR, 0.0),
        (nan, 0.0, NONE, 256.38, 260.0, PriceFrom.FLOOR, 0.0),
        (nan, 0.0, NONE, nan, nan, PriceFrom.NOTHING, 0.0),
    ],
)
def test_the_price_to_ask(
    quote: Quote,
    listed: float,
    more: float,
    usual: UsualPrice,
    floor: float,
    price: float,
    source: PriceFrom,
    for_model: float,
) -> None:
    asking = asking_price(priced(quote, listed, floor, usual, more), parse_settings(TOML))
    assert asking.price == pytest.approx(price, nan_ok=True)
    assert (asking.source, asking.for_model) == (source, for_model)
    # Two of a hundred are the card's.
    left = price * 0.98 - quote.costs.total
    assert asking.leaves == pytest.approx(left, nan_ok=True)


def test_a_floor_is_rounded_up_as_suggestions_are() -> None:
    by_five = Settings()
    assert [rounded_up(each, by_five) for each in (256.38, 255.0, 255.01)] == [260, 255, 260]
    nines = parse_settings("[pricing]\nround_to = 10\nround_down_by = 1\n")
    assert [rounded_up(each, nines) for each in (249.0, 249.5, 240.0)] == [249, 259, 249]
    cents = parse_settings("[pricing]\nround_to = 0.1\n")
    assert rounded_up(3 * 0.1, cents) == 0.3


@pytest.mark.parametrize(
    ("usual", "floor", "said"),
    [
        (
            USUAL,
            256.38,
            "$432.00, what you usually charge: the median of 14 jobs of roof on compact car in the "
            "last twelve months, the middle half of them $420.00 to $440.00; the list has none; "
            "the floor is $256.38.",
        ),
        (
            FEW,
            nan,
            "$432.00, what you usually charge: the median of only 3 jobs of roof of any class in "
            "the last twelve months, too few to say a range; the list has none; whether that is "
            "enough cannot be told.",
        ),
        (
            replace(FEW, jobs=1),
            500.0,
            "you usually charge $432.00, the only job of roof of any class in the last twelve "
            "months, too few to say a range; that is under the floor, so ask $500.00, the floor; "
            "the list has none.",
        ),
        (
            NONE,
            256.38,
            "$260.00 or more, the floor of $256.38 rounded up; the list has none, and no such job "
            "was invoiced in the last twelve months.",
        ),
    ],
)
def test_without_a_list_it_says_what_the_shop_usually_charges(
    quote: Quote, usual: UsualPrice, floor: float, said: str
) -> None:
    settings = Settings()
    asked = priced(quote, nan, floor, usual)
    assert price_words(asked, Numbers(settings)) == said
    line = quote_lines(asked, settings)[1]
    assert line == f"Price: {said}"
    with_tax = parse_settings("prices_include_tax = true\ntax_rate = 0.0825\n")
    assert quote_lines(asked, with_tax)[1].endswith(". Prices include 8.25% tax.")


def test_a_shop_without_a_list_as_it_is_quoted(tmp_path: Path) -> None:
    """Every job was invoiced at 400, the hoods too."""
    quoter = quoter_of(tmp_path, price_list=NO_LIST)
    settings = quoter.records.settings
    asked = roof(quoter)
    assert asked.usual_price == UsualPrice(400.0, 400.0, 400.0, 32, "compact car")
    assert quote_lines(asked, settings)[1].startswith("Price: $400.00, what you usually charge: ")
    found = quote_object(asked, settings)
    assert (found["usual_price"], found["usual_price_jobs"]) == (400.0, 32)
    assert (found["price"], found["price_to_ask"]) == (None, 400.0)


def test_a_near_miss_is_asked_about_before_hours_and_price(tmp_path: Path) -> None:
    quoter = quoter_of(tmp_path)
    settings = quoter.records.settings
    lines = quote_lines(roof(quoter, "Merow"), settings)
    assert lines[0] == (
        "Quillon Merow was never done here; did you mean Merrow? What follows is for a model never "
        "seen."
    )
    assert lines[1].startswith("Quote ")
    assert lines[2].startswith("Price: ")
    assert not any("did you mean" in line for line in lines[1:])
    (hint,) = [line for line in lines if "class of this vehicle is not known" in line]
    assert "--class (in use here: compact car)" in hint
    both = roof(quoter, "Merow", vehicle_class="small suv")
    said = quote_lines(both, settings)
    assert said[1] == (
        "The class small suv was never done here; did you mean small sport utility vehicle? Ask "
        'with --class "small sport utility vehicle". What follows is for a class never seen.'
    )
    assert said[2].startswith("Quote ")
    # It is asked about, never replaced.
    assert both.asked.vehicle.vehicle_class == "small suv"
    assert quote_object(both, settings)["notes"][:2] == said[:2]
    assert quote_lines(roof(quoter), settings)[0].startswith("Quote ")


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("small suv", ["small sport utility vehicle"]),
        ("SUV, standard", ["standard sport utility vehicle"]),
        ("std pick-up truck", ["standard pickup"]),
        ("midsize", ["midsize car", "midsize station wagon"]),
        ("mid-size estate", ["midsize station wagon"]),
        ("sub-compact", ["subcompact car"]),
        ("van", ["passenger van", "cargo van"]),
        ("suv", ["small sport utility vehicle", "standard sport utility vehicle"]),
        ("cargo vann", ["cargo van"]),
        ("zeppelin", []),
        (" ", []),
    ],
)
def test_short_forms_of_the_standard_classes(name: str, meant: list[str]) -> None:
    assert classes_meant(name, ()) == meant


def test_a_class_in_use_comes_before_the_standard_ones() -> None:
    assert classes_meant("van", ["cargo van", "compact car"]) == ["cargo van"]
    assert classes_meant("big buss", ["big bus"]) == ["big bus"]
