"""Opens the file of a logbook, and tells SQLite's failures in the words of this package.

How the file is kept: a write-ahead log, so that readers and a writer do not wait for each other; every commit
synchronised to the disk (``synchronous=FULL``), because a salon writes a few times an hour and a saved answer must
outlive a power cut; deleted content overwritten with zeros (``secure_delete``).
"""

from __future__ import annotations

import contextlib
import errno
import os
import sqlite3
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from strandgauge.errors import BadEntryError, LogbookNotWrittenError, StrandgaugeError, UnusableLogbookError
from strandgauge.logbook import schema

ENVIRONMENT_VARIABLE = "STRANDGAUGE_LOGBOOK"
WAIT_SECONDS = 10.0
"""How long a change waits for another program's."""
CHECKED_BYTES = 64_000_000
"""Logbooks up to this size are checked for damage whenever they are opened."""

_LOOKS = 20
_JUST_MADE = 5.0
"""Seconds since a file was last written, within which it may still be in the making."""
_SETTINGS = (
    f"page_size = {schema.PAGE_BYTES}",  # heeded by a file that is still empty
    "foreign_keys = ON",
    "secure_delete = ON",
    "synchronous = FULL",
)

_opening = threading.Lock()
# SQLite's locks are those of the process (POSIX): a descriptor of the file closed anywhere in it drops them all.
# SQLite minds that for connections it knows of, but not for the immutable look taken before opening.


def default_path() -> Path:
    """Return where the logbook lives: named by the environment, or else in the user's data folder."""
    named = os.environ.get(ENVIRONMENT_VARIABLE)
    if named:
        return Path(named)
    from platformdirs import user_data_path

    return user_data_path("strandgauge", appauthor=False) / "logbook.sqlite3"


def connect(path: Path, wait: float) -> sqlite3.Connection:
    """Open a logbook, made first where there is none, its tables brought to the newest version.

    Parameters
    ----------
    path : the file.
    wait : seconds to wait for another program's changes.

    Returns
    -------
    A connection in autocommit mode that any thread may use, one at a time.

    Raises
    ------
    UnusableLogbookError : no logbook, damaged, or of a newer version; the file is as it was.
    LogbookNotWrittenError : it cannot be opened or made, or another program kept it for too long.
    """
    with _opening, told(path):
        _make_file(path)
        _look_twice(path)
        connection = _opened(path, wait)
        try:
            _refuse_others(connection, path)
            for setting in _SETTINGS:
                connection.execute(f"PRAGMA {setting}").fetchall()
            _use_write_ahead_log(connection, path, wait)
            schema.upgrade(connection, schema.STEPS)
            if path.stat().st_size <= CHECKED_BYTES:
                refuse_damaged(connection, path, "quick_check")
        except BaseException:
            connection.close()
            raise
        return connection


def read_along(path: Path, wait: float) -> sqlite3.Connection:
    """Open a logbook that is open already a second time, to read beside whatever is being written."""
    with told(path):
        connection = _opened(path, wait)
        connection.execute("PRAGMA query_only = ON").fetchall()
        return connection


def _opened(path: Path, wait: float) -> sqlite3.Connection:
    address = f"{path.absolute().as_uri()}?mode=rw"
    connection = sqlite3.connect(
        address, uri=True, timeout=wait, isolation_level=None, check_same_thread=False
    )
    # A damaged file may have made text unreadable: one letter that is none must not hide the others.
    connection.text_factory = lambda stored: stored.decode("utf-8", "replace")
    return connection


