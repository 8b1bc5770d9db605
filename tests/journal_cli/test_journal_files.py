"""Files go out and come in, are recognised by their content, and are kept once."""

from __future__ import annotations

from pathlib import Path

import pytest
from cli.running import apart, text_of

from riskrules.journal.store import Journal

from .keyboard import OPEN, Keyboard
from .test_journal_add import PNG


@pytest.fixture
def written(farm: Keyboard, tmp_path: Path) -> Keyboard:
    """Return a farm with a few records, one of them corrected, one with a photo."""
    picture = tmp_path / "leaf.png"
    picture.write_bytes(PNG)
    farm.add("note", "odd spots", "--photo", picture)
    known = farm.add("pick", "-b", "south_beds", "--at", "06:00", "--kg", 20)
    farm.done("correct", known, "--set", "kg=22", "--why", "second scale")
    farm.add("cover", "off", "-b", "north_beds", "--at", "07:00")
    return farm


def everything(journal: Journal) -> tuple[object, ...]:
    """Return all that a journal holds but the times of receipt."""
    versions = [(s.record, s.replaced is None) for s in journal.versions()]
    return versions, journal.clashes(), journal.photos()


def test_a_container_is_read_back_exactly_and_once(written: Keyboard, tmp_path: Path) -> None:
    out, other = tmp_path / "farm.zip", tmp_path / "other.db"
    assert "4 records, all versions" in text_of(written.done("export", out))
    assert "is there already" in written.refused("export", out)
    words = ("import", out, "--journal", other)
    assert "4 records are new" in text_of(written.done(*words))
    assert "0 records are new, 4 were here already" in text_of(written.done(*words))
    assert written.json(*words)["files"][0]["report"]["known"] == 4
    with OPEN(tmp_path / "journal.db") as here, OPEN(other) as there:
        assert everything(here) == everything(there)


def test_an_events_file_is_taken_in_each_line_once(farm: Keyboard, tmp_path: Path) -> None:
    file = tmp_path / "old.txt"  # its content counts, not its name
    file.write_text(
        "time,block,event,what,end\n"
        "2026-06-09T19:00,north_beds,row_cover,on,\n"
        "2026-06-10T06:00,south_beds,pick,done,2026-06-10T09:00\n"
    )
    assert "2 records, 2 new" in text_of(farm.done("import", file))
    assert "0 new, 2 known already" in text_of(farm.done("import", file))
    cover, pick = farm.records()
    assert farm.local(cover.time) == "2026-06-09 19:00" and cover.came_by == "import"
    assert pick.end is not None and farm.local(pick.end) == "2026-06-10 09:00"


def test_a_doubtful_file_is_asked_about_and_a_wrong_one_refused(
    farm: Keyboard, tmp_path: Path
) -> None:
    file = tmp_path / "events.csv"
    file.write_text("time,block,event,what\n2026-06-10T03:00,north_beds,pick,done\n")
    assert "a pick at 03:00, by night?" in farm.refused("import", file)
    farm.done("import", file, "--yes")
    file.write_text(
        "time,block,event,what\n2026-06-09T08:00,north_beds,sides,up\n"
        "2026-06-30T08:00,north_beds,sides,down\n"
    )
    # One line is of the future: none is kept.
    assert "in the future" in farm.refused("import", file, "--yes")
    file.write_text("time,block,event,what\n2026-06-09T08:00,west,sides,up\n")
    assert "events.csv:2" in farm.refused("import", file)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "none that the journal knows"),
        (b"date,kg\n2026-06-10,3\n", "none that the journal knows"),
        (b"\xff\xfe\x00\x01" * 20, "none that the journal knows"),
        (b'{"format": "other 1"}', "its format is 'other 1'"),
        (b'{"format": ["riskrules walk 1"]}', "its format is"),
        (b"{", "not readable as JSON"),
        (b'{"format": "riskrules journal records 1", "records": 3}', "expected a list of records"),
        (b'{"format": "riskrules journal records 1", "records": [3]}', "record 1: "),
        (b'{"format": "riskrules walk 1"}', ""),
        (b"PK\x03\x04 no zip", ""),
        (b"walk,stop,symptom,part,affected,examined\nx,1,gray_mold,flower,1,2\n", ":2:1: walk is"),
    ],
)
def test_what_is_no_file_of_ours_is_refused(
    farm: Keyboard, tmp_path: Path, content: bytes, said: str
) -> None:
    file = tmp_path / "file"
    file.write_bytes(content)
    found = farm.refused("import", file)
    assert said in found and found


def test_files_that_are_not_there_and_kinds_that_are_no_walk(
    farm: Keyboard, tmp_path: Path
) -> None:
    assert "cannot be read" in farm.refused("import", tmp_path / "none.csv")
    assert "cannot be read" in farm.refused("import", tmp_path)
    file = tmp_path / "events.csv"
    file.write_text("time,block,event,what\n2026-06-10T08:00,north_beds,sides,up\n")
    assert "not of a walk" in farm.refused("walk", "import", file)


def test_backup_restore_and_check(written: Keyboard, tmp_path: Path) -> None:
    copy, again = tmp_path / "copy.db", tmp_path / "again.db"
    assert "4 records" in text_of(written.done("backup", copy))
    assert "is there already" in written.refused("backup", copy)
    assert "Restored" in written.done("restore", copy, "--journal", again).out
    assert "is there already" in written.refused("restore", copy)
    assert "there is no backup" in written.refused(
        "restore", tmp_path / "none.db", "--journal", "x"
    )
    with OPEN(tmp_path / "journal.db") as here, OPEN(again) as there:
        assert everything(here) == everything(there)
    assert "again.db is whole" in text_of(written.done("check", "--journal", again))
    assert written.json("check")["whole"] is True


def test_a_journal_that_somebody_changed_is_not_whole(written: Keyboard, tmp_path: Path) -> None:
    import sqlite3

    with sqlite3.connect(tmp_path / "journal.db") as conn:
        for (name,) in conn.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            conn.execute(f'DROP TRIGGER "{name}"')
        conn.execute("UPDATE record SET who = 'mallory' WHERE seq = 2")
    conn.close()
    ran = written.run("check")
    assert ran.code == 1 and "trouble" in ran.out
    ran = written.run("check", "--json")
    assert ran.code == 1 and '"whole": false' in ran.out


def test_the_symptoms_are_listed(farm: Keyboard) -> None:
    assert "gray_mold: Gray mold, on ripe_fruit, flower, " in text_of(farm.done("symptoms"))
    assert "looks" in farm.json("symptoms")["symptoms"]["gray_mold"]


def test_piped_in_a_process_of_its_own(farm: Keyboard) -> None:
    # The one test that goes through the start of Python: pipes, exit code, nothing but the result.
    ran = apart("journal", "add", "stages", "64", "-b", "north_beds", **farm.environment)
    assert ran.code == 1 and ran.out == ""
    assert ran.err == "64 is no BBCH code of strawberry; expected such as 60 65 71\n"
