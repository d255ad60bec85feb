"""Rules about one row by itself: what makes a row unusable, and what a blank cell stands for."""

from collections.abc import Callable, Iterator, Mapping
from typing import Final

import numpy as np
import pandas as pd

from analysis.record_tables import RECORD_TABLES
from analysis.records.cell_rules import TOO_SMALL
from analysis.records.model import DOUBTFUL, REJECTED
from analysis.records.rule import Found, Rule, day, found
from analysis.schema import Kind

_HOUR: Final = 3600.0  # seconds
# The years in which a date may lie at all: no shop is older, and the sums of years stay in range.
_FIRST_DAY: Final = np.datetime64("1950-01-01")
_LAST_DAY: Final = np.datetime64("2199-12-31")

FINISHED_WITHOUT_DATE = Rule(
    "finished-without-date",
    REJECTED,
    "A job that is finished, without the day on which it was.",
    "Fill in finished_on, or set status to open or cancelled.",
)
FILM_WITHOUT_SIZE = Rule(
    "film-without-size",
    REJECTED,
    "A purchase of film without the width or the length of the roll.",
    "Fill in roll_width and roll_length from the invoice or the box.",
)
NO_HOURS = Rule(
    "no-hours",
    REJECTED,
    "A time entry with neither hours nor both a start and a stop.",
    "Fill in hours, or both started_at and stopped_at.",
)
STOPPED_BEFORE_STARTED = Rule(
    "stopped-before-started",
    REJECTED,
    "A time entry that stops before it starts.",
    "Mend the times; work past midnight is two entries, one to 24:00 and one from 00:00 on the "
    "next day.",
)
HOURS_OVER_TIMES = Rule(
    "hours-over-times",
    DOUBTFUL,
    "A time entry with more hours than lie between its start and its stop.",
    "Mend hours or the times; hours is what counts.",
)
COUNT_WITHOUT_SIZE = Rule(
    "count-without-size",
    REJECTED,
    "A stock count with neither an area nor a length and a width.",
    "Fill in area_on_hand, or length_on_hand and roll_width.",
)
PANEL_WITHOUT_VEHICLE = Rule(
    "panel-without-vehicle",
    REJECTED,
    "A panel of neither a vehicle class nor a make and model.",
    "Fill in vehicle_class, or make and model.",
)
QUANTITY_ZERO = Rule(
    "quantity-zero",
    REJECTED,
    "A purchase line of quantity 0.",
    "Fill in the quantity, or delete the line.",
)
QUANTITY_NEGATIVE = Rule(
    "quantity-negative",
    REJECTED,
    "A negative quantity of anything but film.",
    "Enter it positive; only film that was sent back is a negative quantity. A price allowance is "
    "a line of kind credit.",
)
CREDIT_NEGATIVE = Rule(
    "credit-negative",
    REJECTED,
    "A credit with a negative price.",
    "Enter the credit's amount positive; its kind already says that it lowers the cost.",
)
DATE_OUT_OF_RANGE = Rule(
    "date-out-of-range",
    REJECTED,
    "A date over a year after, or over twenty years before, the newest of the records (the 99th "
    "percentile of all dates); a date or a month before 1950 or after 2199.",
    "Look at the year.",
)
REPEATED_ROW = Rule(
    "repeated-row",
    REJECTED,
    "An exact copy of a row that stands again further down.",
    "Delete one of the two rows.",
)
REPLACED_ROW = Rule(
    "replaced-row",
    REJECTED,
    "A row whose number stands again further down with other content; the last one counts.",
    "Delete the row that is out of date, or give one of them a number of its own.",
)


