"""What is done about short gaps of a log: nothing, or filled in, marked, and wide enough."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from riskrules.facts.kinds import Cause
from riskrules.logs.limits import Limits, true_ends
from riskrules.logs.readings import PER_VALUE, Ints, Readings, missing_cause
from riskrules.logs.troubles import Flag, Origin
from riskrules.logs.variables import Floats

SMOOTH = (
    "air_temperature",
    "relative_humidity",
    "dew_point_temperature",
    "soil_temperature",
)
"""Variables that go from one value to the next without a jump; rain and wetness do not."""
HOUR_S = 3600


def fill_gaps(rows: Readings, hours: float, limits: Limits) -> Readings:
    """Fill gaps of up to some hours by a straight line, each value as wide as it may be wrong.

    Parameters
    ----------
    rows : Readings
        Judged. Only measured rows are filled, and only between two usable values.
    hours : float
        Longest time between the two usable values. [h]
    limits : Limits
        ``filled_per_hour`` of each variable says how far the truth may be from the line for each
        hour to the nearer usable value; a variable without one is not filled.

    Returns
    -------
    Readings
        Rows that were absent are added at the usual step. A filled value has the origin FILLED
        and the cause FILLED, and ends ``width * hours to the nearer value`` below and above,
        with those of the doubted neighbours beside.
    """
    if hours <= 0 or len(rows) < 2:
        return rows
    widths = {n: limits.of(n, rows.placed).filled_per_hour for n in rows.values}
    names = [n for n, width in widths.items() if width is not None and _base(n) in SMOOTH]
    if not names or not _has_gap(rows, names):
        return rows
    whole = _with_absent_rows(rows, int(hours * HOUR_S))
    for name in names:
        _fill(whole, name, int(hours * HOUR_S), widths[name] or 0.0)
    return _without_empty(whole, len(rows))


def _base(name: str) -> str:
    return name.removesuffix("_outside")


def _has_gap(rows: Readings, names: list[str]) -> bool:
    if (np.diff(rows.time) > 1.5 * rows.step).any():
        return True
    return any(np.isnan(rows.values[n]).any() for n in names)


def _with_absent_rows(rows: Readings, longest: int) -> Readings:
    """Return a copy with the rows that are absent from short gaps added, all values missing."""
    measured = np.flatnonzero(~rows.forecast)
    time = rows.time[measured]
    between = np.diff(time)
    short = np.flatnonzero((between > 1.5 * rows.step) & (between <= longest))
    new = [np.arange(time[i] + rows.step, time[i + 1] - rows.step // 2, rows.step) for i in short]
    added = np.concatenate(new).astype(np.int64) if new else np.zeros(0, dtype=np.int64)
    added = np.setdiff1d(added, rows.time)
    n = len(added)
    order = np.argsort(np.concatenate([rows.time, added]), kind="stable")

    def more(column: Ints | Floats, fill: float) -> Ints | Floats:
        tail = np.full(n, fill, dtype=column.dtype)
        return np.concatenate([column, tail])[order]

    empty = {"values": np.nan, "low": np.nan, "high": np.nan, "flags": int(Flag.MISSING)}
    made: dict[str, object] = {
        part: {
            name: more(c, int(missing_cause(name)) if part == "cause" else empty.get(part, 0))
            for name, c in getattr(rows, part).items()
        }
        for part in PER_VALUE
    }
    made["time"] = np.concatenate([rows.time, added])[order]
    made["forecast"] = np.concatenate([rows.forecast, np.zeros(n, dtype=bool)])[order]
    for name, fill in (("line", 0), ("source", -1), ("spans", rows.step)):
        column = getattr(rows, name)
        if len(column) == len(rows.time):
            made[name] = more(column, fill)
    return replace(rows, **made)  # type: ignore[arg-type]


def _fill(rows: Readings, name: str, longest: int, width: float) -> None:
    """Fill the short gaps of one variable, in place."""
    value = rows.values[name]
    known = np.flatnonzero(~np.isnan(value) & ~rows.forecast)
    gone = np.flatnonzero(np.isnan(value) & ~rows.forecast)
    after = np.searchsorted(known, gone)
    inside = (after > 0) & (after < len(known))
    gone, after = gone[inside], after[inside]
    left, right = known[after - 1], known[after]
    short = rows.time[right] - rows.time[left] <= longest
    gone, left, right = gone[short], left[short], right[short]
    if not len(gone):
        return
    t = rows.time
    part = (t[gone] - t[left]) / (t[right] - t[left])
    away = width * np.minimum(t[gone] - t[left], t[right] - t[gone]) / HOUR_S
    least, most = true_ends(name)
    low, high = rows.least(name).copy(), rows.most(name).copy()
    line = value[left] + part * (value[right] - value[left])
    below = np.maximum(value - low, 0)
    above = np.maximum(high - value, 0)
    low[gone] = np.maximum(line - away - np.maximum(below[left], below[right]), least)
    high[gone] = np.minimum(line + away + np.maximum(above[left], above[right]), most)
    filled = value.copy()
    filled[gone] = line
    cause, origin = rows.cause[name].copy(), rows.origin.get(name)
    origin = np.zeros(len(value), dtype=np.uint8) if origin is None else origin.copy()
    cause[gone], origin[gone] = int(Cause.FILLED), int(Origin.FILLED)
    rows.values[name], rows.low[name], rows.high[name] = filled, low, high
    rows.cause[name], rows.origin[name] = cause, origin
    if name in rows.flags:
        flags = rows.flags[name].copy()
        flags[gone] = int(Flag.NOT_EVALUATED)
        rows.flags[name] = flags


def _without_empty(rows: Readings, before: int) -> Readings:
    """Leave out added rows in which nothing could be filled."""
    if len(rows) == before or not len(rows.line):
        return rows
    added = rows.source < 0 if len(rows.source) else np.zeros(len(rows), dtype=bool)
    some = np.zeros(len(rows), dtype=bool)
    for column in rows.values.values():
        some |= ~np.isnan(column)
    keep = some | ~added
    return rows if keep.all() else rows.only(keep)
