"""What a counter sale leaves: the arithmetic of the decision, in one place, for numbers and arrays.

net = price net of tax − card fee + extras − film − staff time
      − chance displaced × what the install leaves × (1 − chance that other work takes its hours)
      + chance of a later install × what it leaves × (1 − chance that it takes other work's hours)

Only what the decision changes is in it (relevant cost): overhead is not. An hour costs its wage
or, taken off a car in a full month, what it would earn there (opportunity cost). Source:
OpenStax, Principles of Accounting, Volume 2: Managerial Accounting (Franklin, Graybeal, Cooper;
2019), chapter 10. What is missing stays missing.
"""

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from analysis.money import HALF_A_CENT
from analysis.pricing.price_lines import PriceTerms

# Numbers, arrays or Series: the arithmetic is the same.
Values = Any


def staff_rate(
    loaded: Values, hour_earned: Values, refill: Values, takes_installers: bool
) -> Values:
    """Cost of an hour at the counter. [money / h]

    The wage with what comes on top (`loaded`), or in a full month what the hour would earn on a car
    (`refill` × `hour_earned`), where that is more and the person would be installing.
    """
    return np.maximum(loaded, refill * hour_earned) if takes_installers else loaded


def displaced_cost(share: Values, leaves: Values, refill: Values) -> Values:
    """What displaced installs cost, a sale: nothing where others wait for the hours. [money]"""
    return share * leaves * (1 - refill)


def later_gain(share: Values, leaves: Values, refill: Values) -> Values:
    """What installs booked later bring, a sale: nothing where they take others' hours. [money]"""
    return share * leaves * (1 - refill)


def break_even_share(margin: Values, later: Values, displaced_by_all: Values) -> Values:
    """Share of displaced installs at which nothing is left. [share]

    `margin`, `later` : margin and later installs of a sale; `displaced_by_all` : its displaced cost
    if every sale displaced one. Missing where displacing costs less than half a cent.
    """
    costs = np.where(np.asarray(displaced_by_all) > HALF_A_CENT, displaced_by_all, np.nan)
    share = (margin + later) / costs
    return float(share) if np.ndim(share) == 0 else share


def lowest_price(film: Values, staff: Values, installs: Values, terms: PriceTerms) -> Values:
    """Price as written at which a sale without extras leaves nothing, paid by card. [money]

    `installs` : displaced cost − later installs. Never under 0.
    """
    price = (film + staff + installs + terms.card_fixed) / terms.kept_share
    return np.maximum(price, 0.0)


@dataclass(frozen=True)
class Assumptions:
    """One kind of counter sale, as typed in by a person or learnt from the records.

    Money is a sale's: `price` as written, `extras` margin of tools and the like, `film` cost with
    the side loss. `minutes` of staff time; `loaded` cost of a paid hour; `hour_earned` : what an
    hour leaves on a car [money / h]. `refill` : chance that other work takes a freed hour (0 idle,
    1 full), `refill_later` the same over the year. `displaced`, `later` : chances. `install`,
    `later_install` : what such an install leaves. [shares]
    """

    price: float
    film: float
    extras: float = 0.0
    minutes: float = 0.0
    loaded: float = 0.0
    hour_earned: float = 0.0
    refill: float = 0.0
    refill_later: float = 0.0
    displaced: float = 0.0
    install: float = 0.0
    later: float = 0.0
    later_install: float = 0.0
    takes_installers: bool = True
    terms: PriceTerms = field(default_factory=PriceTerms)

    @property
    def staff(self) -> float:
        """Cost of the staff time. [money]"""
        rate = staff_rate(self.loaded, self.hour_earned, self.refill, self.takes_installers)
        return float(self.minutes / 60 * rate)

    @property
    def margin(self) -> float:
        """What the sale leaves before displaced and later installs. [money]"""
        kept = self.price * self.terms.kept_share - self.terms.card_fixed
        return kept + self.extras - self.film - self.staff

    @property
    def displaced_cost(self) -> float:
        """Cost of displaced installs. [money]"""
        return float(displaced_cost(self.displaced, self.install, self.refill))

    @property
    def later_gain(self) -> float:
        """What later installs bring. [money]"""
        return float(later_gain(self.later, self.later_install, self.refill_later))

    @property
    def net(self) -> float:
        """What the sale leaves, all in all. [money]"""
        return self.margin - self.displaced_cost + self.later_gain

    @property
    def break_even_share(self) -> float:
        """Share of displaced installs at which nothing is left; NaN where they cost nothing."""
        return float(
            break_even_share(self.margin, self.later_gain, self.install * (1 - self.refill))
        )

    @property
    def lowest_price(self) -> float:
        """Price as written at which the sale leaves nothing, without extras. [money]"""
        installs = self.displaced_cost - self.later_gain
        return float(lowest_price(self.film, self.staff, installs, self.terms))
