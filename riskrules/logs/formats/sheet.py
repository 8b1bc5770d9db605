"""Read Excel workbooks: cells by their stored values, a table a sheet.

Formulas count by the value that was stored with them; none is computed. What a workbook could do
to us (unpack to gigabytes, place one cell a million rows away) is measured before it is opened:
the library would take the memory, and end the process where there is none.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from riskrules.logs.formats.cells import column, content, frame
from riskrules.logs.formats.decimals import settle_commas
from riskrules.logs.formats.sheet_books import OLD, Sheet, sheets_in_new, sheets_in_old
from riskrules.logs.formats.sheet_head import Head, find_head
from riskrules.logs.formats.source import fail
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog
from riskrules.logs.readings import Note

ZIP = b"PK\x03\x04"
PARTS = (b"[Content_Types].xml", b"xl/", b"_rels/.rels", b"docProps/")
OPEN_DOCUMENT = b"application/vnd.oasis.opendocument"
SUFFIXES = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")


def matches(head: bytes, path: Path) -> bool:
    """Return whether a file is a workbook, by its first bytes; a plain zip is none."""
    if head.startswith(OLD):
        return True
    if not head.startswith(ZIP):
        return False
    inside = any(part in head for part in (*PARTS, OPEN_DOCUMENT))
    return inside or path.suffix.lower() in SUFFIXES


def read(source: bytes | Path, file: str, mapping: LogMapping | None = None) -> list[RawLog]:
    """Return the tables of a workbook: one a visible sheet, or the sheet that a mapping names.

    Parameters
    ----------
    source : bytes or Path
        An .xlsx, .xlsm or .xls file.
    file : str
        Name to show.
    mapping : LogMapping, optional
        Its ``sheet``, ``header_line``, ``decimal``, ``columns`` and ``time`` are used.

    Raises
    ------
    LogError
        Where the file is damaged, protected by a password, of another format, larger than we
        take, or has no table.
    """
    mapping = mapping or LogMapping()
    raw = content(source, file)
    books = sheets_in_old(raw, file) if raw.startswith(OLD) else sheets_in_new(raw, file)
    wanted = _wanted(books, file, mapping)
    notes = [
        Note(file, 0, f"sheet '{s.name[:40]}' is hidden; left out", doubts=False)
        for s in books if s.hidden and s not in wanted
    ]  # fmt: skip
    found: list[RawLog] = []
    for sheet in wanted:
        head = find_head(sheet.rows, sheet.first_row, mapping)
        if head is None:
            message = f"sheet '{sheet.name[:40]}' has no table; left out"
            notes.append(Note(file, 0, message, doubts=False))
        else:
            found.append(_Table(sheet, head, file, mapping).raw())
    if not found:
        shown = ", ".join(f"'{s.name[:40]}'" for s in wanted[:8]) or "no sheets"
        raise fail(file, f"no table in {shown}; expected a header with rows below it")
    found[0].notes = notes + found[0].notes
    return found


def _wanted(sheets: list[Sheet], file: str, mapping: LogMapping) -> list[Sheet]:
    if mapping.sheet is None:
        return [s for s in sheets if not s.hidden]
    named = [s for s in sheets if s.name == mapping.sheet]
    if not named:
        shown = ", ".join(f"'{s.name[:40]}'" for s in sheets[:12]) or "none"
        raise fail(file, f"no sheet '{mapping.sheet}'; expected one of {shown}")
    return named


@dataclass(slots=True)
class _Table:
    """Turns the rows below a header into a raw log."""

    sheet: Sheet
    head: Head
    file: str
    mapping: LogMapping
    said: list[str] = field(default_factory=list)

    def raw(self) -> RawLog:
        name = f"{self.file} [{self.sheet.name}]"
        first = self.sheet.first_row + self.head.data
        rows: list[list[Any]] = self.sheet.rows[self.head.data :]
        self._fill_merged(rows)
        full = [any(c is not None for c in row) for row in rows]
        kept = [row for row, some in zip(rows, full, strict=True) if some]
        if not kept:
            raise fail(name, "a header but no rows", self.head.line)
        table = frame([column([row[i] for row in kept]) for i in self.head.places], len(kept))
        lines = first + np.flatnonzero(full).astype(np.int64)
        self.said.append(f"sheet '{self.sheet.name}', header in row {self.head.line}")
        if self.head.units:
            self.said.append(f"units in row {self.head.line + 1}")
        self.said += settle_commas(table, self.mapping.decimal, "")
        return RawLog(
            name, self.head.names, table, lines, self.head.line,
            blank=len(rows) - len(kept), zone=self.head.zone, said=self.said,
        )  # fmt: skip

    def _fill_merged(self, rows: list[list[Any]]) -> None:
        """Give each row of cells merged downward the date or word that the sheet shows for it.

        A merged number stays with its first row: nobody measured it three times.
        """
        filled = 0
        for (top, left), (bottom, _) in self.sheet.merged:
            top, bottom = top - self.head.data, min(bottom - self.head.data, len(rows) - 1)
            if top < 0 or bottom <= top:
                continue
            value = rows[top][left]
            if value is None or isinstance(value, (int, float)):
                continue
            for row in rows[top + 1 : bottom + 1]:
                row[left] = value
                filled += 1
        if filled:
            self.said.append(f"{filled} cells filled from the merged cell above them")
