"""Take records in: each kept once, in one order, linked to the one before."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Literal
from uuid import UUID

from sqlalchemy import Column, Connection, func, insert, select

from riskrules.journal.clashes import clash_of, open_clashes
from riskrules.journal.query import Wanted, chunks, descendants, targets_above
from riskrules.journal.rows import PLAIN, chained, compact
from riskrules.journal.tables import differing, record
from riskrules.journal.trouble import JournalError

CLOCK_SLACK_S = 3600
"""A clock that falls back by less is taken to stand still, so that what came later is later.

A greater step is believed: else one day with a wrong clock spoils all days after it. [s]
(assumption)
"""


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a record that was added.

    ``state``: new; known (it was here already, the same); differs (its identifier was here with
    other content: both are kept, see `Journal.differing`). ``seq`` is that of the record here.
    ``clash``: it stands beside another version, and somebody has to settle it.
    """

    id: UUID
    state: Literal["new", "known", "differs"]
    seq: int
    clash: bool = False


class Intake:
    """One batch of records on its way in, inside the transaction of the only writer."""

    def __init__(self, conn: Connection, rows: Sequence[dict[str, Any]], now: int | None) -> None:
        self._conn = conn
        self._rows = rows
        self._seq, self._link, last = _tail(conn)
        now = clock(conn) if now is None else now
        self._received = last if 0 < last - now <= CLOCK_SLACK_S else now
        self._known = _lookup(conn, record.c.id, [r["id"] for r in rows], record.c.hash)
        targets = [r["replaces"] for r in rows if r["replaces"]]
        self._replaced = set(_lookup(conn, record.c.replaces, targets, record.c.hash))
        named = _lookup(conn, record.c.replaces, [r["id"] for r in rows], record.c.hash)
        self._named = set(named) | set(targets)
        self._parents: dict[str, str | None] = {}

    def take(self) -> list[Kept]:
        """Insert what is new, set aside what differs, and say what became of each."""
        new: list[dict[str, Any]] = []
        aside: list[dict[str, Any]] = []
        states: list[Literal["new", "known", "differs"]] = []
        for row in self._rows:
            here = self._known.get(row["id"])
            if here is None:
                new.append(self._next(row))
                states.append("new")
            elif here[0] == row["hash"]:
                states.append("known")
            else:
                aside.append(row)
                states.append("differs")
        if new:
            self._conn.execute(insert(record), new)
        self._set_aside(aside)
        return self._told(states)

    def _next(self, row: dict[str, Any]) -> dict[str, Any]:
        self._refuse_ring(row)
        self._seq += 1
        self._link = chained(self._link, row["hash"], self._received)
        self._known[row["id"]] = (row["hash"], self._seq)
        clashing = row["replaces"] is not None and row["replaces"] in self._replaced
        self._replaced.add(row["replaces"])
        self._parents[row["id"]] = row["replaces"]
        return row | {
            "seq": self._seq,
            "received": self._received,
            "chain": self._link,
            "clashing": clashing,
        }

    def _refuse_ring(self, row: dict[str, Any]) -> None:
        """Refuse a record that would, through others, replace itself: none of them would stand."""
        above = row["replaces"] if row["id"] in self._named else None
        while above is not None:
            if above == row["id"]:
                message = f"record {row['id']} would replace itself by way of others"
                raise JournalError(f"{message}; expected a record that came before it")
            if above in self._parents:
                above = self._parents[above]
            else:
                query = select(record.c.replaces).where(record.c.id == above)
                above = self._conn.execute(query).scalar()

    def _set_aside(self, rows: Sequence[dict[str, Any]]) -> None:
        """Keep what differs, each content once."""
        kept = _lookup(self._conn, differing.c.id, [r["id"] for r in rows], differing.c.hash, True)
        number = self._conn.execute(select(func.max(differing.c.number))).scalar() or 0
        for row in rows:
            if (row["id"], row["hash"]) in kept:
                continue
            number += 1
            kept[row["id"], row["hash"]] = (row["hash"], number)
            plain = {name: row[name] for name in PLAIN}
            content = compact(plain)[:-1] + f',"body":{row["body"]}}}'
            values = {
                "number": number,
                "id": row["id"],
                "received": self._received,
                "content": content,
                "hash": row["hash"],
            }
            self._conn.execute(insert(differing), values)

    def _told(self, states: Sequence[Literal["new", "known", "differs"]]) -> list[Kept]:
        replaced = (UUID(r["replaces"]) for r in self._rows if r["replaces"])
        targets = targets_above(self._conn, replaced, Wanted())
        members = descendants(self._conn, targets, Wanted())
        clashing = clash_of(open_clashes(targets, members))
        found = []
        for row, state in zip(self._rows, states, strict=True):
            known = UUID(row["id"])
            found.append(Kept(known, state, self._known[row["id"]][1], known in clashing))
        return found


def _tail(conn: Connection) -> tuple[int, str, int]:
    last = select(record.c.seq, record.c.chain, record.c.received).order_by(record.c.seq.desc())
    row = conn.execute(last.limit(1)).one_or_none()
    return (0, "", 0) if row is None else (row.seq, row.chain, row.received)


def clock(conn: Connection) -> int:
    """Return the time by the server's clock, or this machine's where there is no server. [s]"""
    if conn.dialect.name != "postgresql":
        return int(time.time())
    asked = conn.exec_driver_sql("SELECT floor(extract(epoch FROM clock_timestamp()))::bigint")
    return int(asked.scalar_one())


def _lookup(
    conn: Connection,
    column: Column[str],
    values: Iterable[str],
    content: Column[str],
    pairs: bool = False,
) -> dict[Any, tuple[str, int]]:
    """Return the hash and number of the rows with some values in a column, by value."""
    number = column.table.primary_key.columns[0]
    found: dict[Any, tuple[str, int]] = {}
    for part in chunks(values):
        query = select(column, content, number).where(column.in_(part)).order_by(number)
        for value, text, count in conn.execute(query):
            found[(value, text) if pairs else value] = (text, count)
    return found
