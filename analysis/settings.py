"""The shop's settings: every key of `shop.toml`, with its default, range and one sentence.

The fields below, and those of `settings_sections`, are the only place where a key is defined;
reading, checking, the commented template and the documentation are derived from them.
"""

import datetime as dt
import math
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from typing import Any

from babel import Locale, UnknownLocaleError
from babel.numbers import get_currency_symbol, is_currency
from rapidfuzz import process

from analysis.errors import SettingsError
from analysis.record_tables import RECORD_TABLES
from analysis.settings_sections import (
    Counter,
    Fees,
    Film,
    Labour,
    Ordering,
    Overrun,
    Pricing,
    Quoting,
    Redo,
    Targets,
    setting,
    share,
)
from analysis.units import AREA_UNITS, LENGTH_UNITS, metres_per

__all__ = [
    "FILE_NAME",
    "Counter",
    "Fees",
    "Film",
    "Labour",
    "Ordering",
    "Overrun",
    "Pricing",
    "Quoting",
    "Redo",
    "Settings",
    "Targets",
    "known_keys",
    "parse_settings",
]

FILE_NAME = "shop.toml"
# A hand without practice wants about a hand's width over two sides. Common practice, no source.
_EXTRA_ALLOWANCE_M = 0.05
_LARGEST = 1e12  # of any number; larger ones are slips, and would break sums
_LONGEST_SHOWN = 80  # characters of a value that a message repeats
_DAYS = (dt.datetime(2026, 7, 13), dt.datetime(2019, 11, 2))  # that a date form must tell apart


@dataclass(frozen=True)
class Settings:
    """Everything that `shop.toml` says. Frozen, and passed in; nothing is global."""

    shop_name: str = setting("", "Name of the shop, on what is printed and sent.", kind=str)
    currency: str = setting("USD", "Currency, ISO 4217 code.", kind=str)
    locale: str = setting("en-US", "Language and country that numbers are written for.", kind=str)
    length_unit: str = setting(
        "in", "Unit of a length without one.", kind=str, words=tuple(LENGTH_UNITS)
    )
    area_unit: str = setting("sq ft", "Unit of areas.", kind=str, words=tuple(AREA_UNITS))
    date_formats: tuple[str, ...] = setting(
        (), 'Date forms beside ISO 8601, as in ["%m/%d/%Y"].', kind=tuple
    )
    decimal_comma: bool = setting(False, "Whether 1,5 is one and a half.", kind=bool)
    fiscal_year_starts: int = setting(
        1, "Month (1-12) in which the fiscal year starts.", kind=int, least=1, most=12
    )
    prices_include_tax: bool = setting(
        False,
        "Whether prices of jobs, quotes, price list, counter sales and decisions include tax.",
        kind=bool,
    )
    tax_rate: float = share(0.0, "Sales or value-added tax in those prices.")
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

    def spelling(self, column: str, name: str) -> str:
        """A name as the records have it: what `[aliases.COLUMN]` makes of it, else as it is."""
        return alias_of(name, self.aliases.get(column, {}))

    def target_margin(self, service: str) -> float:
        """Target margin of one service. [share]"""
        return self.targets.service.get(service.casefold(), self.targets.margin)


def alias_of(name: str, aliases: Mapping[str, str]) -> str:
    """What stands for a name in the aliases of its column, else the name."""
    return aliases.get(" ".join(name.split()).casefold(), name) if aliases else name


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
        raise SettingsError(_broken_line(text, str(error))) from error
    except (RecursionError, ValueError) as error:
        what = "brackets in brackets" if isinstance(error, RecursionError) else "digits in a number"
        raise SettingsError(f"{FILE_NAME} cannot be read: there are too many {what}.") from error
    return _checked(_section(Settings, data, ""))


def _broken_line(text: str, error: str) -> str:
    """Say which line of the file cannot be read, what stands there, and how it is to be written.

    `error` : the parser's own words, which end in `(at line 8, column 18)`.
    """
    lines = text.split("\n")
    found = re.fullmatch(r"(.*) \(at line (\d+), column \d+\)", error, re.DOTALL)
    reason, number = (found[1], int(found[2])) if found else (error.partition(" (")[0], 0)
    if not number:  # something is not closed, and the file ends
        number = max((at for at, line in enumerate(lines, 1) if line.strip()), default=1)
    start = f"{FILE_NAME}, line {number}: {_shown(lines[number - 1].strip())}"
    if reason.startswith(("Cannot overwrite", "Cannot declare")):
        return f"{start} stands in the file a second time. Delete one of the two."
    return (
        f"{start} cannot be read ({reason[:1].lower()}{reason[1:]}). Numbers take a point here "
        '(22.5, not 22,5), text stands in quotes ("USD"), so does a name with a space or a point, '
        "and true and false are small. Mend that line."
    )


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
    shown = name if len(name) <= _LONGEST_SHOWN else f"{name[: _LONGEST_SHOWN - 1]}…"
    return f"{FILE_NAME}: the key {shown or repr(name)} is not known.{hint}"


def _want(holds: bool, name: str, value: object, expected: str) -> None:
    if not holds:
        raise SettingsError(f"{FILE_NAME}: {name} = {_shown(value)} should be {expected}.")


def _shown(value: object) -> str:
    """A value as a message repeats it, not too long."""
    try:
        text = repr(value)
    except ValueError:  # a whole number of more digits than Python writes
        return "a number of thousands of digits"
    return text if len(text) <= _LONGEST_SHOWN else f"{text[: _LONGEST_SHOWN - 1]}…"


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
    # Not a number, and infinite, are numbers in TOML; neither is one of a shop.
    _want(number and abs(value) <= _LARGEST, name, value, "a number")
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
        known = "is not known; write it as en-US or de-DE"
        raise SettingsError(f"{FILE_NAME}: locale = {_shown(settings.locale)} {known}.") from error
    is_short = len(settings.shop_name) <= _LONGEST_SHOWN
    expected = f"a name of {_LONGEST_SHOWN} letters at most"
    _want(is_short, "shop_name", settings.shop_name, expected)
    for form in settings.date_formats:
        expected = "a form with day, month and year such as %d.%m.%Y"
        _want(_is_date_form(form), "date_formats", form, expected)
    return settings


def _is_date_form(form: str) -> bool:
    """Whether a form tells every day from every other: two days written in it are read back."""
    try:
        return all(dt.datetime.strptime(day.strftime(form), form) == day for day in _DAYS)
    except (ValueError, re.error):
        return False
