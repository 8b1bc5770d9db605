"""Fifty who write at once, into one journal."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

from riskrules.journal.records import Note
from riskrules.journal.store import Journal, open_journal

from .small_records import corrected, made

SCOUTS = 50


def test_fifty_scouts_at_once_lose_and_double_nothing(journal_url: str):
    """Each with a connection of its own, and each record sent twice."""
    open_journal(journal_url).close()
    start = threading.Barrier(SCOUTS)
    work = [
        [made(Note(text=f"{s} {i}"), who=f"scout {s}") for i in range(2)] for s in range(SCOUTS)
    ]

    def scout(records):
        with open_journal(journal_url) as journal:
            start.wait(timeout=60)
            return [journal.add([each])[0].seq for each in (*records, *records)]

    with ThreadPoolExecutor(SCOUTS) as pool:
        told = list(pool.map(scout, work))
    with open_journal(journal_url) as journal:
        stored = journal.since(0)
        assert sorted(s.record.id for s in stored) == sorted(r.id for w in work for r in w)
        assert [s.seq for s in stored] == list(range(1, 2 * SCOUTS + 1))
        by_id = {s.record.id: s.seq for s in stored}
        for records, numbers in zip(work, told, strict=True):
            assert numbers == [by_id[r.id] for r in (*records, *records)]
        assert journal.check() == []


def test_threads_may_share_a_journal(journal: Journal):
    work = [made(Note(text=f"{i}")) for i in range(60)]
    with ThreadPoolExecutor(20) as pool:
        list(pool.map(lambda r: journal.add([r]), work))
    assert sorted(r.id for r in journal.records()) == sorted(r.id for r in work)


def test_of_those_who_correct_the_same_at_once_all_but_the_first_are_told(journal: Journal):
    old = made(Note(text="first"))
    journal.add([old])
    changes = [corrected(old, Note(text=f"{i}"), who=f"scout {i}") for i in range(8)]
    start = threading.Barrier(8)

    def change(each):
        start.wait(timeout=60)
        return journal.add([each])[0]

    with ThreadPoolExecutor(8) as pool:
        told = list(pool.map(change, changes))
    assert sum(k.clash for k in told) == 7
    assert {k.seq for k in told if not k.clash} == {2}
    (clash,) = journal.clashes()
    assert {s.record.id for s in clash.versions} == {c.id for c in changes}


def test_two_may_make_the_same_new_journal_at_once(journal_url: str):
    start = threading.Barrier(6)

    def make(_):
        start.wait(timeout=60)
        with open_journal(journal_url) as journal:
            return journal.add([made()])[0].state

    with ThreadPoolExecutor(6) as pool:
        assert list(pool.map(make, range(6))) == ["new"] * 6
    with open_journal(journal_url) as journal:
        assert journal.last() == 6
        assert journal.check() == []
