"""A raw log: the cells of one table as they stand in the file, before anything is understood."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from riskrules.logs.readings import Ints, Note


@dataclass(slots=True)
class RawLog:
    """One table of a file.

    Attributes
    ----------
    file : str
        Name to show: ``a.csv``, ``a.zip/b.csv``, ``a.xlsx [Sheet1]``.
    header : list of str
        Names of the columns as written, a unit line's units joined to them as ``name [unit]``.
    table : pandas.DataFrame, shape (n, len(header))
        Columns 0 to n - 1: numbers where a whole column is plain numbers, else text as it
        stands. NaN where a cell is empty.
    lines : ndarray of int, shape (n,)
        Line (or row) in the file of each row of the table.
    header_line : int
        Line of the header; 0 where the format has none.
    wrong_cells : list of int
        Lines with more or fewer cells than the header: left out of the table.
    blank : int
        Empty lines among the rows: left out of the table.
    zone : str, optional
        Zone or offset that the file itself states.
    said : list of str
        What was found out about the file, in words: encoding, delimiter, decimal sign.
    """

    file: str
    header: list[str]
    table: Any
    lines: Ints
    header_line: int = 1
    wrong_cells: list[int] = field(default_factory=list)
    blank: int = 0
    zone: str | None = None
    said: list[str] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)
