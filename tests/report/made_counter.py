"""Made-up tables of the counter sale for the made-up review, in agreement with themselves."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from analysis.counter_tables import (
    COUNTER_BY_QUARTER,
    COUNTER_KITS,
    COUNTER_RESULT_TABLES,
    COUNTER_SALES,
    COUNTER_SALES_EACH,
    COUNTER_UNKNOWNS,
    COUNTER_VERDICTS,
    CUT_FILM_PRICES,
)
from analysis.errors import Unavailable
from analysis.periods import Quarter
from analysis.report.results import Review
from analysis.schema import Table
from analysis.settings import Settings
from tests.report.made_prices import no_records

QUARTER = Quarter(2026, 3)
DAY = pd.Timestamp("2026-09-30")
FILMS = ("GB-60", "MB-60", "TN-40")
SERVICES = ("roof", "hood", "tint")
CLASSES = ("compact car", "minivan")
FEWEST = 5
FOOT, INCH = 0.3048, 0.0254
LINE = (
    "Nothing was sold over the counter: whether that pays needs the table counter_sales. The "
    "notebook 05_counter_sale tells it for assumptions that you type in."
)
NO_SALES = Unavailable("counter_verdicts", ("counter_sales",), LINE)
HOSTILE = "<b>=1+1</b> $x$ \u05e9\u05dc\u05d5\u05dd"
# A later install has half this chance to come; it leaves so much.
SHARES = {"roof": 0.12, "hood": 0.3, "tint": 0.05}
LEAVES = {"roof": 150.0, "hood": 120.0, "tint": 90.0}
SPREAD = 14.0  # half the 90 % interval of what a sale leaves


def counter(films: Sequence[str] = FILMS, services: Sequence[str] = SERVICES) -> dict[str, Any]:
    """Every table about the counter sale, inside names."""
    each = sales(films, services)
    year = each[each["sold_on"] > DAY - pd.DateOffset(years=1)]
    return {
        "counter_verdicts": verdicts(each),
        "counter_unknowns": unknowns(float(year["expected_net"].mean())),
        "cut_film_prices": cut_film(films),
        "counter_kits": kits(films, services),
        "counter_sales": by_film(each, QUARTER.first_day),
        "counter_by_quarter": by_quarter(each),
        "counter_sales_each": each,
    }


def counter_year(films: Sequence[str] = FILMS, services: Sequence[str] = SERVICES) -> pd.DataFrame:
    """`counter_sales` of the twelve months."""
    return by_film(sales(films, services), QUARTER.year_first_day)


def counter_review(
    settings: Settings | None = None, **tables: pd.DataFrame | Unavailable
) -> Review:
    """A review of the counter tables alone; those given stand in the place of the made ones."""
    settings = settings or Settings()
    return Review(
        quarter=QUARTER,
        settings=settings,
        records=no_records(settings),
        results=counter() | tables,
        year={"counter_sales": counter_year()},
        previous={},
    )


def no_counter_review(settings: Settings | None = None) -> Review:
    """A review of a shop that sells nothing over the counter."""
    gone = {
        table.name: Unavailable(table.name, ("counter_sales",), LINE)
        for table in COUNTER_RESULT_TABLES
    }
    return counter_review(settings, **gone)


def _inside(table: Table, frame: pd.DataFrame) -> pd.DataFrame:
    return frame[table.inside_names].reset_index(drop=True)


# --- sales ---------------------------------------------------------------------------------------


def sales(films: Sequence[str] = FILMS, services: Sequence[str] = SERVICES) -> pd.DataFrame:
    """Two years of sales, the last of which has a film without a cost."""
    random = np.random.default_rng(11)
    count = 60
    day = pd.date_range("2024-10-10", periods=count, freq="12D")
    named = pd.Series([services[at % len(services)] for at in range(count)], dtype="str")
    known = dict(zip(services, SERVICES, strict=False))
    share = named.map(known).map(SHARES)
    leaves = named.map(known).map(LEAVES)
    frame = pd.DataFrame(
        {
            "sale_id": [f"S-{at:03d}" for at in range(count)],
            "sold_on": day,
            "film": [films[at % 7 % len(films)] for at in range(count)],
            "service": named,
            "vehicle_class": pd.Series(["minivan", np.nan] * (count // 2), dtype="str"),
            "length_m": random.choice([1.0, 1.5, 2.0], count),
            "width_m": 60 * INCH,
            "revenue": random.uniform(60, 130, count),
            "extras_margin": random.uniform(0, 9, count),
            "payment_fee": 2.4,
            "side_loss_area_m2": 0.2,
            "side_loss_cost": 4.1,
            "spoiled_cost": np.where(np.arange(count) % 15 == 0, 11.0, 0.0),
            "staff_cost": random.uniform(5, 12, count),
            "other_staff_cost": np.where(np.arange(count) % 4 == 0, 3.0, 0.0),
            "would_book": pd.Series(["no", "yes", "unsure", np.nan] * (count // 4), dtype="str"),
            "displaced_share": share,
            "install_contribution": leaves,
            "month_kind": ["idle" if at % 3 else "full" for at in range(count)],
            "refill_share": [0.0 if at % 3 else 0.8 for at in range(count)],
            "later_job_id": pd.Series([np.nan] * count, dtype="str"),
        }
    )
    frame["film_cost"] = 0.4 * frame["revenue"] + 4.1 + frame["spoiled_cost"]
    frame.loc[count - 1, ["film_cost", "side_loss_cost", "spoiled_cost"]] = np.nan
    taken = frame[["payment_fee", "film_cost", "staff_cost", "other_staff_cost"]]
    frame["margin"] = frame["revenue"] + frame["extras_margin"] - taken.sum(axis=1, skipna=False)
    frame["displaced_cost"] = share * leaves * (1 - frame["refill_share"])
    frame["later_installs"] = 0.5 * share * leaves * 0.6
    frame["expected_net"] = frame["margin"] - frame["displaced_cost"] + frame["later_installs"]
    return _inside(COUNTER_SALES_EACH, frame)


_SUMS = (
    "revenue",
    "extras_margin",
    "payment_fee",
    "film_cost",
    "side_loss_area_m2",
    "side_loss_cost",
    "spoiled_cost",
    "staff_cost",
    "other_staff_cost",
    "margin",
    "displaced_cost",
    "later_installs",
    "expected_net",
)


def _summed(each: pd.DataFrame, key: str) -> pd.DataFrame:
    grouped = each.groupby(key)
    told = each.assign(told=each["expected_net"].notna()).groupby(key)["told"].sum()
    sums = grouped[list(_SUMS)].sum()
    return sums.assign(
        sales=grouped.size(),
        told=told,
        net_low=sums["expected_net"] - SPREAD * np.sqrt(told),
        net_high=sums["expected_net"] + SPREAD * np.sqrt(told),
    ).reset_index()


def by_film(each: pd.DataFrame, first: pd.Timestamp) -> pd.DataFrame:
    """Sums by film from a day on."""
    table = _summed(each[each["sold_on"] >= first], "film")
    return _inside(
        COUNTER_SALES,
        table.assign(
            probability_pays=0.97,
            verdict="pays",
            break_even_displaced_share=0.6,
            lowest_price_per_m=31.0,
            note=pd.Series([np.nan] * len(table), dtype="str"),
            enough=(table["sales"] >= FEWEST).astype("boolean"),
        ),
    )


def by_quarter(each: pd.DataFrame) -> pd.DataFrame:
    """Sums by quarter, the oldest first."""
    quarter = each["sold_on"].dt.year.astype("str") + "Q" + each["sold_on"].dt.quarter.astype("str")
    return _inside(COUNTER_BY_QUARTER, _summed(each.assign(quarter=quarter), "quarter"))


# --- verdicts ------------------------------------------------------------------------------------


def verdicts(each: pd.DataFrame) -> pd.DataFrame:
    """All, months, films and services, as `sales` has them; full months come first."""
    groups: list[tuple[str, str, Any]] = [("all", "all sales", each["sold_on"].notna())]
    groups += [
        ("months", f"{kind} months", each["month_kind"] == kind) for kind in ("full", "idle")
    ]
    for kind in ("film", "service"):
        groups += [(kind, name, each[kind] == name) for name in each[kind].unique()]
    return pd.DataFrame([_verdict(each, *group) for group in groups]).astype(
        {"further_answers": "Int64", "enough": "boolean"}
    )[COUNTER_VERDICTS.inside_names]


def _verdict(each: pd.DataFrame, kind: str, group: str, mask: Any) -> dict[str, Any]:
    to_date = each[mask]
    recent = to_date[to_date["sold_on"] > DAY - pd.DateOffset(years=1)]
    told = recent[recent["expected_net"].notna()]
    names = ("margin", "displaced_cost", "later_installs", "expected_net", "displaced_share")
    margin, cost, later, net, share = (float(told[name].mean()) for name in names)
    free = float((told["install_contribution"] * (1 - told["refill_share"])).mean())
    probability = 0.97 if net > SPREAD else 0.5
    book = to_date["would_book"]
    return {
        "kind": kind,
        "group": group,
        "sales": len(recent),
        "told": len(told),
        "answers": int(book.isin(["yes", "no"]).sum()),
        "would_have_booked": int((book == "yes").sum()),
        "unsure": int((book == "unsure").sum()),
        "displaced_share": share,
        "displaced_low_share": 0.5 * share,
        "displaced_high_share": 1.6 * share,
        "came_back": 0,
        "later_share": 0.08,
        "later_low_share": 0.02,
        "later_high_share": 0.17,
        "margin_each": margin,
        "margin_low": margin - 4.0,
        "margin_high": margin + 4.0,
        "install_each": float(told["install_contribution"].mean()),
        "displaced_each": cost,
        "later_each": later,
        "net_each": net,
        "net_low": net - SPREAD,
        "net_high": net + SPREAD,
        "probability_pays": probability,
        "verdict": "pays" if probability >= 0.9 else "can't tell",
        "break_even_displaced_share": (margin + later) / free,
        "unknown": "installs displaced",
        "further_answers": pd.NA if probability >= 0.9 else 8,
        "reason": "A sale leaves something before installs.",
        "enough": len(told) >= FEWEST,
    }


def all_row(**changes: Any) -> pd.DataFrame:
    """One row of verdicts, all sales, in round numbers: it pays, $23 a sale ($9 to $38)."""
    row = {
        "kind": "all",
        "group": "all sales",
        "sales": 40,
        "told": 38,
        "answers": 30,
        "would_have_booked": 6,
        "unsure": 4,
        "displaced_share": 0.24,
        "displaced_low_share": 0.12,
        "displaced_high_share": 0.38,
        "came_back": 3,
        "later_share": 0.08,
        "later_low_share": 0.02,
        "later_high_share": 0.17,
        "margin_each": 44.0,
        "margin_low": 40.0,
        "margin_high": 48.0,
        "install_each": 110.0,
        "displaced_each": 24.0,
        "later_each": 3.0,
        "net_each": 23.0,
        "net_low": 9.0,
        "net_high": 38.0,
        "probability_pays": 0.97,
        "verdict": "pays",
        "break_even_displaced_share": 0.47,
        "unknown": "installs displaced",
        "further_answers": pd.NA,
        "reason": "A sale leaves $44.00 before installs.",
        "enough": True,
    }
    frame = pd.DataFrame([row | changes])[COUNTER_VERDICTS.inside_names]
    return frame.astype({"further_answers": "Int64", "enough": "boolean"})


def month_row(name: str, net: float, verdict: str, **changes: Any) -> pd.DataFrame:
    """A row of verdicts on months."""
    ends = {"net_low": net - 8.0, "net_high": net + 8.0}
    given = {"kind": "months", "group": f"{name} months", "net_each": net, "verdict": verdict}
    return all_row(**(given | ends | changes))


def rows(*frames: pd.DataFrame) -> pd.DataFrame:
    """Several rows of verdicts as one table."""
    return pd.concat(frames, ignore_index=True)


def unknowns(net: float = 23.0) -> pd.DataFrame:
    """Unknowns of all three units, one that is not known, and not in the order of their swing."""
    nothing = float("nan")
    table = [
        ("staff time of a sale", 24.0, 18.5, 31.0, "minutes", net + 3, net - 4, 7.0, 0.0),
        ("installs displaced", 24.0, 8.0, 35.0, "percent", net + 18, net - 31, 49.0, 340.0),
        ("what an install leaves", 110.0, 84.0, 140.0, "money", net + 6, net - 7, 13.0, 12.0),
        ("what a later install leaves", nothing, nothing, nothing, "money")
        + (nothing, nothing, nothing, nothing),
    ]
    names = [each.inside for each in COUNTER_UNKNOWNS.columns[:-1]]
    frame = pd.DataFrame(table, columns=names)
    records = [
        "Write down the minutes of every sale.",
        "Ask every customer whether they would have booked the install.",
        "Keep hours, cuts and prices of the jobs.",
        "Write the number of an install booked afterwards in later_job_id.",
    ]
    return frame.assign(record=records)


# --- prices and kits -----------------------------------------------------------------------------


def cut_film(films: Sequence[str] = FILMS) -> pd.DataFrame:
    """Two widths and four lengths a film; the last film was never sold, its price not known."""
    frame = pd.DataFrame(
        [
            (film, width * INCH, feet * FOOT)
            for film in films
            for width in (30, 60)
            for feet in (2, 4, 6, 10)
        ],
        columns=["film", "width_m", "length_m"],
    )
    area = frame["length_m"] * 60 * INCH
    cost = area * 21.0
    lowest = cost + 12.4
    ask = (lowest / 0.55).round()
    last = frame["film"] == films[-1]
    strip = np.where(frame["length_m"] < 1.0, "price the whole width", "keep the strip")
    return _inside(
        CUT_FILM_PRICES,
        frame.assign(
            roll_width_m=60 * INCH,
            strip=pd.Series(strip).where(frame["width_m"] < 1.0, "no strip"),
            film_area_m2=area,
            film_price_cost=cost.mask(last),
            staff_each=9.0,
            installs_each=3.4,
            lowest_price=lowest.mask(last),
            lowest_price_per_m=(lowest / frame["length_m"]).mask(last),
            price_to_ask=ask.mask(last),
            price_to_ask_per_m=(ask / frame["length_m"]).mask(last),
            price_so_far=(62.0 * frame["length_m"]).where(frame["film"] == films[0]),
            note=pd.Series(np.where(last, "No roll of it is known.", None), dtype="str"),
        ),
    )


def kits(films: Sequence[str] = FILMS, services: Sequence[str] = SERVICES) -> pd.DataFrame:
    """A kit for two classes a service; those of the last cannot be made."""
    frame = pd.DataFrame(
        [(service, size) for service in services for size in CLASSES],
        columns=["service", "vehicle_class"],
    )
    at = np.arange(len(frame))
    price = pd.Series(60.0 + 30 * at)
    none = frame["service"] == services[-1]
    cut_list = pd.Series("roof 62 × 54 in; 2 × mirror cap 14 × 12 in", index=frame.index)
    return _inside(
        COUNTER_KITS,
        frame.assign(
            film=films[0],
            pieces=pd.array([3] * len(frame), dtype="Int64"),
            cut_list=cut_list.mask(none),
            allowance_m=0.07,
            roll_width_m=60 * INCH,
            cut_length_m=1.8,
            film_area_m2=2.7,
            kit_lowest_price=(0.6 * price + 0.25).mask(none),
            kit_price=price.mask(none),
            install_price=price + 250,
            difference=pd.Series(250.0, index=frame.index).mask(none),
            install_leaves=120.0,
            requests=[len(frame) - each // 2 for each in at],
            note=pd.Series(np.where(none, "A piece fits no roll.", None), dtype="str"),
        ),
    )