def with_defaults(name: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Give the frame with what blank cells stand for filled in, where that needs no other table."""
    fill = _DEFAULTS.get(name)
    return fill(frame) if fill else frame


def _jobs_defaults(jobs: pd.DataFrame) -> pd.DataFrame:
    by_date = pd.Series(np.where(jobs["finished_on"].notna(), "finished", "open"), jobs.index)
    return jobs.assign(
        line=jobs["line"].fillna(1),
        status=jobs["status"].fillna(by_date.astype("str")),
        invoiced_price=jobs["invoiced_price"].fillna(jobs["quoted_price"]),
    )


def _hours_defaults(hours: pd.DataFrame) -> pd.DataFrame:
    return hours.assign(
        overtime=hours["overtime"].fillna(value=False),
        hours=hours["hours"].fillna(
            (hours["stopped_at"] - hours["started_at"]).dt.total_seconds() / _HOUR
        ),
    )


def _cuts_defaults(cuts: pd.DataFrame) -> pd.DataFrame:
    return cuts.assign(
        source=cuts["source"].fillna("roll"),
        reason=cuts["reason"].fillna("first"),
        pieces=cuts["pieces"].fillna(1),
    )


_DEFAULTS: Final[Mapping[str, Callable[[pd.DataFrame], pd.DataFrame]]] = {
    "jobs": _jobs_defaults,
    "hours": _hours_defaults,
    "purchases": lambda frame: frame.assign(discount=frame["discount"].fillna(0.0)),
    "cuts": _cuts_defaults,
    "panels": lambda frame: frame.assign(pieces=frame["pieces"].fillna(1)),
}


def row_faults(name: str, frame: pd.DataFrame) -> Iterator[Found]:
    """Find rows that cannot be used. `frame` has its defaults, and no row with a bad cell."""
    check = _ROW_CHECKS.get(name)
    if check is not None and len(frame):
        yield from check(frame)


def _jobs_faults(jobs: pd.DataFrame) -> Iterator[Found]:
    at = jobs.index[(jobs["status"] == "finished") & jobs["finished_on"].isna()]
    yield found(
        FINISHED_WITHOUT_DATE, "jobs", "finished_on", at, "the job is finished and has no day of it"
    )


def _hours_faults(hours: pd.DataFrame) -> Iterator[Found]:
    at = hours.index[hours["hours"].isna()]
    problem = "there are neither hours nor both a start and a stop"
    yield found(NO_HOURS, "hours", "hours", at, problem)
    crossed = hours[hours["stopped_at"] < hours["started_at"]]
    problems = [
        f"the work stops at {_clock(stop)}, before it starts at {_clock(start)}"
        for start, stop in zip(crossed["started_at"], crossed["stopped_at"], strict=True)
    ]
    yield found(STOPPED_BEFORE_STARTED, "hours", "stopped_at", crossed.index, problems)


def hours_over_times(hours: pd.DataFrame) -> Found:
    """Entries whose hours do not fit between their times (a doubtful rule)."""
    span = (hours["stopped_at"] - hours["started_at"]).dt.total_seconds() / _HOUR
    long = hours["hours"] > span + 1 / 60
    problems = [
        f"{each:g} hours do not fit between start and stop, which are {apart:g} hours apart"
        for each, apart in zip(hours["hours"][long], span[long], strict=True)
    ]
    return found(HOURS_OVER_TIMES, "hours", "hours", hours.index[long], problems)


def _clock(time: pd.Timedelta) -> str:
    minutes = int(time.total_seconds() // 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _purchases_faults(purchases: pd.DataFrame) -> Iterator[Found]:
    kind, quantity, price = purchases["kind"], purchases["quantity"], purchases["unit_price"]
    table, index = "purchases", purchases.index
    for column, word in (("roll_width", "width"), ("roll_length", "length")):
        at = index[(kind == "film") & purchases[column + "_m"].isna()]
        yield found(FILM_WITHOUT_SIZE, table, column, at, f"the {word} of the roll is blank")
    at = index[quantity == 0]
    yield found(QUANTITY_ZERO, table, "quantity", at, "the quantity is 0")
    below = (quantity < 0) & (kind != "film")
    problems = [f"the quantity is negative, and the line is of kind {each}" for each in kind[below]]
    yield found(QUANTITY_NEGATIVE, table, "quantity", index[below], problems)
    below = (price < 0) & (kind == "credit")
    problem = "the credit has a negative price"
    yield found(CREDIT_NEGATIVE, table, "unit_price", index[below], problem)
    below = (price < 0) & (kind != "credit")
    yield found(TOO_SMALL, table, "unit_price", index[below], "the price is less than 0")


def _counts_faults(counts: pd.DataFrame) -> Iterator[Found]:
    sized = counts["length_on_hand_m"].notna() & counts["roll_width_m"].notna()
    at = counts.index[counts["area_on_hand_m2"].isna() & ~sized]
    problem = "there is neither an area nor both a length and a width"
    yield found(COUNT_WITHOUT_SIZE, "stock_counts", "area_on_hand", at, problem)


def _panels_faults(panels: pd.DataFrame) -> Iterator[Found]:
    vehicle = panels["make"].notna() & panels["model"].notna()
    at = panels.index[panels["vehicle_class"].isna() & ~vehicle]
    problem = "there is neither a vehicle class nor both a make and a model"
    yield found(PANEL_WITHOUT_VEHICLE, "panels", "vehicle_class", at, problem)


_ROW_CHECKS: Final = {
    "jobs": _jobs_faults,
    "hours": _hours_faults,
    "purchases": _purchases_faults,
    "stock_counts": _counts_faults,
    "panels": _panels_faults,
}


def dates_out_of_range(frames: Mapping[str, pd.DataFrame]) -> Iterator[Found]:
    """Find dates that lie too far from the newest, over every date cell of every table."""
    dates = []
    for name, frame in frames.items():
        for column in RECORD_TABLES[name].columns if len(frame) else ():
            if column.kind not in (Kind.DATE, Kind.MONTH):
                continue
            days = frame[column.inside].dropna()
            if days.empty:
                continue
            on = days.to_numpy()
            outside = (on < _FIRST_DAY) | (on > _LAST_DAY)
            problems = [f"{day(each)} is not in the years 1950 to 2199" for each in days[outside]]
            at = days.index[outside]
            yield found(DATE_OUT_OF_RANGE, name, column.name, at, problems)
            if column.kind is Kind.DATE:
                dates.append((name, column.name, days[~outside]))
    every = pd.concat([days for _, _, days in dates], ignore_index=True) if dates else pd.Series()
    if every.empty:
        return
    ticks = every.astype("datetime64[us]").astype("int64")
    newest = pd.Timestamp(float(ticks.quantile(0.99, interpolation="linear")), unit="us")
    first, last = newest - pd.DateOffset(years=20), newest + pd.DateOffset(years=1)
    for name, label, days in dates:
        on = days.to_numpy()
        late, early = on > last.to_datetime64(), on < first.to_datetime64()
        problems = [
            f"{day(each)} is over {'a year after' if each > last else 'twenty years before'} "
            f"the newest records, of about {day(newest)}"
            for each in days[late | early]
        ]
        yield found(DATE_OUT_OF_RANGE, name, label, days.index[late | early], problems)


def repeated_keys(name: str, frame: pd.DataFrame) -> Iterator[Found]:
    """Rows whose key stands again further down: the last stands, the earlier are rejected."""
    table = RECORD_TABLES[name]
    keys = table.keys
    earlier = frame.duplicated(keys, keep="last") if keys else pd.Series(data=False)
    if not earlier.any():
        return
    dropped, last = frame[earlier], frame[~frame.duplicated(keys, keep="last")]
    stands = dropped[keys].merge(last, on=keys, how="left", validate="many_to_one")
    stands.index = dropped.index
    content = [column for column in frame.columns if column not in {*keys, "row"}]
    same = pd.Series(data=True, index=dropped.index)
    for column in content:
        ours, theirs = dropped[column], stands[column]
        same &= ((ours == theirs) | (ours.isna() & theirs.isna())).fillna(value=False).astype(bool)
    label = table.column(keys[0]).name
    for rule, mask, words in (
        (REPEATED_ROW, same, "an exact copy of this row stands"),
        (REPLACED_ROW, ~same, "the same number stands again with other content"),
    ):
        rows = stands["row"][mask]
        problems = [f"{words} in row {row}, which is the one used" for row in rows]
        yield found(rule, name, label, dropped.index[mask], problems)
