"""The walk form for a phone without signal: one HTML file, and what it hands over.

The form keeps every tap in the phone's own storage and makes the records there. Its parts are
plain files in ``phone/``; `form_html` puts them into one, which loads nothing from anywhere.
"""

from __future__ import annotations

import json
from base64 import b64decode, b64encode
from binascii import Error as Base64Error
from dataclasses import dataclass
from hashlib import sha256
from html import escape
from importlib.resources import files
from typing import Any
from uuid import UUID

from pydantic import ValidationError

from riskrules.errors import RiskRulesError
from riskrules.journal.checks import sentences
from riskrules.journal.photos import PHOTO_LIMIT, photo_of
from riskrules.journal.records import RECORD, Record, Sighting
from riskrules.journal.rows import unstorable
from riskrules.journal.sheet_text import counted_on, walk_of
from riskrules.journal.symptoms import SymptomList
from riskrules.journal.trouble import JournalError
from riskrules.science.stages import GROUPS, STAGES

FORMAT = "riskrules walk 1"
PHOTO_SIDE = 1600
"""The form makes the longer side of a photo this many pixels at most. [px] (assumption)"""
PHOTO_QUALITY = 0.8
"""How little of a photo JPEG may drop, from 0 to 1. (assumption)"""
FILE_LIMIT = 100_000_000
"""The most bytes of a file handed over. (assumption)"""
MOST_RECORDS = 5_000
"""The most records of a walk with all their corrections. [count] (assumption)"""
KINDS = ("sighting", "note", "stages", "row_cover", "sides", "pick", "taken_back")
"""The kinds of records that the form makes."""
_SCRIPTS = (
    "texts", "hash", "keep", "pictures", "counting", "records", "send", "build", "stop", "row",
    "over", "start",
)  # fmt: skip


class HandedOverError(RiskRulesError):
    """What a phone handed over cannot be taken; the message is one sentence."""


def form_html(
    farm: str,
    block: str,
    walk: Record,
    symptoms: SymptomList,
    who: str = "",
    send_to: str = "",
    token: str = "",
) -> str:
    """Return the walk form as one HTML file, which works with the network cut.

    Parameters
    ----------
    farm, block : str
        Their names for people.
    walk : Record
        A walk as planned.
    symptoms : SymptomList
        Says how symptoms look; those of the walk are shown at each stop, others can be added.
    who : str
        Who walks, where known; the form asks.
    send_to : str
        Path on the server that the form is opened from to send records to, such as ``/records``.
        Empty: they are handed over as a file alone.
    token : str
        What the server knows the form by.

    Raises
    ------
    ValueError
        If the record is no walk, has no stops or block, names a symptom that is not listed, or
        ``send_to`` is no path.
    """
    if send_to and (not send_to.startswith("/") or send_to.startswith(("//", "/\\"))):
        raise ValueError(f"send_to is '{send_to}'; expected a path such as /records")
    plan = _plan(farm, block, walk, symptoms) | {"who": who, "send_to": send_to, "token": token}
    script = "\n".join(_part(f"{name}.js") for name in _SCRIPTS)
    script = f'(() => {{\n"use strict";\n{script}\n}})();'
    style = _part("form.css")
    policy = "; ".join((
        "default-src 'none'",
        f"script-src '{_digest(script)}'",
        f"style-src '{_digest(style)}'",
        "img-src blob:",
        f"connect-src {chr(39)}{'self' if send_to else 'none'}{chr(39)}",
        "base-uri 'none'",
        "form-action 'none'",
    ))  # fmt: skip
    values = {
        "policy": escape(policy),
        "title": escape(f"Walk: {farm}, {block}"),
        "style": style,
        # No text of a farm or a scout may end the element that holds it.
        "plan": json.dumps(plan).replace("<", "\\u003c"),
        "script": script,
    }
    # One pass, so that what a value says is never taken for a place.
    pieces = _part("form.html").split("%%")
    return "".join(values[p] if i % 2 else p for i, p in enumerate(pieces))


def _plan(farm: str, block: str, walk: Record, symptoms: SymptomList) -> dict[str, Any]:
    plan = walk_of(walk)
    if not plan.stops:
        raise ValueError("a walk without stops; expected one or more")
    if walk.block is None:
        raise ValueError("a walk without block; expected the block that is walked")
    listed = {
        name: {
            "title": each.title,
            "looks": each.looks,
            "alike": [a.tell for a in each.look_alikes],
            "parts": each.parts,
        }
        for name, each in symptoms.symptoms.items()
    }
    codes = {code: words for group in GROUPS.values() for code in sorted(group)
             for words in (STAGES[code],)}  # fmt: skip
    return {
        "format": FORMAT,
        "farm": farm,
        "title": block,
        "block": walk.block,
        "walk": str(walk.id),
        "planned": walk.made,
        "per_stop": plan.per_stop,
        "stops": plan.stops,
        "counted": [f"{s}/{p}" for s, p in counted_on(plan, symptoms)],
        "symptoms": listed,
        "parts": {n: {"title": p.title, "looks": p.looks} for n, p in symptoms.parts.items()},
        "stages": sorted(codes.items()),
        "photo": {"side": PHOTO_SIDE, "quality": PHOTO_QUALITY, "bytes": PHOTO_LIMIT},
    }


