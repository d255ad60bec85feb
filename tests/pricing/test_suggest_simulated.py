"""The suggestions against the truth, in simulated shops whose customers are known.

Three other ways of pricing stand beside them: holding every price, pricing from cost alone (the
floor, within the same bounds), and somebody who knows customers, costs and hours, within the same
bounds. What is compared is the expected profit of a year under the truth.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
import pytest

from analysis.pricing.suggest import suggest_prices
from tests.pricing.simulated_shop_prices import (
    Kind,
    Shop,
    best_known,
    cost_plus,
    floors,
    learnt,
    simulated_shop,
    yearly,
)

# Enough quotes to learn from, too few, and hours that are short.
KINDS = {
    "much to learn from": Kind(2000, 0.13),
    "some": Kind(500, 0.13),
    "little": Kind(150, 0.13),
    "hours short": Kind(500, 0.13, full=True),
}
SHOPS = range(4000, 4016)


@dataclass(frozen=True, eq=False)
class Earned:
    """What each way of pricing earns a year in the shops of a kind, and the prices moved."""

    table: pd.DataFrame

    def gain(self, way: str) -> pd.Series:
        """Gain over holding every price, as a share of what that earns."""
        return self.table[way] / self.table["hold"] - 1

    @property
    def reached(self) -> float:
        """Share of the gain of somebody who knows everything, over all shops."""
        gains = self.table.sub(self.table["hold"], axis=0).sum()
        return float(gains["suggested"] / gains["best"])

    def __str__(self) -> str:
        gain = self.gain("suggested")
        return (
            f"{len(self.table)} shops: suggestions gain {gain.mean():.1%} (cost-plus "
            f"{self.gain('cost plus').mean():.1%}, best {self.gain('best').mean():.1%}), reach "
            f"{self.reached:.0%} of what can be gained; better than holding in "
            f"{(gain > 0).mean():.0%}, than cost-plus in "
            f"{(self.table['suggested'] > self.table['cost plus']).mean():.0%}; "
            f"{(gain < -0.01).mean():.0%} lose over 1 %"
        )


def earned(kind: Kind, seeds: range) -> Earned:
    rows = []
    for seed in seeds:
        shop = simulated_shop(kind, seed)
        table = suggest_prices(shop.basis, learnt(shop, seed), shop.settings, seed)
        rows.append(
            {
                "hold": yearly(shop, current(shop)),
                "cost plus": yearly(shop, cost_plus(shop)),
                "suggested": yearly(shop, table["suggested_price"].to_numpy(float)),
                "best": yearly(shop, best_known(shop)),
            }
        )
    return Earned(pd.DataFrame(rows))


def current(shop: Shop) -> np.ndarray:
    return shop.basis["current_price"].to_numpy(float)


@pytest.fixture(scope="module")
def results() -> dict[str, Earned]:
    found = {name: earned(kind, SHOPS) for name, kind in KINDS.items()}
    for name, each in found.items():
        print(f"{KINDS[name]} ({name}): {each}")
    return found


@pytest.mark.parametrize("name", KINDS)
def test_suggestions_earn_more_than_holding_and_than_cost_plus(
    name: str, results: dict[str, Earned]
) -> None:
    table = results[name].table
    assert table["suggested"].mean() > table["hold"].mean()
    assert table["suggested"].mean() > table["cost plus"].mean()


@pytest.mark.parametrize("name", KINDS)
def test_hardly_a_shop_loses_over_one_percent(name: str, results: dict[str, Earned]) -> None:
    assert (results[name].gain("suggested") < -0.01).sum() <= 1


def test_nobody_earns_more_than_who_knows_everything(results: dict[str, Earned]) -> None:
    for each in results.values():
        assert (each.table["suggested"] <= each.table["best"] * 1.001).all()
        assert (each.table["hold"] <= each.table["best"] * 1.001).all()


def test_where_there_is_much_to_learn_from_most_of_the_gain_is_reached(
    results: dict[str, Earned],
) -> None:
    assert results["much to learn from"].reached >= 0.8
    assert results["some"].reached >= 0.3
    assert results["much to learn from"].reached > results["little"].reached


# --- nothing to learn from -----------------------------------------------------------------------


def over_its_floors(kind: Kind, seed: int) -> Shop:
    """A shop whose prices all stand on or over their floors: 5 % over, at least."""
    shop = simulated_shop(kind, seed)
    price = np.maximum(current(shop), 5 * np.ceil(1.05 * floors(shop) / 5))
    ratio = shop.quotes["quoted_price"] / shop.quotes["list_price"]
    by_cell = shop.basis.assign(list_price=price)[["service", "vehicle_class", "list_price"]]
    quotes = shop.quotes.drop(columns="list_price").merge(by_cell, validate="m:1")
    quotes["quoted_price"] = quotes["list_price"] * ratio
    return replace(shop, basis=shop.basis.assign(current_price=price), quotes=quotes)


@pytest.mark.parametrize("full", [False, True])
def test_without_a_spread_of_prices_nothing_moves(full: bool) -> None:  # noqa: FBT001
    shop = over_its_floors(Kind(600, 0.0, full=full), 4100)
    table = suggest_prices(shop.basis, learnt(shop, 1), shop.settings)
    assert set(table["verdict"]) <= {"hold", "not enough evidence"}
    assert (table["suggested_price"] == current(shop)).all()


def test_without_quotes_nothing_moves() -> None:
    shop = over_its_floors(Kind(600, 0.13), 4101)
    table = suggest_prices(shop.basis, None, shop.settings)
    assert (table["suggested_price"] == current(shop)).all()


# --- the simulation itself -----------------------------------------------------------------------


def test_a_shop_is_what_its_kind_says() -> None:
    shop, again = simulated_shop(Kind(500, 0.08), 7), simulated_shop(Kind(500, 0.08), 7)
    pd.testing.assert_frame_equal(shop.quotes, again.quotes)
    habit = np.log(shop.quotes["quoted_price"] / shop.quotes["list_price"])
    assert len(shop.quotes) == 500
    assert habit.std() == pytest.approx(0.08, rel=0.15)
    assert np.isinf(shop.capacity)
    full = simulated_shop(Kind(500, 0.08, full=True), 7)
    assert full.basis["hour_value"].iloc[0] > 28
    dearer = yearly(full, current(full) * 1.02)
    assert dearer > yearly(full, current(full))
