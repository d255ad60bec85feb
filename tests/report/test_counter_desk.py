"""The desk of the counter sale: a slider moves the sum, the lines and the words."""

import math
import re
from dataclasses import replace
from html import unescape
from typing import Any

import pytest

from analysis.pricing.counter_arithmetic import Assumptions
from analysis.pricing.price_lines import PriceTerms
from analysis.report.counter_desk import counter_desk
from analysis.settings import Settings

NAMES = ("price", "displaced", "minutes", "refill", "film", "install", "later")
# 90 − 32 − 20 min of $28 an hour = 48 2/3 before installs; four of ten displace one of 140.
TYPED = Assumptions(
    price=90, film=32, minutes=20, loaded=28, hour_earned=60, displaced=0.4, install=140
)
BEFORE = 90 - 32 - 20 / 60 * 28


def desk(start: Any = TYPED, settings: Settings | None = None) -> tuple[dict[str, Any], Any, Any]:
    """The sliders by what they move, the figure and the text of a fresh desk."""
    *sliders, figure, text = counter_desk(start, settings).children
    return dict(zip(NAMES, sliders, strict=True)), figure, text


def words(text: Any) -> str:
    return unescape(re.sub("<[^>]+>", " ", text.value.replace("<span>$</span>", "$")))


def cells(text: Any, name: str) -> list[str]:
    """The row of a part in the table: as set, bays idle, bays full."""
    html = text.value.replace("<span>$</span>", "$")
    row = re.search(rf"<td[^>]*>{re.escape(name)}</td>(.*?)</tr>", html)
    assert row is not None, name
    return re.findall(r"<td[^>]*>(.*?)</td>", row[1])


# --- moving the sliders --------------------------------------------------------------------------


def test_at_rest_the_desk_says_what_was_typed() -> None:
    sliders, figure, text = desk()
    assert {name: slider.value for name, slider in sliders.items()} == {
        "price": 90,
        "displaced": 40,
        "minutes": 20,
        "refill": 0,
        "film": 32,
        "install": 140,
        "later": 0,
    }
    assert list(figure.data[3].y) == pytest.approx([BEFORE - 56])
    assert "A sale loses $7.33." in words(text)
    assert figure.layout.title.text == "A sale loses &#36;7.33; nothing is left at 35% displaced"


@pytest.mark.parametrize(
    ("name", "to", "net"),
    [
        ("price", 120.0, BEFORE + 30 - 56),
        ("displaced", 10.0, BEFORE - 14),
        ("minutes", 50.0, BEFORE - 14 - 56),
        ("film", 22.5, BEFORE + 9.5 - 56),
        ("install", 200.0, BEFORE - 80),
        # In half of the cases other work takes the hours; an hour then costs 30, over its wage.
        ("refill", 50.0, 90 - 32 - 20 / 60 * 30 - 28),
        # Nothing was said of later installs: they leave what an install leaves.
        ("later", 25.0, BEFORE - 56 + 35),
    ],
)
def test_a_slider_moves_the_mark_the_title_and_the_sum(name: str, to: float, net: float) -> None:
    sliders, figure, text = desk()
    sliders[name].value = to
    share = to if name == "displaced" else 40
    assert list(figure.data[3].x) == pytest.approx([share])
    assert list(figure.data[3].y) == pytest.approx([net])
    said = f"A sale {'loses' if net < 0 else 'leaves'} ${abs(net):.2f}"
    assert words(text).strip().startswith(said)
    assert figure.layout.title.text.startswith(said.replace("$", "&#36;"))
    assert cells(text, "Left")[0] == f"{'−' if net < 0 else ''}${abs(net):.2f}"


def test_the_line_crosses_nothing_at_the_break_even() -> None:
    sliders, figure, text = desk()
    for price in (90.0, 110.0, 60.0):
        sliders["price"].value = price
        line, even = figure.data[0], figure.data[4]
        at = (BEFORE + price - 90) / 140
        assert list(line.x) == [0, 100]
        assert list(line.y) == pytest.approx([at * 140, at * 140 - 140])
        assert list(even.x) == pytest.approx([100 * at])
        assert list(even.y) == [0]
        assert cells(text, "Nothing is left at, displaced") == [f"{100 * at:.0f}%"] * 2 + ["–"]
        assert f"fewer than {100 * at:.0f}% of sales" in words(text)


