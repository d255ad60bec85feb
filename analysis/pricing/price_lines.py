"""What a price leaves: the arithmetic of every price, in one place, a row a service and class.

With P the price as written, nt the factor that takes the tax out, c and f the card's share and its
fixed part, m the target margin and C the expected cost of a job:

- contribution = P·nt − (P·c + f) − C; margin = contribution ÷ (P·nt);
- floor: the P with P·nt·(1 − m) = C + P·c + f;
- full margin = contribution − hours × overhead an hour;
- break-even volume: the change of the number of jobs at which a new price leaves as much as the
  old, −ΔC ÷ (contribution at the old price + ΔC), with ΔC = ΔP·(nt − c) what the change adds to a
  job's contribution (break-even sales analysis; Nagle, Hogan and Zale, The Strategy and Tactics of
  Pricing, chapter on financial analysis; chapter from memory).

What is missing stays missing, and so does what follows from it. A price of 0 is none.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import pandas as pd

from analysis.errors import Unreconciled
from analysis.settings import Settings

_ALIKE = 1e-9


@dataclass(frozen=True)
class PriceTerms:
    """What comes off a price: `net_of_tax` a factor, `card_share` of it, `card_fixed` money."""

    net_of_tax: float = 1.0
    card_share: float = 0.0
    card_fixed: float = 0.0

    @property
    def kept_share(self) -> float:
        """What is left of a price as written after tax and the card's share."""
        return self.net_of_tax - self.card_share

    @classmethod
    def of(cls, settings: Settings) -> "PriceTerms":
        """The terms of the shop's own settings."""
        fees = settings.fees
        return cls(settings.net_of_tax, fees.card_percent / 100, fees.card_fixed)


@dataclass(frozen=True)
class SheetInputs:
    """What a person may change and see what follows.

    `target_share` : margin of every service that `service_targets` (case-folded) does not name;
    `wage_change_share`, `film_change_share` : 0.03 is 3 % more than today; `overhead_rate`,
    `consumables_rate` : money an hour, NaN where it is not known.
    """

    target_share: float
    service_targets: Mapping[str, float] = field(default_factory=dict)
    wage_change_share: float = 0.0
    film_change_share: float = 0.0
    overhead_rate: float = float("nan")
    consumables_rate: float = float("nan")
    terms: PriceTerms = field(default_factory=PriceTerms)

    @classmethod
    def of(cls, settings: Settings, basis: pd.DataFrame) -> "SheetInputs":
        """The shop's own targets and fees, and the rates of a table `price_basis`.

        Raises `Unreconciled` where a rate that the whole shop shares differs from row to row.
        """
        return cls(
            target_share=settings.targets.margin,
            service_targets=dict(settings.targets.service),
            overhead_rate=_shared(basis["overhead_rate"]),
            consumables_rate=_shared(basis["consumables_rate"]),
            terms=PriceTerms.of(settings),
        )

    def targets(self, services: pd.Series) -> pd.Series:
        """Target margin of each service. [share]"""
        own = services.astype("str").str.casefold().map(dict(self.service_targets))
        return own.astype("float64").fillna(self.target_share)


def _shared(rates: pd.Series) -> float:
    known = rates.dropna()
    if known.empty:
        return float("nan")
    if float(known.max() - known.min()) > _ALIKE:
        raise Unreconciled(
            f"{rates.name} is {known.min()!r} in one row of price_basis and {known.max()!r} in "
            "another. This is a fault of the program, not of your records; please report it with "
            "the records that show it."
        )
    return float(known.iloc[0])


def direct_costs(basis: pd.DataFrame, inputs: SheetInputs) -> pd.Series:
    """Film + labour + consumables of a job of each row of `price_basis`. [money]"""
    area = basis["film_area_m2"].astype("float64")
    film = area * basis["film_cost_per_m2"] * (1 + inputs.film_change_share)
    # What takes no film costs none, whatever a film costs.
    film = film.mask(area == 0, 0.0)
    labour = basis["labour_rate"] * (1 + inputs.wage_change_share)
    direct: pd.Series = film + basis["expected_hours"] * (labour + inputs.consumables_rate)
    return direct


