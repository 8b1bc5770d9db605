"""The journal as events, so that facts are derived from it as from an events file."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from uuid import UUID

from riskrules.facts.kinds import SYMPTOMS
from riskrules.journal.records import (
    STATES,
    Checked,
    Film,
    Irrigation,
    Limit,
    Pick,
    Record,
    RowCover,
    Sides,
    Sighting,
    Stages,
    Straw,
    Work,
)
from riskrules.journal.rows import Stored
from riskrules.journal.store import Journal
from riskrules.logs.events import WORDS, Event


def events_of(
    journal: Journal,
    block: str | None = None,
    as_known_at: int | None = None,
    first: int | None = None,
    last: int | None = None,
) -> list[Event]:
    """Return what the journal says happened, in time order; of a clash the version that counts.

    Kinds without an event of their own (notes, walks, jobs, blocks, runner work) give none: they
    say nothing of covers, water or picks, so the journal is no more current for them. A record
    that a state was looked at and is the same states it again at that time, but only where the
    journal still says what it said to the one who looked.

    Parameters
    ----------
    block : str, optional
        Events of this block, and those that name none.
    as_known_at : int, optional
        With what had been received by then. [s since 1970 UTC]
    first, last : int, optional
        Of records of times between, both included [s]. A state said before ``first`` is not
        seen: let it be as early as the oldest state that may still hold.
    """
    found, losing = journal.versions_and_losing(block, as_known_at, first, last)
    return counted_events(found, losing, block)


def counted_events(
    versions: Sequence[Stored],
    losing: Collection[UUID] = (),
    block: str | None = None,
    names: Collection[str] = (),
) -> list[Event]:
    """Return the events of records, given all versions and which of them stand but don't count.

    ``block`` is the only one of the records, None where they are of the whole farm. ``names`` are
    of blocks that other records name.
    """
    out = set(losing)
    counts = [s for s in versions if s.replaced is None and s.record.id not in out]
    events = [event for s in counts if (event := event_of(s.record)) is not None]
    checks = [s for s in counts if isinstance(s.record.body, Checked)]
    if checks:
        known = {s.record.block for s in counts if s.record.block} if block is None else {block}
        states = _States(versions, out)
        events += [e for each in checks for e in _same_again(each, states, known | {*names})]
    # By time first: to compare whole events is what costs.
    return sorted(sorted(set(events), key=lambda e: e.time))


def event_of(record: Record) -> Event | None:
    """Return the event that a record is on its own; None where it is none.

    Examples
    --------
    >>> made = {"id": "6f1c3d3e-0a53-4b57-8a39-0d9c5a8a1f00", "who": "ann", "made": 9}
    >>> event_of(Record(**made, time=9, block="north", body=RowCover(what="on"))).what
    'on'
    """
    named = _named(record)
    if named is None:
        return None
    event, what = named
    body, block = record.body, record.block or ""
    affected, examined = (0, 0)
    if isinstance(body, Sighting):
        affected, examined = body.affected, body.examined
    stages = body.codes if isinstance(body, Stages) else ()
    return Event(record.time, event, what, record.end, affected, examined, block, stages)


def _named(record: Record) -> tuple[str, str] | None:
    """Return the event and its column ``what``."""
    body = record.body
    match body:
        case Stages():
            return "stages", " ".join(str(code) for code in body.codes)
        case RowCover() | Sides() | Film() | Straw():
            return body.kind, body.what
        case Irrigation():
            return "irrigation", " ".join(filter(None, (body.method, body.depth)))
        case Pick():
            return "pick", body.state
        case Limit():
            return f"no_{body.what}", ""
        case Sighting():
            # The list of symptoms is open; rules know those of theirs, and 'other'.
            symptom = body.symptom if body.symptom in SYMPTOMS else "other"
            return "sighting", f"{body.part} {symptom}"
        case Checked():
            return "checked", ""
        case Work() if body.what in WORDS:
            return body.what, ""
    return None


class _States:
    """Records that set a state, by kind and time; to be asked what held when, and who knew it."""

    def __init__(self, versions: Sequence[Stored], out: Collection[UUID]) -> None:
        self._of: dict[str, list[tuple[Event, Stored, bool]]] = {kind: [] for kind in STATES}
        for each in versions:
            event = event_of(each.record) if each.record.kind in STATES else None
            if event is not None:
                counts = each.replaced is None and each.record.id not in out
                self._of[each.record.kind].append((event, each, counts))
        for entries in self._of.values():
            entries.sort(key=lambda e: e[0].time)
            entries.sort(key=lambda e: e[0])

    def now(self, kind: str, block: str, time: int) -> Event | None:
        """Return what held in a block at a time, by all that is known now."""
        return self._last(kind, block, time, lambda _, counts: counts)

    def then(self, kind: str, block: str, time: int, seq: int) -> Event | None:
        """Return the same by what was known when a record was received."""
        return self._last(
            kind,
            block,
            time,
            lambda s, _: s.seq < seq and (s.replaced is None or s.replaced > seq),
        )

    def _last(
        self, kind: str, block: str, time: int, stands: Callable[[Stored, bool], bool]
    ) -> Event | None:
        entries = self._of[kind]
        for i in range(bisect_right(entries, time, key=lambda e: e[0].time) - 1, -1, -1):
            event, stored, counts = entries[i]
            if event.block in ("", block) and stands(stored, counts):
                return event
        return None


def _same_again(check: Stored, states: _States, names: Collection[str]) -> Iterator[Event]:
    """Give the states that a record says are the same, at its time, for each block by name."""
    record = check.record
    assert isinstance(record.body, Checked)
    blocks = sorted(names) if record.block is None else [record.block]
    for kind in record.body.same:
        held: list[Event] = []
        for block in blocks:
            held += _still(kind, block, record.time, check.seq, states)
        yield from held
        # To restate what holds where no block is named must not undo what holds in one.
        if record.block is None:
            everywhere = _still(kind, "", record.time, check.seq, states)
            words = {(e.what, e.stages) for e in held}
            yield from (e for e in everywhere if words <= {(e.what, e.stages)})


def _still(kind: str, block: str, time: int, seq: int, states: _States) -> list[Event]:
    """Return a state of a block at a time; nothing where its checker knew another."""
    then, now = states.then(kind, block, time, seq), states.now(kind, block, time)
    if then is None or now is None or (then.what, then.stages) != (now.what, now.stages):
        return []
    return [replace(now, time=time, block=block, end=None)]
