"""Take an events CSV into the journal: each of its lines once, however often it is imported."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection
from dataclasses import astuple
from pathlib import Path
from typing import Any
from uuid import UUID, uuid5

from pydantic import ValidationError

from riskrules.errors import LogError, Problem
from riskrules.journal.records import RECORD, Record
from riskrules.journal.rows import compact, unstorable
from riskrules.logs.events import Event, event_of, read_events
from riskrules.logs.read import decode, read_bytes, split_header

LINES = UUID("7d0f0c5e-3f4b-5b0a-9c1d-2e6a4b8f9d10")
"""What the identifiers of lines are made in; any fixed one is as good."""


def import_csv(
    path: str | Path,
    zone: str | None = None,
    blocks: Collection[str] | None = None,
    who: str = "an events file",
) -> list[Record]:
    """Return the records of an events CSV, in the order of its lines.

    The identifier of a record is made from what its line says, so that a line gives the same
    record in any file, at any time. When the line was written is not known: ``made`` is the time
    of the event. A limit counts as set by a label, which only a label can lift. (assumption)

    Parameters
    ----------
    path : str or Path
        A file as `riskrules.logs.events.read_events` reads it.
    zone : str, optional
        Of times without offset.
    blocks : collection of str, optional
        The blocks of the farm; None: not known.
    who : str
        Who the records are said to be of.

    Raises
    ------
    LogError
        With every line that cannot be used; then there are no records.
    """
    source = Path(path)
    read_events(source, zone, blocks)
    text = decode(read_bytes(source), source.name)
    header, skip = split_header(text, source.name)
    rows = csv.reader(io.StringIO("\n".join(text.split("\n")[skip + 1 :])))
    found: dict[UUID, Record] = {}
    problems = []
    for row in rows:
        if not any(cell.strip() for cell in row):
            continue
        cells = {h.lower(): c.strip() for h, c in zip(header, row, strict=False)}
        try:
            record = _record(event_of(cells, zone), cells.get("note", ""), who)
            found.setdefault(record.id, record)
        except ValueError as error:
            at = skip + 1 + rows.line_num
            problems.append(Problem(source.name, at, 0, _said(error)))
    if problems:
        raise LogError(problems)
    return list(found.values())


def _said(error: ValueError) -> str:
    if not isinstance(error, ValidationError):
        return str(error)
    first = error.errors(include_url=False)[0]
    where = ".".join(str(x) for x in first["loc"][:1] + first["loc"][2:])
    return f"{where} is {str(first['input'])[:40]!r}: {first['msg']}".removeprefix(" is ")


def _record(event: Event, note: str, who: str) -> Record:
    plain = {
        "id": uuid5(LINES, compact([*astuple(event), note])),
        "block": event.block or None,
        "time": event.time,
        "end": event.end,
        "body": _body(event),
        "who": who,
        "made": event.time,
        "note": note,
        "came_by": "import",
    }
    record = RECORD.validate_python(plain)
    troubles = unstorable(record)
    if troubles:
        raise ValueError(troubles[0])
    return record


def _body(event: Event) -> dict[str, Any]:
    first, _, rest = event.what.partition(" ")
    match event.event:
        case "stages":
            return {"kind": "stages", "codes": event.stages}
        case "irrigation":
            return {"kind": "irrigation", "method": first, "depth": rest or None}
        case "pick":
            return {"kind": "pick", "state": event.what}
        case "sighting":
            counts = {"affected": event.affected, "examined": event.examined}
            return {"kind": "sighting", "part": first, "symptom": rest} | counts
        case "no_entry" | "no_pick":
            return {"kind": "limit", "what": event.event.removeprefix("no_")}
        case "checked":
            return {"kind": "checked"}
        case "row_cover" | "sides" | "film" | "straw":
            return {"kind": event.event, "what": event.what}
    return {"kind": "work", "what": event.event}
