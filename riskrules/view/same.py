"""States that the journal or the events file says, gone stale, to be confirmed with one tap."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from riskrules.farm import BlockText, setup_of
from riskrules.journal.records import (
    STATES,
    Body,
    Checked,
    Film,
    Record,
    RowCover,
    Sides,
    Stages,
    Straw,
)
from riskrules.journal.stale import Stale, limit_of
from riskrules.logs.events import Event, of_block
from riskrules.packs.model import Threshold

BODIES: dict[str, type[Body]] = {
    "row_cover": RowCover, "sides": Sides, "film": Film, "straw": Straw, "stages": Stages,
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Asked:
    """A stale state of a block, whether the journal is who said it, and what it says."""

    stale: Stale
    by_journal: bool
    stages: tuple[int, ...] = ()

    @property
    def block(self) -> str:
        """The block it is about."""
        return self.stale.block


def asked_states(
    blocks: Sequence[BlockText],
    events: Sequence[Event],
    noted: Iterable[Event],
    now: int,
    shared: Mapping[str, Threshold],
) -> tuple[Asked, ...]:
    """Return the states of all blocks that are older than they may get, oldest first.

    The same as `riskrules.journal.stale.stale` asks, and also of states that an events file says.

    Parameters
    ----------
    events : sequence of Event
        Of events files and the journal, in time order.
    noted : iterable of Event
        Those that the journal says.
    now : int
        [s since 1970 UTC]
    shared : mapping
        Thresholds ``cover_stale``, ``open_stale``, ``film_stale``, ``stage_stale``. [d]
    """
    found = []
    said_for: dict[object, set[str]] = {}
    for e in noted:
        said_for.setdefault(_key(e), set()).add(e.block)
    past = [e for e in events if e.event in STATES and e.time <= now]
    for block in blocks:
        own = of_block(past, block.block)
        for state in STATES:
            last = max((e for e in own if e.event == state), default=None)
            if last is None or not _has(block, state):
                continue
            limit, age = limit_of(last, shared), now - last.time
            if age > limit:
                what = last.what or " ".join(map(str, last.stages))
                made = Stale(block.block, state, what, last.time, age, limit)  # type: ignore[arg-type]
                by_journal = bool(said_for.get(_key(last), set()) & {"", block.block})
                found.append(Asked(made, by_journal, last.stages))
    return tuple(sorted(found, key=lambda a: (a.stale.said_at, a.block, a.stale.state)))


def _key(event: Event) -> tuple[str, int, str, tuple[int, ...]]:
    return event.event, event.time, event.what, event.stages


def _has(block: BlockText, state: str) -> bool:
    """Whether the farm file lets a block have a state."""
    setup = setup_of(block)
    if state == "row_cover":
        return setup.row_covers is not False
    return setup.tunnel is not False if state in ("sides", "film") else True


def same_records(asked: Sequence[Asked], who: str, time: int, made: int) -> list[Record]:
    """Return the records that say 'yes, the same' of the states of one or more blocks.

    A state that the journal said is confirmed; one that only an events file said is written down
    as it is, as the journal cannot confirm what it never said.

    Parameters
    ----------
    time, made : int
        When it was looked at, and when that was said. [s since 1970 UTC]
    """
    records = []
    for block in sorted({a.block for a in asked}):
        own = [a for a in asked if a.block == block]
        kept = tuple(a.stale.state for a in own if a.by_journal)
        bodies: list[Any] = [Checked(same=kept)] if kept else []
        bodies += [_body(a) for a in own if not a.by_journal]
        records += [
            Record(id=uuid4(), block=block, time=time, body=body, who=who, made=made,
                   came_by="dashboard")
            for body in bodies
        ]  # fmt: skip
    return records


def _body(asked: Asked) -> Body:
    kind = BODIES[asked.stale.state]
    values = {"codes": asked.stages} if asked.stages else {"what": asked.stale.what}
    return kind.model_validate(values)


def nothing_else(who: str, time: int, made: int) -> Record:
    """Return the record that the journal is current: nothing was done that is not written down."""
    return Record(id=uuid4(), time=time, body=Checked(), who=who, made=made, came_by="dashboard")
