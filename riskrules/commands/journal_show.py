"""What the journal commands print of records that are kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import TYPE_CHECKING, Any
from uuid import UUID

from riskrules.commands.journal_desk import say
from riskrules.commands.journal_words import dated, said, short, when_of, where_of
from riskrules.commands.logs_words import count_of

if TYPE_CHECKING:
    from riskrules.commands.journal_desk import Desk
    from riskrules.errors import Problem
    from riskrules.journal.records import Record
    from riskrules.journal.rows import Stored
    from riskrules.journal.stale import Stale
    from riskrules.journal.store import Clash, Differing


def show_records(
    desk: Desk, found: Sequence[Record], clashes: Mapping[UUID, Clash], about: str
) -> None:
    """Print records day by day, each in a line with its short identifier."""
    clock = desk.clock
    say(about, style="bold")
    if not found:
        say("Nothing is written there. That nobody wrote does not mean that nothing was done.")

    def day_of(record: Record) -> date:
        return clock.of(record.time)

    for day, records in groupby(found, day_of):
        print()
        say(f"{day:%a %-d %b %Y}", style="bold")
        for record in records:
            say(line_of(desk, record, clashes.get(record.id)), indent=3)


def line_of(desk: Desk, record: Record, clash: Clash | None = None) -> str:
    """Return a record in a line under the heading of its day."""
    when = when_of(record, desk.style)
    day = dated(desk.style, record.time).rsplit(" ", 1)[0]
    words = said(record, desk.style, desk.symptoms)
    line = f"{when.removeprefix(day).strip()}  {where_of(record)}: {words}"
    line += f" ({record.note})" if record.note else ""
    line += f". {record.who}, {short(record.id)}"
    if record.replaces is not None:
        line += f", a correction: {record.why}"
    if clash is not None:
        mark = "this counts meanwhile" if clash.counts == record.id else "does not count meanwhile"
        line += f" ! stands beside another version; {mark}"
    return line


def show_versions(desk: Desk, found: Iterable[Stored]) -> None:
    """Print all versions of a record, in the order received."""
    style = desk.style
    versions = list(found)
    by_seq = {s.seq: s.record.id for s in versions}
    for s in versions:
        r = s.record
        stands = "stands"
        if s.replaced is not None:
            by = by_seq.get(s.replaced)
            stands = f"replaced by {short(by)}" if by else f"replaced by record {s.replaced}"
        say(f"{short(r.id)} ({r.id}), {stands}", style="bold")
        words = said(r, style, desk.symptoms)
        say(f"{where_of(r)}, {when_of(r, style)}: {words}"
            + (f" ({r.note})" if r.note else ""), indent=3)  # fmt: skip
        how = "" if r.came_by == "hand" else f", by {r.came_by}"
        say(f"Written by {r.who} {dated(style, r.made)}{how}; received "
            f"{dated(style, s.received)} as number {s.seq}", indent=3)  # fmt: skip
        if r.replaces is not None:
            say(f"Replaces {short(r.replaces)}, because: {r.why}", indent=3)


def versions_json(found: Iterable[Stored]) -> list[dict[str, Any]]:
    """Return versions of records, for JSON."""
    from riskrules.journal.records import canonical

    return [
        {
            "seq": s.seq,
            "received": s.received,
            "replaced": s.replaced,
            "record": canonical(s.record),
        }
        for s in found
    ]


def clashes_json(found: Iterable[Clash]) -> list[dict[str, Any]]:
    """Return clashes, for JSON."""
    return [
        {
            "replaced": str(c.replaced),
            "counts": str(c.counts),
            "versions": versions_json(c.versions),
        }
        for c in found
    ]


def show_clashes(desk: Desk, found: Sequence[Clash], differing: Sequence[Differing]) -> None:
    """Print where versions stand beside each other, and what came under a taken identifier."""
    if not found and not differing:
        say("No clash: nobody has to settle anything.", style="bold")
    for c in found:
        say(f"{count_of(len(c.versions), 'version')} of {short(c.replaced)}", style="bold")
        for s in c.versions:
            mark = "counts meanwhile" if s.record.id == c.counts else "does not count"
            say(f"{mark}: {dated(desk.style, s.record.time)} {line_of(desk, s.record)}", 3)
        say("To settle it, take one back, or correct one and take the other back.", indent=3)
    for each in differing:
        r = each.record
        say(f"Set aside: {short(r.id)} came again with other content", style="bold")
        say(f"{dated(desk.style, r.time)} {line_of(desk, r)}", indent=3)


def show_stale(desk: Desk, found: Sequence[Stale]) -> None:
    """Print what to ask about states that nobody confirmed for long."""
    if not found:
        say("Nothing is stale: no question is open.", style="bold")
    for each in found:
        say(each.question)
    if found:
        say("If all is as it was: riskrules journal same. Else write down what it is now.",
            style="bold")  # fmt: skip


def stale_json(desk: Desk, found: Iterable[Stale]) -> list[dict[str, Any]]:
    """Return stale states, for JSON."""
    return [
        {
            "block": s.block or None,
            "state": s.state,
            "what": s.what,
            "said_at": desk.style.iso(s.said_at),
            "age_s": s.age_s,
            "limit_s": s.limit_s,
            "question": s.question,
        }
        for s in found
    ]


def show_problems(problems: Sequence[Problem], name: str) -> None:
    """Print what is wrong with a journal."""
    for problem in problems:
        say(str(problem))
    whole = f"{name} is whole."
    say(f"{count_of(len(problems), 'trouble')} found." if problems else whole, style="bold")
