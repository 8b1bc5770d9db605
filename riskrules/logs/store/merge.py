"""Readings of several files of one sensor as one: what was written later wins, value by value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from riskrules.logs.readings import PER_VALUE, Ints, Readings
from riskrules.logs.store.parts import DTYPES, absent_cause, usual_cause
from riskrules.logs.troubles import Flag
from riskrules.logs.variables import Floats

Mask = npt.NDArray[np.bool_]


def step_of(versions: Sequence[tuple[int, int]]) -> int:
    """Return the usual step [s] of files given as (step, rows): that of most rows.

    One row alone shows no step; its file counts only where there is no other.

    Examples
    --------
    >>> step_of([(3600, 1), (600, 20), (900, 20)])
    600
    """
    rows: dict[int, int] = {}
    for step, n in versions:
        rows[step] = rows.get(step, 0) + max(n - 1, 0)
    most = max(rows.values(), default=0)
    return min((step for step, n in rows.items() if n == most), default=0)


def merge(pieces: Sequence[Readings], step: int, sensor: str) -> Readings:
    """Return the readings of several files as one.

    Parameters
    ----------
    pieces : sequence of Readings
        In the order in which they win: the last one goes before all others.
    step : int
        The usual step of them all. [s]

    Returns
    -------
    Readings
        One row a time. ``files`` are those of all pieces in order, a name as often as it came;
        ``line`` and ``source`` are those of the file that says most recently something of the
        row.
    """
    if not pieces:
        none = np.zeros(0, dtype=np.int64)
        return Readings(none, step, {}, {}, none.astype(bool), sensor=sensor)
    if len(pieces) == 1:
        whole = pieces[0]
        whole.step, whole.sensor = step, sensor
        return whole
    whole = _joined(pieces, step, sensor)
    rank = np.repeat(np.arange(len(pieces)), [len(p) for p in pieces])
    if len(whole) and not (np.diff(whole.time) > 0).all():
        whole = whole.only(np.lexsort((rank, ~whole.forecast, whole.time)))
        if (np.diff(whole.time) == 0).any():
            whole = _settled(whole)
    return whole


def _joined(pieces: Sequence[Readings], step: int, sensor: str) -> Readings:
    """Return the pieces one after the other, each with all variables."""
    joined = Readings(
        np.concatenate([p.time for p in pieces]), step, {}, {},
        np.concatenate([p.forecast for p in pieces]),
        tuple(f for p in pieces for f in p.files),
        [n for p in pieces for n in p.notes],
        sum(p.rows_read for p in pieces),
        tallies=tuple(t for p in pieces for t in p.tallies),
        sensor=sensor, placed=pieces[-1].placed,
    )  # fmt: skip
    _place_rows(joined, pieces)
    for field in PER_VALUE:
        for name in dict.fromkeys(n for p in pieces for n in getattr(p, field)):
            getattr(joined, field)[name] = np.concatenate([_one(p, field, name) for p in pieces])
    return joined


def _place_rows(joined: Readings, pieces: Sequence[Readings]) -> None:
    """Set line, source and span of each row, where any of the pieces has them."""
    counts = np.concatenate(([0], np.cumsum([len(p.files) for p in pieces])))
    spanned = any(len(p.spans) for p in pieces) or len({p.step for p in pieces if len(p) > 1}) > 1
    traced = any(len(p.line) for p in pieces)
    sourced = traced or any(len(p.source) for p in pieces)
    if traced:
        joined.line = np.concatenate([_or_fill(p.line, len(p), 0) for p in pieces])
    if sourced:
        at = [_or_fill(p.source, len(p), 0) + int(c) for p, c in zip(pieces, counts, strict=False)]
        joined.source = np.concatenate(at)
    if spanned:
        steps = [p.step if len(p) > 1 else joined.step for p in pieces]
        joined.spans = np.concatenate(
            [_or_fill(p.spans, len(p), s) for p, s in zip(pieces, steps, strict=True)]
        )


def _or_fill(column: Ints, n: int, value: int) -> Ints:
    return column if len(column) == n else np.full(n, value, dtype=np.int64)


def _one(piece: Readings, field: str, name: str) -> Any:
    """Return a piece's column, or what stands in where the file has none."""
    column = getattr(piece, field).get(name)
    if column is not None:
        return column
    n = len(piece)
    value = piece.values.get(name, np.full(n, np.nan))
    if field in ("values", "low", "high"):
        return value
    if field == "cause":
        return usual_cause(value, name)
    return np.full(n, Flag.NOT_EVALUATED if field == "flags" else 0, dtype=DTYPES[field])


def says(rows: Readings, name: str) -> Mask:
    """Return which rows say something of a variable: a value, or that the cell is bad.

    A cell that is merely empty says nothing, so that an older value stays.
    """
    value: Floats = rows.values[name]
    empty = np.isnan(value) & (rows.cause[name] & ~absent_cause(name) == 0)
    if name in rows.reasons:
        empty &= rows.reasons[name] == 0
    if name in rows.low:
        empty &= np.isnan(rows.low[name])
    return np.asarray(~empty)


@dataclass(slots=True)
class _Groups:
    """Rows of one time stand together, the one that goes before all others last."""

    starts: Ints
    ends: Ints
    counts: Mask

    def last_of(self, which: Mask) -> Ints:
        """Return the last row of each group that is among some, -1 where none is."""
        index = np.where(which & self.counts, np.arange(len(which)), -1)
        return np.maximum.reduceat(index, self.starts)


def _settled(rows: Readings) -> Readings:
    starts = np.flatnonzero(np.concatenate(([True], np.diff(rows.time) != 0)))
    ends = np.concatenate((starts[1:], [len(rows)])) - 1
    sizes = ends - starts + 1
    # Measured rows stand last in their group: a forecast counts only where there is none.
    groups = _Groups(starts, ends, ~rows.forecast | np.repeat(rows.forecast[ends], sizes))
    chosen = {name: groups.last_of(says(rows, name)) for name in rows.values}
    row = np.maximum.reduce([*chosen.values(), np.full(len(starts), -1)])
    settled = rows.only(np.where(row < 0, ends, row))
    for field in PER_VALUE:
        for name, column in getattr(rows, field).items():
            picked = chosen[name]
            getattr(settled, field)[name] = column[np.where(picked < 0, ends, picked)]
    return settled
