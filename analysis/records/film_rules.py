"""Rules about film: purchases, cuts, counter sales and job sheets; doubtful, used all the same."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import pandas as pd

from analysis.records.job_lines import sheet_against_log
from analysis.records.model import DOUBTFUL, REJECTED
from analysis.records.rule import Found, Rule, Shop, day, first_of_each, found, look_up, rows_word
from analysis.settings import Settings
from analysis.units import metres_per, square_metres_per

_HAIR: Final = 1e-6  # metres, and square metres

WIDTH_UNKNOWN = Rule(
    "width-unknown",
    REJECTED,
    "A cut without pulled_width, where neither its roll nor the film's purchases tell one width.",
    "Fill in pulled_width, or roll_id with the tag of a roll that was bought.",
)
CUT_BEFORE_BOUGHT = Rule(
    "cut-before-bought",
    DOUBTFUL,
    "Film cut before any of that film was bought.",
    "Look at the two dates, and whether an earlier purchase is missing.",
)
FILM_NEVER_BOUGHT = Rule(
    "film-never-bought",
    DOUBTFUL,
    "A film that no purchase names (told once a film and table).",
    "Add the purchase, or mend the code. Until then what was cut of it has no known cost.",
)
WIDER_THAN_ROLL = Rule(
    "wider-than-roll",
    DOUBTFUL,
    "A cut or a sale wider than the roll it came from (or than any roll of the film).",
    "Look whether length and width are swapped, and whether it is the right film.",
)
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
JOB_AND_SALE = Rule(
    "job-and-sale",
    DOUBTFUL,
    "A cut that names both a job and a counter sale; it counts for the job.",
    "Clear one of the two.",
)
UNKNOWN_SALE = Rule(
    "unknown-sale",
    DOUBTFUL,
    "A cut for a counter sale that is not there.",
    "Mend the number, or add the sale.",
)
UNKNOWN_ROLL = Rule(
    "unknown-roll",
    DOUBTFUL,
    "A cut from a roll that no purchase names.",
    "Mend roll_id, or enter it on the purchase. Until then the oldest film is taken.",
)
ROLL_OF_OTHER_FILM = Rule(
    "roll-of-other-film",
    DOUBTFUL,
    "A cut from a roll of another film.",
    "Look whether film or roll_id is wrong. The film counts, and the oldest of it is taken.",
)
LENGTH_AGAINST_CUTS = Rule(
    "length-against-cuts",
    DOUBTFUL,
    "Film pulled on the job sheet that differs by over a tenth from the cuts, which are what "
    "counts.",
    "Look whether a cut is missing or wrong, or clear pulled_length on the job sheet.",
)


def in_length(metres: float, settings: Settings) -> str:
    """Give a length in the shop's unit, for a message."""
    return f"{metres / metres_per(settings.length_unit):.5g} {settings.length_unit}"


def in_area(square_metres: float, settings: Settings) -> str:
    """Give an area in the shop's unit, for a message."""
    return f"{square_metres / square_metres_per(settings.area_unit):.5g} {settings.area_unit}"


def bought_film(purchases: pd.DataFrame) -> pd.DataFrame:
    """Give the purchase lines of film."""
    return purchases[purchases["kind"] == "film"]


def shared_widths(purchases: pd.DataFrame) -> pd.Series:
    """Give the roll width of each film whose purchases all have the same [m]."""
    widths = bought_film(purchases).groupby("item")["roll_width_m"].agg(["min", "max"])
    return widths["min"][widths["max"] - widths["min"] <= _HAIR]


def _roll_widths(purchases: pd.DataFrame) -> pd.Series:
    """Give the widest width under each film and roll tag [m]."""
    tagged = bought_film(purchases).dropna(subset="roll_id")
    return tagged.groupby(["item", "roll_id"])["roll_width_m"].max()


def _of_roll(rows: pd.DataFrame, purchases: pd.DataFrame) -> pd.Series:
    widths = _roll_widths(purchases).rename("width").reset_index()
    matched = rows[["film", "roll_id"]].merge(
        widths,
        left_on=["film", "roll_id"],
        right_on=["item", "roll_id"],
        how="left",
        validate="many_to_one",
    )
    return pd.Series(matched["width"].to_numpy(), rows.index)


