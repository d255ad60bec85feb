"""Costing and profitability of a film shop: records in, answers out.

The public names are `read_records`, `run_review`, `Records`, `Review` and `Settings`. They are
imported when they are first asked for, so that the command line answers `--help` at once.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.records.model import Records
    from analysis.records.read import read_records
    from analysis.report.results import Review
    from analysis.review import run_review
    from analysis.settings import Settings

__version__ = "0.7.0"
__all__ = ["Records", "Review", "Settings", "__version__", "read_records", "run_review"]

_HOMES = {
    "Records": "analysis.records.model",
    "Review": "analysis.report.results",
    "Settings": "analysis.settings",
    "read_records": "analysis.records.read",
    "run_review": "analysis.review",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"analysis has no {name}")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)
