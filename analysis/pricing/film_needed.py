"""The film that the next job will take: pieces to cut, lengths to pull, and the area expected."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import pandas as pd

from analysis.costing.cuts import line_of_work
from analysis.costing.jobs import Costing
from analysis.pricing.usual_sizes import (
    ALL_PANELS,
    Vehicle,
    listed_panels,
    usual_allowance,
)
from analysis.records.model import Records

# A mean of n jobs stands against the next wider group's with the weight n ÷ (n + 3).
WIDER_JOBS: Final = 3.0
_MONTHS: Final = 12
_LABELS: Final = ["service", "vehicle_class", "make", "model"]
PANEL_COLUMNS: Final = (
    "panel",
    "pieces",
    "piece_length_m",
    "piece_width_m",
    "pulled_length_m",
    "pulled_width_m",
    "source",
    "cuts",
)


@dataclass(frozen=True, eq=False)
class FilmHistory:
    """What the shop's film says about the next job, up to a day.

    `lines` : finished first-time job lines, with their labels, film and consumed area; `cuts` :
    their first-time cuts with a panel, a row each; `pieces` : a row a job line and panel, with
    pieces, piece sizes, and the length and width pulled off the roll for them (missing where an
    offcut was used, or rolls of two widths); `panels` : the record table; `widths` : every film's
    roll widths, a row each; `until` : the day. [m]
    """

    lines: pd.DataFrame
    cuts: pd.DataFrame
    pieces: pd.DataFrame
    panels: pd.DataFrame
    widths: pd.DataFrame
    until: pd.Timestamp


@dataclass(frozen=True)
class ExpectedArea:
    """Film that a job takes, recuts included.

    `mean_m2`, `sd_m2` : expectation, and standard deviation from job to job; NaN where unknown.
    `model`, `vehicle_class`, `service` : past jobs of the service on the model, on the class, all.
    """

    mean_m2: float
    sd_m2: float
    model: int
    vehicle_class: int
    service: int


@dataclass(frozen=True)
class UsualFilm:
    """The film that a service used most: on `jobs` of `of` job lines (`recent`: of a year)."""

    film: str | None
    jobs: int
    of: int
    recent: bool


def film_history(costing: Costing, records: Records, day: pd.Timestamp) -> FilmHistory:
    """Gather the film of the jobs finished by a day."""
    every = costing.lines.reset_index(drop=True)
    lines = every[every["finished"] & ~every["is_redo"] & (every["finished_on"] <= day)]
    lines = lines[[*_LABELS, "film", "finished_on", "consumed_area_m2"]]
    logged = records["cuts"]
    at = line_of_work(logged, records["jobs"]).astype("float64")
    cuts = logged.assign(job_line=at)[
        at.isin(lines.index)
        & (logged["reason"] == "first")
        & logged["panel"].notna()
        & (logged["cut_on"] <= day)
    ].drop(columns="line")
    film = costing.purchase_lines
    film = film[(film["kind"] == "film") & (film["received_on"] <= day) & (film["area_m2"] > 0)]
    widths = film[["item", "roll_width_m"]].drop_duplicates().sort_values(["item", "roll_width_m"])
    return FilmHistory(lines, cuts, _pieces(cuts, lines), records["panels"], widths, day)


def _pieces(cuts: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    keys = ["job_line", "panel"]
    by = cuts.assign(is_offcut=cuts["source"] == "offcut").groupby(keys)
    width = by["pulled_width_m"]
    one_roll = (width.max() - width.min() < 1e-3) & ~by["is_offcut"].any()
    pieces = pd.DataFrame(
        {
            "pieces": by["pieces"].sum().astype("float64"),
            "piece_length_m": by["piece_length_m"].median(),
            "piece_width_m": by["piece_width_m"].median(),
            "pulled_length_m": by["pulled_length_m"].sum().where(one_roll),
            "pulled_width_m": width.max().round(4).where(one_roll),
        }
    ).reset_index()
    return pieces.join(lines[_LABELS], on="job_line", validate="m:1")


def expected_area(history: FilmHistory, service: str, vehicle: Vehicle) -> ExpectedArea:
    """Expected film of a job: the mean of the model, drawn towards its class and the service.

    Mean of n jobs × n ÷ (n + 3) + mean of the wider group × 3 ÷ (n + 3), from the service over the
    class to the model. The spread is that of the service's jobs around the means of their classes.
    """
    own = history.lines[history.lines["service"] == service]
    own = own[own["consumed_area_m2"].notna()]
    area = own["consumed_area_m2"]
    if own.empty:
        return ExpectedArea(np.nan, np.nan, 0, 0, 0)
    in_class = own["vehicle_class"] == vehicle.vehicle_class
    if vehicle.vehicle_class is None:
        in_class = own["vehicle_class"].isna()
    is_model = in_class & (own["make"] == vehicle.make) & (own["model"] == vehicle.model)
    mean = float(area.mean())
    # Vehicles of an unknown class have nothing in common.
    groups = [in_class, is_model] if vehicle.vehicle_class else [is_model]
    for chosen in groups:
        mean = (float(area[chosen].sum()) + WIDER_JOBS * mean) / (chosen.sum() + WIDER_JOBS)
    by_class = area.groupby(own["vehicle_class"], dropna=False)
    free = len(area) - by_class.ngroups
    away = area - by_class.transform("mean")
    sd = float(np.sqrt((away**2).sum() / free)) if free > 0 else np.nan
    classes = int(in_class.sum()) if vehicle.vehicle_class else 0
    return ExpectedArea(mean, sd, int(is_model.sum()), classes, len(area))


def usual_film(history: FilmHistory, service: str, day: pd.Timestamp) -> UsualFilm:
    """The film on most job lines of a service in the trailing twelve months, else in all records.

    Of equals the one used last.
    """
    own = history.lines[(history.lines["service"] == service) & history.lines["film"].notna()]
    recent = own[own["finished_on"] > day - pd.DateOffset(months=_MONTHS)]
    chosen = recent if len(recent) else own
    if chosen.empty:
        return UsualFilm(None, 0, 0, recent=False)
    films = chosen.groupby("film")["finished_on"].agg(["size", "max"]).sort_values(["size", "max"])
    jobs = int(films["size"].iloc[-1])
    return UsualFilm(str(films.index[-1]), jobs, len(chosen), recent=len(recent) > 0)


def panels_needed(
    history: FilmHistory, service: str, vehicle: Vehicle, film: str | None
) -> pd.DataFrame:
    """The pieces to cut and the lengths to pull, one row a panel.

    Returns
    -------
    DataFrame
        `PANEL_COLUMNS`: pieces, their sizes and the pull [m], the source of the sizes in words, and
        `cuts`, the past job lines behind the pulled length (0: worked out from the pieces).

    Notes
    -----
    Sizes: the panels table (rows of the model before those of its class, panel by panel) with the
    shop's usual handling margin; else the median of the pieces cut for the service before, on the
    model, else on the class (panels of at least half of those jobs). Pull: the median of what was
    pulled for the panel on the class, off the roll width used most, and at least a piece's length;
    else the pieces side by side across the narrowest roll of the film that holds one. A piece lies
    on the roll as most of those before; its margin gives way where the roll is too narrow for it.
    """
    listed = listed_panels(history.panels, service, vehicle)
    sized = (
        with_margin(listed, usual_allowance(history.cuts, history.until))
        if len(listed)
        else _cut_before(history.pieces, service, vehicle)
    )
    widths = history.widths.loc[history.widths["item"] == film, "roll_width_m"].to_numpy()
    pulled = _pulled_before(sized, history.pieces, vehicle)
    rows = _turned(sized.merge(pulled, on="panel", how="left", validate="m:1"))
    width = rows["pulled_width_m"].fillna(_holding(widths, rows["piece_width_m"]))
    least = rows["piece_width_m"] - rows["spare_width_m"]
    rows["piece_width_m"] = np.fmax(least, np.fmin(rows["piece_width_m"], width))
    across = np.floor(width / rows["piece_width_m"] + 1e-6).clip(lower=1).fillna(1.0)
    worked_out = rows["piece_length_m"] * np.ceil(rows["pieces"] / across)
    # A pull that is shorter than the piece is no help, however usual it is.
    before = rows[["pulled_length_m", "piece_length_m"]].max(axis=1)
    rows = rows.assign(
        pieces=rows["pieces"].astype("int64"),
        pulled_length_m=before.where(rows["pulled_length_m"].notna(), worked_out),
        pulled_width_m=width,
        cuts=rows["cuts"].fillna(0).astype("int64"),
    )
    return rows[list(PANEL_COLUMNS)]


def _turned(rows: pd.DataFrame) -> pd.DataFrame:
    """Pieces laid on the roll as they mostly were: `lies_long` is the share with length ≥ width."""
    length, width = rows["piece_length_m"], rows["piece_width_m"]
    turn = rows["lies_long"].notna() & ((rows["lies_long"] >= 0.5) != (length >= width))
    return rows.assign(
        piece_length_m=length.where(~turn, width),
        piece_width_m=width.where(~turn, length),
        spare_width_m=rows["spare_width_m"].where(~turn, rows["spare_length_m"]),
    )


def with_margin(listed: pd.DataFrame, usual: pd.DataFrame) -> pd.DataFrame:
    """Pieces as they will be cut: finished size + the usual allowance (`usual_allowance`).

    For the long and the short side apart (a piece may lie either way on the roll). A panel that was
    never cut has the allowance of all; without any, the finished size, and the source says so.
    """
    own = usual.reindex(listed["panel"]).to_numpy()
    both = np.where(np.isnan(own), usual.loc[ALL_PANELS].to_numpy(), own)
    has_margin = ~np.isnan(both).any(axis=1)
    long, short = np.where(np.isnan(both), 0.0, both).T
    length, width = listed["finished_length_m"], listed["finished_width_m"]
    is_long = length >= width
    spare_length, spare_width = (
        2 * np.where(is_long, *sides) for sides in ((long, short), (short, long))
    )
    words = np.where(has_margin, ", with the usual margin", ", finished size: margin not known")
    return pd.DataFrame(
        {
            "panel": listed["panel"],
            "pieces": listed["pieces"].astype("float64"),
            "piece_length_m": length + spare_length,
            "piece_width_m": width + spare_width,
            "spare_length_m": spare_length,
            "spare_width_m": spare_width,
            "source": listed["source"] + pd.Series(words, index=listed.index, dtype="str"),
        }
    )


def _cut_before(pieces: pd.DataFrame, service: str, vehicle: Vehicle) -> pd.DataFrame:
    """Median pieces of the service's past jobs on the model, else on the class."""
    own = pieces[pieces["service"] == service]
    model = own[(own["make"] == vehicle.make) & (own["model"] == vehicle.model)]
    of_class = own[own["vehicle_class"] == vehicle.vehicle_class]
    chosen, word = (model, "model") if len(model) else (of_class, "class")
    by = chosen.groupby("panel")
    usual = by[["pieces", "piece_length_m", "piece_width_m"]].median()
    usual = usual[by.size() * 2 >= chosen["job_line"].nunique()]
    return usual.assign(
        pieces=np.ceil(usual["pieces"]),
        spare_length_m=0.0,
        spare_width_m=0.0,
        source=f"as cut on this {word} before",
    ).reset_index()


