"""Rules about stock counts: a first count over what was bought by then. Doubtful."""

from collections.abc import Iterator
from typing import Final

import pandas as pd

from analysis.records.film_rules import bought_film, film_taken, in_area, maybe_film
from analysis.records.model import DOUBTFUL
from analysis.records.rule import Found, Rule, Shop, day, found, look_up

# A surplus is told from so large a share of the count, and from so much film. [share, m²]
_SHARE: Final = 0.05
_LEAST: Final = 1.0

SURPLUS_AT_FIRST_COUNT = Rule(
    "surplus-at-first-count",
    DOUBTFUL,
    "The first count of a film, where it is over what was bought up to that day less what was cut, "
    "by over 5 % of the count and over 1 m².",
    "If the film was there before the records begin, add it to purchases, on the day before the "
    "first record, at what it cost; else look at the count, and for an invoice that is missing. "
    "Until then it is taken for film that was found, and the result looks better than it was.",
)


def count_findings(shop: Shop, misspelt: frozenset[str]) -> Iterator[Found]:
    """Everything doubtful about stock counts; `misspelt` films are told of elsewhere."""
    counts = shop.used["stock_counts"]
    if counts.empty:
        return
    first = counts.groupby("film")["counted_on"].min()
    asked = counts[counts["counted_on"] == look_up(counts["film"], first)]
    area = asked["area_on_hand_m2"].fillna(asked["length_on_hand_m"] * asked["roll_width_m"])
    counted = area.groupby(asked["film"]).sum()
    left = _left(shop, first).clip(lower=0.0)
    over = counted - left
    told = over[(over > _LEAST) & (over > _SHARE * counted)].index
    told = told[told.isin(_films_known(shop)) & ~told.isin(misspelt)]
    rows = asked.drop_duplicates("film")
    rows = rows[rows["film"].isin(told)]
    if rows.empty:
        return
    remedy = _remedy(shop)
    for column, here in (
        ("area_on_hand", rows["area_on_hand_m2"].notna()),
        ("length_on_hand", rows["area_on_hand_m2"].isna()),
    ):
        problems = [
            f"{in_area(counted[film], shop.settings)} of {film} were counted on {day(on)}, and of "
            "what was bought up to then the cuts leave "
            f"{in_area(left[film], shop.settings)}"
            for film, on in rows.loc[here, ["film", "counted_on"]].itertuples(index=False)
        ]
        at = rows.index[here]
        yield found(SURPLUS_AT_FIRST_COUNT, "stock_counts", column, at, problems, remedy)


def _left(shop: Shop, first: pd.Series) -> pd.Series:
    """Area of each film bought less area taken, up to the day of its first count. [m²]"""
    bought = bought_film(shop.used["purchases"])
    area = bought["quantity"] * bought["roll_width_m"] * bought["roll_length_m"]
    came = pd.DataFrame({"film": bought["item"], "on": bought["received_on"], "area": area})
    taken = film_taken(shop)
    moves = pd.concat([came, taken.assign(area=-taken["area"])], ignore_index=True)
    moves = moves[moves["on"] <= look_up(moves["film"], first)]
    return moves.groupby("film")["area"].sum().reindex(first.index, fill_value=0.0)


def _films_known(shop: Shop) -> pd.Series:
    """Films that were bought at some time, and of which no purchase was rejected.

    Of a film that was never bought another rule tells; mending a rejected row mends the rest.
    """
    every = maybe_film(shop.read["purchases"])
    rejected = ~every.index.isin(shop.used["purchases"].index)
    spoilt = every["item"][rejected].dropna()
    return every.loc[~every["item"].isin(spoilt), "item"].dropna()


def _remedy(shop: Shop) -> str:
    """The rule's own remedy, with the day before the first record as a date."""
    jobs = shop.used["jobs"]
    columns = (
        ("hours", "worked_on"),
        ("purchases", "received_on"),
        ("cuts", "cut_on"),
        ("stock_counts", "counted_on"),
        ("counter_sales", "sold_on"),
    )
    days = [jobs["started_on"], jobs["finished_on"]]
    first = pd.concat([*days, *(shop.used[table][column] for table, column in columns)]).min()
    words = "on the day before the first record"
    if pd.isna(first):
        return SURPLUS_AT_FIRST_COUNT.remedy
    before = day(first - pd.Timedelta(days=1))
    return SURPLUS_AT_FIRST_COUNT.remedy.replace(words, f"on {before}, {words.removeprefix('on ')}")
