"""The commands: what a person types, one plain line when it cannot be done, and the exit status.

0: done. 1: done, with rejected rows (or doubtful ones, where `--strict doubtful` asks). 2: could
not be done; one line says why and what to do. Heavy libraries are imported inside the commands, so
that `--help` comes at once.
"""

import argparse
import io
import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.arguments import FAILED, build_parser
from analysis.errors import WorkbookError

if TYPE_CHECKING:
    from analysis.records.model import Records
    from analysis.report.results import Review
    from analysis.second_process import Helper

DONE, WITH_FINDINGS = 0, 1
# The check prints this many findings of a rule; all of them are in record_findings.csv.
SHOWN_PER_RULE = 5
# Steps of a long command, for the progress bar; the last one closes it whatever the count.
_STEPS = 20


def main(arguments: Sequence[str] | None = None, *, two_processes: bool = False) -> int:
    """Run one command; returns the exit status.

    `two_processes` lets a long command start a second process, with the same result.
    """
    for stream in (sys.stdout, sys.stderr):
        # A letter that the screen does not know is written out, and stops nothing.
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    parser = _build_parser()
    asked = parser.parse_args(arguments)
    asked.two_processes = two_processes
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
    return build_parser(
        {
            "template": _template,
            "check": _check,
            "review": _review,
            "quote": _quote,
            "layout": _layout,
            "kit": _kit,
            "decide": _decide,
        }
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
    from analysis.second_process import ALONE, SecondProcess

    if not asked.two_processes:
        return _reviewed(asked, ALONE)
    with SecondProcess("analysis.review", "analysis.report.workbook") as helper:
        return _reviewed(asked, helper)


def _reviewed(asked: argparse.Namespace, helper: "Helper") -> int:
    from analysis.records.read import read_records
    from analysis.report.folder import default_out, refuse_review_folder, write_review
    from analysis.report.letters import with_letters
    from analysis.report.page import render_page
    from analysis.report.workbook import workbook_bytes
    from analysis.review import chosen_quarter, review_records

    with _Progress() as progress:
        records = read_records(asked.folder, progress=progress)
        out = asked.out or default_out(asked.folder, chosen_quarter(records, asked.quarter))
        # Before the work: what stands there may be a price sheet that was filled in.
        refuse_review_folder(out, records, asked.folder)
        progress("costing the jobs")
        review = review_records(records, asked.quarter, progress, helper)
        if asked.installers_as_letters:
            review = with_letters(review)
        workbook = helper.ask(workbook_bytes, review)
        progress("drawing the report")
        page = render_page(review)
        write_review(review, page, out, asked.folder, progress, workbook=workbook)
    from analysis.report.sentences import answers

    _say(review.quarter.spelled)
    if asked.quarter is None:
        _say_if_later(review)
    told = answers(review)
    for answer in told:
        # What is missing for an answer stands behind its line.
        rest = "" if answer.is_known or not answer.detail else f" {answer.detail}"
        _say(f"- {answer.question} {answer.line}{rest}")
    # Results often want the same thing, and the answers may have asked for it already.
    said = {answer.line for answer in told}
    for line in dict.fromkeys(each.line for each in review.unavailable()):
        if line not in said:
            _say(f"- Not computed: {line}")
    _say(_findings_line(review.records))
    _say(f"\nThe report: {out / 'index.html'}")
    return _status(review.records, asked.strict)


def _quote(asked: argparse.Namespace) -> int:
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
        _say_object(found)
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
        out = asked.out or default_layout_out(asked.folder, wanted)
        write_page(layout_page(plan.films, settings, plan.what), out, asked.folder)
    for line in layout_lines(plan.films, settings):
        _say(line)
    _say(f"\nThe picture, to print and cut from: {out}")
    return DONE


def _kit(asked: argparse.Namespace) -> int:
    from analysis.kit_order import KitRequest, default_kit_out, prepare_kit
    from analysis.report.kit_sheet import kit_page
    from analysis.report.kit_text import kit_lines, kit_object
    from analysis.report.layout_picture import write_page

    names = ("service", "vehicle_class", "make", "model", "film")
    wanted = KitRequest(**{name: getattr(asked, name) for name in names})
    with _Progress() as progress:
        plan = prepare_kit(asked.folder, wanted, progress)
        settings = plan.records.settings
        # Whoever asks for an object alone gets no file beside it.
        out = asked.out or (None if asked.json else default_kit_out(asked.folder, plan.kit))
        if out is not None:
            progress("drawing the sheet")
            write_page(kit_page(plan.kit, settings, plan.day), out, asked.folder)
    findings = _findings_line(plan.records).removeprefix("- ")
    status = _status(plan.records, "rejected")
    if asked.json:
        found = kit_object(plan.kit, settings, plan.day, (*plan.questions, *plan.notes), out)
        _say_object(found)
        if status == WITH_FINDINGS:
            _complain(findings)
        return status
    for line in kit_lines(plan.kit, settings, plan.notes, plan.questions):
        _say(line)
    _say(findings)
    _say(f"\nThe sheet, to print and hand over: {out}")
    return status


def _decide(asked: argparse.Namespace) -> int:
    from analysis.records.append import NotAppended
    from analysis.records.read import read_records
    from analysis.report.deciding import decide

    with _Progress() as progress:
        records = read_records(asked.folder, progress=progress)
        progress("reading the price sheet")
        try:
            decided = decide(
                asked.folder,
                records,
                asked.sheet,
                asked.on,
                far=asked.far,
                write=not asked.dry_run,
            )
        except NotAppended as error:
            for line in error.rows:
                _say(line)
            raise
    for line in decided.lines:
        (_say if decided.is_done else _complain)(line)
    if not decided.is_done:
        return _fail(decided.failure)
    return DONE


def _say_if_later(review: "Review") -> None:
    """Name a later quarter that has work and was not taken because it is not over."""
    from analysis.periods import quarter_of
    from analysis.records.model import working_days

    newest = working_days(review.records).max()
    if newest > review.quarter.last_day:
        label = quarter_of(newest, review.settings.fiscal_year_starts).label
        _say(f"Later work, up to {newest:%Y-%m-%d}, is not in it: --quarter {label} reviews that.")


def _status(records: "Records", strict: str) -> int:
    levels = {"rejected"} if strict == "rejected" else {"rejected", "doubtful"}
    return WITH_FINDINGS if records.findings["severity"].isin(levels).any() else DONE


def _print_counts(records: "Records") -> None:
    sources = [source for source in records.sources if source.table]
    filled = [source for source in sources if source.rows_read]
    if filled:
        _say(f"{'table':<15}{'read':>9}{'used':>9}{'rejected':>10}   file")
    for source in filled:
        _say(
            f"{source.table:<15}{source.rows_read:>9}{source.rows_used:>9}"
            f"{source.rows_rejected:>10}   {source.file}"
        )
    if empty := [source.table for source in sources if not source.rows_read]:
        _say(f"without rows: {', '.join(empty)}")
    if not filled:
        _say("Nothing is filled in yet: begin with jobs and purchases.")


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


def _say_object(found: object) -> None:
    """Print one JSON object, in ASCII where the output takes no more."""
    import json

    is_full = (sys.stdout.encoding or "").lower().startswith("utf")
    _say(json.dumps(found, ensure_ascii=not is_full, allow_nan=False, indent=2))


def _complain(text: str) -> None:
    sys.stderr.write(text + "\n")


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
