"""Read what people did and saw: an events CSV, one line an event."""

from __future__ import annotations

import csv
import io
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from riskrules.errors import LogError, Problem
from riskrules.facts.kinds import PARTS, SYMPTOMS
from riskrules.logs.read import YEARS, check_zone, decode, fail, read_bytes, split_header
from riskrules.science.stages import is_code

COLUMNS = ("time", "block", "event", "what", "end", "affected", "examined", "note")
WORDS: dict[str, tuple[str, ...]] = {
    "stages": (),
    "row_cover": ("on", "off"),
    "sides": ("down", "up"),
    "film": ("on", "off"),
    "irrigation": tuple(f"{m} {d}" for m in ("drip", "overhead") for d in ("brief", "deep"))
    + ("overhead frost", "drip", "overhead"),
    "pick": ("done", "planned"),
    "cooled": ("",),
    "cull": ("",),
    "leaves": ("",),
    "straw": ("laid", "removed"),
    "stalks": ("",),
    "sighting": tuple(f"{part} {symptom}" for part in PARTS for symptom in SYMPTOMS),
    "no_entry": ("",),
    "no_pick": ("",),
    "checked": ("",),
}
"""Each event, and what may stand in its column ``what``."""
NEEDS_END = ("no_entry", "no_pick")


@dataclass(frozen=True, slots=True)
class Event:
    """One thing done, seen or set in a block. Times in seconds since 1970 UTC; in time order."""

    time: int
    event: str
    what: str = ""
    end: int | None = None
    affected: int = 0
    examined: int = 0
    block: str = ""
    stages: tuple[int, ...] = ()

    def __lt__(self, other: Event) -> bool:
        """Whether it comes before another; those of one time in an order of their content."""
        return self._order() < other._order()

    def _order(self) -> tuple[object, ...]:
        end = -1 if self.end is None else self.end
        counts = self.affected, self.examined
        return (self.time, self.event, self.what, end, *counts, self.block, self.stages)


def read_events(
    path: Path, zone: str | None = None, blocks: Collection[str] | None = None
) -> list[Event]:
    """Read an events file, in time order.

    Columns: ``time, block, event, what, end, affected, examined, note``; only ``time`` and
    ``event`` are needed, ``block`` where the farm has several. ``zone`` is that of times without
    offset; ``blocks`` are those of the farm (None: not known).

    Raises
    ------
    LogError
        With every line that cannot be used: a wrong line hides what was done, so none is skipped.
    """
    check_zone(zone, path.name)
    text = decode(read_bytes(path), path.name)
    header, skip = split_header(text, path.name)
    header = [h.lower() for h in header]
    _check_header(header, path.name, skip + 1)
    found: list[Event] = []
    problems: list[Problem] = []
    rows = csv.reader(io.StringIO("\n".join(text.split("\n")[skip + 1 :])))
    try:
        for row in rows:
            try:
                found += _events_of(row, header, zone, blocks)
            except ValueError as error:
                problems.append(Problem(path.name, skip + 1 + rows.line_num, 0, str(error)))
    except csv.Error as error:
        message = f"not readable as CSV: {error}"
        problems.append(Problem(path.name, skip + 1 + rows.line_num, 0, message))
    if problems:
        raise LogError(problems)
    return sorted(set(found))


def _check_header(header: list[str], file: str, line: int) -> None:
    for needed in ("time", "event"):
        if header.count(needed) != 1:
            shown = ", ".join(header) or "nothing"
            raise fail(file, f"columns are {shown}; expected one '{needed}'", line)
    for name in header:
        if name and name not in COLUMNS:
            message = f"no column '{name}' in events; expected {', '.join(COLUMNS)}"
            raise fail(file, message, line)
        if name and header.count(name) > 1:
            raise fail(file, f"column '{name}' stands twice; expected once", line)


