"""A folder is replaced whole: written beside its place, then put there by two renames.

Beside OUT stands, while a run lasts, `.OUT.unfinished/` with `new/` (what is being written) and,
between the two renames, `old/` (what stood at OUT), and `.OUT.lock`, which the system lets go when
a run ends, however it ends. Whoever holds the lock first mends what a stopped run left there.
"""

import contextlib
import errno
import os
import shutil
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO, Final

from analysis.errors import OutputError

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_NEW, _OLD, _MARK = "new", "old", "about-this-folder.txt"
_OURS: Final = frozenset({_NEW, _OLD, _MARK})
_MARK_TEXT: Final = (
    "A review or a check is being written here. If none is running, it was stopped half-way.\n"
    "Run it again: it puts back what stood there before and tidies this folder away.\n"
    "If old/ is in here, it is the earlier output, whole.\n"
)
_BUSY: Final = frozenset({errno.EACCES, errno.EAGAIN, errno.EDEADLK})
_NO_ROOM: Final = frozenset({errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)})
_NOT_ALLOWED: Final = frozenset({errno.EACCES, errno.EPERM, errno.EROFS})


def replace_folder(out: Path, fill: Callable[[Path], None], check: Callable[[Path], None]) -> None:
    """Put a new folder at `out`, whole or not at all.

    Parameters
    ----------
    out : Path
        Where the folder is to be. What is there is replaced.
    fill : function
        Writes the new content into the empty folder that it is given.
    check : function
        Raises `OutputError` when a folder holds what must not be replaced. It is asked before the
        work and again when the earlier folder has been moved aside.

    Raises
    ------
    OutputError
        `out` is a file, another run is writing to it, it may not be written to, the disk is full,
        or `check` refuses. What stood at `out` still stands there, unchanged.

    """
    target = real_path(out)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with _locked(target, out):
            work = target.with_name(f".{target.name}.unfinished")
            _mend(work, target)
            refuse_file(target, out)
            check(target)
            try:
                _start(work)
                fill(work / _NEW)
                _sync_tree(work / _NEW)
                _swap(work, target, check)
            finally:
                _mend(work, target)
    except OSError as error:
        raise OutputError(_plain_line(out, error)) from error


def real_path(path: Path) -> Path:
    """A path without links; one that leads back to itself is for the writing to tell."""
    return Path(os.path.realpath(path))


def refuse_file(target: Path, out: Path) -> None:
    """Raise `OutputError` where a file stands in the place of a folder."""
    if target.exists() and not target.is_dir():
        raise OutputError(f"{out} is a file. Move it, or give another folder with --out.")


def _start(work: Path) -> None:
    work.mkdir()
    write_file(work / _MARK, _MARK_TEXT.encode())
    (work / _NEW).mkdir()


def _swap(work: Path, target: Path, check: Callable[[Path], None]) -> None:
    """Move the earlier folder aside and the new one in; on any failure the earlier one is back."""
    if target.exists():
        _rename(target, work / _OLD)
        # Somebody may have saved a file in it since the first look.
        check(work / _OLD)
    _rename(work / _NEW, target)
    _sync_folder(target.parent)


def _mend(work: Path, target: Path) -> None:
    """Bring back what a stopped run had moved aside, and tidy away what it left.

    A run stopped between the two renames: the earlier folder is put back. Stopped later: the new
    one is in place, and what is left of the earlier one goes.
    """
    if not work.exists():
        return
    _refuse_foreign_leftovers(work)
    old, new = work / _OLD, work / _NEW
    if old.exists() and (new.exists() or not target.exists()):
        if target.exists():
            raise OutputError(
                f"A run was stopped while it replaced {target}, and since then another folder was "
                f"put there. The earlier one is {old}. Move one of the two away, and run again."
            )
        _rename(old, target)
    for part in (new, old):
        if part.exists():
            shutil.rmtree(part)
    # The mark goes last: a folder without it would not be known as ours.
    (work / _MARK).unlink(missing_ok=True)
    work.rmdir()


def _refuse_foreign_leftovers(work: Path) -> None:
    names = {path.name for path in work.iterdir()} if work.is_dir() else {work.name}
    if names and (_MARK not in names or not names <= _OURS):
        raise OutputError(
            f"{work} is not left from a review or a check, or holds more than that. "
            "Move it away, or give another folder with --out."
        )


# --- one run at a time ---------------------------------------------------------------------------


@contextlib.contextmanager
def _locked(target: Path, out: Path) -> Iterator[None]:
    """Hold the lock of a folder; a second run gets a plain line at once."""
    path = target.with_name(f".{target.name}.lock")
    file = _take(path, out)
    try:
        yield
    finally:
        if sys.platform == "win32":
            # An open file cannot be removed there; another run may hold it open by then.
            file.close()
            with contextlib.suppress(PermissionError):
                path.unlink(missing_ok=True)
        else:
            path.unlink(missing_ok=True)
            file.close()


def _take(path: Path, out: Path) -> IO[bytes]:
    while True:
        file = path.open("ab")
        try:
            _lock(file)
        except OSError as error:
            file.close()
            if error.errno in _BUSY:
                raise OutputError(
                    f"Another run is writing to {out}. Wait until it is done, or give another "
                    "folder with --out."
                ) from error
            raise
        if _is_at(file, path):
            return file
        # The run before removed the file between our opening and locking it.
        file.close()


def _is_at(file: IO[bytes], path: Path) -> bool:
    """Whether an open file is still the one of that name."""
    try:
        there = path.stat()
    except FileNotFoundError:
        return False
    held = os.fstat(file.fileno())
    return (held.st_dev, held.st_ino) == (there.st_dev, there.st_ino)


def _lock(file: IO[bytes]) -> None:
    if sys.platform == "win32":
        msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
    else:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)


# --- disk ----------------------------------------------------------------------------------------


def write_file(path: Path, content: bytes) -> None:
    """Write a file that is not there yet, down to the disk."""
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _rename(source: Path, target: Path) -> None:
    source.rename(target)


def _sync_tree(folder: Path) -> None:
    for path in sorted(folder.rglob("*")):
        if path.is_dir():
            _sync_folder(path)
    _sync_folder(folder)


def _sync_folder(folder: Path) -> None:
    """Bring the names in a folder down to the disk; some systems do it on their own."""
    if sys.platform != "win32":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _plain_line(out: Path, error: OSError) -> str:
    if error.errno in _NO_ROOM:
        return f"{out} was not written: the disk is full. Make room, and run again."
    if error.errno in _NOT_ALLOWED:
        return (
            f"{out} was not written: this folder may not be changed, or a file in it is open in "
            "another program. Close it, or give another folder with --out."
        )
    return f"{out} was not written: {error.strerror or error}. Give another folder with --out."
