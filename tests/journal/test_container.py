"""The whole journal goes into a zip and comes back exactly, also where some of it is already."""

from __future__ import annotations

import csv
import io
import os
import shutil
import signal
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from typing import get_args
from zipfile import ZipFile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.farm import load_farm
from riskrules.journal import container, container_columns
from riskrules.journal.container import export, import_container
from riskrules.journal.container_columns import guard, unguard
from riskrules.journal.container_tables import BODIES, KINDS, TABLES
from riskrules.journal.records import (
    AnyBody,
    Block,
    Irrigation,
    JobDone,
    Limit,
    Note,
    Pick,
    Record,
    Sighting,
    Walk,
    Work,
)
from riskrules.journal.store import Journal, JournalError, open_journal

from .container_bodies import any_records, told_of
from .small_records import JPEG, PNG, at, corrected, made
from .test_store_basics import EVERY_SORT, unguarded

MORE = (
    Irrigation(method="overhead", depth="frost"),
    Pick(weight_kg=0.1),
    Work(what="cull"),
    Limit(what="entry", set_by="rule"),
    JobDone(job="x", what="done", day="2026-01-01", finding=""),
    Note(text="=HYPERLINK(\"x\")\r\n-1\n'' ;@SUM(1)\r"),
    Walk(pattern="zigzag", seed=-(10**30), per_stop=1, stops=((2, -1, -0.0), (1, 1, 1e-9))),
    Block(latitude=-0.0, longitude=-93.25, row_covers=False),
)


def filled(journal: Journal) -> Journal:
    """Put every kind, a correction, a clash, a take-back, something differing and photos in."""
    shown = [journal.add_photo(PNG), journal.add_photo(JPEG), "0" * 64]
    first = [made(b, i, end=at("2027-01-01 00:00")) for i, b in enumerate((*EVERY_SORT, *MORE))]
    first.append(made(Note(text="see", photos=(shown[1], shown[0], shown[1], shown[2]))))
    first.append(
        made(Sighting(symptom="x", part="leaf", affected=0, examined=1, photos=(shown[0],)))
    )
    journal.add(first)
    two = [corrected(first[0], Pick(weight_kg=w), who="=bo", block=None) for w in (1, 2)]
    journal.add(two)
    journal.add([corrected(two[0]), corrected(made(), Pick())])
    journal.add([first[3].model_copy(update={"note": ';=other "words"\n'})])
    return journal


def at_times(url: str | Path) -> Journal:
    """Open a journal whose clock runs, and falls back once: by more than a clock may."""
    times = iter([*range(2_000_000_000, 2_000_000_004), *range(1_900_000_000, 1_900_001_000)])
    return open_journal(url, clock=lambda: next(times))


def test_every_kind_of_record_has_a_table_with_a_column_for_each_of_its_fields():
    models = get_args(get_args(AnyBody)[0])
    assert set(KINDS) == {m.model_fields["kind"].default for m in models} == set(BODIES)
    for kind, model in BODIES.items():
        names = [c.name for c in KINDS[kind].columns]
        wanted = set(Record.model_fields) | set(model.model_fields)
        assert set(names) >= wanted - {"body", "kind", "stops", "photos"}
        assert len(names) == len(set(names))
    assert len({t.name for t in TABLES}) == len(TABLES)


def test_all_of_a_journal_comes_back_as_it_was(journal_url, tmp_path, checkout):
    farm = load_farm(checkout / "sample_logs" / "farm.yaml")
    with at_times(journal_url) as source, open_journal(tmp_path / "other.db") as other:
        filled(source)
        said = export(source, farm, tmp_path / "farm.zip")
        assert (said.differing, said.photos, said.missing) == (1, 2, ("0" * 64,))
        report = import_container(tmp_path / "farm.zip", other)
        assert told_of(other) == told_of(source)
        assert [s.received for s in other.since(0)][-1] < 2_000_000_000
        assert other.differing() == source.differing()
        assert len(other.clashes()) == len(source.clashes()) == 0
        assert other.records(as_known_at=1_999_999_999) == source.records(as_known_at=1_999_999_999)
        assert [p.message for p in other.check()] == [p.message for p in source.check()]
        assert other.photo(source.photos()[0]) == source.photo(source.photos()[0])
        assert report.farm == farm.text
        assert (report.new, report.aside, report.photos) == (said.records, 1, 2)
        assert report.as_received
        export(other, farm, tmp_path / "again.zip")
    assert (tmp_path / "again.zip").read_bytes() == (tmp_path / "farm.zip").read_bytes()


