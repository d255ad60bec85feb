"""Every rule of the check under its code, in the order of the work."""

from collections.abc import Iterable
from types import MappingProxyType, ModuleType
from typing import Final

from analysis.records import (
    cell_rules,
    count_rules,
    counter_rules,
    decision_rules,
    entry_rules,
    file_rules,
    film_rules,
    headers,
    job_rules,
    money_rules,
    month_rules,
    remark_rows,
    row_rules,
    size_rules,
    slip_rules,
    spellings,
)
from analysis.records.rule import Rule


def _rules(modules: Iterable[ModuleType]) -> dict[str, Rule]:
    rules: dict[str, Rule] = {}
    for module in modules:
        for value in vars(module).values():
            if isinstance(value, Rule) and rules.setdefault(value.code, value) is not value:
                raise ValueError(f"two rules have the code {value.code}")
    return rules


RULES: Final = MappingProxyType(
    _rules(
        (
            file_rules,
            headers,
            cell_rules,
            remark_rows,
            row_rules,
            job_rules,
            slip_rules,
            entry_rules,
            film_rules,
            count_rules,
            size_rules,
            money_rules,
            month_rules,
            counter_rules,
            decision_rules,
            spellings,
        )
    )
)
