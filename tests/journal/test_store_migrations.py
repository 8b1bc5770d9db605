"""A journal of each earlier schema comes up to this one with nothing lost."""

from __future__ import annotations

import json
import shutil
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import text

import riskrules.journal
from riskrules.journal.backup import restore
from riskrules.journal.database import Database
from riskrules.journal.migrations import triggers
from riskrules.journal.photos import photo_of
from riskrules.journal.records import RECORD
from riskrules.journal.schema import bring_up
from riskrules.journal.store import Journal, JournalError, open_journal
from riskrules.journal.tables import HEAD, VERSION_TABLE, metadata

from .small_records import PNG, corrected, made

DATA = Path(__file__).parent / "data"
FOLDER = Path(riskrules.journal.__file__).parent / "migrations"


def steps() -> ScriptDirectory:
    config = Config()
    config.set_main_option("script_location", str(FOLDER))
    return ScriptDirectory.from_config(config)


def earlier() -> list[str]:
    return sorted(r.revision for r in steps().walk_revisions() if r.revision != HEAD)


def test_the_newest_step_is_the_schema_the_program_expects():
    assert steps().get_heads() == [HEAD]


def test_a_small_journal_of_each_earlier_schema_is_kept():
    kept = {path.stem for path in DATA.glob("schema_*.db")}
    assert kept == {f"schema_{name}" for name in earlier()}


def test_the_steps_lead_to_the_tables_that_the_program_uses(journal: Journal):
    with journal.database.reading() as conn:
        options = {"version_table": VERSION_TABLE, "compare_type": True}
        found = compare_metadata(MigrationContext.configure(conn, opts=options), metadata)
    assert found == []


def old_journal(url: str, schema: str) -> None:
    """Put the small journal of an earlier schema where a URL says."""
    source = DATA / f"schema_{schema}.db"
    if "://" not in url:
        shutil.copy(source, url)
        return
    target = Database(url)
    bring_up(target, schema)
    with closing(sqlite3.connect(source)) as file, target.writing() as conn:
        for table in ("record", "differing", "photo"):
            rows = file.execute(f"SELECT * FROM {table}")
            names = [column[0] for column in rows.description]
            places = ", ".join(f":{name}" for name in names)
            columns = ", ".join(f'"{name}"' for name in names)
            for row in rows:
                statement = f"INSERT INTO {table} ({columns}) VALUES ({places})"
                conn.execute(text(statement), dict(zip(names, row, strict=True)))
    target.close()


@pytest.mark.parametrize("schema", earlier())
def test_an_earlier_journal_comes_up_with_nothing_lost(journal_url: str, schema: str):
    old_journal(journal_url, schema)
    said = json.loads((DATA / f"schema_{schema}.json").read_text())
    with open_journal(journal_url) as journal:
        stored = journal.since(0)
        assert [s.record for s in stored] == [RECORD.validate_python(r) for r in said["records"]]
        assert [s.received for s in stored] == [1_775_200_000 + 60 * s.seq for s in stored]
        differing = [d.record for d in journal.differing()]
        assert differing == [RECORD.validate_python(r) for r in said["differing"]]
        photo = journal.photo(photo_of(PNG).hash)
        assert photo is not None and photo.data == PNG
        assert [len(c.versions) for c in journal.clashes()] == [2]
        assert journal.check() == []
        journal.add([made()])
        assert journal.check() == []


@pytest.mark.parametrize("schema", earlier())
def test_a_step_that_fails_leaves_the_earlier_journal_as_it_was(journal_url, schema, monkeypatch):
    old_journal(journal_url, schema)

    def fails(*_: object) -> list[str]:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr(triggers, "guards", fails)
        with pytest.raises(KeyboardInterrupt):
            open_journal(journal_url)
    with open_journal(journal_url) as journal:
        assert journal.last() == 7
        assert journal.check() == []


def test_a_journal_of_a_newer_version_is_refused_and_left_alone(journal_url: str):
    open_journal(journal_url).close()
    database = Database(journal_url)
    with database.writing() as conn:
        conn.execute(text(f"UPDATE {VERSION_TABLE} SET version_num = '9999'"))
    database.close()
    with pytest.raises(JournalError, match=r"newer version .*schema 9999; this one knows"):
        open_journal(journal_url)


def test_a_database_that_is_something_else_is_refused_and_left_alone(journal_url: str):
    database = Database(journal_url)
    with database.writing() as conn:
        conn.execute(text("CREATE TABLE record (title TEXT)"))
    with pytest.raises(JournalError, match="is not a journal; it holds other tables"):
        open_journal(journal_url)
    if database.path:
        header = database.path.read_bytes()[:20]
        assert header[18:20] == b"\x01\x01"  # not changed to a write-ahead log either
    database.close()


def test_a_backup_of_an_earlier_schema_can_be_restored(journal_url: str):
    restore(DATA / "schema_0001.db", journal_url)
    with open_journal(journal_url) as journal:
        assert journal.last() == 7
        assert journal.check() == []


def test_a_backup_moves_a_journal_between_both_databases(journal_url, tmp_path, server):
    with open_journal(journal_url) as journal:
        old = made()
        journal.add([old, corrected(old), other := made()])
        journal.add([other.model_copy(update={"note": "other"})])
        journal.add_photo(PNG)
        journal.backup(tmp_path / "backup.db")
        for target in (str(tmp_path / "again.db"), server.new_schema()):
            restore(tmp_path / "backup.db", target)
            with open_journal(target) as again:
                assert again.since(0) == journal.since(0)
                assert again.differing() == journal.differing()
                assert again.photos() == journal.photos()
                assert again.check() == []
    assert {p.name for p in tmp_path.iterdir()} >= {"backup.db", "again.db"}
    assert not list(tmp_path.glob("*.part*"))


def test_neither_a_backup_nor_a_restore_takes_the_place_of_anything(journal: Journal, tmp_path):
    journal.add([made()])
    (tmp_path / "there").write_text("mine")
    with pytest.raises(JournalError, match="is there already; expected the name of a new file"):
        journal.backup(tmp_path / "there")
    journal.backup(tmp_path / "backup.db")
    with pytest.raises(JournalError, match="is there already|holds records; expected an empty"):
        restore(tmp_path / "backup.db", journal.database.url.render_as_string(False))
    assert (tmp_path / "there").read_text() == "mine"


def test_a_damaged_backup_is_not_restored(tmp_path):
    with open_journal(tmp_path / "a.db") as journal:
        journal.add([made(note="as it was") for _ in range(20)])
        journal.backup(tmp_path / "backup.db")
    data = (tmp_path / "backup.db").read_bytes()
    (tmp_path / "backup.db").write_bytes(data.replace(b"as it was", b"as it is!", 1))
    with pytest.raises(JournalError, match="is not whole .*nothing was kept of it"):
        restore(tmp_path / "backup.db", tmp_path / "again.db")
    assert not (tmp_path / "again.db").exists()
    assert not list(tmp_path.glob("*.part*"))


def test_a_backup_while_others_write_is_a_whole_journal_of_a_moment(journal: Journal, tmp_path):
    with ThreadPoolExecutor(2) as pool:
        writing = pool.submit(lambda: [journal.add([made(), made()]) for _ in range(30)])
        for i in range(3):
            journal.backup(tmp_path / f"{i}.db")
        writing.result()
    for i in range(3):
        with open_journal(tmp_path / f"{i}.db") as copy:
            stored = copy.since(0)
            assert stored == journal.since(0)[: len(stored)]
            assert len(stored) % 2 == 0
            assert copy.check() == []
