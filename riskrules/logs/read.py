"""Read a log file: CSV with a time column and units in the header."""

from __future__ import annotations

import csv
import io
import re
import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import numpy as np
import numpy.typing as npt

from riskrules.errors import LogError, Problem
from riskrules.facts.kinds import Cause
from riskrules.logs.readings import Ints, Note, Readings, missing_cause
from riskrules.logs.variables import Column, Floats, understand

LONGEST_LINE = 1_000_000
"""Bytes a line of a log may have. (assumption)"""
TIME_NAMES = ("time", "timestamp", "datetime", "date_time")
YEARS = (1970, 2100)
"""First and last year that a time may have; beyond is a clock that lost its time. (assumption)"""


def fail(file: str, message: str, line: int = 0) -> LogError:
    """Return the error for a log that cannot be used at all."""
    return LogError([Problem(file, line, 0, message)])


def read_bytes(path: Path) -> bytes:
    """Return a file's bytes; LogError where it is missing, empty, or has an endless line."""
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise fail(str(path), "no such file") from None
    except OSError as error:
        raise fail(str(path), error.strerror or str(error)) from None
    if not raw.strip():
        raise fail(path.name, "empty; expected a header and rows")
    start = 0
    while len(raw) - start >= LONGEST_LINE:
        newline = raw.rfind(b"\n", start, start + LONGEST_LINE)
        if newline < 0:
            message = f"a line of more than {LONGEST_LINE:,} bytes; expected rows of a log"
            raise fail(path.name, message, raw.count(b"\n", 0, start) + 1)
        start = newline + 1
    return raw


def decode(raw: bytes, file: str) -> str:
    """Return text from UTF-8 bytes, each line ended alike; LogError names the first bad byte."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff") or b"\x00" in raw[:200]:
        raise fail(file, "looks like UTF-16; expected UTF-8. Save it again as CSV UTF-8")
    try:
        return raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        byte = raw[error.start]
        message = f"byte {byte:#04x} is not UTF-8; expected UTF-8. Save it again as CSV UTF-8"
        raise fail(file, message, line) from None


def check_zone(zone: str | None, file: str) -> None:
    """Raise LogError where a zone is named that there is none of."""
    if zone is None:
        return
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        message = f"no zone '{zone}'; expected a name such as America/Chicago"
        raise fail(file, message) from None


def split_header(text: str, file: str) -> tuple[list[str], int]:
    """Return the header's cells, and how many lines stand before it; LogError if there is none."""
    lines = text.split("\n")
    for skip, line in enumerate(lines):
        if line.strip() and not line.startswith("#"):
            try:
                return [cell.strip() for cell in next(csv.reader([line]))], skip
            except csv.Error as error:
                raise fail(file, f"not readable as CSV: {error}", skip + 1) from None
    raise fail(file, "empty; expected a header and rows")


def read_log(
    path: Path, zone: str | None = None, columns: Mapping[str, str] | None = None
) -> Readings:
    """Read a CSV log.

    Parameters
    ----------
    path : Path
        The file. Lines before the header may start with ``#``.
    zone : str, optional
        Named zone of times that carry no offset, such as ``Europe/Paris``.
    columns : mapping, optional
        Header in the file to header as we write it: ``{"T1": "air_temperature [degF]"}``.

    Returns
    -------
    Readings
        In time order, with a note for each kind of trouble.

    Raises
    ------
    LogError
        Where nothing of the file can be trusted: no or two time columns, no known variable,
        another encoding, an unknown unit, times without offset and without zone.
    """
    check_zone(zone, path.name)
    text = decode(read_bytes(path), path.name)
    header, skip = split_header(text, path.name)
    names = [(columns or {}).get(h, h) for h in header]
    _check_mapping(names, columns or {}, path.name, skip + 1)
    time_at, found = _columns(names, path.name, skip + 1)
    table = _table(text, len(names), path.name, skip + 1)
    return _Reader(path.name, skip + 2, zone).readings(table, time_at, found, names)


