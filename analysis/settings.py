"""The shop's settings: every key of `shop.toml`, with its default, range and one sentence.

The fields below are the only place where a key is defined; reading, checking, the commented
template and the documentation are derived from them.
"""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

from babel import Locale, UnknownLocaleError
from babel.numbers import get_currency_symbol, is_currency
from rapidfuzz import process

from analysis.errors import SettingsError
from analysis.record_tables import RECORD_TABLES
from analysis.units import AREA_UNITS, LENGTH_UNITS, metres_per

FILE_NAME = "shop.toml"
# A hand without practice wants about a hand's width over two sides. Common practice, no source.
_EXTRA_ALLOWANCE_M = 0.05


def _key(
    default: Any,
    sentence: str,
    *,
    kind: type = float,
    least: float | None = None,
    most: float | None = None,
    words: tuple[str, ...] = (),
) -> Any:
    meta = {"sentence": sentence, "kind": kind, "least": least, "most": most, "words": words}
    return field(default=default, metadata=meta)


def _share(default: float, sentence: str) -> Any:
    return _key(default, sentence + " A share: 0.20 is 20 %.", least=0.0, most=1.0)


@dataclass(frozen=True)
class Labour:
    """What an hour of work costs."""

    on_cost: float = _key(
        0.0,
        "What the shop pays on top of a wage (payroll tax, insurance, paid leave), as a share of "
        "it: 0.12 is 12 %. Rates and rules are your tax adviser's to say.",
        least=0.0,
        most=1.0,
    )
    overtime_multiplier: float = _key(
        1.5, "Wage of an overtime hour ÷ plain wage.", least=1, most=4
    )
    on_cost_on_overtime: bool = _key(
        False, "Whether on-costs apply to the overtime premium too.", kind=bool
    )
    default_wage: float | None = _key(
        None, "Wage an hour of a person without a row in rates. Not set: unknown.", least=0.0
    )


@dataclass(frozen=True)
class Film:
    """How film is valued."""

    costing: str = _key(
        "fifo",
        "Which film is used up first in the books: the oldest, or all at the average.",
        kind=str,
        words=("fifo", "moving-average"),
    )
    offcut_life_months: int = _key(
        12, "Months a kept offcut stays on the shelf before it is written off.", kind=int, least=1
    )
    directional: tuple[str, ...] = _key(
        (),
        "Codes of films with a direction (grain, brushed, metallic flake): their pieces are not "
        'turned across the roll, as in ["CARBON-1"].',
        kind=tuple,
    )
    knife_gap: float = _key(
        0.0, "Room the knife needs between two pieces of a layout, in length_unit.", least=0.0
    )
    longest_pull: float = _key(
        0.0, "Longest length that is pulled at once, in length_unit; 0: no limit.", least=0.0
    )


@dataclass(frozen=True)
class Ordering:
    """When film has to be ordered."""

    lead_days: float = _key(7.0, "Days from an order to the film on the shelf.", least=0.0)
    safety_days: float = _key(
        7.0, "Days of use that should still lie there when an order comes in.", least=0.0
    )


@dataclass(frozen=True)
class Fees:
    """What taking a card costs."""

    card_percent: float = _key(
        0.0, "Card fee in percent of what was paid: 2.9 is 2.9 %.", least=0, most=20
    )
    card_fixed: float = _key(0.0, "Card fee a payment, in money.", least=0)


@dataclass(frozen=True)
class Targets:
    """What a service should leave after its own costs."""

    margin: float = _share(0.45, "Target contribution margin of every service.")
    service: Mapping[str, float] = field(
        default_factory=dict,
        metadata={"sentence": "Target of one service: [targets.service.roof] margin = 0.5."},
    )


