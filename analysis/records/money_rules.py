"""Rules about prices, purchases, wages and classes; doubtful, used all the same."""

from collections.abc import Iterator

import numpy as np
import pandas as pd
from rapidfuzz import fuzz, process

from analysis.money import HALF_A_CENT
from analysis.record_tables import VEHICLE_CLASSES
from analysis.records.counter_rules import counter_findings
from analysis.records.decision_rules import decision_findings
from analysis.records.film_rules import bought_film, shared_widths
from analysis.records.job_lines import cut_lines
from analysis.records.model import DOUBTFUL
from analysis.records.month_rules import month_findings
from analysis.records.rule import (
    Found,
    Rule,
    Shop,
    day,
    first_of_each,
    found,
    look_up,
    rows_word,
    toml_line,
)

_JUMP = 1.5
_FAR = 3.0
_FEWEST_PRICES = 3
_HAIR = 1e-9

PRICE_UNDER_FILM = Rule(
    "price-under-film",
    DOUBTFUL,
    "A finished job line whose price is under the cost of its film (redos are exempt).",
    "Look at the price, at the film's sizes, and at the prices on its invoices.",
)
PAYMENT_BLANK = Rule(
    "payment-blank",
    DOUBTFUL,
    "Finished jobs with a price and a blank payment (told once).",
    "Fill in payment, so that the card fee is counted where there was one.",
)
FREIGHT_ALONE = Rule(
    "freight-alone",
    DOUBTFUL,
    "Freight on an invoice without film or consumables to carry it.",
    "Enter the freight under the number of the invoice whose goods it brought. Until then it is "
    "in no cost.",
)
CREDIT_ALONE = Rule(
    "credit-alone",
    DOUBTFUL,
    "A credit for an item (or a roll) that was not bought on its invoice or before.",
    "Enter in item, and in roll_id if it is given, what the credit is for. Until then it is in no "
    "cost.",
)
REPEATED_PURCHASE = Rule(
    "repeated-purchase",
    DOUBTFUL,
    "A purchase line that is an exact copy of an earlier one.",
    "Delete one of them, or raise the quantity; both are counted.",
)
WAGE_JUMP = Rule(
    "wage-jump",
    DOUBTFUL,
    "A wage over one and a half times, or under two thirds, of the one before.",
    "Look whether the wage is an hour's, and the right person's.",
)
RATE_TWICE = Rule(
    "rate-twice",
    DOUBTFUL,
    "Two wages of one person from one day on; the last one counts.",
    "Delete the one that is wrong.",
)
BEFORE_FIRST_WAGE = Rule(
    "before-first-wage",
    DOUBTFUL,
    "Time before the first wage of its installer (told once an installer); the first wage counts.",
    "Add the wage that held then to rates.",
)
PRICE_OUT_OF_LINE = Rule(
    "film-price-out-of-line",
    DOUBTFUL,
    "A purchase of film at over three times, or under a third, of the film's usual price an area, "
    "the median of its purchases; of two purchases that are so far apart both are told.",
    "Look at the roll's length and width and their units (25 is no 25 yd), and at the price.",
)
NO_WAGE = Rule(
    "no-wage",
    DOUBTFUL,
    "An installer without a wage in rates (told once an installer).",
    "Add the person to rates, or mend the name. Until then labour.default_wage counts; where that "
    "is not set, the cost of the hours is blank.",
)
PRICE_LIST_TWICE = Rule(
    "price-list-twice",
    DOUBTFUL,
    "Two list prices of one service and class from one day on; the last one counts.",
    "Delete the one that is wrong.",
)
UNKNOWN_CLASS = Rule(
    "unknown-class",
    DOUBTFUL,
    "A vehicle class that is neither one of the standard ones nor in vehicles (told once a word).",
    "Write the standard word, or enter the class with its models in vehicles.",
)


