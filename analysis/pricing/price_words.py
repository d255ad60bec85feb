"""Why a price is suggested, in one to three plain sentences, and what to write down to be surer."""

from typing import Any, Final

import pandas as pd

from analysis.locale_text import counted
from analysis.pricing.money_words import money_words, percent_words, price_words
from analysis.settings import Settings

RAISE: Final = "raise"
HOLD: Final = "hold"
LOWER: Final = "lower"
NOT_ENOUGH: Final = "not enough evidence"
# Customers hardly mind a price where the jobs lost are under half of its rise (shares).
_HARDLY: Final = 0.5
# Costs that moved by less in a year are not worth a sentence (share).
_DRIFT: Final = 0.02
_FEW_QUOTES: Final = 20
# Under its floor by less than that is rounding. [money]
_NO_MONEY: Final = 0.5


def reasons(frame: pd.DataFrame, settings: Settings) -> pd.Series:
    """Why each verdict is as it is."""
    rows: list[dict[Any, Any]] = frame.to_dict("records")
    words = [" ".join(part for part in _parts(row, settings) if part) for row in rows]
    return pd.Series(words, index=frame.index, dtype="str")


def next_steps(frame: pd.DataFrame, settings: Settings) -> pd.Series:
    """What to write down to be surer; missing where nothing is wanting."""
    rows: list[dict[Any, Any]] = frame.to_dict("records")
    words = pd.Series([_next_step(row, settings) for row in rows], index=frame.index, dtype="str")
    return words.where(words != "").astype("str")


def _parts(row: dict[Any, Any], settings: Settings) -> list[str]:
    if not row["told"]:
        return [_untold(row, settings)]
    answer = _with_curve if row["learnt"] else _without_curve
    return [
        _cost(row, settings),
        answer(row, settings),
        _floor(row, settings),
        _thin(row, settings),
    ]


def _untold(row: dict[Any, Any], settings: Settings) -> str:
    if pd.isna(row["current_price"]):
        return "The price list names no price for it."
    if pd.isna(row["expected_cost"]):
        note = "" if pd.isna(row["basis_note"]) else f" {row['basis_note']}"
        return f"What it costs is not known.{note}"
    if pd.isna(row["floor_price"]):
        return "No price leaves the margin asked for after tax and card fee."
    if row["service_jobs"] < settings.pricing.fewest_jobs:
        return f"{_only(row['service_jobs'])} of the service so far: too few to judge its cost by."
    return (
        f"{_only(row['jobs'])} so far, and the quotes do not tell what customers of the service do "
        "at another price."
    )


def _only(jobs: int) -> str:
    return "No job" if jobs == 0 else f"Only {counted(jobs, 'job')}"


def _cost(row: dict[Any, Any], settings: Settings) -> str:
    cost = money_words(row["expected_cost"], settings)
    if row["contribution"] < 0:
        lost = money_words(-row["contribution"], settings)
        start = f"Costs {cost} a job, which loses {lost} at this price"
    else:
        left = percent_words(row["margin_share"], settings)
        asked = percent_words(row["target_margin_share"], settings)
        if left == asked:
            tail = "about what is asked for"
        elif row["current_price"] < row["floor_price"]:
            tail = f"not the {asked} asked for"
        else:
            tail = f"where {asked} is asked for"
        fee = " after the card fee" if settings.fees.card_percent > 0 else ""
        start = f"Costs {cost} a job and leaves {left}{fee}, {tail}"
    apart = row.get("apart")
    if apart is not None and not pd.isna(apart):
        start = start.replace(" a job", f" a job without {apart}", 1)
    return f"{start}{_drift(row, settings)}."


def _drift(row: dict[Any, Any], settings: Settings) -> str:
    """What the cost did in a year, beside the price; for prices under their floor."""
    drift, price = row["cost_drift_share"], row.get("price_drift_share")
    if pd.isna(drift) or drift < _DRIFT or row["current_price"] >= row["floor_price"]:
        return ""
    rose = f"; in a year the cost rose by {percent_words(drift, settings)}"
    if price is None or pd.isna(price):
        return rose
    if abs(price) < _DRIFT / 2:
        return f"{rose} and the price stood still"
    way = "rose" if price > 0 else "fell"
    return f"{rose}, and the price {way} by {percent_words(abs(price), settings)}"


