"""The review's folder: every result as a file, written whole or not at all.

Only this module puts results on disk. `manifest.json` lists what was written, with hashes, so that
the next run knows its own files and never touches another's. Neither a clock time nor the path of a
machine stands in any file: two runs on the same records and the same version give the same bytes.
"""

import contextlib
import hashlib
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import Any, Final

import pandas as pd

import analysis
from analysis.errors import OutputError, Unavailable
from analysis.periods import Quarter
from analysis.records.model import FINDING_COLUMNS, Records
from analysis.report.edge import csv_text, to_edge
from analysis.report.replace import real_path, refuse_file, replace_folder, write_file
from analysis.report.results import YEAR_SUFFIX, Review
from analysis.report.workbook import workbook_bytes
from analysis.result_tables import RESULT_TABLES
from analysis.safe_text import csv_cells, name_on_one_line
from analysis.settings import Settings

MANIFEST: Final = "manifest.json"
TABLES, REJECTED = "tables", "rejected"
_WORKBOOK: Final = "review.xlsx"
REVIEW, CHECK = "review", "check"
# Made by file managers in any folder that they show; no work of a person. They are kept.
_LITTER: Final = frozenset({".DS_Store", "Thumbs.db", "desktop.ini"})
_OPEN_MARKS: Final = ("~$", ".~lock.")  # what spreadsheet programs put beside a file they hold open
_UTF8_MARK: Final = "\ufeff"

# Called with one line before each step.
Progress = Callable[[str], None]
_Content = str | Callable[[], bytes]


def default_out(folder: Path, quarter: Quarter) -> Path:
    """Where a review goes unless told otherwise: `review-2026Q3`, beside the records folder.

    `my-shop-review-2026Q3` where the review of other records stands there already.
    """
    return _place(folder, f"review-{quarter.label}")


def default_check_out(folder: Path) -> Path:
    """Where a check goes unless told otherwise, as for a review: `record-check`."""
    return _place(folder, "record-check")


def _place(folder: Path, name: str) -> Path:
    """That name beside the records; the records' own before it where another shop's output is."""
    place = beside(folder) / name
    try:
        earlier = json.loads((place / MANIFEST).read_text(encoding="utf-8")).get("records")
    except (OSError, ValueError, AttributeError):
        return place  # nothing of ours: what it is, the writing says
    own = records_name(folder)
    return place if earlier in (None, own) else place.with_name(f"{own}-{name}")


def records_name(folder: Path) -> str:
    """The name of a records folder as the manifest has it."""
    return name_on_one_line(real_path(folder).name)


def beside(folder: Path) -> Path:
    """The folder that a records folder lies in: where results go unless told otherwise."""
    return folder.parent if folder.name not in ("", "..") else real_path(folder).parent


def write_review(
    review: Review,
    page_html: str,
    out: Path,
    records_folder: Path | None = None,
    progress: Progress | None = None,
    *,
    workbook: Callable[[], bytes] | None = None,
    seed: int | None = None,
) -> None:
    """Write everything that a review gives into `out`, whole or not at all.

    `index.html`, `review.xlsx`, `tables/NAME.csv` and `tables/NAME_year.csv`,
    `record_findings.csv`, `rejected/TABLE.csv` and `manifest.json`. The manifest holds no clock
    time and no path of this machine, so that two runs on the same records give the same bytes.

    Parameters
    ----------
    review : Review
        What was found.
    page_html : str
        The text of `index.html`.
    out : Path
        The folder; made with its parents if it is not there.
    records_folder : Path or None
        The folder that the records were read from, in which nothing is ever written. None: it is
        known by its files alone, as `_refuse_inside_records` says.
    progress : function or None
        Called with one line before each step.
    workbook : function or None
        Gives the bytes of `review.xlsx`, where they are made elsewhere meanwhile.
    seed : int or None
        The seed of whatever was drawn at random, for the manifest.

    Raises
    ------
    OutputError
        `out` lies inside the records, is a file, holds a file that is not from an earlier review
        or was changed since, is being written by another run, or cannot be written. What stood
        there still stands there.

    """
    contents: dict[str, _Content] = {
        "index.html": page_html,
        _WORKBOOK: workbook or partial(workbook_bytes, review),
        **_tables(review),
        **_record_files(review.records),
    }
    facts = _facts(REVIEW, review.records, review.settings)
    facts["quarter"] = review.quarter.label
    if records_folder is not None:
        facts["records"] = records_name(records_folder)
    facts["not_computed"] = _not_computed(review)
    if seed is not None:
        facts["seed"] = seed
    _write(out, review.records, records_folder, facts, contents, progress)


