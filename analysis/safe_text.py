"""Text that a spreadsheet cannot take for a formula."""

from typing import Final

import pandas as pd

# A spreadsheet takes text that starts with one of these for a formula.
FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\n")
# A number, however its decimals and thousands are written, is no formula.
_NUMBER: Final = r"[+-]?\d[\d.,' \u00a0\u202f]*"


def safe_text(values: pd.Series) -> pd.Series:
    """Text in which nothing is taken for a formula: a leading sign gets an apostrophe before it.

    A plain number (a job numbered -12, or -12,50) is no formula and stays as it is. Missing
    values stay missing.
    """
    text = values.astype("str")
    risky = text.str.startswith(FORMULA_STARTS).fillna(False).astype(bool)
    risky &= ~text.where(risky).str.fullmatch(_NUMBER).fillna(False).astype(bool)
    return text.where(~risky, "'" + text)


def csv_cells(values: pd.Series) -> pd.Series:
    """Safe text for a file whose lines end in LF: a carriage return in a cell would end one too."""
    return safe_text(values).str.replace("\r\n?", "\n", regex=True)


def name_on_one_line(name: str) -> str:
    """The name of a file or folder as any file can hold it: what is no letter is written out."""
    return " ".join(name.encode("utf-8", "backslashreplace").decode().split())


def plain_text(text: str) -> str:
    """Undo `safe_text` on one text, so that what was written out safely comes back as it was."""
    guarded = text.startswith("'") and text[1:].startswith(FORMULA_STARTS)
    return text[1:] if guarded else text
