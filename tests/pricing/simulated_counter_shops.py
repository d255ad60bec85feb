"""Shops that sell cut film over the counter, whose truth is known.

A shop's price and cost of a sale, staff time, share of installs displaced (by service, and of
customers who were unsure), chance and delay of a later install, and what installs leave are drawn;
its records follow from them by chance. The truth is what a sale is expected to leave by the
arithmetic of the decision with the true figures.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pandas as pd

from analysis.arrays import Array, one_thread
from analysis.costing.cuts import FOR_SALE, FROM_SALE
from analysis.costing.film import Shelf
from analysis.costing.jobs import Costing
from analysis.findings.capacity_use import INSTALLERS, Governing, Use, refill_shares
from analysis.periods import Quarter, quarter_index
from analysis.pricing.counter_arithmetic import displaced_cost, later_gain, staff_rate
from analysis.pricing.counter_model import CounterModel, counter_model
from analysis.record_tables import RECORD_TABLES
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.settings import Fees, Labour, Settings
from tests.benchmarks.costing import typed
from tests.findings.made_costing import LOG

QUARTER = Quarter(2026, 3)
DAY = QUARTER.last_day
SERVICES = ("hood", "mirrors", "roof")
CLASSES = ("compact car", "pickup")
OF_CLASS = np.array([0.6, 0.4])
MONTH_DAYS = 30.4375
YEAR_MONTHS = 12
WAGE, ON_COST = 25.0, 0.2
LOADED = WAGE * (1 + ON_COST)
FEE_SHARE, FEE_FIXED, BY_CARD = 0.029, 0.30, 0.7
EXTRAS_PRICE, EXTRAS_COST, WITH_EXTRAS = 18.0, 9.0, 0.3
FILM, FILM_SD, PRICE_SD, MINUTES_SD = 45.0, 0.3, 0.35, 0.6
CAPACITY = 320.0
SHORT = Governing(INSTALLERS, *(Use(1.0, np.nan),) * 3)
EMPTY = {name: typed(name, {}) for name in RECORD_TABLES}
OTHER_JOB: dict[str, object] = {"job_id": np.array(["J00000"], dtype=object)}
SETTINGS = Settings(
    labour=Labour(on_cost=ON_COST, default_wage=WAGE),
    fees=Fees(card_percent=100 * FEE_SHARE, card_fixed=FEE_FIXED),
)


@dataclass(frozen=True)
class Kind:
    """What a kind of shop is like.

    `sales` in twelve months, over `months` in all; `net` and `net_sd` : what a sale truly leaves
    [money]; `displaced` : middle share of displaced installs, `alike` how little services differ in
    it (weight of a beta); `asked` : share of customers asked; `unsure` of those, who displace
    `unsure_times` as often; `later` : chance of an install ever booked afterwards, after `delay`
    months in the mean; `leaves` of an install, `leaves_sd` of one job relative to it, `apart_sd` of
    what later ones leave beyond [money]; `jobs` a year; `full` : share of the months that are full;
    `minutes` in the mean, written down for `noted` of the sales; `price` : in the mean, where it
    does not follow from `net`.
    """

    sales: int = 60
    months: int = 24
    net: float = 8.0
    net_sd: float = 15.0
    displaced: float = 0.25
    alike: float = 6.0
    asked: float = 0.7
    unsure: float = 0.15
    unsure_times: float = 1.0
    later: float = 0.12
    delay: float = 3.0
    leaves: float = 160.0
    leaves_sd: float = 0.4
    apart_sd: float = 20.0
    jobs: int = 120
    full: float = 0.25
    minutes: float = 20.0
    noted: float = 0.9
    price: float | None = None


KINDS = {
    "few sales": Kind(sales=8),
    "some sales": Kind(),
    "many sales": Kind(sales=300),
    "near break-even": Kind(sales=120, net=0.0, net_sd=4.0),
    "clearly pays": Kind(net=40.0, net_sd=5.0),
    "clearly loses": Kind(net=-30.0, net_sd=5.0),
    "all months full": Kind(full=1.0),
    "half of them full": Kind(full=0.5),
    "no month full": Kind(full=0.0),
    "unsure twice as often": Kind(sales=120, unsure=0.5, unsure_times=2.0),
    "unsure half as often": Kind(sales=120, unsure=0.5, unsure_times=0.5),
    "young shop": Kind(months=5),
    "few jobs": Kind(jobs=9),
    "few minutes noted": Kind(noted=0.05, minutes=35.0),
    "few answers": Kind(asked=0.12),
    "comes back late": Kind(later=0.3, delay=9.0),
}


@dataclass(frozen=True, eq=False)
class Truth:
    """What is true of a shop.

    By service: `share` of all customers who displace an install, `known_share` of those who know
    what they would have done, `asked_for` of the sales, `cells` (× class: what an install leaves
    [money]) and `hours` of an install. `price` of a sale in the
    mean; `refill` of the months in which the sales of the twelve were, and `refill_later` of all
    twelve; `later` : chance ever, after `delay` months in the mean; `apart` : what a later install
    leaves beyond [money].
    """

    share: Array
    known_share: Array
    asked_for: Array
    cells: Array
    hours: Array
    price: float
    minutes: float
    refill: Array
    refill_later: float
    later: float
    delay: float
    apart: float

    def later_within(self, months: float) -> float:
        """Chance of an install booked within so many months."""
        return float(self.later * (1 - np.exp(-months / self.delay)))

    @property
    def leaves(self) -> Array:
        """What an install of each service leaves in the mean of the vehicles. [money]"""
        return np.asarray(self.cells @ OF_CLASS)

    @property
    def margin_by_month(self) -> Array:
        """What a sale leaves before installs. [money]"""
        earned = float((self.leaves + LOADED * self.hours).sum() / self.hours.sum())
        rate = np.asarray(staff_rate(LOADED, earned, self.refill, True))
        paid = self.price + WITH_EXTRAS * EXTRAS_PRICE
        extras = WITH_EXTRAS * (EXTRAS_PRICE - EXTRAS_COST)
        fee = BY_CARD * (FEE_SHARE * paid + FEE_FIXED)
        return self.price + extras - fee - FILM - self.minutes / 60 * rate

    def net_by_month(self, months: float) -> Array:
        """What a sale leaves, later installs within so many months. [money]"""
        bring = float(self.asked_for @ self.leaves) + self.apart
        lost = displaced_cost(1.0, float(self.asked_for @ (self.share * self.leaves)), self.refill)
        won = later_gain(self.later_within(months), bring, self.refill_later)
        return np.asarray(self.margin_by_month - lost + won)

    def net(self, months: float) -> float:
        """What a sale is expected to leave over the months. [money]"""
        return float(self.net_by_month(months).mean())


@dataclass(frozen=True, eq=False)
class Shop:
    """A shop's records and costing, and the truth behind them."""

    records: Records
    costing: Costing
    truth: Truth

    def model(self, seed: int = 0, draws: int = 2000) -> CounterModel:
        """What is learnt of its counter sales."""
        with one_thread():
            return counter_model(self.costing, self.records, QUARTER, SHORT, DAY, seed, draws)

    def with_sales(self, sales: pd.DataFrame) -> Shop:
        """The same shop with other cells in its sales."""
        tables = {**self.records.tables, "counter_sales": sales}
        return replace(self, records=replace(self.records, tables=tables))


