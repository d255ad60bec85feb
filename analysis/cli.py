"""The commands: what a person types, one plain line when it cannot be done, and the exit status.

0: done. 1: done, with rejected rows (or doubtful ones, where `--strict doubtful` asks). 2: could
not be done; one line says why and what to do. Heavy libraries are imported inside the commands, so
that `--help` comes at once.
"""

import argparse
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from analysis import __version__
from analysis.errors import WorkbookError

if TYPE_CHECKING:
    from analysis.records.model import Records
    from analysis.report.results import Review

DONE, WITH_FINDINGS, FAILED = 0, 1, 2
DEMO = Path(__file__).parent.parent / "data_demo"
# The check prints this many findings of a rule; all of them are in record_findings.csv.
SHOWN_PER_RULE = 5
# Steps of a long command, for the progress bar; the last one closes it whatever the count.
_STEPS = 20
_MOST_EFFORT = 600.0


class _Parser(argparse.ArgumentParser):
    """A parser whose mistakes come as one line."""

    def error(self, message: str) -> NoReturn:
        self.exit(FAILED, f"{self.prog}: {message}; see {self.prog} --help\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    parser = _build_parser()
    asked = parser.parse_args(arguments)
    try:
        status: int = asked.run(asked)
    except WorkbookError as error:
        return _fail(str(error))
    except BrokenPipeError:
        # Whoever reads the output has read enough; what was to be written is written.
        sys.stdout = None
        return DONE
    except KeyboardInterrupt:
        return _fail("Stopped before the end; what was there before is as it was.")
    except Exception as error:
        if asked.traceback:
            raise
        return _fail(
            f"A fault of the program, not of your records ({type(error).__name__}: {error}). "
            "Please report it; --traceback shows where."
        )
    return status


def _fail(reason: str) -> int:
    line = " ".join(reason.split())
    sys.stderr.write(f"Could not be done: {line}\n")
    return FAILED


def _build_parser() -> argparse.ArgumentParser:
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
        _template,
        "write an empty records workbook to fill in, and a commented shop.toml",
    )
    template.add_argument("folder", type=Path, metavar="FOLDER", help="folder to make")
    check = _command(
        commands, "check", _check, "read and check the records, and print what is wrong with them"
    )
    check.add_argument("folder", type=Path, metavar="FOLDER", help="the records folder")
    check.add_argument(
        "--out",
        type=Path,
        help="where to write findings and rejected rows (default: record-check beside the records)",
    )
    _strict(check)
    review = _command(
        commands, "review", _review, "the quarter's review: tables, workbook and report"
    )
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
    return parser


def _add_quote(commands: "argparse._SubParsersAction[_Parser]") -> None:
    quote = _command(
        commands, "quote", _quote, "hours and price of the next job, and what they rest on"
    )
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
        commands, "layout", _layout, "how to cut the film of jobs, to scale, from the least film"
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
        "--out", type=Path, help="where to draw it (default: layout-JOBS.html, in this folder)"
    )


def _command(
    commands: "argparse._SubParsersAction[_Parser]",
    name: str,
    run: Callable[[argparse.Namespace], int],
    what: str,
) -> argparse.ArgumentParser:
    parser = commands.add_parser(name, help=what, description=what[0].upper() + what[1:] + ".")
    parser.set_defaults(run=run)
    parser.add_argument("--traceback", action="store_true", help=argparse.SUPPRESS)
    return parser


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


def _template(asked: argparse.Namespace) -> int:
    from analysis.records.template import write_template

    written = write_template(asked.folder)
    _say(f"Written: {', '.join(path.name for path in written)} in {asked.folder}.")
    _say(f'Fill in jobs and purchases first, then run: python -m analysis check "{asked.folder}"')
    return DONE


def _check(asked: argparse.Namespace) -> int:
    from analysis.report.folder import default_check_out, write_check
    from analysis.review import check_records

    with _Progress() as progress:
        records = check_records(asked.folder, progress)
        out = asked.out or default_check_out(asked.folder)
        write_check(records, out, asked.folder)
    _print_counts(records)
    _print_findings(records)
    _say(f"\nAll findings and rejected rows: {out}")
    return _status(records, asked.strict)


def _review(asked: argparse.Namespace) -> int:
    from analysis.report.folder import default_out, write_review
    from analysis.report.page import render_page
    from analysis.review import run_review

    with _Progress() as progress:
        review = run_review(
            asked.folder,
            asked.quarter,
            progress,
            installers_as_letters=asked.installers_as_letters,
        )
        progress("drawing the report")
        page = render_page(review)
        out = asked.out or default_out(asked.folder, review.quarter)
        write_review(review, page, out, asked.folder, progress)
    from analysis.report.sentences import answers

    _say(review.quarter.spelled)
    for answer in answers(review):
        _say(f"- {answer.question} {answer.line}")
    for missing in review.unavailable():
        _say(f"- Not computed: {missing.line}")
    if asked.quarter is None:
        _say_if_later(review)
    _say(_findings_line(review.records))
    _say(f"\nThe report: {out / 'index.html'}")
    return _status(review.records, asked.strict)


