"""How full the shop is, month by month, and which hours are short."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.costing.jobs import Costing
from analysis.errors import Unavailable, assert_reconciled
from analysis.locale_text import percent_text
from analysis.periods import Quarter, quarter_index
from analysis.price_tables import UTILISATION_BY_MONTH
from analysis.records.model import Records
from analysis.settings import Settings
from analysis.sums import ratio, strict_sum

# From this use on, hours are taken for what is short. Common practice, no source.
SHORT_FROM_SHARE: Final = 0.85
BAYS, INSTALLERS, NOTHING, UNKNOWN = "bays", "installers", "nothing", "not known"
# Fewer months than this that stand in both years say nothing about a change of the year.
_FEWEST_MATCHED: Final = 6
_YEAR_MONTHS: Final = 12
_PAIRS: Final = (("worked_hours", "installer_hours"), ("bay_hours", "bay_capacity_hours"))


@dataclass(frozen=True)
class Use:
    """Use of the hours that there are, over some months: NaN where it is not known.

    `installer_share` = hours worked ÷ practical hours; `bay_share` = bay hours ÷ hours that the
    bays could be held.
    """

    installer_share: float
    bay_share: float


@dataclass(frozen=True)
class Governing:
    """Which hours are short, and so by what services are ranked and hours priced.

    `constraint` : `BAYS`, `INSTALLERS`, `NOTHING` or `UNKNOWN`; `quarter` and `year` : use in the
    quarter and in the trailing twelve months; `coming` : use that is expected of the next quarter,
    on which the constraint is decided; `ground` : what that rests on, in words.
    """

    constraint: str
    quarter: Use
    year: Use
    coming: Use
    ground: str = ""

    @property
    def is_short(self) -> bool:
        """Whether any hours are short."""
        return self.constraint in (BAYS, INSTALLERS)

    @property
    def refill_share(self) -> float:
        """Chance that an hour of what is short, when a job leaves it, is filled by other work.

        It rises from 0 at `SHORT_FROM_SHARE` to 1 where every hour is used: a straight line
        between, no source. In simulated shops whose customers wait two to four weeks for their
        turn and then go elsewhere, a freed hour was filled 2 to 35 times in 100 at a use of
        85 %, 5 to 50 at 90 %, 20 to 70 at 95 % and some 85 at 99 %. 0 where nothing is short,
        NaN where that is not known.
        """
        if self.constraint == UNKNOWN:
            return np.nan
        bays = self.constraint == BAYS
        use = self.coming.bay_share if bays else self.coming.installer_share
        return float(refill_shares(use)) if self.is_short else 0.0


@dataclass(frozen=True)
class Spare:
    """Hours of twelve months that were there and not used, of what is not short. [h]"""

    people_hours: float = 0.0
    bay_hours: float = 0.0


def utilisation_by_month(
    costing: Costing, records: Records, quarter: Quarter
) -> pd.DataFrame | Unavailable:
    """Hours worked and bay hours against what could be, over the two years to the quarter's end.

    Returns
    -------
    DataFrame
        Columns of `UTILISATION_BY_MONTH` (inside), one row a month for which capacity or hours
        are written down. [h, money, share]

    Notes
    -----
    Bay hours stand in the month of the day worked: for each job and day the longest time of any
    one person, and what the job sheet says where there is no log. Months between the first and the
    last entry of the log without one were not worked (0); before and after, hours are missing. Time
    on an unknown job is worked and holds no bay. A
    month given twice in `capacity` is added. Unused hours are priced at the overhead rate of their
    quarter, as in the statement; more hours than the practical ones make them negative. Raises
    `Unreconciled` where the months do not add to the hours of the log and of the jobs.
    """
    last = quarter.last_day
    first = quarter.year_first_day - pd.DateOffset(years=1)
    index = pd.date_range(first, last, freq="MS", name="month")
    capacity = records["capacity"]
    by_month = [_month(capacity["month"])]
    practical = strict_sum(capacity["installer_hours"], by_month)
    bays = strict_sum(capacity["bay_hours"], by_month)
    worked, held = _worked(costing.log), _bay_hours(costing)
    table = pd.DataFrame(
        {
            "installer_hours": practical.reindex(index),
            "worked_hours": _filled(worked, worked.index).reindex(index),
            "bay_capacity_hours": bays.reindex(index),
            "bay_hours": _filled(held, worked.index).reindex(index),
        },
        index=index,
    ).astype("float64")
    is_told = table["installer_hours"].notna() | table["bay_capacity_hours"].notna()
    table = table[is_told | (table["worked_hours"] > 0)]
    if table.empty:
        return Unavailable(
            UTILISATION_BY_MONTH.name,
            ("capacity", "hours"),
            "How full the shop is cannot be said: no month of the two years has its hours worked "
            "or its capacity written down.",
        )
    return _with_use(table.reset_index(), costing, records.settings.fiscal_year_starts)


def governing(costing: Costing, records: Records, quarter: Quarter) -> Governing:
    """Which hours are short for the next quarter; see `governing_in`."""
    return governing_in(utilisation_by_month(costing, records, quarter), quarter)


def governing_in(months: pd.DataFrame | Unavailable, quarter: Quarter) -> Governing:
    """Which hours are short for the next quarter, from the table `utilisation_by_month`.

    Notes
    -----
    Prices and plans are made for the next quarter, so its use decides, not that of the quarter
    that ended: a shop that is full in summer is not short of hours in the winter that it prices
    for. Expected use = the use of those three months a year ago × (use of the trailing year ÷ use
    of the year before, over the months that stand in both). Without half a year in both, no change
    is carried on; without those months a year ago, the quarter that ended stands for the next.
    Where the expected use of bays or of people reaches `SHORT_FROM_SHARE`, the one that is used
    more is short. Where one of the two is not known, the other alone decides.
    """
    if isinstance(months, Unavailable):
        return Governing(UNKNOWN, *(Use(np.nan, np.nan),) * 3)
    of_year = months["month"].between(quarter.year_first_day, quarter.last_day)
    now = months["month"].between(quarter.first_day, quarter.last_day)
    ended = [_use(months[now], *pair) for pair in _PAIRS]
    coming, grounds = zip(*(_coming(months, quarter, pair) for pair in _PAIRS), strict=True)
    constraint = str(constraints(pd.Series([coming[0]]), pd.Series([coming[1]])).iloc[0])
    return Governing(
        constraint=constraint,
        quarter=Use(*ended),
        year=Use(*(_use(months[of_year], *pair) for pair in _PAIRS)),
        coming=Use(*coming),
        ground=grounds[1] if np.isnan(coming[0]) else grounds[0],
    )


def spare_hours(
    months: pd.DataFrame | Unavailable, governing: Governing, quarter: Quarter
) -> Spare:
    """Hours by which other work may hold more than it did in the twelve months to the quarter.

    `months` : the table `utilisation_by_month`. Only what is not short has any, and only where
    something else is: hours that there were less those used, where both are written down for all
    twelve months, never below 0. Else 0. [h]
    """
    if isinstance(months, Unavailable) or not governing.is_short:
        return Spare()
    year = months[months["month"].between(quarter.year_first_day, quarter.last_day)]
    people, bays = (_unused(year, *pair) for pair in _PAIRS)
    return Spare(people_hours=people) if governing.constraint == BAYS else Spare(bay_hours=bays)


def constraints(installer_use: pd.Series, bay_use: pd.Series) -> pd.Series:
    """What is short in each row, by the use of both [share]; the one used more, bays at a tie."""
    people, bays = installer_use.fillna(-np.inf), bay_use.fillna(-np.inf)
    most = np.maximum(people, bays)
    words = np.select(
        [np.isneginf(most), most < SHORT_FROM_SHARE, bays >= people],
        [UNKNOWN, NOTHING, BAYS],
        INSTALLERS,
    )
    return pd.Series(words, index=installer_use.index, dtype="str")


def refill_shares(use: Any) -> Any:
    """Chance that an hour left free is filled, by the share of the hours used (number or Series).

    See `Governing.refill_share`.
    """
    share = np.clip((use - SHORT_FROM_SHARE) / (1 - SHORT_FROM_SHARE), 0.0, 1.0)
    # Binary fractions leave dust: where every hour is used, the chance is 1 and not next to it.
    return np.round(share, 12)


def _worked(log: pd.DataFrame) -> pd.Series:
    """Hours worked by month, on whatever job. [h]"""
    worked = strict_sum(log["hours"], [_month(log["worked_on"])])
    assert_reconciled("Hours worked by month", worked.sum(), log["hours"].sum(), 1e-6)
    return worked


def _bay_hours(costing: Costing) -> pd.Series:
    """Bay hours by month of the day worked. [h]"""
    own = costing.log[costing.log["job_line"].notna()]
    logged = own[own["logged"]]
    person = logged.groupby(["job_id", "worked_on", "installer"])["hours"].sum().reset_index()
    day = person.groupby(["job_id", "worked_on"])["hours"].max().reset_index()
    sheet = own[~own["logged"]]
    held = strict_sum(
        pd.concat([day["hours"], sheet["bay_day"]], ignore_index=True),
        [_month(pd.concat([day["worked_on"], sheet["worked_on"]], ignore_index=True))],
    )
    of_jobs = costing.lines["bay_hours"].sum()
    assert_reconciled("Bay hours by month", held.sum(), of_jobs, 1e-6 * max(1.0, of_jobs))
    return held


def _month(days: pd.Series) -> pd.Series:
    months: pd.Series = days.dt.to_period("M").dt.to_timestamp().rename("month")
    return months


def _filled(sums: pd.Series, worked: pd.Index) -> pd.Series:
    """The sums with 0 in the months without any, from the first to the last month of the log."""
    if worked.empty:
        return sums
    return sums.reindex(pd.date_range(worked.min(), worked.max(), freq="MS"), fill_value=0.0)


def _with_use(table: pd.DataFrame, costing: Costing, starts_month: int) -> pd.DataFrame:
    rate = {number: each.overhead_rate for number, each in costing.rates.items()}
    hourly = quarter_index(table["month"], starts_month).map(rate).astype("float64")
    people = ratio(table["worked_hours"], table["installer_hours"])
    bays = ratio(table["bay_hours"], table["bay_capacity_hours"])
    unused = table["installer_hours"] - table["worked_hours"]
    table = table.assign(
        installer_use_share=people,
        bay_use_share=bays,
        unused_hours=unused,
        unused_cost=unused * hourly,
        constraint=constraints(people, bays),
    )
    return table[UTILISATION_BY_MONTH.inside_names]


def _use(months: pd.DataFrame, top: str, bottom: str) -> float:
    """Use over some months: sum ÷ sum over those for which both are known; NaN without any."""
    known = months[months[top].notna() & (months[bottom] > 0)]
    return float(known[top].sum() / known[bottom].sum()) if len(known) else np.nan


def _unused(year: pd.DataFrame, used: str, there: str) -> float:
    """Hours of twelve months that were there less those used; 0 where not all are known. [h]"""
    unused = (year[there] - year[used]).dropna()
    return max(0.0, float(unused.sum())) if len(unused) == _YEAR_MONTHS else 0.0


def _coming(months: pd.DataFrame, quarter: Quarter, pair: tuple[str, str]) -> tuple[float, str]:
    """Expected use of the next quarter [share], and what it rests on in words."""
    of_year = months[months["month"] >= quarter.year_first_day]
    season = of_year["month"] < quarter.year_first_day + pd.DateOffset(months=3)
    season_use = _use(of_year[season], *pair)
    if np.isnan(season_use):
        now = of_year["month"] >= quarter.first_day
        return _use(of_year[now], *pair), "as in the quarter that ended"
    before = months.assign(month=months["month"] + pd.DateOffset(years=1))
    known = [each[each[pair[0]].notna() & (each[pair[1]] > 0)] for each in (of_year, before)]
    both = set(known[0]["month"]) & set(known[1]["month"])
    now_use, before_use = (_use(each[each["month"].isin(both)], *pair) for each in known)
    if len(both) < _FEWEST_MATCHED or not before_use > 0:
        return season_use, "as in the same months a year ago"
    return (
        season_use * now_use / before_use,
        "as in the same months a year ago, and changed as the year has against the one before",
    )


_REASON_UNKNOWN: Final = (
    "Which hours are short cannot be said without the hours worked and the hours that could be: "
    "keep the tables hours and capacity."
)


def why_short(governing: Governing, settings: Settings) -> str:
    """Why those hours are short, or none, in a sentence."""
    coming, constraint = governing.coming, governing.constraint
    if constraint == UNKNOWN:
        return _REASON_UNKNOWN
    parts = [
        f"{percent_text(100 * share, 0, settings)} of the {whose} hours"
        for share, whose in ((coming.installer_share, "people's"), (coming.bay_share, "bays'"))
        if not np.isnan(share)
    ]
    unknown = "" if len(parts) == 2 else ", the other not being known"
    least = f"about {percent_text(100 * SHORT_FROM_SHARE, 0, settings)}"
    so = {
        BAYS: "the bays are what is short",
        INSTALLERS: "the people's hours are what is short",
        NOTHING: "nothing is short",
    }[constraint]
    return (
        f"{' and '.join(parts)} are expected to be used in the next quarter ({governing.ground})"
        f"{unknown}; "
        f"from {least} on (common practice, no source) hours are short, so {so}."
    )
