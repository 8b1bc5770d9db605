"""What a container holds, as rows of its tables and back."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError

from riskrules.farm import FarmText
from riskrules.journal.container_tables import (
    BLOCKS,
    BODIES,
    CODES,
    DIFFERING,
    ENVELOPE,
    KINDS,
    PHOTOS,
    SHOWN,
    STOPS,
    WALK_STOPS,
)
from riskrules.journal.container_text import Table, wrong
from riskrules.journal.records import RECORD, Block, Record, Sighting, Walk, canonical
from riskrules.journal.rows import Stored, compact
from riskrules.journal.store import Differing
from riskrules.journal.symptoms import load_symptoms
from riskrules.science.stages import STAGES, describe, tag_of

Row = dict[str, Any]
ENDINGS: Mapping[str, str] = {
    "image/jpeg": "jpg",
    "image/png": "png",
    "image/webp": "webp",
    "image/heic": "heic",
}
"""How the file of a photo ends."""


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A photo that lies in the container as a file of its own."""

    hash: str
    media_type: str
    size: int
    received: int

    @property
    def file(self) -> str:
        """The name of its file in the container."""
        return f"photos/{self.hash}.{ENDINGS[self.media_type]}"


@dataclass(frozen=True, slots=True)
class Content:
    """All that a container holds and that is read back; records in the order received."""

    stored: tuple[Stored, ...]
    differing: tuple[Differing, ...]
    photos: tuple[PhotoFile, ...]
    farm: FarmText | None


def rows_of(content: Content, blocks: Mapping[str, Block | None]) -> dict[str, list[Row]]:
    """Return the rows of each table, by its name."""
    found: dict[str, list[Row]] = {table.name: [] for table in KINDS.values()}
    found |= {table.name: [] for table in (STOPS, WALK_STOPS, *SHOWN.values())}
    for each in content.stored:
        body = each.record.body
        found[KINDS[body.kind].name].append(_row(each))
        if body.kind in SHOWN:
            found[SHOWN[body.kind].name] += _parts(each, "photos", lambda x: {"photo": x})
        if isinstance(body, Sighting):
            found[STOPS.name] += _parts(each, "stops", lambda x: x.model_dump())
        elif isinstance(body, Walk):
            found[WALK_STOPS.name] += _parts(each, "stops", _walk_stop)
    names = {s.record.block for s in content.stored if s.record.block is not None} | set(blocks)
    found[BLOCKS.name] = [_block(name, blocks.get(name)) for name in sorted(names)]
    shown = {row["photo"] for table in SHOWN.values() for row in found[table.name]}
    found[PHOTOS.name] = list(_photos(content.photos, shown))
    found[DIFFERING.name] = [_differing(i, each) for i, each in enumerate(content.differing, 1)]
    found[CODES.name] = list(_codes())
    return found


def _row(each: Stored) -> Row:
    record = each.record
    row: Row = {name: getattr(record, name) for name in ENVELOPE}
    body = {name: getattr(record.body, name) for name in BODIES[record.kind].model_fields}
    return row | body | {"number": each.seq, "received": each.received}


def _parts(each: Stored, name: str, row: Callable[[Any], Row]) -> Iterator[Row]:
    for place, part in enumerate(getattr(each.record.body, name), 1):
        yield {"record": each.record.id, "place": place} | row(part)


def _walk_stop(part: tuple[int, int, float]) -> Row:
    return dict(zip(("stop", "bed", "metres"), part, strict=True))


def _block(name: str, body: Block | None) -> Row:
    return (body or Block()).model_dump() | {"block": name}


def _photos(photos: Iterable[PhotoFile], shown: set[str]) -> Iterator[Row]:
    here = {each.hash: each for each in photos}
    for known in sorted(shown | here.keys()):
        photo = here.get(known)
        row: Row = dict.fromkeys(c.name for c in PHOTOS.columns) | {"photo": known}
        if photo is not None:
            row |= {"file": photo.file, "media_type": photo.media_type}
            row |= {"bytes": photo.size, "received": photo.received}
        yield row


def _differing(number: int, each: Differing) -> Row:
    # A semicolon only stands inside strings of JSON; spreadsheets may end a cell there.
    content = compact(canonical(each.record)).replace(";", "\\u003b")
    row: Row = {"number": number, "id": each.record.id, "received": each.received}
    return row | {"kind": each.record.kind, "content": content}


def _codes() -> Iterator[Row]:
    source = "Meier and others 1994, Nachrichtenbl. Deut. Pflanzenschutzd. 46:141-153, our words"
    for code in STAGES:
        told: Row = {"meaning": describe(code), "source": source, "tag": tag_of(code)}
        yield {"list": "stages", "code": code} | told
    ours = load_symptoms()
    for name, symptom in ours.symptoms.items():
        told = {"source": symptom.source, "tag": symptom.tag}
        yield {"list": "symptoms", "code": name, "meaning": symptom.looks} | told
    for name, part in ours.parts.items():
        told = {"source": part.source, "tag": part.tag}
        yield {"list": "parts", "code": name, "meaning": part.looks} | told