def simulated_shop(kind: Kind, seed: int) -> Shop:
    """A shop of a kind by chance."""
    rng = np.random.default_rng(seed)
    use = _use_by_month(kind, rng)
    truth = _truth(kind, use, rng)
    sales, film, gap = _sales(kind, truth, rng)
    jobs = _later_jobs(sales, gap)
    filled: dict[str, dict[str, object]] = {
        "counter_sales": sales,
        "jobs": jobs if len(np.asarray(jobs["job_id"])) else OTHER_JOB,
        "vehicles": {
            "make": np.array(["Harrow", "Harrow"]),
            "model": np.array(CLASSES),
            "vehicle_class": np.array(CLASSES),
        },
        "capacity": {"month": use.index.to_numpy(), "installer_hours": np.full(len(use), CAPACITY)},
    }
    tables = EMPTY | {name: typed(name, columns) for name, columns in filled.items()}
    nothing = pd.DataFrame(columns=list(FINDING_COLUMNS))
    records = Records(tables, nothing, {}, (), frozenset(filled), SETTINGS)
    lines = _lines(kind, truth, sales, jobs, rng)
    return Shop(records, _costing(lines, use, film), truth)


# --- what is true --------------------------------------------------------------------------------


def _use_by_month(kind: Kind, rng: np.random.Generator) -> pd.Series:
    """Use of the hours of 24 months [share]; as many of each twelve are full as the kind has it."""
    full = np.arange(YEAR_MONTHS) < round(kind.full * YEAR_MONTHS)
    is_full = np.concatenate([rng.permutation(full) for _ in range(2)])
    use = np.where(is_full, rng.uniform(0.9, 1.05, 24), rng.uniform(0.5, 0.8, 24))
    return pd.Series(use, pd.date_range(end=DAY, periods=24, freq="MS"))


