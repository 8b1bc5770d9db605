"""What taps at a stop become: a record for each walk, symptom and part, and its corrections."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from threading import RLock
from typing import Any, Literal
from uuid import UUID, uuid4, uuid5

from riskrules.journal.records import RECORD, Record, Sighting, Stop, Walk
from riskrules.journal.sheet_text import walk_of
from riskrules.journal.store import Journal

Key = tuple[str, str]
"""A symptom, and the part that it is counted on."""
Tap = Literal["none", "more", "less", "looked", "clear"]
NOTE_TEXT = "Stop {stop} (bed {bed}, {metres:g} m): {text}"
"""As the offline walk form writes it, so that either finds the other's note."""
JUST_PHOTO = "photo"
KEEPING = RLock()
"""Two taps of two sessions must not correct the same version: that would be a clash."""


@dataclass(frozen=True, slots=True)
class Hand:
    """Whose hand writes, when it was seen, and when it is written down. [s since 1970 UTC]"""

    who: str
    time: int
    made: int


def standing(journal: Journal, walk: Record) -> dict[Key, Record]:
    """Return the sightings of a walk that count, by symptom and part."""
    found: dict[Key, Record] = {}
    records = journal.records(walk.block, ("sighting",))
    for record in _of_walk(records, walk):
        key = key_of(record)
        if key in found:  # a clash: the journal says which counts
            return {key_of(r): r for r in
                    _of_walk(journal.counting(walk.block, ("sighting",)), walk)}  # fmt: skip
        found[key] = record
    return found


def _of_walk(records: Iterable[Record], walk: Record) -> list[Record]:
    return [r for r in records if isinstance(r.body, Sighting) and r.body.walk == walk.id]


def key_of(record: Record) -> Key:
    """Return the symptom and part of a sighting."""
    body = record.body
    if not isinstance(body, Sighting):
        raise ValueError(f"the record is a {record.kind}; expected a sighting")
    return body.symptom, body.part


def count_at(record: Record | None, stop: int) -> Stop | None:
    """Return what a sighting says of a stop; None where nobody counted there."""
    body = record.body if record else None
    stops = body.stops if isinstance(body, Sighting) else ()
    return next((s for s in stops if s.stop == stop), None)


def tapped(
    count: Stop | None, tap: Tap, per_stop: int, looked: int | None = None
) -> tuple[int, int] | None:
    """Return affected and examined after a tap; None where the count is taken away.

    What nobody has counted yet is taken as looked at as planned, or ``looked`` where typed.

    Examples
    --------
    >>> tapped(None, "more", 10), tapped(None, "none", 10, looked=8), tapped(None, "less", 10)
    ((1, 10), (0, 8), None)
    """
    if tap == "clear" or (count is None and tap in ("less", "looked")):
        return None
    affected = count.affected if count else 0
    examined = looked or (count.examined if count else per_stop)
    if tap == "none":
        affected = 0
    elif tap in ("more", "less"):
        affected = max(0, affected + (1 if tap == "more" else -1))
    return affected, examined


def counted(
    journal: Journal,
    walk: Record,
    key: Key,
    stop: int,
    count: tuple[int, int] | None,
    hand: Hand,
) -> dict[str, Any] | None:
    """Return the values of the record that a new count at a stop makes; None for no change.

    The values may be none of a record (11 affected of 10): `riskrules.journal.checks.refuse`
    says so in a sentence.
    """
    old = standing(journal, walk).get(key)
    stops = {s.stop: s.model_dump() for s in _stops(old)}
    if count is None:
        stops.pop(stop, None)
    else:
        bed = next((bed for n, bed, _ in walk_of(walk).stops if n == stop), None)
        stops[stop] = {"stop": stop, "affected": count[0], "examined": count[1], "bed": bed}
    ordered = [stops[n] for n in sorted(stops)]
    if ordered == [s.model_dump() for s in _stops(old)]:
        return None
    return _values(journal, walk, key, old, ordered, {}, hand)


def _stops(record: Record | None) -> tuple[Stop, ...]:
    return record.body.stops if record and isinstance(record.body, Sighting) else ()


def with_more(
    journal: Journal, walk: Record, key: Key, hand: Hand, more: Mapping[str, Any]
) -> dict[str, Any] | None:
    """Return the values of the record with another pattern or photos; None where none counts."""
    old = standing(journal, walk).get(key)
    if old is None or not isinstance(old.body, Sighting):
        return None
    if all(getattr(old.body, name) == value for name, value in more.items()):
        return None
    return _values(journal, walk, key, old, [s.model_dump() for s in old.body.stops], more, hand)


