"""Every pull of film, its areas, and the job line that it belongs to."""

from typing import Any, Final

import numpy as np
import pandas as pd

from analysis.records.film_rules import shared_widths
from analysis.records.job_lines import cut_lines
from analysis.records.model import Records
from analysis.records.rule import look_up

# Order of pulls within a day: the cut log, then counter sales without a cut, then job sheets.
FROM_LOG, FROM_SALE, FROM_JOB_SHEET = 0, 1, 2
FOR_JOB, FOR_SALE, FOR_SHOP = "jobs", "counter_sales", "shop"
REASON_PARTS: Final = {
    "recut": "recut_area_m2",
    "damage": "damage_area_m2",
    "test": "test_area_m2",
    "end-of-roll": "end_of_roll_area_m2",
}
_SIZES: Final = [
    "pulled_length_m",
    "pulled_width_m",
    "piece_length_m",
    "piece_width_m",
    "finished_length_m",
    "finished_width_m",
]
_COLUMNS: Final = [
    "pulled_from",
    "row",
    "cut_on",
    "film",
    "roll_id",
    "source",
    "panel",
    "reason",
    "owner",
    "job_id",
    "line",
    "sale_id",
    "cut_id",
    "pieces",
    *_SIZES,
    "pulled_m2",
    "kept_m2",
    "piece_m2",
    "gross_m2",
    "opening_m2",
]


def film_pulls(records: Records) -> pd.DataFrame:
    """One row a pull of film, in the order in which the stock is used.

    Returns
    -------
    DataFrame
        `cut_on, film, roll_id, source, panel, reason, owner` (jobs, counter_sales or shop),
        `cut_id` (missing where no cut was written down), `pieces` and the sizes of pull, piece and
        finished piece [m] as far as they were written down, `job_line` (position in the jobs
        table, missing where none), `sale` (position in the counter sales), the areas of
        `cut_areas` [m²], and where it was written down (`pulled_from`, `row`).

    Notes
    -----
    A job with any cut ignores the pulled length of its job sheet. A counter sale without a cut
    is itself a pull of its length at the film's roll width.
    """
    parts = [_logged(records), _sold_without_cut(records), _job_sheets(records)]
    filled = [part for part in parts if len(part)]
    pulls = pd.concat(filled, ignore_index=True) if filled else parts[0]
    pulls = pulls.sort_values(["cut_on", "pulled_from"], kind="stable", ignore_index=True)
    pulls = pulls.assign(
        job_line=line_of_work(pulls, records["jobs"]),
        sale=_position(pulls["sale_id"], records["counter_sales"]["sale_id"]),
    )
    return cut_areas(pulls)


def cut_areas(pulls: pd.DataFrame) -> pd.DataFrame:
    """The exact split of each pull.

    Adds `consumed_m2` = pulled − kept; for a first-time cut with finished sizes `finished_area_m2`,
    `side_loss_area_m2`, `handling_margin_area_m2`, `opening_area_m2`, `side_and_handling_area_m2`;
    for any other reason the whole consumed area under that reason; `waste_area_m2`; and
    `measured`. Parts add to waste exactly; nothing is clipped at 0. [m²]
    """
    first = pulls["reason"] == "first"
    measured = (~first | pulls["gross_m2"].notna()) & pulls["pulled_m2"].notna()
    consumed = pulls["pulled_m2"] - pulls["kept_m2"]
    opening = pulls["opening_m2"].fillna(0.0).where(first & measured)
    finished = (pulls["gross_m2"] - opening).where(first, 0.0)
    side = (consumed - pulls["piece_m2"]).where(first & measured)
    handling = (pulls["piece_m2"] - pulls["gross_m2"]).where(first & measured)
    both = (consumed - pulls["gross_m2"]).where(first & measured)
    parts = {
        column: consumed.where(pulls["reason"] == reason, 0.0)
        for reason, column in REASON_PARTS.items()
    }
    # The losses of a cut that is not first-time are no side loss and no margin: 0, not missing.
    split = {
        "side_loss_area_m2": side,
        "handling_margin_area_m2": handling,
        "opening_area_m2": opening,
        "side_and_handling_area_m2": both,
    }
    split = {name: values.where(first, 0.0) for name, values in split.items()}
    return pulls.assign(
        consumed_m2=consumed,
        finished_area_m2=finished,
        **split,
        **parts,
        waste_area_m2=(consumed - finished).where(measured),
        measured=measured,
    )


def line_of_work(work: pd.DataFrame, jobs: pd.DataFrame) -> pd.Series:
    """Position in `jobs` of the line that each row of work belongs to; missing where none.

    `work` has `job_id`, `line` and, for film, `film`. A row whose line the job does not have
    counts as having none: film goes to the job's line of that film, else its first.
    """
    return cut_lines(work, jobs.reset_index(drop=True)).astype("Int64")


def _position(keys: pd.Series, known: pd.Series) -> pd.Series:
    """Position of each key in `known` (keys there are unique); missing where not found."""
    at = pd.Series(np.arange(len(known)), index=known.to_numpy())
    return keys.map(at).astype("Int64")


