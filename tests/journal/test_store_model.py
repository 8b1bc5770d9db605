"""Any sequence of records, corrections, repeats and clashes: the same as a plain Python list."""

from __future__ import annotations

import os
import tempfile
from itertools import count
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    consumes,
    initialize,
    multiple,
    rule,
    run_state_machine_as_test,
)

from riskrules.journal.backup import restore
from riskrules.journal.records import Checked, Note, Pick, Record, RowCover, TakenBack
from riskrules.journal.store import open_journal

from .small_records import identifier

_NUMBERS = count(1_000_000)
TIMES = st.integers(0, 20)
BODIES = st.one_of(
    st.builds(RowCover, what=st.sampled_from(["on", "off"])),
    st.builds(Pick, weight_kg=st.none() | st.floats(0, 1e6, allow_nan=False)),
    st.builds(
        Note,
        text=st.text(st.characters(codec="utf-8", exclude_characters="\0"), min_size=1, max_size=9),
    ),
    st.builds(Checked, same=st.sampled_from([(), ("row_cover",), ("row_cover", "sides")])),
)


@st.composite
def new_records(draw, body=BODIES, replaces=None) -> Record:
    time = draw(TIMES)
    return Record(
        id=identifier(next(_NUMBERS)),
        block=draw(st.sampled_from(["north", "south", None])),
        time=time,
        end=draw(st.none() | st.integers(time, 30)),
        body=draw(body),
        who=draw(st.sampled_from(["ann", "bo"])),
        made=time,
        replaces=replaces,
        why="looked again" if replaces else "",
    )


class Plain:
    """The journal as a list in the order received."""

    def __init__(self) -> None:
        self.log: list[tuple[int, Record]] = []
        self.aside: list[Record] = []

    def add(self, record: Record, now: int) -> str:
        old = next((r for _, r in self.log if r.id == record.id), None)
        if old is None:
            self.log.append((now, record))
            return "new"
        if old == record:
            return "known"
        if record not in self.aside:
            self.aside.append(record)
        return "differs"

    def known(self, at: int | None = None) -> list[Record]:
        return [r for t, r in self.log if at is None or t <= at]

    def current(self, at: int | None = None) -> list[Record]:
        known = self.known(at)
        gone = {r.replaces for r in known}
        found = [r for r in known if r.id not in gone and not isinstance(r.body, TakenBack)]
        return sorted(found, key=lambda r: (r.time, r.id.int))

    def head(self, record: Record, known: list[Record]) -> Record:
        """What became of a record: itself, or what became of the last standing change to it."""
        changes = [r for r in known if r.replaces == record.id]
        return self.standing(changes, known)[-1] if changes else record

    def standing(self, changes: list[Record], known: list[Record]) -> list[Record]:
        heads = [(c, self.head(c, known)) for c in changes]
        heads.sort(key=lambda pair: known.index(pair[1]))
        stands = [h for c, h in heads if h is c or not isinstance(h.body, TakenBack)]
        return stands or [h for _, h in heads][-1:]

    def clashes(self, at: int | None = None) -> dict[object, list[Record]]:
        known = self.known(at)
        found = {}
        for target in {r.replaces for r in known if r.replaces}:
            stands = self.standing([r for r in known if r.replaces == target], known)
            if len(stands) > 1:
                found[target] = stands
        return found

    def counting(self, at: int | None = None) -> list[Record]:
        known = self.known(at)
        ids = {r.id for r in known}
        roots = {r.replaces or r.id for r in known if r.replaces not in ids}
        heads = []
        for root in roots:
            there = [r for r in known if r.id == root]
            changes = [r for r in known if r.replaces == root]
            heads.append(self.head(there[0], known) if there else self.standing(changes, known)[-1])
        found = [r for r in heads if not isinstance(r.body, TakenBack)]
        return sorted(found, key=lambda r: (r.time, r.id.int))


