"""Read records from the database: the current ones, all versions, or those known at a time."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from uuid import UUID

from sqlalchemy import ColumnElement, Connection, FromClause, Select, exists, func, select

from riskrules.journal.clashes import losing
from riskrules.journal.rows import Stored, stored_of
from riskrules.journal.tables import record

CHUNK = 500
"""Values in one IN: far below what either database takes."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which records: see `Journal.records`; ``since`` is a ``seq`` that all come after."""

    block: str | None = None
    kinds: Collection[str] | None = None
    first: int | None = None
    last: int | None = None
    as_known_at: int | None = None
    up_to: int | None = None
    since: int | None = None
    all_versions: bool = False

    def known(self, table: FromClause) -> list[ColumnElement[bool]]:
        """Return the conditions that a record was known at the time asked for."""
        found = []
        if self.as_known_at is not None:
            found.append(table.c.received <= self.as_known_at)
        if self.up_to is not None:
            found.append(table.c.seq <= self.up_to)
        return found


def wanted_records(conn: Connection, wanted: Wanted) -> list[Stored]:
    """Return the records wanted, in the order of time, then identifier."""
    query = _statement(wanted)
    queries = [query]
    if wanted.block is not None:
        # Each by itself finds block and time in one index; joined by OR it would not.
        queries = [
            query.where(record.c.block == wanted.block),
            query.where(record.c.block.is_(None)),
        ]
    found = [stored for each in queries for stored in _read(conn, each)]
    return sorted(found, key=lambda s: (s.record.time, s.record.id.int))


def _statement(w: Wanted) -> Select[tuple[object, ...]]:
    later = record.alias("later")
    replaces = (later.c.replaces == record.c.id, *w.known(later))
    if not w.all_versions:
        query = select(record).where(~exists().where(*replaces))
        if w.kinds is None:
            query = query.where(record.c.kind != "taken_back")
    else:
        first = select(func.min(later.c.seq)).where(*replaces).correlate(record)
        query = select(record, first.scalar_subquery().label("replaced"))
    query = query.where(*w.known(record))
    if w.kinds is not None:
        query = query.where(record.c.kind.in_(sorted(w.kinds)))
    if w.first is not None:
        query = query.where(record.c.time >= w.first)
    if w.last is not None:
        query = query.where(record.c.time <= w.last)
    return query if w.since is None else query.where(record.c.seq > w.since)


def by_id(conn: Connection, ids: Iterable[UUID], w: Wanted) -> list[Stored]:
    """Return records by their identifiers, replaced or not."""
    return _where(conn, record.c.id, ids, w)


def descendants(conn: Connection, tops: Iterable[UUID], w: Wanted) -> list[Stored]:
    """Return all records that replace some, directly or through others."""
    found: dict[UUID, Stored] = {}
    level = set(tops)
    while level:
        new = {s.record.id: s for s in _where(conn, record.c.replaces, level, w)}
        level = new.keys() - found.keys()
        found |= new
    return list(found.values())


def clash_targets(conn: Connection, w: Wanted) -> list[UUID]:
    """Return the records that several others replace, in the order that was found out."""
    query = select(record.c.replaces).where(record.c.clashing.is_(True), *w.known(record))
    return [UUID(x) for x in dict.fromkeys(conn.execute(query.order_by(record.c.seq)).scalars())]


def targets_above(conn: Connection, replaced: Iterable[UUID], w: Wanted) -> list[UUID]:
    """Return which of some records, or of those they replace in turn, several others replace.

    Its cost goes with the corrections asked about, not with all clashes there ever were.
    """
    if not conn.execute(select(exists().where(record.c.clashing.is_(True)))).scalar():
        return []
    found: set[str] = set()
    for part in chunks(str(each) for each in replaced):
        first = select(record.c.replaces.label("id")).where(record.c.id.in_(part), *w.known(record))
        above = first.cte("above", recursive=True)  # long chains in one question to the database
        higher = select(record.c.replaces).join(above, record.c.id == above.c.id)
        above = above.union(higher.where(*w.known(record)))
        among = record.c.replaces.in_(part) | record.c.replaces.in_(select(above.c.id))
        query = select(record.c.replaces).where(among)
        query = query.where(record.c.clashing.is_(True), *w.known(record))
        found |= {x for x in conn.execute(query).scalars() if x is not None}
    return [UUID(x) for x in sorted(found)]


def losing_among(conn: Connection, found: Iterable[Stored], w: Wanted) -> set[UUID]:
    """Return the records that stand but don't count, among those that may be some found."""
    replaced = (s.record.replaces for s in found if s.record.replaces is not None)
    targets = targets_above(conn, replaced, w)
    return losing(targets, descendants(conn, targets, w))


def chunks(values: Iterable[str]) -> Iterator[Sequence[str]]:
    """Give different values in pieces that fit a statement."""
    ordered = sorted(set(values))
    for i in range(0, len(ordered), CHUNK):
        yield ordered[i : i + CHUNK]


def _where(
    conn: Connection, column: ColumnElement[str], ids: Iterable[UUID], w: Wanted
) -> list[Stored]:
    found = []
    for part in chunks(str(i) for i in ids):
        query = select(record).where(column.in_(part), *w.known(record))
        found += _read(conn, query)
    return found


def _read(conn: Connection, query: Select[tuple[object, ...]]) -> list[Stored]:
    """Return the records of a query; plain dicts, because the library's rows are slow to ask."""
    result = conn.execute(query)
    names = tuple(result.keys())
    return [stored_of(dict(zip(names, row, strict=True))) for row in result]