def with_pulled_width(cuts: pd.DataFrame, purchases: pd.DataFrame) -> pd.DataFrame:
    """Cuts with a blank `pulled_width` filled in: the roll's, else the one that the film shares."""
    width = cuts["pulled_width_m"].fillna(_of_roll(cuts, purchases))
    return cuts.assign(pulled_width_m=width.fillna(look_up(cuts["film"], shared_widths(purchases))))


def width_unknown(cuts: pd.DataFrame) -> Found:
    """Cuts whose width is still not known after `with_pulled_width` (rejected)."""
    lost = cuts[cuts["pulled_width_m"].isna()]
    problems = [
        f"pulled_width is blank, and the purchases of {film} do not tell one width"
        for film in lost["film"]
    ]
    return found(WIDTH_UNKNOWN, "cuts", "pulled_width", lost.index, problems)


def film_findings(shop: Shop, misspelt: frozenset[str]) -> Iterator[Found]:
    """Everything doubtful about film; `misspelt` films are told of elsewhere."""
    pulls = _pulls(shop)
    for table, rows in pulls.items():
        yield _before_bought(shop, table, rows)
        yield _wider(shop, table, rows)
    for table in ("jobs", "cuts", "stock_counts", "counter_sales"):
        yield _never_bought(shop, table, misspelt)
    yield from _cut_sizes(shop)
    yield from _sheet_sizes(shop)
    yield from _cut_references(shop)
    differ = sheet_against_log(
        shop.used["jobs"], "pulled_length_m", shop.used["cuts"], "pulled_length_m"
    )
    problems = [
        f"the job sheet says {in_length(sheet, shop.settings)}, the cuts "
        f"{in_length(log, shop.settings)}"
        for sheet, log in zip(differ["sheet"], differ["log"], strict=True)
    ]
    yield found(LENGTH_AGAINST_CUTS, "jobs", "pulled_length", differ.index, problems)


def _pulls(shop: Shop) -> dict[str, pd.DataFrame]:
    """Rows that take film off a roll: cuts, sales without a cut, job sheets without a cut."""
    cuts, jobs, sales = shop.used["cuts"], shop.used["jobs"], shop.used["counter_sales"]
    sheets = jobs[
        (jobs["status"] == "finished")
        & jobs["pulled_length_m"].notna()
        & ~jobs["job_id"].isin(cuts["job_id"])
    ]
    alone = sales[~sales["sale_id"].isin(cuts["sale_id"])]
    return {
        "cuts": cuts[["film", "roll_id"]].assign(on=cuts["cut_on"], width=cuts["pulled_width_m"]),
        "jobs": sheets[["film"]].assign(
            roll_id=_no_roll(sheets), on=sheets["finished_on"], width=sheets["roll_width_m"]
        ),
        "counter_sales": alone[["film"]].assign(
            roll_id=_no_roll(alone), on=alone["sold_on"], width=alone["width_m"]
        ),
    }


def _no_roll(rows: pd.DataFrame) -> pd.Series:
    return pd.Series(np.nan, rows.index, dtype="str")


_WHEN: Final = {"cuts": "cut_on", "jobs": "finished_on", "counter_sales": "sold_on"}
_WIDTH: Final = {"cuts": "pulled_width", "jobs": "roll_width", "counter_sales": "width"}


def _before_bought(shop: Shop, table: str, pulls: pd.DataFrame) -> Found:
    first = bought_film(shop.used["purchases"]).groupby("item")["received_on"].min()
    bought = look_up(pulls["film"], first)
    early = pulls[pulls["on"] < bought]
    problems = [
        f"cut on {day(on)}, and {film} was first bought on {day(since)}"
        for on, film, since in zip(early["on"], early["film"], bought[early.index], strict=True)
    ]
    return found(CUT_BEFORE_BOUGHT, table, _WHEN[table], early.index, problems)