def money_findings(
    shop: Shop,
    misspelt_installers: frozenset[str],
    misspelt_services: frozenset[str],
    priced: pd.Index,
) -> Iterator[Found]:
    """Everything doubtful about money.

    Misspelt names, and `priced`, the job lines whose price is far from the list, are told of
    elsewhere.
    """
    yield _payment_blank(shop.used["jobs"])
    yield from _under_film(shop, priced)
    yield from _purchase_lines(shop)
    yield _film_price_jumps(shop.used["purchases"])
    yield from _rates(shop.used["rates"])
    yield from _wages(shop, misspelt_installers)
    yield from _twice(PRICE_LIST_TWICE, "price_list", shop.used["price_list"],
                      ["service", "vehicle_class", "effective_from"])  # fmt: skip
    yield from month_findings(shop)
    yield from _classes(shop)
    yield from counter_findings(shop)
    yield from decision_findings(shop, misspelt_services)


def _payment_blank(jobs: pd.DataFrame) -> Found:
    blank = jobs[
        (jobs["status"] == "finished") & jobs["payment"].isna() & (jobs["invoiced_price"] > 0)
    ]
    count = blank["job_id"].nunique()
    many = "1 finished job has" if count == 1 else f"{count:,} finished jobs have"
    problem = f"{many} a price and no payment; no card fee is counted for them"
    return found(PAYMENT_BLANK, "jobs", "payment", blank.index[:1], problem)


def landed_price(purchases: pd.DataFrame) -> pd.Series:
    """Mean price of each film after discount and with its share of freight [money/m²]."""
    value = purchases["quantity"] * purchases["unit_price"] - purchases["discount"]
    invoice = purchases["invoice"]
    freight = value.where(purchases["kind"] == "freight").groupby(invoice).sum()
    carries = purchases["kind"].isin(["film", "consumable"]) & (value > 0)
    goods = value.where(carries).groupby(invoice).sum()
    rate = (freight / goods.where(goods > 0)).fillna(0.0)
    landed = value * (1 + look_up(invoice, rate).where(carries, 0.0))
    film = bought_film(purchases)
    film = film[film["quantity"] > 0]
    area = film["quantity"] * film["roll_width_m"] * film["roll_length_m"]
    return landed[film.index].groupby(film["item"]).sum() / area.groupby(film["item"]).sum()


def _film_costs(shop: Shop) -> pd.Series:
    """Cost of the film of each job line: of its cuts, else of its sheet, else as quoted."""
    jobs, cuts = shop.used["jobs"], shop.used["cuts"]
    purchases = shop.used["purchases"]
    price = landed_price(purchases)
    cuts = cuts[cuts["job_id"].isin(jobs["job_id"])]
    kept = (cuts["kept_length_m"] * cuts["kept_width_m"]).fillna(0.0)
    consumed = cuts["pulled_length_m"] * cuts["pulled_width_m"] - kept
    cost = consumed * look_up(cuts["film"], price)
    of_cuts = cost.groupby(cut_lines(cuts, jobs).astype("int64")).sum(min_count=1)
    width = jobs["roll_width_m"].fillna(look_up(jobs["film"], shared_widths(purchases)))
    area = (jobs["pulled_length_m"] * width).fillna(jobs["quoted_film_area_m2"])
    of_sheet = (area * look_up(jobs["film"], price)).where(~jobs["job_id"].isin(cuts["job_id"]))
    return of_cuts.reindex(jobs.index).fillna(of_sheet)


def _under_film(shop: Shop, priced: pd.Index) -> Iterator[Found]:
    jobs = shop.used["jobs"]
    cost = _film_costs(shop)
    net = jobs["invoiced_price"] * shop.settings.net_of_tax
    first = (jobs["status"] == "finished") & jobs["redo_of"].isna()
    at = jobs.index[first & (net < cost - HALF_A_CENT) & ~jobs.index.isin(priced)]
    money = shop.settings.currency
    problems = [
        f"the price of {price:,.2f} {money} is under the film's cost of about {film:,.2f} {money}"
        for price, film in zip(net[at], cost[at], strict=True)
    ]
    # The blank invoiced price took the quoted one: that is the cell to look at.
    quoted = shop.written["jobs"]["invoiced_price"].reindex(at).isna()
    for column, chosen in (("quoted_price", quoted), ("invoiced_price", ~quoted)):
        texts = [text for text, is_here in zip(problems, chosen, strict=True) if is_here]
        yield found(PRICE_UNDER_FILM, "jobs", column, at[chosen.to_numpy()], texts)


