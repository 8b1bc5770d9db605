"""Connections to the journal's database: SQLite in one file, or a PostgreSQL server."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError

from riskrules.journal.trouble import JournalError, told

WAIT_S = 30.0
"""How long a writer waits for its turn before it gives up. [s] (assumption)"""
LOCK_KEY = 5_724_650_021_771_005
"""The advisory lock that writers of a journal on PostgreSQL take in turn; any number is as good.
"""
EXPECTED = "expected a file, or a URL such as postgresql+psycopg://user@host/database"


class Database:
    """A database opened for a journal; each write waits for its turn."""

    def __init__(self, url: str | Path, wait_s: float = WAIT_S) -> None:
        self.url = understood(url)
        self.wait_s = wait_s
        self.is_sqlite = self.url.get_backend_name() == "sqlite"
        self.path = Path(str(self.url.database)) if self.is_sqlite else None
        self.name = str(self.path or self.url.render_as_string(hide_password=True))
        self.engine = _sqlite(self.url, wait_s) if self.is_sqlite else _server(self.url)
        level = {} if self.is_sqlite else {"isolation_level": "REPEATABLE READ"}
        self._reader: Engine = self.engine.execution_options(**level)

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the journal throughout."""
        with told(self.name, self.path), self._reader.connect() as conn, conn.begin():
            yield conn

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give the connection of the only writer; what it did is on disk once this returns."""
        with told(self.name, self.path), self.engine.connect() as conn:
            conn = conn.execution_options(journal_writes=True)
            with conn.begin():
                if not self.is_sqlite:
                    wait_ms = max(int(self.wait_s * 1000), 1)
                    conn.exec_driver_sql(f"SET LOCAL lock_timeout = {wait_ms}")
                    conn.exec_driver_sql("SET LOCAL synchronous_commit = on")
                    conn.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LOCK_KEY})")
                yield conn

    def settle(self) -> None:
        """Make a SQLite file keep a write-ahead log; waits while others open it, too."""
        if not self.is_sqlite:
            return
        until = time.monotonic() + self.wait_s
        with told(self.name, self.path), closing(sqlite3.connect(str(self.path))) as conn:
            while not _is_wal(conn) and time.monotonic() < until:
                time.sleep(0.01)

    def close(self) -> None:
        """Close all connections."""
        self.engine.dispose()


def understood(url: str | Path) -> URL:
    """Return the URL of a file or of a server.

    Raises
    ------
    JournalError
        If it is neither a file nor a URL of PostgreSQL.
    """
    text = str(url)
    if isinstance(url, Path) or "://" not in text:
        if text in ("", ".", ":memory:") or Path(text).is_dir():
            raise JournalError(f"'{text}' is no file; {EXPECTED}")
        return URL.create("sqlite", database=text)
    try:
        made = make_url(text)
    except (ArgumentError, ValueError):  # a port that is no number raises the latter
        raise JournalError(f"the URL of the journal cannot be understood; {EXPECTED}") from None
    if made.get_backend_name() == "sqlite" and made.database not in (None, "", ":memory:"):
        return URL.create("sqlite", database=made.database)
    if made.get_backend_name() == "postgresql":
        return made.set(drivername="postgresql+psycopg")
    raise JournalError(f"no journal can be kept in '{made.drivername}'; {EXPECTED}")


def _is_wal(conn: sqlite3.Connection) -> bool:
    try:
        return bool(conn.execute("PRAGMA journal_mode = WAL").fetchone()[0] == "wal")
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY:
            raise
        return False


def _server(url: URL) -> Engine:
    try:
        return create_engine(
            url, pool_pre_ping=True, pool_timeout=WAIT_S, connect_args={"connect_timeout": 10}
        )
    except ImportError:
        message = "a journal on PostgreSQL needs psycopg; expected: pip install psycopg[binary]"
        raise JournalError(message) from None


def _sqlite(url: URL, wait_s: float) -> Engine:
    engine = create_engine(
        url, pool_timeout=WAIT_S, connect_args={"timeout": wait_s, "isolation_level": None}
    )

    @event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _: Any) -> None:
        # FULL: an acknowledged record survives a power cut, not only a killed process.
        for pragma in ("synchronous = FULL", "fullfsync = ON", "foreign_keys = ON"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _on_begin(conn: Connection) -> None:
        writes = conn.get_execution_options().get("journal_writes")
        conn.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
