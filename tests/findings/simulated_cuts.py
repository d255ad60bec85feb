"""Simulated cuts of shops whose recut curve is known, and what it is best to hold in them.

Each panel has its own size, allowance and proportion between length and width; the log-odds of a
recut have normal effects of panel and film, and fall with the allowance. The truth is worked out
here again, from the size of a piece on the roll, and not by the package.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, fields

import numpy as np
import pandas as pd
from scipy.special import expit

from analysis.arrays import Array
from analysis.costing.film import Shelf
from analysis.costing.jobs import Costing
from analysis.errors import Unavailable
from analysis.findings.allowance import ALL_PANELS, best_allowance, expected_piece_cost
from analysis.findings.recuts import RecutCurve, learn_recuts
from analysis.settings import Settings

UNTIL = pd.Timestamp("2026-09-30")
INCH_M = 0.0254
ROLL_M = 1.524
SEEN = (0.05, 0.95)
PARTS, INCHES = "in parts of the panel's mean", "in inches"


@dataclass(frozen=True)
class Kind:
    """What a kind of shop is like.

    `level` : log-odds of a recut at a panel's mean allowance; `slope` : their fall by the time it
    has doubled (`scale` PARTS) or by every inch (`scale` INCHES); `slope_sd` : sd of the logarithm
    of a panel's slope; `spread` : sd of the allowance ÷ its mean.
    """

    cuts: int = 1500
    panels: int = 8
    films: int = 4
    level: float = -3.0
    slope: float = 2.5
    scale: str = PARTS
    slope_sd: float = 0.0
    panel_sd: float = 0.4
    film_sd: float = 0.3
    spread: float = 0.28


@dataclass(frozen=True, eq=False)
class Shop:
    """A simulated shop: its costing, and the truth panel by panel (`panels`) and film by film.

    `panels` : `level`, `slope` (by the time that the mean has doubled), `mean_m`, `along` (share of
    the allowance that lies along the roll), `length_m`, `width_m`, `pieces`; `films` : `effect`,
    `price` a m².
    """

    kind: Kind
    costing: Costing
    panels: pd.DataFrame
    films: pd.DataFrame

    def share(self, panel: str, film: str, margin_m: Array) -> Array:
        """True probability that a piece is cut again."""
        at = self.panels.loc[panel]
        fall = at["slope"] * (margin_m / at["mean_m"] - 1.0)
        return np.asarray(expit(at["level"] + self.films.loc[film, "effect"] - fall))

    def cost(self, panel: str, film: str, margin_m: Array) -> Array:
        """True expected film cost of a piece; all pieces of a cut lie side by side."""
        at = self.panels.loc[panel]
        strip = (at["length_m"] + 4 * at["along"] * margin_m) * ROLL_M
        cut = strip * (1 + self.share(panel, film, margin_m))
        return np.asarray(cut * self.films.loc[film, "price"] / at["pieces"])

    def seen(self, panel: str) -> Array:
        """Allowances between the 5th and 95th percentile of the panel's. [m]"""
        pulls = self.costing.shelf.pulls
        own = pulls[(pulls["panel"] == panel) & (pulls["reason"] == "first")]
        low, high = own["margin_m"].quantile(list(SEEN))
        return np.linspace(low, high, 501)

    def best_m(self, panel: str, film: str) -> float:
        """The allowance that costs least film, of those seen. [m]"""
        seen = self.seen(panel)
        return float(seen[self.cost(panel, film, seen).argmin()])


def simulated_shop(kind: Kind, seed: int) -> Shop:
    """A shop that cut for two years; each cut is of a job line of its own."""
    rng = np.random.default_rng([seed, kind.cuts, kind.panels])
    panels, films = _panels(kind, rng), _films(kind, rng)
    panel = rng.choice(kind.panels, kind.cuts, p=rng.dirichlet(np.full(kind.panels, 3.0)))
    film = rng.integers(0, kind.films, kind.cuts)
    own = panels.iloc[panel].reset_index(drop=True)
    about = own["mean_m"] * (1 + kind.spread * rng.normal(size=kind.cuts))
    margin = (about / INCH_M * 8).round().clip(lower=2.0) * INCH_M / 8
    fall = own["slope"] * (margin / own["mean_m"] - 1.0)
    odds = own["level"] + films["effect"].to_numpy()[film] - fall
    first = pd.DataFrame(
        {
            "cut_on": UNTIL - pd.to_timedelta(rng.integers(0, 730, kind.cuts), unit="D"),
            "job_line": pd.array(np.arange(kind.cuts), dtype="Int64"),
            "panel": panels.index[panel],
            "film": films.index[film],
            "reason": pd.Series("first", index=own.index, dtype="str"),
            "pieces": own["pieces"].astype("float64"),
            "margin_m": margin,
            "finished_length_m": own["length_m"],
            "finished_width_m": own["width_m"],
            "piece_length_m": own["length_m"] + 4 * own["along"] * margin,
            "piece_width_m": own["width_m"] + 4 * (1 - own["along"]) * margin,
            "pulled_width_m": ROLL_M,
        }
    ).assign(consumed_m2=lambda cuts: cuts["piece_length_m"] * ROLL_M)
    again = first[rng.random(kind.cuts) < expit(odds)].assign(reason="recut", pieces=1.0)
    return Shop(
        kind, costing_of(pd.concat([first, again], ignore_index=True), films), panels, films
    )