def _film_price_jumps(purchases: pd.DataFrame) -> Found:
    """Film lines whose price an area is far off that of the film's other lines."""
    film = bought_film(purchases)
    area = film["quantity"] * film["roll_width_m"] * film["roll_length_m"]
    price = (film["quantity"] * film["unit_price"] - film["discount"]) / area
    of_film = price.groupby(film["item"])
    size, median = of_film.transform("size"), of_film.transform("median")
    # Which of two is wrong is not to be told: each is held against the other.
    usual = median.where(size >= _FEWEST_PRICES, 2 * median - price)
    known = (size > 1) & (area > 0) & (usual > 0)
    far = known & ((price > usual * _FAR) | (price < usual / _FAR))
    does = pd.Series("it usually does", index=film.index).where(
        size >= _FEWEST_PRICES, "it does in the film's only other purchase: one of the two is wrong"
    )
    problems = [
        f"an area of {item} costs {_times(each / common)} what {usually}"
        for item, each, common, usually in zip(
            film["item"][far], price[far], usual[far], does[far], strict=True
        )
    ]
    return found(PRICE_OUT_OF_LINE, "purchases", "roll_length", film.index[far], problems)


def _times(ratio: float) -> str:
    """`12.5 times`, `0.08 times`."""
    return f"{ratio:,.1f} times" if ratio >= 1 else f"{ratio:.2g} times"


def _purchase_lines(shop: Shop) -> Iterator[Found]:
    purchases, every = shop.used["purchases"], shop.read["purchases"]
    negative = (every["quantity"] < 0) | (
        every["quantity"] * every["unit_price"] < every["discount"]
    )
    kinds = every["kind"].isin(["film", "consumable"]) | every["kind"].isna()
    goods = every[kinds & ~negative]
    freight = purchases[purchases["kind"] == "freight"]
    alone = freight[~freight["invoice"].isin(goods["invoice"])]
    problems = [
        f"invoice {each} has no film or consumables to carry its freight"
        for each in alone["invoice"]
    ]
    yield found(FREIGHT_ALONE, "purchases", "invoice", alone.index, problems)
    yield _lone_credits(purchases, goods)
    cells = [each for each in purchases if each != "row"]
    copies = purchases.duplicated(cells, keep="first")
    if not copies.any():
        return
    first = purchases.drop_duplicates(cells)
    rows = purchases[copies].merge(first, on=cells, how="left", validate="many_to_one")["row_y"]
    problems = [f"the line is an exact copy of row {row}" for row in rows]
    yield found(REPEATED_PURCHASE, "purchases", "invoice", purchases.index[copies], problems)


def _lone_credits(purchases: pd.DataFrame, goods: pd.DataFrame) -> Found:
    allowances = purchases[purchases["kind"] == "credit"]
    wanted = ["item", "roll_id", "invoice", "received_on"]
    alone = []
    for item, roll, invoice, on in allowances[wanted].itertuples(index=False, name=None):
        lines = goods[(goods["item"] == item) & (pd.isna(roll) | (goods["roll_id"] == roll))]
        on_time = (lines["invoice"] == invoice) | (lines["received_on"] <= on)
        alone.append(not on_time.any())
    lost = allowances[np.array(alone, dtype=bool)]
    problems = [
        f"no line of {item}{'' if pd.isna(roll) else f', roll {roll},'} stands on invoice "
        f"{invoice} or was received before"
        for item, roll, invoice in zip(lost["item"], lost["roll_id"], lost["invoice"], strict=True)
    ]
    return found(CREDIT_ALONE, "purchases", "item", lost.index, problems)


def _twice(rule: Rule, table: str, rows: pd.DataFrame, keys: list[str]) -> Iterator[Found]:
    later = rows[rows.duplicated(keys, keep="first")]
    if later.empty:
        return
    first = rows.drop_duplicates(keys)[[*keys, "row"]]
    other = later[keys].merge(first, on=keys, how="left", validate="many_to_one")["row"]
    problems = [f"row {row} is of the same {_words(keys)}" for row in other]
    yield found(rule, table, "effective_from", later.index, problems)


def _words(keys: list[str]) -> str:
    names = {"vehicle_class": "class", "effective_from": "day"}
    words = [names.get(key, key) for key in keys]
    return ", ".join(words[:-1]) + " and " + words[-1]


