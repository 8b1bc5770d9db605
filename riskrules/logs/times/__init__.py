"""Clock text to UTC: what each row's time is, and why a row has none that can be used."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from riskrules.errors import LogError, Problem
from riskrules.logs.mapping import LogMapping
from riskrules.logs.readings import Bits, Ints, Note
from riskrules.logs.times.order import dates
from riskrules.logs.times.reset import Prints, find_resets
from riskrules.logs.times.text import Mask, Parts, parts_of
from riskrules.logs.times.zone import Local, Zone, zone_of
from riskrules.logs.troubles import Trouble, name_of

YEARS = (1970, 2100)
"""First and last year that a time may have; beyond is a clock that lost its time. (assumption)"""
DAY = 86_400
EXPECTED = "expected such as 2026-05-03T06:15:00+02:00"
_EPOCH = re.compile(
    r"\[\s*(?:unix|epoch)?\s*(?P<unit>ms|milliseconds?|s|secs?|seconds?)"
    r"(?:\s+since\s+1970-0?1-0?1.*)?\s*\]\s*$"
)


@dataclass(frozen=True, slots=True)
class Clock:
    """The times of a log's rows, each array of shape (n,).

    Attributes
    ----------
    time : ndarray of int
        [s since 1970 UTC]; 0 where ``ok`` is False.
    ok : ndarray of bool
        Rows with a time that can be used.
    trouble : ndarray of uint32
        Bits of `Trouble` of rows that are not ok; 0 elsewhere.
    notes : list of Note
        One for each kind of trouble, with how dates and doubtful hours were read.
    """

    time: Ints
    ok: Mask
    trouble: Bits
    notes: list[Note]


def to_utc(
    text: Any,
    lines: Ints,
    mapping: LogMapping,
    default_zone: str | None,
    file: str,
    prints: Prints | None = None,
) -> Clock:
    """Return the times of a log's rows in UTC.

    Parameters
    ----------
    text : pandas.Series, shape (n,)
        Times as they stand in the file, a date column and a clock column joined by a space:
        text, datetimes, or numbers where the header (the series' name, or what the mapping
        makes of it) has the unit s or ms, such as ``time [s]``: since 1970 UTC.
    lines : ndarray of int, shape (n,)
        Line of each row, for messages and for the mapping's ``shifts``. A shift moves the rows
        from its line on, until the line of the next shift.
    mapping : LogMapping
        Its zone, clock, date order and shifts are used.
    default_zone : str, optional
        Zone where the mapping names none: a name, UTC, or a fixed offset such as +02:00.
    file : str
        Name to show.
    prints : callable, optional
        Returns a number for each row that is the same where all its values are, 0 for a forecast;
        asked for only where times run back, to tell rows that repeat from a clock that was reset.

    Raises
    ------
    LogError
        Where no time can be trusted: no zone and no offset, offsets in some rows only, no such
        zone, an order of day and month that nothing tells, no readable time at all.

    Examples
    --------
    >>> import pandas as pd
    >>> at = pd.Series(["13/05/2026 6:15 PM"])
    >>> to_utc(at, np.array([2]), LogMapping(), "+02:00", "a.csv").time.tolist()
    [1778688900]
    """
    return _Reader(lines, mapping, default_zone, file).clock(text, prints)


def epoch_unit(header: str) -> int:
    """Return how many of its units a second has, where a header says that its times are numbers.

    Examples
    --------
    >>> epoch_unit("time [ms]"), epoch_unit("time [s since 1970-01-01]"), epoch_unit("time [h]")
    (1000, 1, 0)
    """
    found = _EPOCH.search(header.lower())
    if found is None:
        return 0
    return 1000 if found["unit"].startswith("m") else 1


class _Reader:
    """Reads the times of one file and gathers notes."""

    def __init__(
        self, lines: Ints, mapping: LogMapping, default_zone: str | None, file: str
    ) -> None:
        self.lines, self.mapping, self.file = lines, mapping, file
        name = default_zone if mapping.zone is None else mapping.zone
        self.zone: Zone | None = None if name is None else zone_of(name, file)
        self.notes: list[Note] = []
        self.cells: list[str] = []

    def clock(self, text: Any, prints: Prints | None) -> Clock:
        n = len(text)
        self.trouble = np.zeros(n, dtype=np.uint32)
        face, zoned, offset, ok = self._faces(text)
        self._one_way(zoned & ok, ok & ~zoned)
        self._refuse(~ok, Trouble.NO_TIME, self._unreadable(~ok))
        face = face + self._shifts(n)
        time = np.where(zoned, face - offset, face)
        if self.zone is not None and (ok & ~zoned).any():
            time = self._placed(face, ok & ~zoned, time)
        self._resets(time, face, prints)
        good = self.trouble == 0
        if not good.any():
            shown = next((t for t in self._words(text) if t), "")[:40]
            line = int(self.lines[0]) if n else 0
            raise self._fail(f"no readable time; the first is {shown!r}", line)
        return Clock(np.where(good, time, 0).astype(np.int64), good, self.trouble, self.notes)

    def _fail(self, message: str, line: int) -> LogError:
        return LogError([Problem(self.file, line, 0, message)])

    def _refuse(
        self, rows: Mask, trouble: Trouble, message: str, times: Ints | None = None
    ) -> None:
        """Refuse rows, with one note that names the first."""
        if not rows.any():
            return
        self.trouble[rows] |= np.uint32(trouble)
        span = (None, None) if times is None else (int(times[rows][0]), int(times[rows][-1]))
        self.notes.append(
            Note(self.file, int(self.lines[int(np.argmax(rows))]), message, int(rows.sum()),
                 trouble=name_of(trouble), first=span[0], last=span[1])
        )  # fmt: skip

    def _faces(self, text: Any) -> tuple[Ints, Mask, Ints, Mask]:
        """Return the clock's face [s], which rows have an offset, which [s], and which are read."""
        unit = self._epoch_unit(text)
        if text.dtype.kind == "M":
            face, zoned, ok = _datetimes(text)
        elif unit:
            face, zoned, ok = _epochs(text, unit)
        else:
            return self._texts(text)
        self.cells = []
        return face, zoned, np.zeros(len(face), dtype=np.int64), ok & _sane(face)

    def _epoch_unit(self, text: Any) -> int:
        name = str(text.name)
        return epoch_unit(self.mapping.columns.get(name, name))

    def _texts(self, text: Any) -> tuple[Ints, Mask, Ints, Mask]:
        if text.dtype.kind in "iuf" and text.notna().any():
            row = int(np.argmax(text.notna().to_numpy()))
            raise self._fail(f"time is {text.iloc[row]}; {EXPECTED}", int(self.lines[row]))
        self.cells = self._words(text)
        if not self.cells:
            raise self._fail("no readable time; there are no rows", 0)
        parts = parts_of(self.cells)
        ok, face = self._read(parts)
        return face, parts.zoned, parts.offset, ok

    def _read(self, parts: Parts) -> tuple[Mask, Ints]:
        days, ok, notes = dates(parts, self.cells, self.lines, self.mapping.date_order, self.file)
        self.notes += notes
        face = days * DAY + parts.second
        return ok & _sane(face), face

    def _words(self, text: Any) -> list[str]:
        """Return the cells as stripped text, empty where missing."""
        if self.cells:
            return self.cells
        missing = text.isna()
        if missing.any():
            text = text.astype(object).where(~missing, "")
        cells = text.tolist()
        try:
            return list(map(str.strip, cells))
        except TypeError:
            return [str(c).strip() for c in cells]

    def _unreadable(self, bad: Mask) -> str:
        row = int(np.argmax(bad))
        shown = self.cells[row][:40] if self.cells else ""
        return f"time is {shown!r}; expected ISO 8601. Row left out"

    def _one_way(self, zoned: Mask, local: Mask) -> None:
        """Refuse times of which some have an offset and some not, or none and no zone is known."""
        first = int(np.argmax(local))
        if zoned.any() and local.any():
            odd = first if np.argmax(zoned) < first else int(np.argmax(zoned))
            message = "some times have an offset and some not; expected one way. Here it changes: "
            raise self._fail(f"{message}'{self.cells[odd][:40]}'", int(self.lines[odd]))
        if local.any() and self.zone is None:
            shown = self.cells[first][:40] if self.cells else "a time without zone"
            message = (
                f"time '{shown}' has no offset; expected an offset, Z, or a zone "
                "for the log in the farm or mapping file"
            )
            raise self._fail(message, int(self.lines[first]))

    def _shifts(self, n: int) -> Ints:
        """Return by how much the mapping moves each row. [s]"""
        moved = np.zeros(n, dtype=np.int64)
        for shift in sorted(self.mapping.shifts, key=lambda s: s.from_line):
            moved[self.lines >= shift.from_line] = round(shift.hours * 3600)
        return moved

    def _placed(self, face: Ints, rows: Mask, time: Ints) -> Ints:
        """Put clock times into the log's zone; tell hours that come twice by their order."""
        assert self.zone is not None
        at = np.flatnonzero(rows)
        local = self.zone.place(face[at], self.mapping.clock == "standard")
        second = _second_passes(face[at], local)
        placed = np.where(second == 1, local.second, local.first)
        lone = local.twice & (second < 0)
        self._note_passes(face[at], at, local.twice & ~lone)
        time = time.copy()
        time[at] = placed
        wide = np.zeros(len(face), dtype=bool)
        for mask, trouble, what in (
            (lone, Trouble.TIME_TWICE, "happens twice"),
            (local.never, Trouble.TIME_NEVER, "never happens"),
        ):
            where = wide.copy()
            where[at[mask]] = True
            message = f"clock time {what} in this zone; expected an offset. Row left out"
            self._refuse(where, trouble, message, time)
        if local.never.any() and not (local.twice & ~lone).any():
            self._note_standard(int(at[int(np.argmax(local.never))]), face)
        return time

    def _note_passes(self, face: Ints, at: Ints, told: Mask) -> None:
        if not told.any():
            return
        first, last = face[told].min(), face[told].max()
        message = (
            f"clock times from {_shown(first)} to {_shown(last)} come twice in this zone; "
            "rows told apart by their order in the file"
        )
        line = int(self.lines[at[int(np.argmax(told))]])
        self.notes.append(Note(self.file, line, message, int(told.sum()), doubts=False))

    def _note_standard(self, row: int, face: Ints) -> None:
        message = (
            f"{_shown(face[row])} never happens on a clock that follows summer time, and no hour "
            "comes twice in autumn: the clock seems to stay on standard time all year. If so, "
            "write 'clock: standard' in the mapping"
        )
        self.notes.append(Note(self.file, int(self.lines[row]), message))

    def _resets(self, time: Ints, face: Ints, prints: Prints | None) -> None:
        at = np.flatnonzero(self.trouble == 0)
        some = None if prints is None else lambda: prints()[at]
        found = find_resets(time[at], face[at], self.lines[at], self.mapping, self.file, some)
        self.trouble[at[found.bad]] |= np.uint32(Trouble.CLOCK_RESET)
        self.notes += found.notes


