"""Counter sales at every level of detail, and at the edges: what is missing stays missing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import pytest

from analysis.costing.jobs import cost_records
from analysis.findings.capacity_use import governing
from analysis.pricing.counter_chances import learn_later
from analysis.pricing.counter_model import counter_model
from analysis.pricing.counter_sums import counter_sales_each
from analysis.pricing.counter_verdict import CANNOT_TELL, PAYS, SURE
from analysis.pricing.counter_verdicts import counter_verdicts, parts_for, sales_of
from analysis.review import newest_day
from tests.pricing.made_counter import made_records
from tests.pricing.simulated_counter_shops import (
    DAY,
    EMPTY,
    QUARTER,
    SETTINGS,
    Kind,
    Shop,
    simulated_shop,
)
from tests.shops import PLAIN, records_of

UNITS = 'length_unit = "m"\narea_unit = "m2"\n'
# A metre of the roll costs 30: film of a sale, whose strip is lost, and 36 of a job of 1.2 metres.
PURCHASES = """
  invoice | received_on | supplier | item | kind | quantity | unit_price | roll_width | roll_length
  A       | 2026-01-01  | S        | F    | film | 1        | 900        | 1.5        | 30"""
# Hours enough that no month is full.
CAPACITY = "month | installer_hours\n" + "\n".join(f"2026-0{month} | 200" for month in range(1, 10))
SALES = {
    "sale_id": "S{0}",
    "sold_on": "2026-0{month}-2{0}",
    "film": "F",
    "length": "1",
    "width": "0.5",
    "price": "60",
    "minutes": "30",
    "service": "roof",
    "would_book": "no",
}
ALL_TOLD = ("hours", "film", "pulled_length")
ALL_SAID = ("service", "minutes", "would_book")
FEWEST_COLUMNS = ("sale_id", "sold_on", "film", "length", "width", "price")


def jobs(*more: str) -> str:
    """Twelve jobs, each of 300 and, where told, 3 hours and 36 of film. `more` : what is told."""
    told = {"hours": "3", "film": "F", "pulled_length": "1.2"}
    names = ["job_id", "finished_on", "service", "make", "model", "quoted_hours", "quoted_price"]
    rows = [" | ".join([*names, *more])]
    for at in range(12):
        service = "roof" if at % 2 else "hood"
        cells = [f"J{at}", f"2026-0{1 + at % 9}-10", service, "m", "n", "3", f"{300 + at}"]
        rows.append(" | ".join([*cells, *(told[name] for name in more)]))
    return "\n".join(rows)


def sold(*more: str, count: int = 8) -> str:
    """Sales with these columns beside the least that there are."""
    columns = [*FEWEST_COLUMNS, *more]
    rows = [" | ".join(SALES[name].format(at, month=1 + at) for name in columns)
            for at in range(count)]  # fmt: skip
    return "\n".join([" | ".join(columns), *rows])


# Ten more a sale, which leaves 35 after half an hour at 10.
DEARER = sold(*ALL_SAID).replace("| 60 |", "| 70 |")


def verdict(folder: Path, toml: str = PLAIN, **tables: str) -> dict[str, Any]:
    """What is said of all sales of a shop that is written down."""
    records = records_of(folder, toml, **{"purchases": PURCHASES} | tables)
    assert not (records.findings["severity"] == "rejected").any()
    costing = cost_records(records, DAY)
    governs = governing(costing, records, QUARTER)
    model = counter_model(costing, records, QUARTER, governs, newest_day(records), 0, 1000)
    table = counter_verdicts(model, records.settings)
    row: dict[str, Any] = table.iloc[0].to_dict()
    return row


# --- from little to all ---------------------------------------------------------------------------


def test_the_least_that_there_is(tmp_path: Path) -> None:
    """Film and price alone: a margin without staff time, and no word on whether it pays."""
    row = verdict(tmp_path, jobs=jobs(*ALL_TOLD), counter_sales=sold())
    assert row["margin_each"] == pytest.approx(60 - 30)
    assert (row["sales"], row["answers"], row["verdict"]) == (8, 0, CANNOT_TELL)
    assert "leaves $30 before installs" in row["reason"]


def test_break_even_comes_without_a_service(tmp_path: Path) -> None:
    """The shop's own mix of jobs stands in, as that of other sales does where some name one.

    Of a dozen jobs of 300 to 311, each with 36 of film and 3 hours at 10.
    """
    row = verdict(tmp_path, jobs=jobs(*ALL_TOLD), counter_sales=sold())
    assert row["install_each"] == pytest.approx(305.5 - 36 - 30)
    assert 0 < row["break_even_displaced_share"] < 1
    assert "displace" in row["reason"]


def test_break_even_comes_with_service_and_wage(tmp_path: Path) -> None:
    row = verdict(tmp_path, jobs=jobs(*ALL_TOLD), counter_sales=sold("service"))
    # A roof leaves some 306 − 36 − 3 × 10; what comes back later counts for the sale.
    assert row["install_each"] == pytest.approx(306 - 36 - 30, abs=1)
    expected = (30 + row["later_each"]) / row["install_each"]
    assert row["break_even_displaced_share"] == pytest.approx(expected)
    assert row["verdict"] == CANNOT_TELL
    assert "0 customers said whether they would have booked" in row["reason"]


def test_minutes_cost_their_wage(tmp_path: Path) -> None:
    row = verdict(tmp_path, jobs=jobs(*ALL_TOLD), counter_sales=sold("service", "minutes"))
    assert row["margin_each"] == pytest.approx(60 - 30 - 5)


def test_all_of_it_is_told(tmp_path: Path) -> None:
    row = verdict(tmp_path, jobs=jobs(*ALL_TOLD), counter_sales=DEARER, capacity=CAPACITY)
    assert (row["answers"], row["would_have_booked"], row["told"]) == (8, 0, 8)
    assert row["displaced_share"] < 0.1
    assert row["verdict"] == PAYS


def test_without_capacity_an_answer_that_would_turn_is_held_back(tmp_path: Path) -> None:
    """In full months the half hour would earn 40 more, and 35 is left. With 3 minutes it stays."""
    row = verdict(tmp_path / "long", jobs=jobs(*ALL_TOLD), counter_sales=DEARER)
    assert row["verdict"] == CANNOT_TELL
    assert pd.isna(row["further_answers"])
    assert row["probability_pays"] >= SURE
    assert "How full the shop was is not known" in row["reason"]
    assert "hours and capacity" in row["reason"]
    short = DEARER.replace("| 30 |", "| 3 |")
    row = verdict(tmp_path / "short", jobs=jobs(*ALL_TOLD), counter_sales=short)
    assert row["verdict"] == PAYS


def test_minutes_of_one_sale_do_not_say_that_it_pays(tmp_path: Path) -> None:
    """Time only costs: of five sales it has to be known."""
    verdicts = {}
    for count in (1, 4, 5):
        lines = DEARER.splitlines()
        blank = [line.replace("| 30 |", "| |") for line in lines[1 + count :]]
        row = verdict(
            tmp_path / str(count),
            jobs=jobs(*ALL_TOLD),
            counter_sales="\n".join([*lines[: 1 + count], *blank]),
            capacity=CAPACITY,
        )
        assert row["margin_each"] == pytest.approx(35)
        verdicts[count] = row["verdict"]
        assert ("Hardly any minutes are written down" in row["reason"]) == (count < 5)
    assert verdicts == {1: CANNOT_TELL, 4: CANNOT_TELL, 5: PAYS}


def test_without_a_wage_the_margin_is_known_where_no_minutes_are(tmp_path: Path) -> None:
    row = verdict(tmp_path, UNITS, jobs=jobs(*ALL_TOLD), counter_sales=sold("service"))
    assert row["margin_each"] == pytest.approx(30)
    assert np.isnan(row["net_each"])
    assert row["verdict"] == CANNOT_TELL
    assert "wants finished jobs whose hours, wages" in row["reason"]


def test_without_a_wage_minutes_have_no_cost(tmp_path: Path) -> None:
    columns = ("service", "minutes")
    row = verdict(tmp_path, UNITS, jobs=jobs(*ALL_TOLD), counter_sales=sold(*columns))
    assert np.isnan(row["margin_each"])
    assert (row["sales"], row["told"], row["verdict"]) == (8, 0, CANNOT_TELL)


def test_the_reason_says_what_to_note_for_a_wage(tmp_path: Path) -> None:
    columns = ("service", "minutes")
    row = verdict(tmp_path, UNITS, jobs=jobs(*ALL_TOLD), counter_sales=sold(*columns))
    assert "what an hour costs" in row["reason"]
    assert "Only 0 sales" not in row["reason"]


@pytest.mark.parametrize("told", [(), ("hours",), ("film", "pulled_length")])
def test_jobs_of_unknown_contribution_leave_nothing_to_compare(
    told: tuple[str, ...], tmp_path: Path
) -> None:
    """What an install leaves is not 0 because nobody knows it."""
    row = verdict(tmp_path, jobs=jobs(*told), counter_sales=sold(*ALL_SAID))
    assert row["margin_each"] == pytest.approx(25)
    assert (row["told"], row["verdict"]) == (0, CANNOT_TELL)
    assert np.isnan(row["install_each"])
    assert np.isnan(row["net_each"])
    assert "wants finished jobs" in row["reason"]


def test_film_that_was_never_bought_has_no_cost(tmp_path: Path) -> None:
    other = PURCHASES.replace("| F ", "| G ")
    row = verdict(tmp_path, jobs=jobs("hours"), purchases=other, counter_sales=sold(*ALL_SAID))
    assert np.isnan(row["margin_each"])
    assert (row["told"], row["verdict"]) == (0, CANNOT_TELL)


# --- the edges ------------------------------------------------------------------------------------


def usual_shop() -> Shop:
    return simulated_shop(Kind(), 3)


def with_lines(shop: Shop, lines: pd.DataFrame) -> Shop:
    return replace(shop, costing=replace(shop.costing, lines=lines))


def first_sales(shop: Shop, count: int) -> Shop:
    """The shop as if nobody had come after so many sales."""
    shelf = shop.costing.shelf
    pulls = shelf.pulls.head(count)
    moved = shelf.movements.assign(cost=float(pulls["film_cost"].sum()))
    costing = replace(shop.costing, shelf=replace(shelf, pulls=pulls, movements=moved))
    fewer = shop.with_sales(shop.records["counter_sales"].head(count))
    return replace(fewer, costing=costing)


@pytest.mark.parametrize("count", [0, 1, 2])
def test_hardly_any_sale(count: int) -> None:
    model = first_sales(usual_shop(), count).model()
    assert len(counter_sales_each(model)) == count
    if count:
        row = counter_verdicts(model, SETTINGS).iloc[0]
        assert row["verdict"] == CANNOT_TELL


@pytest.mark.parametrize("said", ["yes", "no", "unsure", None])
def test_everybody_said_the_same(said: str | None) -> None:
    shop = usual_shop()
    sales = shop.records["counter_sales"]
    same = pd.Series(said, index=sales.index, dtype="str")
    row = counter_verdicts(shop.with_sales(sales.assign(would_book=same)).model(), SETTINGS).iloc[0]
    share = row["displaced_share"]
    low, high = row["displaced_low_share"], row["displaced_high_share"]
    assert 0 <= low < high <= 1
    if said == "yes":
        assert share > 0.98
    elif said == "no":
        assert share < 0.02
    else:  # nobody knows: anything between none and all
        assert low < 0.1 < 0.9 < high
        assert row["verdict"] == CANNOT_TELL


def test_installs_that_lose_money() -> None:
    """Displacing such an install is a gain, one booked later a loss; nothing breaks."""
    shop = usual_shop()
    lines = shop.costing.lines
    losing = with_lines(shop, lines.assign(contribution=lines["contribution"] - 400)).model()
    row = counter_verdicts(losing, SETTINGS).iloc[0]
    assert row["install_each"] < 0
    assert row["displaced_each"] < 0
    assert row["later_each"] < 0
    assert np.isnan(row["break_even_displaced_share"])
    total = row["margin_each"] - row["displaced_each"] + row["later_each"]
    assert row["net_each"] == pytest.approx(total)


def test_no_job_was_ever_done() -> None:
    shop = usual_shop()
    row = counter_verdicts(with_lines(shop, shop.costing.lines.head(0)).model(), SETTINGS).iloc[0]
    assert (row["told"], row["verdict"]) == (0, CANNOT_TELL)
    assert np.isnan(row["net_each"])


def test_no_job_stands_in_the_records() -> None:
    shop = usual_shop()
    tables = {**shop.records.tables, "jobs": EMPTY["jobs"]}
    model = replace(shop, records=replace(shop.records, tables=tables)).model()
    assert model.later.came.sum() == 0


def test_months_that_are_not_known_are_a_group_of_their_own() -> None:
    shop = usual_shop()
    tables = {**shop.records.tables, "capacity": EMPTY["capacity"]}
    model = replace(shop, records=replace(shop.records, tables=tables)).model()
    table = counter_verdicts(model, SETTINGS)
    assert table.loc[table["kind"] == "months", "group"].tolist() == ["months not known"]
    assert (model.sales["refill_share"] == 0).all()


def test_unknown_months_do_not_turn_what_pays_into_what_does_not() -> None:
    """A shop that is always full, and wrote no capacity down: half of the sales displace."""
    kind = Kind(sales=200, full=1.0, net=25.0, net_sd=0.0, displaced=0.5, alike=200.0, later=0.01)
    shop = simulated_shop(replace(kind, unsure=0.0, jobs=200, minutes=5.0), 1)
    assert shop.truth.net(12) > 20
    tables = {**shop.records.tables, "capacity": EMPTY["capacity"]}
    blind = replace(shop, records=replace(shop.records, tables=tables))
    assert counter_verdicts(shop.model(), SETTINGS).iloc[0]["verdict"] == PAYS
    row = counter_verdicts(blind.model(), SETTINGS).iloc[0]
    assert row["verdict"] == CANNOT_TELL
    assert row["probability_pays"] < 0.1
    assert "How full the shop was is not known" in row["reason"]


def test_the_order_of_the_rows_does_not_matter() -> None:
    """But for the draws, which fall to other sales."""
    shop = usual_shop()
    sales = shop.records["counter_sales"]
    order = np.random.default_rng(1).permutation(len(sales))
    pulls = shop.costing.shelf.pulls.iloc[order].assign(sale=range(len(sales)))
    shelf = replace(shop.costing.shelf, pulls=pulls.reset_index(drop=True))
    other = shop.with_sales(sales.iloc[order].reset_index(drop=True))
    other = replace(other, costing=replace(shop.costing, shelf=shelf))
    rows = [counter_verdicts(each.model(), SETTINGS).iloc[0] for each in (shop, other)]
    for name in ("margin_each", "install_each", "net_each", "probability_pays"):
        assert rows[0][name] == pytest.approx(rows[1][name], rel=0.02, abs=0.3), name


def test_a_year_of_5000_sales() -> None:
    model = simulated_shop(Kind(sales=5000), 1).model()
    chosen = sales_of(model, pd.Series(True, index=model.sales.index))
    parts = parts_for(model, chosen, 0)
    assert parts.weight.sum(axis=1) == pytest.approx(np.ones(len(model.share)))
    assert np.isfinite(parts.margin).all()


# --- spread of what was hardly ever seen ----------------------------------------------------------


def test_services_done_once_have_a_spread() -> None:
    """Which may be as large as what they left: nothing tells of a smaller one."""
    shop = usual_shop()
    installs = with_lines(shop, shop.costing.lines.drop_duplicates("service")).model().installs
    whole = installs.cells["vehicle_class"].isna().to_numpy()
    leaves = installs.cells.loc[whole, "contribution"].to_numpy()
    assert installs.draws[:, whole].std(axis=0) == pytest.approx(np.abs(leaves), rel=0.06)


def test_minutes_of_one_sale_are_not_known_of_all() -> None:
    shop = simulated_shop(Kind(minutes=40.0, noted=1.0), 3)
    sales = shop.records["counter_sales"]
    newest = sales["sold_on"] == sales["sold_on"].max()
    one = shop.with_sales(sales.assign(minutes=sales["minutes"].where(newest)))
    wide = []
    for each in (shop, one):
        row = counter_verdicts(each.model(), SETTINGS).iloc[0]
        wide.append(row["margin_high"] - row["margin_low"])
    assert wide[1] > wide[0]


def came_back(after: int, count: int) -> float:
    """Chance of a later install: one of six sales of 40 days ago, and others so many days later."""
    day = pd.Timestamp("2026-08-15")
    sold_on = [day - pd.Timedelta(days=40)] * 6 + [day + pd.Timedelta(days=after)] * count
    sales = {
        "sold_on": np.array(sold_on, dtype="datetime64[us]"),
        "later_job_id": np.array(["J", *[None] * (5 + count)], dtype=object),
    }
    booked = np.array([day - pd.Timedelta(days=30)], dtype="datetime64[us]")
    jobs = {"job_id": np.array(["J"], dtype=object), "quoted_on": booked}
    records = made_records({"counter_sales": sales, "jobs": jobs})
    rng = np.random.default_rng(0)
    return float(learn_later(records["counter_sales"], records, day, 4000, rng).draws.mean())


def test_sales_of_the_last_day_say_nothing() -> None:
    assert came_back(after=0, count=300) == pytest.approx(came_back(after=0, count=0), abs=0.02)


def test_sales_after_the_last_day_say_nothing() -> None:
    assert came_back(after=20, count=10) == pytest.approx(came_back(after=20, count=0), abs=0.02)
