"""Rules about the sizes of a cut and of a job sheet: film does not grow. Doubtful, and used."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from analysis.records.film_rules import HAIR, in_area, in_length, shared_widths
from analysis.records.model import DOUBTFUL
from analysis.records.rule import Found, Rule, Shop, found, look_up
from analysis.settings import Settings

PIECE_OVER_PULL = Rule(
    "piece-over-pull",
    DOUBTFUL,
    "Pieces larger than the film that was pulled for them and not kept.",
    "Look at the sizes, and at the number of pieces.",
)
FINISHED_OVER_PIECE = Rule(
    "finished-over-piece",
    DOUBTFUL,
    "A finished area larger than its piece, or than the film that was pulled.",
    "Look at the sizes: film does not grow.",
)
OPENING_OVER_FINISHED = Rule(
    "opening-over-finished",
    DOUBTFUL,
    "An opening as large as the finished pieces, or larger.",
    "Look at opening_area (all pieces together) and the finished sizes.",
)
KEPT_OVER_PULLED = Rule(
    "kept-over-pulled",
    DOUBTFUL,
    "A kept offcut larger than the film that was pulled.",
    "Look at the kept sizes.",
)
HALF_A_SIZE = Rule(
    "half-a-size",
    DOUBTFUL,
    "A length without its width, or a width without its length.",
    "Fill in the other one. Until then the size is not known.",
)

_PARTS: Final = {
    "pulled": "the film pulled",
    "piece": "the pieces",
    "finished": "what stayed on the vehicle",
    "kept": "the offcut",
}


@dataclass(frozen=True, eq=False)
class _Size:
    """Sizes of one part of each cut: length and width of one piece [m], area of all [m²]."""

    name: str
    length: pd.Series
    width: pd.Series
    area: pd.Series
    settings: Settings

    @classmethod
    def of(cls, cuts: pd.DataFrame, part: str, settings: Settings) -> "_Size":
        length, width = cuts[f"{part}_length_m"], cuts[f"{part}_width_m"]
        return cls(_PARTS[part], length, width, length * width, settings)

    @classmethod
    def of_area(cls, name: str, area: pd.Series, settings: Settings) -> "_Size":
        unknown = pd.Series(np.nan, area.index)
        return cls(name, unknown, unknown, area, settings)

    def times(self, count: pd.Series) -> "_Size":
        return replace(self, area=self.area * count)

    def less(self, kept: "_Size") -> "_Size":
        rest = self.area - kept.area.fillna(0.0)
        return _Size.of_area("the film pulled and not kept", rest, self.settings)

    def or_else(self, other: "_Size") -> "_Size":
        """Give these sizes, and where there are none the other's."""
        return replace(self, name="the film it was cut from", area=self.area.fillna(other.area))

    def has_more_than(self, other: "_Size") -> pd.Series:
        return self.area > other.area + HAIR

    def sticks_out(self, other: "_Size") -> pd.Series:
        """Whether one piece fits into the other neither as it lies nor turned."""
        length, width = other.length + HAIR, other.width + HAIR
        upright = (self.length > length) | (self.width > width)
        turned = (self.width > length) | (self.length > width)
        return upright & turned

    def exceeds(self, other: "_Size") -> pd.Series:
        return self.sticks_out(other) | self.has_more_than(other)

    def told(self, row: int) -> str:
        """Give the size in words: `the pieces (68 in by 48 in; 22.7 sq ft in all)`."""
        area = f"{in_area(self.area[row], self.settings)} in all"
        if pd.isna(self.length[row]) or pd.isna(self.width[row]):
            return f"{self.name} ({area})"
        length, width = (in_length(each[row], self.settings) for each in (self.length, self.width))
        return f"{self.name} ({length} by {width}; {area})"


def size_findings(shop: Shop) -> Iterator[Found]:
    """Everything doubtful about sizes that contradict each other."""
    yield from _cut_sizes(shop)
    yield _sheet_sizes(shop)


def _cut_sizes(shop: Shop) -> Iterator[Found]:
    cuts, settings = shop.used["cuts"], shop.settings
    yield from _half_sizes(cuts)
    pull, piece, finished, kept = (
        _Size.of(cuts, part, settings) for part in ("pulled", "piece", "finished", "kept")
    )
    count = cuts["pieces"].astype("float64")
    pieces, gross = piece.times(count), finished.times(count)
    left = pull.less(kept)

    over_kept = kept.exceeds(pull)
    yield _larger(KEPT_OVER_PULLED, ("cuts", "kept_length"), over_kept, kept, pull)
    over_piece = (piece.sticks_out(pull) | pieces.has_more_than(left)) & ~over_kept
    yield _larger(PIECE_OVER_PULL, ("cuts", "piece_length"), over_piece, pieces, left)
    first = cuts["reason"] == "first"
    limit = pieces.or_else(left)
    over = first & (finished.sticks_out(piece) | gross.has_more_than(limit)) & ~over_kept
    yield _larger(FINISHED_OVER_PIECE, ("cuts", "finished_length"), over, gross, limit)
    opening = _Size.of_area("the opening", cuts["opening_area_m2"], settings)
    hollow = first & (opening.area >= gross.area) & (opening.area > 0)
    yield _larger(OPENING_OVER_FINISHED, ("cuts", "opening_area"), hollow, opening, gross)


def _half_sizes(cuts: pd.DataFrame) -> Iterator[Found]:
    for what in ("piece", "finished", "kept"):
        length, width = cuts[f"{what}_length_m"], cuts[f"{what}_width_m"]
        for column, given, here, other in (
            (f"{what}_width", f"{what}_length", length, width),
            (f"{what}_length", f"{what}_width", width, length),
        ):
            at = cuts.index[here.notna() & other.isna()]
            problem = f"{given} is given and {column} is blank"
            yield found(HALF_A_SIZE, "cuts", column, at, problem)


def _larger(
    rule: Rule, place: tuple[str, str], mask: pd.Series, inner: "_Size", outer: "_Size"
) -> Found:
    at = mask.index[mask]
    problems = [f"{inner.told(row)} cannot come out of {outer.told(row)}" for row in at]
    return found(rule, *place, at, problems)


def _sheet_sizes(shop: Shop) -> Found:
    jobs, settings = shop.used["jobs"], shop.settings
    shared = shared_widths(shop.used["purchases"])
    width = jobs["roll_width_m"].fillna(look_up(jobs["film"], shared))
    pulled = _Size.of_area("the film pulled", jobs["pulled_length_m"] * width, settings)
    finished = _Size.of_area("what stayed on the vehicle", jobs["finished_area_m2"], settings)
    over = finished.has_more_than(pulled)
    return _larger(FINISHED_OVER_PIECE, ("jobs", "finished_area"), over, finished, pulled)