def _truth(kind: Kind, use: pd.Series, rng: np.random.Generator) -> Truth:
    count = len(SERVICES)
    known = rng.beta(kind.displaced * kind.alike, (1 - kind.displaced) * kind.alike, count)
    unsure = np.minimum(known * kind.unsure_times, 0.95)
    size = kind.leaves * np.exp(rng.normal(0, 0.3, count))
    refill = np.asarray(refill_shares(use.to_numpy()[-YEAR_MONTHS:]))
    truth = Truth(
        share=known + kind.unsure * (unsure - known),
        known_share=known,
        asked_for=rng.dirichlet(np.full(count, 4.0)),
        cells=size[:, None] * np.exp(rng.normal(0, 0.15, (count, len(CLASSES)))),
        hours=rng.uniform(2.0, 5.0, count),
        price=0.0,
        minutes=kind.minutes,
        refill=refill[-min(kind.months, YEAR_MONTHS) :],
        refill_later=float(refill.mean()),
        later=kind.later * float(rng.uniform(0.6, 1.4)),
        delay=kind.delay,
        apart=float(rng.normal(0, kind.apart_sd)),
    )
    # The price is such that a sale leaves what it should, later installs of two years in it.
    wanted = float(rng.normal(kind.net, kind.net_sd))
    price = (wanted - truth.net(2 * YEAR_MONTHS)) / (1 - BY_CARD * FEE_SHARE)
    return replace(truth, price=max(price, 15.0) if kind.price is None else kind.price)


# --- records by chance ---------------------------------------------------------------------------


def _sales(
    kind: Kind, truth: Truth, rng: np.random.Generator
) -> tuple[dict[str, object], Array, Array]:
    """Sales, what their film cost [money], and days until an install was booked (NaN for none)."""
    count = max(round(kind.sales * kind.months / YEAR_MONTHS), 1)
    starts = pd.date_range(end=DAY, periods=kind.months, freq="MS")
    start = starts[rng.integers(0, kind.months, count)]
    within = (rng.random(count) * start.days_in_month).astype("int64")
    service = rng.choice(len(SERVICES), count, p=truth.asked_for)
    minutes = truth.minutes * _positive(MINUTES_SD, count, rng)
    with_extras = rng.random(count) < WITH_EXTRAS
    gap = np.floor(rng.exponential(truth.delay * MONTH_DAYS, count))
    gap = np.where(rng.random(count) < truth.later, gap, np.nan)
    sold_on = (start + pd.to_timedelta(within, unit="D")).to_numpy()
    left = (DAY.to_datetime64() - sold_on) / np.timedelta64(1, "D")
    gap = np.where(gap <= left, gap, np.nan)
    number = np.array([f"S{at:05d}" for at in range(count)], dtype=object)
    sales: dict[str, object] = {
        "sale_id": number,
        "sold_on": sold_on,
        "film": np.full(count, "clear", dtype=object),
        "length_m": np.full(count, 1.5),
        "width_m": np.full(count, 0.6),
        "price": truth.price * _positive(PRICE_SD, count, rng),
        "minutes": np.where(rng.random(count) < kind.noted, minutes, np.nan),
        "extras_price": np.where(with_extras, EXTRAS_PRICE, np.nan),
        "extras_cost": np.where(with_extras, EXTRAS_COST, np.nan),
        "make": np.full(count, "Harrow", dtype=object),
        "model": rng.choice(np.array(CLASSES, dtype=object), count, p=OF_CLASS),
        "service": np.array(SERVICES, dtype=object)[service],
        "would_book": _answers(kind, truth, service, rng),
        "later_job_id": np.where(
            np.isnan(gap), None, np.char.replace(number.astype(str), "S", "L")
        ),
        "payment": np.where(rng.random(count) < BY_CARD, "card", "cash").astype(object),
    }
    return sales, FILM * _positive(FILM_SD, count, rng), gap