def refuse_review_folder(out: Path, records: Records, records_folder: Path) -> None:
    """Raise the `OutputError` that `write_review` would, before any work is done.

    What only shows when it is tried (another run, a full disk) is left to `write_review`.
    """
    facts = {"command": REVIEW, "records": records_name(records_folder)}
    target = real_path(out)
    with contextlib.suppress(OSError):
        _refuse_inside_records(out, records, records_folder)
        refuse_file(target, out)
        _refuse_changed(target, out, facts)


def write_check(records: Records, out: Path, records_folder: Path | None = None) -> None:
    """Write what the check says into `out`, whole or not at all.

    `record_findings.csv`, `rejected/TABLE.csv` and `manifest.json`; the same rules as for a review.

    Raises
    ------
    OutputError
        As for `write_review`.

    """
    facts = _facts(CHECK, records, records.settings)
    if records_folder is not None:
        facts["records"] = records_name(records_folder)
    _write(out, records, records_folder, facts, _record_files(records), None)


# --- what is written -----------------------------------------------------------------------------


def _tables(review: Review) -> dict[str, _Content]:
    """The CSV files of the quarter and of the trailing year, by their path in the folder."""
    texts: dict[str, _Content] = {}
    for name, table in RESULT_TABLES.items():
        for suffix, found in (("", review.results), (YEAR_SUFFIX, review.year)):
            frame = found.get(name)
            if isinstance(frame, pd.DataFrame):
                text = csv_text(to_edge(frame, table, review.settings), table)
                texts[f"{TABLES}/{name}{suffix}.csv"] = text
    return texts


def _record_files(records: Records) -> dict[str, _Content]:
    findings = records.findings.reindex(columns=list(FINDING_COLUMNS))
    columns = {
        name: findings[name].astype("Int64") if name == "row" else csv_cells(findings[name])
        for name in FINDING_COLUMNS
    }
    text: str = pd.DataFrame(columns).to_csv(index=False, lineterminator="\n")
    texts: dict[str, _Content] = {"record_findings.csv": text}
    for table, rows in sorted(records.rejected.items()):
        texts[f"{REJECTED}/{table}.csv"] = _for_mending(rows)
    return texts


def _for_mending(text: str) -> str:
    """Text to open in a spreadsheet, which needs a mark to read letters beyond ASCII."""
    return text if text.isascii() or text.startswith(_UTF8_MARK) else _UTF8_MARK + text


def _facts(command: str, records: Records, settings: Settings) -> dict[str, Any]:
    sources = records.sources
    return {
        "command": command,
        # The package may still be starting up when this module is read, hence so late.
        "version": getattr(analysis, "__version__", "unknown"),
        "settings": asdict(settings),
        # The sheets of one workbook are one file.
        "files_read": {_file_of(source.file): source.sha256 for source in sources},
        "tables": {
            source.table: {
                "file": Path(source.file).name,
                "rows_read": source.rows_read,
                "rows_used": source.rows_used,
                "rows_rejected": source.rows_rejected,
            }
            for source in sources
            if source.table
        },
    }


def _file_of(place: str) -> str:
    """The file's name of `jobs.csv`, or of `records.xlsx, sheet jobs`."""
    return Path(place.partition(", sheet ")[0]).name


def _not_computed(review: Review) -> list[dict[str, Any]]:
    label = review.quarter.label
    return [
        {
            "result": result.result,
            "period": period,
            "missing": list(result.missing),
            "line": result.line,
        }
        for period, found in ((label, review.results), (f"year to {label}", review.year))
        for result in found.values()
        if isinstance(result, Unavailable)
    ]


def _write(
    out: Path,
    records: Records,
    records_folder: Path | None,
    facts: Mapping[str, Any],
    contents: Mapping[str, _Content],
    progress: Progress | None,
) -> None:
    _refuse_inside_records(out, records, records_folder)
    say = progress or (lambda _: None)

    def fill(folder: Path) -> None:
        hashes = {}
        for name in sorted(contents):
            found = contents[name]
            if not isinstance(found, str):
                say(f"making {name}")
            content = found.encode() if isinstance(found, str) else found()
            (folder / name).parent.mkdir(exist_ok=True)
            write_file(folder / name, content)
            hashes[name] = hashlib.sha256(content).hexdigest()
        write_file(folder / MANIFEST, _manifest_text({**facts, "files_written": hashes}).encode())
        _keep_litter(out, folder)
        say(f"putting {out.name} in place")

    replace_folder(out, fill, lambda folder: _refuse_changed(folder, out, facts))


def _manifest_text(facts: Mapping[str, Any]) -> str:
    """The manifest, sealed: with the hash of the rest of it, so that a change by hand shows."""
    seal = hashlib.sha256(_canonical(facts).encode()).hexdigest()
    return _canonical({**facts, "seal": seal})


