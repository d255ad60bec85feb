"""What may be typed: the commands and their options, without anything that carries them out."""

import argparse
import datetime as dt
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import NoReturn

from analysis import __version__

FAILED = 2
DEMO = Path(__file__).parent.parent / "data_demo"
_MOST_EFFORT = 600.0
Run = Callable[[argparse.Namespace], int]


class _Parser(argparse.ArgumentParser):
    """A parser whose mistakes come as one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(FAILED, f"{self.prog}: {message}; see {self.prog} --help\n")


def build_parser(runs: Mapping[str, Run]) -> argparse.ArgumentParser:
    """The parser of all commands; `runs` says by its name what carries out a command."""
    parser = _Parser(
        prog="python -m analysis",
        description="Costing of a film shop: from job sheets, time notes and film invoices to "
        "true cost, margin and waste of a quarter.",
    )
    parser.add_argument("--version", action="version", version=__version__)
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    template = _command(
        commands,
        "template",
        "write an empty records workbook to fill in, and a commented shop.toml",
    )
    template.add_argument("folder", type=Path, metavar="FOLDER", help="folder to make")
    check = _command(
        commands, "check", "read and check the records, and print what is wrong with them"
    )
    check.add_argument("folder", type=Path, metavar="FOLDER", help="the records folder")
    check.add_argument(
        "--out",
        type=Path,
        help="where to write findings and rejected rows (default: record-check beside the records)",
    )
    _strict(check)
    review = _command(commands, "review", "the quarter's review: tables, workbook and report")
    review.add_argument(
        "folder",
        type=Path,
        nargs="?",
        default=DEMO,
        metavar="FOLDER",
        help="the records folder (default: the demo's)",
    )
    review.add_argument(
        "--quarter", help="such as 2026Q3 (default: the last complete one in the records)"
    )
    review.add_argument(
        "--out", type=Path, help="where to write (default: review-QUARTER beside the records)"
    )
    review.add_argument(
        "--installers-as-letters",
        action="store_true",
        help="a letter for every name of the people who do the work (the rejected rows, which are "
        "to be mended and put back, keep theirs)",
    )
    _strict(review)
    _add_quote(commands)
    _add_layout(commands)
    _add_kit(commands)
    _add_decide(commands)
    for name, command in commands.choices.items():
        command.set_defaults(run=runs[name])
    return parser


def _add_quote(commands: "argparse._SubParsersAction[_Parser]") -> None:
    quote = _command(commands, "quote", "hours and price of the next job, and what they rest on")
    quote.add_argument("folder", type=Path, metavar="FOLDER", help="the records folder")
    for name, what in (
        ("service", "what is to be done, as in the records"),
        ("make", "make of the vehicle"),
        ("model", "model of the vehicle"),
    ):
        quote.add_argument(f"--{name}", required=True, metavar=name.upper(), help=what)
    quote.add_argument(
        "--class",
        dest="vehicle_class",
        metavar="CLASS",
        help="size class (default: as in vehicles, else of the newest job on the model)",
    )
    quote.add_argument("--year", type=int, help="model year")
    quote.add_argument("--installer", help="who will do it (default: whoever does such work)")
    quote.add_argument("--film", help="film code (default: the one that the service used most)")
    quote.add_argument(
        "--confidence",
        type=float,
        help="share of such jobs that should finish inside the quoted hours, as 0.8 (default: "
        "quoting.confidence of shop.toml)",
    )
    quote.add_argument("--json", action="store_true", help="print one JSON object, for a machine")


def _add_layout(commands: "argparse._SubParsersAction[_Parser]") -> None:
    layout = _command(
        commands, "layout", "how to cut the film of jobs, to scale, from the least film"
    )
    layout.add_argument("folder", type=Path, metavar="FOLDER", help="the records folder")
    what = layout.add_mutually_exclusive_group(required=True)
    what.add_argument("--jobs", nargs="+", metavar="JOB", help="jobs of the records")
    what.add_argument(
        "--pieces",
        type=Path,
        metavar="FILE",
        help="a CSV of pieces: panel, length, width; optional pieces, film, turn (yes or no), job",
    )
    layout.add_argument("--film", help="film code (default: the jobs' own)")
    for name, metavar, what_is_it in (
        ("gap", "G", "room for the knife between two pieces (default: film.knife_gap)"),
        ("allowance", "A", "allowance a side for what is not cut yet (default: the usual one)"),
        ("longest-pull", "L", "longest length pulled at once (default: film.longest_pull)"),
    ):
        layout.add_argument(f"--{name}", metavar=metavar, help=what_is_it)
    layout.add_argument(
        "--roll-width", nargs="+", default=[], metavar="W", help="widths of the rolls to cut from"
    )
    layout.add_argument(
        "--keep-direction", action="store_true", help="no piece is turned across the roll"
    )
    layout.add_argument("--no-offcuts", action="store_true", help="cut from rolls alone")
    layout.add_argument(
        "--effort",
        type=_effort,
        default=10.0,
        metavar="SECONDS",
        help="about how long one core looks for a better layout of a film, 0 to 600 (default: 10)",
    )
    layout.add_argument(
        "--out",
        type=Path,
        help="where to draw it (default: layouts/layout-JOBS.html, beside the records)",
    )


def _add_kit(commands: "argparse._SubParsersAction[_Parser]") -> None:
    kit = _command(
        commands, "kit", "film cut for somebody who fits it: pieces, price, and a sheet to print"
    )
    kit.add_argument(
        "folder",
        type=Path,
        nargs="?",
        default=DEMO,
        metavar="FOLDER",
        help="the records folder (default: the demo's)",
    )
    kit.add_argument(
        "--service", required=True, metavar="SERVICE", help="what is to be fitted, as in panels"
    )
    kit.add_argument(
        "--class",
        dest="vehicle_class",
        metavar="CLASS",
        help="size class of the vehicle (default: that of the make and model)",
    )
    kit.add_argument("--make", metavar="MAKE", help="make of the vehicle, with --model")
    kit.add_argument("--model", metavar="MODEL", help="model of the vehicle, with --make")
    kit.add_argument(
        "--film", help="film code (default: the one that such sales used most, else such jobs)"
    )
    kit.add_argument(
        "--out",
        type=Path,
        help="where to write the sheet (default: kits/kit-SERVICE-CLASS.html, beside the records; "
        "with --json none)",
    )
    kit.add_argument(
        "--json",
        action="store_true",
        help="print one JSON object, for a machine; a sheet is written where --out says so",
    )


def _add_decide(commands: "argparse._SubParsersAction[_Parser]") -> None:
    decide = _command(
        commands, "decide", "put the prices that you typed into the price sheet into decisions"
    )
    decide.add_argument("folder", type=Path, metavar="FOLDER", help="the records folder")
    decide.add_argument(
        "--sheet",
        type=Path,
        metavar="FILE",
        help="the workbook with the price sheet (default: review.xlsx of the newest review beside "
        "the records)",
    )
    decide.add_argument(
        "--on",
        type=_day,
        metavar="DAY",
        help="day of the decision, as 2026-10-05 (default: today)",
    )
    decide.add_argument(
        "--far",
        action="store_true",
        help="take new prices over twice or under half of the current ones too: they are meant",
    )
    decide.add_argument(
        "--dry-run", action="store_true", help="say what would be written, and write nothing"
    )


def _command(
    commands: "argparse._SubParsersAction[_Parser]", name: str, what: str
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=what, description=what[0].upper() + what[1:] + ".")
    parser.add_argument("--traceback", action="store_true", help=argparse.SUPPRESS)
    return parser


def _day(text: str) -> dt.date:
    """A day in ISO 8601; argparse turns the error into its one line."""
    try:
        return dt.date.fromisoformat(text.strip())
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"'{text}' is no day; write it as 2026-10-05") from error


def _effort(text: str) -> float:
    """Seconds from 0 to 600; argparse turns the error into its one line."""
    value = float(text)
    if not 0.0 <= value <= _MOST_EFFORT:
        raise ValueError
    return value


def _strict(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--strict",
        choices=("rejected", "doubtful"),
        default="rejected",
        help="findings that make the exit status 1 (default: rejected)",
    )