def _positive(sd: float, count: int, rng: np.random.Generator) -> Array:
    """Positive numbers of mean 1 and such a standard deviation."""
    return rng.gamma(1 / sd**2, sd**2, count)


def _answers(kind: Kind, truth: Truth, service: Array, rng: np.random.Generator) -> Array:
    """What customers said: yes, no, unsure, or nothing."""
    count = len(service)
    said = np.where(rng.random(count) < truth.known_share[service], "yes", "no").astype(object)
    said[rng.random(count) < kind.unsure] = "unsure"
    said[rng.random(count) >= kind.asked] = None
    return said


def _later_jobs(sales: dict[str, object], gap: Array) -> dict[str, object]:
    came = ~np.isnan(gap)
    booked = np.asarray(sales["sold_on"])[came] + gap[came].astype("int64") * np.timedelta64(1, "D")
    names = ("later_job_id", "service", "model")
    job, service, model = (np.asarray(sales[name])[came] for name in names)
    return {"job_id": job, "quoted_on": booked, "service": service, "model": model}


def _lines(
    kind: Kind,
    truth: Truth,
    sales: dict[str, object],
    jobs: dict[str, object],
    rng: np.random.Generator,
) -> pd.DataFrame:
    """Job lines: the shop's own of two years, and the installs booked after a sale."""
    own = 2 * kind.jobs
    after = np.asarray(jobs["quoted_on"]) + np.timedelta64(20, "D")
    count = own + len(after)
    named = [np.searchsorted(SERVICES, np.asarray(jobs["service"], dtype=str))]
    service = np.concatenate([rng.integers(0, len(SERVICES), own), *named]).astype("int64")
    later_class = np.searchsorted(CLASSES, np.asarray(jobs["model"], dtype=str))
    of_class = np.concatenate([rng.choice(len(CLASSES), own, p=OF_CLASS), later_class])
    day = (DAY - pd.to_timedelta(rng.integers(0, 730, own), unit="D")).to_numpy()
    finished_on = pd.Series(np.concatenate([day, after])).astype("datetime64[us]")
    mean = truth.cells[service, of_class] + np.where(np.arange(count) < own, 0.0, truth.apart)
    leaves = mean + kind.leaves_sd * truth.cells[service, of_class] * rng.normal(size=count)
    hours = truth.hours[service]
    return pd.DataFrame(
        {
            "job_id": [*(f"J{at:05d}" for at in range(own)), *np.asarray(jobs["job_id"])],
            "finished": finished_on <= DAY,
            "finished_on": finished_on,
            "is_redo": False,
            "root": pd.Series(pd.NA, range(count), dtype="Int64"),
            "service": np.array(SERVICES, dtype=object)[service],
            "vehicle_class": np.array(CLASSES, dtype=object)[of_class],
            "contribution": leaves,
            "material_margin": leaves + LOADED * hours,
            "actual_hours": hours,
            "bay_hours": 0.0,
            "net_revenue": leaves + 2 * LOADED * hours,
            "quarter_number": quarter_index(finished_on).astype("Int64"),
        }
    ).astype({"job_id": "str", "service": "str", "vehicle_class": "str"})


