"""What only the costing can see in the records: told like every other finding of the check."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any, Final

import pandas as pd

from analysis.costing.cuts import FROM_JOB_SHEET, FROM_LOG, FROM_SALE
from analysis.costing.jobs import Costing
from analysis.locale_text import counted
from analysis.records.film_rules import in_area
from analysis.records.model import DOUBTFUL, FINDING_COLUMNS, Records
from analysis.records.rule import Rule, look_up

OFFCUT_MISSING: Final = Rule(
    "offcut-not-on-shelf",
    DOUBTFUL,
    "A cut from an offcut, where the books hold no such offcut (or not enough of it); what lacks "
    "is costed from the rolls.",
    "Look whether the offcut was put down when it was kept (kept_width and kept_length), and "
    "whether its life is over.",
)
MORE_THAN_STOCK: Final = Rule(
    "more-cut-than-stock",
    DOUBTFUL,
    "More of a film cut than the books hold (told once a film); what lacks is costed at the "
    "newest price, and the next purchase repays it.",
    "Look for an invoice that is missing, or count the film once: a count puts the books right.",
)
NO_SHEET_WIDTH: Final = Rule(
    "sheet-without-width",
    DOUBTFUL,
    "A pulled length on a job sheet without a roll width, where the film's purchases do not share "
    "one; the job's film and margins stay blank.",
    "Fill in roll_width.",
)
NO_FILM_NAME: Final = Rule(
    "pull-without-film",
    DOUBTFUL,
    "A pulled length on a job sheet that names no film; its film has no price, so the job's film "
    "cost and margins stay blank.",
    "Fill in film.",
)
HOURS_MISSING: Final = Rule(
    "finished-without-hours",
    DOUBTFUL,
    "A finished job line for which nobody wrote hours down; its labour and margins stay blank, and "
    "so do the sums that they add to.",
    "Fill in hours on the job sheet, or the time log.",
)
FILM_MISSING: Final = Rule(
    "finished-without-film",
    DOUBTFUL,
    "A finished job line that names a film and has no cut and no pulled length; its film cost and "
    "margins stay blank, and so do the sums that they add to.",
    "Write down the cut or the pulled length; leave film blank where the job takes none.",
)
DOUBTS: Final = {
    rule.code: rule
    for rule in (
        OFFCUT_MISSING,
        MORE_THAN_STOCK,
        NO_SHEET_WIDTH,
        NO_FILM_NAME,
        HOURS_MISSING,
        FILM_MISSING,
    )
}
# Less than a hand's breadth of film is a matter of measuring, not of the records. [m²]
_WORTH_TELLING: Final = 0.01
_TABLES: Final = {FROM_LOG: "cuts", FROM_SALE: "counter_sales", FROM_JOB_SHEET: "jobs"}


def with_costing_doubts(records: Records, costing: Costing) -> Records:
    """The records with the costing's own doubts added to their findings."""
    rows = list(_doubts(records, costing))
    if not rows:
        return records
    more = pd.DataFrame(rows, columns=list(FINDING_COLUMNS)).astype(records.findings.dtypes)
    return replace(records, findings=pd.concat([records.findings, more], ignore_index=True))


def _doubts(records: Records, costing: Costing) -> Iterator[dict[str, Any]]:
    pulls, settings = costing.shelf.pulls, records.settings
    lacking = pulls[pulls["offcut_lacking_m2"] > _WORTH_TELLING]
    for pull in _rows(lacking):
        short = in_area(pull["offcut_lacking_m2"], settings)
        problem = f"the shelf of {pull['film']} offcuts lacked {short} of what was taken from it"
        yield _finding(records, OFFCUT_MISSING, "cuts", pull["row"], "source", "offcut", problem)
    yield from _short(records, costing)
    for pull in _rows(pulls[pulls["pulled_m2"].isna()]):
        table = _TABLES[pull["pulled_from"]]
        problem = "the pulled length has no width, so the film used is unknown"
        yield _finding(records, NO_SHEET_WIDTH, table, pull["row"], "roll_width", "", problem)
    for pull in _rows(pulls[pulls["film"].isna()]):
        table = _TABLES[pull["pulled_from"]]
        problem = "film was pulled and no film is named"
        yield _finding(records, NO_FILM_NAME, table, pull["row"], "film", "", problem)
    yield from _unwritten(records, costing.lines)


def _short(records: Records, costing: Costing) -> Iterator[dict[str, Any]]:
    """One doubt a film that was bought and of which more was cut than there was."""
    lines = costing.purchase_lines
    first = lines[lines["kind"] == "film"].groupby("item")["received_on"].min()
    pulls = costing.shelf.pulls
    short = pulls[
        (pulls["short_m2"] > _WORTH_TELLING) & (pulls["cut_on"] >= look_up(pulls["film"], first))
    ]
    for film, rows in short.groupby("film"):
        one = rows.iloc[0]
        area = in_area(rows["short_m2"].sum(), records.settings)
        count = counted(len(rows), "cut")
        problem = f"{count} of {film} from here on took {area} more than the books held"
        table = _TABLES[one["pulled_from"]]
        yield _finding(records, MORE_THAN_STOCK, table, one["row"], "film", str(film), problem)


def _unwritten(records: Records, lines: pd.DataFrame) -> Iterator[dict[str, Any]]:
    """Finished lines without hours, or without the film that they name."""
    finished = lines[lines["finished"]]
    for job in _rows(finished[finished["actual_hours"].isna()]):
        problem = f"no hours are written down for job {job['job_id']}, line {job['line']}"
        yield _finding(records, HOURS_MISSING, "jobs", job["row"], "hours", "", problem)
    if records.has("cuts") or finished["pulled_length_m"].notna().any():
        unknown = finished["consumed_area_m2"].isna() & finished["pulled_length_m"].isna()
        unknown &= finished["film"].notna()
        for job in _rows(finished[unknown]):
            name, film = f"job {job['job_id']}, line {job['line']}", str(job["film"])
            problem = f"{name} names a film and no film was pulled"
            yield _finding(records, FILM_MISSING, "jobs", job["row"], "film", film, problem)


def _rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    return [{str(key): value for key, value in row.items()} for row in frame.to_dict("records")]


def _finding(
    records: Records, rule: Rule, table: str, row: Any, column: str, value: str, problem: str
) -> dict[str, Any]:
    files = {source.table: source.file for source in records.sources}
    return {
        "table": table,
        "file": files.get(table, table),
        "row": int(row),
        "column": column,
        "value": value,
        "rule": rule.code,
        "severity": rule.severity,
        "problem": problem,
        "remedy": rule.remedy,
    }
