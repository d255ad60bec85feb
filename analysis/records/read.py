"""The way in: a records folder becomes checked records."""

from pathlib import Path

import pandas as pd

from analysis.errors import RecordsError, SettingsError
from analysis.record_tables import RECORD_TABLES
from analysis.records.check import Checked, Progress, check_tables, findings_frame, note_rows
from analysis.records.delimited import Note
from analysis.records.file_rules import NO_SETTINGS
from analysis.records.files import RawFolder, read_raw_folder, refuse_no_file
from analysis.records.model import Records, Source
from analysis.settings import FILE_NAME, Settings, parse_settings

_LARGEST_SETTINGS = 2**20  # bytes


def read_settings(folder: Path) -> Settings:
    """Give the settings of a records folder; all defaults where it has no `shop.toml`.

    Raises
    ------
    RecordsError
        There is no such folder.
    SettingsError
        The file cannot be read, or holds a key or value that it must not hold.

    """
    path = _settings_file(folder)
    if path is None:
        return Settings()
    try:
        data = path.read_bytes()
    except OSError as error:
        raise SettingsError(
            f"{path.name} cannot be read ({error.strerror}). See that you may read it."
        ) from error
    if len(data) > _LARGEST_SETTINGS:
        raise SettingsError(f"{path.name} is over 1 MB, too large for settings. Replace it.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise SettingsError(
            f"{path.name}, line {line}: a letter is not UTF-8. Save the file as UTF-8."
        ) from error
    return parse_settings(text)


def read_records(
    folder: Path | str, settings: Settings | None = None, progress: Progress | None = None
) -> Records:
    """Read and check a shop's records.

    Parameters
    ----------
    folder : Path or str
        The records folder: `shop.toml` and one file (or sheet) a table.
    settings : Settings, optional
        Used instead of the folder's own settings.
    progress : callable, optional
        Called with one line before each file and each step.

    Returns
    -------
    Records
        Rows that cannot be used are left out, told in `findings` and kept in `rejected`.

    Raises
    ------
    RecordsError
        The records as a whole cannot be read: one line with what, where, and what to do.
    SettingsError
        `shop.toml` holds what it must not hold.

    """
    folder = Path(folder)
    settings = read_settings(folder) if settings is None else settings
    required = [name for name, table in RECORD_TABLES.items() if table.required]
    raw = read_raw_folder(folder, list(RECORD_TABLES), required, progress)
    checked = check_tables(raw.tables, settings, progress)
    findings = [_folder_findings(raw), checked.findings]
    return Records(
        tables=checked.tables,
        findings=pd.concat(findings, ignore_index=True),
        rejected=checked.rejected,
        sources=_sources(raw, checked),
        present=frozenset(raw.tables),
        settings=settings,
    )


def _settings_file(folder: Path) -> Path | None:
    try:
        paths = sorted(folder.iterdir())
    except OSError as error:
        raise RecordsError(
            f"The folder {folder} cannot be opened: {error.strerror}. Check the path."
        ) from error
    named = [path for path in paths if path.name.casefold() == FILE_NAME]
    for path in named:
        refuse_no_file(path)
    if len(named) > 1:
        raise SettingsError(f"There are {' and '.join(each.name for each in named)}. Keep one.")
    return named[0] if named else None


def _folder_findings(raw: RawFolder) -> pd.DataFrame:
    notes = list(raw.notes)
    if not any(source.file.casefold() == FILE_NAME for source in raw.sources):
        problem = f"there is no {FILE_NAME}, so every setting has its default"
        code, severity = NO_SETTINGS.code, NO_SETTINGS.severity
        note = Note(None, "", "", code, severity, problem, NO_SETTINGS.remedy, FILE_NAME)
        notes.insert(0, note)
    return findings_frame(note_rows(notes, "", ""))


def _sources(raw: RawFolder, checked: Checked) -> tuple[Source, ...]:
    """One source a table, after the settings; the tables of one workbook share its hash."""
    hashes = {source.file: source.sha256 for source in raw.sources}
    sources = [
        Source("", file, digest, 0, 0, 0)
        for file, digest in hashes.items()
        if file.casefold() == FILE_NAME
    ]
    for name, count in checked.counts.items():
        file = raw.tables[name].file
        digest = next(
            hashes[each] for each in hashes if file == each or file.startswith(f"{each},")
        )
        sources.append(Source(name, file, digest, count.read, count.used, count.rejected))
    return tuple(sources)
