"""Picks, the gaps between them, and water run near them."""

from __future__ import annotations

import numpy as np

from riskrules.facts.build import Builder, Context, Triple, sure_times, times
from riskrules.facts.cells import Bools
from riskrules.facts.kinds import AIR, LONG_H, Cause
from riskrules.facts.spans import Spans
from riskrules.facts.table import FactTable
from riskrules.logs.events import Event
from riskrules.logs.readings import Ints
from riskrules.science.keeping import keeping_rate_bounds

HOUR_S = 3600
UNSAID_END_S = 3600
"""How long a pick takes whose end nobody wrote down. [s] (assumption)"""
LONGEST_WARM_S = 48 * HOUR_S
"""Fruit of which no cooling is recorded is followed for this long. [s] (assumption)"""
FASTEST_DECLINE = 40.0
"""Rate of decline that stands for 'no upper bound is published'. [1] (assumption)"""


def picks_of(c: Context) -> list[Event]:
    """Return picks done, and those planned that are still to come."""
    return [e for e in c.of("pick") if e.what == "done" or e.time >= c.now]


def end_of(pick: Event) -> int:
    """Return when a pick ended. [s]"""
    return pick.end if pick.end is not None else pick.time + UNSAID_END_S


def to_next_pick(c: Context, end: tuple[Ints, Ints]) -> Triple:
    """Return hours from each end to the next pick recorded or planned.

    Where none follows, it is no sooner than the journal reaches, and may be any time later.
    """
    n = len(end[0])
    starts = times(sorted({e.time for e in picks_of(c)}))
    cause = np.full(n, int(Cause.NO_JOURNAL), dtype=np.int64)
    open_h = np.maximum(min(c.journal_until, c.now) - end[1], 0) / HOUR_S
    if not len(starts):
        return open_h, np.full(n, LONG_H), cause
    first = np.searchsorted(starts, end[0], side="left")
    last = np.searchsorted(starts, end[1], side="left")  # a late end meets a later pick
    until = len(starts) - 1
    least = np.maximum(starts[np.minimum(first, until)] - end[1], 0) / HOUR_S
    most = (starts[np.minimum(last, until)] - end[0]) / HOUR_S
    found = first <= until
    return np.where(found, least, open_h), np.where(last <= until, most, LONG_H), cause


def irrigations(c: Context) -> FactTable:
    """Derive runs of water with their distance to the last and the next pick, and to dark."""
    runs = c.of("irrigation")
    start = times([e.time for e in runs])
    end = times([e.end if e.end is not None else e.time for e in runs])
    b = Builder(c, "irrigation", sure_times(start), sure_times(end), [e.what for e in runs])
    unsaid = np.array([e.end is None for e in runs], dtype=bool)
    hours = (end - start) / HOUR_S
    no_end = np.full(len(runs), int(Cause.NO_JOURNAL), dtype=np.int64)
    b.put("hours", (hours, np.where(unsaid, 240.0, hours), no_end))
    b.put("to_next_pick", to_next_pick(c, (end, end)))
    b.put("since_last_pick", _since(times([end_of(e) for e in c.of("pick")
                                           if e.what == "done"]), start, c))  # fmt: skip
    dark, night = _dark(c, start, end)
    b.put("to_dark", (np.where(unsaid, 0, dark), dark, no_end))
    b.put("night_run", (night, np.where(unsaid, 1, night), no_end))
    b.put("temperature", b.spans.mean("air_temperature", AIR))
    b.put("straw", Spans(c.cells, start, np.maximum(end, start + 1)).all_of(c.truths["straw"]))
    words = [e.what.split() for e in runs]
    b.table.words["method"] = [w[0] for w in words]
    b.table.words["depth"] = [w[1] if len(w) > 1 else "unknown" for w in words]
    return b.done()


def _since(ends: Ints, start: Ints, c: Context) -> Triple:
    """Return hours from the last of some events to each start.

    Where there is none, it is longer ago than the first thing in the journal.
    """
    ends = np.sort(ends)
    first = min((e.time for e in c.events), default=c.now)
    at = np.searchsorted(ends, start, side="right") - 1
    found = at >= 0
    n = len(start)
    cause = np.full(n, int(Cause.NO_JOURNAL), dtype=np.int64)
    open_h = np.maximum(start - first, 0) / HOUR_S
    if not len(ends):
        return open_h, np.full(n, LONG_H), cause
    past = (start - ends[np.maximum(at, 0)]) / HOUR_S
    return np.where(found, past, open_h), np.where(found, past, LONG_H), cause


def _dark(c: Context, start: Ints, end: Ints) -> tuple[np.ndarray, np.ndarray]:
    """Return hours from an end to the next sunset (0 by night), and whether it ran by night."""
    ups, downs = c.sunrise[c.sunrise >= 0], c.sunset[c.sunset >= 0]
    if not len(downs):
        return np.zeros(len(end)), np.zeros(len(end))
    following = downs[np.minimum(np.searchsorted(downs, end), len(downs) - 1)]
    rises = ups[np.minimum(np.searchsorted(ups, end), len(ups) - 1)]
    by_day = following < rises
    dark = np.where(by_day, np.maximum(following - end, 0) / HOUR_S, 0.0)
    dusk = downs[np.minimum(np.searchsorted(downs, start), len(downs) - 1)]
    return np.minimum(dark, 24), (~by_day | (dusk < end)).astype(float)


