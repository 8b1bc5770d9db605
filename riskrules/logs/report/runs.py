"""Stretches of a log in which something is missing or doubted, few enough to draw."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from riskrules.errors import RiskRulesError
from riskrules.logs.readings import Ints, Readings, Small
from riskrules.logs.report import ABSENT, STATES, Run
from riskrules.logs.troubles import Flag, Origin

MOST_RUNS = 500
"""Stretches of one state that a drawing of one variable gets; more are joined. (assumption)"""
_STATE_OF = np.full(256, 255, dtype=np.uint8)
for _flag, _state in ((Flag.PASS, 0), (Flag.NOT_EVALUATED, 1), (Flag.SUSPECT, 2), (Flag.FAIL, 3),
                      (Flag.MISSING, 4)):  # fmt: skip
    _STATE_OF[_flag] = _state


def states(rows: Readings, name: str) -> Small:
    """Return the state of each value of a variable, as its number in ``STATES``, shape (n,).

    Raises
    ------
    RiskRulesError
        If the readings were not judged, or a flag contradicts its value.
    """
    where = f"{rows.sensor or ', '.join(rows.files[:1])}: {name}"
    if name not in rows.flags:
        raise RiskRulesError(f"{where} was not judged; expected a flag for each value")
    found = _STATE_OF[rows.flags[name]]
    if name in rows.origin:
        there = ~np.isnan(rows.values[name])
        found = np.where(there & (rows.origin[name] == Origin.FILLED), 5, found)
        found = np.where(there & (rows.origin[name] == Origin.BORROWED), 6, found)
    if (found == 255).any():
        flag = int(rows.flags[name][int(np.argmax(found == 255))])
        raise RiskRulesError(f"{where} has the flag {flag}; expected 1, 2, 3, 4 or 9")
    gone = np.isnan(rows.values[name])
    odd = gone != ((found == 3) | (found == 4))
    if odd.any():
        at = int(np.argmax(odd))
        message = f"{where} is {rows.values[name][at]} and {STATES[found[at]]}; row {at}"
        raise RiskRulesError(message)
    return np.asarray(found, dtype=np.uint8)


def spans_of(rows: Readings) -> Ints:
    """Return how long before its time each row stands for, shape (n,). [s]"""
    if len(rows.spans) == len(rows):
        return rows.spans
    return np.full(len(rows), rows.step, dtype=np.int64)


def absent_runs(rows: Readings) -> tuple[Run, ...]:
    """Return the stretches between two rows that no row covers; steps are as after the stretch."""
    if len(rows) < 2:
        return ()
    spans = np.maximum(spans_of(rows), 1)
    start = rows.time[1:] - spans[1:]
    hole = start - rows.time[:-1]
    at = np.flatnonzero(2 * hole >= spans[1:])
    steps = np.maximum(np.rint(hole[at] / spans[1:][at]), 1).astype(np.int64)
    return _joined(rows.time[:-1][at], start[at], ABSENT, steps)


def state_runs(rows: Readings, state: Small) -> tuple[Run, ...]:
    """Return the stretches in which values are suspect, failed, missing, filled or borrowed."""
    if not len(rows):
        return ()
    start = rows.time - spans_of(rows)
    start[1:] = np.maximum(start[1:], rows.time[:-1])  # a step never reaches back beyond a row
    new = np.concatenate(([True], (state[1:] != state[:-1]) | (start[1:] > rows.time[:-1])))
    first = np.flatnonzero(new)
    last = np.concatenate((first[1:], [len(rows)])) - 1
    found: list[Run] = []
    for number in range(2, len(STATES)):
        some = state[first] == number
        a, z = first[some], last[some]
        found += _joined(start[a], rows.time[z], STATES[number], z - a + 1)
    return tuple(sorted(found, key=lambda run: (run.start, run.state)))


def _joined(start: Ints, end: Ints, state: str, count: npt.NDArray[np.int64]) -> tuple[Run, ...]:
    """Join the stretches of a state that begin in one of ``MOST_RUNS`` equal parts of all."""
    if len(start) > MOST_RUNS:
        part = (start - start[0]) * MOST_RUNS // (end[-1] - start[0] + 1)
        first = np.concatenate(([0], np.flatnonzero(np.diff(part)) + 1))
        last = np.concatenate((first[1:], [len(start)])) - 1
        count = np.add.reduceat(count, first)
        start, end = start[first], end[last]
    pairs = zip(start.tolist(), end.tolist(), count.tolist(), strict=True)
    return tuple(Run(a, z, state, n) for a, z, n in pairs)
