"""Decimal commas: told from the file's own cells, or from the mapping, and never guessed."""

from __future__ import annotations

import re
from typing import Any, Literal

CLEAR = r"[-+\u2212]?(?:\d*,(?:\d{1,2}|\d{4,})|(?:\d{4,}|0\d*),\d+|,\d+|\d{1,3}(?:\.\d{3})+,\d+)"
"""A number that can only have a decimal comma."""
EITHER = r"[-+\u2212]?[1-9]\d{0,2},\d{3}"
"""A number whose comma may stand for a decimal sign or for thousands: 1,234."""
POINT = r"[-+\u2212]?(?:\d*\.\d+|\d{1,3}(?:,\d{3})+\.\d+)"
"""A number with a decimal point."""
HINT = "which may be a decimal comma or thousands: say 'decimal' in the mapping"

Decimal = Literal[".", ","] | None


def settle_commas(table: Any, given: Decimal, delimiter: str) -> list[str]:
    """Make numbers of the cells with a decimal comma, in place; return what is to be said.

    A column has decimal commas where some of its cells can be nothing else and none has a
    point. Cells such as 1,234 follow the columns that are clear; where nothing in the file is,
    or a point stands elsewhere, they stay text. In a file divided by commas only a mapping's
    word makes commas decimal.
    """
    if given == "." or (given is None and delimiter == ","):
        return []
    texts = [i for i in table.columns if table[i].dtype.kind not in "iufbM"]
    seen = {i: _counts(table[i]) for i in texts}
    clear = [i for i, (comma, _, point) in seen.items() if comma and not point]
    points = any(point for _, _, point in seen.values()) or _has_fractions(table)
    maybe = [i for i, (comma, either, point) in seen.items() if either and not comma and not point]
    chosen = [*clear, *maybe] if clear and not points else clear
    if given == ",":
        chosen = [i for i, (comma, either, point) in seen.items() if comma or either]
    for i in chosen:
        table[i] = _converted(table[i])
    said = ["decimal commas"] if chosen else []
    mixed = [i for i, (comma, _, point) in seen.items() if comma and point and i not in chosen]
    left = [i for i in maybe if i not in chosen]
    if mixed:
        said.append("numbers with a comma and with a point in one column; those with a comma are "
                    "not read")  # fmt: skip
    if left:
        said.append(f"numbers such as {_example(table[left[0]])!r}, {HINT}")
    return said


def _cells(column: Any) -> list[str]:
    """Return the different cells of a column; a log has few of them beside its rows."""
    return [str(c).strip() for c in column.dropna().unique().tolist()]


def _counts(column: Any) -> tuple[bool, bool, bool]:
    """Return whether a column has clear decimal commas, doubtful ones, and decimal points."""
    cells = _cells(column)
    if not any("," in c for c in cells):
        return False, False, False
    clear, either, point = (
        any(re.fullmatch(p, c, re.ASCII) for c in cells) for p in (CLEAR, EITHER, POINT)
    )
    return clear, either, point


def _has_fractions(table: Any) -> bool:
    return any(
        table[i].dtype.kind == "f" and bool((table[i].dropna() % 1 != 0).any())
        for i in table.columns
    )


def _example(column: Any) -> str:
    return next(c for c in _cells(column) if re.fullmatch(EITHER, c, re.ASCII))


def _converted(column: Any) -> Any:
    """Return a column with points for decimal commas; a cell that had a point is no number now."""
    import pandas as pd

    new = column.map({c: _with_point(str(c).strip()) for c in column.dropna().unique().tolist()})
    number = pd.to_numeric(new, errors="coerce")
    return number if not (number.isna() & column.notna()).any() else new


def _with_point(cell: str) -> str:
    if re.fullmatch(f"{CLEAR}|{EITHER}", cell, re.ASCII):
        return cell.replace(".", "").replace(",", ".").replace("\u2212", "-")
    return f"'{cell}'" if re.fullmatch(POINT, cell, re.ASCII) else cell
