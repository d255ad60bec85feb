"""The rules about single cells, and what a parser raises where a cell breaks one."""

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from analysis.records.model import DOUBTFUL, REJECTED
from analysis.records.rule import Rule
from analysis.schema import Column
from analysis.settings import Settings

Cell = str | bool | int | float | dt.datetime | dt.date | dt.time | dt.timedelta
CONTROL: Final = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")
LONGEST_NAME: Final = 500  # characters; every chart and table has to show it
LONGEST_NOTE: Final = 32_767  # characters in a cell of a common spreadsheet (from memory)
_SHOWN: Final = 80
_QUOTED: Final = 40


@dataclass(frozen=True)
class CellContext:
    """What a parser may know beside the cell: its column, the settings, the column's aliases."""

    column: Column
    settings: Settings
    aliases: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class CellFault:
    """What is wrong with a cell, in words."""

    rule: Rule
    problem: str
    remedy: str


@dataclass(frozen=True)
class Told:
    """A value that is used although there is something to say about its cell."""

    value: object
    fault: CellFault


class CellError(ValueError):
    """The cell cannot be read; `fault` says why and what to do."""

    def __init__(self, rule: Rule, problem: str, remedy: str = "") -> None:
        """Make the error of a rule; without a remedy of its own the rule's stands."""
        super().__init__(problem)
        self.fault = CellFault(rule, problem, remedy or rule.remedy)


def as_written(value: Cell) -> str:
    """Give a cell as text: a workbook's 1001.0 is `1001`, its dates are ISO, its yes is TRUE."""
    match value:
        case str():
            return value
        case bool():
            return str(value).upper()
        case float() if value.is_integer() and abs(value) < 1e15:
            return str(int(value))
        case dt.datetime():
            midnight = value.time() == dt.time()
            return value.date().isoformat() if midnight else value.isoformat(" ", "seconds")
        case dt.time():
            return value.isoformat("minutes" if value.second == 0 else "seconds")
        case dt.date():
            return value.isoformat()
        case dt.timedelta():
            minutes, seconds = divmod(round(value.total_seconds()), 60)
            clock = f"{minutes // 60}:{minutes % 60:02d}"
            return f"{clock}:{seconds:02d}" if seconds else clock
        case _:
            return str(value)


def shown(value: Cell, most: int = _SHOWN) -> str:
    """Show a cell on one line, cut to a readable length, with nothing in it that cannot be seen."""
    text = " ".join(as_written(value).split())
    text = CONTROL.sub(lambda found: f"\\x{ord(found[0]):02x}", text)
    return text if len(text) <= most else text[: most - 1] + "…"


def quoted(value: Cell) -> str:
    """Give a cell inside a sentence."""
    return f"'{shown(value, _QUOTED)}'"


