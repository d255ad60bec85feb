"""The desk of the next quote: moving a choice changes the figure and the words."""

from pathlib import Path
from typing import Any

import pytest

from analysis.pricing.quote import next_quote
from analysis.report.quote_desk import AS_RECORDED, quote_desk
from analysis.report.quote_text import quoted_hours
from tests.demo import demo_quoter as quoter
from tests.pricing.test_quote import quoter_of
from tests.pricing.test_quote_price import NO_LIST


def parts() -> tuple[dict[str, Any], Any, Any]:
    """The choices by their names, the figure and the text of a fresh desk."""
    *choices, figure, text = quote_desk(quoter()).children
    return {each.description: each for each in choices}, figure, text


def test_the_slider_moves_the_mark_and_the_words() -> None:
    choices, figure, text = parts()
    slider = choices["How safe, %"]
    before = (figure.data[1].x[0], text.value)
    slider.value = 90.0
    assert figure.data[1].y == (90.0,)
    assert figure.data[1].x[0] > before[0]
    assert text.value != before[1]
    assert "9 of 10 such jobs" in text.value
    slider.value = 50.0
    assert figure.data[1].x[0] < before[0]


def test_the_desk_says_what_the_quote_says() -> None:
    choices, figure, text = parts()
    choices["Service"].value = "roof"
    make, model = choices["Vehicle"].value
    share = choices["How safe, %"].value / 100
    quote = next_quote(quoter(), "roof", make, model, confidence=share)
    assert figure.data[1].x == (quote.hours.quantile,)
    assert f"Quote {quoted_hours(quote.hours.quantile):.2f} h" in text.value
    hours, shares = figure.data[0].x, figure.data[0].y
    assert list(hours) == sorted(hours)
    assert list(shares) == sorted(shares)
    assert 0 <= shares[0] < shares[-1] <= 100


def test_the_mark_lies_on_the_curve() -> None:
    _, figure, _ = parts()
    at = figure.data[1].y[0]
    hours = [x for x, y in zip(figure.data[0].x, figure.data[0].y, strict=True) if y <= at]
    assert hours[-1] == pytest.approx(figure.data[1].x[0], rel=0.1)


@pytest.mark.parametrize("name", ["Service", "Vehicle", "Installer"])
def test_every_choice_quotes_anew(name: str) -> None:
    choices, figure, _ = parts()
    before = figure.data[1].x
    choices[name].value = choices[name].options[-1][1]
    assert figure.data[1].x != before


def test_the_class_is_that_of_the_records_unless_another_is_named() -> None:
    choices, _, _ = parts()
    assert choices["Class"].label == AS_RECORDED
    assert len(choices["Class"].options) > 5


def test_a_job_that_cannot_be_quoted_says_why(monkeypatch: pytest.MonkeyPatch) -> None:
    from analysis.errors import WorkbookError
    from analysis.report import quote_desk as module

    choices, _, text = parts()

    def refuse(*_: object, **__: object) -> None:
        raise WorkbookError("No <such> job.")

    monkeypatch.setattr(module, "next_quote", refuse)
    choices["How safe, %"].value = 60.0
    assert text.value == "<p>No &lt;such&gt; job.</p>"


def test_without_a_list_the_desk_says_what_is_usually_charged(tmp_path: Path) -> None:
    *_, text = quote_desk(quoter_of(tmp_path, price_list=NO_LIST)).children
    assert "<p>Price: $400.00, what you usually charge: the median of " in text.value
    assert "by the list" not in text.value
