"""An archive that is a farm's log store, with its events files or journal."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path

from riskrules.blocks import BlockLogs
from riskrules.farm import Farm
from riskrules.logs.store import LogStore
from riskrules.logs.store.manifest import MANIFEST
from riskrules.logs.store.manifest import load as load_manifest
from riskrules.logs.store.types import Contents, Version
from riskrules.sources import Source, sources_of
from riskrules.tuning.inputs import (
    WHOLE_YEAR,
    Months,
    Piece,
    Stamp,
    archive_events,
    check_piece,
    farm_at,
    lenders,
    piece_of,
    reach,
    season_of,
    season_span,
    stamp_of,
    text_of,
    trouble,
)
from riskrules.tuning.seasons import BlockSeason


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
        return farm_at(self.farm_file)

    @property
    def folder(self) -> Path:
        """The log store's folder; LogError where none is named."""
        if self.store is not None:
            return self.store
        if not self.farm.text.store:
            how = "`riskrules logs read FOLDER --farm FILE --store store` makes one"
            message = f"names no log store; expected `store:` in it, or --store ({how})"
            raise trouble(self.farm_file, message)
        return self.farm.folder / self.farm.text.store

    def pieces(self) -> list[Piece]:
        """Return a piece for each block and season that the store may have readings of."""
        farm, contents = self.farm, _contents(self.folder)
        events = archive_events(farm, self.events, self.journal)
        found = []
        for block in sorted(b.block for b in farm.text.blocks):
            for year in self._years(contents, block):
                parts = self._parts(contents, block, year)
                found.append(piece_of(farm, events, block, year, self.months, parts))
        if not found:
            raise trouble(self.folder, "no readings of this farm's blocks; expected some")
        return found

    def load(self, piece: Piece) -> BlockSeason | None:
        """Read one block-season from the store."""
        farm, opened = self.farm, _opened(self.folder)
        first, last = reach(farm, piece.year, self.months)
        logs = []
        for block in (piece.block, *lenders(farm, piece.block)):
            sources = []
            for source in _sources(farm, block):
                rows = opened.readings(source.block, source.sensor, first + 1, last)
                if len(rows):
                    sources.append(replace(rows, sensor=source.sensor, placed=source.placed))
            logs.append(BlockLogs(text_of(farm, block), tuple(sources)))
        parts = self._parts(_contents(self.folder), piece.block, piece.year)
        check_piece(farm, piece, self.months, parts, self.folder)
        return season_of(farm, piece, logs, self.months)

    def _years(self, contents: Contents, block: str) -> list[int]:
        """Return the years in which a season begins that holds a part of the block's own logs."""
        zone, years = self.farm.zone, set[int]()
        for source in _sources(self.farm, block):
            for version in contents.counting(block, source.sensor) if source.block else ():
                for part in (p for p in version.parts if p.rows):
                    ends = [datetime.fromtimestamp(t - 1, zone) for t in (part.first, part.last)]
                    years.update(range(ends[0].year - 1, ends[1].year + 1))
        return sorted(y for y in years if self._touched(contents, block, y))

    def _touched(self, contents: Contents, block: str, year: int) -> bool:
        first, last = season_span(self.farm, year, self.months)
        return any(
            part.rows and part.last > first and part.first <= last
            for source in _sources(self.farm, block) if source.block
            for version in contents.counting(block, source.sensor)
            for part in version.parts
        )  # fmt: skip

    def _parts(self, contents: Contents, block: str, year: int) -> list[str]:
        """Return what names the content of each part of the store that a season rests on."""
        first, last = reach(self.farm, year, self.months)
        return [
            f"{name} {source.sensor} {source.placed} {_order(version)} {part.sha256}"
            for name in (block, *lenders(self.farm, block))
            for source in _sources(self.farm, name)
            for version in contents.counting(source.block, source.sensor)
            for part in version.parts
            if part.rows and part.last > first and part.first <= last
        ]


def _sources(farm: Farm, block: str) -> list[Source]:
    """Return the block's sensors, then those of the air outside."""
    return [s for s in sources_of(farm) if s.block in (block, "")]


def _order(version: Version) -> str:
    return f"{version.written} {version.sha256} {version.mapping_hash}"


@lru_cache(maxsize=8)
def _opened(folder: Path) -> LogStore:
    return LogStore(folder, create=False)


def _contents(folder: Path) -> Contents:
    return _contents_as_they_are(stamp_of(folder / MANIFEST))


@lru_cache(maxsize=4)
def _contents_as_they_are(stamp: Stamp) -> Contents:
    return load_manifest(stamp[0].parent)
