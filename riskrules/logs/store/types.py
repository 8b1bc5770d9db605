"""What goes into the log store and what comes out of it, beside the readings themselves."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path
from typing import Literal, NamedTuple

from riskrules.errors import LogError, Problem
from riskrules.logs.readings import Readings

State = Literal["new", "known", "grown", "aside"]
NAME = re.compile(r"[a-z][a-z0-9_]{0,99}")
OUTSIDE_FOLDER = "_outside"
"""Folder name of the farm's outside air, whose block is ''. No block can have this name."""
_TABLE = re.compile(r"\.zip/(?P<member>.+)$| (?P<sheet>\[[^\]]*\])$", re.IGNORECASE)


@dataclass(slots=True)
class Incoming:
    """One table of one file, read but not judged, on its way into the store.

    Attributes
    ----------
    block : str
        Block of the farm; '' for the farm's outside air.
    sensor : str
        Name of the sensor within the block.
    file : str
        Name to show: ``a.csv``, ``a.zip/b.csv``, ``a.xlsx [Sheet1]``.
    original : bytes or Path
        The whole file as it came (of an archive or workbook: the archive or workbook).
    written : int
        When the file was last changed. [s since 1970 UTC] What was written later wins; ties go
        by hash, so that the order of reading never matters.
    readings : Readings
        Unjudged, one source, times strictly rising, with lines, files, tallies and notes.
    mapping_hash : str
        Stands for everything beside the bytes that decides what the readings are: mapping,
        zone, placement. The same file read by another mapping replaces the earlier reading.
    table : str
        Which table of the file this is, where it has several; found from ``file`` if left out.
    sha256 : str
        Hash of the bytes that were read, if known: where ``original`` has changed since then,
        nothing is stored and a LogError says so.
    """

    block: str
    sensor: str
    file: str
    original: bytes | Path
    written: int
    readings: Readings
    mapping_hash: str = ""
    table: str = ""
    sha256: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of one incoming file.

    ``state``: ``new``; ``known`` (nothing changed); ``grown`` (it starts with the bytes of an
    earlier version, which it replaces, or it is such a beginning of a file that is already
    here); ``aside`` (set aside). ``rows`` are the rows kept.
    """

    file: str
    sha256: str
    state: State
    rows: int = 0
    problems: tuple[Problem, ...] = ()


class Part(NamedTuple):
    """One Parquet file of the store: path below its folder, hash, and the times in it."""

    path: str
    sha256: str
    rows: int
    first: int
    last: int


class Version(NamedTuple):
    """One reading of one table of one file: kept on record for ever.

    ``superseded_by`` is the id of the version that took its place, '' while it counts;
    ``why`` says how: ``grown`` or ``mapping``. Only versions that count have ``parts``.
    ``last_value`` is the time of the last measured row with a usable value. [s] ``turn`` numbers
    the readings of the store in the order in which they were taken.
    """

    id: str
    block: str
    sensor: str
    file: str
    table: str
    sha256: str
    size: int
    written: int
    mapping_hash: str
    read_at: int
    rows: int
    rows_read: int
    step: int
    first: int | None
    last: int | None
    last_value: int | None
    turn: int = 0
    superseded_by: str = ""
    why: str = ""
    parts: tuple[Part, ...] = ()

    @property
    def order(self) -> tuple[int, str, str]:
        """Place among versions: what comes later wins."""
        return (self.written, self.sha256, self.id)

    @property
    def chain(self) -> tuple[str, str, str]:
        """What a file must share with another one to be a version of the same table."""
        return (self.block, self.sensor, self.table)


class Original(NamedTuple):
    """The bytes of a file as it came. ``within`` names the longer file that begins with them."""

    sha256: str
    size: int
    head: str
    within: str = ""


class Aside(NamedTuple):
    """A file that could not be read: kept as it is, beside a report of what is wrong with it.

    ``resolved``: the same bytes were read since, by another mapping perhaps.
    """

    file: str
    sha256: str
    size: int
    mapping_hash: str
    read_at: int
    report: str
    report_sha256: str
    resolved: bool = False
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Record:
    """A line of the store's history.

    ``rows`` are those kept, ``first`` and ``last`` their times [s]. ``superseded`` lists the
    files (name, hash) that this one took the place of, ``superseded_by`` the one that took its.
    """

    block: str
    sensor: str
    file: str
    sha256: str
    written: int
    read_at: int
    rows: int
    rows_read: int
    first: int | None
    last: int | None
    state: Literal["counts", "grown", "mapping", "aside"]
    superseded: tuple[tuple[str, str], ...] = ()
    superseded_by: tuple[str, str] | None = None
    problems: tuple[Problem, ...] = ()


class Traced(NamedTuple):
    """Where a value comes from: file, line (0: not known), hash of the file; NaN: not usable."""

    file: str
    line: int
    sha256: str
    value: float
    wins: bool


@dataclass(frozen=True, slots=True)
class Review:
    """A review that ran: when [s since 1970 UTC], for which day, over which span [s]."""

    when: int
    for_day: date
    window: tuple[int, int] | None = None


@dataclass(slots=True)
class Contents:
    """What one manifest says: the whole store at one moment."""

    versions: dict[str, Version] = field(default_factory=dict)
    originals: dict[str, Original] = field(default_factory=dict)
    asides: dict[tuple[str, str], Aside] = field(default_factory=dict)
    dropped: tuple[str, ...] = ()
    generation: int = 0

    def counting(self, block: str, sensor: str) -> list[Version]:
        """Return the versions of a sensor that count, in the order in which they win."""
        mine = [
            v for v in self.versions.values()
            if v.sensor == sensor and v.block == block and not v.superseded_by
        ]  # fmt: skip
        return sorted(mine, key=lambda v: v.order)


def check_names(block: str, sensor: str, file: str) -> None:
    """Raise LogError where a block's or sensor's name cannot be a folder's name.

    Examples
    --------
    >>> check_names("north", "north_1", "a.csv")
    >>> check_names("", "station", "a.csv")
    """
    for what, name in (("block", block or "outside"), ("sensor", sensor)):
        if not NAME.fullmatch(name):
            message = (
                f"{what} name {name[:120]!r}; expected a small letter, then small letters, "
                "digits or _, at most 100"
            )
            raise LogError([Problem(file, 0, 0, message)])


def table_of(file: str) -> str:
    """Return which table of a file a name shows; '' where the file is one table.

    Examples
    --------
    >>> table_of("a.zip/b.csv"), table_of("a.xlsx [Sheet1]"), table_of("a.csv")
    ('b.csv', '[Sheet1]', '')
    """
    found = _TABLE.search(file)
    return "" if found is None else found["member"] or found["sheet"]
