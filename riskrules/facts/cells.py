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
from riskrules.logs.readings import Ints, Readings, Small, missing_cause
from riskrules.logs.variables import Floats

Bools = npt.NDArray[np.bool_]
RAIN = "thickness_of_rainfall_amount"
ELSEWHERE, SHOWER = 2.0, 2.0
"""Rain where only another gauge has a value: at most so many times as much, and so much more
[mm h-1, or mm a step]. Showers are local. (assumption)"""


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


class Rain(NamedTuple):
    """Bounds of the rain in each cell, NaN where nothing is known of it.

    ``low`` and ``high`` are rates [mm h-1], ``step_low`` and ``step_high`` the rain of the whole
    log step that a cell is a piece of [mm].
    """

    low: Floats
    high: Floats
    step_low: Floats
    step_high: Floats


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
    amounts : dict of tuple of ndarray, shape (n,)
        Least and most rain of the whole log step that a cell is a piece of. [mm]
    low, high : dict of ndarray, shape (n,)
        Ends of the values that are intervals (doubted, filled, borrowed); absent for variables
        that have none.
    cause : dict of ndarray of int, shape (n,)
        Bits of `Cause` where a value is NaN or an interval.
    origin : dict of ndarray of uint8, shape (n,)
        `Origin` of each value; absent for variables that were all measured.
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
    amounts: dict[str, tuple[Floats, Floats]] = field(default_factory=dict)
    low: dict[str, Floats] = field(default_factory=dict)
    high: dict[str, Floats] = field(default_factory=dict)
    origin: dict[str, Small] = field(default_factory=dict)

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

    def ends(self, name: str) -> tuple[Floats, Floats]:
        """Return the least and most that a variable can be in each cell; NaN where missing."""
        value = self.value(name)
        return self.low.get(name, value), self.high.get(name, value)

    def within(self, name: str, limits: tuple[float, float]) -> tuple[Floats, Floats]:
        """Return the least and most of a variable, where missing the limits that it can have."""
        low, high = self.ends(name)
        gone = np.isnan(low)
        if not gone.any():
            return low, high
        return np.where(gone, limits[0], low), np.where(gone, limits[1], high)

    def opened(self, name: str) -> Bools:
        """Return where a variable is missing or an interval."""
        low, high = self.ends(name)
        return np.asarray(~(low == high))

    def rain(self) -> Rain:
        """Return the least and most rain, of the block's own gauge or else of the farm's.

        Where the block's own gauge has a hole, the farm's tells only how much it may have been:
        up to ``ELSEWHERE`` times as much and a shower's more.
        """
        low, high = self.ends(RAIN)
        none = np.full(len(self), np.nan)
        step_low, step_high = self.amounts.get(RAIN, (none, none))
        outside = f"{RAIN}_outside"
        if outside in self.values:
            there = self.ends(outside)
            amount = self.amounts[outside]
            if RAIN not in self.values:
                low, high, step_low, step_high = *there, *amount
            else:
                hole = np.isnan(low) & ~np.isnan(there[1])
                more = ELSEWHERE * there[1] + SHOWER
                low, high = np.where(hole, 0.0, low), np.where(hole, more, high)
                step_low = np.where(hole, 0.0, step_low)
                step_high = np.where(hole, ELSEWHERE * amount[1] + SHOWER, step_high)
        return Rain(low, high, step_low, step_high)

    def has_gauge(self) -> bool:
        """Whether any log measures rain."""
        return RAIN in self.values or f"{RAIN}_outside" in self.values

    def compare(self, name: str, least: float) -> Truth:
        """Return where a variable is at or above a number; unknown where it is missing."""
        low, high = self.ends(name)
        opened = ~(low == high)
        sure = low >= least
        maybe = (high >= least) | np.isnan(high)
        return Truth(sure, maybe, np.where(opened, self.why(name), 0))

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
        settle_causes(cells, name)
    return cells


def settle_causes(cells: Cells, name: str) -> None:
    """Keep causes only where a variable is open, and see that each such cell has one."""
    gone = np.isnan(cells.values[name])
    absent = np.where(cells.cause[name] == 0, int(missing_cause(name)), cells.cause[name])
    cause = np.where(gone, absent, 0)
    cause |= np.where(gone & cells.forecast, int(Cause.NOT_YET), 0)
    if name in cells.low:
        ends = (cells.low[name] < cells.high[name]) & ~gone
        cause = np.where(ends, cells.cause[name], cause)
    cells.cause[name] = cause


def _spans(rows: Readings) -> tuple[Ints, Ints]:
    """Return start and end of the step each row stands for; longer breaks stay uncovered."""
    if len(rows.spans):
        return rows.time - rows.spans, rows.time
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
        new = {"values": np.where(inside, column[row], np.nan)}
        for part in ("low", "high"):
            if name in rows.low:
                new[part] = np.where(inside, getattr(rows, part)[name][row], np.nan)
        if name.removesuffix("_outside") == RAIN:
            _put_amounts(cells, name, new)
            hours = np.maximum((end - start)[row] / 3600.0, 1e-9)
            new = {part: amount / hours for part, amount in new.items()}
        cause = np.where(inside, rows.cause[name][row], 0)
        gone = np.isnan(cells.value(name))
        if name in rows.origin or name in cells.origin:
            theirs = rows.origin.get(name, np.zeros(len(rows), dtype=np.uint8))[row]
            ours = cells.origin.get(name, np.zeros(len(row), dtype=np.uint8))
            cells.origin[name] = np.where(gone, theirs, ours).astype(np.uint8)
        _put(cells, name, gone, new, cause)


def _put_amounts(cells: Cells, name: str, new: Mapping[str, Floats]) -> None:
    """Keep the rain of whole steps where there is none yet."""
    none = np.full(len(cells), np.nan)
    own = cells.amounts.get(name, (none, none))
    gone = np.isnan(own[0])
    theirs = new.get("low", new["values"]), new.get("high", new["values"])
    least, most = (np.where(gone, a, b) for a, b in zip(theirs, own, strict=True))
    cells.amounts[name] = (least, most)


def _put(cells: Cells, name: str, gone: Bools, new: Mapping[str, Floats], cause: Ints) -> None:
    """Put new values of a variable where it has none yet."""
    if name in cells.low or "low" in new:
        for part in ("low", "high"):
            own = getattr(cells, part).get(name, cells.value(name))
            theirs = new.get(part, new["values"])
            getattr(cells, part)[name] = np.where(gone, theirs, own)
    if name in cells.values:
        cells.values[name] = np.where(gone, new["values"], cells.values[name])
        filled = gone & ~np.isnan(new["values"])
        kept = np.where(filled, cause, cells.cause[name] | cause)
        cells.cause[name] = np.where(gone, kept, cells.cause[name])
    else:
        cells.values[name], cells.cause[name] = new["values"], cause.astype(np.int64)


Shared = Mapping[str, float]
"""Values of the shared thresholds, by name."""
