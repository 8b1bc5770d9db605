"""Cells: one block's time cut so finely that everything is constant within a piece.

Edges are the steps of every log, every event, sunrise and sunset. On cells, "how long was it
humid under the cover last night" is a difference of two running sums, exact to the second.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from riskrules.facts.kinds import Cause
from riskrules.logs.readings import Ints, Readings, missing_cause
from riskrules.logs.variables import Floats

Bools = npt.NDArray[np.bool_]
RAIN = "thickness_of_rainfall_amount"


class Truth(NamedTuple):
    """A condition over cells: where it surely holds, where it may, and why it is open."""

    sure: Bools
    maybe: Bools
    cause: Ints

    def __and__(self, other: Truth) -> Truth:
        return Truth(self.sure & other.sure, self.maybe & other.maybe, _both(self, other))

    def __or__(self, other: Truth) -> Truth:
        return Truth(self.sure | other.sure, self.maybe | other.maybe, _both(self, other))

    def __invert__(self) -> Truth:
        return Truth(~self.maybe, ~self.sure, self.cause)


def _both(a: Truth, b: Truth) -> Ints:
    """Return why a combination is open: the causes of its open parts only."""
    open_a = np.where(a.sure == a.maybe, 0, a.cause).astype(np.int64)
    return np.asarray(open_a | np.where(b.sure == b.maybe, 0, b.cause), dtype=np.int64)


@dataclass(slots=True)
class Cells:
    """A block's time in pieces, and what each variable was in each.

    Attributes
    ----------
    edges : ndarray of int, shape (n + 1,)
        [s since 1970 UTC]
    hours : ndarray, shape (n,)
        Length of each cell. [h]
    values : dict of ndarray, shape (n,)
        NaN where unknown; rain as a rate [mm h-1].
    amounts : dict of ndarray, shape (n,)
        Rain of the whole log step that a cell is a piece of. [mm]
    cause : dict of ndarray of int, shape (n,)
        Bits of `Cause` where a value is NaN.
    forecast : ndarray of bool, shape (n,)
        Cells after 'now', whether forecast or empty.
    now : int
        End of the last measured row, or what the review was told. [s]
    """

    edges: Ints
    hours: Floats
    values: dict[str, Floats]
    cause: dict[str, Ints]
    forecast: Bools
    now: int
    first: int
    last: int
    amounts: dict[str, Floats] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.hours)

    def at(self, times: Ints | Sequence[int]) -> Ints:
        """Return the cell that starts at each time (times must be edges, or are cut to them)."""
        found = np.searchsorted(self.edges, np.asarray(times, dtype=np.int64), side="left")
        return np.clip(found, 0, len(self)).astype(np.int64)

    def value(self, name: str) -> Floats:
        """Return a variable; all NaN where no log has it."""
        return self.values[name] if name in self.values else np.full(len(self), np.nan)

    def why(self, name: str) -> Ints:
        """Return why a variable is unknown where it is."""
        if name in self.cause:
            return self.cause[name]
        cause = np.full(len(self), int(missing_cause(name)), dtype=np.int64)
        return np.where(self.forecast, cause | int(Cause.NOT_YET), cause)

    def rain_rate(self) -> Floats:
        """Return the rain rate, of the block's own gauge or else of the farm's. [mm h-1]"""
        own = self.value(RAIN)
        return np.where(np.isnan(own), self.value(f"{RAIN}_outside"), own)

    def rain_of_step(self) -> Floats:
        """Return the rain of the whole log step that each cell is a piece of. [mm]"""
        none = np.full(len(self), np.nan)
        own = self.amounts.get(RAIN, none)
        return np.where(np.isnan(own), self.amounts.get(f"{RAIN}_outside", none), own)

    def has_gauge(self) -> bool:
        """Whether any log measures rain."""
        return RAIN in self.values or f"{RAIN}_outside" in self.values

    def compare(self, name: str, least: float) -> Truth:
        """Return where a variable is at or above a number; unknown where it is missing."""
        value = self.value(name)
        missing = np.isnan(value)
        sure = value >= least
        return Truth(sure, sure | missing, np.where(missing, self.why(name), 0))

    def always(self, answer: bool) -> Truth:
        """Return a condition that is the same everywhere."""
        same = np.full(len(self), answer)
        return Truth(same, same, np.zeros(len(self), dtype=np.int64))

    def unknown(self, cause: Cause) -> Truth:
        """Return a condition of which nothing is known."""
        n = len(self)
        return Truth(np.zeros(n, bool), np.ones(n, bool), np.full(n, int(cause), dtype=np.int64))


def build_cells(
    sources: Sequence[Readings], more_edges: Iterable[int], now: int, last: int | None = None
) -> Cells:
    """Cut time at every row of every source and at other edges, and fill in the variables.

    Parameters
    ----------
    sources : sequence of Readings
        In order of precedence: the first that has a value for a variable in a cell gives it.
    more_edges : iterable of int
        Events, sunrise and sunset. [s]
    now : int
        Where the past ends. [s]
    last : int, optional
        Where to stop; by default the last row. [s]
    """
    spans = [_spans(rows) for rows in sources]
    first = min(int(start[0]) for start, _ in spans)
    last = last or max(int(end[-1]) for _, end in spans)
    extra = np.array([e for e in {*more_edges, now}], dtype=np.int64)
    edges = np.unique(np.concatenate([extra, *(a for pair in spans for a in pair)]))
    edges = edges[(edges <= max(last, int(extra.max(initial=last))))]
    hours = np.diff(edges) / 3600.0
    cells = Cells(edges, hours, {}, {}, edges[:-1] >= now, now, first, last)
    for rows, (start, end) in zip(sources, spans, strict=True):
        _fill(cells, rows, start, end)
    for name in cells.values:
        gone = np.isnan(cells.values[name])
        absent = np.where(cells.cause[name] == 0, int(missing_cause(name)), cells.cause[name])
        cells.cause[name] = np.where(gone, absent, 0)
        cells.cause[name] |= np.where(gone & cells.forecast, int(Cause.NOT_YET), 0)
    return cells


def _spans(rows: Readings) -> tuple[Ints, Ints]:
    """Return start and end of the step each row stands for; longer breaks stay uncovered."""
    if len(rows) == 1:
        return rows.time - rows.step, rows.time
    before = np.concatenate(([rows.time[0] - rows.step], rows.time[:-1]))
    close = rows.time - before <= 1.5 * rows.step
    return np.where(close, before, rows.time - rows.step), rows.time


def _fill(cells: Cells, rows: Readings, start: Ints, end: Ints) -> None:
    at = np.searchsorted(end, cells.edges[1:], side="left")
    inside = at < len(end)
    row = np.minimum(at, len(end) - 1)
    inside &= start[row] <= cells.edges[:-1]
    inside &= ~rows.forecast[row] | cells.forecast  # a forecast never stands for a measurement
    for name, column in rows.values.items():
        value = np.where(inside, column[row], np.nan)
        if name.removesuffix("_outside") == RAIN:
            own = cells.amounts.get(name, np.full(len(value), np.nan))
            cells.amounts[name] = np.where(np.isnan(own), value, own)
            value = value / np.maximum((end - start)[row] / 3600.0, 1e-9)
        cause = np.where(inside, rows.cause[name][row], 0)
        if name in cells.values:
            gone = np.isnan(cells.values[name])
            cells.values[name] = np.where(gone, value, cells.values[name])
            cells.cause[name] = np.where(gone, cells.cause[name] | cause, cells.cause[name])
        else:
            cells.values[name], cells.cause[name] = value, cause.astype(np.int64)


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
        value = self.cells.value(name)
        gone = np.isnan(value)
        least = self.reduce(np.maximum, np.where(gone, limits[0], value), limits[0])
        most = self.reduce(np.maximum, np.where(gone, limits[1], value), limits[1])
        return least, np.where(self.beyond > 0, limits[1], most), self.missing(name)

    def lowest(self, name: str, limits: tuple[float, float]) -> tuple[Floats, Floats, Ints]:
        """Return the least and most that the lowest value can be."""
        value = self.cells.value(name)
        gone = np.isnan(value)
        least = self.reduce(np.minimum, np.where(gone, limits[0], value), limits[0])
        most = self.reduce(np.minimum, np.where(gone, limits[1], value), limits[1])
        return np.where(self.beyond > 0, limits[0], least), most, self.missing(name)

    def mean(self, name: str, limits: tuple[float, float]) -> tuple[Floats, Floats, Ints]:
        """Return the least and most that the mean over each stretch can be."""
        value = self.cells.value(name)
        gone = np.isnan(value)
        hours = self.cells.hours
        known = self.total(np.where(gone, 0, value) * hours)
        open_h = self.total(gone * hours) + self.beyond
        all_h = np.maximum(self.total(hours) + self.beyond, 1e-9)
        least = np.where(self.empty, limits[0], (known + open_h * limits[0]) / all_h)
        most = np.where(self.empty, limits[1], (known + open_h * limits[1]) / all_h)
        return least, most, self.missing(name)

    def amount(self, name: str, most_rate: float) -> tuple[Floats, Floats, Ints]:
        """Return the least and most of a rate summed over time, such as rain. [mm]"""
        value = self.cells.value(name)
        gone = np.isnan(value)
        hours = self.cells.hours
        least = self.total(np.where(gone, 0, value) * hours)
        open_h = self.total(gone * hours) + self.beyond
        return least, least + open_h * most_rate, self.missing(name)

    def missing(self, name: str) -> Ints:
        """Return why a variable is unknown somewhere in each stretch."""
        value = self.cells.value(name)
        gone = np.isnan(value)
        ends = np.where(self.beyond > 0, int(missing_cause(name)), 0)
        if not gone.any():
            return ends
        cause = np.where(gone, self.cells.why(name), 0)
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


Shared = Mapping[str, float]
"""Values of the shared thresholds, by name."""
