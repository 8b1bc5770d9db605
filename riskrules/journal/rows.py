"""A record as a row of the database and back, its content hash, and what no database can store."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from hashlib import sha256
from math import isfinite
from typing import Any

from pydantic import ValidationError

from riskrules.journal.records import RECORD, Record, canonical
from riskrules.journal.trouble import JournalError

PLAIN = ("id", "block", "time", "end", "who", "made", "replaces", "why", "note", "came_by")
"""What a record says beside its body: a column each."""


@dataclass(frozen=True, slots=True)
class Stored:
    """A record as the journal keeps it.

    ``seq`` counts records in the order received, from 1 without holes; ``received`` is when [s
    since 1970 UTC, never earlier than that of the record before]; ``replaced`` is the ``seq`` of
    the first record that replaces it, None where it stands.
    """

    seq: int
    received: int
    record: Record
    replaced: int | None = None


def compact(plain: object) -> str:
    """Return plain values as JSON, the same text for the same values.

    >>> compact({"b": 1, "a": [2.0, "ä"]})
    '{"a":[2.0,"ä"],"b":1}'
    """
    return json.dumps(
        plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def content_hash(plain: dict[str, Any]) -> str:
    """Return the SHA-256 of a record's plain values (`canonical`)."""
    return sha256(compact(plain).encode()).hexdigest()


def chained(before: str, content: str, received: int) -> str:
    """Return the link of a record: the SHA-256 of the link before it, its hash and its time."""
    return sha256(f"{before}{content}{received}".encode()).hexdigest()


def unstorable(record: Record) -> list[str]:
    """Return one sentence for each value of a record that no database can store.

    Those are a NUL character, half of a surrogate pair, and a number that is none.
    """
    found = []
    for name, value in _leaves("", record.model_dump(mode="python")):
        if isinstance(value, float) and not isfinite(value):
            found.append(f"{name} is {value}; expected a number")
        if isinstance(value, str) and "\0" in value:
            found.append(f"{name} holds a NUL character; expected text without it")
        if isinstance(value, str) and any("\ud800" <= c <= "\udfff" for c in value):
            found.append(f"{name} holds half a character (a lone surrogate); expected whole ones")
    return found


def _leaves(name: str, value: object) -> Iterator[tuple[str, object]]:
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _leaves(f"{name}.{key}".lstrip("."), inner)
    elif isinstance(value, list | tuple):
        for inner in value:
            yield from _leaves(name, inner)
    else:
        yield name, value


def row_of(record: Record) -> dict[str, Any]:
    """Return the columns of a record that do not depend on when it was received.

    Raises
    ------
    JournalError
        If a value cannot be stored.
    """
    troubles = unstorable(record)
    if troubles:
        raise JournalError(f"record {record.id}: {'; '.join(troubles)}")
    plain = canonical(record)
    row = {name: plain[name] for name in PLAIN}
    return row | {
        "kind": record.kind,
        "body": compact(plain["body"]),
        "hash": content_hash(plain),
    }


def plain_of(row: Mapping[str, Any]) -> dict[str, Any]:
    """Return the plain values of a row's record, as `canonical` does."""
    return {name: row[name] for name in PLAIN} | {"body": json.loads(row["body"])}


def record_of(row: Mapping[str, Any]) -> Record:
    """Return the record of a row.

    Raises
    ------
    JournalError
        If this version of the program does not understand it.
    """
    try:
        return RECORD.validate_python(plain_of(row))
    except (ValidationError, ValueError) as error:
        said = " ".join(str(error).split())[:200]
        raise JournalError(f"record {row['seq']} ({row['id']}) is not readable: {said}") from None


def stored_of(row: Mapping[str, Any]) -> Stored:
    """Return the record of a row with when it was received and which one replaced it."""
    return Stored(row["seq"], row["received"], record_of(row), row.get("replaced"))
