"""Rules about film: purchases, cuts, counter sales and job sheets; doubtful, used all the same."""

from collections.abc import Iterator
from typing import Final

import numpy as np
import pandas as pd

from analysis.records.job_lines import sheet_against_log
from analysis.records.model import DOUBTFUL, REJECTED
from analysis.records.rule import Found, Rule, Shop, day, first_of_each, found, look_up, rows_word
from analysis.settings import Settings
from analysis.units import metres_per, square_metres_per

HAIR: Final = 1e-6  # metres, and square metres

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


def maybe_film(purchases: pd.DataFrame) -> pd.DataFrame:
    """Give the lines of film, and those whose kind could not be read, which may be film."""
    return purchases[purchases["kind"].eq("film") | purchases["kind"].isna()]


def shared_widths(purchases: pd.DataFrame) -> pd.Series:
    """Give the roll width of each film whose purchases all have the same [m]."""
    widths = maybe_film(purchases).groupby("item")["roll_width_m"].agg(["min", "max"])
    return widths["min"][widths["max"] - widths["min"] <= HAIR]


def _of_roll(rows: pd.DataFrame, bought: pd.DataFrame) -> pd.Series:
    """For rows of `film` and `roll_id`: the widest width under that film and roll tag [m]."""
    if rows["roll_id"].isna().all():
        return pd.Series(np.nan, rows.index)
    of_tag = bought[bought["roll_id"].notna()].groupby(["item", "roll_id"])["roll_width_m"]
    widths = of_tag.max().rename("width").reset_index()
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
    width = cuts["pulled_width_m"]
    if width.notna().all():
        return cuts
    width = width.fillna(_of_roll(cuts, maybe_film(purchases)))
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
    bought = maybe_film(shop.read["purchases"])
    first = _first_bought(bought)
    for table, rows in _pulls(shop).items():
        if len(rows):
            yield _before_bought(first, table, rows)
            yield _wider(bought, table, rows, shop.settings)
    known = {*bought["item"].dropna(), *misspelt}
    for table in ("jobs", "cuts", "stock_counts", "counter_sales"):
        yield _never_bought(shop, table, known)
    yield from _cut_references(shop, bought)
    differ = sheet_against_log(shop, "pulled_length_m", "cuts", "pulled_length_m")
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
        "cuts": cuts[["film", "roll_id"]].assign(
            on=cuts["cut_on"],
            length=cuts["pulled_length_m"],
            width=cuts["pulled_width_m"],
            kept=(cuts["kept_length_m"] * cuts["kept_width_m"]).fillna(0.0),
        ),
        "jobs": sheets[["film"]].assign(
            roll_id=_no_roll(sheets),
            on=sheets["finished_on"],
            length=sheets["pulled_length_m"],
            width=sheets["roll_width_m"],
            kept=0.0,
        ),
        "counter_sales": alone[["film"]].assign(
            roll_id=_no_roll(alone),
            on=alone["sold_on"],
            length=alone["length_m"],
            width=alone["width_m"],
            kept=0.0,
        ),
    }


def film_taken(shop: Shop) -> pd.DataFrame:
    """What every pull took of a film and did not put back: `film, on, area`.

    Sheets and sales took the width of the roll, where the film's purchases share one. [m²]
    """
    pulls = _pulls(shop)
    shared = shared_widths(shop.used["purchases"])
    cuts, sheets, sales = pulls["cuts"], pulls["jobs"], pulls["counter_sales"]
    sheets = sheets.assign(width=sheets["width"].fillna(look_up(sheets["film"], shared)))
    sales = sales.assign(width=look_up(sales["film"], shared).fillna(sales["width"]))
    every = pd.concat([cuts, sheets, sales], ignore_index=True)
    return every[["film", "on"]].assign(area=every["length"] * every["width"] - every["kept"])


def _no_roll(rows: pd.DataFrame) -> pd.Series:
    return pd.Series(np.nan, rows.index, dtype="str")


_WHEN: Final = {"cuts": "cut_on", "jobs": "finished_on", "counter_sales": "sold_on"}
_WIDTH: Final = {"cuts": "pulled_width", "jobs": "roll_width", "counter_sales": "width"}


def _before_bought(first: pd.Series, table: str, pulls: pd.DataFrame) -> Found:
    came = look_up(pulls["film"], first)
    early = pulls[pulls["on"] < came]
    problems = [
        f"cut on {day(on)}, and {film} was first bought on {day(since)}"
        for on, film, since in zip(early["on"], early["film"], came[early.index], strict=True)
    ]
    return found(CUT_BEFORE_BOUGHT, table, _WHEN[table], early.index, problems)


def _first_bought(bought: pd.DataFrame) -> pd.Series:
    """Give the day on which each film first came, missing where one of its days is not known."""
    unknown = bought["item"][bought["received_on"].isna()]
    return bought[~bought["item"].isin(unknown)].groupby("item")["received_on"].min()


def _wider(bought: pd.DataFrame, table: str, pulls: pd.DataFrame, settings: Settings) -> Found:
    roll = _of_roll(pulls, bought)
    widest = bought.groupby("item")["roll_width_m"].max()
    limit = roll.fillna(look_up(pulls["film"], widest))
    wide = pulls[pulls["width"] > limit + HAIR]
    problems = [
        f"{in_length(width, settings)} is wider than "
        + (f"roll {roll_id}" if known else f"any roll of {film}")
        + f", {in_length(most, settings)}"
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


def _never_bought(shop: Shop, table: str, known: set[str]) -> Found:
    films = first_of_each(shop.used[table]["film"])
    lost = films[~films["value"].isin(known)]
    problems = [
        f"no purchase names the film {film} (it stands in {rows_word(count)} of {table})"
        for film, count in zip(lost["value"], lost["count"], strict=True)
    ]
    return found(FILM_NEVER_BOUGHT, table, "film", pd.Index(lost["at"]), problems)


def _cut_references(shop: Shop, bought: pd.DataFrame) -> Iterator[Found]:
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

    tagged = cuts[cuts["roll_id"].notna()]
    if tagged.empty:
        return
    rolls = bought[["item", "roll_id"]].dropna().drop_duplicates()
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
