"""A logger whose clock was reset: rows after the jump have no time that can be trusted.

The rows of a file are cut where the time runs back or leaps; each run of rows between is then
held against the runs before it. A file out of order without any steady run is no reset.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from riskrules.logs.mapping import LogMapping
from riskrules.logs.readings import Ints, Note
from riskrules.logs.times.text import Mask

DAY = 86_400
FAR_S = 731 * DAY
"""A run of rows further than this from all before it has a wrong clock. [s] (assumption: a log
may rest over a winter, or a year, but hardly two)"""
LEAP_S = DAY
"""A leap of a day and of LEAP_STEPS steps begins a new run. [s] (assumption)"""
LEAP_STEPS = 20
FACTORY = ("1970-01-01", "1980-01-01", "2000-01-01", "2001-01-01")
"""Days that clocks start from when they lost their time: the epochs of Unix and of GPS time, and
the turn of the century. (memory)"""
FACTORY_FAR_S = 30 * DAY
"""A run that starts on such a day is doubted where all others are this far. [s] (assumption)"""
SET_S = 2 * 3600
"""A clock that is put back by less was put right, by hand or at the turn of summer time: only the
rows that come twice are refused. [s] (assumption)"""
STEADY_ROWS = 3
"""Rows that a run needs for its step to be known. (assumption)"""
STEADY_SHARE = 0.8
"""Share of a run's steps that must be alike. (assumption)"""
SAME_STEP = 0.1
"""By how much of the step two steps may differ and count as the same. (assumption)"""
SHUFFLED = 4
"""Fewer rows to a run than this: the file is out of order, not its clock. (assumption)"""

Prints = Callable[[], npt.NDArray[np.uint64]]


@dataclass(slots=True)
class Run:
    """Rows from one jump of the clock to the next, by their place in the order of taking."""

    start: int
    end: int
    first: int
    last: int
    step: float
    steady: bool

    @property
    def rows(self) -> int:
        """How many rows it has."""
        return self.end - self.start


@dataclass(slots=True)
class Resets:
    """Which rows are refused, shape (n,), and what is said of them."""

    bad: Mask
    notes: list[Note] = field(default_factory=list)


def find_resets(
    time: Ints, face: Ints, lines: Ints, mapping: LogMapping, file: str, prints: Prints | None
) -> Resets:
    """Return the rows whose clock had been reset.

    Parameters
    ----------
    time, face : ndarray of int, shape (n,)
        Rows with a usable time, in the file's order: [s since 1970 UTC], and on the clock's face.
    lines : ndarray of int, shape (n,)
        Their lines.
    mapping : LogMapping
        A run of rows that starts where one of its shifts does is taken as it is then.
    file : str
        Name to show.
    prints : callable, optional
        Returns a number for each row that is the same where all its values are, and 0 where it
        may well differ from another of its time, as a forecast does. Rows that repeat earlier
        ones are no reset. Without it, rows at exactly the times of earlier ones are none.
    """
    none = Resets(np.zeros(len(time), dtype=bool))
    if len(time) < 2:
        return none
    steps = np.diff(time)
    if steps.min() >= 0 and steps.max() <= FAR_S:
        return none
    if (steps < 0).sum() * 2 > len(steps):
        return _newest_first(time, face, lines, mapping, file, prints)
    runs = _runs(time, steps)
    if len(time) / len(runs) < SHUFFLED and len(runs) > 2 * SHUFFLED:
        return none
    return _Judge(time, face, lines, mapping, file, prints).judged(runs)


def _newest_first(
    time: Ints, face: Ints, lines: Ints, mapping: LogMapping, file: str, prints: Prints | None
) -> Resets:
    """Judge a file that was written newest row first, taken from its end."""
    if (np.diff(time) > 0).sum() * SHUFFLED > len(time):
        return Resets(np.zeros(len(time), dtype=bool))
    back: Prints | None = None if prints is None else lambda: prints()[::-1]
    found = find_resets(time[::-1], face[::-1], lines[::-1], mapping, file, back)
    return Resets(found.bad[::-1], found.notes)


def _runs(time: Ints, steps: Ints) -> list[Run]:
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 0.0
    leap = max(LEAP_S, LEAP_STEPS * usual)
    cuts = np.flatnonzero((steps < 0) | (steps > leap)) + 1
    edges = [0, *cuts.tolist(), len(time)]
    runs = []
    for start, end in zip(edges, edges[1:], strict=False):
        inner = steps[start : end - 1]
        step = float(np.median(inner)) if len(inner) else 0.0
        same = np.abs(inner - step) <= SAME_STEP * step
        steady = len(inner) >= STEADY_ROWS - 1 and same.mean() >= STEADY_SHARE
        runs.append(Run(start, end, int(time[start]), int(time[end - 1]), step, bool(steady)))
    return runs


