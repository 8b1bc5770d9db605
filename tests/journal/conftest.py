"""Every test of the store runs on a SQLite file and on a real PostgreSQL server."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from riskrules.journal.store import Journal, open_journal

from .postgres import Server, programs


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    """Return a PostgreSQL server for this run of the tests."""
    if programs() is None:
        pytest.skip("no PostgreSQL here: expected initdb and pg_ctl, such as Debian's postgresql")
    # The tests that end its process at random have a server of their own, with fsync on.
    memory = Path("/dev/shm")
    made = Server("fsync=off", place=memory if os.access(memory, os.W_OK) else None)
    try:
        made.start()
        yield made
    finally:
        made.stop()


@pytest.fixture(params=["sqlite", "postgresql"])
def journal_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Return where a new journal may be made: a file, or a schema of a server."""
    if request.param == "sqlite":
        return str(tmp_path / "journal.db")
    made: Server = request.getfixturevalue("server")
    return made.new_schema()


@pytest.fixture
def journal(journal_url: str) -> Iterator[Journal]:
    """Return a new, empty journal."""
    with open_journal(journal_url) as opened:
        yield opened
