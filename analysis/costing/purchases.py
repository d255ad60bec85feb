"""Invoices to landed cost: freight shared over the lines, credits led to the line they lower."""

import pandas as pd

from analysis.money import allocate_cents, to_cents


def landed_lines(purchases: pd.DataFrame) -> pd.DataFrame:
    """Film and consumable lines with their share of the invoice's freight.

    Returns
    -------
    DataFrame
        The lines of kind film and consumable, `purchases`' index kept, with `value` (quantity ×
        unit price − discount), `freight`, `landed` (value + freight, before credits) and, for
        film, `area_m2` (negative for film sent back). [money, m²]

    Notes
    -----
    Freight rows of an invoice are added first, then shared once, in whole cents by largest
    remainder, over its lines of value above 0 (all of value 0: equally). Film sent back carries
    none.
    """
    value = _value(purchases)
    is_line = purchases["kind"].isin(["film", "consumable"])
    lines = purchases[is_line].assign(value=value[is_line])
    freight = value[purchases["kind"] == "freight"]
    per_invoice = to_cents(freight.groupby(purchases["invoice"]).sum())
    takers = lines[lines["quantity"] > 0]
    payable = per_invoice[per_invoice.index.isin(takers["invoice"])]
    shares = allocate_cents(payable, takers["value"].clip(lower=0.0), takers["invoice"])
    lines = lines.assign(freight=(shares / 100).reindex(lines.index, fill_value=0.0))
    area = lines["quantity"] * lines["roll_width_m"] * lines["roll_length_m"]
    return lines.assign(
        landed=lines["value"] + lines["freight"],
        area_m2=area.where(lines["kind"] == "film"),
    )


def credits_on_lines(purchases: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Each credit led to the line (or lines) that it lowers.

    Returns
    -------
    DataFrame
        One row a credit and line: `credit` and `line` (index labels in `purchases`),
        `received_on` (the credit's), `amount` [money]. A credit without a line to go to is in no
        row.

    Notes
    -----
    A credit lowers the lines of its item (and roll, where it names one) on its own invoice, by
    value in whole cents; else the newest earlier line of the item.
    """
    credits = purchases[purchases["kind"] == "credit"]
    credits = credits.assign(amount=_value(credits)).reset_index(names="credit")
    columns = ["credit", "line", "received_on", "amount"]
    if credits.empty or lines.empty:
        return pd.DataFrame({name: pd.Series(dtype="float64") for name in columns}).assign(
            received_on=pd.Series(dtype="datetime64[us]")
        )
    bought = lines[lines["quantity"] > 0].reset_index(names="line")
    pairs = credits[["credit", "invoice", "item", "roll_id", "received_on", "amount"]].merge(
        bought[["line", "invoice", "item", "roll_id", "received_on", "value"]],
        on="item",
        suffixes=("", "_line"),
    )
    pairs = pairs[pairs["roll_id"].isna() | (pairs["roll_id"] == pairs["roll_id_line"])]
    own = pairs[pairs["invoice"] == pairs["invoice_line"]]
    cents = to_cents(credits.set_index("credit")["amount"])
    shares = allocate_cents(
        cents[cents.index.isin(own["credit"])], own["value"].clip(lower=0.0), own["credit"]
    )
    own = own.assign(amount=shares / 100)
    earlier = pairs[
        ~pairs["credit"].isin(own["credit"]) & (pairs["received_on_line"] <= pairs["received_on"])
    ]
    newest = earlier.sort_values(["received_on_line", "line"], kind="stable").drop_duplicates(
        "credit", keep="last"
    )
    led = pd.concat([own, newest])
    # A credit written down before its line came waits for it.
    day = led["received_on"].where(
        led["received_on"] >= led["received_on_line"], led["received_on_line"]
    )
    return led.assign(received_on=day)[columns].sort_values("credit", kind="stable")


def consumables_bought(
    purchases: pd.DataFrame, lines: pd.DataFrame, credits: pd.DataFrame
) -> pd.DataFrame:
    """Consumables by the day they were bought or credited: `day`, `amount` [money]."""
    bought = lines[lines["kind"] == "consumable"]
    back = credits[credits["line"].isin(bought.index)]
    return pd.DataFrame(
        {
            "day": pd.concat([bought["received_on"], back["received_on"]]),
            "amount": pd.concat([bought["landed"], -back["amount"]]),
        }
    ).reset_index(drop=True)


def after_credits(
    lines: pd.DataFrame, credits: pd.DataFrame, until: pd.Timestamp | None = None
) -> pd.Series:
    """Landed cost of purchase lines less their credits received by a day (None: all). [money]"""
    known = credits if until is None else credits[credits["received_on"] <= until]
    credited = known.groupby("line")["amount"].sum().reindex(lines.index, fill_value=0.0)
    landed: pd.Series = lines["landed"] - credited
    return landed


def film_prices(
    lines: pd.DataFrame, credits: pd.DataFrame, until: pd.Timestamp | None = None
) -> pd.DataFrame:
    """Landed cost an area of every film purchase, after freight, discount and credits.

    Of what came by a day (None: all), credits too. `change_share` is against the same film's last
    purchase from the same supplier.
    """
    film = lines[(lines["kind"] == "film") & (lines["area_m2"] > 0)]
    if until is not None:
        film = film[film["received_on"] <= until]
    landed = after_credits(film, credits, until)
    prices = pd.DataFrame(
        {
            "film": film["item"],
            "supplier": film["supplier"],
            "received_on": film["received_on"],
            "landed_cost_per_m2": landed / film["area_m2"],
            "invoice": film["invoice"],
            "purchased_area_m2": film["area_m2"],
            "landed_cost": landed,
        }
    ).sort_values(["film", "supplier", "received_on"], kind="stable", ignore_index=True)
    before = prices.groupby(["film", "supplier"])["landed_cost_per_m2"].shift()
    change = (prices["landed_cost_per_m2"] / before - 1).where(before != 0)
    return prices.assign(change_share=change)


def _value(purchases: pd.DataFrame) -> pd.Series:
    price: pd.Series = purchases["quantity"] * purchases["unit_price"]
    return price - purchases["discount"].fillna(0.0)
