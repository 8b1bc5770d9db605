"""A full disk, a lock without end, a server that is gone: one sentence, and a whole journal."""

from __future__ import annotations

import os
import re
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from riskrules.journal.records import Note
from riskrules.journal.store import JournalError, open_journal

from .small_records import PNG, made

FILL = """
import resource, sys
from uuid import uuid4
from riskrules.journal.records import Note, Record
from riskrules.journal.store import JournalError, open_journal

url, limit = sys.argv[1], int(sys.argv[2])
with open_journal(url) as journal:
    if limit:
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    try:
        while True:
            pair = [
                Record(id=uuid4(), time=1, body=Note(text="x" * 3000), who="a", made=1)
                for _ in range(2)
            ]
            journal.add(pair)
            print(*(r.id for r in pair), flush=True)
    except JournalError as error:
        print(error, file=sys.stderr)
"""


def filled(checkout: Path, url: str, limit: int = 0) -> tuple[list[str], str]:
    """Write until the disk is full: what was acknowledged, and what was said."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", FILL, url, str(limit)],
        env=os.environ | {"PYTHONPATH": str(checkout)},
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    return done.stdout.split(), done.stderr.strip()


def whole_after(url: str, acknowledged: list[str]) -> None:
    assert len(acknowledged) > 10
    with open_journal(url) as journal:
        assert sorted(str(s.record.id) for s in journal.since(0)) == sorted(acknowledged)
        assert journal.check() == []
        journal.add([made()])  # there is room again
        assert journal.check() == []


@pytest.fixture
def small_disk(tmp_path: Path):
    """Return a folder on a disk of two megabytes."""
    folder = tmp_path / "small"
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)]
    if shutil.which("mount") is None or subprocess.run(command, capture_output=True).returncode:
        pytest.skip("a small disk cannot be mounted here: expected root and mount")
    yield folder
    subprocess.run(["umount", str(folder)], check=True)


def test_a_full_disk_gives_one_sentence_and_a_whole_journal(checkout, small_disk):
    ballast = small_disk / "ballast"
    ballast.write_bytes(bytes(500_000))
    url = str(small_disk / "journal.db")
    acknowledged, said = filled(checkout, url)
    assert said == f"the disk of {url} is full; nothing of this was stored"
    with open_journal(url) as journal:  # it can be read while the disk is still full
        assert len(journal.since(0)) == len(acknowledged)
        with pytest.raises(JournalError, match="is full"):
            journal.add_photo(PNG + bytes(2_000_000))
    ballast.unlink()
    whole_after(url, acknowledged)


def test_a_file_that_may_not_grow_gives_one_sentence_and_a_whole_journal(checkout, tmp_path):
    url = str(tmp_path / "journal.db")
    acknowledged, said = filled(checkout, url, 300_000)
    assert re.fullmatch(r"the disk of \S+ .*full.*; nothing of this was stored", said), said
    whole_after(url, acknowledged)


def test_a_lock_that_does_not_end_names_who_holds_it(tmp_path):
    path = tmp_path / "journal.db"
    with open_journal(path, wait_s=0.1) as journal:
        with closing(sqlite3.connect(path, isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(JournalError, match="is locked by") as caught:
                journal.add([made()])
        who = f"process {os.getpid()} " if Path("/proc/locks").exists() else "another program"
        assert who in str(caught.value)
        assert "nothing of this was stored" in str(caught.value)
        journal.add([made()])


def test_a_lock_on_the_server_gives_one_sentence(server):
    url = server.new_schema()
    with (
        open_journal(url, wait_s=0.1) as journal,
        open_journal(url) as other,
        other.database.writing(),
        pytest.raises(JournalError, match="is locked by another session; nothing of this was"),
    ):
        journal.add([made()])


def test_a_server_that_is_gone_gives_one_sentence_and_comes_back(server):
    with open_journal(server.new_schema()) as journal:
        journal.add([made()])
        server.kill()
        with pytest.raises(JournalError, match="gone or cannot be reached; send the last") as told:
            journal.add([made()])
        assert "\n" not in str(told.value)
        server.start()
        journal.add([made()])
        assert journal.last() == 2


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"time,event\n" * 200, "is not a journal; expected a file that the journal made"),
        (b"SQLite format 3\0" + b"\xff" * 5000, "is not a journal|is damaged"),
    ],
)
def test_a_file_that_is_no_journal_is_refused_and_left_alone(tmp_path, content, said):
    path = tmp_path / "events.csv"
    path.write_bytes(content)
    with pytest.raises(JournalError, match=said):
        open_journal(path)
    assert path.read_bytes() == content


def test_a_damaged_journal_is_said_to_be_damaged(tmp_path):
    path = tmp_path / "journal.db"
    with open_journal(path) as journal:
        journal.add([made(Note(text="x" * 900)) for _ in range(200)])
    data = bytearray(path.read_bytes())
    data[8192:-4096] = b"\x5a" * (len(data) - 8192 - 4096)
    path.write_bytes(data)
    with open_journal(path) as journal:
        try:
            told = " | ".join(p.message for p in journal.check())
        except JournalError as error:
            told = str(error)
    assert "damaged" in told


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("", "is no file"),
        (":memory:", "is no file"),
        ("/", "is no file"),
        ("sqlite://", "no journal can be kept in 'sqlite'"),
        ("mysql://root@host/farm", "no journal can be kept in 'mysql'"),
        ("http://[/", "no journal can be kept|cannot be understood"),
        ("/nowhere/at/all/journal.db", "cannot be opened; expected a file in a folder"),
    ],
)
def test_what_is_no_place_for_a_journal_is_refused(url, said):
    with pytest.raises(JournalError, match=said) as caught:
        open_journal(url)
    assert "\n" not in str(caught.value)


def test_no_sentence_shows_a_password(server):
    url = server.url("nowhere", tcp=True).replace("postgres@", "postgres:hush@")
    with pytest.raises(JournalError, match="no such database") as caught:
        open_journal(url)
    assert "hush" not in str(caught.value)
    gone = url.replace(f":{server.port}/", ":1/")
    with pytest.raises(JournalError, match="gone or cannot be reached") as caught:
        open_journal(gone)
    assert "hush" not in str(caught.value)


def test_a_database_that_cannot_keep_every_letter_is_refused(server):
    url = server.new_database("TEMPLATE template0 ENCODING 'LATIN1' LOCALE 'C'")
    with pytest.raises(JournalError, match="keeps text as LATIN1; expected a database in UTF8"):
        open_journal(url)


def test_a_plain_url_of_postgresql_will_do(server):
    url = server.new_schema().replace("postgresql+psycopg", "postgresql")
    with open_journal(url) as journal:
        assert journal.add([made()])[0].state == "new"


def test_a_file_name_may_hold_any_character(tmp_path):
    path = tmp_path / "field ? #1 100%25 ünï.db"
    with open_journal(path) as journal:
        journal.add([made()])
        journal.backup(tmp_path / "b?ack#up %.db")
    with open_journal(str(path)) as journal:
        assert journal.last() == 1


def test_a_file_that_may_not_be_written_is_said_to_be_so(tmp_path, monkeypatch):
    if os.getuid() == 0:
        pytest.skip("root may write everywhere")
    path = tmp_path / "journal.db"
    open_journal(path).close()
    path.chmod(0o400)
    with open_journal(path) as journal, pytest.raises(JournalError, match="cannot be written to"):
        journal.add([made()])
