"""Letters for the names of people, so that a review can be shown without saying who is who."""

import hashlib
import re
import string
from collections.abc import Mapping
from dataclasses import replace

import pandas as pd

from analysis.errors import Unavailable
from analysis.records.model import Records
from analysis.report.results import Review
from analysis.settings import Settings

_TEXTS = ("value", "problem", "remedy")
_OF_PEOPLE = ("installer", "crew")


def with_letters(review: Review) -> Review:
    """The review with a letter for every person, in its tables and in the findings of the check.

    The letters follow no order that tells a name (that of a hash), and are the same in every review
    of the same people. The rejected rows stay as they are: they are the shop's own, to be put back.
    """
    letters = letters_of(review.records)
    findings = review.records.findings
    # A short name may be a word of the sentence; only what is said of people is touched.
    of_people = findings["column"].isin(_OF_PEOPLE) | findings["table"].isin(["hours", "rates"])
    texts = {
        name: findings[name].where(~of_people, _replaced(findings[name], letters))
        for name in _TEXTS
    }
    settings = _nameless(review.settings, letters)
    return replace(
        review,
        settings=settings,
        records=replace(review.records, findings=findings.assign(**texts), settings=settings),
        results=_lettered(review.results, letters),
        year=_lettered(review.year, letters),
        previous=_lettered(review.previous, letters),
    )


def _nameless(settings: Settings, letters: Mapping[str, str]) -> Settings:
    """The settings without the spellings of names that they map."""
    aliases = dict(settings.aliases)
    if "installer" in aliases:
        known = {letters[name] for name in aliases["installer"].values() if name in letters}
        aliases["installer"] = {f"other spellings of {each}": each for each in sorted(known)}
    return replace(settings, aliases=aliases)


def letters_of(records: Records) -> dict[str, str]:
    """A letter for every person named in hours, rates or the crews of jobs."""
    crews = records["jobs"]["crew"].dropna().str.split(";").explode().str.strip()
    named = [records["hours"]["installer"], records["rates"]["installer"], crews]
    people = {str(name) for each in named for name in each.dropna() if str(name)}
    order = sorted(people, key=lambda name: hashlib.sha256(name.encode()).hexdigest())
    return {name: _letter(at) for at, name in enumerate(order)}


def _letter(at: int) -> str:
    rounds, place = divmod(at, len(string.ascii_uppercase))
    return string.ascii_uppercase[place] + (str(rounds + 1) if rounds else "")


def _lettered(
    results: Mapping[str, pd.DataFrame | Unavailable], letters: Mapping[str, str]
) -> dict[str, pd.DataFrame | Unavailable]:
    out = dict(results)
    table = out.get("hours_by_installer")
    if isinstance(table, pd.DataFrame):
        named = table.assign(installer=table["installer"].map(letters).astype("str"))
        named = named.sort_values("installer", kind="stable", ignore_index=True)
        out["hours_by_installer"] = named
    return out


def _replaced(texts: pd.Series, letters: Mapping[str, str]) -> pd.Series:
    """Texts with every name that stands as a word of its own replaced, all at once."""
    if not letters:
        return texts
    names = sorted(letters, key=len, reverse=True)
    pattern = re.compile(r"(?<!\w)(?:" + "|".join(map(re.escape, names)) + r")(?!\w)")
    return texts.str.replace(pattern, lambda found: letters[found[0]], regex=True)