def _table(text: str, width: int, file: str, header_line: int) -> Any:
    """Return the rows below the header as a table; a row wider than the header is refused."""
    import pandas as pd

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            table = pd.read_csv(
                io.StringIO(text),
                skiprows=header_line,
                header=None,
                names=list(range(width + 1)),  # one to spare: many loggers end rows with a comma
                index_col=False,
                skip_blank_lines=False,
                low_memory=False,
            )
    except pd.errors.EmptyDataError:
        raise fail(file, "a header but no rows", header_line) from None
    except pd.errors.ParserWarning:
        message = f"more than {width} cells; expected {width}, as in the header"
        raise fail(file, message, header_line + 1) from None
    except pd.errors.ParserError as error:
        wide = re.search(r"in line (\d+), saw (\d+)", str(error))
        if wide:
            message = f"{wide[2]} cells; expected {width}, as in the header"
            raise fail(file, message, int(wide[1])) from None
        raise fail(file, f"not readable as CSV: {error}", header_line) from None
    if not len(table):
        raise fail(file, "a header but no rows", header_line)
    spare = table[width].notna().to_numpy()
    if spare.any():
        message = f"{width + 1} cells; expected {width}, as in the header"
        raise fail(file, message, int(np.argmax(spare)) + header_line + 1)
    return table


def _check_mapping(names: list[str], columns: Mapping[str, str], file: str, line: int) -> None:
    """Refuse a mapping of one of the file's headers to something that we don't know."""
    for theirs, ours in columns.items():
        known = ours.lower() in (*TIME_NAMES, "forecast") or understand(ours) is not None
        if ours in names and not known:
            message = f"column '{theirs}' is mapped to '{ours}', which is no variable that we know"
            raise fail(file, f"{message}; expected such as 'air_temperature [degC]'", line)


def _columns(names: list[str], file: str, line: int) -> tuple[int, dict[int, Column]]:
    times = [i for i, name in enumerate(names) if name.lower() in TIME_NAMES]
    if len(times) != 1:
        shown = ", ".join(names[i] for i in times) or "none among " + ", ".join(names[:12])
        raise fail(file, f"{len(times)} time columns ({shown}); expected one named 'time'", line)
    found: dict[int, Column] = {}
    problems = []
    for i, name in enumerate(names):
        column = understand(name)
        if isinstance(column, str):
            problems.append(Problem(file, line, 0, f"column '{name}': {column}"))
        elif column is not None:
            if column.name in (c.name for c in found.values()):
                problems.append(Problem(file, line, 0, f"{column.name} stands in two columns"))
            found[i] = column
    if problems:
        raise LogError(problems)
    if not found:
        known = "air_temperature [degC], relative_humidity [%], surface_wetness [1], rain [mm]"
        shown = ", ".join(names[:12])
        raise fail(file, f"no column that we know among {shown}; expected some of {known}", line)
    return times[0], found


