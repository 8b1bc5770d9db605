"""Records made of what was typed, and what is told of those that were kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any
from uuid import uuid4

import typer

from riskrules.commands.journal_desk import Desk, note, say
from riskrules.commands.journal_times import is_bare
from riskrules.commands.journal_words import said, short, when_of, where_of
from riskrules.errors import RiskRulesError

if TYPE_CHECKING:
    from riskrules.journal.records import Record
    from riskrules.journal.store import Kept


def chosen(text: str) -> str:
    """Return a word as records spell it.

    Examples
    --------
    >>> chosen(" All-Beds")
    'all_beds'
    """
    return text.strip().lower().replace("-", "_").replace(" ", "_")


def codes_of(texts: Sequence[str]) -> list[int]:
    """Return codes typed with spaces or commas between.

    Examples
    --------
    >>> codes_of(["60,65", "71"])
    [60, 65, 71]
    """
    found = " ".join(texts).replace(",", " ").split()
    for text in found:
        if not (text.isascii() and text.isdecimal() and len(text) < 6):
            message = f"'{text}' is no BBCH code of strawberry; expected such as 60 65 71"
            raise RiskRulesError(message)
    return [int(text) for text in found]


def record_of(values: Mapping[str, Any]) -> Record:
    """Return the record of some values; a sentence for each thing wrong with them.

    Raises
    ------
    RiskRulesError
    """
    from pydantic import ValidationError

    from riskrules.journal.checks import sentences
    from riskrules.journal.records import RECORD

    try:
        return RECORD.validate_python(dict(values))
    except ValidationError as error:
        raise RiskRulesError("\n".join(sentences(error))) from None


def blocks_of(
    desk: Desk, blocks: Sequence[str] | None, whole_farm: bool, any_name: bool = False
) -> list[str | None]:
    """Return the blocks that were named; the only one there is, where none was."""
    parts = [part.strip() for text in blocks or () for part in text.split(",")]
    named = list(dict.fromkeys(filter(None, parts)))
    if named and whole_farm:
        raise typer.BadParameter("give either --block or --whole-farm")
    if whole_farm:
        return [None]
    known = [] if any_name else desk.blocks()
    wrong = [name for name in named if known and name not in known]
    if wrong:
        message = f"no block '{wrong[0]}' here; expected one of {', '.join(known)}"
        raise RiskRulesError(message)
    if named:
        return list(named)
    if len(known) == 1:
        note(f"Block {known[0]}, the only one here.")
        return [known[0]]
    listed = f" of {', '.join(known)}" if known else ""
    raise typer.BadParameter(f"which block? expected --block{listed}, or --whole-farm")


def span_of(
    desk: Desk, at: str | None, start: str | None, end: str | None, end_option: str = "--to"
) -> tuple[int, int | None]:
    """Return when something was, from what was typed. [s since 1970 UTC]"""
    if at is not None and start is not None:
        raise typer.BadParameter("give either --at or --from")
    option = "--from" if start is not None else "--at"
    typed = start if start is not None else at
    begins = desk.clock.moment(typed, option) if typed is not None else desk.now
    if typed is not None and begins > desk.now and is_bare(typed):
        desk.hint = f"; expected 'yesterday {typed}' if it was then"
    if end is None:
        return begins, None
    if typed is None and end_option == "--to":
        raise typer.BadParameter(f"{end_option} without --from; expected both")
    ends = desk.clock.moment(end, end_option, desk.clock.of(begins))
    if ends < begins:
        message = f"{end_option} {end} is before {option} {typed or 'now'}"
        such = f", such as 'tomorrow {end}'" if is_bare(end) else ""
        raise RiskRulesError(f"{message}; expected a later time{such}")
    return begins, ends


def enter(
    desk: Desk,
    body: Mapping[str, Any],
    blocks: Sequence[str] | None,
    whole_farm: bool,
    at: str | None = None,
    start: str | None = None,
    end: str | None = None,
    *,
    note: str = "",
    photos: Sequence[Path] = (),
    end_option: str = "--to",
    new_block: bool = False,
) -> None:
    """Make a record for each block, keep all of them or none, and say so."""
    places = blocks_of(desk, blocks, whole_farm, any_name=new_block)
    begins, ends = span_of(desk, at, start, end, end_option)
    pictures = [_photo(path) for path in photos]
    if pictures:
        body = dict(body) | {"photos": [known for known, _ in pictures]}
    shared = {"time": begins, "end": ends, "body": dict(body), "who": desk.who, "note": note}
    records = [
        record_of(shared | {"id": uuid4(), "block": place, "made": desk.now}) for place in places
    ]
    keep_and_say(desk, records, [data for _, data in pictures])


def _photo(path: Path) -> tuple[str, bytes]:
    from riskrules.journal.photos import photo_of

    try:
        data = path.read_bytes()
    except OSError as error:
        raise RiskRulesError(f"{path}: cannot be read: {error.strerror}") from None
    try:
        return photo_of(data).hash, data
    except RiskRulesError as error:
        raise RiskRulesError(f"{path}: {error}") from None


def keep_and_say(desk: Desk, records: Sequence[Record], photos: Sequence[bytes] = ()) -> None:
    """Check, ask, keep, and print what was kept."""
    told(desk, records, desk.keep(records, photos))


def told(desk: Desk, records: Sequence[Record], kept: Sequence[Kept]) -> None:
    """Print what became of records, each with the short form of its identifier."""
    if desk.as_json:
        rows = [kept_json(desk, r, k) for r, k in zip(records, kept, strict=True)]
        desk.print_json("kept", kept=rows)
        return
    for record, one in zip(records, kept, strict=True):
        lead = {"new": "Kept", "known": "Known already", "differs": "! Differs from"}[one.state]
        when = when_of(record, desk.style)
        words = said(record, desk.style, desk.symptoms)
        extra = f" ({record.note})" if record.note else ""
        why = f" because: {record.why}" if record.why else ""
        line = f"{lead} {short(record.id)}: {where_of(record)}, {when}: {words}{extra}."
        say(f"{line} By {record.who}{why}")
        if one.clash:
            say("! Somebody else changed the same record. Both stand, this counts meanwhile: "
                "see 'riskrules journal show --clashes'.", indent=3)  # fmt: skip
        if one.state == "differs":
            say("It was here before with other content, which counts; this one is set aside. "
                "If it is right, correct the one that counts.", indent=3)  # fmt: skip


def kept_json(desk: Desk, record: Record, kept: Kept) -> dict[str, Any]:
    """Return what became of a record, for JSON."""
    from riskrules.journal.records import canonical

    return {
        "short": short(record.id),
        "state": kept.state,
        "seq": kept.seq,
        "clash": kept.clash,
        "words": said(record, desk.style, desk.symptoms),
        "record": canonical(record),
    }
