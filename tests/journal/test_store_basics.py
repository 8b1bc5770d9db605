"""What is kept, how it is corrected, and how any past state is shown."""

from __future__ import annotations

import re
from uuid import UUID

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from riskrules.journal.photos import PHOTO_LIMIT
from riskrules.journal.records import (
    Block,
    Checked,
    JobDone,
    Note,
    Pick,
    Record,
    RowCover,
    Sighting,
    Stages,
    TakenBack,
    Walk,
)
from riskrules.journal.store import Journal, JournalError, open_journal

from .small_records import JPEG, PNG, at, corrected, identifier, made

EVERY_SORT = (
    Block(beds=12, bed_length=80.5, planted="2026-03-02", row_covers=True),
    Stages(codes=(65, 60)),
    Walk(pattern="random", seed=7, per_stop=20, stops=((1, 2, 3.5), (2, 9, 80.25))),
    Sighting(
        symptom="gray_mold",
        part="flower",
        affected=3,
        examined=40,
        stops=({"stop": 1, "affected": 3, "examined": 40, "bed": 4},),
        walk=identifier(999_999),
    ),
    Note(text="'; DROP TABLE record; -- ünïcode 🍓 \u2028 \\ \" \t"),
    JobDone(job="open_sides", what="put_off", day="2026-06-10"),
    Checked(same=("sides",)),
)


def test_every_sort_of_record_comes_back_as_it_was(journal: Journal):
    sent = [
        made(body, f"2026-06-1{i} 08:00", note="wörds", end=at("2026-07-01 00:00"))
        for i, body in enumerate(EVERY_SORT)
    ]
    kept = journal.add(sent)
    assert [k.state for k in kept] == ["new"] * len(sent)
    assert [k.seq for k in kept] == list(range(1, len(sent) + 1))
    assert journal.records() == sent
    assert [s.record for s in journal.since(0)] == sent
    assert journal.check() == []


def test_a_record_sent_twice_is_kept_once(journal: Journal):
    sent = made(Pick(weight_kg=120))
    (first,) = journal.add([sent])
    again = journal.add([sent, sent])
    assert {(k.state, k.seq) for k in again} == {("known", first.seq)}
    assert journal.records() == [sent]
    assert journal.last() == 1


def test_the_same_identifier_with_other_content_is_told_and_kept_beside(journal: Journal):
    sent = made(Pick(weight_kg=120))
    other = sent.model_copy(update={"note": "the lower half"})
    third = sent.model_copy(update={"who": "somebody else"})
    journal.add([sent])
    assert [k.state for k in journal.add([other, third, other])] == ["differs"] * 3
    assert [k.state for k in journal.add([third])] == ["differs"]
    assert journal.records() == [sent]
    assert [d.record for d in journal.differing()] == [other, third]
    assert journal.check() == []


def test_what_comes_twice_in_one_batch_is_kept_once_or_told(journal: Journal):
    sent = made(Pick())
    other = sent.model_copy(update={"who": "other"})
    assert [k.state for k in journal.add([sent, sent, other])] == ["new", "known", "differs"]
    assert journal.records() == [sent]


def test_a_correction_is_a_new_record_and_the_old_one_stays_in_its_history(journal: Journal):
    old = made(Pick(weight_kg=1200))
    new = corrected(old, Pick(weight_kg=120))
    gone = corrected(new)
    journal.add([old])
    journal.add([new])
    assert journal.records() == [new]
    journal.add([gone])
    assert journal.records() == []
    assert journal.records(kinds=["taken_back"]) == [gone]
    for known in (old, new, gone):
        chain = journal.history(known.id)
        assert [s.record for s in chain] == [old, new, gone]
        assert [s.replaced for s in chain] == [2, 3, None]
    assert set(journal.records(all_versions=True)) == {old, new, gone}
    assert journal.history(UUID(int=5)) == []


def test_any_past_state_can_be_shown(journal_url: str):
    moments = iter((1000, 2000, 3000, 4000))
    with open_journal(journal_url, clock=lambda: next(moments)) as journal:
        old = made(RowCover(what="on"))
        new = corrected(old, RowCover(what="off"))
        other = corrected(old, RowCover(what="off"), note="by the other crew")
        for each in (old, new, other, corrected(other)):
            journal.add([each])
        assert journal.records(as_known_at=999) == []
        assert journal.records(as_known_at=1000) == [old]
        assert journal.records(as_known_at=2999) == [new]
        assert set(journal.records(as_known_at=3000)) == {new, other}
        assert len(journal.clashes(as_known_at=3000)) == 1
        assert journal.clashes(as_known_at=2999) == journal.clashes() == []
        assert journal.records(up_to=1) == [old]
        assert journal.records() == [new]


