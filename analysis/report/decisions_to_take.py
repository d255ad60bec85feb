"""The decisions that a review leaves to its owner, as a list."""

from typing import Any

import pandas as pd

from analysis.locale_text import MISSING, counted, listed
from analysis.pricing.price_words import HOLD, LOWER, NOT_ENOUGH, RAISE
from analysis.report.figures_suggestions import change_range, ranked
from analysis.report.grids import Cell, Grid, Heading, few, number, slices_of
from analysis.report.numbers import Numbers, label
from analysis.report.results import Review

_MOST_NAMED = 4
_HEADINGS = (
    Heading("Decide", is_number=False),
    Heading("Why", is_number=False),
    Heading("Expected a quarter", is_number=False),
    Heading("Risk", is_number=False),
)


def decisions_grid(review: Review) -> Grid:
    """Prices to change by service, surcharges by model, what to leave, and what to write down."""
    found = slices_of(review, "price_suggestions")
    if found.line:
        rows: list[tuple[str, ...]] = [(found.line, "", "", "")]
    else:
        say = Numbers(review.settings)
        frame = ranked(found.quarter)
        moved = frame[frame["verdict"].isin([RAISE, LOWER])]
        rows = [
            _move(str(service), str(verdict), part, say)
            for (service, verdict), part in moved.groupby(["service", "verdict"], sort=False)
        ]
        rows += _surcharges(review, say)
        rows += _rest(frame)
    note = (
        "Fill in the prices you decide on in the sheet 'Price sheet' of review.xlsx, run the "
        "command decide, and put them into price_list. The next reviews tell whether they worked."
    )
    cells = tuple(tuple(Cell(each) for each in row) for row in rows)
    return Grid("Decisions to take", 1, (), _HEADINGS, cells, note)


def _move(service: str, verdict: str, part: pd.DataFrame, say: Numbers) -> tuple[str, ...]:
    """One service's prices to raise or to lower."""
    size = change_range(number(part, "change_pct"), say)
    classes = part["vehicle_class"].dropna()
    of = f" on {counted(len(classes), 'class', 'classes')}" if len(classes) else ""
    gain = number(part, "expected_gain")
    first = part.iloc[0]
    fewer = number(part, "break_even_volume_pct").max()
    risk = (
        MISSING
        if pd.isna(fewer)
        else f"loses money if over {say.percent(-fewer)} of the jobs stay away"
    )
    if verdict == LOWER:
        risk = f"pays only if {say.percent(number(part, 'break_even_volume_pct').max())} more come"
    where = f" ({label(first['vehicle_class'])})" if len(part) > 1 else ""
    return (
        f"{verdict.capitalize()} {label(service)} by {size}{of}",
        f"{label(first['reason'])}{where}",
        say.change(gain.sum(min_count=1)),
        risk,
    )


def _surcharges(review: Review, say: Numbers) -> list[tuple[str, ...]]:
    found = slices_of(review, "model_surcharges")
    if found.line:
        return []
    rows: list[tuple[str, ...]] = []
    sure = found.quarter[~few(found.quarter)]
    for (make, model), part in sure.groupby(["make", "model"], sort=False):
        dear = part.sort_values("surcharge", ascending=False, kind="stable")
        named = [
            f"{label(row['service'])} {say.change(row['surcharge'])}"
            for row in dear.head(_MOST_NAMED).to_dict("records")
        ]
        rest = len(dear) - len(named)
        names = listed(named + ([f"{rest} more"] if rest else []))
        hours = number(part, "extra_hours").max()
        jobs = counted(number(part, "model_jobs").max(), "job")
        rows.append(
            (
                f"Charge more for {label(make)} {label(model)}: {names}",
                f"Takes up to {say.hours(hours)} longer than others of its class ({jobs}).",
                MISSING,
                "customers of this vehicle may go elsewhere",
            )
        )
    return rows


def _rest(frame: pd.DataFrame) -> list[tuple[str, ...]]:
    """What is left as it is, and what to write down to know more."""
    rows: list[tuple[str, ...]] = []
    held = frame[frame["verdict"] == HOLD]
    if len(held):
        names = listed([label(each) for each in held["service"].drop_duplicates()])
        rows.append((f"Leave {counted(len(held), 'price')}: {names}", "", "", ""))
    unsure = frame[frame["verdict"] == NOT_ENOUGH]
    steps: Any = unsure.groupby("next_step", sort=False)
    for step, part in steps:
        names = listed([label(each) for each in part["service"].drop_duplicates()])
        count = counted(len(part), "price")
        rows.append(
            (f"Write down: {label(step)}", f"{count} of {names}: too little known.", "", "")
        )
    return rows