def content_of(read: Callable[[Table], bytes], farm: FarmText | None) -> Content:
    """Return what a container holds, from the bytes of its tables.

    Raises
    ------
    JournalError
        At the first thing that is not as an export writes it: file, line, value, expected.
    """
    parts = _Parts(read)
    stored: dict[int, tuple[Stored, str, int]] = {}
    ids: set[object] = set()
    for kind, table in KINDS.items():
        for at, row in table.read(read(table)):
            each = Stored(row["number"], row["received"], _record(kind, row, parts, table, at))
            if each.seq in stored or each.record.id in ids:
                twice = each.seq if each.seq in stored else each.record.id
                raise wrong(table.file, at, f"{twice} is there twice; expected it once")
            stored[each.seq] = (each, table.file, at)
            ids.add(each.record.id)
    parts.refuse_left()
    ordered = [stored[number] for number in sorted(stored)]
    for expected, (each, file, at) in enumerate(ordered, 1):
        if each.seq != expected:
            raise wrong(file, at, f"number is {each.seq}; expected {expected}: a record is missing")
    differing = tuple(_read_differing(read(DIFFERING), ids))
    photos = tuple(_read_photos(read(PHOTOS)))
    return Content(tuple(each for each, _, _ in ordered), differing, photos, farm)


class _Parts:
    """The rows of tables that belong to records, by record."""

    def __init__(self, read: Callable[[Table], bytes]) -> None:
        self._of: dict[str, dict[str, list[tuple[int, Row]]]] = {}
        for table in (STOPS, WALK_STOPS, *SHOWN.values()):
            of: dict[str, list[tuple[int, Row]]] = {}
            for at, row in table.read(read(table)):
                own = of.setdefault(row.pop("record"), [])
                place = row.pop("place")
                if place != len(own) + 1:
                    raise wrong(table.file, at, f"place is {place}; expected {len(own) + 1}")
                own.append((at, row))
            self._of[table.name] = of

    def take(self, table: Table, known: str) -> list[Row]:
        """Return a record's rows of a table, each only once."""
        return [row for _, row in self._of[table.name].pop(known, [])]

    def refuse_left(self) -> None:
        """Refuse rows of records that there are none of."""
        for name, of in self._of.items():
            for known, rows in of.items():
                message = f"record {known!r} is not there; expected one of the records"
                raise wrong(f"{name}.csv", rows[0][0], message)


def _record(kind: str, row: Row, parts: _Parts, table: Table, at: int) -> Record:
    plain: Row = {name: row.pop(name) for name in ENVELOPE}
    body = {"kind": kind} | {k: v for k, v in row.items() if k not in ("number", "received")}
    if kind in SHOWN:
        body["photos"] = tuple(r["photo"] for r in parts.take(SHOWN[kind], plain["id"]))
    if kind == "sighting":
        body["stops"] = parts.take(STOPS, plain["id"])
    elif kind == "walk":
        body["stops"] = [tuple(r.values()) for r in parts.take(WALK_STOPS, plain["id"])]
    return checked(plain | {"body": body}, table.file, at)


def checked(plain: Mapping[str, Any], file: str, at: int) -> Record:
    """Return a record from plain values.

    Raises
    ------
    JournalError
        Where they are no record: file, line, column, value.
    """
    try:
        return RECORD.validate_python(plain)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        loc = first["loc"]
        inner = [str(x) for x in (loc[2:] if loc[:1] == ("body",) else loc)]
        message = " ".join(first["msg"].removeprefix("Value error, ").split())
        if first["type"] != "value_error":
            message += f" (it is {repr(first['input'])[:40]})"
        raise wrong(file, at, f"{'.'.join(inner)}: {message}".removeprefix(": ")) from None


def _read_differing(data: bytes, ids: set[object]) -> Iterator[Differing]:
    for at, row in DIFFERING.read(data):
        try:
            plain = json.loads(row["content"])
        except (ValueError, RecursionError):
            raise wrong(DIFFERING.file, at, "content is not JSON; expected a record") from None
        record = checked(plain, DIFFERING.file, at)
        if record.id not in ids:
            message = f"record {record.id} is not there; expected one of the records"
            raise wrong(DIFFERING.file, at, message)
        yield Differing(row["received"], record)


def _read_photos(data: bytes) -> Iterator[PhotoFile]:
    seen: set[str] = set()
    for at, row in PHOTOS.read(data):
        if row["photo"] in seen:
            raise wrong(PHOTOS.file, at, f"{row['photo'][:64]} is there twice; expected it once")
        seen.add(row["photo"])
        if row["file"] is None:
            continue
        if row["media_type"] not in ENDINGS or row["bytes"] is None or row["received"] is None:
            message = "media_type, bytes or received is missing; expected them with a file"
            raise wrong(PHOTOS.file, at, message)
        photo = PhotoFile(row["photo"], row["media_type"], row["bytes"], row["received"])
        if photo.file != row["file"]:
            raise wrong(PHOTOS.file, at, f"file is {row['file'][:90]!r}; expected {photo.file!r}")
        yield photo


def named(content: Content) -> Sequence[str]:
    """Return the photos that records show and that are not in the container, sorted."""
    shown = {p for s in content.stored for p in getattr(s.record.body, "photos", ())}
    return sorted(shown - {each.hash for each in content.photos})
