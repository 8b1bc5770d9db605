"""Read typical meteorological years: TMY3 (CSV) and EPW, with our names for their columns.

Both state their offset from UTC, give standard time all year, and end each row's hour at its
time, 24:00 being of its own date. The months of a typical year come from different years: they
are laid on one calendar year, which is said.
"""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.logs.formats.cells import content, frame
from riskrules.logs.formats.source import check_lines, fail
from riskrules.logs.formats.weather_kinds import (
    EPW,
    LAID_ON,
    TENTHS,
    TENTHS_ROWS,
    TENTHS_SHARE,
    TMY3,
    TMY3_HEADER,
    Kind,
    Measured,
)
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog
from riskrules.logs.readings import Note
from riskrules.logs.troubles import Trouble, name_of

Mask = npt.NDArray[np.bool_]


def matches(head: bytes, path: Path) -> bool:
    """Return whether a file is EPW or TMY3, by its first lines."""
    lines = head.removeprefix(b"\xef\xbb\xbf").split(b"\n", 2)
    if lines[0].upper().startswith(b"LOCATION,"):
        return True
    return len(lines) > 1 and lines[1].startswith(TMY3_HEADER)


def read(source: bytes | Path, file: str, mapping: LogMapping | None = None) -> list[RawLog]:
    """Return the table of a typical year: ``time`` and the columns that we know, by our names.

    Columns that a mapping names by the file's own header are given under that header, their
    numbers as they stand. A depth of rain that fell over more hours than its row's is missing.

    Raises
    ------
    LogError
        Where the file states no offset from UTC, lacks a column, or has no row of its kind.
    """
    return [read_on(source, file, LAID_ON, mapping)]


def read_on(
    source: bytes | Path, file: str, year: int, mapping: LogMapping | None = None
) -> RawLog:
    """Return the table as `read` does, the months laid on a given calendar year."""
    raw = content(source, file)
    check_lines(raw, file)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")  # only names of places have such letters
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    kind = EPW if lines[0].upper().startswith("LOCATION,") else TMY3
    return _Year(lines, kind, file, mapping or LogMapping()).raw(year)