def reserves(direct: pd.Series, basis: pd.DataFrame) -> pd.Series:
    """The reserve for doing a job over: `redo_fixed`, else `redo_rate_share` of direct. [money]"""
    reserve: pd.Series = basis["redo_fixed"].fillna(direct * basis["redo_rate_share"])
    return reserve


def with_reserve(direct: pd.Series, basis: pd.DataFrame) -> pd.Series:
    """Expected cost: the direct cost and the reserve for doing the job over. [money]"""
    return direct + reserves(direct, basis)


def floor_prices(cost: pd.Series, target_share: pd.Series, terms: PriceTerms) -> pd.Series:
    """The price as written at which a job leaves the target margin after a card fee. [money]

    NaN where the cost is not known, or where no price leaves that margin.
    """
    per_price = terms.net_of_tax * (1 - target_share) - terms.card_share
    return (cost + terms.card_fixed) / per_price.where(per_price > 0)


def fees(price: pd.Series, terms: PriceTerms) -> pd.Series:
    """Fee of a card payment of each price; none on a price of 0. [money]"""
    return (price * terms.card_share + terms.card_fixed).mask(price == 0, 0.0)


def contributions(price: pd.Series, cost: pd.Series, terms: PriceTerms) -> pd.Series:
    """Price net of tax − card fee − expected cost. [money a job]"""
    left: pd.Series = price * terms.net_of_tax - fees(price, terms) - cost
    return left


def margin_shares(price: pd.Series, cost: pd.Series, terms: PriceTerms) -> pd.Series:
    """Contribution ÷ price net of tax. [share]"""
    return contributions(price, cost, terms) / (price * terms.net_of_tax).where(price > 0)


def break_even_shares(
    old: pd.Series, new: pd.Series, cost: pd.Series, terms: PriceTerms
) -> pd.Series:
    """Change of the number of jobs at which a new price leaves as much as the old. [share]

    −0.1: it may lose a tenth of the jobs. NaN where a job at the new price leaves nothing.
    """
    added = (new - old) * terms.kept_share
    then = contributions(old, cost, terms) + added
    # The zero that is added turns −0 into 0.
    return -added / then.where(then > 0) + 0.0


def price_lines(basis: pd.DataFrame, prices: pd.DataFrame, inputs: SheetInputs) -> pd.DataFrame:
    """Everything that follows from the inputs, a row for each row of `basis`.

    Parameters
    ----------
    basis : rows of `price_basis`, inside names.
    prices : same index; `current_price`, `suggested_price`, and `new_price` where there is one.
    inputs : what was assumed.

    Returns
    -------
    DataFrame
        `target_margin_share, film_cost_per_m2, direct_cost, expected_cost, floor_price`;
        `margin_share` at the current price; for the suggested price and the new one
        `P_margin_share, P_contribution, P_full_margin, P_break_even_share` (P: suggested, new).
    """
    terms = inputs.terms
    direct = direct_costs(basis, inputs)
    cost = with_reserve(direct, basis)
    target = inputs.targets(basis["service"])
    current = _prices(prices, "current_price")
    columns = {
        "target_margin_share": target,
        "film_cost_per_m2": basis["film_cost_per_m2"] * (1 + inputs.film_change_share),
        "direct_cost": direct,
        "expected_cost": cost,
        "floor_price": floor_prices(cost, target, terms),
        "margin_share": margin_shares(current, cost, terms),
    }
    for name in ("suggested", "new"):
        price = _prices(prices, f"{name}_price")
        left = contributions(price, cost, terms)
        columns |= {
            f"{name}_margin_share": margin_shares(price, cost, terms),
            f"{name}_contribution": left,
            f"{name}_full_margin": left - basis["expected_hours"] * inputs.overhead_rate,
            f"{name}_break_even_share": break_even_shares(current, price, cost, terms),
        }
    return pd.DataFrame(columns, index=basis.index)


def _prices(prices: pd.DataFrame, name: str) -> pd.Series:
    if name not in prices:
        return pd.Series(float("nan"), index=prices.index)
    given = prices[name].astype("float64")
    return given.where(given > 0)
