"""Spells: row cover on, sides down, rain, and days in a row that are hot or warm."""

from __future__ import annotations

import numpy as np

from riskrules.facts.build import MOST_RAIN_RATE, Builder, Context, Triple, all_through
from riskrules.facts.cells import Truth
from riskrules.facts.cold import put_critical
from riskrules.facts.kinds import AIR, Cause
from riskrules.facts.picks import to_next_pick
from riskrules.facts.spans import Spans, core_and_rest
from riskrules.facts.table import FactTable
from riskrules.logs.variables import Floats

DAY_S = 86_400
DAYS_IN_A_ROW_S = 20 * 3600
"""A break shorter than this, one night, joins two days. [s] (assumption)"""


def _core_hours(b: Builder, core: Spans, truth: Truth) -> Triple:
    """Return hours of a condition: in the sure core at least, in the whole at most."""
    hours = b.context.cells.hours
    least = core.total(hours * truth.sure)
    ends = b.table.cause.get("hours", b.table.cause.get("days", 0))
    return least, b.spans.total(hours * truth.maybe), b.spans.cause_of(truth) | ends


def _begin(c: Context, kind: str, truth: Truth, gap_s: float) -> tuple[Builder, Spans]:
    start, end, core = core_and_rest(c.cells, truth, gap_s)
    b = Builder(c, kind, start, end)
    cause = b.spans.cause_of(truth)
    b.put("exists", ((~core.empty).astype(float), np.ones(len(b)), cause))
    b.put("hours", _core_hours(b, core, truth))
    return b, core


def _over_core(b: Builder, core: Spans, name: str, variable: str, highest: bool) -> None:
    """Add an extreme: of the core at least surely reached, of the whole at most."""
    if highest:
        least = core.highest(variable, AIR)[0]
        _, most, cause = b.spans.highest(variable, AIR)
    else:
        most = core.lowest(variable, AIR)[1]
        least, _, cause = b.spans.lowest(variable, AIR)
    cause = cause | b.table.cause["hours"] | b.table.cause["exists"]
    b.put(name, (np.where(core.empty & highest, AIR[0], least),
                 np.where(core.empty & (not highest), AIR[1], most), cause))  # fmt: skip


def cover_spells(c: Context) -> FactTable:
    """Derive the stretches with the row cover on."""
    covered = c.truths["covered"]
    b, core = _begin(c, "cover_spell", covered, 0)
    b.put("humid_hours", _core_hours(b, core, covered & c.truths["humid"]))
    b.put("wet_hours", _core_hours(b, core, covered & c.truths["wet"]))
    _over_core(b, core, "lowest_temperature", "air_temperature", highest=False)
    _over_core(b, core, "lowest_outside", "air_temperature_outside", highest=False)
    put_critical(b, ("outside_margin", "lowest_outside"))
    b.basis()
    return b.done()


def shut_spells(c: Context) -> FactTable:
    """Derive the stretches with the sides of the tunnel down."""
    shut = c.truths["shut"]
    b, core = _begin(c, "shut_spell", shut, 0)
    for name, other in (("humid_hours", "humid"), ("wet_hours", "wet"), ("hot_hours", "hot")):
        b.put(name, _core_hours(b, core, shut & c.truths[other]))
    _over_core(b, core, "highest_temperature", "air_temperature", highest=True)
    b.basis()
    return b.done()


def rain_spells(c: Context) -> FactTable:
    """Derive stretches of rain, with their amount and highest rate of a log step."""
    rain = c.cells.rain()
    low_rate = np.nan_to_num(rain.low)
    high_rate = np.nan_to_num(rain.high, nan=MOST_RAIN_RATE)
    cause = np.full(len(c.cells), int(Cause.NO_RAIN), dtype=np.int64)
    cause |= np.where(c.cells.forecast, int(Cause.NOT_YET), 0)
    raining = Truth(low_rate > 0, high_rate > 0, cause)
    b, core = _begin(c, "rain_spell", raining, c.shared["join_rain_gap"] * 3600)
    least = core.total(low_rate * c.cells.hours)
    b.put("rain", (least, c.rain(b.spans)[1], b.spans.cause_of(raining)))
    peak = core.reduce(np.maximum, low_rate, 0)
    most = b.spans.reduce(np.maximum, high_rate, MOST_RAIN_RATE)
    b.put("peak_rate", (np.where(core.empty, 0, peak), most, b.spans.cause_of(raining)))
    low, high = _air_of(b, core, raining)
    b.put("temperature", (low, high, b.spans.open_causes("air_temperature")
                          | b.spans.cause_of(raining)))  # fmt: skip
    b.put("to_next_pick", to_next_pick(c, b.table.end))
    b.put("straw", all_through(b, core, c.truths["straw"]))
    b.put("under_film", all_through(b, core, c.truths["filmed"]))
    b.basis()
    return b.done()