def test_it_is_taken_into_a_journal_that_has_some_of_it_each_thing_once(journal_url, tmp_path):
    with at_times(tmp_path / "source.db") as source, open_journal(journal_url) as other:
        filled(source)
        records = [s.record for s in source.since(0)]
        own = made(Note(text="only here"))
        other.add([own, *records[4:9], records[2].model_copy(update={"who": "another"})])
        other.add_photo(PNG)
        export(source, None, tmp_path / "farm.zip")
        first = import_container(tmp_path / "farm.zip", other)
        assert (first.new, first.known, first.differs) == (len(records) - 6, 5, 1)
        assert (first.aside, first.photos, first.photos_known) == (1, 1, 1)
        assert not first.as_received
        kept = {s.record.id: s.record for s in other.since(0)}
        assert kept.keys() == {r.id for r in records} | {own.id}
        assert {d.record for d in other.differing()} == {
            records[2],
            *(d.record for d in source.differing()),
        }
        before = told_of(other)
        again = import_container(tmp_path / "farm.zip", other)
        assert (again.new, again.known, again.differs) == (0, len(records) - 1, 1)
        assert (again.photos, again.photos_known) == (0, 2)
        assert told_of(other) == before

        # And the other way: what is only there comes here.
        export(other, None, tmp_path / "back.zip")
        back = import_container(tmp_path / "back.zip", source)
        assert (back.new, back.photos) == (1, 0)
        assert {s.record.id for s in source.since(0)} == kept.keys()


def test_both_versions_of_two_people_stand_after_an_import(tmp_path):
    old = made(Pick(weight_kg=10))
    here, there = corrected(old, Pick(weight_kg=11)), corrected(old, Pick(weight_kg=12))
    with open_journal(tmp_path / "a.db") as a, open_journal(tmp_path / "b.db") as b:
        a.add([old, here])
        b.add([old, there])
        export(b, None, tmp_path / "b.zip")
        assert set(import_container(tmp_path / "b.zip", a).clashes) == {there.id}
        (clash,) = a.clashes()
        assert {s.record for s in clash.versions} == {here, there}
        export(a, None, tmp_path / "a.zip")
        with open_journal(tmp_path / "c.db") as c:
            import_container(tmp_path / "a.zip", c)
            assert c.clashes() == a.clashes()


def test_an_empty_journal_goes_and_comes_too(tmp_path):
    with open_journal(tmp_path / "a.db") as a, open_journal(tmp_path / "b.db") as b:
        assert export(a, None, tmp_path / "a.zip").records == 0
        assert import_container(tmp_path / "a.zip", b).new == 0
        assert b.last() == 0


def test_photos_and_the_farm_file_can_be_left_out(tmp_path, checkout):
    farm = load_farm(checkout / "sample_logs" / "farm.yaml")
    with at_times(tmp_path / "a.db") as a, open_journal(tmp_path / "b.db") as b:
        filled(a)
        export(a, farm, tmp_path / "a.zip", what=())
        report = import_container(tmp_path / "a.zip", b)
        assert report.farm is None
        assert set(report.photos_missing) == {*a.photos(), "0" * 64}
        assert told_of(b)[:2] == told_of(a)[:2]
        assert b.photos() == []
        with pytest.raises(
            JournalError, match="cannot export 'logs'; expected some of farm, photos"
        ):
            export(a, farm, tmp_path / "a.zip", what=("logs",))