def pick_gaps(c: Context) -> FactTable:
    """Derive the gaps between picks; the last one runs until now, or until the planned pick."""
    done = [e for e in c.of("pick") if e.what == "done" and e.time <= c.now]
    planned = [e for e in c.of("pick") if e.what == "planned" and e.time >= c.now]
    start = times([end_of(e) for e in done])
    following = [e.time for e in done[1:]]
    last = planned[0].time if planned else c.now
    end = np.maximum(times([*following, last] if done else []), start)
    opened = np.zeros(len(done), dtype=bool)
    opened[-1:] = True
    until = max(min(c.journal_until, c.now), 0)
    least_end = np.where(opened & (not planned), np.minimum(np.maximum(until, start), end), end)
    b = Builder(c, "pick_gap", sure_times(start), (least_end, end))
    cause = np.full(len(done), int(Cause.NO_JOURNAL), dtype=np.int64)
    b.put("hours", ((least_end - start) / HOUR_S, (end - start) / HOUR_S, cause))
    sure = Spans(c.cells, start, least_end)
    for name, condition in (("warm_hours", "warm"), ("hot_hours", "hot"), ("wet_hours", "wet")):
        truth = c.truths[condition]
        low = sure.total(c.cells.hours * truth.sure)
        _, high, why = b.spans.hours_of(truth)
        b.put(name, (low, high, why | np.where(least_end < end, cause, 0)))
    low_rain = c.rain(sure)[0]
    b.put("rain", (low_rain, c.rain(b.spans)[1], np.full(len(b), int(Cause.NO_RAIN))))
    b.put("mean_temperature", _mean_of_gap(b, least_end < end))
    b.exact("open", opened.astype(float))
    b.basis()
    return b.done()


def _mean_of_gap(b: Builder, may_end_sooner: Bools) -> Triple:
    """Return the mean temperature; of a gap that may have ended sooner, only its limits."""
    low, high, cause = b.spans.mean("air_temperature", AIR)
    least, most = (f("air_temperature", AIR)[i] for i, f in enumerate(
        (b.spans.lowest, b.spans.highest)))  # fmt: skip
    why = cause | np.where(may_end_sooner, int(Cause.NO_JOURNAL), 0)
    return np.where(may_end_sooner, least, low), np.where(may_end_sooner, most, high), why


def picks(c: Context) -> FactTable:
    """Derive picks: how wet the plants were before, and how warm the fruit stayed after."""
    events = picks_of(c)
    start = times([e.time for e in events])
    end = times([end_of(e) for e in events])
    b = Builder(c, "pick", sure_times(start), sure_times(end), [e.what for e in events])
    back = start - int(c.shared["before_pick"] * HOUR_S)
    before = Spans(c.cells, back, start)
    b.put("wet_hours_before", before.hours_of(c.truths["wet"]))
    low, high, cause = c.rain(before)
    b.put("rain_before", (low, high, cause))
    b.put("wet_at_start", Spans(c.cells, start, start + 1).any_of(c.truths["wet"]))
    b.put("temperature", b.spans.mean("air_temperature", AIR))
    deep = [e for e in c.of("irrigation") if e.what.endswith("deep") and e.time <= c.now]
    ends = times([e.end if e.end is not None else e.time for e in deep])
    b.put("since_deep_water", _since(ends, start, c))
    _cooling(c, b, events)
    b.table.words["state"] = [e.what for e in events]
    b.basis()
    return b.done()


def _cooling(c: Context, b: Builder, events: list[Event]) -> None:
    """Add how long and how warm the fruit lay between pick and cooler."""
    start = b.table.start[0]
    cooled = np.array(sorted(e.time for e in c.of("cooled")), dtype=np.int64)
    following = np.append(start[1:], start[-1:] + LONGEST_WARM_S)
    at = np.searchsorted(cooled, start)
    until = cooled[np.minimum(at, len(cooled) - 1)] if len(cooled) else start
    limit = np.minimum(start + LONGEST_WARM_S, np.maximum(following, start + 1))
    found = (at < len(cooled)) & (until <= limit) if len(cooled) else np.zeros(len(start), bool)
    latest = np.where(found, until, np.minimum(start + LONGEST_WARM_S, max(c.now, 0)))
    latest = np.maximum(latest, start)
    ahead = start >= c.now
    code = np.where(ahead, int(Cause.NOT_YET), int(Cause.NO_JOURNAL))
    hours = (latest - start) / HOUR_S
    b.put("to_cooling", (np.where(found, hours, 0), np.where(found, hours, 999.0), code))
    spans = Spans(c.cells, start, latest)
    warm = c.truths["warm"]
    low, high, cause = spans.hours_of(warm)
    most = np.where(found, high, np.where(ahead, 999.0, high))
    b.put("warm_hours_after", (np.where(found, low, 0), most, cause | code))
    low_air, high_air = c.cells.ends("air_temperature")
    slow = keeping_rate_bounds(low_air)[0]
    fast = keeping_rate_bounds(high_air)[1]
    life = c.shared["keeping_days"] * 24
    used_low = spans.total(np.where(np.isnan(low_air), 0, slow) * c.cells.hours) / life
    capped = np.minimum(np.nan_to_num(fast, nan=FASTEST_DECLINE, posinf=FASTEST_DECLINE), 99)
    used_high = (spans.total(capped * c.cells.hours) + spans.beyond * FASTEST_DECLINE) / life
    used_high = np.where(ahead, 99.0, used_high)
    why = cause | code | spans.open_causes("air_temperature")
    unpublished = np.where(why == 0, int(Cause.OUT_OF_RANGE), why)
    b.put("life_used", (np.where(found, used_low, 0), used_high, unpublished))
