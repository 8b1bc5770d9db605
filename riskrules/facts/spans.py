"""Stretches of cells: what is summed up over each, and how conditions become periods."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from riskrules.facts.cells import Bools, Cells, Truth
from riskrules.logs.readings import Ints, missing_cause
from riskrules.logs.variables import Floats


class Spans:
    """Stretches of cells, over which variables and conditions are summed up.

    Of what lies ``before`` the first or ``after`` the last cell [h] nothing is known.
    """

    def __init__(self, cells: Cells, start: Ints, end: Ints) -> None:
        self.cells = cells
        # A start within a cell, such as that of a joining gap, takes the whole cell.
        inside = np.searchsorted(cells.edges, np.asarray(start), side="right") - 1
        self.i0 = np.clip(inside, 0, len(cells)).astype(np.int64)
        none = np.asarray(end) <= np.asarray(start)
        self.i1 = np.where(none, self.i0, np.maximum(cells.at(end), self.i0))
        self.empty = self.i1 <= self.i0
        self.before = np.clip(np.minimum(end, cells.edges[0]) - start, 0, None) / 3600.0
        self.after = np.clip(end - np.maximum(start, cells.edges[-1]), 0, None) / 3600.0
        self._pairs = np.stack([self.i0, np.maximum(self.i1, self.i0 + 1)], axis=1).ravel()

    def __len__(self) -> int:
        return len(self.i0)

    @property
    def beyond(self) -> Floats:
        """Hours of each stretch that lie beyond the cells."""
        return np.asarray(self.before + self.after, dtype=float)

    def _ends(self, cause: Ints) -> Ints:
        """Return why nothing is known beyond the cells: as in the first and the last of them."""
        first = np.where(self.before > 0, cause[0], 0).astype(np.int64)
        return np.asarray(first | np.where(self.after > 0, cause[-1], 0), dtype=np.int64)

    def reduce(self, ufunc: np.ufunc, column: npt.NDArray[np.generic], empty: float) -> Floats:
        """Return ``ufunc`` reduced over each stretch; ``empty`` where a stretch has no cell."""
        if not len(self):
            return np.zeros(0)
        padded = np.concatenate([column, column[-1:]])
        found = ufunc.reduceat(padded, np.minimum(self._pairs, len(padded) - 1))[::2]
        return np.where(self.empty, empty, found)

    def total(self, column: Floats) -> Floats:
        """Return the sum of a column over each stretch."""
        running = np.concatenate(([0.0], np.cumsum(column)))
        return running[self.i1] - running[self.i0]

    def hours_of(self, truth: Truth) -> tuple[Floats, Floats, Ints]:
        """Return the least and most hours for which a condition holds, and why they differ."""
        hours = self.cells.hours
        least = self.total(hours * truth.sure)
        most = self.total(hours * truth.maybe) + self.beyond
        return least, most, self.cause_of(truth)

    def cause_of(self, truth: Truth) -> Ints:
        """Return why a condition is open over each stretch."""
        opened = np.where(truth.maybe & ~truth.sure, truth.cause, 0)
        if not opened.any():
            return self._ends(truth.cause)
        return self.reduce(np.bitwise_or, opened, 0).astype(np.int64) | self._ends(truth.cause)

    def any_of(self, truth: Truth) -> tuple[Floats, Floats, Ints]:
        """Return, as a flag, whether a condition holds anywhere in each stretch."""
        sure = self.reduce(np.logical_or, truth.sure, 0).astype(bool)
        maybe = self.reduce(np.logical_or, truth.maybe, 0).astype(bool) | (self.beyond > 0)
        cause = np.where(sure == maybe, 0, self.cause_of(truth))
        return sure.astype(float), maybe.astype(float), cause

    def all_of(self, truth: Truth) -> tuple[Floats, Floats, Ints]:
        """Return, as a flag, whether a condition holds all through each stretch."""
        sure = self.reduce(np.logical_and, truth.sure, 0).astype(bool) & (self.beyond == 0)
        outside = self.empty & (self.beyond > 0)
        maybe = self.reduce(np.logical_and, truth.maybe, 0).astype(bool) | outside
        cause = np.where(sure == maybe, 0, self.cause_of(truth))
        return sure.astype(float), maybe.astype(float), cause

    def highest(self, name: str, limits: tuple[float, float]) -> tuple[Floats, Floats, Ints]:
        """Return the least and most that the highest value can be."""
        low, high = self.cells.within(name, limits)
        least = self.reduce(np.maximum, low, limits[0])
        most = self.reduce(np.maximum, high, limits[1])
        return least, np.where(self.beyond > 0, limits[1], most), self.open_causes(name)

    def lowest(self, name: str, limits: tuple[float, float]) -> tuple[Floats, Floats, Ints]:
        """Return the least and most that the lowest value can be."""
        low, high = self.cells.within(name, limits)
        least = self.reduce(np.minimum, low, limits[0])
        most = self.reduce(np.minimum, high, limits[1])
        return np.where(self.beyond > 0, limits[0], least), most, self.open_causes(name)

    def mean(self, name: str, limits: tuple[float, float]) -> tuple[Floats, Floats, Ints]:
        """Return the least and most that the mean over each stretch can be."""
        hours = self.cells.hours
        all_h = np.maximum(self.total(hours) + self.beyond, 1e-9)
        ends = []
        for limit, column in zip(limits, self.cells.within(name, limits), strict=True):
            total = self.total(column * hours) + self.beyond * limit
            ends.append(np.where(self.empty, limit, total / all_h))
        return ends[0], ends[1], self.open_causes(name)

    def open_causes(self, name: str) -> Ints:
        """Return why a variable is missing or an interval somewhere in each stretch."""
        opened = self.cells.opened(name)
        ends = np.where(self.beyond > 0, int(missing_cause(name)), 0)
        if not opened.any():
            return ends
        cause = np.where(opened, self.cells.why(name), 0)
        inside = self.reduce(np.bitwise_or, cause, int(missing_cause(name))).astype(np.int64)
        return inside | ends


def stretches(cells: Cells, truth: Bools) -> tuple[Ints, Ints]:
    """Return start and end of each run of cells where a condition is true. [s]"""
    if not truth.any():
        return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    padded = np.concatenate(([False], truth, [False]))
    steps = np.flatnonzero(padded[1:] != padded[:-1])
    return cells.edges[steps[::2]], cells.edges[steps[1::2]]


def joined(start: Ints, end: Ints, gap_s: float) -> tuple[Ints, Ints]:
    """Bridge gaps shorter than ``gap_s`` between runs that are in order. [s]"""
    if len(start) < 2:
        return start, end
    apart = (start[1:] - end[:-1]) >= gap_s
    first = np.concatenate(([True], apart))
    last = np.concatenate((apart, [True]))
    return start[first], end[last]


def core_and_rest(
    cells: Cells, truth: Truth, gap_s: float
) -> tuple[tuple[Ints, Ints], tuple[Ints, Ints], Spans]:
    """Return bounds of start and end of each joined period of a condition, and its sure core.

    Let S be where it surely and P where it possibly holds, each joined over gaps shorter than
    ``gap_s``. Every true period lies within one of P. It either contains an S period, which
    bounds it from below, or it holds no sure moment, and then keeps the joining gap away from
    S. So each S period is one fact, and what P leaves beside them is another that only may
    exist (its core is empty).
    """
    s0, s1 = joined(*stretches(cells, truth.sure), gap_s)
    p0, p1 = joined(*stretches(cells, truth.maybe), gap_s)
    around = np.searchsorted(p0, s0, side="right") - 1
    gap = int(gap_s)
    holes = [pair for a, b in zip(p0.tolist(), p1.tolist(), strict=True)
             for pair in _beside(a, b, s0, s1, gap)]  # fmt: skip
    rest = _trimmed(holes, *stretches(cells, truth.maybe))
    rest = [(a, b) for a, b in rest if b > cells.first]  # the log does not speak of before
    r0 = np.array([a for a, _ in rest], dtype=np.int64)
    r1 = np.array([b for _, b in rest], dtype=np.int64)
    columns = [
        np.concatenate(pair)
        for pair in ((p0[around], r0), (s0, r1), (s1, r0), (p1[around], r1), (s0, r0), (s1, r0))
    ]
    order = np.lexsort((columns[3], columns[4]))
    least0, most0, least1, most1, core0, core1 = (column[order] for column in columns)
    return (least0, most0), (least1, most1), Spans(cells, core0, core1)


def _beside(p0: int, p1: int, s0: Ints, s1: Ints, gap_s: int) -> list[tuple[int, int]]:
    """Return where, in one possible period, a period without any sure moment fits."""
    first = int(np.searchsorted(s0, p0))
    last = int(np.searchsorted(s1, p1, side="right"))
    lows = [p0, *(s1[first:last] + gap_s).tolist()]
    highs = [*(s0[first:last] - gap_s).tolist(), p1]
    return [(a, b) for a, b in zip(lows, highs, strict=True) if b > a]


def _trimmed(pairs: list[tuple[int, int]], start: Ints, end: Ints) -> list[tuple[int, int]]:
    """Cut each pair to the runs within it, and leave out a pair that has none."""
    found = []
    for a, b in pairs:
        first = int(np.searchsorted(end, a, side="right"))
        last = int(np.searchsorted(start, b, side="left")) - 1
        if first <= last:
            found.append((max(a, int(start[first])), min(b, int(end[last]))))
    return found