def _costing(lines: pd.DataFrame, use: pd.Series, film: Array) -> Costing:
    """A costing of these job lines, hours as the use of the months has it, and film of sales."""
    hours = use.to_numpy() * CAPACITY
    log = pd.DataFrame(
        {name: pd.Series(index=range(len(use)), dtype=kind) for name, kind in LOG.items()}
    )
    log = log.assign(worked_on=use.index.to_numpy(), hours=hours, logged=True, cost=hours * LOADED)
    pulls = pd.DataFrame(
        {"owner": FOR_SALE, "sale": range(len(film)), "reason": "first", "film_cost": film}
    ).assign(consumed_m2=1.0, pulled_from=FROM_SALE, film="clear")
    moved = pd.DataFrame(
        {"film": ["clear"], "flow": ["counter_sales"], "cost": [float(film.sum())]}
    )
    nothing = pd.DataFrame()
    shelf = Shelf(pulls, moved, nothing, nothing, nothing)
    return Costing(lines, log, shelf, nothing, nothing, {}, pd.Series(dtype="float64"))


# --- the same as files ---------------------------------------------------------------------------

TOML = f"""
length_unit = "m"
area_unit = "m2"
[labour]
default_wage = {WAGE}
on_cost = {ON_COST}
[fees]
card_percent = {100 * FEE_SHARE}
card_fixed = {FEE_FIXED}
"""
_METRE_COST, _ROLL_M = 30.0, 500.0


def written_shop(folder: Path, shop: Shop) -> Path:
    """The shop as a records folder: jobs and hours on their sheets, film off one kind of roll."""
    lines, sales = shop.costing.lines, shop.records["counter_sales"]
    film = shop.costing.shelf.pulls["film_cost"]
    done = lines["finished"]
    booked = lines["job_id"].map(shop.records["jobs"].set_index("job_id")["quoted_on"])
    jobs = pd.DataFrame(
        {
            "job_id": lines["job_id"],
            "quoted_on": booked.dt.strftime("%Y-%m-%d"),
            "finished_on": lines["finished_on"].dt.strftime("%Y-%m-%d").where(done),
            "service": lines["service"],
            "make": "Harrow",
            "model": lines["vehicle_class"],
            "quoted_hours": lines["actual_hours"],
            # No film, no fee: what is left of the price is what the job leaves, and its wages.
            "quoted_price": lines["contribution"] + LOADED * lines["actual_hours"],
            "payment": "cash",
            "hours": lines["actual_hours"].where(done),
        }
    )
    # One job of long ago took film: that the others took none is believed where some do.
    first = jobs.head(1).assign(job_id="A", service="sample", film="clear", pulled_length=0.01)
    first = first.assign(finished_on=str(sales["sold_on"].min().date()), roll_width=0.6)
    jobs = pd.concat([jobs, first.assign(quoted_hours=1.0, hours=1.0)])
    month = pd.to_datetime(jobs["finished_on"]).dt.to_period("M").dt.to_timestamp()
    worked = jobs["hours"].groupby(month).sum()
    use = shop.costing.log.set_index("worked_on")["hours"] / CAPACITY
    hours = worked.reindex(use.index) / use
    tables = {
        "jobs": jobs,
        "vehicles": shop.records["vehicles"][["make", "model", "vehicle_class"]],
        "capacity": pd.DataFrame(
            {"month": use.index.strftime("%Y-%m"), "installer_hours": hours.to_numpy()}
        ),
        "purchases": pd.DataFrame(
            {
                "invoice": ["A", "B"],
                "received_on": str(sales["sold_on"].min().date()),
                "supplier": "S",
                "item": ["clear", "tape"],
                "kind": ["film", "consumable"],
                "quantity": [np.ceil(1 + film.sum() / _METRE_COST / _ROLL_M), 1],
                "unit_price": [_METRE_COST * _ROLL_M, 0.0],
                "roll_width": [0.6, np.nan],
                "roll_length": [_ROLL_M, np.nan],
            }
        ),
        "counter_sales": sales.drop(columns=["row", "length_m", "width_m"]).assign(
            length=film.to_numpy() / _METRE_COST, width=0.6
        ),
    }
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "shop.toml").write_text(TOML, encoding="utf-8")
    for name, table in tables.items():
        table.to_csv(folder / f"{name}.csv", index=False)
    return folder