def _wider(shop: Shop, table: str, pulls: pd.DataFrame) -> Found:
    purchases = shop.used["purchases"]
    roll = _of_roll(pulls, purchases)
    widest = bought_film(purchases).groupby("item")["roll_width_m"].max()
    limit = roll.fillna(look_up(pulls["film"], widest))
    wide = pulls[pulls["width"] > limit + _HAIR]
    problems = [
        f"{in_length(width, shop.settings)} is wider than "
        + (f"roll {roll_id}" if known else f"any roll of {film}")
        + f", {in_length(most, shop.settings)}"
        for width, roll_id, film, known, most in zip(
            wide["width"],
            wide["roll_id"],
            wide["film"],
            roll[wide.index].notna(),
            limit[wide.index],
            strict=True,
        )
    ]
    return found(WIDER_THAN_ROLL, table, _WIDTH[table], wide.index, problems)


def _never_bought(shop: Shop, table: str, misspelt: frozenset[str]) -> Found:
    known = {*bought_film(shop.read["purchases"])["item"].dropna(), *misspelt}
    films = first_of_each(shop.used[table]["film"])
    lost = films[~films["value"].isin(known)]
    problems = [
        f"no purchase names the film {film} (it stands in {rows_word(count)} of {table})"
        for film, count in zip(lost["value"], lost["count"], strict=True)
    ]
    return found(FILM_NEVER_BOUGHT, table, "film", pd.Index(lost["at"]), problems)


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
        return self.area > other.area + _HAIR

    def sticks_out(self, other: "_Size") -> pd.Series:
        """Whether one piece fits into the other neither as it lies nor turned."""
        length, width = other.length + _HAIR, other.width + _HAIR
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


def _sheet_sizes(shop: Shop) -> Iterator[Found]:
    jobs, settings = shop.used["jobs"], shop.settings
    shared = shared_widths(shop.used["purchases"])
    width = jobs["roll_width_m"].fillna(look_up(jobs["film"], shared))
    pulled = _Size.of_area("the film pulled", jobs["pulled_length_m"] * width, settings)
    finished = _Size.of_area("what stayed on the vehicle", jobs["finished_area_m2"], settings)
    over = finished.has_more_than(pulled)
    yield _larger(FINISHED_OVER_PIECE, ("jobs", "finished_area"), over, finished, pulled)


def _cut_references(shop: Shop) -> Iterator[Found]:
    cuts = shop.used["cuts"]
    both = cuts[cuts["job_id"].notna() & cuts["sale_id"].notna()]
    problems = [
        f"the cut names job {job} and sale {sale}"
        for job, sale in zip(both["job_id"], both["sale_id"], strict=True)
    ]
    yield found(JOB_AND_SALE, "cuts", "sale_id", both.index, problems)
    named = cuts["sale_id"].dropna()
    unknown = named[~named.isin(shop.read["counter_sales"]["sale_id"])]
    problems = [f"there is no sale {each} in counter_sales" for each in unknown]
    yield found(UNKNOWN_SALE, "cuts", "sale_id", unknown.index, problems)

    rolls = bought_film(shop.read["purchases"])[["item", "roll_id"]].dropna().drop_duplicates()
    tagged = cuts[cuts["roll_id"].notna()]
    known = tagged["roll_id"].isin(rolls["roll_id"])
    problems = [f"no purchase of film names the roll {each}" for each in tagged["roll_id"][~known]]
    yield found(UNKNOWN_ROLL, "cuts", "roll_id", tagged.index[~known], problems)
    own = tagged[["film", "roll_id"]].merge(
        rolls.assign(own=True),
        left_on=["film", "roll_id"],
        right_on=["item", "roll_id"],
        how="left",
        validate="many_to_one",
    )["own"]
    wrong = tagged[known & own.isna().to_numpy()]
    films = rolls.groupby("roll_id")["item"].agg(lambda items: ", ".join(items))
    problems = [
        f"roll {roll} is {films[roll]}, and the cut is of {film}"
        for roll, film in zip(wrong["roll_id"], wrong["film"], strict=True)
    ]
    yield found(ROLL_OF_OTHER_FILM, "cuts", "roll_id", wrong.index, problems)
