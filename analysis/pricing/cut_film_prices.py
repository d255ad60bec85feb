"""The price list of cut film: each film the shop sells over the counter, by width and length.

A piece pays for its own film, staff time, and what installs displaced cost. The strip that is left
beside it on the roll is lost only where it is thrown away: a strip as wide as those that the shop
uses later is kept, and the piece pays for the share of it that will not be used.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing
from analysis.costing.stock import KEPT, USED
from analysis.counter_tables import CUT_FILM_PRICES
from analysis.errors import Unavailable
from analysis.pricing.counter_arithmetic import lowest_price
from analysis.pricing.layout_sheets import roll_prices
from analysis.pricing.money_words import percent_words
from analysis.pricing.price_lines import PriceTerms
from analysis.pricing.sale_costs import SaleCosts, cost_notes, counter_prices, joined_notes
from analysis.records.model import Records
from analysis.settings import Settings
from analysis.units import INCH_M, LENGTH_UNITS, metres_per

NO_STRIP: Final = "no strip"
KEEP_STRIP: Final = "keep the strip"
WHOLE_WIDTH: Final = "price the whole width"
# The lengths that a counter list has. Common practice, no source.
_FEET: Final = (1, 2, 3, 4, 5, 6, 8, 10)
_METRES: Final = (0.25, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0)
_HALF_METRE: Final = 0.5
# The narrowest strip in use: a tenth of those used are narrower, by chance or by mistake.
_NARROWEST: Final = 0.10
_MONTHS: Final = 12
_MONTHS_BOUGHT: Final = 24
# Widths that round to the same millimetre are the same. [m]
_HALF_MM: Final = 0.0005
_HAIR: Final = 1e-6
Values = Any


# --- the strip beside a piece --------------------------------------------------------------------


@dataclass(frozen=True)
class StripRule:
    """What becomes of the strip that a piece leaves beside it on the roll.

    `narrowest_m` : the narrowest strip that is used later [m]; `used_share` : of the area of strips
    kept, what is used in the end. NaN where the records do not tell: then no strip is kept.
    """

    narrowest_m: float
    used_share: float

    def keeps(self, strip_m: Values) -> Values:
        """Whether a strip goes back on the shelf."""
        known = not np.isnan(self.narrowest_m + self.used_share)
        return (np.asarray(strip_m) >= self.narrowest_m - _HAIR) & known

    def words(self, strip_m: Values) -> Values:
        """`no strip`, `keep the strip` or `price the whole width`."""
        kept = np.where(self.keeps(strip_m), KEEP_STRIP, WHOLE_WIDTH)
        return np.where(np.asarray(strip_m) < _HALF_MM, NO_STRIP, kept)

    def paid_width_m(self, strip_m: Values) -> Values:
        """The width of the strip that the piece pays for: what is not used of it. [m]"""
        strip = np.clip(strip_m, 0.0, None)
        return np.where(self.keeps(strip_m), (1 - self.used_share) * strip, strip)


def strip_rule(costing: Costing, settings: Settings, day: pd.Timestamp) -> StripRule:
    """The rule as the shop's own offcuts tell it, over all films up to a day.

    Narrowest: the 10 % quantile of the widths of cuts from offcuts, given `pricing.fewest_jobs` of
    them. Share: of the area of offcuts kept so long ago that their life is over, given as many of
    them, what was used; a younger one is gone only if it was used, and would flatter the share.
    """
    pulls = costing.shelf.pulls
    widths = pulls.loc[
        (pulls["source"] == "offcut") & (pulls["cut_on"] <= day), "pulled_width_m"
    ].dropna()
    fewest = settings.pricing.fewest_jobs
    enough = len(widths) >= fewest
    moves = costing.shelf.offcuts[costing.shelf.offcuts["day"] <= day]
    life = pd.DateOffset(months=settings.film.offcut_life_months)
    old = moves.loc[(moves["what"] == KEPT) & (moves["day"] + life <= day), "ref"]
    gone = moves[moves["ref"].isin(old) & (moves["what"] != KEPT)]
    area = float(gone["area_m2"].sum()) if len(old) >= fewest else 0.0
    used = float(gone.loc[gone["what"] == USED, "area_m2"].sum())
    return StripRule(
        narrowest_m=float(widths.quantile(_NARROWEST)) if enough else np.nan,
        used_share=used / area if area > 0 else np.nan,
    )


# --- the price list ------------------------------------------------------------------------------


def cut_film_prices(
    costing: Costing, records: Records, day: pd.Timestamp, sales: pd.DataFrame, costs: SaleCosts
) -> pd.DataFrame | Unavailable:
    """Prices of cut film as of a day, by film, width and length.

    Parameters
    ----------
    sales : a row a counter sale up to the day, inside names of the table counter_sales_each
    costs : what a sale costs beside its film

    Returns
    -------
    DataFrame
        Inside names of the table cut_film_prices, sorted by its keys. A width that no roll holds,
        or that has no known cost, has blanks and a note.
    """
    sales = sales[sales["film"].notna()]
    if sales.empty:
        return Unavailable(
            "cut_film_prices",
            ("counter_sales",),
            "The price list of cut film is of the films that are sold over the counter: it needs "
            "counter_sales.",
        )
    settings = records.settings
    rule = strip_rule(costing, settings, day)
    films = sorted(sales["film"].unique())
    rolls = _rolls(costing, films, day)
    step = metres_per("in" if _is_inches(settings.length_unit) else "cm")
    widths = _widths(rolls, sales, settings.pricing.fewest_jobs, step)
    pieces = _best_rolls(widths, rolls, rule).merge(
        _lengths(sales, settings.length_unit), on="film", validate="m:m"
    )
    pieces = pieces.sort_values(CUT_FILM_PRICES.keys, kind="stable", ignore_index=True)
    return _priced(pieces, records, day, costs, rule)


def film_rolls(costing: Costing, film: str, day: pd.Timestamp) -> pd.Series:
    """Newest landed cost of a square metre by roll width, as `roll_prices`; NaN where it is 0."""
    prices = roll_prices(costing, film, day)
    known: pd.Series = prices.where(prices > 0)
    return known


def _rolls(costing: Costing, films: list[str], day: pd.Timestamp) -> pd.DataFrame:
    """Every roll of every film: `film, roll_width_m, cost_per_m2`."""
    prices = {film: film_rolls(costing, film, day) for film in films}
    rows = [
        (film, width, cost)
        for film, by_width in prices.items()
        for width, cost in zip(by_width.index.tolist(), by_width.tolist(), strict=True)
    ]
    rolls = pd.DataFrame(rows, columns=["film", "roll_width_m", "cost_per_m2"])
    return rolls.astype({"film": "str", "roll_width_m": "float64", "cost_per_m2": "float64"})


def _widths(rolls: pd.DataFrame, sales: pd.DataFrame, fewest: int, step_m: float) -> pd.DataFrame:
    """`film, width_m`: its rolls, half and a third of the widest, and widths sold often.

    Half and third are whole steps of `step_m`, for nobody cuts 50.7 cm.

    A film without a roll of known width has those sold often, else the one sold most.
    """
    widest = rolls.groupby("film")["roll_width_m"].max()
    parts = [np.floor(widest / share / step_m + _HAIR) * step_m for share in (2, 3)]
    sold = sales.groupby(["film", "width_m"]).size().rename("sold").reset_index()
    most = sold.sort_values(["sold", "width_m"], kind="stable").drop_duplicates("film", keep="last")
    often = sold["sold"] >= fewest
    lone = most[~most["film"].isin([*rolls["film"], *sold.loc[often, "film"]])]
    given = pd.concat(
        [
            rolls.rename(columns={"roll_width_m": "width_m"})[["film", "width_m"]],
            *(part.rename("width_m").reset_index() for part in parts),
            sold.loc[often, ["film", "width_m"]],
            lone[["film", "width_m"]],
        ],
        ignore_index=True,
    )
    # Widths of rolls come first: of two in the same millimetre the roll's stands.
    alike = given["width_m"].round(3)
    every: pd.DataFrame = given[~given.assign(width_m=alike).duplicated()].reset_index(drop=True)
    return every


def _is_inches(length_unit: str) -> bool:
    """Whether a unit is so many inches."""
    return LENGTH_UNITS[length_unit] % INCH_M == 0


def _lengths(sales: pd.DataFrame, length_unit: str) -> pd.DataFrame:
    """`film, length_m`: the usual list, and the longest sale rounded up where it is longer."""
    if _is_inches(length_unit):
        step = metres_per("ft")
        usual = [feet * step for feet in _FEET]
    else:
        step, usual = _HALF_METRE, list(_METRES)
    longest = sales.groupby("film", as_index=False)["length_m"].max()
    last = np.ceil(longest["length_m"] / step - _HAIR) * step
    longer = longest.assign(length_m=last)[last > usual[-1] + _HAIR]
    listed = longest[["film"]].merge(pd.DataFrame({"length_m": usual}), how="cross")
    every: pd.DataFrame = pd.concat([listed, longer], ignore_index=True)
    return every


def _best_rolls(widths: pd.DataFrame, rolls: pd.DataFrame, rule: StripRule) -> pd.DataFrame:
    """Each width on the roll whose film for it costs least.

    Adds `roll_width_m, strip_m, cost_per_m2, paid_width_m` (missing where no roll holds it) and
    `bought`, whether any roll of the film is known.
    """
    pairs = widths.merge(rolls, on="film", validate="m:m")
    pairs = pairs[pairs["roll_width_m"] >= pairs["width_m"] - _HALF_MM]
    strip = (pairs["roll_width_m"] - pairs["width_m"]).clip(lower=0.0)
    pairs = pairs.assign(strip_m=strip, paid_width_m=pairs["width_m"] + rule.paid_width_m(strip))
    cost_per_m = pairs["paid_width_m"] * pairs["cost_per_m2"]
    keys = ["film", "width_m"]
    best = pairs.assign(cost_per_m=cost_per_m).sort_values(
        [*keys, "cost_per_m", "roll_width_m"], kind="stable"
    )
    best = best.drop_duplicates(keys).drop(columns="cost_per_m")
    found = widths.merge(best, on=keys, how="left", validate="1:1")
    return found.assign(bought=found["film"].isin(rolls["film"]))


def _priced(
    pieces: pd.DataFrame,
    records: Records,
    day: pd.Timestamp,
    costs: SaleCosts,
    rule: StripRule,
) -> pd.DataFrame:
    settings = records.settings
    length, held = pieces["length_m"], pieces["roll_width_m"].notna()
    area = length * pieces["paid_width_m"]
    film_cost = area * pieces["cost_per_m2"]
    each = costs.of_films(pieces["film"])
    # A scrap displaces no roof: what installs cost goes by the area of the piece.
    size = length * pieces["width_m"] / costs.area_m2
    each = each.assign(installs_each=each["installs_each"] * size)
    prices = counter_prices(film_cost, each, settings)
    strip = pd.Series(rule.words(pieces["strip_m"]), index=pieces.index, dtype="str")
    notes = joined_notes(
        pd.Series("No roll of it is known from purchases.", index=pieces.index).where(
            ~pieces["bought"], ""
        ),
        pd.Series("No roll of it is so wide.", index=pieces.index).where(
            pieces["bought"] & ~held, ""
        ),
        # What no roll holds says so already.
        cost_notes(prices, film_cost, each).where(held, ""),
        pd.Series(_kept_words(rule, settings), index=pieces.index).where(strip == KEEP_STRIP, ""),
    )
    frame = pieces.assign(
        strip=strip.where(held),
        film_area_m2=area,
        film_price_cost=film_cost,
        **each,
        **prices,
        lowest_price_per_m=prices["lowest_price"] / length,
        price_to_ask_per_m=prices["price_to_ask"] / length,
        price_so_far=_price_so_far(records, day, pieces["film"], length * pieces["width_m"]),
        note=notes.astype("str").where(notes != ""),
    )
    return frame[CUT_FILM_PRICES.inside_names]


def _kept_words(rule: StripRule, settings: Settings) -> str:
    if np.isnan(rule.used_share):
        return ""
    lost = percent_words(1 - rule.used_share, settings)
    return f"{lost} of the strip is in the price: so much of what is kept is never used."


def _price_so_far(
    records: Records, day: pd.Timestamp, films: pd.Series, area_m2: pd.Series
) -> pd.Series:
    """What sales of the twelve months to a day ask for a piece of an area, as written. [money]

    The median price of a square metre × the area; NaN for an area outside those that were sold, of
    which a mean price says nothing, and for a film with fewer sales than `pricing.fewest_jobs`.
    """
    sold = records["counter_sales"]
    sold = sold[(sold["sold_on"] > day - pd.DateOffset(months=_MONTHS)) & (sold["sold_on"] <= day)]
    area = sold["length_m"] * sold["width_m"]
    by = (sold["price"] / area).groupby(sold["film"])
    usual = by.median().where(by.count() >= records.settings.pricing.fewest_jobs)
    of_film = area.groupby(sold["film"])
    least, most = films.map(of_film.min()), films.map(of_film.max())
    was_sold = area_m2.between(least - _HAIR, most + _HAIR)
    return (films.map(usual) * area_m2).where(was_sold).astype("float64")


# --- a sale of usual length ----------------------------------------------------------------------


def lowest_per_length(
    costing: Costing, records: Records, day: pd.Timestamp, sales: pd.DataFrame, costs: SaleCosts
) -> pd.Series:
    """Price of a metre at which a sale of usual length leaves nothing, by film. [money / m]

    On the roll width of which most was bought in 24 months (else ever), at its whole width; usual
    is the mean length of the film's sales of the last twelve months, else to date. NaN where the
    film's cost is not known; staff time or installs that are not known are not in it.
    """
    sales = sales[sales["film"].notna()]
    recent = sales[sales["sold_on"] > day - pd.DateOffset(months=_MONTHS)]
    ever = sales.groupby("film")["length_m"].mean()
    length = recent.groupby("film")["length_m"].mean().reindex(ever.index).fillna(ever)
    films = length.index.to_series()
    cost_per_m = films.map({film: _main_roll_cost(costing, str(film), day) for film in films})
    each = costs.of_films(films).fillna(0.0)
    terms = PriceTerms.of(records.settings)
    film_cost = cost_per_m.astype("float64") * length
    lowest = lowest_price(film_cost, each["staff_each"], each["installs_each"], terms)
    return pd.Series(lowest / length, index=length.index, name="lowest_price_per_m")


def _main_roll_cost(costing: Costing, film: str, day: pd.Timestamp) -> float:
    """Cost of a metre off the roll width that most was bought of; NaN where none. [money / m]"""
    prices = film_rolls(costing, film, day)
    if prices.empty:
        return np.nan
    lines = costing.purchase_lines
    lines = lines[
        (lines["kind"] == "film") & (lines["item"] == film) & (lines["received_on"] <= day)
    ]
    recent = lines["received_on"] > day - pd.DateOffset(months=_MONTHS_BOUGHT)
    lines = lines[recent] if (recent & (lines["area_m2"] > 0)).any() else lines
    bought = lines["area_m2"].groupby(lines["roll_width_m"].round(5)).sum()
    # Of equals the widest, which comes first.
    most = int(np.argmax(bought.reindex(prices.index).to_numpy()))
    return float(prices.iloc[most]) * float(prices.index[most])
