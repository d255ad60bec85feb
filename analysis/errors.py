"""The failures that stop a run, and the value that stands for a result that cannot be computed.

Bad data in a row is never an exception: it is a record finding. An exception here means that the
run as a whole is impossible; its text is one plain line that says why and what to do.
"""

from dataclasses import dataclass, replace


class WorkbookError(Exception):
    """Base of every failure that a person can mend; the command line prints it as one line."""


class RecordsError(WorkbookError):
    """The records folder cannot be read at all."""


class SettingsError(WorkbookError):
    """`shop.toml` holds a key or a value that it must not hold."""


class OutputError(WorkbookError):
    """The results cannot be written where they were asked to go."""


class Unreconciled(WorkbookError):
    """A total that must come out does not: a fault of this program, never of the records."""


def assert_reconciled(what: str, found: float, expected: float, tolerance: float) -> None:
    """Raise `Unreconciled` with both figures unless they agree within `tolerance`."""
    if not abs(found - expected) <= tolerance:
        raise Unreconciled(
            f"{what} does not reconcile: {found!r} against {expected!r}. This is a fault of the "
            "program, not of your records; please report it with the records that show it."
        )


@dataclass(frozen=True)
class Unavailable:
    """A result that cannot be computed from these records. A value, not an exception.

    `result` is its name, `missing` the tables or settings that are wanted, `line` one plain
    sentence for the reader.
    """

    result: str
    missing: tuple[str, ...]
    line: str

    def of(self, result: str) -> "Unavailable":
        """The same reason for another result."""
        return replace(self, result=result)
