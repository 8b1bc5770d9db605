"""Archives of many blocks and seasons: what there is, and one block-season read at a time.

Two kinds: a farm with its log store and journal, and a plain folder that any tool can write::

    farm.yaml                       the farm file: place, zone, and how each block is set up
    events.csv                      what was done and seen (as the farm file names it)
    block=NAME/season=2024.parquet  one block's readings of one season

A season's file has a column ``time`` (a timestamp with zone, or whole seconds since 1970 UTC; the
end of each log step), columns such as ``air_temperature [degC]`` (``air_temperature_outside
[degC]`` for the air outside), and where they are needed ``sensor`` and ``forecast``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import lru_cache
from pathlib import Path
from typing import Protocol

from riskrules.blocks import BlockLogs
from riskrules.errors import LogError, Problem
from riskrules.farm import BlockText, Farm, load_farm
from riskrules.logs.events import Event, of_block
from riskrules.logs.store import LogStore
from riskrules.logs.store.manifest import MANIFEST
from riskrules.logs.store.manifest import load as load_manifest
from riskrules.logs.store.types import Contents, Version
from riskrules.sources import Source, block_events, sources_of
from riskrules.tuning.columns import season_sources
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

FARM_FILE = "farm.yaml"
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


class Archive(Protocol):
    """What the bench asks of an archive. It goes to other processes, so it holds only paths."""

    @property
    def farm(self) -> Farm:
        """The farm whose blocks these are."""

    def pieces(self) -> list[Piece]:
        """Return every block-season, in order of block and season."""

    def load(self, piece: Piece) -> BlockSeason | None:
        """Read one block-season; None where it has no measured reading.

        LogError where it is no longer what it was when it was listed.
        """


@dataclass(frozen=True, slots=True)
class FolderArchive:
    """A plain folder of Parquet files, one a block and season."""

    folder: Path
    months: Months = WHOLE_YEAR

    @property
    def farm(self) -> Farm:
        """The farm of the folder's ``farm.yaml``."""
        return _farm(self.folder / FARM_FILE)

    def pieces(self) -> list[Piece]:
        """Return a piece a file; LogError names every file that fits no block or season."""
        farm, hashes = self.farm, self._hashes()
        events = block_events(farm)
        found = []
        for block, label in sorted(hashes):
            names = [block, *_lenders(farm, block)]
            parts = [f"{b} {hashes.get((b, label), '')}" for b in names]
            found.append(_piece(farm, events, block, int(label[:4]), self.months, parts))
        return found

    def load(self, piece: Piece) -> BlockSeason | None:
        """Read one block-season from its file, and its neighbours from theirs."""
        farm, parts, logs = self.farm, [], []
        for block in (piece.block, *_lenders(farm, piece.block)):
            path = self._path(block, piece.season)
            raw = _bytes(path) if block == piece.block or path.exists() else None
            parts.append(f"{block} {hashlib.sha256(raw).hexdigest() if raw is not None else ''}")
            if raw is not None:
                text = _text_of(farm, block)
                logs.append(BlockLogs(text, tuple(season_sources(raw, path, text))))
        _check(farm, piece, self.months, parts, self.folder)
        return _season(farm, piece, logs, self.months)

    def _path(self, block: str, label: str) -> Path:
        return self.folder / f"block={block}" / f"season={label}.parquet"

    def _hashes(self) -> dict[tuple[str, str], str]:
        """Return the hash of each block-season's file."""
        names = [b.block for b in self.farm.text.blocks]
        found: dict[tuple[str, str], str] = {}
        problems = []
        for path in sorted(self.folder.glob("block=*/season=*.parquet")):
            block = path.parent.name.removeprefix("block=")
            label = path.stem.removeprefix("season=")
            wrong = _wrong(block, label, names, self.months)
            if wrong:
                problems.append(Problem(str(path), 0, 0, wrong))
            else:
                found[block, label] = hashlib.sha256(_bytes(path)).hexdigest()
        if not found and not problems:
            message = "no block=NAME/season=YEAR.parquet in it; expected some"
            problems.append(Problem(str(self.folder), 0, 0, message))
        if problems:
            raise LogError(problems)
        return found