def test_a_clock_that_falls_back_a_little_does_not_mix_up_what_came_first(journal_url: str):
    moments = iter((10_000, 9_990, 10_000 - 86_400))
    with open_journal(journal_url, clock=lambda: next(moments)) as journal:
        for _ in range(3):
            journal.add([made()])
        assert [s.received for s in journal.since(0)] == [10_000, 10_000, 10_000 - 86_400]


def test_two_who_change_the_same_are_told_and_both_versions_stay(journal: Journal):
    old = made(RowCover(what="on"))
    hers = corrected(old, RowCover(what="off"), who="she")
    his = corrected(old, RowCover(what="on"), who="he")
    journal.add([old])
    assert [k.clash for k in journal.add([hers])] == [False]
    assert [k.clash for k in journal.add([his])] == [True]
    (clash,) = journal.clashes()
    assert clash.replaced == old.id
    assert [s.record for s in clash.versions] == [hers, his]
    assert clash.counts == his.id
    assert set(journal.records()) == {hers, his}
    assert journal.counting() == [his]
    assert [k.clash for k in journal.add([hers, his])] == [True, True]

    journal.add([corrected(his)])
    assert journal.clashes() == []
    assert journal.counting() == [hers]


def test_a_correction_against_a_take_back_is_a_clash_too(journal: Journal):
    old = made(Pick())
    journal.add([old, gone := corrected(old), kept := corrected(old, Pick(weight_kg=9))])
    (clash,) = journal.clashes()
    assert [s.record for s in clash.versions] == [gone, kept]
    assert journal.counting() == [kept]
    journal.add([corrected(kept)])
    assert journal.clashes() == []
    assert journal.counting() == []


def test_a_correction_may_come_before_what_it_corrects(journal: Journal):
    old = made(Pick())
    new = corrected(old, Pick(weight_kg=3))
    journal.add([new])
    assert [p.message for p in journal.check()] == [
        f"record 1 ({new.id}) replaces {old.id}, which has not come"
    ]
    journal.add([old])
    assert journal.records() == [new]
    assert journal.check() == []


@pytest.mark.parametrize("at_once", [True, False])
def test_records_that_replace_each_other_in_a_ring_are_refused(journal: Journal, at_once: bool):
    a, b = identifier(500_001), identifier(500_002)
    ring = [
        made(Pick(), id=a, replaces=b, why="one"),
        made(Pick(), id=b, replaces=a, why="two"),
    ]
    if not at_once:
        journal.add(ring[:1])
        ring = ring[1:]
    with pytest.raises(JournalError, match="would replace itself by way of others"):
        journal.add(ring)
    assert journal.last() == (0 if at_once else 1)


def test_a_batch_is_kept_whole_or_not_at_all(journal: Journal):
    with pytest.raises(JournalError):
        journal.add([made(), made(Note(text="a\0b"))])
    assert journal.records() == []


@pytest.mark.parametrize(
    ("record", "said"),
    [
        (lambda: made(Note(text="a\0b")), r"body.text holds a NUL character"),
        (lambda: made(who="\0"), r"who holds a NUL character"),
        (
            lambda: made().model_copy(update={"note": "x\ud800"}),
            r"note holds half a character \(a lone surrogate\)",
        ),
        (
            lambda: made(Walk(pattern="random", per_stop=1, stops=((1, 1, float("nan")),))),
            r"body.stops is nan; expected a number",
        ),
    ],
)
def test_what_no_database_can_store_is_refused_in_a_sentence(journal: Journal, record, said):
    with pytest.raises(JournalError, match=said) as caught:
        journal.add([record()])
    assert "\n" not in str(caught.value)


def test_records_are_found_by_block_kind_and_time_in_order(journal: Journal):
    records: list[Record] = [
        made(Pick(), "2026-06-03 08:00"),
        made(Pick(), "2026-06-01 08:00", block="south"),
        made(Note(text="frost was forecast"), "2026-06-02 08:00", block=None),
        made(Stages(codes=(60,)), "2026-06-01 08:00"),
    ]
    journal.add(records)
    ordered = sorted(records, key=lambda r: (r.time, r.id.int))
    assert journal.records() == ordered
    assert journal.records("north") == [r for r in ordered if r.block in ("north", None)]
    assert journal.records("north", ["pick"]) == [records[0]]
    first, last = at("2026-06-02 08:00"), at("2026-06-03 07:59")
    assert journal.records(first=first, last=last) == [records[2]]
    assert journal.records(kinds=[]) == []


def test_a_correction_may_move_a_record_to_another_block(journal: Journal):
    old = made(Pick())
    new = corrected(old, Pick(), block="south")
    journal.add([old, new])
    assert journal.records("north") == []
    assert journal.records("south") == [new]


def test_the_blocks_are_as_they_were_last_said_to_be(journal: Journal):
    journal.add([made(Block(beds=3), "2026-03-01 08:00"), made(Block(beds=4), block="south")])
    journal.add([made(Block(beds=5), "2026-05-01 08:00")])
    assert journal.blocks() == {"north": Block(beds=5), "south": Block(beds=4)}