def _canonical(facts: Mapping[str, Any]) -> str:
    return json.dumps(facts, indent=2, sort_keys=True, ensure_ascii=False) + "\n"


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _keep_litter(out: Path, folder: Path) -> None:
    for name in sorted(_LITTER):
        if (out / name).is_file():
            write_file(folder / name, (out / name).read_bytes())


# --- what is refused -----------------------------------------------------------------------------


def _refuse_inside_records(out: Path, records: Records, records_folder: Path | None) -> None:
    """Refuse the records folder and all under it.

    Whether it is named or not, a folder that holds a file we read, unchanged, is one too: a copy
    of the records, or the same folder by another way.
    """
    target = real_path(out)
    named = real_path(records_folder) if records_folder else None
    for folder in (target, *target.parents):
        if folder == named or _holds_a_source(folder, records):
            raise OutputError(
                f"{out} lies in the records folder {folder}, which is only read. "
                "Give a folder outside it with --out."
            )


def _holds_a_source(folder: Path, records: Records) -> bool:
    # Settings are no sign: two shops may well have the same.
    files = {(Path(each.file).name, each.sha256) for each in records.sources if each.table}
    return any(_is_readable_copy(folder / name, sha256) for name, sha256 in files)


def _is_readable_copy(path: Path, sha256: str) -> bool:
    try:
        return path.is_file() and _sha256(path) == sha256
    except OSError:
        # We read the records a moment ago, so a file that we cannot read is none of them.
        return False


def _refuse_changed(folder: Path, out: Path, facts: Mapping[str, Any]) -> None:
    """Refuse a folder that holds anything but an earlier output of the same kind, unchanged."""
    if not folder.exists():
        return
    found = sorted(path for path in folder.rglob("*") if path.name not in _LITTER)
    _refuse_open(found, out)
    if not found:
        return
    manifest = _read_manifest(folder, out)
    if manifest is None:
        raise OutputError(_foreign(out, found[0].relative_to(folder).as_posix()))
    if manifest["command"] != facts["command"]:
        raise OutputError(
            f"{out} holds a {manifest['command']}, and this is a {facts['command']}. "
            "Give another folder with --out."
        )
    earlier = manifest.get("records", facts.get("records"))
    if earlier != facts.get("records", earlier):
        raise OutputError(
            f"{out} holds the {facts['command']} of '{earlier}', and this is of "
            f"'{facts['records']}'. Give another folder with --out."
        )
    for path in found:
        _refuse_file(path, path.relative_to(folder).as_posix(), out, manifest["files_written"])


def _refuse_open(found: Sequence[Path], out: Path) -> None:
    for path in found:
        if path.name.startswith(_OPEN_MARKS):
            raise OutputError(
                f"A file in {out} is open in a spreadsheet program: {path.name} says so. Close it "
                f"there, and run again. If it is not open, remove {path.name}."
            )


def _refuse_file(path: Path, name: str, out: Path, written: Mapping[str, str]) -> None:
    """Refuse a file (or a folder) of an earlier output that is not ours as we wrote it."""
    if path.is_dir() and not path.is_symlink():
        if name not in (TABLES, REJECTED):
            raise OutputError(_foreign(out, name))
    elif name != MANIFEST:
        if name not in written:
            raise OutputError(_foreign(out, name))
        if path.is_symlink() or not path.is_file() or _sha256(path) != written[name]:
            raise OutputError(_changed(out, name))


def _read_manifest(folder: Path, out: Path) -> dict[str, Any] | None:
    """The manifest of an earlier run; None where there is none that we could have written."""
    path = folder / MANIFEST
    if path.is_symlink() or not path.is_file():
        return None
    try:
        facts = json.loads(path.read_bytes())
    except (ValueError, RecursionError):
        return None
    if not isinstance(facts, dict) or not {"command", "files_written", "seal"} <= set(facts):
        return None
    rest = {name: value for name, value in facts.items() if name != "seal"}
    if path.read_bytes() != _manifest_text(rest).encode():
        raise OutputError(_changed(out, MANIFEST))
    return facts


def _foreign(out: Path, name: str) -> str:
    return (
        f"{out} holds {name}, which was not written by an earlier run, so nothing there is "
        "replaced. Move it away, or give another folder with --out."
    )


def _changed(out: Path, name: str) -> str:
    if name == _WORKBOOK:
        return (
            f"{out / name} was changed after it was written: prices may be filled in there. Run "
            "decide first, which puts them into your records. Move it out of that folder then (or "
            "give another folder with --out), and run again."
        )
    return (
        f"{out / name} was changed after it was written, and there may be work in it. Move it "
        "out of that folder (or give another folder with --out), and run again."
    )
