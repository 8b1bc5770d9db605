"""Back a journal up while it is in use, and restore it: into a file, or onto a server."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

from sqlalchemy import Connection, Table, insert, select

from riskrules.journal.database import Database
from riskrules.journal.schema import bring_up
from riskrules.journal.tables import differing, photo, record
from riskrules.journal.trouble import JournalError, told
from riskrules.journal.whole import troubles

ORDERED: tuple[Table, ...] = (record, differing, photo)
_ROWS = 500


def back_up(database: Database, path: Path) -> None:
    """Write a journal as it is now into a new SQLite file.

    Raises
    ------
    JournalError
        If the file is there already, or the copy is not whole.
    """
    _beside(path, lambda part: _copy(database, part))


def restore(path: str | Path, url: str | Path) -> None:
    """Make a journal again from its backup, where there is none yet.

    Raises
    ------
    JournalError
        If the backup is not whole, or there is a journal with records at ``url`` already.
    """
    source = Path(path)
    if not source.is_file():
        raise JournalError(f"there is no backup {source}; expected a file that backup made")
    target = Database(url)
    try:
        if target.path is not None:
            _beside(target.path, lambda part: _copy_file(source, part))
        else:
            _onto_server(source, target)
    finally:
        target.close()


def _beside(path: Path, fill: Callable[[Path], None]) -> None:
    """Fill a file beside a new one, check it, and only then give it its name."""
    if path.exists():
        raise JournalError(f"{path} is there already; expected the name of a new file")
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    copy = Database(part)
    try:
        fill(part)
        bring_up(copy)
        _refuse_broken(copy, part)
        with told(str(path), part), sqlite3.connect(part) as conn:
            conn.execute("PRAGMA journal_mode = DELETE")
        conn.close()
        _named(part, path)
    except OSError as error:
        raise JournalError(f"{path} cannot be written: {error.strerror}") from None
    finally:
        copy.close()
        for ending in ("", "-wal", "-shm", "-journal"):
            Path(f"{part}{ending}").unlink(missing_ok=True)


def _refuse_broken(copy: Database, part: Path) -> None:
    wrong = [p.message for p in troubles(copy) if "has not come" not in p.message]
    copy.close()
    if wrong:
        message = f"the copy in {part} is not whole ({wrong[0]}"
        more = f", and {len(wrong) - 1} more" if wrong[1:] else ""
        raise JournalError(f"{message}{more}); nothing was kept of it")


def _named(part: Path, path: Path) -> None:
    with open(part, "rb") as file:
        os.fsync(file.fileno())
    os.link(part, path)  # unlike a rename it never takes the place of a file


def _copy(database: Database, part: Path) -> None:
    if database.path is not None:
        _copy_file(database.path, part)
        return
    copy = Database(part)
    try:
        bring_up(copy)
        with database.reading() as source, copy.writing() as target:
            _rows(source, target)
    finally:
        copy.close()


def _copy_file(source: Path, part: Path) -> None:
    with told(str(source), source):
        here = sqlite3.connect(f"{source.resolve().as_uri()}?mode=ro", uri=True)
        there = sqlite3.connect(part)
        try:
            here.backup(there)
        finally:
            here.close()
            there.close()


def _onto_server(source: Path, target: Database) -> None:
    bring_up(target)
    copy = source.with_name(f"{source.name}.{os.getpid()}.part")
    backup = Database(copy)
    try:
        _copy_file(source, copy)
        bring_up(backup)
        _refuse_broken(backup, source)
        with backup.reading() as here, target.writing() as there:
            if there.execute(select(record.c.seq).limit(1)).scalar() is not None:
                raise JournalError(f"{target.name} holds records; expected an empty database")
            _rows(here, there)
    finally:
        backup.close()
        for ending in ("", "-wal", "-shm", "-journal"):
            Path(f"{copy}{ending}").unlink(missing_ok=True)


def _rows(source: Connection, target: Connection) -> None:
    for table in ORDERED:
        query = select(table).order_by(*table.primary_key.columns)
        rows = source.execution_options(yield_per=_ROWS).execute(query).mappings()
        for part in rows.partitions(_ROWS):
            target.execute(insert(table), [dict(row) for row in part])