def _with_curve(row: dict[Any, Any], settings: Settings) -> str:
    new = price_words(row["suggested_price"], settings)
    change = row["suggested_win_share"] / row["win_share"] - 1
    count = round(abs(change) * 100)
    if row["verdict"] == RAISE:
        if count == 0:
            return f"Hardly any job is lost at {new}."
        if -change < _HARDLY * row["change_share"]:
            return f"Customers hardly mind the price: {count} of 100 jobs fewer at {new}."
        if row["gain_at_wages"] <= 0:
            return (
                f"At {new} some {count} of 100 jobs are lost: hours are short, and theirs earn "
                "more elsewhere."
            )
        earns = "earns more" if row["contribution"] + row["added"] >= 0 else "loses less"
        return f"At {new} some {count} of 100 jobs are lost, and it still {earns}."
    if row["verdict"] == LOWER:
        return (
            f"At {new} some {count} jobs more come for every 100, which brings more than the lower "
            "price gives away."
        )
    reach = percent_words(settings.pricing.largest_change, settings)
    if row["candidates"] == 0:
        return f"No price in the steps of shop.toml lies within {reach} of it."
    if row["hopeful_price"] == row["current_price"]:
        if row["current_price"] < row["floor_price"]:
            return f"At a higher price, up to {reach} more, the jobs lost would cost more still."
        return f"No other price within {reach} is expected to earn more."
    hopeful = price_words(row["hopeful_price"], settings)
    chance = percent_words(row["hopeful_chance"], settings)
    return f"{hopeful} may earn more, with a chance of {chance}: too unsure to act on."


def _without_curve(row: dict[Any, Any], settings: Settings) -> str:
    unknown = "What customers do at another price is not known"
    if row["verdict"] != RAISE:
        if row["weighed"] and row["current_price"] < row["floor_price"]:
            return f"{unknown}, and by what is usual a raise might lose as much as it brings."
        return f"{unknown}."
    new = price_words(row["suggested_price"], settings)
    added = money_words(row["added"], settings)
    risk = row["break_even_volume_share"]
    start = f"{unknown}: if none stays away, {new} brings {added} more a job"
    if pd.isna(risk):
        return f"{start}."
    return f"{start}, and it pays while fewer than {round(-risk * 100)} of 100 are lost."


def _floor(row: dict[Any, Any], settings: Settings) -> str:
    """Said of every price that stays under its floor."""
    if row["suggested_price"] > row["floor_price"] - _NO_MONEY:
        return ""
    under = f"It stays under its floor of {money_words(row['floor_price'], settings)}"
    left = row["contribution"] + row["added"]
    if row["verdict"] == RAISE and left < -_NO_MONEY:
        return f"{under}, and each job still loses {money_words(-left, settings)}."
    return f"{under}."


def _thin(row: dict[Any, Any], settings: Settings) -> str:
    if row["jobs"] >= settings.pricing.fewest_jobs:
        return ""
    yet = "" if row["jobs"] else " yet"
    on = f"it leans on the {row['service_jobs']} of the service."
    return f"{_only(row['jobs'])} of its own{yet}: {on}"


def _next_step(row: dict[Any, Any], settings: Settings) -> str:
    if not row["told"]:
        return _to_be_told(row, settings)
    if row["candidates"] == 0:
        return "Allow smaller steps, or a larger change, in pricing of shop.toml."
    if row["learnt"]:
        unsure = row["verdict"] == HOLD and row["hopeful_price"] != row["current_price"]
        return "Go on writing down every quote with its price, won or lost." if unsure else ""
    if not row["has_quotes"] or row["quotes_service"] < _FEW_QUOTES:
        return "Write down every quote with its price, won or lost."
    return "Write down every quote; a small change of the list, kept for a season, would tell."


def _to_be_told(row: dict[Any, Any], settings: Settings) -> str:
    if pd.isna(row["current_price"]):
        return "Write its price into price_list."
    if pd.isna(row["expected_cost"]):
        return (
            "Write down what is missing: hours, film, purchases, or wages (rates, or "
            "labour.default_wage)."
        )
    if pd.isna(row["floor_price"]):
        return "Look at targets and fees in shop.toml."
    more = settings.pricing.fewest_jobs - row["jobs"]
    if row["service_jobs"] < settings.pricing.fewest_jobs:
        more = settings.pricing.fewest_jobs - row["service_jobs"]
    jobs = counted(more, "job")
    return f"Write down hours and film of {jobs} more, and every quote, won or lost."
