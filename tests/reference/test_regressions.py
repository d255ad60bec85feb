"""Least squares of logs, as film prices are followed, against published price elasticities.

The data are in `regressions.json`, with their source.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from analysis.arrays import Array
from analysis.findings.film_trends import TrendLine, least_squares
from tests.reference.published import Figures, published
from tests.reference.sources import ISLR, JOURNALS, STOCK_WATSON

DATA = json.loads(Path(__file__).with_name("regressions.json").read_text(encoding="utf-8"))


def columns(name: str) -> dict[str, Array]:
    """The columns of a data set."""
    return {key: np.array(each, dtype=float) for key, each in DATA[name].items() if key != "source"}


def fitted(y: Array, *x: Array) -> TrendLine:
    """Least squares with a constant."""
    return least_squares(np.column_stack([np.ones(len(y)), *x]), y)


@published(JOURNALS, "log subscriptions on log price a citation", "from memory")
def test_demand_for_journals(figures: Figures) -> None:
    data = columns("journals")
    subs = np.log(data["subs"])
    line = fitted(subs, np.log(data["price"] / data["citations"]))
    error = float(np.sqrt(line.covariance[1, 1]))
    share = 1 - line.squares / float(((subs - subs.mean()) ** 2).sum())
    figures.add("Journals: constant", line.coefficients[0], "4.766", 5e-4)
    figures.add("Journals: price elasticity", line.coefficients[1], "-0.533", 5e-4)
    figures.add("Journals: standard error of the elasticity", error, "0.0356", 5e-5)
    figures.add("Journals: R²", share, "0.557", 5e-4)


@published(STOCK_WATSON, "chapter 12, demand for cigarettes", "from memory")
def test_demand_for_cigarettes_in_two_stages(figures: Figures) -> None:
    """Two-stage least squares: the price as the taxes explain it, then the demand."""
    data = columns("cigarettes")
    cpi = data["cpi"]
    packs, price = np.log(data["packs"]), np.log(data["price"] / cpi)
    income = np.log(data["income"] / data["population"] / cpi)
    sales_tax, tax = (data["taxs"] - data["tax"]) / cpi, data["tax"] / cpi
    simple = fitted(packs, price - fitted(price, sales_tax).residuals)
    for name, ours, theirs in zip(
        ("constant", "price elasticity"), simple.coefficients, ("9.72", "-1.08"), strict=True
    ):
        figures.add(f"Cigarettes: {name}, sales tax as instrument", ours, theirs, 0.005)
    whole = fitted(packs, price - fitted(price, income, sales_tax, tax).residuals, income)
    names = ("constant", "price elasticity", "income elasticity")
    for name, ours, theirs in zip(
        names, whole.coefficients, ("9.89", "-1.28", "0.28"), strict=True
    ):
        figures.add(f"Cigarettes: {name}, both taxes as instruments", ours, theirs, 0.0055)


@published(ISLR, "chapter 3, exercise 10", "from memory")
def test_sales_of_car_seats(figures: Figures) -> None:
    """Four digits as widely quoted; the errors recomputed."""
    data = columns("car_seats")
    line = fitted(data["sales"], data["price"], data["urban"], data["us"])
    names = ("constant", "price", "town", "U.S.")
    printed = ("13.0435", "-0.0545", "-0.0219", "1.2006")
    for name, ours, theirs in zip(names, line.coefficients, printed, strict=True):
        figures.add(f"Car seats: coefficient, {name}", ours, theirs, 5e-5)
    errors = np.sqrt(np.diagonal(line.covariance))
    computed = [0.651012, 0.005242, 0.27165, 0.259042]
    figures.table("Car seats: standard errors", errors, computed, 1e-6, seen="recomputed")
