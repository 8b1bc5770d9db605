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
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from riskrules.blocks import BlockLogs
from riskrules.errors import LogError, Problem
from riskrules.farm import Farm
from riskrules.tuning.columns import season_sources
from riskrules.tuning.columns import write_season as write_season
from riskrules.tuning.inputs import WHOLE_YEAR as WHOLE_YEAR
from riskrules.tuning.inputs import (
    Months,
    Piece,
    archive_events,
    bytes_of,
    check_piece,
    farm_at,
    lenders,
    piece_of,
    season_of,
    text_of,
    trouble,
)
from riskrules.tuning.seasons import BlockSeason, label_of
from riskrules.tuning.store_archive import StoreArchive

FARM_FILE = "farm.yaml"
YEAR = re.compile("[12][0-9]{3}")


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
        return farm_at(self.folder / FARM_FILE)

    def pieces(self) -> list[Piece]:
        """Return a piece a file; LogError names every file that fits no block or season."""
        farm, hashes = self.farm, self._hashes()
        events = archive_events(farm)
        found = []
        for block, label in sorted(hashes):
            names = [block, *lenders(farm, block)]
            parts = [f"{b} {hashes.get((b, label), '')}" for b in names]
            found.append(piece_of(farm, events, block, int(label[:4]), self.months, parts))
        return found

    def load(self, piece: Piece) -> BlockSeason | None:
        """Read one block-season from its file, and its neighbours from theirs."""
        farm, parts, logs = self.farm, [], []
        for block in (piece.block, *lenders(farm, piece.block)):
            path = self._path(block, piece.season)
            raw = bytes_of(path) if block == piece.block or path.exists() else None
            parts.append(f"{block} {hashlib.sha256(raw).hexdigest() if raw is not None else ''}")
            if raw is not None:
                text = text_of(farm, block)
                logs.append(BlockLogs(text, tuple(season_sources(raw, path, text))))
        check_piece(farm, piece, self.months, parts, self.folder)
        return season_of(farm, piece, logs, self.months)

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
                found[block, label] = hashlib.sha256(bytes_of(path)).hexdigest()
        if not found and not problems:
            message = "no block=NAME/season=YEAR.parquet in it; expected some"
            problems.append(Problem(str(self.folder), 0, 0, message))
        if problems:
            raise LogError(problems)
        return found


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
            raise trouble(folder, f"no {FARM_FILE} in it; expected an archive of seasons")
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
    if not YEAR.fullmatch(year) or label != label_of(int(year), months):
        return f"season '{label[:40]}'; expected such as {label_of(2024, months)}"
    return ""
