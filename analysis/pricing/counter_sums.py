"""Counter sales one by one, and their sums by film and by quarter."""

from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import quarter_label
from analysis.counter_tables import COUNTER_BY_QUARTER, COUNTER_SALES, COUNTER_SALES_EACH
from analysis.errors import assert_reconciled
from analysis.findings.evidence import is_enough
from analysis.findings.groups import Period
from analysis.pricing.counter_model import CounterModel, net_draws, parts_of_sum
from analysis.pricing.counter_unknowns import ENDS
from analysis.pricing.counter_verdicts import FILM
from analysis.pricing.counter_words import sums_note
from analysis.records.model import Records
from analysis.settings import Settings

# Facts: a blank one makes its sum blank.
_FACTS: Final = (
    "revenue",
    "extras_margin",
    "payment_fee",
    "film_cost",
    "side_loss_area_m2",
    "side_loss_cost",
    "spoiled_cost",
    "staff_cost",
    "other_staff_cost",
    "margin",
)
# Expectations: summed over the sales of which every amount is known.
_EXPECTED: Final = ("displaced_cost", "later_installs", "expected_net")


def counter_sales_each(model: CounterModel) -> pd.DataFrame:
    """Every sale to date, in order of its day; columns of `COUNTER_SALES_EACH` (inside)."""
    sales = model.sales.sort_values(["sold_on", "sale_id"], kind="stable", ignore_index=True)
    return sales[COUNTER_SALES_EACH.inside_names]


def counter_sales(
    model: CounterModel,
    records: Records,
    period: Period,
    verdicts: pd.DataFrame,
    lowest: pd.Series,
) -> pd.DataFrame:
    """Sums by film of a period, with the verdict on sales such as those of the twelve months.

    `verdicts` : the table counter_verdicts; `lowest` : lowest price a metre by film [money / m].
    A row a film with sales to date; columns of `COUNTER_SALES` (inside). Raises `Unreconciled`
    where the films do not add to the sales.
    """
    chosen = model.sales[period.holds(model.sales["sold_on"])]
    films = pd.Index(sorted(model.sales["film"].dropna().unique()), name="film")
    table = _sums(model, chosen, chosen["film"], films)
    of_film = verdicts[verdicts["kind"] == FILM].set_index("group")
    for name in ("probability_pays", "verdict", "break_even_displaced_share"):
        table[name] = of_film[name].reindex(films)
    table["lowest_price_per_m"] = lowest.reindex(films).astype("float64")
    notes = [sums_note(chosen[chosen["film"] == film], model.minutes_known) for film in films]
    table["note"] = pd.Series(notes, index=films, dtype="str")
    table["enough"] = is_enough(table["sales"], records.settings.pricing.fewest_jobs)
    return table.reset_index()[COUNTER_SALES.inside_names]


def counter_by_quarter(model: CounterModel, last: int, settings: Settings) -> pd.DataFrame:
    """Sums by fiscal quarter, from the first sale to the quarter `last`.

    Columns of `COUNTER_BY_QUARTER` (inside); a quarter without a sale has 0.
    """
    number = model.sales["quarter_number"]
    every = pd.RangeIndex(number.min(), last + 1, name="quarter_number")
    table = _sums(model, model.sales, number, pd.Index(every)).reset_index()
    table["quarter"] = quarter_label(table["quarter_number"].astype("Int64"), settings)
    return table[COUNTER_BY_QUARTER.inside_names]


def _sums(
    model: CounterModel, chosen: pd.DataFrame, key: pd.Series, index: pd.Index
) -> pd.DataFrame:
    """Sums of sales by a key: facts strictly, expectations over what is told, with their spread."""
    by = chosen.groupby(key)
    table = by[list(_FACTS)].sum(min_count=0)
    blank = chosen[list(_FACTS)].isna().groupby(key).any()
    table = table.mask(blank).reindex(index, fill_value=0.0)
    told = chosen[chosen["told"]]
    expected = told.groupby(key[told.index])[list(_EXPECTED)].sum().reindex(index, fill_value=0.0)
    sizes = {
        "sales": by.size().reindex(index, fill_value=0).astype("int64"),
        "told": told.groupby(key[told.index]).size().reindex(index, fill_value=0).astype("int64"),
    }
    # Sales of which nothing is known leave nothing known of their sum.
    known = (sizes["told"] > 0) | (sizes["sales"] == 0)
    expected = expected.where(known)
    table = pd.concat([table, expected, pd.DataFrame(sizes)], axis=1)
    ends = [_ends(model, told[key[told.index] == each]) for each in index]
    low, high = (pd.Series(each, index=index) for each in zip(*ends, strict=True))
    table = table.assign(net_low=low.where(known), net_high=high.where(known))
    _check(table, told)
    return table


def _ends(model: CounterModel, told: pd.DataFrame) -> tuple[float, float]:
    """Ends of the 90 % interval of what some sales left together. [money]"""
    if told.empty:
        return 0.0, 0.0
    draws: Any = net_draws(model, parts_of_sum(model, told))
    low, high = np.quantile(draws, ENDS)
    return float(low), float(high)


def _check(table: pd.DataFrame, told: pd.DataFrame) -> None:
    """Margin − displaced + later = net, and the rows add to the sales."""
    parts = told["margin"] - told["displaced_cost"] + told["later_installs"]
    total = float(table["expected_net"].sum())
    tolerance = 1e-6 * max(1.0, float(told["expected_net"].abs().sum()))
    assert_reconciled("Counter sales, by their parts", float(parts.sum()), total, tolerance)
    assert_reconciled("Counter sales", float(told["expected_net"].sum()), total, tolerance)