def _datetimes(text: Any) -> tuple[Ints, Mask, Mask]:
    """Return datetimes as seconds, whether they have a zone, and which there are."""
    zoned = getattr(text.dtype, "tz", None) is not None
    stamps = text.dt.tz_convert("UTC").dt.tz_localize(None) if zoned else text
    ok = stamps.notna().to_numpy()
    seconds = stamps.dt.round("s").to_numpy().astype("M8[s]").astype(np.int64)
    return np.where(ok, seconds, 0), np.full(len(ok), zoned), ok


def _epochs(text: Any, unit: int) -> tuple[Ints, Mask, Mask]:
    """Return epoch numbers as seconds, that they are UTC, and which there are."""
    import pandas as pd

    number = pd.to_numeric(text, errors="coerce").to_numpy(dtype=float)
    ok = np.isfinite(number) & (np.abs(number) < 1e15)
    seconds = np.round(np.where(ok, number, 0) / unit).astype(np.int64)
    return seconds, np.ones(len(ok), dtype=bool), ok


def _sane(face: Ints) -> Mask:
    """Return which times lie in the years that a time may have."""
    low, high = (np.datetime64(f"{y}-01-01").astype("M8[s]").astype(np.int64)
                 for y in (YEARS[0], YEARS[1] + 1))  # fmt: skip
    return np.asarray((face >= low) & (face < high))


