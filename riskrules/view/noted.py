"""What the journal says, held in memory and read on from the record that was received last."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from threading import RLock
from uuid import UUID

from riskrules.journal.clashes import losing
from riskrules.journal.events import counted_events, event_of
from riskrules.journal.records import Record
from riskrules.journal.rows import Stored
from riskrules.journal.store import Journal
from riskrules.logs.events import Event
from riskrules.view.marks import LOOK_BACK_D, Mark, Marks, mark_of, marks_on
from riskrules.view.prints import print_of


class Noted:
    """The events and the marks of a journal, the same as the journal itself would give.

    A journal only grows, so each question reads what was received since the last one. What a tap
    costs does not go with what is long past. Threads may share it.

    Parameters
    ----------
    journal : Journal
    """

    def __init__(self, journal: Journal) -> None:
        self.journal = journal
        self._lock = RLock()
        self._forget()

    @property
    def events(self) -> tuple[Event, ...]:
        """What `riskrules.journal.events.events_of` says now: the same object while it is equal."""
        with self._lock:
            self._read_on()
            return self._events

    @property
    def print(self) -> str:
        """The fingerprint of what the events say, whichever records say it."""
        with self._lock:
            self._read_on()
            return self._print

    def marks(self, day: date) -> Marks:
        """Return the marks of a day and the earlier ones, as `marks.marks_of` does."""
        with self._lock:
            self._read_on()
            near = [ids for d, ids in self._days.items() if 0 <= (day - d).days <= LOOK_BACK_D]
            return marks_on((m for ids in near for m in self._stand(ids)), day)

    def standing(self, block: str, job: str, day: date) -> list[Mark]:
        """Return the marks of a job, block and day that count; two where two people marked it."""
        with self._lock:
            self._read_on()
            of_day = self._stand(self._days.get(day, ()))
            return [m for m in of_day if (m.block, m.job) == (block, job)]

    def _stand(self, ids: Sequence[UUID]) -> list[Mark]:
        return [self._marks[i] for i in ids if i not in self._children and i not in self._losing]

    def _forget(self) -> None:
        self._last: tuple[int, UUID] | None = None
        self._versions: dict[UUID, Stored] = {}
        self._marks: dict[UUID, Mark] = {}
        self._days: dict[date, list[UUID]] = {}
        self._children: dict[UUID, list[Stored]] = {}
        self._blocks: dict[UUID, str | None] = {}
        self._quiet: set[UUID] = set()
        self._mixed = False
        self._losing: set[UUID] = set()
        self._names: set[str] = set()
        self._events: tuple[Event, ...] = ()
        self._print = print_of(())

    def _read_on(self) -> None:
        found = self.journal.since(self._last[0] - 1 if self._last else 0)
        if self._last is not None:
            if not found or (found[0].seq, found[0].record.id) != self._last:
                self._forget()  # another journal lies there now
                found = self.journal.since()
            else:
                found = found[1:]
        if not found:
            return
        loud = [s for s in found if not self._take(s)]
        self._last = (found[-1].seq, found[-1].record.id)
        if any(s.record.replaces for s in found):
            self._settle()
        if loud or self._mixed:
            self._tell()

    def _take(self, stored: Stored) -> bool:
        """Keep a record, and return whether it surely changes no event."""
        record = stored.record
        quiet = self._is_quiet(record)
        if quiet:
            self._quiet.add(record.id)
        elif record.replaces in self._quiet:
            self._mixed = True  # a mark that became an event: from now on nothing is quiet
        self._blocks[record.id] = record.block
        if record.replaces is not None:
            self._children.setdefault(record.replaces, []).append(stored)
        mark = mark_of(record)
        if mark is not None:
            self._marks[record.id] = mark
            self._days.setdefault(mark.day, []).append(record.id)
        elif event_of(record) is not None:
            self._versions[record.id] = stored
        # A state confirmed everywhere is said again for each block that any record names.
        return quiet and (record.block is None or record.block in self._names)

    def _is_quiet(self, record: Record) -> bool:
        """Whether neither a record, nor what it corrects in turn, nor what corrects it is an event.

        A correction that came before what it corrects counts as one: that is seldom.
        """
        above = record.replaces
        return (
            event_of(record) is None
            and record.id not in self._children
            and (above is None or (above in self._quiet and self._blocks[above] == record.block))
        )

    def _settle(self) -> None:
        """Find which of several records that replace the same one don't count."""
        targets = [top for top, several in self._children.items() if len(several) > 1]
        members = (s for several in self._children.values() for s in several)
        self._losing = losing(targets, members) if targets else set()

    def _tell(self) -> None:
        out = self._children.keys() | self._losing
        self._names = {b for i, b in self._blocks.items() if b and i not in out}
        versions = [
            replace(s, replaced=self._children[i][0].seq if i in self._children else None)
            for i, s in self._versions.items()
        ]
        events = tuple(counted_events(versions, self._losing, names=self._names))
        if events != self._events:
            self._events, self._print = events, print_of(events)