@dataclass(frozen=True, slots=True)
class StoreArchive:
    """A farm with its log store, and its events files or journal."""

    farm_file: Path
    store: Path | None = None
    journal: str | None = None
    events: tuple[Path, ...] = ()
    months: Months = WHOLE_YEAR

    @property
    def farm(self) -> Farm:
        """The farm of the farm file."""
        return _farm(self.farm_file)

    @property
    def folder(self) -> Path:
        """The log store's folder; LogError where none is named."""
        if self.store is not None:
            return self.store
        if not self.farm.text.store:
            raise _trouble(self.farm_file, "names no log store; expected `store:`, or one named")
        return self.farm.folder / self.farm.text.store

    def pieces(self) -> list[Piece]:
        """Return a piece for each block and season that the store may have readings of."""
        farm, contents = self.farm, _contents(self.folder)
        events = block_events(farm, self.events, self.journal)
        found = []
        for block in sorted(b.block for b in farm.text.blocks):
            for year in self._years(contents, block):
                parts = self._parts(contents, block, year)
                found.append(_piece(farm, events, block, year, self.months, parts))
        if not found:
            raise _trouble(self.folder, "no readings of this farm's blocks; expected some")
        return found

    def load(self, piece: Piece) -> BlockSeason | None:
        """Read one block-season from the store."""
        farm, opened = self.farm, _opened(self.folder)
        first, last = _reach(farm, piece.year, self.months)
        logs = []
        for block in (piece.block, *_lenders(farm, piece.block)):
            sources = []
            for source in _sources(farm, block):
                rows = opened.readings(source.block, source.sensor, first + 1, last)
                if len(rows):
                    sources.append(replace(rows, sensor=source.sensor, placed=source.placed))
            logs.append(BlockLogs(_text_of(farm, block), tuple(sources)))
        parts = self._parts(_contents(self.folder), piece.block, piece.year)
        _check(farm, piece, self.months, parts, self.folder)
        return _season(farm, piece, logs, self.months)

    def _years(self, contents: Contents, block: str) -> list[int]:
        """Return the years in which a season begins that holds a part of the block's own logs."""
        zone, years = self.farm.zone, set()
        for source in _sources(self.farm, block):
            for version in contents.counting(block, source.sensor) if source.block else ():
                for part in (p for p in version.parts if p.rows):
                    ends = [datetime.fromtimestamp(t - 1, zone) for t in (part.first, part.last)]
                    years.update(range(ends[0].year - 1, ends[1].year + 1))
        return sorted(y for y in years if self._touched(contents, block, y))

    def _touched(self, contents: Contents, block: str, year: int) -> bool:
        first, last = _season_span(self.farm, year, self.months)
        return any(
            part.rows and part.last > first and part.first <= last
            for source in _sources(self.farm, block) if source.block
            for version in contents.counting(block, source.sensor)
            for part in version.parts
        )  # fmt: skip

    def _parts(self, contents: Contents, block: str, year: int) -> list[str]:
        """Return what names the content of each part of the store that a season rests on."""
        first, last = _reach(self.farm, year, self.months)
        return [
            f"{name} {source.sensor} {source.placed} {_order(version)} {part.sha256}"
            for name in (block, *_lenders(self.farm, block))
            for source in _sources(self.farm, name)
            for version in contents.counting(source.block, source.sensor)
            for part in version.parts
            if part.rows and part.last > first and part.first <= last
        ]


def open_archive(
    folder: Path | None = None,
    farm: Path | None = None,
    store: Path | None = None,
    journal: str | None = None,
    events: Sequence[Path] = (),
    months: Months = WHOLE_YEAR,
) -> Archive:
    """Return the plain folder if one is named, else the farm's log store and journal.

    Raises
    ------
    LogError
        If neither is named, or the folder holds no farm file.
    """
    if folder is not None:
        if not (folder / FARM_FILE).is_file():
            raise _trouble(folder, f"no {FARM_FILE} in it; expected an archive of seasons")
        return FolderArchive(folder.resolve(), months)
    if farm is None:
        message = "no archive; expected a folder of seasons, or a farm file"
        raise LogError([Problem("replay", 0, 0, message)])
    at = None if store is None else store.resolve()
    return StoreArchive(farm.resolve(), at, journal, tuple(e.resolve() for e in events), months)