@pytest.mark.parametrize(
    ("moved", "said", "title"),
    [
        ({"price": 230.0}, "it pays even if every sale takes", "even if all displace"),
        ({"price": 20.0}, "it loses even if no sale takes", "loses even if none displaces"),
        ({"refill": 100.0}, "nothing: other work takes their hours", "installs cost nothing"),
        ({"install": 0.0}, "nothing: an install leaves nothing", "installs cost nothing"),
    ],
)
def test_without_a_break_even_it_is_said_why(
    moved: dict[str, float], said: str, title: str
) -> None:
    sliders, figure, text = desk()
    for name, value in moved.items():
        sliders[name].value = value
    assert len(figure.data[4].x) == 0
    assert said in words(text)
    assert title in figure.layout.title.text


def test_the_lowest_price_leaves_nothing() -> None:
    sliders, figure, text = desk()
    assert "Lowest price as written: $97.33" in words(text)
    sliders["displaced"].value = 0.0
    assert "Lowest price as written: $41.33" in words(text)
    sliders["film"].value = 80.7
    sliders["price"].value = 90.0
    assert list(figure.data[3].y) == pytest.approx([90 - 80.7 - 20 / 60 * 28], abs=1e-9)
    assert list(figure.data[3].y) == pytest.approx([0], abs=0.05)


# --- idle and full -------------------------------------------------------------------------------


def test_idle_and_full_months_stand_side_by_side() -> None:
    sliders, figure, text = desk()
    # Full: nothing displaced, and 20 minutes of an hour that would earn 60.
    assert "It pays with bays full ($38.00), and loses with bays idle (−$7.33)." in words(text)
    assert cells(text, "Left") == ["−$7.33", "−$7.33", "$38.00"]
    assert cells(text, "Staff time") == ["−$9.33", "−$9.33", "−$20.00"]
    assert cells(text, "Displaced installs") == ["−$56.00", "−$56.00", "$0.00"]
    assert list(figure.data[1].y) == pytest.approx([BEFORE, BEFORE - 140])
    assert list(figure.data[2].y) == pytest.approx([38, 38])
    # Where the slider of the bays stands changes neither of them.
    before = [list(figure.data[at].y) for at in (1, 2)]
    sliders["refill"].value = 70.0
    assert [list(figure.data[at].y) for at in (1, 2)] == before
    assert "with bays full ($38.00), and loses with bays idle (−$7.33)" in words(text)


@pytest.mark.parametrize(
    ("start", "said"),
    [
        (replace(TYPED, displaced=0.1, minutes=60, hour_earned=90), "idle ($16.00), and loses"),
        (replace(TYPED, displaced=0.1), "with bays idle ($34.67) and with bays full ($38.00)"),
        (replace(TYPED, price=30.0), "does not pay, with bays idle (−$67.33) or full (−$22.00)"),
    ],
)
def test_every_case_of_idle_and_full_has_its_words(start: Assumptions, said: str) -> None:
    _, _, text = desk(start)
    assert said in words(text)


def test_whoever_would_not_install_costs_the_wage_in_full_months_too() -> None:
    _, _, text = desk(replace(TYPED, takes_installers=False))
    assert cells(text, "Staff time") == ["−$9.33"] * 3
    assert "what it would earn" not in words(text)
    _, _, text = desk()
    assert "what it would earn on a car ($60.00)" in words(text)


# --- what is typed -------------------------------------------------------------------------------


def test_the_shops_currency_and_locale() -> None:
    sliders, figure, text = desk(TYPED, Settings(currency="EUR", locale="de-DE"))
    assert sliders["price"].description == "Price of a sale, EUR"
    assert "A sale loses 7,33 €." in words(text).replace("\xa0", " ")
    assert "35 %" in words(text).replace("\xa0", " ")
    assert figure.layout.separators == ",."
    assert figure.layout.yaxis.title.text == "Left a sale, EUR"
    many = Assumptions(price=9000, film=3200, minutes=20, loaded=2800, install=14000, displaced=0.4)
    _, figure, text = desk(many, Settings(currency="JPY", locale="en-US"))
    assert "A sale loses ¥733." in words(text)
    assert cells(text, "Price")[0] == "¥9,000"