def _values(
    journal: Journal, walk: Record, key: Key, old: Record | None, stops: Sequence[dict[str, Any]],
    more: Mapping[str, Any], hand: Hand,
) -> dict[str, Any]:  # fmt: skip
    own = uuid5(walk.id, "/".join(key))
    body: dict[str, Any] = {"kind": "taken_back"}
    if stops:
        before = old.body if old and isinstance(old.body, Sighting) else None
        affected = sum(s["affected"] for s in stops)
        pattern = before.pattern if before and before.pattern != "none_seen" else None
        body = {
            "kind": "sighting", "symptom": key[0], "part": key[1], "walk": walk.id,
            "affected": affected, "examined": sum(s["examined"] for s in stops),
            "pattern": pattern, "stops": stops, "photos": before.photos if before else (),
            **more,
        }  # fmt: skip
        if affected == 0:
            body["pattern"] = "none_seen"
    return _record(journal, walk.block, own, old, body, hand)


def _record(
    journal: Journal, block: str | None, own: UUID, old: Record | None, body: dict[str, Any],
    hand: Hand,
) -> dict[str, Any]:  # fmt: skip
    """Return the values of a record under its own identifier, or of a correction of what stands."""
    head = old or _head(journal, own)
    time = min(old.time, hand.time) if old else hand.time
    last = max(old.end or old.time, hand.time) if old else hand.time
    return {
        "id": uuid4() if head else own, "block": block, "time": time,
        "end": last if last > time else None, "body": body, "who": hand.who, "made": hand.made,
        "replaces": head.id if head else None, "why": _why(old, body) if head else "",
        "came_by": "dashboard",
    }  # fmt: skip


def _head(journal: Journal, own: UUID) -> Record | None:
    """Return the last version under an identifier, also one that takes it back."""
    found = [s for s in journal.history(own) if s.replaced is None]
    return found[-1].record if found else None


def _why(old: Record | None, body: Mapping[str, Any]) -> str:
    if body["kind"] == "taken_back":
        return "taken back on the walk"
    return "counted on, or again, on the walk" if old else "counted again after it was taken back"


def note_at(journal: Journal, walk: Record, stop: int) -> Record | None:
    """Return the note of a stop that stands."""
    own = uuid5(walk.id, f"note/{stop}")
    head = _head(journal, own)
    return head if head and head.kind == "note" else None


def note_words(record: Record | None) -> str:
    """Return what a person wrote, without the place that stands before it.

    Examples
    --------
    >>> note_words(None)
    ''
    """
    text = getattr(record.body, "text", "") if record else ""
    words = str(text).partition("): ")[2] or str(text)
    return "" if words == JUST_PHOTO else words


def noted(
    journal: Journal, walk: Record, stop: int, words: str, photos: Sequence[str], hand: Hand
) -> dict[str, Any] | None:
    """Return the values of the note of a stop with its photos; None for no change."""
    old = note_at(journal, walk, stop)
    place = next((s for s in walk_of(walk).stops if s[0] == stop), (stop, 0, 0.0))
    body: dict[str, Any] = {"kind": "taken_back"}
    if words.strip() or photos:
        text = NOTE_TEXT.format(
            stop=stop, bed=place[1], metres=place[2], text=words.strip() or JUST_PHOTO
        )
        body = {"kind": "note", "text": text, "photos": tuple(photos)}
    same = old and body == {"kind": "note", "text": getattr(old.body, "text", ""),
                            "photos": getattr(old.body, "photos", ())}  # fmt: skip
    if same or (old is None and body["kind"] == "taken_back"):
        return None
    return _record(journal, walk.block, uuid5(walk.id, f"note/{stop}"), old, body, hand)


def back(record: Record, hand: Hand, why: str) -> Record:
    """Return the record that takes another back."""
    return RECORD.validate_python({
        "id": uuid4(), "block": record.block, "time": record.time, "end": record.end,
        "body": {"kind": "taken_back"}, "who": hand.who, "made": hand.made,
        "replaces": record.id, "why": why, "came_by": "dashboard",
    })  # fmt: skip


def plan_of(walk: Record) -> Walk:
    """Return the plan of a walk."""
    return walk_of(walk)