def _wrong(block: str, label: str, names: Sequence[str], months: Months) -> str:
    """Return what is wrong with the names of a season's file; '' where nothing is."""
    if block not in names:
        return f"no block '{block}' in {FARM_FILE}; expected one of {', '.join(names[:12])}"
    year = label[:4]
    if not (year.isascii() and year.isdecimal()) or label != label_of(int(year), months):
        return f"season '{label[:40]}'; expected such as {label_of(2024, months)}"
    return ""


def _piece(
    farm: Farm,
    events: Sequence[Event],
    block: str,
    year: int,
    months: Months,
    parts: Sequence[str],
) -> Piece:
    first, last = _season_span(farm, year, months)
    first -= STATE_DAYS * DAY_S
    near = tuple(e for e in of_block(events, block) if first <= e.time <= last)
    inputs = _digest(farm, block, year, months, near, parts)
    return Piece(block, label_of(year, months), year, inputs, near)


def _check(
    farm: Farm, piece: Piece, months: Months, parts: Sequence[str], where: Path
) -> None:  # fmt: skip
    """Refuse a piece whose inputs are no longer those that its hash stands for."""
    if _digest(farm, piece.block, piece.year, months, piece.events, parts) != piece.inputs:
        message = f"{piece.name} changed since the run began; expected it as it was. Start again"
        raise _trouble(where, message)


def _season(
    farm: Farm, piece: Piece, logs: Sequence[BlockLogs], months: Months
) -> BlockSeason | None:
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
    limits = farm.folder / text.limits if text.limits else None
    said = {
        "blocks": [_text_of(farm, b).model_dump(mode="json") for b in (block, *_lenders(farm, block))],
        "farm": text.model_dump(mode="json", include={"place", "show", "gaps", "hours", "outside"}),
        "limits": hashlib.sha256(_bytes(limits)).hexdigest() if limits else "",
        "season": [year, *months],
        "events": [repr(e) for e in events],
        "parts": list(parts),
    }  # fmt: skip
    return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()


def _season_span(farm: Farm, year: int, months: Months) -> tuple[int, int]:
    """Return when a season begins and ends. [s since 1970 UTC]"""
    first, last = span_of_season(year, months)
    return midnight(first, farm.zone), midnight(last + timedelta(days=1), farm.zone)


def _reach(farm: Farm, year: int, months: Months) -> tuple[int, int]:
    """Return over which time a season's readings are read. [s since 1970 UTC]"""
    first, last = _season_span(farm, year, months)
    return first - BEFORE_DAYS * DAY_S, last


def _text_of(farm: Farm, block: str) -> BlockText:
    return next(b for b in farm.text.blocks if b.block == block)


def _lenders(farm: Farm, block: str) -> list[str]:
    """Return the blocks that a block borrows of, each once."""
    return sorted({loan.of for loan in _text_of(farm, block).borrow})


def _sources(farm: Farm, block: str) -> list[Source]:
    """Return the block's sensors, then those of the air outside."""
    return [s for s in sources_of(farm) if s.block in (block, "")]


def _order(version: Version) -> str:
    return f"{version.written} {version.sha256} {version.mapping_hash}"


Stamp = tuple[Path, int, int, int]
"""A file with its inode, when it was changed [ns] and its length: tells a changed file."""


def _stamp(path: Path) -> Stamp:
    try:
        stat = path.stat()
    except OSError as error:
        raise _trouble(path, f"cannot be read: {error.strerror or error}") from None
    return (path, stat.st_ino, stat.st_mtime_ns, stat.st_size)


def _farm(path: Path) -> Farm:
    return _farm_as_it_is(_stamp(path))


@lru_cache(maxsize=8)
def _farm_as_it_is(stamp: Stamp) -> Farm:
    return load_farm(stamp[0])


@lru_cache(maxsize=8)
def _opened(folder: Path) -> LogStore:
    return LogStore(folder, create=False)


def _contents(folder: Path) -> Contents:
    return _contents_as_they_are(_stamp(folder / MANIFEST))


@lru_cache(maxsize=4)
def _contents_as_they_are(stamp: Stamp) -> Contents:
    return load_manifest(stamp[0].parent)


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise _trouble(path, f"cannot be read: {error.strerror or error}") from None


def _trouble(path: Path | str, message: str) -> LogError:
    return LogError([Problem(str(path), 0, 0, message)])