def _pulled_before(sized: pd.DataFrame, pieces: pd.DataFrame, vehicle: Vehicle) -> pd.DataFrame:
    """What was pulled for each panel on the class, off the roll width used most.

    `panel, pulled_length_m, pulled_width_m` [m]; `cuts`, the job lines behind it; `lies_long`. A
    panel listed in two sizes has none: what was pulled for both cannot be parted.
    """
    once = sized.loc[~sized["panel"].duplicated(keep=False), "panel"]
    own = pieces[
        (pieces["vehicle_class"] == vehicle.vehicle_class)
        & pieces["panel"].isin(once)
        & pieces["pulled_length_m"].notna()
    ]
    sized_before = own["piece_length_m"].notna() & own["piece_width_m"].notna()
    lies_long = (own["piece_length_m"] >= own["piece_width_m"]).astype("float64")
    by = own.assign(lies_long=lies_long.where(sized_before)).groupby(["panel", "pulled_width_m"])
    most = pd.DataFrame(
        {
            "pulled_length_m": by["pulled_length_m"].median(),
            "cuts": by.size(),
            "lies_long": by["lies_long"].mean(),
        }
    ).reset_index()
    most = most.sort_values(["cuts", "pulled_width_m"], kind="stable")
    return most.drop_duplicates("panel", keep="last")


def _holding(widths: np.ndarray, piece: pd.Series) -> pd.Series:
    """The narrowest of the rolls' widths (ascending) that holds each piece, else the widest. [m]"""
    if not len(widths):
        return pd.Series(np.nan, index=piece.index)
    at = np.searchsorted(widths, piece.to_numpy(dtype=np.float64) - 1e-6)
    return pd.Series(widths[np.minimum(at, len(widths) - 1)], index=piece.index)
