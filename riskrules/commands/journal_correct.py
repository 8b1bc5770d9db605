"""``riskrules journal correct`` and ``take-back``: new records in place of wrong ones."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Any
from uuid import uuid4

import typer

from riskrules.commands.journal_add import At, To
from riskrules.commands.journal_desk import Desk, command
from riskrules.commands.journal_enter import stop_counts
from riskrules.commands.journal_make import (
    blocks_of,
    chosen,
    codes_of,
    keep_and_say,
    record_of,
    span_of,
)
from riskrules.commands.journal_words import short
from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.journal.records import Record

Identifier = Annotated[str, typer.Argument(metavar="ID", help="A record, its first characters.")]
Why = Annotated[str, typer.Option("--why", help="Why it was wrong.")]
FIELDS = {"kg": "weight_kg", "of": "examined"}
"""Words of the keyboard for fields of records."""
FIXED = ("kind", "stops", "walk", "photos")
"""Fields that --set does not change."""


def correct(
    desk: Desk,
    known: Identifier,
    why: Why,
    sets: Annotated[
        list[str] | None,
        typer.Option("--set", help="What is right, such as kg=38, what=off, codes='60 65'."),
    ] = None,
    stops: Annotated[
        list[str] | None,
        typer.Option("--stop", help="The right count of one stop of a walk, such as 4=2/10."),
    ] = None,
    block: Annotated[str | None, typer.Option("--block", "-b", help="The right block.")] = None,
    at: At = None,
    to: To = None,
    noted: Annotated[str | None, typer.Option("--note", help="The right note.")] = None,
) -> None:
    """Say what is right in place of a record; the old one is kept, and who, when and why."""
    old = _standing(desk, known)
    body = _body(old, sets or [], stops or [])
    begins, ends = old.time, old.end
    if at is not None or to is not None:
        iso = desk.style.iso(old.time)
        begins, ends = span_of(desk, at if at is not None else iso, None, to)
        ends = old.end if to is None else ends
    values = old.model_dump(mode="json") | {
        "id": uuid4(), "made": desk.now, "who": desk.who, "came_by": "hand", "why": why,
        "replaces": old.id, "body": body, "time": begins, "end": ends,
    }  # fmt: skip
    if block is not None:
        values["block"] = blocks_of(desk, [block], False)[0]
    if noted is not None:
        values["note"] = noted
    new = record_of(values)
    if all(getattr(new, k) == getattr(old, k) for k in ("block", "time", "end", "note", "body")):
        raise RiskRulesError("nothing is other than before; expected what is right, such as --set")
    keep_and_say(desk, [new])


def _body(old: Record, sets: Sequence[str], stops: Sequence[str]) -> dict[str, Any]:
    """Return the body of a record with what was set, as plain values."""
    body: dict[str, Any] = old.body.model_dump(mode="json")
    for text in sets:
        name, is_set, value = text.partition("=")
        field = FIELDS.get(chosen(name), chosen(name))
        if not is_set or field not in body or field in FIXED:
            names = [n for n in body if n not in FIXED]
            back = {v: k for k, v in FIELDS.items()}
            expected = ", ".join(f"{back.get(n, n)}=..." for n in names)
            raise RiskRulesError(f"--set is '{text}'; expected {expected or 'none of this kind'}")
        body[field] = _value(field, value)
    if stops:
        _set_stops(body, stops)
    return body


def _value(field: str, text: str) -> Any:
    if field == "codes":
        return codes_of([text])
    if field == "symptoms":
        return [chosen(part) for part in text.replace(",", " ").split()]
    if field == "same":
        return [chosen(part) for part in text.split(",")]
    if text == "":
        return None
    return (
        text if field in ("text", "finding") or "-" in text and text[:1].isdigit() else _plain(text)
    )


def _plain(text: str) -> Any:
    return chosen(text) if text.strip()[:1].isalpha() else text.strip()


def _set_stops(body: dict[str, Any], stops: Sequence[str]) -> None:
    """Put the right counts into some stops, and the sums with them."""
    if not body.get("stops"):
        raise RiskRulesError("--stop, but the record has no stops; expected --set affected=...")
    by_number = {stop["stop"]: stop for stop in body["stops"]}
    for number, (affected, examined) in stop_counts(stops, None).items():
        if number not in by_number:
            message = f"no stop {number} in the record; expected one of"
            raise RiskRulesError(f"{message} {', '.join(map(str, sorted(by_number)))}")
        old = by_number[number]
        old["affected"] = affected
        old["examined"] = old["examined"] if examined is None else examined
    body["affected"] = sum(stop["affected"] for stop in body["stops"])
    body["examined"] = sum(stop["examined"] for stop in body["stops"])
    if body["affected"] and body.get("pattern") == "none_seen":
        body["pattern"] = None


def _standing(desk: Desk, known: str) -> Record:
    """Return a record that nothing replaces yet: to replace another makes a clash."""
    found = desk.find(known)
    if found.replaced is not None:
        later = desk.journal().history(found.record.id)
        by = next(s.record for s in later if s.seq == found.replaced)
        what = "taken back" if by.kind == "taken_back" else f"corrected, in {short(by.id)}"
        raise RiskRulesError(f"{short(found.record.id)} was {what}, by {by.who}; expected a record "
                             "that stands")  # fmt: skip
    if found.record.kind == "taken_back":
        raise RiskRulesError(f"{short(found.record.id)} takes another record back; "
                             "expected a record to write anew: riskrules journal add")  # fmt: skip
    return found.record


def take_back(desk: Desk, known: Identifier, why: Why) -> None:
    """Say that a record was a mistake; it stays to be seen, and counts no more."""
    old = _standing(desk, known)
    values = {
        "id": uuid4(), "block": old.block, "time": old.time, "body": {"kind": "taken_back"},
        "who": desk.who, "made": desk.now, "replaces": old.id, "why": why,
    }  # fmt: skip
    keep_and_say(desk, [record_of(values)])


def register(app: typer.Typer) -> None:
    """Add these commands to the journal's commands."""
    command(app, "correct", writes=True)(correct)
    command(app, "take-back", writes=True)(take_back)