class _Judge:
    """Holds each run of a file against the runs before it."""

    def __init__(
        self,
        time: Ints,
        face: Ints,
        lines: Ints,
        mapping: LogMapping,
        file: str,
        prints: Prints | None,
    ) -> None:
        self.time, self.face, self.lines, self.file = time, face, lines, file
        self.shifts = {s.from_line: s.hours for s in mapping.shifts}
        self.prints = prints
        self.trusted: list[Run] = []
        self.found = Resets(np.zeros(len(time), dtype=bool))

    def judged(self, runs: list[Run]) -> Resets:
        """Return what became of the runs."""
        for i, run in enumerate(runs):
            if self._stated(run) or not (self._lost(i, runs) or self._overlaps(run)):
                self.trusted.append(run)
        return self.found

    def _stated(self, run: Run) -> bool:
        return any(self.lines[run.start] == line for line in self.shifts)

    def _lost(self, i: int, runs: list[Run]) -> bool:
        """Refuse a run far from all others, or one from which the clock came back."""
        run = runs[i]
        others = self.trusted or [r for r in runs[i + 1 :] if r.rows >= STEADY_ROWS]
        if not others:
            return False
        factory = self._factory(run)
        away = min(_between(run, r) for r in others)
        far = away > FAR_S and (bool(self.trusted) or run.rows < STEADY_ROWS)
        if factory and away > FACTORY_FAR_S or far or self._came_back(i, runs):
            self._refuse(run, np.ones(run.rows, dtype=bool))
            return True
        return False

    def _factory(self, run: Run) -> bool:
        """Return whether a run starts on a day that clocks start from."""
        day = np.datetime64(int(self.face[run.start]), "s").astype("M8[D]")
        return str(day) in FACTORY

    def _came_back(self, i: int, runs: list[Run]) -> bool:
        """Return whether the next run goes on where the one before left off, as time passed."""
        if not 0 < i < len(runs) - 1 or not self.trusted or self.trusted[-1] is not runs[i - 1]:
            return False
        before, run, after = runs[i - 1 : i + 2]
        step = before.step or run.step
        if not step or min(before.rows, after.rows) < STEADY_ROWS or after.first < before.last:
            return False
        if not _alike(before.step, after.step) or run.first - before.last in (0, step):
            return False
        passed = after.first - before.last
        return bool(abs(passed - (run.rows + 1) * step) <= step * 0.5)

    def _overlaps(self, run: Run) -> bool:
        """Refuse a steady run whose times lie among those of rows before it."""
        over = [t for t in self.trusted if run.first <= t.last and t.first <= run.last]
        alike = any(t.steady and _alike(run.step, t.step) for t in self.trusted)
        if not over or not run.steady or not alike:
            return False
        times = self.time[run.start : run.end]
        inside = np.zeros(run.rows, dtype=bool)
        for t in over:
            inside |= (times >= t.first) & (times <= t.last)
        if self._repeats(run, inside):
            return False
        back = self.time[run.start - 1] - run.first
        set_right = 0 < back <= SET_S
        self._refuse(run, inside if set_right else np.ones(run.rows, dtype=bool))
        return not set_right

    def _repeats(self, run: Run, inside: Mask) -> bool:
        """Return whether the rows inside earlier ones are those rows once more."""
        earlier = np.concatenate([np.arange(t.start, t.end) for t in self.trusted])
        at = np.flatnonzero(inside) + run.start
        order = earlier[np.argsort(self.time[earlier], kind="stable")]
        place = np.minimum(np.searchsorted(self.time[order], self.time[at]), len(order) - 1)
        twin = order[place]
        same = self.time[twin] == self.time[at]
        whole = run.first == min(t.first for t in self.trusted)  # no reset hits the first row
        if self.prints is None or same.all() and whole:
            return bool(same.all())
        marks = self.prints()
        alike = (marks[twin] == marks[at]) | (marks[twin] == 0) | (marks[at] == 0)
        return bool((same & alike).sum() * 2 > len(at))

    def _refuse(self, run: Run, rows: Mask) -> None:
        """Refuse rows of a run, with a note of how to put their clock right."""
        self.found.bad[run.start : run.end] |= rows
        line, first = int(self.lines[run.start]), _shown(int(self.face[run.start]))
        if not run.start:
            message = f"the logger's clock was not set: it starts at {first}"
            hours = "the hours to add"
        else:
            before = run.start - 1
            message = (
                f"the logger's clock was reset: it jumps from {_shown(int(self.face[before]))} "
                f"to {first}"
            )
            step = int(self._step_before(run))
            moved = (int(self.face[before]) + step - int(self.face[run.start])) / 3600
            hours = f"{moved + self._shift_at(line):.5f}".rstrip("0").rstrip(".")
        message += (
            f"; {int(rows.sum())} rows left out. If it went on without a pause, write "
            f"'shifts: [{{from_line: {line}, hours: {hours}}}]' in the mapping"
        )
        self.found.notes.append(
            Note(self.file, line, message, int(rows.sum()), trouble="clock_reset",
                 first=int(self.time[run.start]), last=int(self.time[run.end - 1]))
        )  # fmt: skip

    def _step_before(self, run: Run) -> float:
        known = [t.step for t in self.trusted if t.step and t.end <= run.start]
        return known[-1] if known else run.step

    def _shift_at(self, line: int) -> float:
        """Return the hours by which the mapping already moves a line."""
        before = [at for at in self.shifts if at <= line]
        return self.shifts[max(before)] if before else 0.0


def _between(a: Run, b: Run) -> int:
    """Return the time between two runs, 0 where they overlap. [s]"""
    return max(b.first - a.last, a.first - b.last, 0)


def _alike(a: float, b: float) -> bool:
    return abs(a - b) <= SAME_STEP * max(a, b)


def _shown(face: int) -> str:
    return str(np.datetime64(face, "s")).replace("T", " ")[:16]
