"""What film to order: how long the stock lasts, what is waiting for it, and whole rolls.

The rule, in one place. A film is ordered once what the books hold on rolls has fallen to the
reorder area: the usual use over lead time and safety days, or what the waiting jobs take, where
that is more. Then so many whole rolls that the stock comes to the reorder area and one lead time's
use on top, and at least one. The reorder point as use a day × lead time + safety stock: Heizer,
Render and Munson, Operations Management, chapter 12. Safety stock counted in days of use, and
topping up by one lead time's use, are common practice, no source.
"""

from typing import Final

import numpy as np
import pandas as pd
from scipy.special import stdtrit

from analysis.costing.jobs import Costing
from analysis.costing.purchases import after_credits
from analysis.costing.stock import KEPT
from analysis.errors import Unavailable
from analysis.film_tables import FILM_ORDERS
from analysis.findings.evidence import LEVEL
from analysis.pricing.film_order_words import reasons
from analysis.pricing.film_waiting import waiting_film
from analysis.records.model import Records
from analysis.settings import Settings

# Flows that are use; film missing at a count is none that an order could foresee.
_USE: Final = ("jobs", "counter_sales", "shop")
_WEEKS: Final = 52
# Weeks of one batch: the spread of the mean is told from the spread of these.
BATCH: Final = 4
_MONTHS: Final = 12
_LEAST: Final = 1e-6  # a square millimetre [m²]


def film_orders(
    costing: Costing, records: Records, until: pd.Timestamp
) -> pd.DataFrame | Unavailable:
    """What to order of each film on the evening of a day.

    Returns
    -------
    DataFrame
        A row a film that was bought, cut or is waited for by then; inside columns of
        `FILM_ORDERS`. [m², m, weeks, money]. `weekly_area_m2` and what follows from it are missing
        for a film with less than four weeks of records; the roll and the order where the film was
        never bought; `waiting_area_m2` where what a waiting job takes is not known.

    Notes
    -----
    Reorder area = max(weekly ÷ 7 × (lead days + safety days), waiting area + weekly ÷ 7 × safety
    days). Rolls =
    ⌈(reorder area + weekly ÷ 7 × lead days − on hand) ÷ area of a roll⌉, at least 1, where on hand
    ≤ reorder area; else 0; books below 0 count as an empty shelf. Film with fewer than
    `pricing.fewest_jobs` jobs and counter sales in the year is ordered for waiting jobs alone. Film
    that is on its way is not in the books. Weeks of cover count the waiting jobs as cut within lead
    time and safety days, where they take more than the usual use of that time.
    """
    pulls = costing.shelf.pulls
    cut = pulls[(pulls["cut_on"] <= until) & pulls["pulled_m2"].notna()]
    if cut.empty:
        return Unavailable(
            "film_orders",
            ("cuts", "purchases"),
            "What to order needs the film that was used: cuts, or pulled_length in jobs.",
        )
    settings = records.settings
    waiting = waiting_film(costing, records, until)
    stock = roll_area_m2(costing, until)
    films = stock.index.union(waiting.index).rename("film")
    table = pd.DataFrame(index=films)
    table["on_hand_area_m2"] = stock.reindex(films, fill_value=0.0)
    table = table.join(weekly_use(costing, until)).join(waiting)
    table["waiting_jobs"] = table["waiting_jobs"].fillna(0).astype("int64")
    none = table["waiting_jobs"] == 0
    for name in ("waiting_area_m2", "waiting_sd_m2"):
        table[name] = table[name].mask(none, 0.0)
    table["guessed_film"] = table["guessed_film"].fillna(0).astype("int64")
    table = table.join(usual_roll(costing, until))
    table = _orders(table, settings)
    table["reason"] = reasons(table, settings)
    table["as_of"] = until
    return table.reset_index()[FILM_ORDERS.inside_names]