def _shown(face: Any) -> str:
    return str(np.datetime64(int(face), "s")).replace("T", " ")[:16]


def _second_passes(face: Ints, local: Local) -> Ints:
    """Return 0 or 1 for the first or second pass of a clock time that comes twice; -1 if unknown.

    Both passes must stand in the file: rows of one turn of the clock, in one piece, in which the
    clock runs back exactly once (or stands still, by just one usual step of time), and nowhere
    else around them.
    """
    told = np.full(len(face), -1, dtype=np.int64)
    if not local.twice.any():
        return told
    steps = np.diff(face)
    backward = (steps < 0).sum() * 2 > len(steps) if len(steps) else False
    usual = float(np.median(np.abs(steps))) if len(steps) else 0.0
    at = np.flatnonzero(local.twice)
    for turn in np.unique(local.turn[at]):
        rows = at[local.turn[at] == turn]
        if backward:
            rows = rows[::-1]
        told[rows] = _passes(face, rows, local, usual, backward)
    return told


def _passes(face: Ints, rows: Ints, local: Local, usual: float, backward: bool) -> Ints:
    """Return the pass of each of the rows of one turn, in order of time."""
    unknown = np.full(len(rows), -1, dtype=np.int64)
    way = -1 if backward else 1
    if len(rows) < 2 or (np.diff(rows) != way).any():
        return unknown
    falls = np.flatnonzero(np.diff(face[rows]) <= 0)
    if len(falls) != 1:
        return unknown
    cut = int(falls[0]) + 1
    passes = (np.arange(len(rows)) >= cut).astype(np.int64)
    time = np.where(passes == 1, local.second[rows], local.first[rows])
    junction = time[cut] - time[cut - 1]
    if junction <= 0 or (face[rows[cut]] == face[rows[cut - 1]] and junction > 1.25 * usual):
        return unknown
    before, after = rows[0] - way, rows[-1] + way
    fits = (not 0 <= before < len(face) or local.first[before] <= time[0]) and (
        not 0 <= after < len(face) or local.second[after] >= time[-1]
    )
    return passes if fits else unknown
