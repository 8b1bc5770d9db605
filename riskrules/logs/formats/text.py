"""Read a text log: any delimiter, any encoding, with whatever a logger writes around its rows.

A clean file goes straight through pandas' parser. Only where something is odd are its lines
looked at one by one: those that fit the header are kept, the others are left out and counted.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np

from riskrules.logs.formats.decimals import settle_commas
from riskrules.logs.formats.decoding import decode_log
from riskrules.logs.formats.dialect import HEAD_LINES, PROBE_LINES, Dialect, is_remark, sniff
from riskrules.logs.formats.headers import (
    base_name,
    bracketed,
    is_datelike,
    is_numberlike,
    is_step_line,
    is_time_name,
    is_unit_line,
    stated_zone,
)
from riskrules.logs.formats.source import check_lines, fail, file_bytes
from riskrules.logs.mapping import LogMapping
from riskrules.logs.raw import RawLog
from riskrules.logs.readings import Note
from riskrules.logs.troubles import Trouble, name_of

_CELL = "\x1f"
_ODD_FIRST = re.compile(r"\n[\"'\s]*[^\W\d_]|\n[ \"]*[,;|\t]")
"""A line that begins with a letter, as a header does, or with an empty cell, as a blank one."""
CUT = "the last line has no line end; it may have been cut off"


def read(source: bytes | Path, file: str, mapping: LogMapping | None = None) -> list[RawLog]:
    """Return the one table of a text log.

    Parameters
    ----------
    source : bytes or Path
        The file or what stands in it.
    file : str
        Name to show.
    mapping : LogMapping, optional
        Its delimiter, decimal sign, header line and column names are used.

    Raises
    ------
    LogError
        Where there is no header, or no row that fits it.
    """
    mapping = mapping or LogMapping()
    raw = file_bytes(source) if isinstance(source, Path) else source
    check_lines(raw, file)
    text, said = decode_log(raw)
    most = max(HEAD_LINES, (mapping.header_line or 0) + PROBE_LINES)
    head = text.split("\n", most)[:most]
    dialect = sniff(head, mapping, file)
    body = _below(text, dialect.rows_at)
    log = _quick(body, dialect, file) or _careful(
        body, dialect, file, bool(mapping.time or mapping.columns)
    )
    log.said = [*said, *dialect.said, *settle_commas(log.table, mapping.decimal, dialect.delimiter),
                *log.said]  # fmt: skip
    log.zone = stated_zone(dialect.header, head[: dialect.header_at])
    if body and not body.endswith("\n"):
        last = dialect.rows_at + body.count("\n") + 1
        if len(log.lines) and log.lines[-1] == last:
            log.notes.append(Note(file, last, CUT))
    return [log]


def _below(text: str, lines: int) -> str:
    """Return a text without its first lines."""
    at = 0
    for _ in range(lines):
        newline = text.find("\n", at)
        if newline < 0:
            return ""
        at = newline + 1
    return text[at:]


def _quick(body: str, dialect: Dialect, file: str) -> RawLog | None:
    """Return the table of a clean body, None where anything is odd."""
    mark, width = dialect.delimiter, dialect.least
    if len(mark) != 1 or mark == " " or dialect.most != width or not body:
        return None
    if "\n\n" in body or body[0] in "\n#" or "\n#" in body or "\ufffd" in body:
        return None
    data = body.encode("utf-8", "replace")
    if _odd_lines(data, body):
        return None
    rows = body.count("\n") + (not body.endswith("\n"))
    cells = body.count(mark)
    if cells not in (rows * (width - 1), rows * width):
        return None
    table = _parsed(data, mark, width + 1)
    if table is None or len(table) != rows or table[width].notna().any():
        return None
    del table[width]
    if table[0].isna().any() and table.isna().all(axis=1).any():
        return None
    first = dialect.rows_at + 1
    return RawLog(file, dialect.header, table, np.arange(first, first + rows, dtype=np.int64),
                  dialect.header_at + 1)  # fmt: skip


def _odd_lines(data: bytes, body: str) -> bool:
    """Whether a line begins as a header or a blank row does; most begin with a digit."""
    codes = np.frombuffer(data, dtype=np.uint8)
    first = codes[np.flatnonzero(codes[:-1] == ord("\n")) + 1]
    digits = (first >= ord("0")) & (first <= ord("9"))
    return not (digits.all() and body[0].isdigit()) and bool(_ODD_FIRST.search("\n" + body))


def _parsed(body: bytes, mark: str, width: int, quoting: int = 0) -> Any:
    """Return cells as a table, None where pandas cannot; a row that is too wide is none."""
    import pandas as pd

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", pd.errors.ParserWarning)
            table = pd.read_csv(
                io.BytesIO(body),
                sep=mark,
                header=None,
                names=list(range(width)),
                index_col=False,
                skip_blank_lines=False,
                low_memory=False,
                keep_default_na=False,
                na_values=[""],
                quoting=quoting,  # type: ignore[call-overload]
            )
    except (pd.errors.ParserWarning, pd.errors.ParserError, pd.errors.EmptyDataError):
        return None
    for i in table.columns:
        if isinstance(table[i].dtype, np.dtype) and table[i].dtype.kind not in "iuf":
            table[i] = table[i].astype("str")  # a column of True and False is text too
    return table


class _Lines:
    """Goes through a body line by line and sorts its lines."""

    def __init__(self, dialect: Dialect, file: str, mapped: bool) -> None:
        self.dialect, self.file, self.mapped = dialect, file, mapped
        self.kept: list[list[str]] = []
        self.lines: list[int] = []
        self.wrong: list[int] = []
        self.blank = 0
        self.headers: list[int] = []
        self.remarks: list[int] = []
        self.first_wrong = ""
        self.names = [bracketed(h).lower() for h in dialect.header]
        self.plain = [base_name(h) for h in dialect.header]

    def take(self, lines: Iterable[str]) -> None:
        """Sort all lines of a body."""
        for number, line in enumerate(lines, self.dialect.rows_at + 1):
            if not line.strip():
                self.blank += 1
            elif is_remark(line, self.dialect.delimiter):
                self.remarks.append(number)
            else:
                self._row(number, line)

    def _row(self, number: int, line: str) -> None:
        cells, least = self.dialect.cells(line), self.dialect.least
        if cells is None:
            self._refuse(number, "a quote that does not close")
        elif not any(cells):
            self.blank += 1
        elif self._is_header(cells, number):
            self.headers.append(number)
        elif len(cells) < least or any(cells[self.dialect.most :]):
            count = len(cells) - (not cells[-1]) if len(cells) > least else len(cells)
            self._refuse(number, f"{count} {'cell' if count == 1 else 'cells'}")
        else:
            self.kept.append(cells[:least])
            self.lines.append(number)

    def _refuse(self, number: int, what: str) -> None:
        self.first_wrong = self.first_wrong or what
        self.wrong.append(number)

    def _is_header(self, cells: list[str], number: int) -> bool:
        """Whether a line repeats the header; LogError where another header begins here."""
        if cells[0][:1].isdigit():
            return False
        again = self.headers and self.headers[-1] == number - 1
        if again and (is_unit_line(cells) or is_step_line(cells)):
            return True
        bare = [base_name(bracketed(c)) for c in cells[: len(self.plain)]]
        if bare == self.plain:
            if any(cells[len(bare) :]) or any("[" in c and bracketed(c).lower() != n
                   for c, n in zip(cells, self.names, strict=False)):  # fmt: skip
                raise self._changed(number)
            return True
        if any(is_datelike(c) or is_numberlike(c) for c in cells) or sum(map(bool, cells)) < 2:
            return False
        names = [bracketed(c).lower() for c in cells]
        if _CELL.join(self.names).startswith(_CELL.join(names)):
            return True  # a header that was cut off
        if any(is_time_name(c) for c in cells) or set(bare) & set(self.plain) - {""}:
            raise self._changed(number)
        return False

    def _changed(self, number: int) -> Exception:
        message = "the header changes here; expected one kind of row. Cut the file in two here"
        return fail(self.file, message, number)

    def log(self) -> RawLog:
        """Return the table of the lines that fit; LogError where there are none."""
        d = self.dialect
        expected = f"expected {d.least}, as in the header"
        if not self.kept:
            if self.wrong and not any(is_time_name(h) for h in d.header) and not self.mapped:
                shown = ", ".join(d.header[:12])[:400]
                message = f"0 time columns (none among {shown}); expected a header with 'time'"
                raise fail(self.file, message, d.header_at + 1)
            if self.wrong:
                raise fail(self.file, f"{self.first_wrong}; {expected}", self.wrong[0])
            raise fail(self.file, "a header but no rows", d.rows_at)
        body = "\n".join(_CELL.join(c.replace(_CELL, "\ufffd") for c in r) for r in self.kept)
        table = _parsed(body.encode("utf-8", "replace"), _CELL, d.least, quoting=3)
        log = RawLog(self.file, d.header, table, np.array(self.lines, dtype=np.int64),
                     d.header_at + 1, self.wrong, self.blank)  # fmt: skip
        if self.wrong:
            message = f"{self.first_wrong}; {expected}. Row left out"
            log.notes.append(Note(self.file, self.wrong[0], message, len(self.wrong),
                                  trouble=name_of(Trouble.WRONG_CELLS)))  # fmt: skip
        for found, what in ((self.headers, "the header stands again"), (self.remarks, "a remark")):
            if found:
                message = f"{what} among the rows; no row was made of it"
                log.notes.append(Note(self.file, found[0], message, len(found), doubts=False))
        return log


def _careful(body: str, dialect: Dialect, file: str, mapped: bool) -> RawLog:
    """Return the table of a body, its lines looked at one by one."""
    lines = body.split("\n")
    if lines and not lines[-1]:
        lines.pop()
    sorter = _Lines(dialect, file, mapped)
    sorter.take(lines)
    return sorter.log()