def test_times_are_those_of_the_farms_clock_to_the_second(tmp_path, checkout):
    """Indianapolis left daylight saving time on 2026-11-01 at 06:00 UTC (tz database: read)."""
    farm = load_farm(checkout / "sample_logs" / "farm.yaml")
    before, after = at("2026-11-01 05:30") + 7, at("2026-11-01 06:30") + 7
    with open_journal(tmp_path / "a.db") as a:
        a.add([made(Pick(), before), made(Pick(), after)])
        export(a, farm, tmp_path / "a.zip")
    with ZipFile(tmp_path / "a.zip") as archive:
        lines = archive.read("picks.csv").decode("utf-8-sig").splitlines()
    cells = [line.split(",")[1] for line in lines[1:]]
    assert farm.text.place.zone == "America/Indiana/Indianapolis"
    assert cells == ["2026-11-01T01:30:07-04:00", "2026-11-01T01:30:07-05:00"]
    assert [datetime.fromisoformat(c).timestamp() for c in cells] == [before, after]


def test_a_zone_whose_offset_has_seconds_does_not_lose_them(tmp_path, checkout):
    """Monrovia was 44 minutes 30 seconds behind until 1972 (tz database: read)."""
    farm = load_farm(checkout / "sample_logs" / "farm.yaml")
    place = farm.text.place.model_copy(update={"zone": "Africa/Monrovia"})
    odd = type(farm)(farm.text.model_copy(update={"place": place}), farm.folder)
    with open_journal(tmp_path / "a.db") as a, open_journal(tmp_path / "b.db") as b:
        a.add([made(Pick(), 12_345), made(Pick(), 4_102_444_800)])
        export(a, odd, tmp_path / "a.zip")
        import_container(tmp_path / "a.zip", b)
        assert b.records() == a.records()


RISKY = st.text(st.sampled_from("=+-@'\"; \t\r\n,a＝\ufeff\u200b\xa0"), max_size=12)


@given(st.one_of(st.text(max_size=20), RISKY))
def test_free_text_reads_back_exactly_and_never_begins_a_formula(text):
    cell = guard(text)
    assert unguard(cell) == text
    for piece in cell.replace("\t", ";").replace("\r", ";").replace("\n", ";").split(";"):
        assert not piece.strip(' "\ufeff\u200b\xa0').startswith(tuple("=+-@＝＋－＠"))


