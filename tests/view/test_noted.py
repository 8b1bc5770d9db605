"""What is held of a journal in memory is what the journal itself says, whatever comes."""

from __future__ import annotations

import shutil
import tempfile
from datetime import date, timedelta
from uuid import UUID, uuid4

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from riskrules.journal.events import events_of
from riskrules.journal.records import Checked, JobDone, Note, Record, RowCover, Stages, TakenBack
from riskrules.journal.store import JournalError, open_journal
from riskrules.view.marks import mark_job, marks_of
from riskrules.view.noted import Noted

NOW, DAY = 1_792_494_000, date(2026, 10, 20)
BODIES = st.one_of(
    st.builds(RowCover, what=st.sampled_from(["on", "off"])),
    st.builds(Stages, codes=st.sampled_from([(60,), (60, 65)])),
    st.just(Checked()),
    st.just(Checked(same=("row_cover", "stages"))),
    st.builds(
        JobDone,
        job=st.sampled_from(["scout_flowers", "pick_sooner"]),
        what=st.sampled_from(["done", "put_off", "not_here"]),
        day=st.sampled_from([DAY - timedelta(days=n) for n in (0, 1, 14, 15)]),
    ),
    st.just(Note(text="wet")),
    st.just(TakenBack()),
)
STEP = st.tuples(
    BODIES, st.sampled_from(["north", "south", "far", None]), st.integers(0, 5),
    st.none() | st.integers(0, 12), st.booleans(),
)  # fmt: skip


def record(ids: list[UUID], n: int, step: tuple) -> Record | None:
    """Return the n-th record, or None where there can be none such; ``ids`` may be yet to come."""
    body, block, hour, above, _ = step
    more = {}
    if above is not None and above < len(ids) and above != n:
        more = {"replaces": ids[above], "why": "a test"}
    try:
        return Record(id=ids[n], block=block, time=NOW + 3600 * hour, made=NOW + n, who="ann",
                      note="x", body=body, **more)  # fmt: skip
    except ValueError:
        return None


def agree(noted: Noted) -> None:
    journal = noted.journal
    assert list(noted.events) == events_of(journal)
    for day in (DAY, DAY - timedelta(days=1)):
        assert noted.marks(day) == marks_of(journal, day)


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """An empty journal to copy: to make one takes longer than all that is asked of it."""
    path = tmp_path_factory.mktemp("empty") / "j.db"
    open_journal(path).close()
    return path


@pytest.mark.long
@settings(max_examples=120, deadline=None)
@given(st.lists(STEP, min_size=1, max_size=12))
def test_read_on_or_afresh_it_is_what_the_journal_says(empty, steps):
    """Corrections, chains, clashes, and corrections that come before what they correct."""
    ids = [uuid4() for _ in steps]
    with (
        tempfile.TemporaryDirectory() as folder,
        open_journal(shutil.copy(empty, folder)) as journal,
    ):
        noted = Noted(journal)
        for n, step in enumerate(steps):
            made = record(ids, n, step)
            if made is None:
                continue
            try:
                journal.add([made])
            except JournalError:  # a ring of corrections: it is refused
                continue
            if step[-1]:
                agree(noted)
        agree(noted)
        agree(Noted(journal))


def test_a_correction_that_came_early_can_tie_an_event_to_a_note(journal):
    """Found by chance among thousands: an event replaces a note to come, of a note in a clash."""
    top, late = uuid4(), uuid4()

    def kept(body, block="south", **more):
        more = {"id": uuid4(), **more}
        journal.add([Record(block=block, time=NOW, made=NOW, who="ann", body=body, **more)])

    noted = Noted(journal)
    kept(Note(text="wet"), id=top)
    kept(RowCover(what="on"), "north", replaces=late, why="a test")
    for body, more in ((Note(text="dry"), {}), (Note(text="dry"), {"id": late})):
        kept(body, replaces=top, why="a test", **more)
        agree(noted)
    kept(Note(text="dry"), replaces=top, why="a test")
    agree(noted)


@pytest.fixture
def journal(tmp_path):
    with open_journal(tmp_path / "j.db") as opened:
        yield opened


def mark(journal, what, made, noted=None):
    known = noted.standing("north", "scout_flowers", DAY) if noted else None
    return mark_job(journal, "north", "scout_flowers", DAY, what, "ann", NOW, made, standing=known)


def test_a_mark_and_a_note_leave_the_events_the_same_object(journal):
    journal.add([Record(id=uuid4(), block="north", time=NOW, made=NOW, who="ann",
                        body=RowCover(what="on"))])  # fmt: skip
    noted = Noted(journal)
    before, print_ = noted.events, noted.print
    for n, what in enumerate(("done", "put_off", None)):
        mark(journal, what, NOW + n, noted)
    journal.add([Record(id=uuid4(), block="north", time=NOW, made=NOW, who="ann", note="",
                        body=Note(text="wet"))])  # fmt: skip
    assert noted.events is before and noted.print == print_
    journal.add([Record(id=uuid4(), block="north", time=NOW + 9, made=NOW, who="ann",
                        body=RowCover(what="off"))])  # fmt: skip
    assert [e.what for e in noted.events] == ["on", "off"] and noted.print != print_


def test_a_mark_made_with_what_is_known_is_the_same_mark(journal):
    noted = Noted(journal)
    for n, what in enumerate(("done", "put_off", "put_off", "not_here", None, "done")):
        written = mark(journal, what, NOW + n, noted)
        assert (written == []) == (n == 2)
        agree(noted)
    assert noted.standing("north", "scout_flowers", DAY)[0].what == "done"


def test_another_journal_in_its_place_is_read_afresh(journal, tmp_path, monkeypatch):
    mark(journal, "done", NOW)
    noted = Noted(journal)
    assert noted.marks(DAY).today
    with open_journal(tmp_path / "other.db") as other:
        monkeypatch.setattr(noted, "journal", other)
        assert not noted.marks(DAY).today
        mark(other, "put_off", NOW)
        assert noted.marks(DAY).today["north", "scout_flowers"].what == "put_off"