class _Reader:
    """Turns a parsed table into readings and gathers notes."""

    def __init__(self, file: str, first_line: int, zone: str | None) -> None:
        self.file, self.first_line, self.zone = file, first_line, zone
        self.notes: list[Note] = []

    def readings(
        self, table: Any, time_at: int, found: dict[int, Column], names: list[str]
    ) -> Readings:
        time, ok = self._times(table[time_at], table)
        values, cause = {}, {}
        for i, column in found.items():
            values[column.name], cause[column.name] = self._numbers(table[i], column)
        self._strangers(names, {time_at, *found})
        forecast = np.zeros(len(table), dtype=bool)
        lower = [n.lower() for n in names]
        if "forecast" in lower:
            forecast = self._forecast(table[lower.index("forecast")])
        rows = Readings(time, 0, values, cause, forecast, (self.file,), self.notes, len(table))
        return tidy(rows.only(ok), self.file, np.flatnonzero(ok) + self.first_line)

    def _forecast(self, raw: Any) -> npt.NDArray[np.bool_]:
        """Return which rows are a forecast; a word we don't know may mean one."""
        words = raw.astype(object).where(raw.notna(), "0").astype(str).str.strip().str.lower()
        yes = words.isin(["1", "1.0", "true", "yes"]).to_numpy()
        odd = ~yes & ~words.isin(["0", "0.0", "false", "no", ""]).to_numpy()
        if odd.any():
            shown = str(raw[odd].iloc[0])[:40]
            self.note(odd, f"forecast is {shown!r}; expected 0 or 1. Taken as a forecast")
        return np.asarray(yes | odd)

    def _strangers(self, names: list[str], known: set[int]) -> None:
        """Note the columns that nobody asked for, in case one is a name misspelt."""
        left = [n for i, n in enumerate(names) if i not in known and n.lower() != "forecast" and n]
        if left:
            shown = ", ".join(f"'{n[:40]}'" for n in left[:8])
            message = f"column {shown} is none that we know; left out"
            self.notes.append(Note(self.file, self.first_line - 1, message, doubts=False))

    def note(self, bad: npt.NDArray[np.bool_], message: str) -> None:
        """Note the first of some rows, with how many there are."""
        first = int(np.argmax(bad))
        self.notes.append(Note(self.file, first + self.first_line, message, int(bad.sum())))

    def _numbers(self, raw: Any, column: Column) -> tuple[Floats, Ints]:
        import pandas as pd

        absent = int(missing_cause(column.name))
        if raw.dtype.kind == "b":
            raw = raw.astype(str)
        if raw.dtype.kind not in "fiu":
            number = pd.to_numeric(raw, errors="coerce")
            text = (raw.notna() & number.isna()).to_numpy()
            if text.any():
                shown = str(raw[text].iloc[0])[:40]
                message = f"{column.name} is {shown!r}; expected a number. Kept as unknown"
                self.note(text, message)
        else:
            number = raw
        plain = number.to_numpy(dtype=float)
        value = np.asarray(column.convert(plain), dtype=float)
        v = column.variable
        tolerance = 1e-9 * max(abs(v.least), abs(v.most))
        bad = (value < v.least - tolerance) | (value > v.most + tolerance) | np.isinf(value)
        if bad.any():
            message = (
                f"{column.name} is {plain[np.argmax(bad)]:g}; "
                f"expected {v.least:g} to {v.most:g} {v.unit}. Kept as unknown"
            )
            self.note(bad, message)
        value = np.where(bad, np.nan, value)
        return value, np.where(np.isnan(value), absent, 0).astype(np.int64)

    def _times(self, raw: Any, table: Any) -> tuple[Ints, npt.NDArray[np.bool_]]:
        """Return each row's time [s since 1970 UTC] and whether the row has a usable one."""
        if raw.dtype.kind in "iuf" and raw.notna().any():
            shown = raw[raw.notna()].iloc[0]
            message = f"time is {shown}; expected such as 2026-05-03T06:15:00+02:00"
            raise fail(self.file, message, self.first_line)
        text = raw.astype(object).where(raw.notna(), "").astype(str).str.strip()
        offset = np.array([_has_offset(cell) for cell in text.tolist()], dtype=bool)
        zoned, local = _parsed(text.where(offset), utc=True), _parsed(text.where(~offset))
        self._one_way(text, zoned.notna().to_numpy(), local.notna().to_numpy())
        times = zoned if zoned.notna().any() else self._placed(local)
        ok = times.notna().to_numpy()
        unread = zoned.isna().to_numpy() & local.isna().to_numpy()
        unread &= table.notna().any(axis=1).to_numpy()
        if unread.any():
            shown = text.iloc[int(np.argmax(unread))][:40]
            self.note(unread, f"time is {shown!r}; expected ISO 8601. Row left out")
        if not ok.any():
            shown = next((t for t in text.tolist() if t), "")[:40]
            raise fail(self.file, f"no readable time; the first is {shown!r}", self.first_line)
        seconds = times.dt.as_unit("s").astype("int64").to_numpy()
        return np.where(ok, seconds, 0).astype(np.int64), ok

    def _one_way(
        self, text: Any, zoned: npt.NDArray[np.bool_], local: npt.NDArray[np.bool_]
    ) -> None:
        """Refuse times of which some have an offset and some not, or none and no zone is known."""
        first = int(np.argmax(local))
        if zoned.any() and local.any():
            odd = first if np.argmax(zoned) < first else int(np.argmax(zoned))
            message = "some times have an offset and some not; expected one way. Here it changes: "
            raise fail(self.file, f"{message}'{text.iloc[odd][:40]}'", odd + self.first_line)
        if local.any() and self.zone is None:
            message = (
                f"time '{text.iloc[first][:40]}' has no offset; expected an offset, Z, or a zone "
                "for the log in the farm or mapping file"
            )
            raise fail(self.file, message, first + self.first_line)

    def _placed(self, local: Any) -> Any:
        """Put clock times into the log's zone; those that happen twice or never are left out."""
        times = local.dt.tz_localize(
            ZoneInfo(self.zone or "UTC"), ambiguous="NaT", nonexistent="NaT"
        ).dt.tz_convert("UTC")
        folded = (times.isna() & local.notna()).to_numpy()
        if folded.any():
            message = "clock time happens twice or never in this zone; expected an offset"
            self.note(folded, f"{message}. Row left out")
        return times


