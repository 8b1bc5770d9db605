"""Fewer points for drawing a curve, so that no peak and no hole is lost."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from riskrules.logs.readings import Ints
from riskrules.logs.variables import Floats

Index = npt.NDArray[np.intp]


def thin(
    time: Ints, value: Floats, start: int, end: int, bins: int, step: int
) -> tuple[Ints, Floats]:
    """Return the least and the most of each of some equal bins, in order of time.

    Every point returned is a reading, but for NaN where the line must break: in holes longer than
    a step and a half, and than a bin. Where there are no more than two readings a bin, all are
    returned.

    Parameters
    ----------
    time : ndarray of int, shape (n,)
        In order. [s]
    value : ndarray, shape (n,)
        NaN where missing.
    start, end : int
        What is drawn; what lies outside is left out. [s]
    bins : int
        How many bins the span has.
    step : int
        The usual step of the readings. [s]

    Examples
    --------
    >>> t = np.arange(6) * 10
    >>> thin(t, np.array([1.0, 9, 2, 3, 0, 4]), 0, 59, 2, 10)[1].tolist()
    [1.0, 9.0, 0.0, 4.0]
    """
    good = np.flatnonzero(np.isfinite(value) & (time >= start) & (time <= end))
    t, v = time[good], value[good]
    if len(t) == 0:
        return t, v
    width = max((end - start) / bins, 1.0)
    holes = np.concatenate([[0], np.cumsum(np.diff(t) > max(1.5 * step, 1.0))])
    if len(t) > 2 * bins:
        keep = _extremes(((t - start) / width).astype(np.int64), v)
        wide = np.concatenate([[0], np.cumsum(np.diff(t) > max(1.5 * step, width))])
        t, v, holes = t[keep], v[keep], wide[keep]
    return _broken(t, v, np.flatnonzero(np.diff(holes)))


def _extremes(place: Ints, v: Floats) -> Index:
    """Return where the least and the most of each bin are, in order."""
    first = np.flatnonzero(np.concatenate([[True], np.diff(place) != 0]))
    order = np.lexsort((v, place))  # within a bin by value; bins stay in order
    last = np.concatenate([first[1:], [len(v)]]) - 1
    return np.unique(np.concatenate([order[first], order[last]]))


def _broken(t: Ints, v: Floats, after: Index) -> tuple[Ints, Floats]:
    """Put a NaN into the middle of each hole."""
    if len(after) == 0:
        return t, v
    middle = (t[after] + t[after + 1]) // 2
    return np.insert(t, after + 1, middle), np.insert(v, after + 1, np.nan)


def bar_width(start: int, end: int, most: int = 240) -> int:
    """Return the width of bars of sums: as many hours as keep them under ``most`` bars. [s]"""
    for hours in (1, 3, 6, 12, 24, 48, 168):
        if (end - start) / (hours * 3600) <= most:
            return hours * 3600
    return 168 * 3600


def sums(
    time: Ints, value: Floats, start: int, end: int, width: int
) -> tuple[Ints, Floats, Floats, Ints]:
    """Return the sums of bars, the most of one row in each, and how many rows have no value.

    Parameters are as for `thin`; a row belongs to the bar in which its step ends.

    Returns
    -------
    ndarray of int, shape (m,)
        Beginning of each bar that has a row. [s]
    ndarray, shape (m,)
        Sum; NaN where no row has a value.
    ndarray, shape (m,)
        The most of one row; NaN likewise.
    ndarray of int, shape (m,)
        Rows without a value.
    """
    inside = (time > start) & (time <= end)
    t, v = time[inside], value[inside]
    place = (t - 1 - start) // width
    bars, at = np.unique(place, return_inverse=True)
    known = np.isfinite(v)
    total, count = np.zeros(len(bars)), np.zeros(len(bars), dtype=np.int64)
    peak = np.full(len(bars), -np.inf)
    np.add.at(total, at[known], v[known])
    np.add.at(count, at[~known], 1)
    np.maximum.at(peak, at[known], v[known])
    empty = ~np.isfinite(peak)
    total[empty], peak[empty] = np.nan, np.nan
    return start + bars * width, total, peak, count
