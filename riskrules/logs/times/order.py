"""Which number of a date is its day: proved by the file, stated by the mapping, or refused."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from riskrules.errors import LogError, Problem
from riskrules.logs.readings import Ints, Note
from riskrules.logs.times.text import LONG_MONTHS, Mask, Parts, whole_year

NEXT_DAY_S = 36 * 3600
"""Rows further apart than this are not those of one day and the next. [s] (assumption)"""
PLACES = {"day_first": (2, 1, 0), "month_first": (2, 0, 1), "year_first": (0, 1, 2)}
"""By order: which of the three numbers is year, month, day."""


@dataclass(frozen=True, slots=True)
class Reading:
    """The dates of all cells in one order: days since 1970, and which of them can be."""

    order: str
    days: Ints
    ok: Mask


def days_of(year: Ints, month: Ints, day: Ints) -> tuple[Ints, Mask]:
    """Return days since 1970-01-01 of dates, shape (n,), and which of the dates there are.

    Examples
    --------
    >>> days_of(np.array([1970, 2026]), np.array([1, 2]), np.array([2, 30]))[1].tolist()
    [True, False]
    """
    ok = (month >= 1) & (month <= 12) & (day >= 1) & (year >= 1) & (year <= 9999)
    count = np.where(ok, (year - 1970) * 12 + month - 1, 0)
    start = count.astype("M8[M]").astype("M8[D]").astype(np.int64)
    after = (count + 1).astype("M8[M]").astype("M8[D]").astype(np.int64)
    ok &= day <= after - start
    return np.where(ok, start + day - 1, 0), ok


def dates(
    parts: Parts, cells: list[str], lines: Ints, order: str | None, file: str
) -> tuple[Ints, Mask, list[Note]]:
    """Return each cell's day since 1970, whether it has one, and how the order was found.

    Raises
    ------
    LogError
        Where the order of day and month is not given, and nothing in the file tells.
    """
    days, ok = days_of(parts.year, parts.month, parts.day)
    ok &= parts.known & ~parts.mixed
    notes: list[Note] = []
    if parts.mixed.any():
        at = np.flatnonzero(parts.mixed)
        found = [_reading(parts, at, name) for name in PLACES]
        chosen = next((r for r in found if r.order == order), None)
        if chosen is None:
            chosen, note = _Decision(parts, at, found, cells, lines, file).made()
            notes += [note] if note else []
        days[at], ok[at] = chosen.days, chosen.ok
    return days, ok & parts.valid, notes


def _reading(parts: Parts, at: Ints, order: str) -> Reading:
    numbers = (parts.a[at], parts.b[at], parts.c[at])
    year, month, day = (numbers[i] for i in PLACES[order])
    if order == "year_first":
        days, ok = days_of(whole_year(year), month, day)
        return Reading(order, days, ok & ~parts.wide[at])
    days, ok = days_of(np.where(parts.wide[at], year, whole_year(year)), month, day)
    return Reading(order, days, ok)


class _Decision:
    """Finds the one order in which the dates of a file make sense."""

    def __init__(
        self,
        parts: Parts,
        at: Ints,
        found: list[Reading],
        cells: list[str],
        lines: Ints,
        file: str,
    ) -> None:
        can = np.logical_or.reduce([r.ok for r in found]) & parts.valid[at]
        self.at, self.lines, self.file = at, lines, file
        self.cells: list[str] = cells
        self.can, self.second = can, parts.second[at]
        self.found = found

    def made(self) -> tuple[Reading, Note | None]:
        """Return the order that the data prove, with a note of how; LogError where they don't."""
        whole = [r for r in self.found if r.ok[self.can].all()]
        if not whole:
            raise self._mixed()
        first = whole[0]
        if len(whole) > 1 and all((r.days == first.days)[self.can].all() for r in whole):
            return first, None
        stepping = [r for r in self.found if self._next_days(r)]
        if len(whole) == 1:
            if stepping and first not in stepping:
                raise self._against(first, stepping[0])
            return first, self._by_number(first)
        sure = [r for r in whole if r in stepping]
        if len(sure) != 1:
            raise self._ambiguous(whole)
        why = "only so do days follow one another"
        return sure[0], self._note(f"dates are read {_say(sure[0])}: {why}", 0)

    def _next_days(self, reading: Reading) -> int:
        """Return how often a date is followed by that of a neighbouring day."""
        use = self.can & reading.ok
        days = reading.days[use]
        time = days * 86_400 + self.second[use]
        return int(((np.diff(days) != 0) & (np.abs(np.diff(time)) <= NEXT_DAY_S)).sum())

    def _by_number(self, reading: Reading) -> Note:
        others = [r for r in self.found if r.order != reading.order]
        proof = self.can & ~np.logical_or.reduce([r.ok for r in others])
        row = int(np.argmax(proof))
        cell = self.cells[self.at[row]][:40]
        return self._note(f"dates are read {_say(reading)}: '{cell}' cannot be otherwise", row)

    def _note(self, message: str, row: int) -> Note:
        return Note(self.file, int(self.lines[self.at[row]]), message, doubts=False)

    def _fail(self, message: str, row: int) -> LogError:
        return LogError([Problem(self.file, int(self.lines[self.at[row]]), 0, message)])

    def _mixed(self) -> LogError:
        """Return the error for dates that are not all in one order."""
        best = max(self.found, key=lambda r: int(r.ok[self.can].sum()))
        one, other = int(np.argmax(self.can & best.ok)), int(np.argmax(self.can & ~best.ok))
        message = (
            f"dates in two orders: '{self._cell(one)}' in line {self.lines[self.at[one]]} can be "
            f"{_say(best)}, '{self._cell(other)}' here cannot; expected one order, or date_order "
            "in the mapping"
        )
        return self._fail(message, other)

    def _against(self, one: Reading, other: Reading) -> LogError:
        row = int(np.argmax(self.can & ~other.ok))
        message = (
            f"date '{self._cell(row)}' can only be {_say(one)}, but the days of the other rows "
            f"follow one another only {_say(other)}; expected one order, or date_order in the "
            "mapping"
        )
        return self._fail(message, row)

    def _ambiguous(self, readings: list[Reading]) -> LogError:
        """Return the error that names the readings which are possible."""
        differ = np.logical_or.reduce([r.days != readings[0].days for r in readings]) & self.can
        row = int(np.argmax(differ))
        shown = " or ".join(f"{_date(int(r.days[row]))} ({_say(r)})" for r in readings)
        keys = " or ".join(r.order for r in readings)
        message = (
            f"time '{self._cell(row)}' is {shown}, and nothing in the file tells which; "
            f"expected date_order: {keys} in the mapping"
        )
        return self._fail(message, row)

    def _cell(self, row: int) -> str:
        return self.cells[int(self.at[row])][:40]


def _say(reading: Reading) -> str:
    return reading.order.replace("_", " ")


def _date(days: int) -> str:
    """Return a day as people write it where no order can be mistaken."""
    year, month, day = str(np.datetime64(days, "D")).split("-")
    return f"{int(day)} {LONG_MONTHS[int(month) - 1].capitalize()} {year}"