@dataclass(frozen=True)
class Pricing:
    """How far and in what steps a price may move."""

    round_to: float = _key(5.0, "Prices are multiples of this.", least=0.01)
    round_down_by: float = _key(0.0, "Taken off a rounded price: 1 turns 450 into 449.", least=0)
    largest_change: float = _share(0.15, "Largest change of a price in one review.")
    smallest_change: float = _share(0.02, "A smaller change is not worth the trouble.")
    fewest_jobs: int = _key(
        5, "A figure from fewer jobs is greyed, and nothing rests on it.", kind=int, least=1
    )


@dataclass(frozen=True)
class Counter:
    """The sale of cut film to people who fit it themselves."""

    takes_installers: bool = _key(
        True,
        "Whether whoever serves at the counter would otherwise be installing: then an hour of full "
        "months costs what it would earn.",
        kind=bool,
    )
    margin: float | None = _key(
        None,
        "What a price of cut film should leave after its own costs, as a share: 0.40 is 40 %. Not "
        "set: targets.margin.",
        least=0.0,
        most=1.0,
    )
    round_to: float = _key(1.0, "Prices of cut film are multiples of this.", least=0.01)
    extra_allowance: float | None = _key(
        None,
        "What a kit's pieces are cut larger, a side, than the shop cuts its own, for a hand "
        "without practice, in length_unit. Not set: 50 mm (common practice, no source).",
        least=0.0,
    )


@dataclass(frozen=True)
class Quoting:
    """How safe a quote should be."""

    confidence: float = _share(0.7, "Share of jobs that should finish inside the quoted hours.")


@dataclass(frozen=True)
class Overrun:
    """When a vehicle counts as running over."""

    tolerance: float = _share(0.10, "Overrun that is still fine.")
    error_rate: float = _share(0.10, "Share of false flags that is accepted.")


@dataclass(frozen=True)
class Redo:
    """Which work counts as doing over."""

    window_months: int = _key(
        12, "A redo later than this after its job is told as doubtful.", kind=int, least=1
    )


@dataclass(frozen=True)
class Settings:
    """Everything that `shop.toml` says. Frozen, and passed in; nothing is global."""

    currency: str = _key("USD", "Currency, ISO 4217 code.", kind=str)
    locale: str = _key("en-US", "Language and country that numbers are written for.", kind=str)
    length_unit: str = _key(
        "in", "Unit of a length without one.", kind=str, words=tuple(LENGTH_UNITS)
    )
    area_unit: str = _key("sq ft", "Unit of areas.", kind=str, words=tuple(AREA_UNITS))
    date_formats: tuple[str, ...] = _key(
        (), 'Date forms beside ISO 8601, as in ["%m/%d/%Y"].', kind=tuple
    )
    decimal_comma: bool = _key(False, "Whether 1,5 is one and a half.", kind=bool)
    fiscal_year_starts: int = _key(
        1, "Month (1-12) in which the fiscal year starts.", kind=int, least=1, most=12
    )
    prices_include_tax: bool = _key(
        False,
        "Whether prices of jobs, quotes, price list, counter sales and decisions include tax.",
        kind=bool,
    )
    tax_rate: float = _share(0.0, "Sales or value-added tax in those prices.")
    labour: Labour = field(default_factory=Labour)
    film: Film = field(default_factory=Film)
    ordering: Ordering = field(default_factory=Ordering)
    fees: Fees = field(default_factory=Fees)
    targets: Targets = field(default_factory=Targets)
    pricing: Pricing = field(default_factory=Pricing)
    counter: Counter = field(default_factory=Counter)
    quoting: Quoting = field(default_factory=Quoting)
    overrun: Overrun = field(default_factory=Overrun)
    redo: Redo = field(default_factory=Redo)
    columns: Mapping[str, Mapping[str, str]] = field(
        default_factory=dict,
        metadata={"sentence": "[columns.jobs]: your column on the left, ours on the right."},
    )
    aliases: Mapping[str, Mapping[str, str]] = field(
        default_factory=dict,
        metadata={"sentence": "[aliases.model]: your spelling on the left, the right one right."},
    )

    @property
    def currency_symbol(self) -> str:
        """The currency's sign as this locale writes it: `$`."""
        return str(get_currency_symbol(self.currency, locale=self.babel_locale))

    @property
    def babel_locale(self) -> str:
        """The locale as the formatting library names it: `en_US`."""
        return self.locale.replace("-", "_")

    @property
    def knife_gap_m(self) -> float:
        """Room the knife needs between two pieces. [m]"""
        return self.film.knife_gap * metres_per(self.length_unit)

    @property
    def longest_pull_m(self) -> float:
        """Longest length that is pulled at once; infinite where there is no limit. [m]"""
        return self.film.longest_pull * metres_per(self.length_unit) or math.inf

    @property
    def net_of_tax(self) -> float:
        """Factor from a price as written to a price net of tax."""
        return 1 / (1 + self.tax_rate) if self.prices_include_tax else 1.0

    @property
    def extra_allowance_m(self) -> float:
        """What a kit's pieces are cut larger, a side, than the shop's own. [m]"""
        extra = self.counter.extra_allowance
        return _EXTRA_ALLOWANCE_M if extra is None else extra * metres_per(self.length_unit)

    @property
    def counter_margin(self) -> float:
        """Target margin of cut film sold over the counter. [share]"""
        margin = self.counter.margin
        return self.targets.margin if margin is None else margin

    def target_margin(self, service: str) -> float:
        """Target margin of one service. [share]"""
        return self.targets.service.get(service.casefold(), self.targets.margin)