def refuse_damaged(connection: sqlite3.Connection, path: Path, check: str = "integrity_check") -> None:
    """Raise UnusableLogbookError where SQLite finds the file inconsistent.

    Parameters
    ----------
    check : ``integrity_check``, or the faster ``quick_check`` that leaves out the indexes.
    """
    found = [row[0] for row in connection.execute(f"PRAGMA {check}(1)").fetchall()]
    if check == "integrity_check":
        found += connection.execute("PRAGMA foreign_key_check").fetchall()  # what refers to nothing
    if found != ["ok"]:
        raise UnusableLogbookError(where=str(path), fault="damaged")


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn whatever SQLite or the system says about a logbook into an error of the family."""
    try:
        yield
    except sqlite3.Error as error:
        translated = _translate(error, path)
        if translated is None:
            raise
        raise translated from error
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise LogbookNotWrittenError(where=str(path), fault="full") from error
        raise LogbookNotWrittenError(where=str(path), fault="unopened", reason=reason) from error


def may_pass(error: sqlite3.Error) -> bool:
    """Tell whether an error is one of the moment (busy, full, not permitted) and not of the file or the code."""
    return isinstance(_translate(error, Path()), LogbookNotWrittenError)


def _translate(error: sqlite3.Error, path: Path) -> StrandgaugeError | None:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    where = str(path)
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return LogbookNotWrittenError(where=where, fault="busy")
    if code == sqlite3.SQLITE_FULL:
        return LogbookNotWrittenError(where=where, fault="full")
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return LogbookNotWrittenError(where=where, fault="not-allowed")
    if code in (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_PROTOCOL):
        return LogbookNotWrittenError(where=where, fault="disk")
    if code == sqlite3.SQLITE_NOTADB:
        return UnusableLogbookError(where=where, fault="not-ours")
    if code == sqlite3.SQLITE_CORRUPT or str(error).startswith(("no such table", "no such column")):
        return UnusableLogbookError(where=where, fault="damaged")
    if code == sqlite3.SQLITE_TOOBIG:
        return BadEntryError(fault="too-large")
    return None


def _make_file(path: Path) -> None:
    """Make an empty file that only its user may read, in a folder likewise, where there is none."""
    if path.exists():
        if not path.is_file():
            raise UnusableLogbookError(where=str(path), fault="not-ours")
        return
    if path.is_symlink():
        raise UnusableLogbookError(where=str(path), fault="link")
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with contextlib.suppress(FileExistsError):  # another process was faster
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))


def _look_twice(path: Path) -> None:
    """Look again at a file that is being made: another program may be in the midst of it."""
    for _ in range(_LOOKS - 1):
        with contextlib.suppress(UnusableLogbookError):
            return _look_without_touching(path)
        if time.time() - path.stat().st_mtime > _JUST_MADE:
            break
        time.sleep(0.05)
    return _look_without_touching(path)


def _look_without_touching(path: Path) -> None:
    """Refuse a file that is not for this program before SQLite opens it for writing."""
    beside = [path.with_name(path.name + ending) for ending in ("-wal", "-journal")]
    # With a log beside it the file alone does not tell; without one nothing need be made to read it.
    mode = "mode=ro" if any(file.exists() for file in beside) else "mode=ro&immutable=1"
    connection = sqlite3.connect(f"{path.absolute().as_uri()}?{mode}", uri=True, isolation_level=None)
    try:
        _refuse_others(connection, path)
    except sqlite3.OperationalError as error:
        # A journal left by a killed program is rolled back by the opening that follows, which looks again.
        if error.sqlite_errorcode & 0xFF not in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN):
            raise
    finally:
        connection.close()


def _refuse_others(connection: sqlite3.Connection, path: Path) -> None:
    if not schema.belongs_to_us(connection):
        raise UnusableLogbookError(where=str(path), fault="not-ours")
    version = schema.version_of(connection)
    if version > len(schema.STEPS):
        raise UnusableLogbookError(where=str(path), fault="newer", version=version, known=len(schema.STEPS))


def _use_write_ahead_log(connection: sqlite3.Connection, path: Path, wait: float) -> None:
    """Switch to the write-ahead log; SQLite does not wait by itself for others that do the same."""
    deadline = time.monotonic() + wait
    while True:
        try:
            ((mode,),) = connection.execute("PRAGMA journal_mode = WAL").fetchall()
        except sqlite3.OperationalError as error:
            busy = error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY
            if not busy or time.monotonic() > deadline:
                raise
            time.sleep(0.02)
            continue
        if mode != "wal":
            raise LogbookNotWrittenError(where=str(path), fault="kind-of-disk")
        return
