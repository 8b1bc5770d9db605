"""A farm with a new journal for each test."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from shutil import copyfile

import pytest

from .keyboard import OPEN, Keyboard


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an empty journal: to make one anew for each test takes longer than the test."""
    path = tmp_path_factory.mktemp("empty") / "journal.db"
    OPEN(path).close()
    with closing(sqlite3.connect(path)) as conn:
        conn.execute("PRAGMA journal_mode = DELETE")
    return path


@pytest.fixture
def farm(tmp_path: Path, empty: Path) -> Keyboard:
    """Return somebody at the keyboard of a farm whose journal is still empty."""
    copyfile(empty, tmp_path / "journal.db")
    return Keyboard(tmp_path)
