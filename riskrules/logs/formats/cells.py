"""What the readers of sheets, JSON lines and weather years share: bytes and columns."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any

import numpy as np

from riskrules.logs.formats.source import fail, file_bytes

EXACT = 2**53
"""Whole numbers beyond this are not exact as floats (IEEE 754 binary64; memory)."""


def content(source: bytes | Path, file: str) -> bytes:
    """Return the bytes of a file; LogError where it cannot be read or is empty."""
    raw = file_bytes(source) if isinstance(source, Path) else source
    if not raw.strip():
        raise fail(file, "empty; expected a header and rows")
    return raw


def frame(columns: Sequence[Any], rows: int) -> Any:
    """Return a table of columns named 0 to n - 1, each of shape (rows,)."""
    import pandas as pd

    return pd.DataFrame(dict(enumerate(columns)), index=range(rows), copy=False)


def column(cells: Sequence[Any]) -> Any:
    """Return cells as one column: numbers or datetimes where all are, else text.

    Parameters
    ----------
    cells : sequence, shape (n,)
        None where empty; numbers, truth values, text, dates, times of day.

    Returns
    -------
    ndarray, shape (n,)
        Floats, whole numbers where none is missing, datetimes without zone, or text, in which
        NaN is an empty cell. Whole numbers too large for a float stay as text.
    """
    kinds = set(map(type, cells))
    if kinds == {int} and all(-(2**63) <= c < 2**63 for c in cells):
        return np.array(cells, dtype=np.int64)
    if kinds <= {int, float, type(None)} and (int not in kinds or _exact(cells)):
        return np.array(cells, dtype=float)
    if datetime in kinds and kinds <= {datetime, date, type(None)}:
        return np.array(cells, dtype="M8[us]")
    found = np.empty(len(cells), dtype=object)
    midnight = " 00:00:00" if datetime in kinds else ""  # a sheet stores both as one kind
    found[:] = [
        np.nan if c is None else word(c) + (midnight if type(c) is date else "") for c in cells
    ]
    return found


def _exact(cells: Sequence[Any]) -> bool:
    return all(type(c) is not int or abs(c) <= EXACT for c in cells)


def word(cell: Any) -> str:
    """Return a cell as text: as a sheet shows it, dates as ISO 8601.

    Examples
    --------
    >>> word(21.0), word(True), word(datetime(2026, 5, 3, 6, 15))
    ('21', 'TRUE', '2026-05-03 06:15:00')
    """
    if isinstance(cell, str):
        return cell if cell.isascii() else cell.encode("utf-8", "replace").decode()
    if isinstance(cell, bool):
        return str(cell).upper()
    if isinstance(cell, float):
        return f"{cell:.15g}"
    return str(cell)
