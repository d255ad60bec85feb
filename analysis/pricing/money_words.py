"""Amounts and shares inside a reason, as the shop's locale writes them."""

from copy import copy

import numpy as np
from babel import Locale

from analysis.settings import Settings


def money_words(value: float, settings: Settings) -> str:
    """An amount in whole units, one under 10 with two decimals: `$345`, `$0.50`."""
    places = 2 if abs(value) < 9.995 and abs(value - round(value)) > 0.005 else 0
    return _written(value, places, settings)


def price_words(value: float, settings: Settings) -> str:
    """A price, to the last cent that it has: `$345`, `$344.99`."""
    places = 0 if abs(value - round(value)) < 0.005 else 2
    return _written(value, places, settings)


def percent_words(share: float, settings: Settings) -> str:
    """A share as a whole percentage: `24%`, `24 %`."""
    locale = Locale.parse(settings.babel_locale)
    pattern = copy(locale.percent_formats[None])
    pattern.frac_prec = (0, 0)
    return _plain(pattern.apply(round_half_up(share * 100, 0) / 100, locale))


def round_half_up(value: float, places: int) -> float:
    """Rounded as an invoice is, half away from zero."""
    scale = 10.0**places
    return float(np.sign(value) * np.floor(abs(value) * scale + 0.5 + 1e-7) / scale)


def _written(value: float, places: int, settings: Settings) -> str:
    locale = Locale.parse(settings.babel_locale)
    pattern = copy(locale.currency_formats["standard"])
    pattern.frac_prec = (places, places)
    text = pattern.apply(
        round_half_up(value, places) + 0.0,
        locale,
        currency=settings.currency,
        currency_digits=False,
    )
    return _plain(text)


def _plain(text: str) -> str:
    # The report's numbers have the same minus.
    return str(text).replace("-", "\u2212")