def roll_area_m2(costing: Costing, until: pd.Timestamp) -> pd.Series:
    """What the books hold on rolls at the end of a day, by film; negative where more was cut.

    Book stock (purchases − use − missing at counts) less the offcuts on the shelf. [m²]
    """
    moved = costing.shelf.movements
    moved = moved[(moved["day"] <= until) & moved["film"].notna()]
    signed = moved["area_m2"].where(moved["flow"] == "purchased", -moved["area_m2"])
    book = signed.groupby(moved["film"]).sum()
    held = book - offcut_area_m2(costing, until).reindex(book.index, fill_value=0.0)
    return held.where(held.abs() > _LEAST, 0.0).sort_index()


def offcut_area_m2(costing: Costing, until: pd.Timestamp) -> pd.Series:
    """Area of the offcuts on the shelf at the end of a day, by film. [m²]"""
    moves = costing.shelf.offcuts
    moves = moves[moves["day"] <= until]
    signed = moves["area_m2"].where(moves["what"] == KEPT, -moves["area_m2"])
    held: pd.Series = signed.groupby(moves["film"]).sum()
    return held


def weekly_use(costing: Costing, until: pd.Timestamp) -> pd.DataFrame:
    """Use a week by film, with the 90 % interval of that mean.

    Returns
    -------
    DataFrame
        By `film`: `weekly_area_m2, weekly_low_m2, weekly_high_m2`; `uses`, jobs and counter sales
        in those weeks; `weeks`, so many of them. All but `weeks` missing where there are fewer
        than four.

    Notes
    -----
    The last 52 weeks, or the whole batches of four weeks since the film first came or was cut.
    Weekly sums jump from nothing to a whole vehicle and may follow one another, so the spread of
    the mean is that of the means of batches of four weeks, with Student's t: the method of batch
    means of Law, Simulation Modeling and Analysis, chapter 9 (from memory). With one batch there is
    no interval. The low end is not below 0.
    """
    moved = costing.shelf.movements
    moved = moved[(moved["day"] <= until) & moved["film"].notna()]
    first = moved.groupby("film")["day"].min()
    known = ((until - first).dt.days + 1) // (7 * BATCH)
    batches = known.clip(upper=_WEEKS // BATCH)
    used = moved[moved["flow"].isin(_USE)]
    back = (until - used["day"]).dt.days // (7 * BATCH)
    inside = back < used["film"].map(batches)
    used, back = used[inside], back[inside]
    sums = used.groupby(["film", back.rename("batch")])["area_m2"].sum()
    squares = (sums**2).groupby("film").sum().reindex(batches.index, fill_value=0.0)
    total = sums.groupby("film").sum().reindex(batches.index, fill_value=0.0)
    count = batches.astype("float64").where(batches > 0)
    mean = total / count
    # Batches without use are in no row of the sums, and count with 0.
    variance = ((squares - count * mean**2) / (count - 1).where(count > 1)).clip(lower=0.0)
    half = stdtrit((count - 1).where(count > 1), 0.5 + LEVEL / 2) * np.sqrt(variance / count)
    return pd.DataFrame(
        {
            "weekly_area_m2": mean / BATCH,
            "weekly_low_m2": ((mean - half) / BATCH).clip(lower=0.0),
            "weekly_high_m2": (mean + half) / BATCH,
            "uses": _users(costing, until, batches).where(batches > 0),
            "weeks": batches * BATCH,
        }
    )


def _users(costing: Costing, until: pd.Timestamp, batches: pd.Series) -> pd.Series:
    """Jobs and counter sales that took of each film in the last so many batches of weeks."""
    pulls = costing.shelf.pulls
    owner = pulls["job_id"].fillna(pulls["sale_id"])
    age = (until - pulls["cut_on"]).dt.days
    inside = (age >= 0) & (age < pulls["film"].map(batches) * 7 * BATCH) & owner.notna()
    users: pd.Series = owner[inside].groupby(pulls["film"]).nunique()
    return users.reindex(batches.index, fill_value=0)


def usual_roll(costing: Costing, until: pd.Timestamp) -> pd.DataFrame:
    """The roll of each film that is bought most, and what it costs.

    By `film`: `roll_width_m` of most rolls bought in the last twelve months (else ever; of equals
    the one bought last), `roll_length_m` by its newest purchase, and `cost_per_m2`, the landed cost
    of that purchase (credits off; lines of one day by area). [m, money / m²]
    """
    lines = costing.purchase_lines
    lines = lines[(lines["kind"] == "film") & (lines["received_on"] <= until)]
    lines = lines[(lines["roll_width_m"] > 0) & (lines["roll_length_m"] > 0)]
    paid = after_credits(lines, costing.credits, until)
    lines = lines.assign(paid=paid, film=lines["item"])
    bought = lines[lines["quantity"] > 0]
    recent = lines["received_on"] > until - pd.DateOffset(months=_MONTHS)
    keys = ["film", "roll_width_m"]
    sizes = pd.DataFrame(
        {
            "last": bought.groupby(keys)["received_on"].max(),
            "ever": lines.groupby(keys)["quantity"].sum(),
            "recent": lines[recent].groupby(keys)["quantity"].sum(),
        }
    )
    sizes = sizes[sizes["last"].notna()].fillna({"recent": 0.0}).reset_index()
    sizes = sizes.sort_values(["recent", "ever", "last", "roll_width_m"], kind="stable")
    most = sizes.drop_duplicates("film", keep="last")
    newest = bought.merge(most[[*keys, "last"]], on=keys, validate="m:1")
    newest = newest[newest["received_on"] == newest["last"]]
    by = newest.groupby("film")
    return pd.DataFrame(
        {
            "roll_width_m": by["roll_width_m"].last(),
            "roll_length_m": by["roll_length_m"].last(),
            "cost_per_m2": by["paid"].sum() / by["area_m2"].sum(),
        }
    )


def reorder_area_m2(
    weekly: pd.Series, waiting: pd.Series, lead_days: float, safety_days: float
) -> pd.Series:
    """Stock at which to order. [m²]

    Use over lead time and safety days; or what is waiting and the use of the safety days, where
    that is more. Missing use, or missing waiting film, gives way to the other; both missing:
    missing.
    """
    usual = weekly / 7 * (lead_days + safety_days)
    held_back = waiting + (weekly / 7 * safety_days).fillna(0.0)
    more: pd.Series = pd.concat([usual, held_back], axis=1).max(axis=1)
    return more


def _orders(table: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Adds cover, reorder area, rolls and their cost, and whether the use is enough to stock by."""
    lead, safety = settings.ordering.lead_days, settings.ordering.safety_days
    weekly, waiting = table["weekly_area_m2"], table["waiting_area_m2"]
    # A shelf cannot hold less than nothing, whatever the books say.
    held = table["on_hand_area_m2"].clip(lower=0.0)
    steady = table["uses"] >= settings.pricing.fewest_jobs
    usual = weekly.where(steady & (weekly > 0))
    reorder = reorder_area_m2(usual, waiting.where(waiting > 0), lead, safety)
    short = held <= reorder + _LEAST
    target = reorder + usual.fillna(0.0) / 7 * lead
    roll = table["roll_width_m"] * table["roll_length_m"]
    rolls = np.ceil((target - held) / roll - 1e-9).clip(lower=1.0)
    unknown = reorder.isna() & (table["waiting_jobs"] > 0)
    rolls = rolls.where(short, 0.0).mask((short & roll.isna()) | unknown)
    return table.assign(
        steady=steady,
        reorder_area_m2=reorder,
        cover_weeks=cover_weeks(held, weekly, waiting, (lead + safety) / 7),
        order_rolls=rolls.astype("Int64"),
        # A credit of more than the film cost leaves no price to go by.
        order_cost=(rolls * roll * table["cost_per_m2"].where(table["cost_per_m2"] > 0)).mask(
            rolls == 0, 0.0
        ),
    )


def cover_weeks(
    on_hand: pd.Series, weekly: pd.Series, waiting: pd.Series, horizon: float
) -> pd.Series:
    """Weeks that the stock lasts; missing where nothing is used, 0 where there is none.

    At the usual use; where the waiting jobs take more than that over `horizon` weeks, they are cut
    evenly over it, and what is left goes at the usual use.
    """
    usual = on_hand / weekly.where(weekly > 0)
    more = waiting > weekly.fillna(0.0) * horizon
    left = on_hand - waiting
    booked = (horizon * on_hand / waiting.where(waiting > 0)).where(
        left < 0, horizon + left / weekly.where(weekly > 0)
    )
    return booked.where(more, usual)