def _events_of(
    row: list[str], header: list[str], zone: str | None, blocks: Collection[str] | None
) -> list[Event]:
    """Return the event of a row; nothing where the row is blank."""
    if not any(cell.strip() for cell in row):
        return []
    if any(cell.strip() for cell in row[len(header) :]):
        raise ValueError(f"{len(row)} cells; expected {len(header)}, as in the header")
    event = event_of({h: c.strip() for h, c in zip(header, row, strict=False)}, zone)
    if event.block and blocks is not None and event.block not in blocks:
        known = ", ".join(sorted(blocks))
        raise ValueError(f"no block '{event.block}' in the farm file; expected {known}")
    return [event]


def event_of(cells: dict[str, str], zone: str | None) -> Event:
    """Return the event of a row given by column; ValueError says in a clause what is wrong."""
    event, what = cells.get("event", "").lower(), " ".join(cells.get("what", "").lower().split())
    if event not in WORDS:
        raise ValueError(f"event '{event}'; expected one of {', '.join(WORDS)}")
    time = _seconds(cells.get("time", ""), "time", zone)
    end = _seconds(cells["end"], "end", zone) if cells.get("end") else None
    if end is not None and end < time:
        raise ValueError(f"end {cells['end']} is before time {cells['time']}")
    if end is None and event in NEEDS_END:
        raise ValueError(f"{event} without end; expected the time until which it holds")
    stages: tuple[int, ...] = ()
    if event == "stages":
        stages = _stages(what)
    elif what not in WORDS[event] and not (event == "pick" and not what):
        raise ValueError(f"{event} '{what}'; expected one of {', '.join(WORDS[event])}")
    affected, examined = _counts(cells) if event == "sighting" else (0, 0)
    what = what or ("done" if event == "pick" else "")
    return Event(time, event, what, end, affected, examined, cells.get("block", ""), stages)


def _stages(what: str) -> tuple[int, ...]:
    codes = what.split()
    for code in codes:
        if not code.isdecimal() or not is_code(int(code)):
            raise ValueError(f"stage '{code}'; expected BBCH codes of strawberry, such as 60 65 71")
    if not codes:
        raise ValueError("stages without codes; expected BBCH codes, such as 60 65 71")
    return tuple(sorted({int(code) for code in codes}))


def _counts(cells: dict[str, str]) -> tuple[int, int]:
    numbers = []
    for name in ("affected", "examined"):
        text = cells.get(name, "")
        if not text.isdecimal():
            raise ValueError(f"{name} is '{text}'; expected a whole number")
        numbers.append(int(text))
    affected, examined = numbers
    if examined == 0 or affected > examined:
        raise ValueError(f"{affected} affected of {examined} examined; expected 0 to {examined}")
    return affected, examined


def _seconds(text: str, column: str, zone: str | None) -> int:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise ValueError(f"{column} is '{text}'; expected such as 2026-05-03T06:15+02:00") from None
    if not YEARS[0] <= moment.year <= YEARS[1]:
        raise ValueError(f"{column} is '{text}'; expected a year from {YEARS[0]} to {YEARS[1]}")
    if moment.tzinfo is None:
        if zone is None:
            raise ValueError(
                f"{column} '{text}' has no offset; expected one, or a farm with a zone"
            )
        moment = _local(moment, column, zone)
    return int(moment.timestamp())


def _local(moment: datetime, column: str, zone: str) -> datetime:
    """Put a clock time into a zone; a time that happens twice or never there is refused."""
    early = moment.replace(tzinfo=ZoneInfo(zone), fold=0)
    late = moment.replace(tzinfo=ZoneInfo(zone), fold=1)
    if early.utcoffset() != late.utcoffset():
        raise ValueError(f"{column} {moment} happens twice or never in {zone}; expected an offset")
    return early


def of_block(events: Sequence[Event], block: str) -> list[Event]:
    """Return the events of a block, and those that name none."""
    return [event for event in events if event.block in ("", block)]
