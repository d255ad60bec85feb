"""The form of the price sheet: its columns, its inputs and the marks by which it is known again.

The report writes it and the command `decide` reads it back; both go by what stands here. Names and
marks stand in hidden rows and columns of the sheet, so that a heading may be in any words.
"""

import hashlib
from dataclasses import dataclass
from typing import Final

import pandas as pd

from analysis.records.model import Records
from analysis.schema import Kind
from analysis.settings import Settings

SHEET_NAME: Final = "Price sheet"
FORM: Final = "price sheet, form 1"
# In the row of names, right of the columns: the form, the quarter, the shop, the factor net of tax.
MARKS: Final = ("form", "quarter", "shop", "net_of_tax")
# Inputs stand in three blocks side by side: the column of a block's values, counted from 1.
BLOCKS: Final = (3, 8, 12)
EVERY_CLASS: Final = "every class"
OTHER_CLASSES: Final = "every other class"


@dataclass(frozen=True)
class SheetColumn:
    """A column of the sheet, a row a service and class.

    `live` : a formula that follows the inputs; `typed` : filled in by a person; `hidden` : what
    the formulas and the way back need, and nobody has to see.
    """

    name: str
    heading: str
    kind: Kind
    sentence: str
    live: bool = False
    typed: bool = False
    hidden: bool = False


def _hidden(name: str, kind: Kind, sentence: str, *, live: bool = False) -> SheetColumn:
    words = name.replace("_", " ")
    return SheetColumn(name, f"({words})", kind, sentence, live=live, hidden=True)


def _price_columns(name: str, words: str) -> tuple[SheetColumn, ...]:
    return (
        SheetColumn(
            f"{name}_margin", f"Margin at {words}", Kind.PERCENT,
            "Contribution ÷ price net of tax; contribution is what the price leaves net of tax "
            "and card fee after the expected cost.", live=True,
        ),
        SheetColumn(
            f"{name}_full_margin", f"Full margin a job at {words}", Kind.MONEY,
            "Contribution − expected hours × overhead an hour.", live=True,
        ),
        SheetColumn(
            f"{name}_break_even", f"Break-even volume at {words}", Kind.PERCENT,
            "Change of the number of jobs at which this price leaves as much as the current one: "
            "-10 % means that it may lose one job in ten.", live=True,
        ),
    )  # fmt: skip