def parse_settings(text: str) -> Settings:
    """Settings from the text of a `shop.toml`.

    Raises
    ------
    SettingsError
        Not TOML; an unknown key (the nearest known one is named); a value of the wrong kind or
        out of range.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SettingsError(f"{FILE_NAME} cannot be read: {error}. Mend that line.") from error
    return _checked(_section(Settings, data, ""))


def known_keys() -> list[tuple[str, Any, str]]:
    """Every key as (dotted name, default, sentence), in order; for template and documents."""
    rows: list[tuple[str, Any, str]] = []
    for each in fields(Settings):
        inner = each.default_factory
        if isinstance(inner, type) and is_dataclass(inner):
            for part in fields(inner):
                default = {} if part.name == "service" else part.default
                rows.append((f"{each.name}.{part.name}", default, part.metadata["sentence"]))
        else:
            default = each.default if not callable(inner) else {}
            rows.append((each.name, default, each.metadata["sentence"]))
    return rows


def _section(cls: type, data: Mapping[str, Any], prefix: str) -> Any:
    known = {each.name: each for each in fields(cls)}
    values: dict[str, Any] = {}
    for name, value in data.items():
        dotted = prefix + name
        if name not in known:
            raise SettingsError(_unknown(dotted, [prefix + each for each in known]))
        each = known[name]
        inner = each.default_factory
        if isinstance(inner, type) and is_dataclass(inner):
            _want(isinstance(value, dict), dotted, value, "a section of keys")
            values[name] = _section(inner, value, dotted + ".")
        elif name in ("columns", "aliases"):
            values[name] = _maps(dotted, value)
        elif dotted == "targets.service":
            values[name] = _service_targets(value)
        else:
            values[name] = _value(dotted, value, each.metadata)
    return cls(**values)


def _unknown(name: str, known: list[str]) -> str:
    last = name.rpartition(".")[2]
    elsewhere = [key for key, _, _ in known_keys() if key.rpartition(".")[2] == last]
    near = elsewhere[:1] or list(process.extractOne(name, known) or ())[:1]
    hint = f" Did you mean {near[0]}?" if near else ""
    return f"{FILE_NAME}: the key {name} is not known.{hint}"


def _want(holds: bool, name: str, value: object, expected: str) -> None:
    if not holds:
        raise SettingsError(f"{FILE_NAME}: {name} = {value!r} should be {expected}.")


def _value(name: str, value: Any, meta: Mapping[str, Any]) -> Any:
    kind, words = meta["kind"], meta["words"]
    if kind is tuple:
        texts = isinstance(value, list) and all(isinstance(each, str) for each in value)
        example = '["%m/%d/%Y"]' if name == "date_formats" else '["CARBON-1"]'
        _want(texts, name, value, f"a list of texts in quotes, such as {example}")
        return tuple(value)
    if kind is bool:
        _want(isinstance(value, bool), name, value, "true or false")
        return value
    if kind is str:
        _want(isinstance(value, str), name, value, "a text in quotes")
        _want(not words or value in words, name, value, "one of " + ", ".join(words))
        return value
    number = isinstance(value, int | float) and not isinstance(value, bool)
    _want(number, name, value, "a number")
    if kind is int:
        _want(float(value).is_integer(), name, value, "a whole number")
        value = int(value)
    least, most = meta["least"], meta["most"]
    if most == 1 and value > 1:
        _want(
            False, name, value, f"a share of 1, at most 1 (write {value / 100:g} for {value:g} %)"
        )
    _want(
        least is None or value >= least,
        name,
        value,
        f"a number from {least:g} on" if least is not None else "",
    )
    _want(
        most is None or value <= most,
        name,
        value,
        f"a number up to {most:g}" if most is not None else "",
    )
    return value if kind is int else float(value)


def _maps(name: str, value: Any) -> dict[str, dict[str, str]]:
    _want(isinstance(value, dict), name, value, "a section of maps")
    if name == "columns":
        known = list(RECORD_TABLES)
    else:
        known = sorted({c.name for table in RECORD_TABLES.values() for c in table.columns})
    result: dict[str, dict[str, str]] = {}
    for part, pairs in value.items():
        dotted = f"{name}.{part}"
        if part not in known:
            raise SettingsError(_unknown(dotted, [f"{name}.{each}" for each in known]))
        texts = isinstance(pairs, dict) and all(isinstance(each, str) for each in pairs.values())
        _want(texts, dotted, pairs, 'pairs such as "Your word" = "our_word"')
        result[part] = {" ".join(k.split()).casefold(): v.strip() for k, v in pairs.items()}
    if name == "columns":
        _check_column_map(result)
    return result


def _check_column_map(maps: Mapping[str, Mapping[str, str]]) -> None:
    for table, pairs in maps.items():
        for theirs, ours in pairs.items():
            if ours not in RECORD_TABLES[table].names:
                dotted = f"columns.{table}.{theirs} = {ours}"
                raise SettingsError(_unknown(dotted, RECORD_TABLES[table].names))


def _service_targets(value: Any) -> dict[str, float]:
    _want(
        isinstance(value, dict), "targets.service", value, "sections such as [targets.service.roof]"
    )
    meta = next(each for each in fields(Targets) if each.name == "margin").metadata
    result = {}
    for service, keys in value.items():
        dotted = f"targets.service.{service}"
        _want(isinstance(keys, dict), dotted, keys, "a section with margin = 0.5")
        for name in sorted(set(keys) - {"margin"}):
            raise SettingsError(_unknown(f"{dotted}.{name}", [f"{dotted}.margin"]))
        _want("margin" in keys, dotted, keys, "a section with margin = 0.5")
        result[service.casefold()] = _value(dotted + ".margin", keys["margin"], meta)
    return result


def _checked(settings: Settings) -> Settings:
    _want(
        is_currency(settings.currency),
        "currency",
        settings.currency,
        "an ISO 4217 code such as USD or EUR",
    )
    try:
        Locale.parse(settings.babel_locale)
    except (UnknownLocaleError, ValueError) as error:
        raise SettingsError(
            f"{FILE_NAME}: locale = {settings.locale!r} is not known; write it as en-US or de-DE."
        ) from error
    for form in settings.date_formats:
        _want(
            all(mark in form for mark in ("%",)) and any(m in form for m in ("%d", "%j")),
            "date_formats",
            form,
            "a form with day, month and year such as %d.%m.%Y",
        )
    return settings