def _part(name: str) -> str:
    return (files("riskrules.journal") / "phone" / name).read_text(encoding="utf-8")


def _digest(text: str) -> str:
    """Return what a Content-Security-Policy knows an inline script or style by."""
    return f"sha256-{b64encode(sha256(text.encode()).digest()).decode()}"


@dataclass(frozen=True, slots=True)
class Envelope:
    """What a phone sends, opened but not yet believed: plain values of records, and photos."""

    walk: UUID
    records: tuple[object, ...]
    photos: dict[str, bytes]


def read_handed_over(data: bytes) -> tuple[list[Record], dict[str, bytes]]:
    """Read a file that the form handed over: its records, and its photos by their SHA-256.

    Raises
    ------
    HandedOverError
        With the first thing that is wrong, in one sentence: nothing is taken of a file that has
        anything wrong.
    """
    opened = open_envelope(data, FILE_LIMIT)
    records: dict[UUID, Record] = {}
    for number, item in enumerate(opened.records, 1):
        try:
            record = read_record(item, opened.walk)
        except HandedOverError as error:
            raise HandedOverError(f"record {number} of the file: {error}") from None
        if records.setdefault(record.id, record) != record:
            raise HandedOverError(f"record {number} of the file: {record.id} is there twice, with "
                                  "other content; expected each once")  # fmt: skip
    return list(records.values()), opened.photos


def open_envelope(data: bytes, limit: int) -> Envelope:
    """Return what a phone sends, with photos checked against their hashes.

    Raises
    ------
    HandedOverError
        If it is too large, no JSON, of an unknown format, or a photo is damaged.
    """
    if len(data) > limit:
        raise HandedOverError(f"the file has {len(data):,} bytes; expected at most {limit:,}")
    plain = _json(data)
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        found = str(plain.get("format"))[:60] if isinstance(plain, dict) else "no format at all"
        raise HandedOverError(f"the file says '{found}'; expected '{FORMAT}', of a walk form")
    if unknown := sorted(set(plain) - {"format", "walk", "records", "photos"}):
        raise HandedOverError(f"'{unknown[0][:60]}' is no part of such a file")
    records = plain.get("records")
    if not isinstance(records, list) or len(records) > MOST_RECORDS:
        raise HandedOverError(f"no list of records; expected one of at most {MOST_RECORDS:,}")
    try:
        walk = UUID(str(plain.get("walk")))
    except ValueError:
        said = str(plain.get("walk"))[:60]
        raise HandedOverError(f"the walk is '{said}'; expected its identifier") from None
    return Envelope(walk, tuple(records), _photos(plain.get("photos", {})))


def _json(data: bytes) -> object:
    try:
        return json.loads(data.decode("utf-8-sig"), parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        where = f" (line {error.lineno})" if isinstance(error, json.JSONDecodeError) else ""
        message = f"the file is damaged or cut off{where}; expected JSON as the form hands it over"
        raise HandedOverError(message) from None


def _no_number(name: str) -> object:
    raise ValueError(f"{name} is no number of JSON")


def _photos(plain: object) -> dict[str, bytes]:
    if not isinstance(plain, dict):
        raise HandedOverError("the photos are no table; expected each under its hash")
    found = {}
    for known, text in plain.items():
        try:
            photo = photo_of(b64decode(text.encode("ascii"), validate=True))
        except (AttributeError, ValueError, Base64Error):
            raise HandedOverError(f"photo {known[:12]} is damaged; expected base64") from None
        except JournalError as error:
            raise HandedOverError(f"photo {known[:12]}: {error}") from None
        if photo.hash != known:
            raise HandedOverError(f"photo {known[:12]} is damaged: its bytes have another hash")
        found[known] = photo.data
    return found


def read_record(item: object, walk: UUID) -> Record:
    """Return a record as the form makes them, from its plain values.

    Raises
    ------
    HandedOverError
        If it is no record, of a kind that the form does not make, or of another walk.
    """
    try:
        record = RECORD.validate_json(json.dumps(item))
    except ValidationError as error:
        raise HandedOverError("; ".join(sentences(error))) from None
    if record.kind not in KINDS:
        raise HandedOverError(f"it is a {record.kind}; expected one of {', '.join(KINDS)}")
    if record.came_by != "form":
        raise HandedOverError(f"it came by {record.came_by}; expected form")
    if isinstance(record.body, Sighting) and record.body.walk != walk:
        raise HandedOverError(f"it is of walk {record.body.walk}; expected {walk}")
    if troubles := unstorable(record):
        raise HandedOverError("; ".join(troubles))
    return record
