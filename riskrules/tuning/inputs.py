"""What a block-season of an archive rests on: farm, events and readings, and one hash of all."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from functools import lru_cache
from pathlib import Path

from riskrules.blocks import BlockLogs
from riskrules.errors import LogError, Problem
from riskrules.farm import BlockText, Farm, load_farm
from riskrules.logs.events import Event, of_block, read_events
from riskrules.sources import journal_of
from riskrules.tuning.seasons import (
    BEFORE_DAYS,
    DAY_S,
    STATE_DAYS,
    BlockSeason,
    block_seasons,
    label_of,
    midnight,
    span_of_season,
)

WHOLE_YEAR = (1, 12)
Months = tuple[int, int]


@dataclass(frozen=True, slots=True, order=True)
class Piece:
    """One block-season of an archive, not yet read.

    Attributes
    ----------
    block, season : str
    year : int
        In which the season begins.
    inputs : str
        SHA-256 of all that is read for it: readings, events, and what the farm file says.
    events : tuple of Event
        Those of the block that may matter to the season, in time order.
    """

    block: str
    season: str
    year: int
    inputs: str
    events: tuple[Event, ...] = field(default=(), compare=False, repr=False)

    @property
    def name(self) -> str:
        """What people call it."""
        return f"{self.block} {self.season}"


def archive_events(
    farm: Farm, files: Sequence[Path] = (), journal: str | None = None
) -> tuple[Event, ...]:
    """Return the events of files and journal, by default those that the farm file names.

    Raises
    ------
    LogError
        Where one cannot be read, or tells of a block that the farm lacks.
    """
    names = {b.block for b in farm.text.blocks}
    paths = list(files) or [farm.folder / name for name in farm.text.events]
    found = {e for path in paths for e in read_events(path, farm.text.place.zone, names)}
    if journal is None and not files:
        journal = journal_of(farm)
    if journal is not None:
        found |= _of_journal(journal, names)
    return tuple(sorted(found))


def _of_journal(journal: str, names: set[str]) -> set[Event]:
    from riskrules.journal.events import events_of
    from riskrules.journal.store import open_journal

    if "://" not in journal and not Path(journal).exists():
        raise trouble(journal, "no such journal; `riskrules journal` makes one")
    with open_journal(journal) as opened:
        found = set(events_of(opened))
    strange = sorted({e.block for e in found if e.block} - names)
    if strange:
        raise trouble(journal, f"records of {', '.join(strange)}; expected blocks of the farm file")
    return found


def piece_of(
    farm: Farm,
    events: Sequence[Event],
    block: str,
    year: int,
    months: Months,
    parts: Sequence[str],
) -> Piece:
    """Return a block-season with the events that may matter to it, and the hash of its inputs.

    ``parts`` name the content of each file of readings that it rests on.
    """
    first, last = season_span(farm, year, months)
    first -= STATE_DAYS * DAY_S
    near = tuple(e for e in of_block(events, block) if first <= e.time <= last)
    inputs = _digest(farm, block, year, months, near, parts)
    return Piece(block, label_of(year, months), year, inputs, near)


def check_piece(
    farm: Farm, piece: Piece, months: Months, parts: Sequence[str], where: Path
) -> None:  # fmt: skip
    """Refuse a piece whose inputs are no longer those that its hash stands for."""
    if _digest(farm, piece.block, piece.year, months, piece.events, parts) != piece.inputs:
        message = f"{piece.name} changed since the run began; expected it as it was. Start again"
        raise trouble(where, message)


def season_of(
    farm: Farm, piece: Piece, logs: Sequence[BlockLogs], months: Months
) -> BlockSeason | None:
    """Return a block-season cut from the readings of the block and those that it borrows of."""
    every = block_seasons(farm, logs, piece.events, [piece.year], months)
    return next((s for s in every if s.block == piece.block), None)


def _digest(
    farm: Farm,
    block: str,
    year: int,
    months: Months,
    events: Sequence[Event],
    parts: Sequence[str],
) -> str:
    """Return one hash of all that decides what a block-season says, beside rules and code."""
    text = farm.text
    names = (block, *lenders(farm, block))
    limits = farm.folder / text.limits if text.limits else None
    said = {
        "blocks": [text_of(farm, b).model_dump(mode="json") for b in names],
        "farm": text.model_dump(mode="json", include={"place", "show", "gaps", "hours", "outside"}),
        "limits": hashlib.sha256(bytes_of(limits)).hexdigest() if limits else "",
        "season": [year, *months],
        "events": [repr(e) for e in events],
        "parts": list(parts),
    }  # fmt: skip
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def season_span(farm: Farm, year: int, months: Months) -> tuple[int, int]:
    """Return when a season begins and ends. [s since 1970 UTC]"""
    first, last = span_of_season(year, months)
    return midnight(first, farm.zone), midnight(last + timedelta(days=1), farm.zone)


def reach(farm: Farm, year: int, months: Months) -> tuple[int, int]:
    """Return over which time a season's readings are read. [s since 1970 UTC]"""
    first, last = season_span(farm, year, months)
    return first - BEFORE_DAYS * DAY_S, last


def text_of(farm: Farm, block: str) -> BlockText:
    """Return what the farm file says of a block."""
    return next(b for b in farm.text.blocks if b.block == block)


def lenders(farm: Farm, block: str) -> list[str]:
    """Return the blocks that a block borrows of, each once."""
    return sorted({loan.of for loan in text_of(farm, block).borrow})


Stamp = tuple[Path, int, int, int]
"""A file with its inode, when it was changed [ns] and its length: tells a changed file."""


def stamp_of(path: Path) -> Stamp:
    """Return what tells a changed file; LogError where it cannot be looked at."""
    try:
        stat = path.stat()
    except OSError as error:
        raise trouble(path, f"cannot be read: {error.strerror or error}") from None
    return (path, stat.st_ino, stat.st_mtime_ns, stat.st_size)


def farm_at(path: Path) -> Farm:
    """Read a farm file, once for as long as it stays as it is."""
    return _farm_as_it_is(stamp_of(path))


@lru_cache(maxsize=8)
def _farm_as_it_is(stamp: Stamp) -> Farm:
    return load_farm(stamp[0])


def bytes_of(path: Path) -> bytes:
    """Return a file's bytes; LogError where it cannot be read."""
    try:
        return path.read_bytes()
    except OSError as error:
        raise trouble(path, f"cannot be read: {error.strerror or error}") from None


def trouble(path: Path | str, message: str) -> LogError:
    """Return the error for a file that cannot be used."""
    return LogError([Problem(str(path), 0, 0, message)])
