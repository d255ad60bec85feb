"""Amounts and shares inside a reason, with as many decimals as a sentence needs."""

from analysis.locale_text import money_text, percent_text
from analysis.settings import Settings


def money_words(value: float, settings: Settings) -> str:
    """An amount in whole units, one under 10 with two decimals: `$345`, `$0.50`."""
    places = 2 if abs(value) < 9.995 and abs(value - round(value)) > 0.005 else 0
    return money_text(value, places, settings)


def price_words(value: float, settings: Settings) -> str:
    """A price, to the last cent that it has: `$345`, `$344.99`."""
    places = 0 if abs(value - round(value)) < 0.005 else 2
    return money_text(value, places, settings)


def percent_words(share: float, settings: Settings) -> str:
    """A share as a whole percentage: `24%`, `24 %`."""
    return percent_text(100 * share, 0, settings)
