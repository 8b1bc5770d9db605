"""Read what people did and saw: an events CSV, one line an event."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from riskrules.errors import LogError, Problem
from riskrules.facts.kinds import PARTS, SYMPTOMS
from riskrules.logs.read import decode, fail, read_bytes
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


@dataclass(frozen=True, slots=True, order=True)
class Event:
    """One thing done, seen or set in a block. Times in seconds since 1970 UTC."""

    time: int
    event: str
    what: str = ""
    end: int | None = None
    affected: int = 0
    examined: int = 0
    block: str = ""
    stages: tuple[int, ...] = ()


def read_events(path: Path, zone: str | None = None) -> list[Event]:
    """Read an events file, in time order.

    Columns: ``time, block, event, what, end, affected, examined, note``; only ``time`` and
    ``event`` are needed, ``block`` where the farm has several.

    Raises
    ------
    LogError
        With every line that cannot be used: a wrong line hides what was done, so none is skipped.
    """
    text = decode(read_bytes(path), path.name)
    lines = text.splitlines()
    skip = next((i for i, line in enumerate(lines) if line.strip() and line[0] != "#"), len(lines))
    rows = csv.reader(io.StringIO("\n".join(lines[skip:])))
    header = [h.strip().lower() for h in next(rows, [])]
    for needed in ("time", "event"):
        if header.count(needed) != 1:
            shown = ", ".join(header) or "nothing"
            raise fail(path.name, f"columns are {shown}; expected one '{needed}'", skip + 1)
    unknown = [h for h in header if h not in COLUMNS]
    if unknown:
        message = f"no column '{unknown[0]}' in events; expected {', '.join(COLUMNS)}"
        raise fail(path.name, message, skip + 1)
    found: list[Event] = []
    problems: list[Problem] = []
    for i, row in enumerate(rows, start=skip + 2):
        if not any(cell.strip() for cell in row):
            continue
        cells = {h: c.strip() for h, c in zip(header, row, strict=False)}
        try:
            found.append(_event(cells, zone))
        except ValueError as error:
            problems.append(Problem(path.name, i, 0, str(error)))
    if problems:
        raise LogError(problems)
    return sorted(set(found))


def _event(cells: dict[str, str], zone: str | None) -> Event:
    event, what = cells["event"].lower(), " ".join(cells.get("what", "").lower().split())
    if event not in WORDS:
        raise ValueError(f"event '{event}'; expected one of {', '.join(WORDS)}")
    time = _seconds(cells["time"], "time", zone)
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
        if not code.isdigit() or not is_code(int(code)):
            raise ValueError(f"stage '{code}'; expected BBCH codes of strawberry, such as 60 65 71")
    if not codes:
        raise ValueError("stages without codes; expected BBCH codes, such as 60 65 71")
    return tuple(sorted({int(code) for code in codes}))


def _counts(cells: dict[str, str]) -> tuple[int, int]:
    numbers = []
    for name in ("affected", "examined"):
        text = cells.get(name, "")
        if not text.isdigit():
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
    if moment.tzinfo is None:
        if zone is None:
            raise ValueError(f"{column} '{text}' has no offset; expected one, or a farm with a zone")
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