def _has_offset(cell: str) -> bool:
    return cell.endswith(("Z", "z")) or "+" in cell[10:] or "-" in cell[10:]


def _parsed(text: Any, utc: bool = False) -> Any:
    """Return times, NaT where a cell is empty, not ISO 8601, or of a year that cannot be."""
    import pandas as pd

    times = pd.to_datetime(text, utc=utc, errors="coerce", format="ISO8601")
    return times.where(times.dt.year.between(*YEARS))


def tidy(rows: Readings, file: str, lines: Ints | None = None) -> Readings:
    """Put rows in time order, settle times that stand twice, and find the usual step.

    ``lines`` are the rows' lines in the file; by default from line 2 on.
    """
    if len(rows) > 1 and (np.diff(rows.time) < 0).any():
        back = int(np.argmax(np.diff(rows.time) < 0)) + 1
        message = "the clock runs back here; rows were put in order of time"
        count = int((np.diff(rows.time) < 0).sum())
        line = back + 2 if lines is None else int(lines[back])
        rows.notes.append(Note(file, line, message, count, doubts=False))
    order = np.argsort(rows.time, kind="stable")
    if not (order == np.arange(len(order))).all():
        rows = rows.only(order)
    same = np.diff(rows.time) == 0
    if same.any():
        rows = _settle_twins(rows, same, file)
    gaps = np.diff(rows.time)
    rows.step = int(np.median(gaps)) if len(gaps) else 3600
    return rows


def _settle_twins(rows: Readings, same: npt.NDArray[np.bool_], file: str) -> Readings:
    """Keep one row a time: a value that all agree on, else unknown; measured before forecast."""
    first = np.concatenate(([True], ~same))
    group = np.cumsum(first) - 1
    n = int(group[-1]) + 1
    measured = np.zeros(n, dtype=bool)
    np.logical_or.at(measured, group, ~rows.forecast)
    counts = rows.forecast & measured[group]
    starts = np.flatnonzero(first)
    clash = np.zeros(n, dtype=bool)
    values, cause = {}, {}
    for name, column in rows.values.items():
        usable = np.where(counts, np.nan, column)
        low = np.fmin.reduceat(usable, starts)
        high = np.fmax.reduceat(usable, starts)
        differ = low < high
        clash |= differ
        values[name] = np.where(differ, np.nan, low)
        unknown = np.bitwise_or.reduceat(rows.cause[name], starts)
        absent = np.where(unknown == 0, int(missing_cause(name)), unknown)
        cause[name] = np.where(np.isnan(values[name]), absent, 0)
        cause[name] = cause[name] | np.where(differ, int(Cause.DISAGREE), 0)
    if clash.any():
        message = "two rows of one time disagree. What they disagree on is kept as unknown"
        rows.notes.append(Note(file, 0, message, int(clash.sum())))
    return Readings(
        rows.time[starts], rows.step, values, cause, ~measured, rows.files, rows.notes,
        rows.rows_read,
    )  # fmt: skip
