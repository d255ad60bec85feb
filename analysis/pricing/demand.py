"""What the price does to the share of quotes that are won: learnt from quotes won and lost.

A quote is measured against the list price of its day, and the list of its day against today's: so
both the haggling around the list and the list's own moves teach, the latter as far as they are not
what prices in the whole town did in the meantime.
"""

from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import expit

from analysis.errors import Unavailable
from analysis.pricing.demand_model import SLOPES, Answers, Draws, draw_demand
from analysis.pricing.price_cells import KEYS, cell_of
from analysis.pricing.quote_history import quote_history
from analysis.records.model import Records

Array = npt.NDArray[np.float64]

RESULT: Final = "win_chances"
# A list that has moved further than this factor is that of another thing (common practice, no
# source).
_FURTHEST: Final = float(np.log(2.0))
_DRAWS: Final = 600
# Habit: so many equally likely points, from the quotes of so many months; the shop's stand against
# a service's with the weight of so many quotes.
_POINTS: Final = 9
_HABIT_MONTHS: Final = 24
_SHOP_QUOTES: Final = 10.0
# What the price does is called learnt from so many quotes on, where they leave at most this part of
# the interval that was believed before the first.
FEWEST_QUOTES: Final = 20
_MOST_LEFT: Final = 0.7
# A price that varies by less than this around the list teaches nothing (share).
_ALIKE: Final = 0.03
_QUARTER_DAYS: Final = 365.25 / 4
_YEAR_DAYS: Final = 365.25
# The rise by which "what a dearer price loses" is told.
RISE: Final = float(np.log(1.05))


@dataclass(frozen=True, eq=False)
class Demand:
    """Posterior draws of the chance to win a quote, by cell of the price list.

    The chance that a quote of a cell is won, where the list price is moved by the factor exp(step)
    and the quote stands at exp(habit) times the list: expit(level + slope × (step + habit)).

    `cells` : a row a cell: service, vehicle_class, quotes (won or lost, to date), won,
    quotes_service, enquiries (a quarter, mean of the last four, every outcome), learnt (whether
    the quotes tell what the price of the service does), note; `level` : log-odds at today's list
    price, mean season, draws × cells; `slope` : change of the log-odds with log(price), never over
    0, draws × cells; `habit` : equally likely values of log(quoted ÷ list price), cells × points.

    `season` : what January to March, and so on, adds to the log-odds, draws × 4, each row sums
    to 0.
    """

    cells: pd.DataFrame
    level: Array
    slope: Array
    habit: Array
    season: Array = field(default_factory=lambda: np.zeros((0, 4)))


def learn_demand(
    records: Records, price_cells: pd.DataFrame, day: pd.Timestamp, seed: int
) -> Demand | Unavailable:
    """What the price does to the share of quotes won, from all quotes by a day.

    Parameters
    ----------
    price_cells : DataFrame
        `service, vehicle_class` (missing: holds for every class without its own row),
        `current_price`. Where it has no row, the cells are those of the quotes.
    seed : int
        The same seed gives the same draws.

    Returns
    -------
    Demand
        Its cells are the rows of `price_cells`, in their order. `Unavailable` where there is no
        quote won or none lost.
    """
    history = quote_history(records, day)
    decided = history[history["outcome"] != "open"]
    won = decided["outcome"] == "won"
    if history.empty or won.all() or not won.any():
        return Unavailable(RESULT, ("quotes",), _missing_line(history, decided))
    cells, count = _with_unlisted(price_cells, history)
    history = history.assign(cell=cell_of(cells, history).astype("int64"))
    learnt_from = _with_price(history[history["outcome"] != "open"], cells, day)
    services, of_cell = _codes(cells["service"])
    draws = draw_demand(_answers(learnt_from, of_cell, len(services)), _DRAWS, seed)
    notes = _notes(learnt_from, services, draws)
    table = _cell_table(cells, history, day).merge(
        notes, left_on="service", right_index=True, how="left", validate="many_to_one"
    )
    return Demand(
        table.head(count).reset_index(drop=True),
        draws.level[:, :count],
        draws.slope[:, of_cell[:count]],
        _habits(history, services, day)[of_cell[:count]],
        draws.season,
    )


