"""Why so many rolls are to be ordered, in a sentence a film."""

from typing import Any

import numpy as np
import pandas as pd

from analysis.locale_text import counted, number_text, pretty_unit
from analysis.settings import Settings
from analysis.units import square_metres_per


def reasons(table: pd.DataFrame, settings: Settings) -> pd.Series:
    """One sentence a film: why so many rolls."""
    rows: list[dict[Any, Any]] = table.to_dict("records")
    words = [_reason(row, settings) for row in rows]
    return pd.Series(words, index=table.index, dtype="str")


def _reason(row: dict[Any, Any], settings: Settings) -> str:
    def area(name: str) -> str:
        return _area(row[name], settings)

    rolls, jobs = row["order_rolls"], row["waiting_jobs"]
    if row["on_hand_area_m2"] < 0:
        start = (
            f"More was cut than was bought, by {_area(-row['on_hand_area_m2'], settings)}: count "
            "the shelf, or write down the missing purchase, before you order"
        )
    elif row["reorder_area_m2"] != row["reorder_area_m2"]:
        start = _no_advice(row)
    elif rolls == 0:
        start = f"Enough: {area('on_hand_area_m2')} on hand, order at {area('reorder_area_m2')}"
    else:
        start = f"{area('on_hand_area_m2')} on hand is not over {area('reorder_area_m2')}"
    parts = [start]
    if row["reorder_area_m2"] == row["reorder_area_m2"] and row["steady"]:
        parts.append(f"use is {area('weekly_area_m2')} a week")
    if jobs:
        parts.append(_waiting_words(row, settings))
    if pd.isna(rolls) and pd.isna(row["roll_width_m"]):
        parts.append("it was never bought, so its rolls are not known")
    elif pd.isna(rolls):
        parts.append("so what to order is not known")
    elif rolls > 0:
        parts.append("take off what is on its way already")
    return "; ".join(parts) + "."


def _no_advice(row: dict[Any, Any]) -> str:
    if not row["weeks"] > 0:
        return "Under four weeks of records: too few to stock it by"
    if row["weekly_area_m2"] == 0:
        return f"Not used in the last {row['weeks']:.0f} weeks"
    jobs = counted(row["uses"], "job")
    return f"Only {jobs} in {row['weeks']:.0f} weeks: buy it for a job, not for the shelf"


def _waiting_words(row: dict[Any, Any], settings: Settings) -> str:
    jobs, guessed = row["waiting_jobs"], row["guessed_film"]
    words = counted(jobs, "waiting job")
    if guessed:
        words += " (film guessed)" if jobs == 1 else f" (film of {guessed} guessed)"
    if np.isnan(row["waiting_area_m2"]):
        return f"{words} not counted, as what they take is not known"
    words += f" {'takes' if jobs == 1 else 'take'} about {_area(row['waiting_area_m2'], settings)}"
    spread = row["waiting_sd_m2"]
    return f"{words}, give or take {_area(spread, settings)}" if spread > 0 else words


def _area(area_m2: float, settings: Settings) -> str:
    """An area in the shop's unit; one decimal below 10."""
    value = area_m2 / square_metres_per(settings.area_unit)
    text = number_text(value, 1 if abs(value) < 9.95 else 0, settings)
    return f"{text} {pretty_unit(settings.area_unit)}"
