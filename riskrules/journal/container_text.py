"""CSV by RFC 4180: written the same everywhere, and read without guessing."""

from __future__ import annotations

import re
from codecs import BOM_UTF8
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from riskrules.errors import Problem
from riskrules.journal.container_columns import Column, shown
from riskrules.journal.trouble import JournalError

_CELL = re.compile(r'(?:"([^"]*+(?:""[^"]*+)*+)"|([^",\r\n]*+))(,|\r?\n|\Z)')
_QUOTED = re.compile(r'[",;\t\r\n]|^\s|\s$')


@dataclass(frozen=True, slots=True)
class Table:
    """A table of the container: a CSV file of this name.

    ``key`` names the columns that tell rows apart; ``links`` are (column, table, its column), the
    values of the first being among those of the last.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    key: tuple[str, ...]
    links: tuple[tuple[str, str, str], ...] = ()

    @property
    def file(self) -> str:
        """The name of its file."""
        return f"{self.name}.csv"

    def write(self, rows: Iterable[Mapping[str, Any]], zone: tzinfo) -> bytes:
        """Return the file of some rows."""
        text = [line([c.name for c in self.columns])]
        text += [line([c.write(row[c.name], zone) for c in self.columns]) for row in rows]
        # The mark at the start tells spreadsheets that it is UTF-8.
        return BOM_UTF8 + "".join(text).encode()

    def read(self, data: bytes) -> Iterator[tuple[int, dict[str, Any]]]:
        """Give the line and the values of each row.

        Raises
        ------
        JournalError
            At the first cell that cannot be read: file, line, column, value, expected.
        """
        rows = cells(data, self.file)
        _, header = next(rows, (1, []))
        names = [c.name for c in self.columns]
        if header != names:
            message = f"columns are {shown(', '.join(header))}; expected {', '.join(names)}"
            raise wrong(self.file, 1, message)
        for at, row in rows:
            if len(row) != len(names):
                message = f"{len(row)} cells; expected {len(names)}, as in the header"
                raise wrong(self.file, at, message)
            yield at, self._values(at, row)

    def _values(self, at: int, row: Sequence[str]) -> dict[str, Any]:
        found = {}
        for column, cell in zip(self.columns, row, strict=True):
            try:
                found[column.name] = column.read(cell)
            except ValueError as error:
                raise wrong(self.file, at, f"{column.name} is {error}") from None
        return found


def wrong(file: str, at: int, message: str) -> JournalError:
    """Return the error for a line of a file in a container."""
    return JournalError(str(Problem(file, at, 0, message)))


def line(row: Sequence[str]) -> str:
    """Return a line of CSV.

    >>> line(["1", "dew, rain", ""]).rstrip()
    '1,"dew, rain",'
    """
    return ",".join(_cell(cell) for cell in row) + "\r\n"


def _cell(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"' if _QUOTED.search(cell) else cell


def cells(data: bytes, file: str) -> Iterator[tuple[int, list[str]]]:
    """Give the line number and the cells of each row of a CSV file.

    Raises
    ------
    JournalError
        Where it is not UTF-8, or a quote is not where it may be.
    """
    data = data.removeprefix(BOM_UTF8)
    try:
        text = data.decode()
    except UnicodeDecodeError as error:
        at = data.count(b"\n", 0, error.start) + 1
        message = f"byte {data[error.start]:#04x} is not UTF-8; expected UTF-8"
        raise wrong(file, at, message) from None
    place, at, began, row = 0, 1, 1, list[str]()
    while place < len(text) or row:
        found = _CELL.match(text, place)
        if found is None:
            raise wrong(file, at, "a quote stands where none may; expected CSV as RFC 4180 says")
        quoted, plain, end = found.groups()
        row.append(plain if quoted is None else quoted.replace('""', '"'))
        place, at = found.end(), at + found.group().count("\n")
        if end != ",":
            yield began, row
            began, row = at, []