def costing_of(pulls: pd.DataFrame, films: pd.DataFrame) -> Costing:
    """What the findings read of a costing: pulls, purchases at known prices, no hours."""
    number = int(pulls["job_line"].max()) + 1 if pulls["job_line"].notna().any() else 0
    nothing = pd.Series(np.nan, index=range(number))
    lines = pd.DataFrame(
        {"rework_hours": nothing, "labour_cost": nothing, "actual_hours": nothing}, dtype="float64"
    )
    bought = pd.DataFrame(
        {
            "item": films.index,
            "kind": "film",
            "supplier": "Supplier",
            "invoice": "A-1",
            "received_on": UNTIL - pd.DateOffset(years=2),
            "area_m2": 10.0,
            "landed": films["price"].to_numpy() * 10.0,
        }
    )
    credits = pd.DataFrame({"line": [], "amount": [], "received_on": []}).astype(
        {"line": "int64", "amount": "float64", "received_on": "datetime64[us]"}
    )
    shelf = Shelf(**{each.name: pd.DataFrame() for each in fields(Shelf)} | {"pulls": pulls})
    rates = pd.Series(dtype="float64")
    return Costing(lines, pd.DataFrame(), shelf, bought, credits, {}, rates)


def _panels(kind: Kind, rng: np.random.Generator) -> pd.DataFrame:
    """Panels by name: small ones are cut with about half the allowance of large ones."""
    number = kind.panels
    mean = rng.uniform(1.2, 2.6, number) * INCH_M
    steep = np.exp(kind.slope_sd * rng.normal(size=number))
    unit = 1.0 if kind.scale == PARTS else mean / INCH_M
    pieces = rng.integers(1, 3, number)
    across = 0.5 * ROLL_M / pieces
    return pd.DataFrame(
        {
            "level": kind.level + kind.panel_sd * rng.normal(size=number),
            "slope": kind.slope * unit * steep,
            "mean_m": mean,
            "along": rng.uniform(0.4, 0.7, number),
            "length_m": rng.uniform(0.4, 1.8, number),
            "width_m": rng.uniform(0.8, 1.2, number) * across,
            "pieces": pieces,
        },
        index=pd.Index([f"panel {at}" for at in range(number)], dtype="str"),
    )


def _films(kind: Kind, rng: np.random.Generator) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "effect": kind.film_sd * rng.normal(size=kind.films),
            "price": rng.uniform(10, 40, kind.films),
        },
        index=pd.Index([f"FILM-{at}" for at in range(kind.films)], dtype="str"),
    )


def learnt(costing: Costing, seed: int = 0) -> RecutCurve:
    """The curve of a shop that has what it needs."""
    curve = learn_recuts(costing, UNTIL, seed=seed)
    assert not isinstance(curve, Unavailable)
    return curve


def answers(costing: Costing, curve: RecutCurve, settings: Settings | None = None) -> pd.DataFrame:
    """The best allowances of a shop that has what it needs."""
    table = best_allowance(curve, costing, settings or Settings(), UNTIL)
    assert not isinstance(table, Unavailable)
    return table


def run_shops(kind: Kind, seeds: Iterable[int]) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Simulate, learn and judge one shop a seed.

    Returns
    -------
    DataFrame
        Recut probabilities, a row a `shop`, panel, film (and all panels together) and allowance:
        `low_share`, `high_share`, `truth`, `is_covered`.
    DataFrame
        Rows of `best_allowance` with an answer, `truth_m`, `truth_saving` (of what is
        advised), `is_covered` and `saving_covered`.
    """
    shares, bests = [], []
    for seed in seeds:
        shop = simulated_shop(kind, seed)
        curve = learnt(shop.costing)
        table = answers(shop.costing, curve)
        rows = table.iloc[1:]
        for panel, film in rows[["panel", "film"]].iloc[:: max(1, len(rows) // 6)].to_numpy():
            found = expected_piece_cost(curve, shop.costing, UNTIL, panel, film).iloc[[0, 15, 30]]
            truth = shop.share(panel, film, found["margin_m"].to_numpy())
            shares.append(found.assign(truth=truth, shop=seed, panel=panel))
        shares.append(_all_shares(shop, curve).assign(shop=seed, panel=ALL_PANELS))
        pairs = rows[["panel", "film"]].to_numpy()
        truth = [shop.best_m(*row) for row in pairs]
        saving = [
            np.diff(shop.cost(*row, np.array(margins)))[0]
            for row, margins in zip(
                pairs, rows[["best_allowance_m", "usual_allowance_m"]].to_numpy(), strict=True
            )
        ] * rows["pieces_a_year"]
        bests.append(rows.assign(truth_m=truth, truth_saving=saving, shop=seed))
    share, best = pd.concat(shares, ignore_index=True), pd.concat(bests, ignore_index=True)
    best = best[best["best_allowance_m"].notna()]
    covers = share["truth"].between(share["low_share"], share["high_share"])
    # Both ends may lie on the end of the range, which is summed in another order.
    low, high = best["low_allowance_m"] - 1e-9, best["high_allowance_m"] + 1e-9
    return share.assign(is_covered=covers), best.assign(
        is_covered=best["truth_m"].between(low, high),
        saving_covered=best["truth_saving"].between(best["saving_low"], best["saving_high"]),
    )


def _all_shares(shop: Shop, curve: RecutCurve) -> pd.DataFrame:
    """All panels at a few shares of their means: the curve's interval beside the truth."""
    found = expected_piece_cost(curve, shop.costing, UNTIL).iloc[[0, 15, 30]]
    cuts = curve.cuts[curve.cuts["cut_on"] > UNTIL - pd.DateOffset(years=1)]
    mix = cuts.groupby(["panel", "film"]).size()
    mean = curve.usual_m[mix.index.get_level_values("panel")].to_numpy()
    relative = found["margin_m"].to_numpy() / np.average(mean, weights=mix)
    truth = [shop.share(panel, film, relative * curve.usual_m[panel]) for panel, film in mix.index]
    return found.assign(truth=np.average(truth, axis=0, weights=mix))