REQUIRED_BLANK = Rule(
    "required-blank",
    REJECTED,
    "A cell that must be filled is blank.",
    "Fill in the cell.",
)
NOT_A_DATE = Rule(
    "not-a-date",
    REJECTED,
    "A date cell that holds no date.",
    "Write the date as 2026-07-13, or name the form of your dates in date_formats of shop.toml, "
    'as in ["%m/%d/%Y"] for month/day/year.',
)
DATE_TWO_WAYS = Rule(
    "date-two-ways",
    REJECTED,
    "A date that two of the shop's date forms read as different days.",
    "Write the date as 2026-07-13, or keep only one of these forms in date_formats of shop.toml.",
)
NUMBER_FOR_DATE = Rule(
    "number-for-date",
    REJECTED,
    "A date or time cell that holds a bare number.",
    "Format the cell as a date in your spreadsheet, and look whether it is the right day.",
)
NOT_A_MONTH = Rule(
    "not-a-month",
    REJECTED,
    "A month cell that holds no month.",
    "Write the month as 2026-07, or give any day of it.",
)
NOT_A_TIME = Rule(
    "not-a-time",
    REJECTED,
    "A cell for a time of day that holds none.",
    "Write the time on the 24-hour clock, as 09:15 or 16:40.",
)
NOT_HOURS = Rule(
    "not-hours",
    REJECTED,
    "A cell for hours that holds no hours.",
    "Write hours as 2.75, 2:45, 2h45 or 165 min.",
)
NOT_MINUTES = Rule(
    "not-minutes",
    REJECTED,
    "A cell for minutes that holds no minutes.",
    "Write minutes as 20, 20 min or 0:20.",
)
NOT_A_LENGTH = Rule(
    "not-a-length",
    REJECTED,
    "A cell for a length that holds none.",
    "Write a length such as 68, 68 in, 5 ft 8 in, 5'8\", 1.73 m or 25 yd.",
)
NOT_AN_AREA = Rule(
    "not-an-area",
    REJECTED,
    "A cell for an area that holds none.",
    "Write an area such as 28.5, 28.5 sq ft or 2.65 m2.",
)
NOT_MONEY = Rule(
    "not-money",
    REJECTED,
    "A cell for money that holds no plain amount.",
    "Write the amount alone, as 1250 or 1,250.00; leave the cell blank if it is not known.",
)
OTHER_CURRENCY = Rule(
    "other-currency",
    REJECTED,
    "An amount in another currency than the shop's.",
    "Enter the amount in the shop's currency, or set currency in shop.toml.",
)
NOT_A_NUMBER = Rule(
    "not-a-number",
    REJECTED,
    "A cell for a number that holds none.",
    "Write a plain number such as 12 or 12.5; leave the cell blank if it is not known.",
)
NOT_WHOLE = Rule(
    "not-whole",
    REJECTED,
    "A cell for a whole number that holds a fraction.",
    "Write a whole number such as 2.",
)
COMMA_DECIMAL = Rule(
    "comma-decimal",
    REJECTED,
    "A number with a comma that is no thousands mark, in a shop that writes decimals with a point.",
    "Write 2.5 for two and a half; or, if all your files write 2,5, set decimal_comma = true in "
    "shop.toml.",
)
NUMBER_TWO_WAYS = Rule(
    "number-two-ways",
    REJECTED,
    "A number whose comma or point can be read in two ways.",
    "Write the number without a thousands mark.",
)
NOT_YES_NO = Rule(
    "not-yes-no",
    REJECTED,
    "A yes/no cell that holds something else.",
    "Write yes or no, or leave the cell blank.",
)
UNKNOWN_WORD = Rule(
    "unknown-word",
    REJECTED,
    "A word outside the list of words for this column.",
    "Write one of the words of the list, or map yours to one in shop.toml.",
)
KEPT_AS_OTHER = Rule(
    "kept-as-other",
    DOUBTFUL,
    "A word outside the list, in a column where such a word counts as other.",
    "Write one of the words of the list, or map yours to one in shop.toml.",
)
TOO_SMALL = Rule(
    "too-small",
    REJECTED,
    "A number below the least that the column takes; a length of nothing.",
    "Enter the right number.",
)
TOO_LARGE = Rule(
    "too-large",
    REJECTED,
    "A number above the most that the column takes.",
    "Enter the right number.",
)
TEXT_TOO_LONG = Rule(
    "text-too-long",
    REJECTED,
    f"A name, number or code of over {LONGEST_NAME} characters, or running text of over "
    f"{LONGEST_NOTE:,}, which is what a cell of a spreadsheet takes.",
    "Shorten it; look whether a whole page was pasted into the cell.",
)
CONTROL_CHARACTER = Rule(
    "control-character",
    REJECTED,
    "Text with a control character in it, which cannot be seen and makes it differ from its like.",
    "Type the text anew.",
)
LINE_BREAK = Rule(
    "line-break",
    DOUBTFUL,
    "A name, number or code with a line break or a tab inside.",
    "Write it on one line.",
)
DATE_IN_TEXT = Rule(
    "date-in-text",
    REJECTED,
    "A text cell of a workbook that holds a date or a time: spreadsheets turn codes like 3-4 into "
    "dates.",
    "Format the cell as text and type it again.",
)
SPREADSHEET_ERROR = Rule(
    "spreadsheet-error",
    REJECTED,
    "A cell that holds a spreadsheet's error mark.",
    "Mend the formula in your spreadsheet, or type the value.",
)