def _rates(rates: pd.DataFrame) -> Iterator[Found]:
    if rates.empty:
        return
    yield from _twice(RATE_TWICE, "rates", rates, ["installer", "effective_from"])
    in_order = rates.sort_values(["installer", "effective_from"], kind="stable")
    in_order = in_order.drop_duplicates(["installer", "effective_from"], keep="last")
    before = in_order.groupby("installer")["wage"].shift()
    jump = (in_order["wage"] > before * _JUMP + _HAIR) | (in_order["wage"] < before / _JUMP - _HAIR)
    jumps = in_order[jump].sort_index()
    problems = [
        f"the wage of {who} goes from {old:,.2f} to {new:,.2f} on {day(on)}"
        for who, old, new, on in zip(
            jumps["installer"],
            before[jumps.index],
            jumps["wage"],
            jumps["effective_from"],
            strict=True,
        )
    ]
    yield found(WAGE_JUMP, "rates", "wage", jumps.index, problems)


def _wages(shop: Shop, misspelt: frozenset[str]) -> Iterator[Found]:
    if shop.used["rates"].empty:
        return
    hours, crews = shop.used["hours"], _crews(shop)
    known = {*shop.read["rates"]["installer"].dropna(), *misspelt}
    first = shop.read["rates"].groupby("installer")["effective_from"].min()
    told: set[str] = set()
    for table, column, names, when in (
        ("hours", "installer", hours["installer"], hours["worked_on"]),
        ("jobs", "crew", crews["name"], crews["on"]),
    ):
        people = first_of_each(names)
        lost = people[~people["value"].isin(known | told)]
        told |= set(lost["value"])
        problems = [
            f"{who} has no wage in rates ({rows_word(count)} of {table})"
            for who, count in zip(lost["value"], lost["count"], strict=True)
        ]
        yield found(NO_WAGE, table, column, pd.Index(lost["at"]), problems)
        early = names[when < look_up(names, first)]
        people = first_of_each(early)
        problems = [
            f"the first wage of {who} holds from {day(first[who])}, and {rows_word(count)} of "
            f"{table} " + ("is earlier" if count == 1 else "are earlier")
            for who, count in zip(people["value"], people["count"], strict=True)
        ]
        where = "worked_on" if table == "hours" else "crew"
        yield found(BEFORE_FIRST_WAGE, table, where, pd.Index(people["at"]), problems)


def _crews(shop: Shop) -> pd.DataFrame:
    """Give the people of job sheets whose job has no time log, one row a name; labels repeat."""
    jobs = shop.used["jobs"]
    alone = jobs[
        jobs["crew"].notna()
        & (jobs["status"] == "finished")
        & jobs["hours"].notna()
        & ~jobs["job_id"].isin(shop.used["hours"]["job_id"])
    ]
    names = alone["crew"].str.split("; ").explode()
    return pd.DataFrame(
        {"name": names.astype("str"), "on": alone["finished_on"].reindex(names.index)}
    )


def _classes(shop: Shop) -> Iterator[Found]:
    told = {*VEHICLE_CLASSES, *shop.read["vehicles"]["vehicle_class"].dropna()}
    for table in ("jobs", "quotes", "price_list", "panels", "decisions"):
        words = first_of_each(shop.used[table]["vehicle_class"])
        lost = words[~words["value"].isin(told)]
        told |= set(lost["value"])
        problems = [
            f"'{word}' is no standard class and not in vehicles ({rows_word(count)} of {table})"
            + _standard(word)
            for word, count in zip(lost["value"], lost["count"], strict=True)
        ]
        remedies = [_class_remedy(word) for word in lost["value"]]
        yield found(UNKNOWN_CLASS, table, "vehicle_class", pd.Index(lost["at"]), problems, remedies)


def _nearest_class(word: str) -> str | None:
    near = process.extractOne(word.casefold(), VEHICLE_CLASSES, scorer=fuzz.ratio, score_cutoff=70)
    return near[0] if near else None


def _standard(word: str) -> str:
    near = _nearest_class(word)
    return f"; the nearest standard one is {near}" if near else ""


def _class_remedy(word: str) -> str:
    near = _nearest_class(word)
    if near is None:
        return f"{UNKNOWN_CLASS.remedy} Standard are: {', '.join(VEHICLE_CLASSES)}."
    return f"Write {near}, or map it: {toml_line('aliases.vehicle_class', word, near)}."
