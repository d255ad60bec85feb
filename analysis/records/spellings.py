"""Names that are spelt two ways: near to a commoner name, and clearly rarer than it."""

import re
import unicodedata
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process
from rapidfuzz.distance import OSA, Levenshtein

from analysis.records.model import DOUBTFUL
from analysis.records.rule import Found, Rule, Shop, found, rows_word, toml_line

_NEAR: Final = 90.0
# A name that only resembles another is told when the other stands at least this often as much.
_CLEARLY: Final = 4
_SHORT: Final = 2
_BLOCK: Final = 1000

SPELT_TWO_WAYS: Final = Rule(
    "spelt-two-ways",
    DOUBTFUL,
    "A make, model, service, film, installer or supplier that is nearly another one, which is in "
    "vehicles, price_list, purchases or rates, or clearly commoner (told once a spelling; names "
    "that differ in a number are not compared).",
    "Write it the same way everywhere, or map it in shop.toml.",
)

# Where each name stands: table and column; a model is compared within its make.
_VEHICLES: Final = ("jobs", "quotes", "counter_sales", "vehicles", "panels")
_PLACES: Final[Mapping[str, tuple[tuple[str, str], ...]]] = {
    "make": tuple((table, "make") for table in _VEHICLES),
    "model": tuple((table, "model") for table in _VEHICLES),
    "service": tuple(
        (table, "service")
        for table in ("jobs", "quotes", "counter_sales", "price_list", "panels", "decisions")
    ),
    "film": (
        ("jobs", "film"),
        ("purchases", "item"),
        ("cuts", "film"),
        ("stock_counts", "film"),
        ("counter_sales", "film"),
    ),
    "installer": (("hours", "installer"), ("rates", "installer")),
    "supplier": (("purchases", "supplier"),),
}

# Where a name is right by definition, however seldom it is used.
_LISTS: Final[Mapping[str, str]] = {
    "make": "vehicles",
    "model": "vehicles",
    "service": "price_list",
    "film": "purchases",
    "installer": "rates",
}


@dataclass(frozen=True)
class Spellings:
    """The findings, and under `odd` the odd spellings of each kind of name."""

    findings: tuple[Found, ...]
    odd: Mapping[str, frozenset[str]]


def misspelt_names(shop: Shop) -> Spellings:
    """Names spelt two ways, in every column that holds names."""
    findings: list[Found] = []
    odd: dict[str, frozenset[str]] = {}
    for subject in _PLACES:
        names = _names(shop, subject)
        pairs = _odd_spellings(names)
        odd[subject] = frozenset(pairs["name"])
        findings.extend(_tell(subject, pairs))
    return Spellings(tuple(findings), odd)


def _names(shop: Shop, subject: str) -> pd.DataFrame:
    """Each distinct name (within its group): count, and where it stands first."""
    parts = []
    for order, (table, column) in enumerate(_PLACES[subject]):
        rows = shop.used[table]
        if table == "purchases" and subject == "film":
            rows = rows[rows["kind"] == "film"]
        group = (
            rows["make"].map(normal, na_action="ignore")
            if subject == "model"
            else pd.Series("", rows.index)
        )
        part = pd.DataFrame({"name": rows[column], "group": group, "at": rows.index})
        part = part.dropna(subset=["name", "group"])
        grouped = part.groupby(["group", "name"], sort=False)["at"].agg(["size", "first"])
        parts.append(grouped.reset_index().assign(table=table, column=column, order=order))
    every = pd.concat(parts, ignore_index=True)
    every["listed"] = every["table"] == _LISTS.get(subject, "")
    same = every.groupby(["group", "name"])
    every = every.assign(size=same["size"].transform("sum"), listed=same["listed"].transform("any"))
    return every.drop_duplicates(["group", "name"], keep="first").reset_index(drop=True)


def _odd_spellings(names: pd.DataFrame) -> pd.DataFrame:
    """Give the rows of `names` that are odd spellings, with `known`, what they are near to."""
    rows: list[pd.DataFrame] = []
    for _, group in names.groupby("group", sort=False):
        if len(group) > 1:
            near = _nearest_known(
                group["name"].tolist(), group["size"].to_numpy(), group["listed"].to_numpy()
            )
            known = pd.Series(near, index=group.index, dtype="str")
            rows.append(group.assign(known=known)[known.notna()])
    return pd.concat(rows) if rows else names.assign(known="").iloc[:0]


