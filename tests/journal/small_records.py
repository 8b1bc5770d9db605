"""Invented records for the tests of the journal."""

from __future__ import annotations

from datetime import UTC, datetime
from itertools import count
from typing import Any
from uuid import UUID

from riskrules.journal.records import Note, Record, TakenBack

_NUMBERS = count(1)
PNG = bytes.fromhex("89504e470d0a1a0a") + b"an invented picture"
JPEG = bytes.fromhex("ffd8ffe0") + b"another"


def at(text: str) -> int:
    """Return seconds since 1970 of a moment in UTC such as '2026-06-10 14:30'."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


def identifier(number: int) -> UUID:
    """Return the same identifier for the same number."""
    return UUID(int=(0xA << 124) | number)


def made(body: Any = None, time: int | str = "2026-06-10 08:00", **more: Any) -> Record:
    """Return a record, of an invented scout in block 'north' unless told other."""
    moment = at(time) if isinstance(time, str) else time
    more = {"id": identifier(next(_NUMBERS)), "block": "north", "who": "scout", **more}
    more.setdefault("made", moment)
    return Record(time=moment, body=body or Note(text="dew on the leaves"), **more)


def corrected(old: Record, body: Any = None, **more: Any) -> Record:
    """Return a correction of a record; it is taken back where no body is given."""
    return made(body or TakenBack(), old.time, replaces=old.id, why="looked again", **more)
