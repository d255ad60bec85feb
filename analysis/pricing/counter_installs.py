"""What an install leaves that a counter sale displaces, or brings later. Money a job."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.arrays import Array
from analysis.costing.jobs import Costing
from analysis.findings.groups import Period
from analysis.pricing.film_needed import WIDER_JOBS
from analysis.sums import strict_sum

CELL: Final = ["service", "vehicle_class"]


@dataclass(frozen=True, eq=False)
class Installs:
    """What installs leave, their redos paid. [money]

    `cells` : a row a service, and a service on a class: `service, vehicle_class` (missing: the
    whole service), `contribution, jobs`; the first row of a service is that without a class.
    `draws` : (draws × cells), from the posterior of each mean. `spread` : standard deviation of one
    job about what its cell leaves, over all services; NaN where it is not known.
    """

    cells: pd.DataFrame
    draws: Array
    spread: float

    def cell_of(self, rows: pd.DataFrame) -> npt.NDArray[np.int64]:
        """Position of each row's cell: its class, else its service; -1 where there is none."""
        keys = pd.MultiIndex.from_frame(self.cells[CELL])
        own = keys.get_indexer(pd.MultiIndex.from_frame(rows[CELL]))
        wide = keys.get_indexer(
            pd.MultiIndex.from_arrays([rows["service"], [np.nan] * len(rows)], names=CELL)
        )
        return np.where(own >= 0, own, wide).astype(np.int64)


def net_of_redos(costing: Costing, day: pd.Timestamp) -> pd.DataFrame:
    """First-time job lines finished by a day, with `leaves`: contribution after their redos.

    Redos count that were finished by the day. Missing where a contribution is. [money]
    """
    lines = costing.lines.reset_index(drop=True)
    done = lines[lines["finished"] & (lines["finished_on"] <= day)]
    first = done[~done["is_redo"]]
    redos = done[done["is_redo"] & done["root"].isin(first.index)]
    again = strict_sum(redos["contribution"], [redos["root"].astype("int64")])
    later = again.reindex(first.index)
    later = later.where(first.index.isin(again.index), 0.0)
    return first.assign(leaves=first["contribution"] + later)


def learn_installs(
    costing: Costing, year: Period, draws: int, rng: np.random.Generator
) -> Installs:
    """What an install leaves by service, and by class of vehicle within it.

    Notes
    -----
    Means over the first-time job lines finished in the twelve months, else over all to date. A
    class is drawn towards its service with the weight of `WIDER_JOBS` jobs: n ÷ (n + 3). The error
    of a service is that of its mean, that of a class the normal posterior that goes with those
    weights. A service done once borrows its spread from the others.
    """
    lines = net_of_redos(costing, year.last)
    lines = lines[lines["leaves"].notna() & lines["service"].notna()]
    recent = lines[lines["finished_on"] >= year.first]
    older = lines[~lines["service"].isin(recent["service"])]
    used = pd.concat([recent, older])
    by_service = used.groupby("service")["leaves"].agg(["mean", "size"])
    by_cell = used.dropna(subset=["vehicle_class"]).groupby(CELL)["leaves"].agg(["mean", "size"])
    spread = _spreads(used, by_service)
    at = by_service.index.get_indexer(by_cell.index.get_level_values("service"))
    weight = by_cell["size"].to_numpy(float) / (by_cell["size"].to_numpy(float) + WIDER_JOBS)
    own = by_service["mean"].to_numpy(float)[at]
    apart = weight * (by_cell["mean"].to_numpy(float) - own)
    cells = pd.DataFrame(
        {
            "service": [*by_service.index, *by_cell.index.get_level_values("service")],
            "vehicle_class": pd.Series(
                [np.nan] * len(by_service) + [*by_cell.index.get_level_values("vehicle_class")],
                dtype="str",
            ),
            "contribution": [*by_service["mean"], *(own + apart)],
            "jobs": [*by_service["size"], *by_cell["size"]],
        }
    ).astype({"service": "str", "contribution": "float64", "jobs": "int64"})
    error = spread / np.sqrt(by_service["size"].to_numpy(float))
    of_class = spread[at] / np.sqrt(by_cell["size"].to_numpy(float) + WIDER_JOBS)
    apart_of = centred(rng.standard_normal((draws, len(by_service)))) * np.nan_to_num(error)
    within = centred(rng.standard_normal((draws, len(at)))) * np.nan_to_num(of_class)
    # With this part of the service's error the classes together are as sure as their service is.
    noise = np.hstack([apart_of, apart_of[:, at] * np.sqrt(1 - weight) + within])
    whole = _pooled_spread(used, by_service)
    return Installs(cells, cells["contribution"].to_numpy(float) + noise, whole)


def centred(noise: Array) -> Array:
    """Noise whose mean is 0 to the last digit: the draws of a mean then have that mean."""
    return np.asarray(noise - noise.mean(axis=0))


def _pooled_spread(used: pd.DataFrame, by_service: pd.DataFrame) -> float:
    """Standard deviation of a job about its service's mean, over all services. [money]"""
    free = len(used) - len(by_service)
    if free < 1:
        return float("nan")
    apart = used["leaves"] - used.groupby("service")["leaves"].transform("mean")
    return float(np.sqrt((apart**2).sum() / free))


def _spreads(used: pd.DataFrame, by_service: pd.DataFrame) -> Array:
    """Standard deviation of a job by service; few jobs lean on the whole shop's, in proportion."""
    by = used.groupby("service")["leaves"]
    free = (by_service["size"] - 1).to_numpy(float)
    own = np.nan_to_num(by.var().reindex(by_service.index).to_numpy(float))
    size = by.agg(lambda each: float((each**2).mean())).reindex(by_service.index).to_numpy(float)
    # In proportion to its size, since a long job's contribution varies by more than a short one's.
    relative = np.divide(own, size, out=np.zeros_like(own), where=size > 0)
    # Of services done once each no spread is seen: then it may be as large as the amounts.
    shop = float((free * relative).sum() / free.sum()) if free.sum() > 0 else 1.0
    drawn = (free * relative + WIDER_JOBS * shop) / (free + WIDER_JOBS)
    return np.asarray(np.sqrt(drawn * size))