def chance(demand: Demand, at: int, steps: Array) -> Array:
    """Chance to win a quote of the cell in row `at`, the list moved by each factor exp(step).

    The mean over what is quoted around the list. (draws × steps)
    """
    level, slope = demand.level[:, at, None, None], demand.slope[:, at, None, None]
    moved = np.asarray(steps, dtype=np.float64)[None, :, None] + demand.habit[at][None, None, :]
    return np.asarray(expit(level + slope * moved).mean(axis=2))


def _missing_line(history: pd.DataFrame, decided: pd.DataFrame) -> str:
    if history.empty:
        return (
            "What the price does to the quotes won needs the table quotes: a row a quote, won or "
            "lost, with its price."
        )
    if decided.empty:
        return "No quote is marked won or lost yet, so nothing can be learnt from the price."
    kind = "won" if (decided["outcome"] == "won").all() else "lost"
    return (
        f"Every quote in the table quotes is {kind}: what the price does can be learnt only where "
        "quotes that were lost stand beside those that were won."
    )


def _with_unlisted(price_cells: pd.DataFrame, history: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """The cells, those of quotes that the list does not price at the end, and how many are to tell.

    Quotes of an unlisted class still teach what the price of their service does.
    """
    columns = [*KEYS, "current_price"]
    cells = price_cells[columns].reset_index(drop=True)
    unlisted = history if cells.empty else history[cell_of(cells, history).isna()]
    more = unlisted[KEYS].drop_duplicates().sort_values(KEYS, kind="stable")
    if cells.empty:
        return more.assign(current_price=np.nan).reset_index(drop=True)[columns], len(more)
    return pd.concat([cells, more.assign(current_price=np.nan)], ignore_index=True), len(cells)


def _with_price(decided: pd.DataFrame, cells: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """Decided quotes with `x`, log(price ÷ today's list), and `years` in which the town rose.

    x is missing where the price, or what the list did since, is beyond belief. Against a list of
    which today's price is not known, the list is taken to have followed the town.
    """
    today = cells["current_price"].take(decided["cell"]).set_axis(decided.index)
    of_day = decided["dated_price"].fillna(decided["list_price"])
    since = np.log((of_day / today).where(today > 0))
    follows = since.isna() & decided["list_from"].ne("usual price")
    years = (day - decided["quoted_on"]).dt.days / _YEAR_DAYS
    x = decided["log_ratio"] + since.fillna(0.0)
    return decided.assign(
        x=x.where(since.fillna(0.0).abs() <= _FURTHEST),
        years=years.where(~follows, 0.0),
    )


def _codes(names: pd.Series) -> tuple[pd.Index, npt.NDArray[np.int64]]:
    codes, found = pd.factorize(names, sort=True)
    return pd.Index(found), codes.astype(np.int64)


def _answers(decided: pd.DataFrame, of_cell: npt.NDArray[np.int64], services: int) -> Answers:
    used = decided[decided["x"].notna()]
    return Answers.of(
        used["cell"].to_numpy(dtype=np.int64),
        used["x"].to_numpy(dtype=np.float64),
        used["years"].to_numpy(dtype=np.float64),
        (used["quoted_on"].dt.quarter - 1).to_numpy(dtype=np.int64),
        (used["outcome"] == "won").to_numpy(dtype=np.float64),
        of_cell,
        services,
    )


def _cell_table(cells: pd.DataFrame, history: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """Counts by cell, in the order of the cells."""
    decided = history[history["outcome"] != "open"]
    recent = history[history["quoted_on"] > day - pd.DateOffset(months=12)]
    covered = (day - history["quoted_on"].min()).days / _QUARTER_DAYS
    counts = {
        "quotes": decided.groupby("cell").size(),
        "won": decided[decided["outcome"] == "won"].groupby("cell").size(),
        "enquiries": recent.groupby("cell").size() / float(np.clip(covered, 1.0, 4.0)),
    }
    table = cells[KEYS].assign(
        **{name: each.reindex(cells.index, fill_value=0) for name, each in counts.items()}
    )
    by_service = table.groupby("service")["quotes"].transform("sum")
    return table.assign(quotes_service=by_service)


def _habits(history: pd.DataFrame, services: pd.Index, day: pd.Timestamp) -> Array:
    """Equally likely values of log(quoted ÷ list) by service. (services × points)

    Quantiles of its quotes of the last two years and of the whole shop's, which weigh as much as a
    few quotes of its own.
    """
    known = history[history["log_ratio"].notna()]
    recent = known[known["quoted_on"] > day - pd.DateOffset(months=_HABIT_MONTHS)]
    used = recent if len(recent) else known
    if used.empty:
        return np.zeros((len(services), _POINTS))
    used = used.sort_values("log_ratio", kind="stable")
    ratio = used["log_ratio"].to_numpy(dtype=np.float64)
    mine = services.get_indexer(pd.Index(used["service"]))
    places = (np.arange(_POINTS) + 0.5) / _POINTS
    points = np.empty((len(services), _POINTS))
    for service in range(len(services)):
        weight = (mine == service) + _SHOP_QUOTES / len(used)
        middle = (np.cumsum(weight) - weight / 2) / weight.sum()
        points[service] = np.interp(places, middle, ratio)
    return points


def _notes(decided: pd.DataFrame, services: pd.Index, draws: Draws) -> pd.DataFrame:
    """By service whether what the price does is learnt, and what is wanting where it is not."""
    left = _left_open(draws.alone)
    used = decided[decided["x"].notna()]
    by_service = used.groupby("service")
    count = by_service.size().reindex(services, fill_value=0)
    won = (used["outcome"] == "won").groupby(used["service"]).sum().reindex(services, fill_value=0)
    spread = by_service["x"].std().reindex(services)
    aside = decided["x"].isna().groupby(decided["service"]).sum().reindex(services, fill_value=0)
    rows = [
        _note(*each)
        for each in zip(left, count.tolist(), won.tolist(), spread, aside.tolist(), strict=True)
    ]
    return pd.DataFrame(rows, index=services, columns=["learnt", "note"])


def _left_open(alone: Array) -> Array:
    """What the quotes of a service leave of the interval of the jobs that a rise of 5 % loses.

    The width of its 90 % interval ÷ that of the prior, where six quotes in ten are won.
    """
    lost = 1 - expit(0.4 + SLOPES * RISE) / expit(0.4)
    prior = alone[-1]
    widths = [_width(lost, each) for each in alone]
    return np.array(widths[:-1]) / _width(lost, prior)


def _width(values: Array, weight: Array) -> float:
    """Width of the middle nine tenths of values that rise, with their weights."""
    total = np.cumsum(weight) - weight / 2
    low, high = np.interp([0.05, 0.95], total / weight.sum(), values)
    return float(high - low)


def _note(left: float, count: int, won: int, spread: float, aside: int) -> tuple[bool, str]:
    learnt = count >= FEWEST_QUOTES and left <= _MOST_LEFT
    parts = []
    if count == 0:
        parts.append("No quote was decided.")
    elif count < FEWEST_QUOTES:
        parts.append(f"Only {count} {'quote was' if count == 1 else 'quotes were'} decided.")
    elif not learnt and won in (0, count):
        parts.append(f"All {count} quotes were {'won' if won else 'lost'}.")
    elif not learnt and spread < _ALIKE:
        parts.append(
            f"Prices varied by only {100 * spread:.0f} % around the list: too alike to learn from."
        )
    elif not learnt:
        parts.append(
            f"{count} quotes whose prices varied by {100 * spread:.0f} % are too few to tell."
        )
    if aside:
        parts.append(f"{aside} with a price far from the list left aside.")
    return learnt, " ".join(parts)