COLUMNS: Final = (
    SheetColumn("service", "Service", Kind.TEXT, "Service of the price list."),
    SheetColumn("vehicle_class", "Class", Kind.TEXT, "Size class of the vehicle."),
    SheetColumn("current_price", "Current price", Kind.MONEY, "List price at the quarter's end."),
    SheetColumn(
        "margin", "Margin at current", Kind.PERCENT,
        "Contribution ÷ price net of tax at the current price.", live=True,
    ),
    SheetColumn(
        "floor_price", "Floor", Kind.MONEY,
        "Lowest price that leaves the target margin after a card fee.", live=True,
    ),
    SheetColumn(
        "suggested_price", "Suggested price", Kind.MONEY,
        "What the review suggests. It comes from the quotes won and lost and does not follow the "
        "inputs: run the review again for that.",
    ),
    SheetColumn("change", "Change", Kind.PERCENT, "Suggested ÷ current price − 1.", live=True),
    *_price_columns("suggested", "suggested"),
    SheetColumn("verdict", "Verdict", Kind.TEXT, "raise, hold, lower, or not enough evidence."),
    SheetColumn(
        "expected_gain", "Expected gain a quarter", Kind.MONEY,
        "Profit a quarter that the suggested price is expected to bring; blank where the quotes do "
        "not tell.",
    ),
    SheetColumn(
        "dearer_vehicles", "Vehicles that cost more", Kind.TEXT,
        "Vehicles that take longer than others of their class, with what to add to the price for "
        "them.",
    ),
    SheetColumn(
        "new_price", "NEW PRICE (input)", Kind.MONEY,
        "The price that you decide. Leave it blank where nothing is decided.", typed=True,
    ),
    *_price_columns("new", "new price"),
    SheetColumn("note", "Note (input)", Kind.TEXT, "Why; kept with the decision.", typed=True),
    SheetColumn("reason", "Reason of the suggestion", Kind.TEXT, "What speaks for and against it."),
    SheetColumn("jobs", "Jobs", Kind.WHOLE, "First-time job lines to date."),
    SheetColumn("quotes", "Quotes", Kind.WHOLE, "Quotes won or lost to date."),
    SheetColumn("expected_hours", "Hours", Kind.HOURS, "Mean hours of the next job."),
    SheetColumn("film_area", "Film", Kind.AREA, "Expected film of a job, recuts included."),
    SheetColumn(
        "film_cost_per_area", "Film cost", Kind.MONEY_PER_AREA,
        "Replacement cost of the films used, with the change of film prices.", live=True,
    ),
    SheetColumn(
        "expected_cost", "Expected cost", Kind.MONEY,
        "Film + hours × (loaded rate + consumables) + reserve for doing it over.", live=True,
    ),
    SheetColumn("enough", "Enough", Kind.YES_NO, "Whether the jobs reach pricing.fewest_jobs."),
    _hidden("own_service", Kind.TEXT, "Service as it was written."),
    _hidden("own_class", Kind.TEXT, "Class as it was written; blank: every class without its own."),
    _hidden("own_current_price", Kind.MONEY, "Current price as it was written."),
    _hidden("own_suggested_price", Kind.MONEY, "Suggested price as it was written."),
    _hidden("labour_rate", Kind.MONEY_PER_HOUR, "Mean loaded rate of the trailing twelve months."),
    _hidden("film_cost_today", Kind.MONEY_PER_AREA, "Replacement cost of the films used."),
    _hidden("redo_fixed", Kind.MONEY, "Redo reserve of a job, where the service had redos."),
    _hidden("redo_rate", Kind.PERCENT, "Redo reserve as a part of the direct cost, elsewhere."),
    _hidden("win_share", Kind.PERCENT, "Chance to win at the current price."),
    _hidden("suggested_win_share", Kind.PERCENT, "Chance to win at the suggested price."),
    _hidden("win_slope", Kind.NUMBER, "Change of the log-odds of winning with log(price)."),
    _hidden("target_margin", Kind.PERCENT, "Target margin of the row.", live=True),
    _hidden("direct_cost", Kind.MONEY, "Film + labour + consumables.", live=True),
)  # fmt: skip
NAMES: Final = tuple(column.name for column in COLUMNS)
PLACE: Final = {column.name: at for at, column in enumerate(COLUMNS, 1)}


@dataclass(frozen=True)
class Input:
    """One thing that a person may change, above the table.

    `service` : the one service that a target margin is of; `low`, `high` : the range that is taken
    (shares and money). `was` : what stands there before anybody changed it. `aside` : what is to be
    said beside the label.
    """

    name: str
    label: str
    kind: Kind
    was: float | str | pd.Timestamp | None
    help: str
    low: float | None = None
    high: float | None = None
    service: str = ""
    aside: str = ""

    @property
    def key(self) -> str:
        """Its mark in the sheet."""
        return f"{self.name}: {self.service}" if self.service else self.name


TARGET: Final = "target_margin"
WAGE, FILM = "wage_change", "film_price_change"
OVERHEAD, CONSUMABLES = "overhead_an_hour", "consumables_an_hour"
CARD_SHARE, CARD_FIXED = "card_share", "card_fixed"
FIRST_DAY, NOTE = "first_day", "note"


def shop_mark(records: Records) -> str:
    """Whose sheet it is: a short hash of what a price means there, and of the oldest records.

    It changes with currency, tax, the first job or the first invoice, and with nothing else, so
    that records may go on while a sheet is being filled in.
    """
    settings: Settings = records.settings
    jobs, purchases = records["jobs"], records["purchases"]
    done = jobs.sort_values(["finished_on", "job_id", "line"], kind="stable").head(1)
    bought = purchases.sort_values(["received_on", "invoice"], kind="stable").head(1)
    oldest = [
        *done[["job_id", "service", "make", "model"]].astype("str").to_numpy().ravel(),
        *bought[["invoice", "supplier"]].astype("str").to_numpy().ravel(),
    ]
    prices = (settings.currency, settings.prices_include_tax, settings.tax_rate)
    text = "\n".join(map(str, (*prices, *oldest)))
    return hashlib.sha256(text.encode()).hexdigest()[:16]
