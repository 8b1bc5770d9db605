"""Tests of our own, where QARTOD has none: what two sensors of one air say of each other.

Wetness against humidity and rain is in `never_changes`, the air under a cover against that
outside in `colder`, the daily pattern against the sun in `day_turned`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from riskrules.logs.judging.colder import colder_than_physics
from riskrules.logs.judging.day_turned import day_turned
from riskrules.logs.judging.never_changes import never_dries, never_wets
from riskrules.logs.judging.qartod import Bools
from riskrules.logs.judging.verdict import Verdicts
from riskrules.logs.readings import Readings
from riskrules.logs.troubles import Trouble
from riskrules.logs.variables import OUTSIDE, Floats
from riskrules.science.air import dew_point_of_vapour_pressure, saturation_vapour_pressure

if TYPE_CHECKING:
    from riskrules.facts.derive import Place

HUMIDITY, DEW_POINT = "relative_humidity", "dew_point_temperature"
WEEK_S = 7 * 86_400


def run(verdicts: Verdicts, outside: Readings | None, place: Place | None) -> None:
    """Run all of our own tests on what was measured, in place, in a fixed order."""
    if verdicts.rows.forecast.all():
        return
    for there in ("", OUTSIDE):
        humidity_drifts(verdicts, HUMIDITY + there)
        against_dew_point(verdicts, there)
        never_dries(verdicts, there)
        never_wets(verdicts, there)
    colder_than_physics(verdicts, outside)
    day_turned(verdicts, place)


def against_dew_point(verdicts: Verdicts, there: str = "") -> None:
    """Doubt humidity and dew point where they contradict each other at the air temperature.

    Nobody knows which is wrong: each becomes the interval from what was measured to what the
    other one implies. ``there`` is the ending of the variables' names.
    """
    air, humid, dew = (n + there for n in ("air_temperature", HUMIDITY, DEW_POINT))
    values = verdicts.values
    if not {air, humid, dew} <= values.keys():
        return
    full = saturation_vapour_pressure(values[air])
    vapour = saturation_vapour_pressure(values[dew])
    implied = 100.0 * vapour / full
    apart = np.abs(implied - values[humid]) > verdicts.limits.own.against_dew_point
    at = np.flatnonzero(apart & ~verdicts.rows.forecast)
    if not len(at):
        return
    implied = implied[at]
    other = dew_point_of_vapour_pressure(full[at] * values[humid][at] / 100.0)
    other = np.where(np.isnan(other), -np.inf, other)  # no dew point in air without any vapour

    def message(i: int) -> str:
        return (
            f"{humid} is {values[humid][i]:g}; expected about "
            f"{100.0 * vapour[i] / full[i]:.0f} %, by a dew point of {values[dew][i]:g} degC"
        )

    verdicts.doubt(humid, at, Trouble.AGAINST_DEW_POINT, message, implied, implied)
    verdicts.doubt(dew, at, Trouble.AGAINST_DEW_POINT, message, other, other)


def humidity_drifts(verdicts: Verdicts, name: str) -> None:
    """Doubt humidity over weeks in which its highest reading creeps up and ends above 100."""
    raw = verdicts.rows.values.get(name)
    if raw is None or not (raw > 100.0).any():
        return
    at = verdicts.usable(name)
    if not len(at):
        return
    own = verdicts.limits.own
    week = (verdicts.rows.time[at] - verdicts.rows.time[at[0]]) // WEEK_S
    begins = np.flatnonzero(np.diff(week, prepend=-1))
    top = np.maximum.reduceat(raw[at], begins)
    drifts = _creeping(top, int(own.creep_weeks), own.creep_rise)
    if not drifts.any():
        return
    chosen = np.repeat(drifts, np.diff(np.append(begins, len(at))))
    first, last = top[drifts][0], top[drifts][-1]

    def message(i: int) -> str:
        shown = f"{name} creeps up from {first:g} to {last:g} as the highest of a week"
        return f"{shown}; expected at most 100 %"

    verdicts.doubt(name, at[chosen], Trouble.ABOVE_100, message)


def _creeping(top: Floats, weeks: int, rise: float) -> Bools:
    """Return the weeks whose highest humidity creeps up to above 100."""
    found = np.zeros(len(top), dtype=bool)
    for end in range(weeks, len(top) + 1):
        part = top[end - weeks : end]
        if (np.diff(part) >= 0).all() and part[-1] - part[0] >= rise and part[-1] > 100.0:
            found[end - weeks : end] = True
    return found
