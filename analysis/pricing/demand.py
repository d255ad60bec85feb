"""What the price does to the share of quotes that are won: learnt from quotes won and lost.

A quote is measured against the list price of its day, and the list of its day against today's: so
both the haggling around the list and the list's own moves teach, the latter as far as they are not
what prices in the whole town did in the meantime.
"""

from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.special import expit

from analysis.errors import Unavailable
from analysis.locale_text import counted
from analysis.pricing.demand_draws import draw_demand
from analysis.pricing.demand_model import GROWTH, STEEPNESS, Answers
from analysis.pricing.price_cells import KEYS, cell_of, price_cells
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
# What the price does is called learnt from so many quotes on.
FEWEST_QUOTES: Final = 20
# A price that varies by less than this around the list teaches nothing (share).
_ALIKE: Final = 0.03
_QUARTER_DAYS: Final = 365.25 / 4
_YEAR_DAYS: Final = 365.25


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
    records: Records, cells: pd.DataFrame, day: pd.Timestamp, seed: int
) -> Demand | Unavailable:
    """What the price does to the share of quotes won, from all quotes by a day.

    Parameters
    ----------
    cells : DataFrame
        `service, vehicle_class` (missing: holds for every class without its own row),
        `current_price`. Where it has no row, the cells are those of the quotes.
    seed : int
        The same seed gives the same draws.

    Returns
    -------
    Demand
        Its cells are the rows of `cells`, in their order. `Unavailable` where there is no
        quote won or none lost.
    """
    history = quote_history(records, day)
    decided = history[history["outcome"] != "open"]
    won = decided["outcome"] == "won"
    if history.empty or won.all() or not won.any():
        return Unavailable(RESULT, ("quotes",), _missing_line(history, decided))
    cells, count = _with_unlisted(cells, history)
    history = history.assign(cell=cell_of(cells, history).astype("int64"))
    learnt_from = _with_price(history[history["outcome"] != "open"], cells, day)
    services, of_cell = _codes(cells["service"])
    draws = draw_demand(_answers(learnt_from, of_cell, len(services)), _DRAWS, seed)
    notes = _notes(learnt_from, services)
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


def against_today(records: Records, day: pd.Timestamp) -> pd.DataFrame:
    """Every quote won or lost by a day whose price is against today's list.

    Returns
    -------
    DataFrame
        `service, won` (bool), `against`: log(price ÷ today's list), past prices carried to today at
        what is believed of the town's prices.
    """
    history = quote_history(records, day)
    cells, _ = _with_unlisted(price_cells(records["price_list"], day), history)
    history = history.assign(cell=cell_of(cells, history).astype("int64"))
    decided = _with_price(history[history["outcome"] != "open"], cells, day)
    decided = decided[decided["x"].notna()]
    return pd.DataFrame(
        {
            "service": decided["service"],
            "won": decided["outcome"] == "won",
            "against": decided["x"] + GROWTH * decided["years"],
        }
    )


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


def _with_unlisted(listed: pd.DataFrame, history: pd.DataFrame) -> tuple[pd.DataFrame, int]:
    """The cells, those of quotes that the list does not price at the end, and how many are to tell.

    Quotes of an unlisted class still teach what the price of their service does.
    """
    columns = [*KEYS, "current_price"]
    cells = listed[columns].reset_index(drop=True)
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
    today = pd.Series(cells["current_price"].to_numpy()[decided["cell"]], index=decided.index)
    of_day = decided["dated_price"].fillna(decided["list_price"])
    since = pd.Series(np.log((of_day / today).where(today > 0)), index=decided.index)
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
        np.where(used["outcome"] == "won", 1.0, 0.0),
        of_cell,
        services,
    )


def _cell_table(cells: pd.DataFrame, history: pd.DataFrame, day: pd.Timestamp) -> pd.DataFrame:
    """Counts by cell, in the order of the cells."""
    decided = history[history["outcome"] != "open"]
    recent = history[history["quoted_on"] > day - pd.DateOffset(months=12)]
    covered = (day - history["quoted_on"].min()).days / _QUARTER_DAYS
    counts: dict[str, pd.Series] = {
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


def _notes(decided: pd.DataFrame, services: pd.Index) -> pd.DataFrame:
    """By service whether what the price does is learnt, and what is wanting where it is not.

    Learnt is said where its own quotes leave a standard error of the slope of at most the middle
    of what was believed before: 1 ÷ √(p (1 − p) Σ (x − mean of the season)²), p the share won.
    """
    used = decided[decided["x"].notna()]
    x = used["x"] + GROWTH * used["years"]
    by_season = [used["service"], used["quoted_on"].dt.quarter]
    name = used["service"]
    left = (x - x.groupby(by_season).transform("mean")) ** 2
    table = pd.DataFrame(
        {
            "decided": name.groupby(name).size(),
            "won": (used["outcome"] == "won").groupby(name).sum(),
            "spread": x.groupby(name).std(ddof=0),
            "haggled": used["log_ratio"].groupby(name).std(ddof=0),
            "left": left.groupby(name).sum(),
        }
    ).reindex(services)
    table = table.fillna({"decided": 0, "won": 0})
    share = (table["won"] + 0.6) / (table["decided"] + 1)
    error = 1 / np.sqrt(share * (1 - share) * table["left"])
    aside = decided.loc[decided["x"].isna(), ["service"]].groupby("service").size()
    table = table.assign(
        aside=aside.reindex(services, fill_value=0),
        within=np.sqrt(table["left"] / table["decided"].where(table["decided"] > 0)),
        too_wide=(error / np.exp(STEEPNESS)) ** 2,
    )
    notes = [_note(row) for row in table.itertuples()]
    return pd.DataFrame(notes, index=services, columns=["learnt", "note"])


def _note(row: Any) -> tuple[bool, str]:
    learnt = row.decided >= FEWEST_QUOTES and row.too_wide <= 1
    return learnt, " ".join(each for each in (_wanting(row, learnt=learnt), _aside(row)) if each)


def _wanting(row: Any, *, learnt: bool) -> str:
    """What the quotes of a service are too few or too alike for; empty where nothing."""
    count, varied = int(row.decided), f"{100 * row.spread:.0f} %"
    if learnt:
        return ""
    if count == 0:
        return "" if row.aside else "No quote was decided."
    if count < FEWEST_QUOTES:
        return f"Only {count} {'quote was' if count == 1 else 'quotes were'} decided."
    if row.won in (0, count):
        return f"All {count} quotes were {'won' if row.won else 'lost'}."
    if row.spread < _ALIKE:
        around = f"{100 * row.haggled:.0f} %"
        return f"Prices varied by only {around} around the list: too alike to learn from."
    if row.within < row.spread / 2:
        return "Prices varied with the season alone: which of the two did it is not known."
    wanted = 10 * int(np.ceil(count * row.too_wide / 10))
    return (
        f"{count} quotes at prices that varied by {varied} are too few to tell: it takes some "
        f"{wanted}."
    )


def _aside(row: Any) -> str:
    if not row.aside:
        return ""
    return f"{counted(row.aside, 'quote')} with a price far from the list left aside."
