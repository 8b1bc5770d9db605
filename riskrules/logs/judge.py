"""Judge readings: a flag and its reasons for every value, by QARTOD and by tests of our own.

A failed value becomes unknown. A suspect one becomes an interval that spans what it says and
what speaks against it, so that a fact made of it says no more than is known.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from riskrules.logs.judging import own_tests, qartod
from riskrules.logs.judging.verdict import Verdicts
from riskrules.logs.limits import Limit, Limits, load_limits
from riskrules.logs.readings import Ints, Readings
from riskrules.logs.troubles import Flag, Trouble
from riskrules.logs.variables import VARIABLES, Floats

if TYPE_CHECKING:
    from riskrules.facts.derive import Place

HUMIDITY = "relative_humidity"
SATURATED = 100.0
"""Humidity of saturated air. [%]"""
HAIR = 1e-6
"""So little above 100 comes from converting units. [%]"""
GRID = 48
"""Into so many steps the flat-line window is cut at most. (assumption)"""


def judge(
    rows: Readings,
    limits: Limits | None = None,
    outside: Readings | None = None,
    place: Place | None = None,
) -> Readings:
    """Return the readings with every value judged.

    Parameters
    ----------
    rows : Readings
        In time order. Those that were judged already are returned as they are.
    limits : Limits, optional
        By default the shipped ones.
    outside : Readings, optional
        Of the outside air, to find readings that are colder than physics allows.
    place : Place, optional
        Latitude and longitude tell night from day, to find a clock of a wrong zone.

    Returns
    -------
    Readings
        With ``flags`` and ``reasons`` of every variable, ``low`` and ``high`` of those that have
        a suspect value, and a note for each kind of trouble. The worst flag wins and all reasons
        are kept. Forecast rows are not evaluated, but for what cannot be true at all.
    """
    if rows.flags and rows.flags.keys() >= rows.values.keys():
        return rows
    verdicts = Verdicts(rows, limits or load_limits())
    for name in sorted(rows.values):
        limit = verdicts.limits.of(name, rows.placed)
        _range(verdicts, name, limit)
        _flat(verdicts, name, limit)
        _change(verdicts, name, limit)
    own_tests.run(verdicts, outside, place)
    return verdicts.readings()


def _range(verdicts: Verdicts, name: str, limit: Limit) -> None:
    """Refuse what cannot be, forecast or not, and doubt what hardly ever is."""
    humid = name.removesuffix("_outside") == HUMIDITY
    if humid:
        _saturated(verdicts, name)
    value = verdicts.values[name]
    at = np.flatnonzero(~np.isnan(value))
    flags = qartod.gross_range(value[at], limit.fail_span, limit.suspect_span)
    if (flags == Flag.PASS).all():
        return
    wrong = at[flags == Flag.FAIL]
    above = wrong[value[wrong] > SATURATED] if humid else wrong[:0]
    _mark_range(verdicts, name, above, Flag.FAIL, Trouble.ABOVE_100, (0.0, SATURATED))
    wrong = np.setdiff1d(wrong, above)
    _mark_range(verdicts, name, wrong, Flag.FAIL, Trouble.IMPOSSIBLE, limit.fail_span)
    odd = at[(flags == Flag.SUSPECT) & ~verdicts.rows.forecast[at]]
    span = limit.suspect_span or limit.fail_span
    _mark_range(verdicts, name, odd, Flag.SUSPECT, Trouble.UNLIKELY, span)


def _mark_range(
    verdicts: Verdicts, name: str, at: Ints, flag: Flag, trouble: Trouble,
    span: tuple[float, float],
) -> None:  # fmt: skip
    unit = VARIABLES[name.removesuffix("_outside")].unit

    def message(i: int) -> str:
        value = verdicts.rows.values[name][i]
        return f"{name} is {value:g}; expected {span[0]:g} to {span[1]:g} {unit}"

    (verdicts.fail if flag == Flag.FAIL else verdicts.doubt)(name, at, trouble, message)


def _saturated(verdicts: Verdicts, name: str) -> None:
    """Set humidity a little above 100 to 100: an interval that is as wide below as it was above.

    So far above is a sensor's error, and of a forecast none at all. More is for the range test.
    """
    value = verdicts.values[name]
    if not (value > SATURATED).any():
        return
    limit = verdicts.limits.of(name, verdicts.rows.placed)
    near = (value > SATURATED) & (value <= limit.fail_span[1])
    at = np.flatnonzero(near & (value > SATURATED + HAIR) & ~verdicts.rows.forecast)
    low = 2 * SATURATED - value[at] - limit.doubt
    verdicts.put(name, np.flatnonzero(near), SATURATED)

    def message(i: int) -> str:
        return f"{name} is {verdicts.rows.values[name][i]:g}; expected 0 to 100 %"

    verdicts.doubt(name, at, Trouble.ABOVE_100, message, low, np.full(len(at), SATURATED))


def _flat(verdicts: Verdicts, name: str, limit: Limit) -> None:
    """Refuse values that stand still for long, from the first one on.

    QARTOD's test counts values and flags them from the end of the first window on. But time is
    what tells, a gap must not make a bad sensor honest, and the beginning of a run that turns
    out to be stuck is stuck too. So each run is laid on an even grid over the time for which it
    may have stood still (up to the next reading that differs, or the end of the log), its holes
    bridged, and where the test flags any of it the whole run is refused. A run of which less
    than ``seen_share`` of the stated time was seen is let off: else every reading beside a
    long gap would be stuck.
    """
    at = verdicts.usable(name)
    if limit.flat_hours is None or len(at) < 2:
        return
    value, window = verdicts.values[name][at], limit.flat_hours * 3600
    starts, ends = qartod.runs(value, limit.flat_tolerance)
    below = np.inf if limit.flat_below is None else limit.flat_below
    found: list[Ints] = []
    for k in _may_be_flat(verdicts, at, starts, ends, window):
        part = slice(starts[k], ends[k] + 1)
        span = _possible(verdicts, at, int(starts[k]), int(ends[k]))
        if value[part].min() < below and _is_flat(verdicts, at[part], value[part], span, limit):
            found.append(at[part])
    if found:
        first = len(found[0])

        def message(i: int) -> str:
            shown = f"{name} stays at {verdicts.values[name][i]:g} for {first} rows"
            return f"{shown}; a stuck sensor"

        verdicts.fail(name, np.concatenate(found), Trouble.STUCK, message)


def _may_be_flat(
    verdicts: Verdicts, at: Ints, starts: Ints, ends: Ints, window: float
) -> list[int]:
    """Return the runs that were seen long enough, and with their holes may fill the window."""
    time = verdicts.rows.time
    seen = time[at[ends]] - time[at[starts]]
    enough = (ends > starts) & (seen >= verdicts.limits.own.seen_share * window)
    found = []
    for k in np.flatnonzero(enough).tolist():
        first, last = _possible(verdicts, at, int(starts[k]), int(ends[k]))
        if last - first >= window:
            found.append(k)
    return found


def _possible(verdicts: Verdicts, at: Ints, start: int, end: int) -> tuple[int, int]:
    """Return from when to when a run of values may have lasted. [s]

    From the first row, seen or not, after the reading before it; where rows are absent, from a
    step after that reading. The same at its end.
    """
    time, step = verdicts.rows.time, verdicts.rows.step
    measured = np.flatnonzero(~verdicts.rows.forecast)
    if start:
        first = min(int(time[at[start - 1] + 1]), int(time[at[start - 1]]) + step)
    else:
        first = int(time[measured[0]])
    if end + 1 < len(at):
        last = max(int(time[at[end + 1] - 1]), int(time[at[end + 1]]) - step)
    else:
        last = int(time[measured[-1]])
    return min(first, int(time[at[start]])), max(last, int(time[at[end]]))


def _is_flat(
    verdicts: Verdicts, at: Ints, value: Floats, span: tuple[int, int], limit: Limit
) -> bool:
    """Let QARTOD judge a run on an even grid over the time for which it may have lasted."""
    window = int((limit.flat_hours or 0) * 3600)
    step = max(verdicts.rows.step, window // GRID, 1)
    if 2 * step > window:
        return False
    grid = np.arange(span[0], span[1] + 1, step)
    held = np.searchsorted(verdicts.rows.time[at], grid, side="right") - 1
    even = value[np.maximum(held, 0)]
    flags = qartod.flat_line(step, even, window, window, limit.flat_tolerance)
    return bool((flags == Flag.FAIL).any())


def _change(verdicts: Verdicts, name: str, limit: Limit) -> None:
    """Doubt spikes, and then, of what is left, values that changed too fast.

    Either is an interval that spans the neighbours as well, with the stated doubt beside.
    """
    at = verdicts.usable(name)
    if limit.spike is not None and len(at) > 2:
        out = qartod.spike(verdicts.values[name][at], limit.spike) == Flag.SUSPECT
        _mark_change(verdicts, name, at, np.flatnonzero(out), limit, Trouble.SPIKE)
        at = at[~out]
    if limit.rate_per_hour is not None and len(at) > 1:
        value, time = verdicts.values[name][at], verdicts.rows.time[at]
        flags = qartod.rate_of_change(time, value, limit.rate_per_hour, least=limit.rate_least)
        fast = np.flatnonzero(flags == Flag.SUSPECT)
        _mark_change(verdicts, name, at, fast, limit, Trouble.JUMP)


def _mark_change(
    verdicts: Verdicts, name: str, at: Ints, found: Ints, limit: Limit, trouble: Trouble
) -> None:
    if not len(found):
        return
    value = verdicts.values[name][at]
    before, own = value[found - 1], value[found]
    after = value[found + 1] if trouble == Trouble.SPIKE else own
    said = dict(zip(at[found].tolist(), zip(before, own, after, strict=True), strict=True))

    def message(i: int) -> str:
        a, x, b = said[i]
        beside = f"{a:g} before and {b:g} after" if trouble == Trouble.SPIKE else f"{a:g} before"
        return f"{name} is {x:g}; expected a smaller change from {beside}"

    low = np.minimum(np.minimum(before, own), after) - limit.doubt
    high = np.maximum(np.maximum(before, own), after) + limit.doubt
    verdicts.doubt(name, at[found], trouble, message, low, high)
