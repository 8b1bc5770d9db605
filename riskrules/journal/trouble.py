"""What a database complains of, said in one sentence that a grower can act on."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import exc

from riskrules.errors import RiskRulesError

NOTHING_STORED = "nothing of this was stored"
SEND_AGAIN = "send the last records again: those that arrived are not doubled"
_WRITE_LOCK_BYTE = 120
"""Where SQLite locks the ``-shm`` file to write.

Source: SQLite WAL-index format, WAL_WRITE_LOCK (memory)
"""


class JournalError(RiskRulesError):
    """The journal cannot do what it was asked; the message is one sentence."""


@contextmanager
def told(name: str, path: Path | None = None) -> Iterator[None]:
    """Turn what a database raises inside into one sentence.

    Parameters
    ----------
    name : str
        What to call the journal: its file, or its URL without password.
    path : Path, optional
        Its file, where it is one.

    Raises
    ------
    JournalError
        In place of any error of the database.
    """
    try:
        yield
    except exc.TimeoutError:
        message = f"{name} has no connection free: too many at once; {NOTHING_STORED}"
        raise JournalError(message) from None
    except exc.DBAPIError as error:
        raise JournalError(_sentence(name, path, error.orig or error)) from error
    except sqlite3.Error as error:
        raise JournalError(_sentence(name, path, error)) from error


def _sentence(name: str, path: Path | None, error: BaseException) -> str:
    if isinstance(error, sqlite3.Error):
        return _of_sqlite(name, path, error)
    state = str(getattr(error, "sqlstate", None) or "")
    return _of_server(name, state, error)


def _of_sqlite(name: str, path: Path | None, error: sqlite3.Error) -> str:
    code = getattr(error, "sqlite_errorcode", 0)
    said = str(error)
    plain = {
        sqlite3.SQLITE_FULL: f"the disk of {name} is full; {NOTHING_STORED}",
        sqlite3.SQLITE_IOERR: f"the disk of {name} refuses to write or read (full, over a limit, "
        f"or failing); {NOTHING_STORED}",
        sqlite3.SQLITE_READONLY: f"{name} cannot be written to; expected a file and a folder that "
        "you may write",
        sqlite3.SQLITE_PERM: f"{name} cannot be opened; expected a file that you may read",
        sqlite3.SQLITE_CANTOPEN: f"{name} cannot be opened; expected a file in a folder that you "
        "may write",
        sqlite3.SQLITE_NOTADB: f"{name} is not a journal; expected a file that the journal made",
        sqlite3.SQLITE_CORRUPT: f"{name} is damaged: keep the file, and restore the last backup",
    }
    kind = code & 0xFF
    if kind in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL):
        return f"{name} is locked by {holder(path)}; {NOTHING_STORED}"
    return plain.get(kind, f"{name}: the database says '{said}'; {NOTHING_STORED}")


def _of_server(name: str, state: str, error: BaseException) -> str:
    said = " ".join(str(error).split())
    if state == "55P03":
        return f"{name} is locked by another session; {NOTHING_STORED}"
    if state == "53100":
        return f"the disk of {name} is full; {NOTHING_STORED}"
    if state.startswith("53"):
        return f"{name} is out of room or connections ({said}); {NOTHING_STORED}"
    if state.startswith("28") or "authentication failed" in said or "no password" in said:
        return f"{name} does not let this user in; expected a user and password it knows"
    if state == "3D000" or "does not exist" in said and not state:
        return f"{name}: the server has no such database; expected one that was created"
    if state == "42501":
        return f"{name}: this user may not do that ({said}); {NOTHING_STORED}"
    if not state or state.startswith(("08", "57P")):
        return f"the server of {name} is gone or cannot be reached; {SEND_AGAIN}"
    return f"{name}: the database says '{said}'; {NOTHING_STORED}"


def holder(path: Path | None) -> str:
    """Say who holds the write lock of a SQLite file, where Linux tells; else 'another program'."""
    try:
        node = os.stat(f"{path}-shm")
        lines = Path("/proc/locks").read_text().splitlines()
        for line in lines:
            words = line.split()
            if len(words) < 8 or words[3] != "WRITE":
                continue
            inode = int(words[5].rsplit(":", 1)[1])
            if inode == node.st_ino and int(words[6]) == _WRITE_LOCK_BYTE:
                called = Path(f"/proc/{words[4]}/comm").read_text().strip()
                return f"process {words[4]} ({called})"
    except (OSError, ValueError):
        pass
    return "another program"
