"""An invented farm with a journal, somebody at its keyboard, and a clock that stands still."""

from __future__ import annotations

import io
import json
import os
import sqlite3
import sys
from collections.abc import Sequence
from contextlib import closing
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any
from unittest.mock import patch
from zoneinfo import ZoneInfo

from cli.running import Ran, run
from typer.main import get_command

from riskrules import cli
from riskrules.commands import journal_desk
from riskrules.journal import store
from riskrules.journal.records import RECORD, Record

ZONE = ZoneInfo("America/Chicago")
FARM = """\
farm: Two Rows (invented)
place: {latitude: 41, longitude: -91, zone: America/Chicago}
journal: journal.db
show: {temperature: degF, rain: in}
blocks:
- {block: north_beds, logs: [{file: north.csv}], tunnel: low_tunnel, row_covers: true}
- {block: south_beds, logs: [{file: south.csv}], tunnel: low_tunnel, row_covers: true}
"""
OPEN = store.open_journal
COMMANDS = get_command(cli.app)
"""Built once, which takes longer than most commands; as on a terminal otherwise."""


class Terminal(io.StringIO):
    """Somebody who answers."""

    def isatty(self) -> bool:
        return True


class Keyboard:
    """Runs journal commands on a farm in a folder, by Ann unless told other."""

    def __init__(self, folder: Path, now: str = "2026-06-10T09:45", keep: bool = False) -> None:
        self.folder = folder
        self.at(now)
        self.environment = {
            "RISKRULES_FARM": str(folder / "farm.yaml"),
            "RISKRULES_WHO": "ann",
            "XDG_STATE_HOME": str(folder / "state"),
        }
        if not keep:
            (folder / "farm.yaml").write_text(FARM)

    def at(self, text: str) -> None:
        """Set the clock, of this machine and of the journal."""
        self.now = int(datetime.fromisoformat(text).replace(tzinfo=ZONE).timestamp())

    def run(self, *words: object, answers: Sequence[str] | None = None) -> Ran:
        """Run a command; without answers nobody is at a terminal."""
        stdin = io.StringIO() if answers is None else Terminal("".join(f"{a}\n" for a in answers))
        kept = {k: v for k, v in os.environ.items() if not k.startswith("RISKRULES_")}
        clocked = partial(OPEN, clock=lambda: self.now)
        with (
            patch.object(sys, "stdin", stdin),
            patch.object(journal_desk, "clock_now", lambda: self.now),
            patch.object(cli, "app", COMMANDS),
            patch.object(store, "open_journal", clocked),
            patch.dict(os.environ, kept | self.environment, clear=True),
        ):
            return run("journal", *words)

    def done(self, *words: object, answers: Sequence[str] | None = None) -> Ran:
        """Run a command that has to work."""
        ran = self.run(*words, answers=answers)
        assert ran.code == 0, ran
        return ran

    def refused(self, *words: object, answers: Sequence[str] | None = None) -> str:
        """Run a command that has to fail with exit code 1; return what it said."""
        before = self.count()
        ran = self.run(*words, answers=answers)
        assert ran.code == 1, ran
        assert "Traceback" not in ran.err + ran.out
        assert self.count() == before, "something was kept"
        return " ".join(ran.err.split())

    def json(self, *words: object) -> Any:
        """Run a command that has to work and return the JSON that it printed."""
        return json.loads(self.done(*words, "--json").out)

    def add(self, *words: object) -> str:
        """Write one record down and return its short identifier."""
        (kept,) = self.json("add", *words)["kept"]
        assert kept["state"] == "new"
        return str(kept["short"])

    def records(self, *words: object) -> list[Record]:
        """Return the records that show prints, read back from its JSON."""
        found = self.json("show", *(words or ("--all",)))
        return [RECORD.validate_python(row) for row in found["records"]]

    def count(self) -> int:
        """Return how many records there are, all versions."""
        path = self.folder / "journal.db"
        if not path.exists():
            return 0
        with closing(sqlite3.connect(path)) as conn:
            return int(conn.execute("SELECT count(*) FROM record").fetchone()[0])

    def local(self, seconds: int) -> str:
        """Return a time on the farm's clock."""
        return datetime.fromtimestamp(seconds, ZONE).strftime("%Y-%m-%d %H:%M")
