"""Read a log file: its rows as readings in our units, what is unusable with the reason why."""

from __future__ import annotations

import csv
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.logs.columns import Understood, time_text, understood
from riskrules.logs.formats import open_log
from riskrules.logs.formats.headers import TIME_NAMES as TIME_NAMES
from riskrules.logs.formats.source import LONGEST_LINE as LONGEST_LINE
from riskrules.logs.formats.source import fail as fail
from riskrules.logs.formats.source import read_bytes as read_bytes
from riskrules.logs.mapping import LogMapping
from riskrules.logs.order import spread
from riskrules.logs.order import tidy as tidy
from riskrules.logs.raw import RawLog
from riskrules.logs.readings import Note, Readings, Tally
from riskrules.logs.times import YEARS as YEARS
from riskrules.logs.times import to_utc
from riskrules.logs.times.zone import zone_of
from riskrules.logs.troubles import Trouble, name_of
from riskrules.logs.values import ValueReader, forecast_rows

Mask = npt.NDArray[np.bool_]


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
    if zone is not None:
        zone_of(zone, file)


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
    path: Path,
    zone: str | None = None,
    columns: Mapping[str, str] | None = None,
    mapping: LogMapping | None = None,
) -> Readings:
    """Read a log that holds one table.

    Parameters
    ----------
    path : Path
        A file of any format that `open_log` reads.
    zone : str, optional
        Zone of times that carry no offset, such as ``Europe/Paris``, where neither the mapping
        nor the file names one.
    columns : mapping, optional
        Header in the file to header as we write it: ``{"T1": "air_temperature [degF]"}``; goes
        before what the mapping says.
    mapping : LogMapping, optional
        How the file is to be understood.

    Returns
    -------
    Readings
        In time order, with a note for each kind of trouble.

    Raises
    ------
    LogError
        Where nothing of the file can be trusted: no or two time columns, no known variable,
        an unknown unit, times without offset and without zone; or where it holds several tables.
    """
    mapping = mapping or LogMapping()
    if columns:
        mapping = mapping.model_copy(update={"columns": {**mapping.columns, **columns}})
    found = read_logs(path, zone, mapping)
    if len(found) != 1:
        names = ", ".join(rows.files[0] for rows in found[:12])
        raise fail(path.name, f"{len(found)} tables ({names}); expected one")
    return found[0]


def read_logs(
    path: Path, zone: str | None = None, mapping: LogMapping | None = None
) -> list[Readings]:
    """Read all tables of a log file: one for most formats, one a member or sheet for others.

    Raises
    ------
    LogError
        As `read_log`, for the first table that cannot be used.
    """
    check_zone(zone, path.name)
    mapping = mapping or LogMapping()
    return [read_raw(raw, mapping, zone) for raw in open_log(path, mapping)]


def read_raw(raw: RawLog, mapping: LogMapping, zone: str | None = None) -> Readings:
    """Understand the cells of a raw log.

    Parameters
    ----------
    raw : RawLog
        A table as it stands in the file.
    mapping : LogMapping
        What a person says of it.
    zone : str, optional
        Zone of times without offset, where neither mapping nor file names one.

    Returns
    -------
    Readings
        Unjudged, in time order, one row a time. Every row of the file is in its tally.

    Raises
    ------
    LogError
        Where nothing of the table can be trusted.
    """
    columns = understood(raw, mapping)
    raw, blank = _without_blank(raw, columns)
    clock = to_utc(
        time_text(raw, columns), raw.lines, mapping, raw.zone or zone, raw.file, _prints(raw)
    )
    ok = clock.ok
    rows = _rows(raw, mapping, columns, clock.time, ok)
    rows.notes[:] = [*raw.notes, *clock.notes, *rows.notes, *_remarks(raw, columns)]
    good = int(ok.sum())
    rows = tidy(rows, raw.file)
    refused = len(ok) - good + len(raw.wrong_cells)
    tally = Tally(raw.file, len(ok) + blank + len(raw.wrong_cells), len(rows), refused,
                  good - len(rows), blank)  # fmt: skip
    rows = spread(rows, raw.file, mapping.stamp)
    return replace(rows, rows_read=tally.read, tallies=(tally,))


def _rows(
    raw: RawLog, mapping: LogMapping, columns: Understood, time: Any, ok: Mask
) -> Readings:  # fmt: skip
    """Return the rows that have a time, as they follow in the file."""
    table, lines = raw.table, raw.lines
    if not ok.all():
        table, lines, time = table[ok], lines[ok], time[ok]
    reader = ValueReader(raw.file, lines, time, mapping.missing)
    rows = Readings(time, 0, {}, {}, np.zeros(len(time), dtype=bool), (raw.file,), reader.notes)
    for i, column in columns.found.items():
        found = reader.read(table[i], column)
        rows.values[column.name], rows.cause[column.name] = found.value, found.cause
        rows.reasons[column.name] = found.reasons
    if columns.forecast is not None:
        rows.forecast, notes = forecast_rows(table[columns.forecast], raw.file, lines)
        rows.notes += notes
    rows.line, rows.source = lines, np.zeros(len(time), dtype=np.int64)
    return rows


def _without_blank(raw: RawLog, columns: Understood) -> tuple[RawLog, int]:
    """Return a raw log without its empty rows, and how many there are with those left out."""
    table = raw.table
    if not len(table):
        raise fail(raw.file, "a header but no rows", raw.header_line)
    empty = table[columns.times[0]].isna()
    if empty.any():
        blank = table.isna().all(axis=1).to_numpy()
        if blank.all():
            raise fail(raw.file, "a header but no rows", raw.header_line)
        if blank.any():
            kept = table[~blank].reset_index(drop=True)
            count = raw.blank + int(blank.sum())
            return replace(raw, table=kept, lines=raw.lines[~blank], blank=count), count
    return raw, raw.blank


def _prints(raw: RawLog) -> Callable[[], npt.NDArray[np.uint64]]:
    """Return what makes a number of each row that is the same where all its cells are."""

    def made() -> npt.NDArray[np.uint64]:
        import pandas as pd

        return np.asarray(pd.util.hash_pandas_object(raw.table, index=False), dtype=np.uint64)

    return made


def _remarks(raw: RawLog, columns: Understood) -> list[Note]:
    """Return notes on how the file was read, on columns left out, and on rows of wrong width."""
    notes = []
    if raw.said:
        message = f"how it was read: {'; '.join(raw.said)}"
        notes.append(Note(raw.file, 0, message, doubts=False))
    if columns.strangers:
        shown = ", ".join(f"'{raw.header[i][:40]}'" for i in columns.strangers[:8])
        message = f"column {shown} is none that we know; left out"
        notes.append(Note(raw.file, raw.header_line, message, doubts=False))
    name = name_of(Trouble.WRONG_CELLS)
    if raw.wrong_cells and not any(n.trouble == name for n in raw.notes):
        message = f"more or fewer cells than the header's {len(raw.header)}. Row left out"
        notes.append(Note(raw.file, raw.wrong_cells[0], message, len(raw.wrong_cells),
                          trouble=name))  # fmt: skip
    return notes
