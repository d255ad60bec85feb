"""What stands in the price sheet: its inputs, its rows, the formulas and the value of each.

A formula's value is computed here by `pricing.price_lines` and written beside it, so that a preview
on a phone, or a program that does not calculate, shows the same figures.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import pandas as pd

from analysis.errors import Unavailable, Unreconciled, assert_reconciled
from analysis.money import HALF_A_CENT
from analysis.pricing.money_words import price_words
from analysis.pricing.price_cells import cell_of
from analysis.pricing.price_lines import SheetInputs, price_lines
from analysis.pricing.price_sheet_form import (
    CARD_FIXED,
    CARD_SHARE,
    COLUMNS,
    CONSUMABLES,
    EVERY_CLASS,
    FILM,
    FIRST_DAY,
    NOTE,
    OTHER_CLASSES,
    OVERHEAD,
    TARGET,
    WAGE,
    Input,
)
from analysis.report.edge import round_half_away
from analysis.report.numbers import label
from analysis.report.results import Review
from analysis.schema import Kind
from analysis.settings import Settings
from analysis.units import square_metres_per

_TABLES: Final = ("price_suggestions", "price_basis")
_KEYS: Final = ["service", "vehicle_class"]
_HIGHEST_TARGET: Final = 0.95


def _given(*names: str) -> str:
    """A test that these cells hold numbers; blank and text do not."""
    tests = ",".join(f"ISNUMBER([{name}])" for name in names)
    return tests if len(names) == 1 else f"AND({tests})"


def _left(price: str) -> str:
    """What a price leaves."""
    return f"([{price}]*([nt]-N([in_card]))-N([in_fixed])-[expected_cost])"


def _margin(price: str) -> str:
    test = f"{_given(price, 'expected_cost')},IF([{price}]>0"
    return f'IF({test},{_left(price)}/([{price}]*[nt]),""),"")'


def _full_margin(price: str) -> str:
    test = f"{_given(price, 'expected_cost', 'expected_hours', 'in_overhead')},IF([{price}]>0"
    return f'IF({test},{_left(price)}-[expected_hours]*[in_overhead],""),"")'


def _break_even(price: str) -> str:
    test = f"{_given(price, 'current_price', 'expected_cost')}"
    test += f",IF(AND([{price}]>0,[current_price]>0,{_left(price)}>0)"
    return f'IF({test},([current_price]-[{price}])*([nt]-N([in_card]))/{_left(price)},""),"")'


_DIRECT_KNOWN: Final = _given("expected_hours", "film_area", "labour_rate", "in_consumables")
_PER_PRICE: Final = "([nt]*(1-[target_margin])-N([in_card]))"
# In brackets: own cells of the row by the name of their column; `in_…` and `nt` cells of the
# inputs. `N()` counts a cleared input as none; nothing follows from what is not known. Every
# function is of 2007 or older.
FORMULAS: Final = {
    "target_margin": f'IF({_given("in_target")},[in_target],"")',
    "film_cost_per_area": (
        f'IF({_given("film_cost_today")},[film_cost_today]*(1+N([in_film])),"")'
    ),
    "direct_cost": (
        f"IF(AND({_DIRECT_KNOWN},OR([film_area]=0,{_given('film_cost_per_area')})),"
        "IF([film_area]=0,0,[film_area]*[film_cost_per_area])"
        '+[expected_hours]*([labour_rate]*(1+N([in_wage]))+[in_consumables]),"")'
    ),
    "expected_cost": (
        f"IF({_given('direct_cost')},IF({_given('redo_fixed')},[direct_cost]+[redo_fixed],"
        f'IF({_given("redo_rate")},[direct_cost]*(1+[redo_rate]),"")),"")'
    ),
    "floor_price": (
        f"IF({_given('expected_cost', 'target_margin')},IF({_PER_PRICE}>0,"
        f'ROUND(([expected_cost]+N([in_fixed]))/{_PER_PRICE},[places]),""),"")'
    ),
    "margin": _margin("current_price"),
    "change": (
        f"IF({_given('current_price', 'suggested_price')},IF([current_price]>0,"
        '[suggested_price]/[current_price]-1,""),"")'
    ),
    **{
        f"{name}_{what}": formula(f"{name}_price")
        for name in ("suggested", "new")
        for what, formula in (
            ("margin", _margin),
            ("full_margin", _full_margin),
            ("break_even", _break_even),
        )
    },
}


@dataclass(frozen=True, eq=False)
class PriceRows:
    """The sheet's content: `cells` a frame with the columns of the form, in the shop's units.

    A live column holds the value of its formula; missing is missing. `inputs` are laid out block
    by block, from the top.
    """

    cells: pd.DataFrame
    inputs: tuple[tuple[Input, ...], ...]
    note: Input
    net_of_tax: float
    places: int


def row_formula(name: str, cell: Callable[[str], str]) -> str:
    """The formula of a live column; `cell` gives the address of what stands in brackets."""
    return "=" + re.sub(r"\[(\w+)\]", lambda found: cell(found[1]), FORMULAS[name])


def why_no_prices(review: Review) -> Unavailable | None:
    """Why there is no price sheet; None where there is one, or no table of prices at all."""
    found = [review.results.get(name) for name in _TABLES]
    for each in found:
        if isinstance(each, Unavailable):
            return each
    if isinstance(found[0], pd.DataFrame) and found[0].empty:
        line = "There is no price sheet: the price list has no price on the quarter's last day."
        return Unavailable("price_sheet", ("price_list",), line)
    return None


def price_rows(review: Review, places: int) -> PriceRows | None:
    """The sheet of a review, with money rounded to `places` where it is rounded; None: none.

    Raises
    ------
    Unreconciled
        The floor of a row is not that of the table of suggestions.
    """
    suggestions, basis = [review.results.get(name) for name in _TABLES]
    if not isinstance(suggestions, pd.DataFrame) or not isinstance(basis, pd.DataFrame):
        return None
    if suggestions.empty:
        return None
    basis = _in_order(basis, suggestions)
    suggestions = suggestions.reset_index(drop=True)
    inputs = _rounded_rates(SheetInputs.of(review.settings, basis))
    lines = price_lines(basis, suggestions[["current_price", "suggested_price"]], inputs)
    _reconcile(suggestions, lines)
    slopes = _slopes(review, suggestions["service"])
    values = _values(suggestions, basis, lines, slopes, review.settings)
    values["dearer_vehicles"] = _dearer_vehicles(review, suggestions)
    values["floor_price"] = round_half_away(lines["floor_price"], places)
    blocks, note = _inputs(review, inputs, suggestions["service"])
    return PriceRows(values, blocks, note, inputs.terms.net_of_tax, places)


def _in_order(basis: pd.DataFrame, suggestions: pd.DataFrame) -> pd.DataFrame:
    """The basis in the order of the suggestions, which must have the same keys."""
    both = suggestions[_KEYS].merge(
        basis, on=_KEYS, how="outer", indicator=True, validate="one_to_one", sort=False
    )
    if len(both) != len(suggestions) or not both["_merge"].eq("both").all():
        raise Unreconciled(
            "price_basis and price_suggestions are not of the same services and classes. This is "
            "a fault of the program, not of your records; please report it with the records that "
            "show it."
        )
    inner = suggestions[_KEYS].merge(basis, on=_KEYS, how="left", validate="one_to_one")
    return inner.reset_index(drop=True)


def _rounded_rates(inputs: SheetInputs) -> SheetInputs:
    """Rates an hour as a person can read them; what that moves is far under a cent."""
    rates = {
        "overhead_rate": round(inputs.overhead_rate, 6),
        "consumables_rate": round(inputs.consumables_rate, 6),
    }
    return SheetInputs(**{**vars(inputs), **rates})


def _reconcile(suggestions: pd.DataFrame, lines: pd.DataFrame) -> None:
    """Floor and expected cost must be those of the suggestions, to the cent, blank where blank."""
    for name in ("floor_price", "expected_cost"):
        ours, theirs = lines[name], suggestions[name]
        assert_reconciled(
            f"blanks in {name} of the price sheet", ours.isna().sum(), theirs.isna().sum(), 0
        )
        apart = (ours - theirs).abs().fillna(0.0).to_numpy()
        at = int(apart.argmax())
        what = f"{name} of {suggestions['service'].iloc[at]} in the price sheet"
        assert_reconciled(what, float(apart[at]), 0.0, 2 * HALF_A_CENT)


def _slopes(review: Review, services: pd.Series) -> pd.Series:
    """How the log-odds of winning fall with log(price), by service, where quotes told it."""
    found = review.results.get("win_chances")
    if not isinstance(found, pd.DataFrame):
        return pd.Series(float("nan"), index=services.index)
    slopes = found.set_index("service")["slope"].astype("float64")
    return slopes.reindex(services.to_numpy()).set_axis(services.index)


def _values(
    suggestions: pd.DataFrame,
    basis: pd.DataFrame,
    lines: pd.DataFrame,
    slopes: pd.Series,
    settings: Settings,
) -> pd.DataFrame:
    metres = square_metres_per(settings.area_unit)
    columns = {
        "vehicle_class": _class_words(suggestions),
        "margin": lines["margin_share"],
        "change": suggestions["suggested_price"] / suggestions["current_price"] - 1,
        "film_area": basis["film_area_m2"] / metres,
        "film_cost_per_area": lines["film_cost_per_m2"] * metres,
        "own_service": suggestions["service"],
        "own_class": suggestions["vehicle_class"],
        "own_current_price": suggestions["current_price"],
        "own_suggested_price": suggestions["suggested_price"],
        "film_cost_today": basis["film_cost_per_m2"] * metres,
        "redo_rate": basis["redo_rate_share"],
        "win_slope": slopes,
        "target_margin": lines["target_margin_share"],
        "new_price": pd.Series(float("nan"), index=lines.index),
        "note": pd.Series(None, index=lines.index, dtype="str"),
        "dearer_vehicles": pd.Series(None, index=lines.index, dtype="str"),
    }
    for price in ("suggested", "new"):
        for name, line in (
            ("margin", "margin_share"),
            ("full_margin", "full_margin"),
            ("break_even", "break_even_share"),
        ):
            columns[f"{price}_{name}"] = lines[f"{price}_{line}"]
    sources = (columns, lines, suggestions, basis)
    found = {
        column.name: next(each[column.name] for each in sources if column.name in each)
        for column in COLUMNS
    }
    return pd.DataFrame(found)


def _dearer_vehicles(review: Review, suggestions: pd.DataFrame) -> pd.Series:
    """The models with a surcharge that is sure, of each service and class: `Harrow Pike +$100`."""
    blank = pd.Series(None, index=suggestions.index, dtype="str")
    found = review.results.get("model_surcharges")
    if not isinstance(found, pd.DataFrame):
        return blank
    sure = found[found["enough"].astype("boolean").fillna(value=False).astype(bool)]
    sure = sure.assign(cell=cell_of(suggestions, sure)).dropna(subset="cell")
    if sure.empty:
        return blank
    sure = sure.sort_values(["surcharge", "make", "model"], ascending=[False, True, True])
    words = [
        f"{label(row['make'])} {label(row['model'])} "
        f"+{price_words(row['surcharge'], review.settings)}"
        for row in sure.to_dict("records")
    ]
    each = sure.assign(words=words).drop_duplicates(["cell", "words"])
    named = each.groupby("cell")["words"].agg(", ".join)
    return named.reindex(suggestions.index).astype("str")


def _class_words(rows: pd.DataFrame) -> pd.Series:
    """The class; in words where the row holds for every class without its own."""
    alone = rows.groupby("service", dropna=False)["service"].transform("size").eq(1)
    words = pd.Series(OTHER_CLASSES, index=rows.index, dtype="str").mask(alone, EVERY_CLASS)
    return rows["vehicle_class"].astype("str").fillna(words)


def _inputs(
    review: Review, inputs: SheetInputs, services: pd.Series
) -> tuple[tuple[tuple[Input, ...], ...], Input]:
    terms = inputs.terms
    change = "0 % is as today. 3 % more is 3 %, 3 % less is -3 %."
    left = (
        Input(
            FIRST_DAY, "First day of the new prices", Kind.DATE, None,
            "The first day on which the new prices hold. Blank: the first of the month after the "
            "day on which you run decide.",
            aside="blank: the first of next month",
        ),
        Input(
            TARGET, "Target margin, unless its own", Kind.PERCENT, inputs.target_share,
            "Contribution margin that every service without its own target must leave.",
            0, _HIGHEST_TARGET,
        ),
        *_own_targets(inputs, services),
    )  # fmt: skip
    middle = (
        Input(WAGE, "Wages change by", Kind.PERCENT, 0.0, change, -0.5, 1),
        Input(FILM, "Film prices change by", Kind.PERCENT, 0.0, change, -0.5, 1),
        Input(
            OVERHEAD, "Overhead an hour", Kind.MONEY_PER_HOUR, _known(inputs.overhead_rate),
            "Overheads ÷ practical hours. Only the full margins follow it.", 0, 100_000,
        ),
    )  # fmt: skip
    right = (
        Input(
            CONSUMABLES, "Consumables an hour", Kind.MONEY_PER_HOUR,
            _known(inputs.consumables_rate), "Tape, blades, cleaner an hour worked.", 0, 100_000,
        ),
        Input(
            CARD_SHARE, "Card fee, part of the price", Kind.PERCENT, terms.card_share,
            "In percent of what is paid by card.", 0, 0.2,
        ),
        Input(
            CARD_FIXED, "Card fee, fixed part", Kind.MONEY, terms.card_fixed,
            "Amount a payment.", 0, 100_000,
        ),
    )  # fmt: skip
    note = Input(
        NOTE, "Note for every decision", Kind.TEXT, None,
        "Kept with each decision that has no note of its own.",
    )  # fmt: skip
    return (left, middle, right), note


def _own_targets(inputs: SheetInputs, services: pd.Series) -> tuple[Input, ...]:
    """A target for each service of the list that has its own in the settings."""
    own = services[services.str.casefold().isin(list(inputs.service_targets))].drop_duplicates()
    return tuple(
        Input(
            TARGET, f"Target margin: {service}", Kind.PERCENT,
            inputs.service_targets[service.casefold()],
            "Contribution margin that this service must leave.", 0, _HIGHEST_TARGET,
            service.casefold(),
        )
        for service in own[~own.str.casefold().duplicated()]
    )  # fmt: skip


def _known(value: float) -> float | None:
    return None if pd.isna(value) else value
