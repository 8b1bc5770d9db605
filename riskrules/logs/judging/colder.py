"""Air under a cover that is colder than physics allows."""

from __future__ import annotations

import numpy as np

from riskrules.logs.judging.qartod import Bools
from riskrules.logs.judging.verdict import Verdicts
from riskrules.logs.readings import Ints, Readings
from riskrules.logs.troubles import Trouble
from riskrules.logs.variables import OUTSIDE, Floats

AIR = "air_temperature"


def colder_than_physics(verdicts: Verdicts, outside: Readings | None) -> None:
    """Doubt temperatures under a cover that lie too far below those outside.

    On clear nights plastic lets heat out, and the air under it may be a little colder than that
    outside; by more, one of the two sensors is wrong. The value becomes an interval up to the
    coldest that the outside allows. The outside is the column of the same log where there is
    one, else ``outside``; it is judged before anything is held against it.
    """
    if verdicts.rows.placed != "under_cover" or AIR not in verdicts.values:
        return
    allowed = verdicts.limits.own.colder_than_outside
    least = _outside(verdicts, outside) - allowed
    at = np.flatnonzero(_colder(verdicts, least))
    if len(at) and outside is not None and AIR + OUTSIDE not in verdicts.values:
        from riskrules.logs.judge import judge

        least = _outside(verdicts, judge(outside, verdicts.limits)) - allowed
        at = np.flatnonzero(_colder(verdicts, least))

    def message(i: int) -> str:
        shown = f"{AIR} is {verdicts.values[AIR][i]:g} under the cover"
        return f"{shown}; expected at least {least[i]:.1f}, by the air outside"

    verdicts.doubt(AIR, at, Trouble.COLDER_THAN_PHYSICS, message, high=least[at])


def _colder(verdicts: Verdicts, least: Floats) -> Bools:
    own = verdicts.high.get(AIR, verdicts.values[AIR])
    return (own < least) & ~verdicts.rows.forecast


def _outside(verdicts: Verdicts, outside: Readings | None) -> Floats:
    """Return the least that the outside air can be at each row; NaN where nobody knows."""
    rows = verdicts.rows
    none = np.full(len(rows), np.nan)
    name = AIR + OUTSIDE
    if name in verdicts.values:
        return verdicts.low.get(name, verdicts.values[name])
    if outside is None:
        return none
    there = name if name in outside.values else AIR
    if there not in outside.values:
        return none
    low = outside.least(there)
    known = np.flatnonzero(~np.isnan(low) & ~outside.forecast)
    if not len(known):
        return none
    return _beside(rows.time, outside.time[known], low[known], 2 * max(outside.step, rows.step))


def _beside(time: Ints, there: Ints, low: Floats, reach: int) -> Floats:
    """Return the lower of the readings before and after each time, if both are close enough."""
    after = np.searchsorted(there, time, side="left")
    right = np.minimum(after, len(there) - 1)
    exact = there[right] == time
    left = np.where(exact, right, np.maximum(after - 1, 0))
    inside = exact | ((after > 0) & (after < len(there)))
    inside &= there[right] - there[left] <= reach
    return np.where(inside, np.minimum(low[left], low[right]), np.nan)