@dataclass(slots=True)
class _Year:
    """Turns the lines of one file into a table, and gathers what is to be said."""

    lines: list[str]
    kind: Kind
    file: str
    mapping: LogMapping
    said: list[str] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    def raw(self, year: int) -> RawLog:
        zone = self._zone()
        names = self._names()
        numbers, wrong, blank = self._sorted(len(names))
        cells = self._cells(names, numbers)
        columns: list[Any] = [self._times(cells, year)]
        header = ["time"]
        for measured in self.kind.measured:
            raw_name = measured.column
            as_stands = raw_name in self.mapping.columns
            header.append(raw_name if as_stands else measured.ours)
            columns.append(self._values(cells, measured, numbers, as_stands))
        self.said = [f"{self.kind.name}, {self._site()}", f"offset {zone} all year", *self.said]
        left = len(names) - len(self.kind.asked())
        self.said.append(f"{left} columns that we don't use are left out")
        return RawLog(
            self.file, header, frame(columns, len(numbers)), numbers, self.kind.header_line, wrong,
            blank, zone, self.said, self.notes,
        )  # fmt: skip

    def _site(self) -> str:
        cells = self.lines[0].split(",")
        return cells[1].strip().strip('"')[:60] if len(cells) > 1 else "no name"

    def _zone(self) -> str:
        """Return the offset that the first line states, as +05:45."""
        at = self.kind.offset_at
        cells = self.lines[0].split(",")
        try:
            hours = float(cells[at])
            if not -15 <= hours <= 15:
                raise ValueError
        except (IndexError, ValueError):
            shown = cells[at].strip()[:40] if len(cells) > at else "nothing"
            message = f"offset from UTC is '{shown}'; expected hours, cell {at + 1} of line 1"
            raise fail(self.file, message, 1) from None
        minutes = round(abs(hours) * 60)
        return f"{'-' if hours < 0 else '+'}{minutes // 60:02}:{minutes % 60:02}"

    def _names(self) -> list[str]:
        """Return the names of the file's columns; LogError where one that we need is missing."""
        kind = self.kind
        if len(self.lines) <= kind.rows_at:
            raise fail(self.file, "a header but no rows", len(self.lines))
        if kind.names:
            self._one_a_hour()
            return list(kind.names)
        names = [n.strip() for n in self.lines[kind.header_line - 1].split(",")]
        lacking = [n for n in kind.asked() if names.count(n) != 1]
        if lacking:
            message = f"no column '{lacking[0]}', or more than one; expected the header of TMY3"
            raise fail(self.file, message, kind.header_line)
        return names

    def _one_a_hour(self) -> None:
        """Refuse an EPW file with several records an hour: its minutes are told in no one way."""
        cells = self.lines[7].split(",")
        if cells[0].strip().upper() != "DATA PERIODS" or len(cells) < 3:
            shown = self.lines[7][:40]
            raise fail(self.file, f"line 8 is '{shown}'; expected DATA PERIODS", 8)
        if cells[2].strip() != "1":
            message = f"{cells[2].strip()[:20]} records an hour; expected 1"
            raise fail(self.file, message, 8)

    def _sorted(self, width: int) -> tuple[npt.NDArray[np.int64], list[int], int]:
        """Return the numbers of the lines that are rows, of those of another width, and blanks."""
        good, wrong, blank = [], [], 0
        body = self.lines[self.kind.rows_at : None if self.lines[-1] else -1]
        commas = width - 1
        for number, line in enumerate(body, self.kind.rows_at + 1):
            found = line.count(",")
            ends = found == width and line.rstrip()[-1] == ","  # some programs end rows with one
            if (found == commas or ends) and '"' not in line:
                good.append(number)
            elif line.strip():
                wrong.append(number)
            else:
                blank += 1
        if wrong:
            message = f"{self.lines[wrong[0] - 1].count(',') + 1} cells; expected {width}"
            self.notes.append(Note(self.file, wrong[0], f"{message}. Row left out", len(wrong),
                                   trouble=name_of(Trouble.WRONG_CELLS)))  # fmt: skip
        if not good:
            what = f"no row of {width} cells"
            raise fail(self.file, f"{what}; expected a row an hour", self.kind.rows_at + 1)
        return np.array(good, dtype=np.int64), wrong, blank

    def _cells(self, names: list[str], numbers: Any) -> Any:
        """Return the columns that are asked for, by name; numbers where all cells are."""
        import pandas as pd

        asked = [n for n in names if n in self.kind.asked()]
        rows = [self.lines[n - 1] for n in numbers]
        rows = [r.rstrip()[:-1] if r.count(",") == len(names) else r for r in rows]
        table = pd.read_csv(
            io.StringIO("\n".join(rows)),
            header=None,
            names=list(range(len(names))),
            usecols=[names.index(n) for n in asked],
            index_col=False,
            low_memory=False,
            keep_default_na=False,
            na_values=[""],
            quoting=3,
            skip_blank_lines=False,
        )
        return {n: table[names.index(n)] for n in asked}

    def _times(self, cells: Any, year: int) -> Any:
        """Return the ends of the hours on the clock there, NaT where they cannot be read."""
        import pandas as pd

        own, month, day, hour = self.kind.parts(cells)
        whole = np.isfinite(own) & (hour >= 0) & (hour <= 24)
        years = np.unique(own[whole])
        if len(years) > 1:
            own = np.full(len(own), float(year))
            shown = f"{int(years[0])} to {int(years[-1])}"
            self.said.append(f"months of {shown} laid on the calendar year {year}")
        elif len(years):
            self.said.append(f"all of the year {int(years[0])}")
        days = pd.to_datetime(
            {"year": np.where(whole, own, np.nan), "month": month, "day": day}, errors="coerce"
        )
        return days.astype("M8[s]") + pd.to_timedelta(np.where(whole, hour, 0) * 3600, unit="s")

    def _values(self, cells: Any, measured: Measured, numbers: Any, as_stands: bool) -> Any:
        """Return a column with what the format calls missing as missing."""
        import pandas as pd

        raw = cells[measured.column]
        number = pd.to_numeric(raw, errors="coerce").to_numpy(dtype=float)
        words = raw.notna().to_numpy() & np.isnan(number)
        value = np.where(measured.is_missing(number), np.nan, number)
        if measured.period:
            value = self._hourly(value, cells[measured.period], numbers)
            value = value if as_stands else self._depth(value, numbers)
        if not words.any():
            return value
        text = np.array([np.nan if np.isnan(v) else repr(float(v)) for v in value], dtype=object)
        text[words] = raw[words].astype(str)
        return text

    def _hourly(self, depth: Any, period: Any, numbers: Any) -> Any:
        """Return depths that fell within their row's hour: of other periods is no hour's amount."""
        import pandas as pd

        hours = pd.to_numeric(period, errors="coerce").to_numpy(dtype=float)
        other = (hours != 1) & ~np.isnan(depth)
        self._note(other, numbers, "a depth of rain of another or unknown period; expected 1 hour")
        return np.where(other, np.nan, depth)

    def _depth(self, depth: Any, numbers: Any) -> Any:
        """Return depths in mm: TMY3 files differ in what a whole number of rain stands for."""
        if not self.kind.tenths:
            return depth
        wet = depth > 0
        like = _inch_steps(depth[wet])
        if wet.sum() >= TENTHS_ROWS and like >= TENTHS_SHARE:
            self.said.append(
                f"rain is in tenths of a millimetre: {like:.0%} of its depths are steps of a "
                "hundredth of an inch in tenths"
            )
            return depth * TENTHS
        self._note(
            wet, numbers,
            "a depth of rain whose unit is not clear (files of this kind differ); expected mm or "
            "tenths. Map its column to one that says so",
        )  # fmt: skip
        return np.where(wet, np.nan, depth)

    def _note(self, rows: Mask, numbers: Any, message: str) -> None:
        if rows.any():
            line = int(numbers[int(np.argmax(rows))])
            self.notes.append(Note(
                self.file, line, f"{message}. Kept as unknown", int(rows.sum()),
                trouble=name_of(Trouble.NOT_A_NUMBER), variable="thickness_of_rainfall_amount",
            ))  # fmt: skip


def _inch_steps(depth: Any) -> float:
    """Return the share of depths that are hundredths of an inch, rounded to tenths of a mm."""
    if not len(depth):
        return 0.0
    steps = np.floor(np.arange(1, 2001) * 2.54 + 0.5)
    return float(np.isin(depth, steps).mean())
