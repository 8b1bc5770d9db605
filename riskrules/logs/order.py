"""Rows in order of time, one a time, each with the span that it stands for."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.facts.kinds import Cause
from riskrules.logs.readings import PER_ROW, Bits, Ints, Note, Readings, missing_cause
from riskrules.logs.troubles import Trouble, name_of
from riskrules.logs.variables import Floats

RUN_GAPS = 6
"""Equal gaps, one after the other, that make a new log step. (assumption)"""
LONGEST_STEP_S = 3 * 3600
"""Longest gap that can be a new log step. [s] (assumption)"""
CLOSE = 1.5
"""A gap of up to so many steps has no hole in it, as in `facts.cells`. (assumption)"""
SAME = 0.1
"""Steps that differ by less than this share are one and the same. (assumption)"""

Mask = npt.NDArray[np.bool_]


def tidy(rows: Readings, file: str, lines: Ints | None = None) -> Readings:
    """Put rows in time order, settle times that stand twice, and find the usual step.

    ``lines`` are the rows' lines in the file, where the readings have none of their own.
    """
    if lines is not None and not len(rows.line):
        rows = replace(rows, line=np.asarray(lines, dtype=np.int64))
    back = np.diff(rows.time) < 0
    if back.any():
        at = int(np.argmax(back)) + 1
        line = int(rows.line[at]) if len(rows.line) else at + 2
        message = "the clock runs back here; rows were put in order of time"
        rows.notes.append(
            Note(file, line, message, int(back.sum()), doubts=False,
                 first=int(rows.time[at]), last=int(rows.time[at]))
        )  # fmt: skip
        rows = rows.only(np.argsort(rows.time, kind="stable"))
    same = np.diff(rows.time) == 0
    if same.any():
        rows = _settle_twins(rows, same, file)
    gaps = np.diff(rows.time)
    rows.step = int(np.median(gaps)) if len(gaps) else 3600
    return rows


def _settle_twins(rows: Readings, same: Mask, file: str) -> Readings:
    """Keep one row a time: a value that all agree on, else unknown; measured before forecast."""
    first = np.concatenate(([True], ~same))
    group, starts = np.cumsum(first) - 1, np.flatnonzero(first)
    measured = np.logical_or.reduceat(~rows.forecast, starts)
    left = rows.forecast & measured[group]
    _note_twins(rows, ~first, file)
    new: dict[str, Any] = {n: c[starts] for n in PER_ROW if len(c := getattr(rows, n)) == len(rows)}
    values: dict[str, Floats] = {}
    cause: dict[str, Ints] = {}
    reasons: dict[str, Bits] = {}
    for name, column in rows.values.items():
        usable = np.where(left, np.nan, column)
        low, high = np.fmin.reduceat(usable, starts), np.fmax.reduceat(usable, starts)
        differ = low < high
        value = np.where(differ, np.nan, low)
        gone = np.isnan(value)
        unknown = np.bitwise_or.reduceat(np.where(left, 0, rows.cause[name]), starts)
        absent = np.where(unknown == 0, int(missing_cause(name)), unknown)
        values[name] = value
        clash = np.where(differ, int(Cause.DISAGREE), 0).astype(np.int64)
        cause[name] = np.where(gone, absent, 0) | clash
        own = rows.reasons.get(name, np.zeros(len(rows), dtype=np.uint32))
        why = np.bitwise_or.reduceat(np.where(left, 0, own).astype(np.uint32), starts)
        why = np.where(gone, why, 0) | np.where(differ, int(Trouble.DISAGREE), 0)
        reasons[name] = why.astype(np.uint32)
        if differ.any():
            _note_clash(rows, name, differ, (low, high), starts, file)
    new |= {"values": values, "cause": cause, "forecast": ~measured}
    return replace(rows, **new, reasons=reasons if rows.reasons or _any(reasons) else {})


def _any(reasons: dict[str, Bits]) -> bool:
    return any(bits.any() for bits in reasons.values())


def _note_twins(rows: Readings, twin: Mask, file: str) -> None:
    at = np.flatnonzero(twin)
    line = int(rows.line[at].min()) if len(rows.line) else 0
    message = "another row has the time of this one; rows of one time were merged"
    rows.notes.append(
        Note(file, line, message, len(at), doubts=False, trouble=name_of(Trouble.REPEATED),
             first=int(rows.time[at[0]]), last=int(rows.time[at[-1]]))
    )  # fmt: skip


def _note_clash(
    rows: Readings, name: str, differ: Mask, ends: tuple[Floats, Floats], starts: Ints, file: str
) -> None:
    at = np.flatnonzero(differ)
    lines = rows.line[starts[at]] if len(rows.line) else np.zeros(len(at), dtype=np.int64)
    shown = at[int(np.argmin(lines))]
    message = (
        f"{name} is {ends[0][shown]:g} and {ends[1][shown]:g} in rows of one time; "
        "expected one value. Kept as unknown"
    )
    rows.notes.append(
        Note(file, int(lines.min()), message, len(at), trouble=name_of(Trouble.DISAGREE),
             variable=name, first=int(rows.time[starts[at[0]]]),
             last=int(rows.time[starts[at[-1]]]))
    )  # fmt: skip


def spread(rows: Readings, file: str, stamp: str = "end") -> Readings:
    """Return readings with the span of each row, where the log step changes; times as its end.

    A gap that comes RUN_GAPS times or more on end and is no longer than LONGEST_STEP_S is a log
    step of its own; every other gap is held against the step of the rows before it, so that a
    hole stays a hole. With ``stamp`` "start" each row's time is moved to the end of its step.
    """
    gaps = np.diff(rows.time)
    steps, runs = _steps(gaps, rows.step)
    changes = np.flatnonzero(np.abs(np.diff(steps)) > SAME * steps[:-1])
    if len(changes):
        _note_change(rows, steps, int(changes[0]) + 1, len(changes), file)
    if not len(changes) and stamp == "end":
        return rows
    close = runs | (gaps <= CLOSE * steps)
    spans = np.where(close, gaps, steps).astype(np.int64)
    edge = np.array([rows.step if not len(steps) else steps[-1 if stamp == "start" else 0]])
    if stamp == "end":
        return replace(rows, spans=np.concatenate((edge, spans)).astype(np.int64))
    spans = np.concatenate((spans, edge)).astype(np.int64)
    return replace(rows, time=rows.time + spans, spans=spans)


def _steps(gaps: Ints, usual: int) -> tuple[Ints, Mask]:
    """Return the log step that holds at each gap, and which gaps belong to a run of equal ones."""
    if not len(gaps):
        return gaps, np.zeros(0, dtype=bool)
    starts = np.flatnonzero(np.concatenate(([True], gaps[1:] != gaps[:-1])))
    lengths = np.diff(np.concatenate((starts, [len(gaps)])))
    good = (lengths >= RUN_GAPS) & (gaps[starts] <= LONGEST_STEP_S)
    if not good.any():
        return np.full(len(gaps), usual, dtype=np.int64), np.zeros(len(gaps), dtype=bool)
    last = np.maximum.accumulate(np.where(good, np.arange(len(starts)), -1))
    last[last < 0] = int(np.argmax(good))  # rows before the first run have its step
    return np.repeat(gaps[starts[last]], lengths), np.repeat(good, lengths)


def _note_change(rows: Readings, steps: Ints, at: int, count: int, file: str) -> None:
    line = int(rows.line[at + 1]) if len(rows.line) else 0
    message = (
        f"the log step changes here from {steps[at - 1] / 60:g} to {steps[at] / 60:g} minutes; "
        "each row stands for its own"
    )
    when = int(rows.time[at + 1])
    rows.notes.append(Note(file, line, message, count, doubts=False, first=when, last=when))
