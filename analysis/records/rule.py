"""What a rule of the check is, and what it finds: rows of a table, with words."""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.settings import FILE_NAME, Settings


@dataclass(frozen=True)
class Rule:
    """One rule: a fixed code, how grave it is, what it finds, and what to do about it.

    A finding may carry a remedy that fits it better than the rule's own.
    """

    code: str
    severity: str
    finds: str
    remedy: str


@dataclass(frozen=True, eq=False)
class Found:
    """Rows of one table that a rule speaks of.

    `at` holds the labels of the rows in the table's frame; `problems` and `remedies` one text for
    each of them. `column` is our name of the column to change ('' for the row as a whole).
    """

    rule: Rule
    table: str
    column: str
    at: pd.Index
    problems: tuple[str, ...]
    remedies: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Shop:
    """The records under check.

    `read` holds every row that could be laid under its header, typed, a faulty cell being missing;
    `used` the rows that are left after the rejections. Both have what blank cells stand for filled
    in; `written` is `read` before that. Rows keep their label. A thing named by a rejected row
    counts as known: mending that row mends the rest. `lines` holds for each row of `used` hours and
    cuts the label of the job line that it names (`known_lines`).
    """

    settings: Settings
    written: Mapping[str, pd.DataFrame]
    read: Mapping[str, pd.DataFrame]
    used: Mapping[str, pd.DataFrame]
    lines: Mapping[str, pd.Series]


def found(
    rule: Rule,
    table: str,
    column: str,
    at: pd.Index,
    problems: str | Iterable[str],
    remedies: str | Iterable[str] | None = None,
) -> Found:
    """Give a `Found` from one text for all rows, or one for each."""
    told = _spread(problems, len(at))
    remedy = _spread(rule.remedy if remedies is None else remedies, len(at))
    return Found(rule, table, column, at, told, remedy)


def _spread(texts: str | Iterable[str], size: int) -> tuple[str, ...]:
    spread = (texts,) * size if isinstance(texts, str) else tuple(texts)
    if len(spread) != size:
        raise ValueError(f"{len(spread)} texts for {size} rows")
    return spread


def rows_told(findings: Iterable[Found], *rules: Rule) -> pd.Index:
    """Labels of the rows that some rules, which speak of one table, tell of."""
    labels: list[int] = []
    for each in findings:
        if each.rule in rules:
            labels += each.at.to_list()
    return pd.Index(labels, dtype="int64").unique()


def first_of_each(values: pd.Series) -> pd.DataFrame:
    """Give the distinct values as they appear: columns `value`, `at` (first label), `count`."""
    given = values.dropna()
    codes, distinct = pd.factorize(given)
    _, first, count = np.unique(codes, return_index=True, return_counts=True)
    return pd.DataFrame({"value": distinct.to_numpy(), "at": given.index[first], "count": count})


def look_up(keys: pd.Series, values: pd.Series) -> pd.Series:
    """Fetch for each key its value, missing where there is none; the index of `values` is unique.

    Unlike `Series.map` it keeps the dtype when `values` is empty.
    """
    return values.reindex(keys.to_numpy()).set_axis(keys.index)


def toml_line(section: str, theirs: str, ours: str) -> str:
    """Say which line of `shop.toml` maps a word of the shop to ours."""
    return f"under [{section}] of {FILE_NAME}, the line {toml_pair(theirs, ours)}"


def toml_pair(theirs: str, ours: str) -> str:
    """The line itself: `"Job no." = "job_id"`."""
    key, value = (json.dumps(each, ensure_ascii=False) for each in (theirs, ours))
    return f"{key} = {value}"


def words_or(words: Sequence[str]) -> str:
    """Words in a row: `roll or offcut`."""
    if len(words) < 2:
        return "".join(words)
    return ", ".join(words[:-1]) + " or " + words[-1]


def rows_word(count: int) -> str:
    """`1 row`, `3 rows`."""
    return f"{count} row" if count == 1 else f"{count:,} rows"


def day(when: pd.Timestamp) -> str:
    """Give a day as it is written in messages."""
    return when.isoformat()[:10]