class JournalMachine(RuleBasedStateMachine):
    """Do the same to a journal and to a plain list, and compare all that both can say."""

    new_url = staticmethod(lambda folder: str(folder / "journal.db"))
    sent = Bundle("sent")

    @initialize()
    def begin(self) -> None:
        # In memory where that can be: what a disk does is tried elsewhere.
        memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
        self.folder = tempfile.TemporaryDirectory(dir=memory)
        self.now = 1000
        self.url = self.new_url(Path(self.folder.name))
        self.journal = open_journal(self.url, clock=lambda: self.now)
        self.plain = Plain()

    def add(self, *records: Record) -> None:
        self.now += 1
        kept = self.journal.add(records)
        assert [k.state for k in kept] == [self.plain.add(r, self.now) for r in records]
        standing = {r.id for v in self.plain.clashes().values() for r in v}
        assert [k.clash for k in kept] == [r.id in standing for r in records]

    @rule(target=sent, records=st.lists(new_records(), min_size=1, max_size=3))
    def record(self, records):
        self.add(*records)
        return multiple(*records)

    @rule(target=sent, data=st.data(), old=sent)
    def correct(self, data, old):
        new = data.draw(new_records(replaces=old.id))
        self.add(new)
        return new

    @rule(target=sent, data=st.data(), old=sent)
    def take_back(self, data, old):
        new = data.draw(new_records(body=st.just(TakenBack()), replaces=old.id))
        self.add(new)
        return new

    @rule(target=sent, data=st.data(), first=st.booleans())
    def correct_before_the_record_comes(self, data, first):
        old = data.draw(new_records())
        new = data.draw(new_records(replaces=old.id))
        self.add(*((new, old) if first else (new,)))
        if not first:
            self.add(old)
        return new

    @rule(old=sent)
    def send_again(self, old):
        self.add(old)

    @rule(old=consumes(sent), words=st.sampled_from(["x", "y"]))
    def send_other_content(self, old, words):
        self.add(old.model_copy(update={"note": words}))

    @rule()
    def open_again(self):
        self.journal.close()
        self.journal = open_journal(self.url, clock=lambda: self.now)

    @rule()
    def back_up_and_restore(self):
        folder = Path(self.folder.name)
        backup, again = folder / f"b{self.now}", folder / f"r{self.now}"
        self.now += 1
        self.journal.backup(backup)
        restore(backup, again)
        with open_journal(again) as other:
            assert other.since(0) == self.journal.since(0)
            assert other.differing() == self.journal.differing()

    @rule(age=st.integers(0, 9), block=st.sampled_from([None, "north", "south"]))
    def compare(self, age, block):
        for at in (None, self.now - age):
            current, counting = self.plain.current(at), self.plain.counting(at)
            assert self.journal.records(as_known_at=at) == current
            assert self.journal.counting(as_known_at=at) == counting
            clashes = self.journal.clashes(as_known_at=at)
            said = {c.replaced: [s.record for s in c.versions] for c in clashes}
            assert said == self.plain.clashes(at)
            picked = [r for r in current if r.block in (None, block) and r.time <= 9]
            if block is not None:
                found = self.journal.records(block, last=9, as_known_at=at)
                assert found == picked
        assert [s.record for s in self.journal.since(0)] == self.plain.known()
        assert [d.record for d in self.journal.differing()] == self.plain.aside

    @rule(old=sent)
    def compare_history(self, old):
        known = {old.id}
        while True:  # all that are linked to it by 'replaces', one way or the other
            log = self.plain.known()
            more = {r.id for r in log if r.replaces in known or r.id in known}
            more |= {r.replaces for r in log if r.id in known and r.replaces}
            if more <= known:
                break
            known |= more
        found = [s.record for s in self.journal.history(old.id)]
        assert found == [r for r in self.plain.known() if r.id in known]

    def teardown(self) -> None:
        if hasattr(self, "journal"):
            self.compare(3, "north")
            assert self.journal.check() == []
            self.journal.close()
            self.folder.cleanup()


def test_on_sqlite_any_sequence_leaves_the_history_of_a_plain_list():
    long = settings().max_examples > 100
    given = settings(max_examples=300 if long else 8, stateful_step_count=20)
    run_state_machine_as_test(JournalMachine, settings=given)


def test_on_postgresql_any_sequence_leaves_the_history_of_a_plain_list(server):
    class OnServer(JournalMachine):
        new_url = staticmethod(lambda folder: server.new_schema())

    long = settings().max_examples > 100
    given = settings(max_examples=60 if long else 2, stateful_step_count=20)
    run_state_machine_as_test(OnServer, settings=given)


def test_the_plain_list_itself_knows_a_clash():
    """The list is what the journal is compared with, so that it is tried by hand here."""
    plain = Plain()
    made = [
        Record(id=identifier(n), time=1, body=b, who="a", made=1, replaces=r, why="x")
        for n, b, r in [
            (1, Note(text="a"), None),
            (2, Note(text="b"), identifier(1)),
            (3, Note(text="c"), identifier(1)),
            (4, TakenBack(), identifier(3)),
        ]
    ]
    for i, each in enumerate(made):
        plain.add(each, i)
    assert plain.clashes(at=2) == {made[0].id: made[1:3]}
    assert plain.counting(at=2) == [made[2]]
    assert plain.clashes() == {}
    assert plain.counting() == [made[1]]
