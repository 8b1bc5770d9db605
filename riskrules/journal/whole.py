"""Say whether a journal is whole: its database, each record, the chain, the order, the photos."""

from __future__ import annotations

import json
from collections.abc import Iterator
from hashlib import sha256
from typing import Any

from sqlalchemy import Connection, func, inspect, select

from riskrules.errors import Problem
from riskrules.journal.database import Database
from riskrules.journal.rows import chained, content_hash, plain_of, record_of
from riskrules.journal.tables import differing, photo, record
from riskrules.journal.trouble import JournalError

GUARDED = {"sqlite": 3, "postgresql": 2}
"""Triggers that each table has to have."""


def troubles(database: Database) -> list[Problem]:
    """Return all that is wrong with a journal as it lies in its database; empty: it is whole."""
    with database.reading() as conn:
        found = [*_database(conn), *_guards(conn)]
        if not found or database.is_sqlite:
            found += [*_records(conn), *_orphans(conn), *_differing(conn), *_photos(conn)]
    return [Problem(database.name, 0, 0, message) for message in found]


def _database(conn: Connection) -> Iterator[str]:
    if conn.dialect.name != "sqlite":
        return
    for (said,) in conn.exec_driver_sql("PRAGMA integrity_check"):
        if said != "ok":
            yield f"the database is damaged: {said}"
    for row in conn.exec_driver_sql("PRAGMA foreign_key_check"):
        yield f"row {row[1]} of {row[0]} points to a row of {row[2]} that is not there"


def _guards(conn: Connection) -> Iterator[str]:
    if conn.dialect.name == "sqlite":
        query = "SELECT tbl_name, count(*) FROM sqlite_master WHERE type = 'trigger' GROUP BY 1"
    else:
        query = (
            "SELECT relname, count(*) FROM pg_trigger JOIN pg_class ON tgrelid = pg_class.oid "
            "WHERE NOT tgisinternal AND tgenabled <> 'D' AND pg_table_is_visible(pg_class.oid) "
            "GROUP BY 1"
        )
    there: dict[str, int] = {name: count for name, count in conn.exec_driver_sql(query)}
    names = set(inspect(conn).get_table_names())
    for table in (record.name, differing.name, photo.name):
        if table not in names:
            yield f"table {table} is not there"
        elif there.get(table, 0) < GUARDED[conn.dialect.name]:
            yield f"table {table} is not guarded: a program could change what is kept"


def _records(conn: Connection) -> Iterator[str]:
    link, expected = "", 1
    seen: set[str] = set()
    replaced: set[str] = set()
    rows = conn.execution_options(yield_per=1000).execute(select(record).order_by(record.c.seq))
    for row in map(dict, rows.mappings()):
        name = f"record {row['seq']} ({row['id']})"
        if row["seq"] != expected:
            yield f"records {expected} to {row['seq'] - 1} are gone"
        expected = row["seq"] + 1
        yield from (f"{name} {said}" for said in _record(row))
        if row["id"] in seen:
            yield f"{name} is there twice"
        link = chained(link, row["hash"], row["received"])
        if link != row["chain"]:
            yield f"{name} breaks the chain: it, or one before it, is not as it was received"
            link = row["chain"]
        if row["clashing"] != (row["replaces"] is not None and row["replaces"] in replaced):
            yield f"{name} does not say rightly whether it came second to a correction"
        seen.add(row["id"])
        replaced.add(row["replaces"])


def _record(row: dict[str, Any]) -> Iterator[str]:
    try:
        plain = plain_of(row)
        if content_hash(plain) != row["hash"]:
            yield "is not as it was received: its content hash differs"
        if record_of(row).kind != row["kind"]:
            yield f"is said to be a {row['kind']}, but is not"
    except (JournalError, ValueError, KeyError, TypeError) as error:
        yield f"is not readable: {error}"


def _orphans(conn: Connection) -> Iterator[str]:
    other = record.alias("other")
    query = (
        select(record.c.seq, record.c.id, record.c.replaces)
        .outerjoin(other, other.c.id == record.c.replaces)
        .where(record.c.replaces.is_not(None), other.c.id.is_(None))
    )
    for seq, known, replaces in conn.execute(query.order_by(record.c.seq)):
        yield f"record {seq} ({known}) replaces {replaces}, which has not come"


def _differing(conn: Connection) -> Iterator[str]:
    for row in conn.execute(select(differing).order_by(differing.c.number)):
        try:
            same = content_hash(json.loads(row.content)) == row.hash
        except ValueError:
            same = False
        if not same:
            yield f"differing record {row.number} ({row.id}) is not as it was received"
    count, last = conn.execute(
        select(func.count(), func.max(differing.c.number)).select_from(differing)
    ).one()
    if count != (last or 0):
        yield f"of {last} differing records {count} are there"


def _photos(conn: Connection) -> Iterator[str]:
    here = set(conn.execute(select(photo.c.hash)).scalars())
    for known in sorted(here):
        data = conn.execute(select(photo.c.data).where(photo.c.hash == known)).scalar_one()
        if not isinstance(data, bytes) or sha256(data).hexdigest() != known:
            yield f"photo {known} is not as it was received"
    named = select(record.c.seq, record.c.body).where(record.c.kind.in_(("note", "sighting")))
    for seq, body in conn.execute(named.order_by(record.c.seq)):
        try:
            wanted = json.loads(body).get("photos", ())
        except ValueError:
            continue  # said with the record
        for known in wanted:
            if known not in here:
                yield f"record {seq} shows photo {known}, which has not come"