def _air_of(b: Builder, core: Spans, truth: Truth) -> tuple[Floats, Floats]:
    """Return bounds of the mean temperature: exact where the core is all there is."""
    low, high, _ = core.mean("air_temperature", AIR)
    least = b.spans.lowest("air_temperature", AIR)[0]
    most = b.spans.highest("air_temperature", AIR)[1]
    open_h = b.spans.total(b.context.cells.hours * (truth.maybe & ~truth.sure)) > 0
    return np.where(open_h | core.empty, least, low), np.where(open_h | core.empty, most, high)


def heat_spells(c: Context, day: FactTable) -> FactTable:
    """Derive days in a row that each had ``hot_day_hours`` hot hours."""
    limit = c.shared["hot_day_hours"]
    b, core = _day_runs(
        c, "heat_spell", day, day.least["hot_hours"] >= limit, day.most["hot_hours"] >= limit,
        day.cause["hot_hours"],
    )  # fmt: skip
    b.put("hot_hours", _core_hours(b, core, c.truths["hot"]))
    return b.done()


def warm_spells(c: Context, day: FactTable) -> FactTable:
    """Derive days in a row whose mean from sunrise to sunset reaches ``flowering_limit``."""
    spans = Spans(c.cells, day.start[0], day.end[1])
    low, high, cause = spans.mean("air_temperature", AIR)
    limit = c.shared["flowering_limit"]
    b, _ = _day_runs(c, "warm_spell", day, low >= limit, high >= limit, cause)
    return b.done()


def _day_runs(
    c: Context, kind: str, day: FactTable, sure: object, maybe: object, cause: object
) -> tuple[Builder, Spans]:
    """Join days into runs; count them, and add the heat of the days and of their nights."""
    over = _over_days(c, day, np.asarray(sure), np.asarray(maybe), np.asarray(cause))
    start, end, core = core_and_rest(c.cells, over, DAYS_IN_A_ROW_S)
    b = Builder(c, kind, start, end)
    why = b.spans.cause_of(over)
    b.put("exists", ((~core.empty).astype(float), np.ones(len(b)), why))
    sure_day, maybe_day = np.asarray(sure), np.asarray(maybe)
    core0, core1 = c.cells.edges[core.i0], c.cells.edges[core.i1]
    b.put("days", (_count(day, sure_day, core0, core1),
                   _count(day, maybe_day, start[0], end[1]), why))  # fmt: skip
    low = core.highest("air_temperature", AIR)[0]
    _, high, missing = b.spans.highest("air_temperature", AIR)
    b.put("highest_temperature", (np.where(core.empty, AIR[0], low), high, missing | why))
    b.put("night_mean", _night_mean(c, b, core, why))
    b.basis()
    return b, core


def _over_days(
    c: Context, day: FactTable, sure: np.ndarray, maybe: np.ndarray, cause: np.ndarray
) -> Truth:
    n = len(c.cells)
    truth = Truth(np.zeros(n, bool), np.zeros(n, bool), np.zeros(n, dtype=np.int64))
    i0, i1 = c.cells.at(day.start[0]), c.cells.at(day.end[1])
    for k in np.flatnonzero(maybe):
        truth.sure[i0[k] : i1[k]] = sure[k]
        truth.maybe[i0[k] : i1[k]] = True
        truth.cause[i0[k] : i1[k]] = cause[k]
    return truth


def _count(day: FactTable, which: np.ndarray, start: np.ndarray, end: np.ndarray) -> Floats:
    """Count the days of a sort that lie within each span."""
    mids = (day.start[0][which] + day.end[1][which]) // 2
    found = np.searchsorted(mids, end) - np.searchsorted(mids, start)
    return np.asarray(np.maximum(found, 0), dtype=float)


def _night_mean(c: Context, b: Builder, core: Spans, why: np.ndarray) -> Triple:
    """Return the mean temperature of the nights within a run and of the one after it."""
    dark = c.truths["night"].sure * c.cells.hours
    rises = c.sunrise[c.sunrise >= 0]
    last = c.cells.edges[core.i1]
    at = np.minimum(np.searchsorted(rises, last), len(rises) - 1)
    after = rises[at] if len(rises) else last
    nights = Spans(c.cells, c.cells.edges[core.i0], np.maximum(after, last))
    hours = nights.total(dark)
    t = b.table
    none = (hours == 0) | core.empty | (t.start[0] < t.start[1]) | (t.end[0] < t.end[1])
    bounds = []
    for limit, value in zip(AIR, c.cells.within("air_temperature", AIR), strict=True):
        mean = nights.total(value * dark) / np.maximum(hours, 1e-9)
        bounds.append(np.where(none, limit, mean))
    cause = nights.open_causes("air_temperature") | why
    return bounds[0], bounds[1], np.where(cause == 0, int(Cause.NOT_YET), cause)