@pytest.mark.parametrize("words", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", " =1", "'=1"])
def test_no_cell_of_the_files_begins_a_formula(tmp_path, words):
    record = made(Note(text=words), who=words, note=words)
    with open_journal(tmp_path / "a.db") as a, open_journal(tmp_path / "b.db") as b:
        a.add(
            [
                record,
                corrected(record, Note(text=words), note=words).model_copy(update={"why": words}),
            ]
        )
        export(a, None, tmp_path / "a.zip")
        import_container(tmp_path / "a.zip", b)
        assert b.since(0) == a.since(0)
    with ZipFile(tmp_path / "a.zip") as archive:
        for name in archive.namelist():
            if name.endswith(".csv"):
                text = archive.read(name).decode("utf-8-sig")
                for row in csv.reader(io.StringIO(text, newline="")):
                    assert not [c for c in row if c.strip().startswith(tuple("=+-@"))]


def test_an_export_that_is_interrupted_leaves_the_file_that_was_there(tmp_path, monkeypatch):
    with at_times(tmp_path / "a.db") as a:
        a.add([made()])
        export(a, None, tmp_path / "a.zip")
        before = (tmp_path / "a.zip").read_bytes()
        filled(a)

        def stop(*_: object) -> None:
            raise KeyboardInterrupt

        def full(*_: object) -> None:
            raise OSError(28, "No space left on device")

        for target, name in ((container, "put"), (os, "fsync"), (os, "replace")):
            for act, error in ((stop, KeyboardInterrupt), (full, JournalError)):
                with monkeypatch.context() as patched:
                    patched.setattr(target, name, act)
                    with pytest.raises(error):
                        export(a, None, tmp_path / "a.zip")
                assert (tmp_path / "a.zip").read_bytes() == before
                assert not list(tmp_path.glob("*.part"))
        export(a, None, tmp_path / "a.zip")
        assert (tmp_path / "a.zip").read_bytes() != before


def test_what_reads_back_as_something_else_never_takes_the_place_of_a_file(tmp_path, monkeypatch):
    with open_journal(tmp_path / "a.db") as a:
        a.add([made(Note(text="'apostrophe"))])
        monkeypatch.setattr(container_columns, "guard", lambda text: text)
        with pytest.raises(JournalError, match="reads back as something else"):
            export(a, None, tmp_path / "a.zip")
        assert [p.name for p in tmp_path.glob("a.zip*")] == []


KILLED = """
import os, signal, sys
from riskrules.journal.container import export
from riskrules.journal.store import open_journal
os.replace = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
export(open_journal(sys.argv[1]), None, sys.argv[2])
"""


def test_an_export_that_is_killed_just_before_its_end_leaves_the_file_that_was_there(tmp_path):
    with at_times(tmp_path / "a.db") as a:
        a.add([made()])
        export(a, None, tmp_path / "a.zip")
        before = (tmp_path / "a.zip").read_bytes()
        a.add([made()])
        command = [sys.executable, "-c", KILLED, str(tmp_path / "a.db"), str(tmp_path / "a.zip")]
        done = subprocess.run(command, check=False, timeout=60, capture_output=True)
        assert done.returncode == -signal.SIGKILL, done.stderr.decode()
        assert (tmp_path / "a.zip").read_bytes() == before
        assert export(a, None, tmp_path / "a.zip").records == 2


def test_what_cannot_be_written_or_read_is_said(tmp_path):
    with open_journal(tmp_path / "a.db") as a:
        with pytest.raises(JournalError, match="cannot be written: No such file"):
            export(a, None, tmp_path / "none" / "a.zip")
        with pytest.raises(JournalError, match="cannot be read: No such file"):
            import_container(tmp_path / "none.zip", a)


def test_a_photo_that_was_damaged_in_the_database_is_not_exported(tmp_path):
    with at_times(tmp_path / "a.db") as a:
        filled(a)
        unguarded(a, "UPDATE photo SET data = x'ffd8ff'")
        with pytest.raises(JournalError, match="is not as it was received; nothing was written"):
            export(a, None, tmp_path / "a.zip")
    assert not (tmp_path / "a.zip").exists()


def round_trip(records: list[Record], again: list[Record], url: str, folder: Path) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    with at_times(url) as source, open_journal(folder / "b.db") as other:
        for i in range(0, len(records), 2):
            source.add(records[i : i + 2])
        source.add(again)
        export(source, None, folder / "a.zip")
        import_container(folder / "a.zip", other)
        assert told_of(other) == told_of(source)
        assert other.clashes() == source.clashes()
        assert other.blocks() == source.blocks()
        import_container(folder / "a.zip", other)
        assert told_of(other) == told_of(source)


@given(st.data())
@settings(max_examples=12 if settings().max_examples <= 100 else 100)
def test_any_records_go_into_a_file_and_come_back(tmp_path_factory, data):
    records, again = data.draw(any_records())
    folder = tmp_path_factory.getbasetemp() / "round_trip"
    path = tmp_path_factory.mktemp("source") / "a.db"
    round_trip(records, again, str(path), folder)


@given(st.data())
@settings(max_examples=4 if settings().max_examples <= 100 else 20)
def test_any_records_come_back_from_a_server_too(server, tmp_path_factory, data):
    records, again = data.draw(any_records())
    folder = tmp_path_factory.getbasetemp() / "round_trip_server"
    round_trip(records, again, server.new_schema(), folder)
