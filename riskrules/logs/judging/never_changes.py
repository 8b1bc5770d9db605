"""A wetness sensor that never dries, or never wets, though the air says that it should.

A sensor found dead says nothing over the whole stretch in which it showed one side: it may have
died at its beginning. Where readings are missing, a fault counts as lasting on through the hole
(``seen_share`` in ``limits.yaml``): taking readings away must not make a sensor honest.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from riskrules.logs.judging.qartod import Bools
from riskrules.logs.judging.verdict import Verdicts
from riskrules.logs.readings import Ints
from riskrules.logs.troubles import Trouble
from riskrules.logs.variables import OUTSIDE, Floats

HUMIDITY = "relative_humidity"
WETNESS, RAIN = "surface_wetness", "thickness_of_rainfall_amount"


class _Stretches(NamedTuple):
    """Unbroken stretches of values on one side, and the rows around each.

    ``start`` and ``stop`` index ``at``, the rows with a value. The rows from ``first`` up to
    ``last`` reach to the next value of the other side, whether those between have one or not.
    """

    at: Ints
    start: Ints
    stop: Ints
    first: Ints
    last: Ints

    def rows(self, chosen: Bools) -> list[Ints]:
        """Return the rows with a value of some stretches."""
        pairs = zip(self.start[chosen], self.stop[chosen], strict=True)
        return [self.at[int(a) : int(b)] for a, b in pairs]


class _Hours:
    """Hours of rows, summed up over stretches of them."""

    def __init__(self, verdicts: Verdicts) -> None:
        time, step = verdicts.rows.time, verdicts.rows.step
        whole = np.diff(time, prepend=time[0] - step) / 3600.0
        measured = ~verdicts.rows.forecast
        self.each = np.minimum(whole, 1.5 * step / 3600.0) * measured
        """How long each row stands for, at most one and a half usual steps. [h]"""
        self.absent = (whole - self.each) * measured
        """What no row covers before each. [h]"""

    def over(self, rows: Bools, first: Ints, last: Ints) -> Floats:
        """Return the hours of some rows from ``first`` up to ``last``."""
        running = np.concatenate(([0.0], np.cumsum(self.each * rows)))
        return running[last] - running[first]

    def possible(self, rows: Bools, first: Ints, last: Ints) -> Floats:
        """Return the same with all that no row covers, which may have been either."""
        running = np.concatenate(([0.0], np.cumsum(self.absent)))
        beyond = np.minimum(last + 1, len(self.absent))
        return self.over(rows, first, last) + running[beyond] - running[first]


def never_dries(verdicts: Verdicts, there: str = "") -> None:
    """Refuse the stretches in which a wetness sensor stays wet through hours of dry air.

    Hours with rain do not count. ``there`` is the ending of the variables' names.
    """
    name, own = WETNESS + there, verdicts.limits.own
    if not {name, HUMIDITY + there} <= verdicts.values.keys():
        return
    is_wet = verdicts.values[name] >= own.wet_from
    dry_air = _ends(verdicts, HUMIDITY + there)[1] < own.never_dries_below
    if not (is_wet & dry_air).any():
        return
    unknown = np.isnan(verdicts.values[HUMIDITY + there])
    for rain in (RAIN, RAIN + OUTSIDE):
        if rain in verdicts.values:
            dry_air &= ~(_ends(verdicts, rain)[1] > 0)
    found, hours = _stretches(verdicts, name, is_wet), _Hours(verdicts)
    seen = hours.over(dry_air & is_wet, found.first, found.last)
    possible = hours.possible(dry_air | unknown, found.first, found.last)
    long = _lasts(seen, possible, own.never_dries_hours, own.seen_share)
    why = f"air below {own.never_dries_below:g} % dries it within {own.never_dries_hours:g} h"
    _refuse(verdicts, name, found.rows(long), Trouble.NEVER_DRIES, why)


def never_wets(verdicts: Verdicts, there: str = "") -> None:
    """Refuse the stretches in which a wetness sensor stays dry through rain or saturated air.

    Rain counts only for a sensor in the open: under a cover it wets nothing. Air must be
    saturated for long in a row.
    """
    name, own = WETNESS + there, verdicts.limits.own
    if name not in verdicts.values:
        return
    value = verdicts.values[name]
    is_dry = value < own.dry_below
    saturated, open_air = _saturated(verdicts, there)
    raining = _raining(verdicts, there)
    if not ((saturated | raining) & is_dry).any():
        return
    found, hours = _stretches(verdicts, name, is_dry), _Hours(verdicts)
    dead = hours.over(raining & is_dry, found.first, found.last) >= own.never_wets_rain_hours
    first, last = _runs_of((is_dry | np.isnan(value)) & open_air & ~verdicts.rows.forecast)
    seen = hours.over(saturated & is_dry, first, last)
    possible = hours.possible(open_air, first, last)
    long = _lasts(seen, possible, own.never_wets_hours, own.seen_share)
    inside = np.searchsorted(found.first, last[long] - 1, side="right") - 1
    dead[inside[inside >= 0]] = True
    why = f"rain, or {own.never_wets_hours:g} h of saturated air, wets it in the end"
    _refuse(verdicts, name, found.rows(dead), Trouble.NEVER_WETS, why)


def _saturated(verdicts: Verdicts, there: str) -> tuple[Bools, Bools]:
    """Return where air was surely saturated, and where it may have been for all that is known."""
    none = np.zeros(len(verdicts.rows), dtype=bool)
    if HUMIDITY + there not in verdicts.values:
        return none, none
    low, _ = _ends(verdicts, HUMIDITY + there)
    saturated = low >= verdicts.limits.own.never_wets_from
    return saturated, saturated | np.isnan(low)


def _raining(verdicts: Verdicts, there: str) -> Bools:
    """Return the rows in which rain surely fell on the sensor, at the stated rate at least."""
    found = np.zeros(len(verdicts.rows), dtype=bool)
    gauges = [r for r in (RAIN, RAIN + OUTSIDE) if r in verdicts.values]
    if not gauges or not (there or verdicts.rows.placed == "outside"):
        return found
    hours = np.maximum(_Hours(verdicts).each, 1e-9)
    for rain in gauges:
        found |= _ends(verdicts, rain)[0] / hours >= verdicts.limits.own.never_wets_rain
    return found & ~verdicts.rows.forecast


def _lasts(seen: Floats, possible: Floats, hours: float, share: float) -> Bools:
    return np.asarray((possible >= hours - 1e-9) & (seen >= share * hours - 1e-9))


def _ends(verdicts: Verdicts, name: str) -> tuple[Floats, Floats]:
    value = verdicts.values[name]
    return verdicts.low.get(name, value), verdicts.high.get(name, value)


def _stretches(verdicts: Verdicts, name: str, side: Bools) -> _Stretches:
    at = verdicts.usable(name)
    start, stop = _runs_of(side[at])
    measured = np.flatnonzero(~verdicts.rows.forecast)
    before = np.concatenate(([measured[0] - 1], at))  # by one more than its index
    after = np.concatenate((at, [measured[-1] + 1]))
    return _Stretches(at, start, stop, before[start] + 1, after[stop])


def _runs_of(true: Bools) -> tuple[Ints, Ints]:
    """Return where each run of true ones starts, and where it stops (not included)."""
    padded = np.concatenate(([False], true, [False]))
    turns = np.flatnonzero(padded[1:] != padded[:-1]).astype(np.int64)
    return turns[::2], turns[1::2]


def _refuse(verdicts: Verdicts, name: str, found: list[Ints], trouble: Trouble, why: str) -> None:
    if not found:
        return
    first = len(found[0])

    def message(i: int) -> str:
        return f"{name} is {verdicts.values[name][i]:g} and on one side for {first} rows; {why}"

    verdicts.fail(name, np.concatenate(found), trouble, message)
