"""The part of the plant at risk from cold, its critical temperature, and what lies ahead."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from riskrules.facts.build import Builder, Context, Triple, sure_times
from riskrules.facts.cells import Truth
from riskrules.facts.kinds import AIR, LONG_H, Cause
from riskrules.facts.stages import ALL, codes
from riskrules.facts.table import FactTable
from riskrules.logs.readings import Ints
from riskrules.logs.variables import Floats
from riskrules.science.cold import part_at_risk

FRESH_S = 3600
"""A reading older than this no longer says what it is now. [s] (assumption)"""


@lru_cache(maxsize=4096)
def _critical(sure: int, maybe: int) -> tuple[str, float, float]:
    """Return part, least and most critical temperature for bits of stages.

    The warmest critical temperature among the parts present counts. Where no stage is recorded
    it may be any; guards take the most, which is that of open blossom (assumption).
    """
    assumed = part_at_risk([])
    most = assumed if maybe == ALL else part_at_risk(codes(maybe))
    if sure:
        return most.part, min(part_at_risk(codes(sure)).critical, most.critical), most.critical
    coldest = min(part_at_risk([code]).critical for code in codes(maybe))
    return most.part, min(coldest, most.critical), most.critical


def critical_columns(
    sure: Ints, maybe: Ints, with_parts: bool = True
) -> tuple[list[str], Floats, Floats]:
    """Return part, least and most critical temperature for columns of stage bits. [degC]"""
    if not len(sure):
        return [], np.zeros(0), np.zeros(0)
    new = np.concatenate(([True], (sure[1:] != sure[:-1]) | (maybe[1:] != maybe[:-1])))
    run = np.cumsum(new) - 1
    found = [_critical(int(sure[i]), int(maybe[i])) for i in np.flatnonzero(new)]
    parts = [found[i][0] for i in run.tolist()] if with_parts else []
    return parts, np.array([f[1] for f in found])[run], np.array([f[2] for f in found])[run]


def cold_truth(c: Context) -> Truth:
    """Return where the air at the plants is below the critical temperature of the part at risk."""
    sure, maybe = c.stages
    _, least, most = critical_columns(sure, maybe, with_parts=False)
    low, high = c.cells.ends("air_temperature")
    opened = c.cells.opened("air_temperature")
    stage = np.where(least < most, int(Cause.NO_STAGE), 0)
    cause = np.where(opened, c.cells.why("air_temperature") | stage, int(Cause.NO_STAGE))
    return Truth(high < least, np.isnan(low) | (low < most), cause)


def put_critical(b: Builder, *margins: tuple[str, str]) -> None:
    """Add the critical temperature, the part, and margins ``(name, of which temperature)``."""
    t = b.table
    parts, least, most = critical_columns(t.stages_sure, t.stages_possible)
    if "part" in t.kind.words:
        t.words["part"] = parts
    no_stage = np.full(len(b), int(Cause.NO_STAGE), dtype=np.int64)
    if t.kind.quantity("critical_temperature"):
        b.put("critical_temperature", (least, most, no_stage))
    for name, of in margins:
        cause = t.cause[of] | np.where(least < most, no_stage, 0)
        b.put(name, (t.least[of] - most, t.most[of] - least, cause))


def cold_watch(c: Context) -> FactTable:
    """Derive what a job that opens, lifts or wets would expose the plants to.

    One fact: the last readings inside and outside, and the lowest outside temperature from now
    over ``cold_ahead`` hours; without a forecast that is unknown.
    """
    ahead = c.now + int(c.shared["cold_ahead"] * 3600)
    b = Builder(c, "cold_watch", sure_times([c.now]), sure_times([ahead]))
    b.put("outside_ahead", b.spans.lowest("air_temperature_outside", AIR))
    for name, variable in (
        ("outside_now", "air_temperature_outside"),
        ("inside_now", "air_temperature"),
    ):
        ends = _last(c, variable)
        if ends is None:
            b.unknown(name, Cause.NO_OUTSIDE if "outside" in name else Cause.NO_TEMPERATURE)
        else:
            b.put(name, ends)
    stage = int(c.cells.at([c.now])[0]) - 1
    sure, maybe = c.stages
    if 0 <= stage < len(sure):
        b.table.stages_sure = sure[stage : stage + 1]
        b.table.stages_possible = maybe[stage : stage + 1]
    put_critical(b)
    b.put("until_safe", _until_safe(c, b))
    return b.done()


def _until_safe(c: Context, b: Builder) -> Triple:
    """Return hours until the outside stays ``lift_margin`` above the critical temperature.

    Looks over the hours ahead only; unknown where any of them has no forecast.
    """
    ahead = slice(int(b.spans.i0[0]), int(b.spans.i1[0]))
    low, high = (end[ahead] for end in c.cells.ends("air_temperature_outside"))
    needed = b.table.most["critical_temperature"][0] + c.shared["lift_margin"]
    cause = b.spans.open_causes("air_temperature_outside")
    if not len(low) or np.isnan(low).any():
        return np.zeros(1), np.full(1, LONG_H), cause | int(Cause.NO_OUTSIDE)

    def wait(value: Floats) -> Floats:
        cold = np.flatnonzero(value < needed)
        if not len(cold):
            return np.zeros(1)
        if cold[-1] == len(value) - 1:
            return np.full(1, LONG_H)
        return np.array([(c.cells.edges[ahead.start + cold[-1] + 1] - c.now) / 3600])

    return wait(high), wait(low), cause


def _last(c: Context, name: str) -> Triple | None:
    """Return bounds of the last measured value that is still fresh at 'now', or None."""
    low, high = c.cells.ends(name)
    known = np.flatnonzero(~np.isnan(low) & ~c.cells.forecast)
    if not len(known) or c.now - c.cells.edges[known[-1] + 1] > FRESH_S:
        return None
    at = known[-1:]
    return low[at], high[at], c.cells.why(name)[at]