def test_parts_of_terms_and_extras_stand_in_the_sum() -> None:
    terms = PriceTerms(net_of_tax=0.8, card_share=0.02, card_fixed=0.5)
    _, _, text = desk(replace(TYPED, terms=terms, extras=6.0))
    assert cells(text, "Tax and card fee")[0] == f"−${90 * 0.22 + 0.5:.2f}"
    assert cells(text, "Tools and the like")[0] == "$6.00"
    money = [float(c[0].replace("−", "-").replace("$", "")) for c in _sum(text)]
    assert sum(money[:-1]) == pytest.approx(money[-1], abs=0.03)
    _, _, text = desk()
    assert "Tools and the like<" not in text.value
    assert "Tax and card fee" not in text.value


def _sum(text: Any) -> list[list[str]]:
    names = ("Price", "Tax and card fee", "Tools and the like", "Film", "Staff time")
    return [cells(text, n) for n in (*names, "Displaced installs", "Later installs", "Left")]


def test_a_start_is_not_moved_by_its_slider() -> None:
    """A browser moves a slider to one of its steps; what was typed counts until somebody does."""
    start = replace(TYPED, price=89.37, displaced=0.3777, minutes=2000.4, film=400.25)
    sliders, figure, _ = desk(start)
    for name, slider in sliders.items():
        steps = (slider.value - slider.min) / slider.step
        assert steps == pytest.approx(round(steps), abs=1e-6), name
        assert slider.min <= slider.value <= slider.max, name
    assert list(figure.data[3].y) == pytest.approx([start.net])
    sliders["film"].value = 30.0
    assert list(figure.data[3].y) == pytest.approx([replace(start, film=30.0).net])
    sliders["price"].value = 95.0
    sliders["price"].value = 89.0
    assert list(figure.data[3].y) == pytest.approx([replace(start, film=30.0, price=89.0).net])


@pytest.mark.parametrize("install", [-40.0, 0.0, 0.35, 25_000.0])
def test_the_sliders_reach_to_where_they_start(install: float) -> None:
    sliders, figure, _ = desk(replace(TYPED, install=install, price=0.0, film=0.0))
    slider = sliders["install"]
    assert slider.value == pytest.approx(install, abs=slider.step / 2)
    assert slider.min <= install <= slider.max
    assert slider.max > 0
    assert list(figure.data[3].y) == pytest.approx([-20 / 60 * 28 - 0.4 * install])


def test_a_later_install_goes_with_an_install() -> None:
    start = replace(TYPED, later=0.2, later_install=110.0)
    sliders, figure, _ = desk(start)
    sliders["install"].value = 160.0
    expected = BEFORE - 0.4 * 160 + 0.2 * (110 + 20)
    assert list(figure.data[3].y) == pytest.approx([expected])
    _, figure, text = desk(replace(TYPED, later=0.2))
    assert list(figure.data[3].y) == pytest.approx([BEFORE - 56])
    assert "type later_install" in words(text)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        ({"displaced": 40}, r"displaced = 40 should be a share from 0 to 1. Write 0.4 for 40 %."),
        ({"refill": -0.1}, "refill = -0.1 should be a share"),
        ({"price": math.nan}, "price = nan is no amount: type a number"),
        ({"film": "32"}, "film = '32' is no amount"),
        ({"minutes": -5}, "minutes = -5 should be 0 or more"),
        ({"terms": PriceTerms(0.1, 0.2)}, "nothing is kept of a price"),
    ],
)
def test_what_cannot_be_is_refused_in_words(wrong: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        counter_desk(replace(TYPED, **wrong))


def test_an_amount_is_no_formula() -> None:
    """A notebook typesets what stands between two dollar signs, unless each stands alone."""
    _, figure, text = desk()
    assert "$" not in text.value.replace("<span>$</span>", "")
    assert "$" not in figure.layout.title.text
