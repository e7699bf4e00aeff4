"""In which file is the index kept, and can it be trusted?

One SQLite database, made anew from the job folders whenever it is damaged or of an older version: it is never the only
copy of anything. Which folders to look in is remembered in a plain file beside it, which outlives it. Two programs may
use both at once: readers do not wait for a writer (write-ahead log), a writer waits for the other.
"""

import contextlib
import json
import os
import sqlite3
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Final

from analyzer.errors import RecordError
from analyzer.user_data import DATA_VARIABLE, data_folder

SCHEMA_VERSION: Final = 1
APPLICATION_ID: Final = 0x45564E42  # "EVNB": no other program's database is taken for ours
BUSY_SECONDS: Final = 20.0  # chosen: a job is written in milliseconds; a whole rebuild lets others in between jobs

_SCHEMA: Final = """
CREATE TABLE job (
    id INTEGER PRIMARY KEY,
    folder TEXT NOT NULL UNIQUE,
    name TEXT NOT NULL,
    customer TEXT,
    folded_customer TEXT,
    method TEXT NOT NULL,
    seen TEXT NOT NULL
) STRICT;
CREATE TABLE zone (
    id INTEGER PRIMARY KEY,
    job INTEGER NOT NULL REFERENCES job (id) ON DELETE CASCADE,
    path TEXT NOT NULL,
    stage TEXT NOT NULL,
    light TEXT,
    species TEXT NOT NULL,
    treatment TEXT NOT NULL,
    stain TEXT,
    L REAL NOT NULL,
    a REAL NOT NULL,
    b REAL NOT NULL,
    lab_u95 TEXT,
    blotch REAL,
    blotch_u95 REAL,
    figure REAL,
    area_mm2 REAL NOT NULL,
    verdict TEXT,
    colour TEXT,
    evenness TEXT,
    is_approved INTEGER NOT NULL,
    date TEXT NOT NULL,
    date_from TEXT NOT NULL,
    recipe TEXT NOT NULL,
    folded_light TEXT,
    folded_species TEXT NOT NULL,
    folded_treatment TEXT NOT NULL,
    folded_stain TEXT,
    said TEXT NOT NULL
) STRICT;
CREATE INDEX zone_job ON zone (job);
CREATE INDEX zone_colour ON zone (L, a, b);
CREATE INDEX zone_date ON zone (date);
"""


def index_path(path: Path | None = None) -> Path:
    """Where the index lies: as named, else in the user's data folder."""
    return Path(path) if path is not None else data_folder() / "record" / "index.sqlite"


def open_database(path: Path) -> tuple[sqlite3.Connection, str]:
    """Open the database, made anew if it is not there or cannot be trusted.

    Returns
    -------
    connection : sqlite3.Connection
    why_new : str
        Why an earlier one was not used, in words; "" if it was, or if there was none.

    Raises
    ------
    RecordError
        If it cannot be made or opened, or a newer Evenboard made it.
    """
    with _told(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        why_new = _fault(path)
        if not why_new:
            return _connect(path), ""
        with _one_at_a_time(path):
            if _fault(path):  # not yet mended by another program
                remove_database(path)
                _make(path)
        return _connect(path), "" if why_new == _NOT_THERE else why_new


def remove_database(path: Path) -> None:
    """Remove the database with what SQLite keeps beside it."""
    for part in ("-wal", "-shm", ""):
        path.with_name(path.name + part).unlink(missing_ok=True)


def remembered_folders(path: Path) -> tuple[Path, ...]:
    """Folders that were looked in before, in the order in which they were first named."""
    try:
        content = json.loads(_folders_file(path).read_bytes())
    except (OSError, ValueError, RecursionError):
        return ()  # never written, or damaged: the finisher names them once more
    return tuple(Path(item) for item in content if isinstance(item, str)) if isinstance(content, list) else ()


def remember_folders(path: Path, folders: Iterable[Path]) -> None:
    """Set the folders to look in.

    Raises
    ------
    RecordError
        If that cannot be written.
    """
    file = _folders_file(path)
    with _told(file):
        file.parent.mkdir(parents=True, exist_ok=True)
        handle, draft = tempfile.mkstemp(dir=file.parent, prefix=".", suffix=".part")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as text:
                json.dump([str(folder) for folder in dict.fromkeys(folders)], text, indent=1, ensure_ascii=False)
            Path(draft).replace(file)
        except BaseException:
            Path(draft).unlink(missing_ok=True)
            raise


def _folders_file(path: Path) -> Path:
    return path.with_name(f"{path.stem}-folders.json")


_NOT_THERE: Final = "there was none"


def _fault(path: Path) -> str:
    """Why the database cannot be used, in words; "" if it can.

    Raises
    ------
    RecordError
        If a newer version made it.
    """
    if not path.exists() or path.stat().st_size == 0:
        return _NOT_THERE
    connection = None
    try:
        connection = _connect(path)
        application = connection.execute("PRAGMA application_id").fetchone()[0]
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        if application != APPLICATION_ID:
            return "it was no index"
        if version < SCHEMA_VERSION:
            return f"it was of the older version {version}"
        tables = {row[0] for row in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    except sqlite3.OperationalError:
        raise  # busy, or the disk: the file itself may be sound
    except sqlite3.DatabaseError as damaged:
        return f"it was damaged ({damaged})"
    finally:
        if connection is not None:
            connection.close()
    if version > SCHEMA_VERSION:
        raise RecordError(
            f"{path} was made by a newer Evenboard (version {version}; this one uses {SCHEMA_VERSION}).",
            remedy="Install that version, or name another file: --index FILE.",
        )
    return "" if {"job", "zone"} <= tables else "it was not whole"


def _make(path: Path) -> None:
    """Make an empty database beside its place, then put it there: nobody opens one half made."""
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".sqlite")
    os.close(handle)
    try:
        connection = sqlite3.connect(draft, isolation_level=None)
        connection.executescript(_SCHEMA)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
        connection.close()
        Path(draft).replace(path)
    except BaseException:
        Path(draft).unlink(missing_ok=True)
        raise


def _connect(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None)
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = NORMAL")  # a power cut may cost the last job: it is read again
        with contextlib.suppress(sqlite3.DatabaseError):  # some network drives have no write-ahead log
            connection.execute("PRAGMA journal_mode = WAL")
    except BaseException:
        connection.close()
        raise
    return connection


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the system or SQLite refuses into words."""
    try:
        yield
    except (OSError, sqlite3.Error) as refused:
        reason = (isinstance(refused, OSError) and refused.strerror) or str(refused)
        raise RecordError(
            f"the index {path} cannot be used: {reason}.",
            remedy=f"See to its permissions and free space, or name another: --index FILE, or {DATA_VARIABLE}=FOLDER.",
        ) from refused


@contextlib.contextmanager
def _one_at_a_time(path: Path) -> Iterator[None]:
    """Let one program at a time make the database anew."""
    try:
        import fcntl  # noqa: PLC0415 - not on every system
    except ImportError:
        yield
        return
    handle = os.open(path.parent, os.O_RDONLY)
    try:
        with contextlib.suppress(OSError):  # some network folders cannot be locked
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)