def test_a_photo_is_kept_once_by_its_hash(journal: Journal):
    known = journal.add_photo(PNG)
    assert journal.add_photo(PNG) == known
    found = journal.photo(known)
    assert found is not None
    assert (found.data, found.media_type) == (PNG, "image/png")
    journal.add_photo(JPEG)
    assert len(journal.photos()) == 2
    assert journal.photo("0" * 64) is None
    journal.add([made(Note(text="see", photos=(known,)))])
    assert journal.check() == []
    journal.add([made(Note(text="see", photos=("a" * 64,)))])
    assert [p.message for p in journal.check()] == [
        f"record 2 shows photo {'a' * 64}, which has not come"
    ]


def test_what_is_no_photo_or_too_large_is_refused(journal: Journal):
    with pytest.raises(JournalError, match="expected JPEG, PNG, WebP or HEIC"):
        journal.add_photo(b"<svg/>")
    with pytest.raises(JournalError, match="10,000,001 bytes; expected at most 10,000,000"):
        journal.add_photo(PNG + bytes(PHOTO_LIMIT + 1 - len(PNG)))


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE record SET who = 'nobody'",
        "DELETE FROM record",
        "UPDATE differing SET content = ''",
        "DELETE FROM differing",
        "UPDATE photo SET media_type = ''",
        "DELETE FROM photo",
    ],
)
def test_the_database_itself_refuses_to_change_or_erase(journal: Journal, statement: str):
    sent = made()
    journal.add([sent])
    journal.add([sent.model_copy(update={"note": "other"})])
    journal.add_photo(PNG)
    with (
        pytest.raises(DBAPIError, match="the journal is append-only"),
        journal.database.engine.begin() as conn,
    ):
        conn.execute(text(statement))
    assert journal.records() == [sent]
    assert journal.check() == []


def test_neither_replacing_nor_truncating_gets_past_the_guards(journal: Journal):
    journal.add([made()])
    columns = "block, kind, time, who, made, received, why, note, came_by, body, hash, clashing"
    statement = (
        f"INSERT OR REPLACE INTO record (seq, id, {columns}) "
        f"SELECT 1, id, {columns} FROM record WHERE seq = 1"
        if journal.database.is_sqlite
        else "TRUNCATE record CASCADE"
    )
    with (
        pytest.raises(DBAPIError, match="the journal is append-only"),
        journal.database.engine.begin() as conn,
    ):
        conn.execute(text(statement))
    assert len(journal.records()) == 1


def unguarded(journal: Journal, *statements: str) -> None:
    """Do what no program should: change rows with the triggers out of the way."""
    with journal.database.engine.begin() as conn:
        if journal.database.is_sqlite:
            names = conn.execute(text("SELECT name FROM sqlite_master WHERE type = 'trigger'"))
            for name in names.scalars().all():
                conn.execute(text(f"DROP TRIGGER {name}"))
            conn.execute(text("PRAGMA defer_foreign_keys = ON"))
        else:
            conn.execute(text("SET LOCAL session_replication_role = replica"))
        for statement in statements:
            conn.execute(text(statement))


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        ("UPDATE record SET note = 'forged' WHERE seq = 2", "record 2 .* is not as it was"),
        ("UPDATE record SET received = 5 WHERE seq = 2", "record 2 .* breaks the chain"),
        ("DELETE FROM record WHERE seq = 2", "records 2 to 2 are gone"),
        ("UPDATE record SET body = '{' WHERE seq = 2", "record 2 .* is not readable"),
        ("UPDATE record SET kind = 'pick' WHERE seq = 2", "record 2 .* is said to be a pick"),
        ("UPDATE record SET clashing = true WHERE seq = 2", "record 2 .* rightly"),
        ("UPDATE differing SET content = '{}'", "differing record 1 .* is not as it was"),
        ("UPDATE photo SET data = 'x'", "photo .* is not as it was"),
    ],
)
def test_check_finds_what_was_changed_behind_the_guards(journal: Journal, statement, said):
    records = [made() for _ in range(3)]
    journal.add(records)
    journal.add([records[0].model_copy(update={"note": "other"})])
    journal.add_photo(PNG)
    assert journal.check() == []
    unguarded(journal, statement)
    messages = " | ".join(p.message for p in journal.check())

    assert re.search(said, messages), messages


def test_check_finds_that_a_guard_is_gone(journal: Journal):
    unguarded(journal)
    if not journal.database.is_sqlite:
        with journal.database.engine.begin() as conn:
            conn.execute(text("ALTER TABLE record DISABLE TRIGGER record_kept"))
    assert any("is not guarded" in p.message for p in journal.check())


def test_a_take_back_of_nothing_is_no_record():
    with pytest.raises(ValueError, match="which is not said"):
        made(TakenBack())
