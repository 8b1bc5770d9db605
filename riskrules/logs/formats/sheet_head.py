"""Find the header of a sheet: below what people write above it, with the unit row under it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from riskrules.logs.formats.cells import word
from riskrules.logs.formats.headers import (
    is_datelike,
    is_known_name,
    is_numberlike,
    is_time_name,
    is_unit_line,
    stated_zone,
    with_units,
)
from riskrules.logs.mapping import LogMapping

DEEPEST = 200
"""Rows above a header that we look through. (assumption)"""
Row = Sequence[Any]


@dataclass(frozen=True, slots=True)
class Head:
    """A header as found: ``places`` are its columns, ``data`` the index of the row below it."""

    names: list[str]
    places: list[int]
    line: int
    data: int
    units: bool
    zone: str | None


def find_head(rows: Sequence[Row], first_row: int, mapping: LogMapping) -> Head | None:
    """Return a sheet's header, or None where it has none.

    Parameters
    ----------
    rows : sequence of sequence
        Cells, None where empty.
    first_row : int
        Number of the first of the rows in the sheet, from 1.
    mapping : LogMapping
        Its ``header_line`` is taken; else its columns and times tell the header, else names
        that we know, else it is the last row of words above the first row of data.
    """
    at = _place(rows, first_row, mapping)
    if at is None:
        return None
    header = [_name(c) for c in rows[at]]
    below = rows[at + 1] if at + 1 < len(rows) else ()
    units = all(c is None or isinstance(c, str) for c in below) and is_unit_line(
        [_name(c) for c in below]
    )
    data = at + 1 + units
    places = [
        i for i, name in enumerate(header) if name or any(row[i] is not None for row in rows[data:])
    ]
    if units:
        header = with_units(header, [_name(c) for c in below])
    zone = stated_zone(header, [",".join(map(_name, row)).strip(",") for row in rows[:at]])
    return Head([header[i] for i in places], places, at + first_row, data, units, zone)


def _place(rows: Sequence[Row], first_row: int, mapping: LogMapping) -> int | None:
    if mapping.header_line is not None:
        at = mapping.header_line - first_row
        return at if 0 <= at < len(rows) else None
    rows = rows[:DEEPEST]
    words = [i for i, row in enumerate(rows) if _is_words(row)]
    theirs = {*mapping.columns, *mapping.time}
    for is_ours in (lambda name: name in theirs, is_time_name, is_known_name):
        for i in words:
            if any(is_ours(_name(c)) for c in rows[i] if c is not None):
                return i
    first = next((i for i, row in enumerate(rows) if _is_data(row)), None)
    if first is None:
        return None
    return max((i for i in words if i < first and not _is_units(rows[i])), default=None)


def _name(cell: Any) -> str:
    return "" if cell is None else " ".join(word(cell).split())


def _is_words(row: Row) -> bool:
    """Whether a row may be a header: two cells or more, none of which is a number or date."""
    some = [c for c in row if c is not None]
    return len(some) > 1 and all(
        isinstance(c, str) and not is_numberlike(c.strip()) and not is_datelike(c.strip())
        for c in some
    )


def _is_data(row: Row) -> bool:
    some = [c for c in row if c is not None]
    return len(some) > 1 and not _is_words(row)


def _is_units(row: Row) -> bool:
    return is_unit_line([_name(c) for c in row])