def _quote(asked: argparse.Namespace) -> int:
    import json

    from analysis.pricing.quote import next_quote
    from analysis.report.quote_text import quote_lines, quote_object
    from analysis.review import prepare_next_quotes

    with _Progress() as progress:
        quoter = prepare_next_quotes(asked.folder, progress)
    options = ("vehicle_class", "year", "installer", "film", "confidence")
    quote = next_quote(
        quoter,
        asked.service,
        asked.make,
        asked.model,
        **{name: getattr(asked, name) for name in options},
    )
    records = quoter.records
    status = _status(records, "rejected")
    if asked.json:
        found = quote_object(quote, records.settings)
        _say(json.dumps(found, ensure_ascii=False, allow_nan=False, indent=2))
        if status == WITH_FINDINGS:
            sys.stderr.write(_findings_line(records).removeprefix("- ") + "\n")
    else:
        for line in quote_lines(quote, records.settings):
            _say(line)
        _say(_findings_line(records).removeprefix("- "))
    return status


def _layout(asked: argparse.Namespace) -> int:
    from analysis.cutting import LayoutAsked, default_layout_out, prepare_layout
    from analysis.report.layout_picture import layout_page, write_page
    from analysis.report.layout_text import layout_lines

    wanted = LayoutAsked(
        jobs=tuple(asked.jobs or ()),
        pieces_file=asked.pieces,
        roll_widths=tuple(asked.roll_width),
        film=asked.film,
        gap=asked.gap,
        allowance=asked.allowance,
        longest_pull=asked.longest_pull,
        keep_direction=asked.keep_direction,
        use_offcuts=not asked.no_offcuts,
        effort=asked.effort,
    )
    with _Progress() as progress:
        plan = prepare_layout(asked.folder, wanted, progress)
        settings = plan.records.settings
        progress("drawing the layout")
        out = asked.out or default_layout_out(wanted)
        write_page(layout_page(plan.films, settings, plan.what), out, asked.folder)
    for line in layout_lines(plan.films, settings):
        _say(line)
    _say(f"\nThe picture, to print and cut from: {out}")
    return DONE


def _say_if_later(review: "Review") -> None:
    """Name a later quarter that has work and was not taken because it is not over."""
    from analysis.periods import quarter_of
    from analysis.review import working_days

    newest = working_days(review.records).max()
    if newest > review.quarter.last_day:
        label = quarter_of(newest, review.settings.fiscal_year_starts).label
        _say(f"- There is work up to {newest:%Y-%m-%d}; --quarter {label} reviews it so far.")


def _status(records: "Records", strict: str) -> int:
    levels = {"rejected"} if strict == "rejected" else {"rejected", "doubtful"}
    return WITH_FINDINGS if records.findings["severity"].isin(levels).any() else DONE


def _print_counts(records: "Records") -> None:
    _say(f"{'table':<15}{'read':>9}{'used':>9}{'rejected':>10}   file")
    for source in records.sources:
        if source.table:
            _say(
                f"{source.table:<15}{source.rows_read:>9}{source.rows_used:>9}"
                f"{source.rows_rejected:>10}   {source.file}"
            )


def _print_findings(records: "Records") -> None:
    findings = records.findings
    for severity in ("rejected", "doubtful"):
        chosen = findings[findings["severity"] == severity]
        if chosen.empty:
            continue
        meaning = {"rejected": "rows left out", "doubtful": "used, and worth a look"}[severity]
        _say(f"\n{severity} ({meaning}): {len(chosen)}")
        for _, rows in chosen.groupby("rule", sort=False):
            for row in rows.head(SHOWN_PER_RULE).itertuples():
                _say(f"  {_place(row)}: {row.problem}. {row.remedy}")
            if len(rows) > SHOWN_PER_RULE:
                _say(f"  ... and {len(rows) - SHOWN_PER_RULE} more of this kind")


def _place(row: object) -> str:
    parts = [str(getattr(row, "file", ""))]
    number, column = getattr(row, "row", None), getattr(row, "column", "")
    if number == number and number is not None:
        parts.append(f"row {number:.0f}")
    if isinstance(column, str) and column:
        parts.append(f"column {column}")
    return ", ".join(part for part in parts if part)


def _findings_line(records: "Records") -> str:
    counts = records.findings["severity"].value_counts()
    left, doubtful = counts.get("rejected", 0), counts.get("doubtful", 0)
    return f"- Findings of the check: {left} that left a row out, {doubtful} doubtful."


def _say(text: str) -> None:
    sys.stdout.write(text + "\n")


class _Progress:
    """A bar on the terminal for whatever takes over a second; silent elsewhere."""

    def __enter__(self) -> "_Progress":
        from tqdm import tqdm

        self._bar = tqdm(
            total=_STEPS, delay=1, disable=None, leave=False, bar_format="{desc:<40}|{bar}|"
        )
        return self

    def __call__(self, step: str) -> None:
        self._bar.set_description_str(step, refresh=False)
        self._bar.update(1 if self._bar.n < _STEPS - 1 else 0)

    def __exit__(self, *_: object) -> None:
        self._bar.close()
