"""Which class of vehicle a person means who wrote a short form of one, or misspelt it."""

import re
from collections.abc import Sequence
from typing import Final

from rapidfuzz import fuzz, process

from analysis.record_tables import VEHICLE_CLASSES
from analysis.records.spellings import normal

# A name that is at least so much like a known one (of 100) is asked about.
NEAR: Final = 75.0
# What people write, and the words of the standard for it.
_SHORT: Final = (
    (r"\b(?:suvs?|crossover)\b", "sport utility vehicle"),
    (r"\bpick[\s-]?up(?:\s+truck)?\b|\btruck\b", "pickup"),
    (r"\bestate\b", "station wagon"),
    (r"\bmid[\s-]size\b|\bmid\b|\bmedium\b", "midsize"),
    (r"\b(sub|mini)[\s-](compact|van)\b", r"\1\2"),
    (r"\bstd\b", "standard"),
)


def nearest(name: str, known: Sequence[str]) -> str | None:
    """The known name that is most like this one; None where none is near."""
    plain = [normal(each) for each in known]
    best = process.extractOne(normal(name), plain, scorer=fuzz.ratio, score_cutoff=NEAR)
    return None if best is None else known[best[2]]


def classes_meant(name: str, in_use: Sequence[str]) -> list[str]:
    """The classes that may be meant, those in use in the shop before the standard ones.

    Those that hold every word of the name, short forms written out, else the one most like it.
    """
    written = name.casefold()
    for short, standard in _SHORT:
        written = re.sub(short, standard, written)
    words = set(re.findall(r"\w+", written))
    for known in (in_use, VEHICLE_CLASSES):
        held = [each for each in known if words and words <= set(_words(each))]
        if held:
            return held
    for known in (in_use, VEHICLE_CLASSES):
        near = nearest(written, known)
        if near is not None:
            return [near]
    return []


def _words(name: str) -> list[str]:
    return re.findall(r"\w+", name.casefold())


def class_option(in_use: Sequence[str]) -> str:
    """How to give a class: `--class (in use here: compact car, minivan)`."""
    return f"--class (in use here: {', '.join(in_use)})" if in_use else "--class"


def did_you_mean(names: Sequence[str]) -> str:
    """`; did you mean minivan? Ask with --class "minivan".`, or nothing where none is meant."""
    if not names:
        return ""
    options = " or ".join(f'--class "{name}"' for name in names)
    return f"; did you mean {' or '.join(names)}? Ask with {options}."