def _nearest_known(names: list[str], counts: np.ndarray, listed: np.ndarray) -> list[str | None]:
    """For each name the known name that it is a spelling of, or None.

    Names that are equal but for case, spaces and hyphens are one: the listed one is right, else
    the commonest, of equally common ones the first. Other names are compared with those that are
    listed (where they are not themselves) and with those that are clearly commoner.
    """
    plain = [normal(name) for name in names]
    right: dict[str, int] = {}
    for at in sorted(range(len(names)), key=lambda at: (~listed[at], -counts[at], at)):
        right.setdefault(plain[at], at)
    known: list[str | None] = [
        names[right[each]] if right[each] != at else None for at, each in enumerate(plain)
    ]
    chosen = [at for at in right.values() if listed[at] or counts[at] >= _CLEARLY]
    common = np.array(chosen, dtype="int64")
    for start in range(0, len(names) if len(common) else 0, _BLOCK):
        block = plain[start : start + _BLOCK]
        choices = [plain[at] for at in common]
        scores = _likeness(block, choices)
        here = slice(start, start + _BLOCK)
        clearly = counts[common] >= _CLEARLY * counts[here, np.newaxis]
        clearly |= listed[common] & ~listed[here, np.newaxis]
        for row, column in zip(*np.nonzero((scores > 0) & clearly), strict=True):
            at, other = start + int(row), int(common[column])
            if known[at] is None and not _differ_on_purpose(names[at], names[other]):
                near = (scores[row] > 0) & clearly[row]
                known[at] = _best(names, at, common[near], scores[row][near])
    return known


def _likeness(names: list[str], others: list[str]) -> np.ndarray:
    """How alike names are, 0 where they are not near.

    Two neighbouring letters in the wrong order (one step of the optimal string alignment, two of
    Levenshtein's) are near in a short name too: nobody names a second model so.
    """
    alike = process.cdist(names, others, scorer=fuzz.ratio, score_cutoff=_NEAR)
    slips = process.cdist(names, others, scorer=OSA.distance, score_cutoff=1)
    steps = process.cdist(names, others, scorer=Levenshtein.distance, score_cutoff=2)
    swapped = (slips == 1) & (steps == 2)
    likeness: np.ndarray = np.where(swapped, np.maximum(alike, _NEAR), alike)
    return likeness


def _best(names: list[str], at: int, others: np.ndarray, scores: np.ndarray) -> str:
    """Of the names that one may be a spelling of, the nearest; of equals the first."""
    meant = [
        (-float(score), int(other))
        for other, score in zip(others, scores, strict=True)
        if not _differ_on_purpose(names[at], names[other])
    ]
    return names[min(meant)[1]]


def _differ_on_purpose(one: str, other: str) -> bool:
    """Names that differ in a number, or in a word of a letter or two, are two things."""
    if re.findall(r"\d+", one) != re.findall(r"\d+", other):
        return True
    ours, theirs = one.casefold().split(), other.casefold().split()
    if len(ours) != len(theirs):
        return False
    return all(
        mine == yours or max(len(mine), len(yours)) <= _SHORT
        for mine, yours in zip(ours, theirs, strict=True)
    )


@lru_cache(maxsize=65_536)
def normal(name: str) -> str:
    """Give a name without case, spaces, hyphens and marks that cannot be seen."""
    text = unicodedata.normalize("NFKC", name).casefold()
    return "".join(
        each
        for each in text
        if not each.isspace() and unicodedata.category(each) not in ("Pd", "Cf") and each != "_"
    )


def _tell(subject: str, pairs: pd.DataFrame) -> Iterator[Found]:
    for name, known, size, table, column, first in zip(
        *(pairs[each] for each in ("name", "known", "size", "table", "column", "first")),
        strict=True,
    ):
        problem = (
            f"'{name}' ({rows_word(size)}) is nearly '{known}', the known spelling of this "
            f"{subject}"
        )
        remedy = (
            "If they are the same, write it the same way, or map it: "
            f"{toml_line(f'aliases.{column}', name, known)}."
        )
        yield found(SPELT_TWO_WAYS, table, column, pd.Index([first]), problem, remedy)
