"""Printed tables of wet hours by temperature, for other crops: they check the table machinery.

No printed table by temperature was found for strawberry. Never use these on strawberry.

References
----------
.. [1] West Virginia University, after MacHardy and Gadoury 1989 (apple scab) [read].
.. [2] Apple scab light, medium, high by whole °C [second-hand: public code].
.. [3] Sirjusingh, Sutton 1996. Plant Dis. 80:160-165 (Botrytis on geranium) [read: abstract].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from riskrules.science.arrays import FloatArray
from riskrules.science.provenance import READ, SECOND_HAND, Tag


@dataclass(frozen=True, slots=True)
class HourTable:
    """Wet hours by temperature, one or more columns, keys strictly rising."""

    name: str
    key_unit: str
    keys: tuple[float, ...]
    columns: tuple[str, ...]
    hours: tuple[tuple[float, ...], ...]
    source: str
    tag: Tag


def _row(entry: str, columns: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    span, _, cells = entry.partition(":")
    try:
        keys = tuple(float(key) for key in span.split("-"))
        hours = tuple(float(cell) for cell in cells.split("/"))
    except ValueError:
        raise ValueError(f"'{entry}' is no row; expected key:hours or from-to:hours") from None
    if len(hours) != columns or len(keys) not in (1, 2):
        raise ValueError(f"'{entry}' has {len(hours)} columns; expected {columns}")
    return keys, hours


def load_hour_table(
    name: str, text: str, columns: tuple[str, ...], key_unit: str, source: str, tag: Tag
) -> HourTable:
    """Read a table from its printed form.

    Parameters
    ----------
    name, key_unit, source, tag : str
        What the table is, the unit of its keys, where it is printed, how we know it.
    text : str
        Rows parted by blanks, ``key:hours`` or ``from-to:hours``; hours of several columns
        parted by a slash. [h]
    columns : tuple of str
        Names of the columns.

    Returns
    -------
    HourTable
        The table.

    Raises
    ------
    ValueError
        If a row can not be read, hours are negative or NaN, or keys do not rise strictly (a
        copy with 57 twice and 56 before 50 is refused).

    Examples
    --------
    >>> load_hour_table("a", "45:15 56:13 50:11", ("h",), "°F", "a copy", READ)
    Traceback (most recent call last):
    ...
    ValueError: a: key 50 follows 56; expected rising keys
    """
    keys: list[float] = []
    hours: list[tuple[float, ...]] = []
    for entry in text.split():
        row_keys, row_hours = _row(entry, len(columns))
        if not all(cell >= 0 for cell in row_hours):
            raise ValueError(f"{name}: '{entry}' has hours below 0; expected 0 or more")
        for key in row_keys:
            if keys and not key > keys[-1]:
                raise ValueError(f"{name}: key {key:g} follows {keys[-1]:g}; expected rising keys")
            keys.append(key)
            hours.append(row_hours)
    return HourTable(name, key_unit, tuple(keys), columns, tuple(hours), source, tag)


def lookup(table: HourTable, key: ArrayLike, column: str) -> FloatArray:
    """Look up wet hours.

    Parameters
    ----------
    table : HourTable
        The table.
    key : array-like, shape (n,)
        Temperature in the table's unit.
    column : str
        Name of a column.

    Returns
    -------
    ndarray, shape (n,)
        Hours of the row; between two rows the fewer hours of the two, the more cautious
        (assumption); NaN outside the table. [h]

    Raises
    ------
    ValueError
        If the table has no such column.

    Examples
    --------
    >>> lookup(APPLE_SCAB_LEAST, [50.0, 51.0, 80.0], "hours").tolist()
    [11.0, 9.0, nan]
    """
    if column not in table.columns:
        known = ", ".join(table.columns)
        raise ValueError(f"{table.name} has no column '{column}'; expected one of {known}")
    wanted = np.asarray(key, dtype=np.float64)
    keys = np.array(table.keys)
    hours = np.array(table.hours)[:, table.columns.index(column)]
    inside = (wanted >= keys[0]) & (wanted <= keys[-1])
    safe = np.where(inside, wanted, keys[0])
    below = np.searchsorted(keys, safe, side="right") - 1
    above = np.searchsorted(keys, safe, side="left")
    return np.where(inside, np.minimum(hours[below], hours[above]), np.nan)


APPLE_SCAB_LEAST = load_hour_table(
    "apple scab, fewest hours, continuous wet",
    "34:41 36:35 37:30 39:28 41:21 43:18 45:15 46:13 48:12 50:11 52:9 54:8 55:8 57:7 59:7"
    " 61-75:6 77:8 79:11",
    ("hours",),
    "°F",
    "West Virginia University, after MacHardy and Gadoury 1989",
    READ,
)
APPLE_SCAB_CLASSES = load_hour_table(
    "apple scab, light, medium and high",
    "5:37/48/73 6:26/34/51 7:21/27/40 8:18/23/34 9:15/20/30 10:14/19/28 11:12/17/26 12:11/16/24"
    " 13:10/14/22 14:10/13/21 15:9/12/20 16:9/12/19 17-23:9/12/18 24:9/12/19 25:10/14/21",
    ("light", "medium", "high"),
    "°C",
    "public code",
    SECOND_HAND,
)
# "More than" and "up to" bracket the hours that flowers need; none was infected after 24 h at 5
# and 10 °C, and between the printed temperatures the fewer hours hold.
GERANIUM_FLOWERS = load_hour_table(
    "Botrytis on geranium flowers",
    "5:24/inf 10:24/inf 15:8/24 21:4/12 25:4/12 30:4/6",
    ("more_than", "up_to"),
    "°C",
    "Sirjusingh, Sutton 1996, Plant Dis. 80:160-165, abstract",
    READ,
)
GERANIUM_LEAVES = load_hour_table(
    "Botrytis on geranium leaves, at least, by age",
    "15:6/12/6 21:4/8/6 25:6/6/8 30:6/inf/8",
    ("one_week", "four_weeks", "ten_weeks"),
    "°C",
    "Sirjusingh, Sutton 1996, Plant Dis. 80:160-165, abstract",
    READ,
)
