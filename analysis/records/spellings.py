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
# A name outside its list is rare on so many lines of one table, and under so small a part of the
# commonest name; the list is one to go by where it holds so large a share of the job lines.
_FEW: Final = 2
_RARE: Final = 0.1
_COVERS: Final = 0.8
# From so many letters on, two slips are still near.
_LONG: Final = 5
_MOST_NAMED: Final = 5

SPELT_TWO_WAYS: Final = Rule(
    "spelt-two-ways",
    DOUBTFUL,
    "A make, model, service, film, installer or supplier that is nearly another one, which is in "
    "vehicles, price_list, purchases or rates, or clearly commoner (told once a spelling; names "
    "that differ in a number are not compared). Where such a table holds four in five job lines, a "
    "rare name outside it that is a letter off one of its names (two, from five letters on).",
    "Write it the same way everywhere, or map it in shop.toml.",
)
NAME_NOT_LISTED: Final = Rule(
    "name-not-listed",
    DOUBTFUL,
    "Makes, models or services on one or two job lines that are not in vehicles or price_list, "
    "where that table holds four in five job lines (told once for all of them).",
    "Mend the names, or add them to that table.",
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


# Of a film that was never bought the rules about film tell.
_TOLD_UNLISTED: Final = ("make", "model", "service")


@dataclass(frozen=True)
class Spellings:
    """The findings, and under `odd` the odd spellings of each kind of name."""

    findings: tuple[Found, ...]
    odd: Mapping[str, frozenset[str]]


def misspelt_names(shop: Shop) -> Spellings:
    """Names spelt two ways, in every column that holds names."""
    findings: list[Found] = []
    odd: dict[str, frozenset[str]] = {}
    strange_makes: set[str] = set()  # whose models are not told as well
    every = _names(shop)
    for subject in _PLACES:
        names = every[every["subject"] == subject]
        names = names.assign(rare=_rare(names))
        pairs = _odd_spellings(names)
        odd[subject] = frozenset(pairs["name"])
        findings.extend(_tell(subject, pairs))
        if subject in _TOLD_UNLISTED:
            strange = names[names["rare"] & names["in_jobs"] & ~names.index.isin(pairs.index)]
            strange = strange[~strange["group"].isin(strange_makes)]
            findings.extend(_tell_unlisted(subject, strange))
            if subject == "make":
                strange_makes = set(map(normal, [*odd["make"], *strange["name"]]))
    return Spellings(tuple(findings), odd)


def _names(shop: Shop) -> pd.DataFrame:
    """Each distinct name (within its subject and group): count, and where it stands first."""
    places = [(subject, *place) for subject, found_in in _PLACES.items() for place in found_in]
    written = [_written(shop, *place) for place in places]
    group, name, at = (np.concatenate(each) for each in zip(*written, strict=True))
    place = np.repeat(np.arange(len(places)), [len(labels) for _, _, labels in written])
    rows = pd.DataFrame({"place": place, "group": group, "name": name, "at": at})
    grouped = rows.groupby(["place", "group", "name"], sort=False)["at"]
    every = grouped.agg(["size", "first"]).reset_index()
    where = pd.DataFrame(places, columns=["subject", "table", "column"])
    every = every.join(where, on="place")
    every["listed"] = every["table"] == every["subject"].map(_LISTS)
    every["in_jobs"] = every["table"] == "jobs"
    every["lines"] = every["size"].where(every["in_jobs"], 0)
    key = ["subject", "group", "name"]
    same = every.groupby(key, sort=False).agg(
        most=("size", "max"),
        size=("size", "sum"),
        listed=("listed", "any"),
        in_jobs=("in_jobs", "any"),
    )
    first = every.drop_duplicates(key, keep="first")[[*key, "first", "table", "column", "lines"]]
    return first.join(same, on=key)


def _written(
    shop: Shop, subject: str, table: str, column: str
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Group, name and label of every row that names one in a column."""
    rows = shop.used[table]
    here = rows[column].notna()
    if subject == "model":
        here &= rows["make"].notna()
    if column == "item":
        here &= rows["kind"] == "film"
    names = rows[column][here].to_numpy(dtype=object)
    groups = np.full(len(names), "", dtype=object)
    if subject == "model":
        groups = rows["make"][here].map(normal).to_numpy(dtype=object)
    return groups, names, rows.index[here].to_numpy()


def _rare(names: pd.DataFrame) -> pd.Series:
    """Which names are rare ones outside a list that holds most of the job lines."""
    if not names["listed"].any():
        return pd.Series(data=False, index=names.index)
    keys = pd.MultiIndex.from_arrays([names["group"], names["name"].map(normal)])
    listed = pd.Series(keys.isin(keys[names["listed"]]), names.index)
    lines = names["lines"].sum()
    if lines == 0 or names["lines"][listed].sum() < _COVERS * lines:
        return pd.Series(data=False, index=names.index)
    few = names["most"].le(_FEW) & names["most"].lt(_RARE * names["lines"].max())
    return few.mask(listed, other=False)


def _odd_spellings(names: pd.DataFrame) -> pd.DataFrame:
    """Give the rows of `names` that are odd spellings, with `known`, what they are near to."""
    rows: list[pd.DataFrame] = []
    for _, group in names.groupby("group", sort=False):
        if len(group) > 1:
            written, listed = group["name"].tolist(), group["listed"].to_numpy()
            near = _nearest_known(written, group["size"].to_numpy(), listed)
            slips = _nearest_listed(written, listed, group["rare"].to_numpy())
            known = pd.Series(near, group.index, "str").fillna(pd.Series(slips, group.index, "str"))
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


def _nearest_listed(names: list[str], listed: np.ndarray, rare: np.ndarray) -> list[str | None]:
    """For each rare name the listed one that it is a slip or two off, or None.

    A slip is a letter too many, too few or wrong, or two neighbours in the wrong order (optimal
    string alignment).
    """
    known: list[str | None] = [None] * len(names)
    lists = [(names[at], normal(names[at])) for at in np.flatnonzero(listed)]
    for at in np.flatnonzero(rare):
        plain = normal(names[at])
        near = [
            (OSA.distance(plain, other), order)
            for order, (name, other) in enumerate(lists)
            if not _differ_on_purpose(names[at], name)
        ]
        slips, order = min(near, default=(len(plain), 0))
        if slips <= (2 if len(plain) >= _LONG else 1):
            known[at] = lists[order][0]
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


def _tell_unlisted(subject: str, names: pd.DataFrame) -> Iterator[Found]:
    """One finding for the rare names of a subject that are near to no name of its list."""
    if names.empty:
        return
    told = [
        f"'{name}' ({rows_word(size)})"
        for name, size in zip(names["name"], names["lines"], strict=True)
    ]
    more = f" and {len(told) - _MOST_NAMED} more" if len(told) > _MOST_NAMED else ""
    problem = (
        f"{', '.join(told[:_MOST_NAMED])}{more}: not in {_LISTS[subject]}, which has the {subject} "
        "of nearly every job"
    )
    remedy = f"Mend the name, or add it to {_LISTS[subject]} if it is right."
    yield found(
        NAME_NOT_LISTED, "jobs", subject, pd.Index(names["first"].iloc[:1]), problem, remedy
    )