def _logged(records: Records) -> pd.DataFrame:
    cuts = records["cuts"]
    owner = np.select(
        [cuts["job_id"].notna(), cuts["sale_id"].notna()], [FOR_JOB, FOR_SALE], FOR_SHOP
    )
    pieces = cuts["pieces"].astype("float64")
    kept = (cuts["kept_length_m"] * cuts["kept_width_m"]).fillna(0.0)
    gross = pieces * cuts["finished_length_m"] * cuts["finished_width_m"]
    piece = pieces * cuts["piece_length_m"] * cuts["piece_width_m"]
    sold = _sold_area(cuts, records["counter_sales"]).where(owner == FOR_SALE)
    return cuts.assign(
        pulled_from=FROM_LOG,
        owner=pd.Series(owner, index=cuts.index, dtype="str"),
        pieces=pieces,
        pulled_m2=cuts["pulled_length_m"] * cuts["pulled_width_m"],
        kept_m2=kept,
        piece_m2=piece.fillna(sold.where(gross.isna())),
        gross_m2=gross.fillna(sold + cuts["opening_area_m2"].fillna(0.0)),
        opening_m2=cuts["opening_area_m2"],
    )[_COLUMNS]


def _sold_area(cuts: pd.DataFrame, sales: pd.DataFrame) -> pd.Series:
    """Area of the piece sold, on the first first-time cut of each counter sale. [m²]"""
    area = pd.Series((sales["length_m"] * sales["width_m"]).to_numpy(), index=sales["sale_id"])
    own = (cuts["reason"] == "first") & cuts["job_id"].isna()
    first_time = cuts["sale_id"].where(own)
    return first_time.where(~first_time.duplicated()).map(area).astype("float64")


def _sold_without_cut(records: Records) -> pd.DataFrame:
    sales = records["counter_sales"]
    sales = sales[~sales["sale_id"].isin(records["cuts"]["sale_id"].dropna())]
    area = sales["length_m"] * sales["width_m"]
    width = sale_roll_width(sales, records["purchases"])
    return _first_pulls(
        sales,
        pulled_from=FROM_SALE,
        cut_on=sales["sold_on"],
        owner=FOR_SALE,
        pulled_length_m=sales["length_m"],
        pulled_width_m=width,
        pulled_m2=sales["length_m"] * width,
        piece_m2=area,
        gross_m2=area,
    )


def _first_pulls(rows: pd.DataFrame, **columns: Any) -> pd.DataFrame:
    """First-time pulls off a roll that no cut was written down for; what is not given is blank."""
    blank = pd.Series(np.nan, index=rows.index, dtype="str")
    given = rows.assign(
        source="roll", reason="first", roll_id=blank, panel=blank, kept_m2=0.0, opening_m2=0.0
    )
    number = pd.Series(np.nan, index=rows.index)
    absent = {name: blank for name in ("job_id", "sale_id", "cut_id") if name not in rows}
    absent |= {name: number for name in ("pieces", *_SIZES) if name not in (*rows, *columns)}
    if "line" not in rows:
        absent["line"] = pd.Series(pd.NA, index=rows.index, dtype="Int64")
    return given.assign(**absent, **columns)[_COLUMNS]


def sale_roll_width(sales: pd.DataFrame, purchases: pd.DataFrame) -> pd.Series:
    """Width of the roll that a counter sale without a cut came from. [m]

    The width that all purchases of the film share; else that of the newest purchase on or before
    the day that holds the piece; else the film's widest; never bought: the piece's own width.
    """
    film = purchases[(purchases["kind"] == "film") & purchases["roll_width_m"].notna()]
    width = look_up(sales["film"], shared_widths(purchases))
    pairs = sales.loc[width.isna(), ["film", "sold_on", "width_m"]].reset_index(names="at")
    pairs = pairs.merge(
        film[["item", "received_on", "roll_width_m"]], left_on="film", right_on="item"
    )
    widest = film.groupby("item")["roll_width_m"].max()
    holds = pairs[
        (pairs["received_on"] <= pairs["sold_on"])
        & (pairs["roll_width_m"] >= pairs["width_m"] - 1e-6)
    ]
    newest = holds.sort_values("received_on", kind="stable").groupby("at")["roll_width_m"].last()
    found = width.fillna(newest.reindex(sales.index))
    return found.fillna(sales["film"].map(widest)).fillna(sales["width_m"])


def _job_sheets(records: Records) -> pd.DataFrame:
    jobs = records["jobs"]
    jobs = jobs[
        (jobs["status"] == "finished")
        & jobs["finished_on"].notna()
        & jobs["pulled_length_m"].notna()
        & ~jobs["job_id"].isin(records["cuts"]["job_id"].dropna())
    ]
    width = jobs["roll_width_m"].fillna(look_up(jobs["film"], shared_widths(records["purchases"])))
    return _first_pulls(
        jobs,
        pulled_from=FROM_JOB_SHEET,
        cut_on=jobs["finished_on"],
        owner=FOR_JOB,
        pulled_width_m=width,
        pulled_m2=jobs["pulled_length_m"] * width,
        piece_m2=np.nan,
        gross_m2=jobs["finished_area_m2"],
    )
