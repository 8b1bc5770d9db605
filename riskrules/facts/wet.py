"""Wet periods, and the windows in which what they started would show or ripen."""

from __future__ import annotations

import numpy as np

from riskrules.facts.build import Builder, Context, all_through
from riskrules.facts.cells import Bools, Cells, Shared, Truth
from riskrules.facts.kinds import AIR, Cause
from riskrules.facts.picks import to_next_pick
from riskrules.facts.reached import BoundsOf, highest_reached, moments
from riskrules.facts.spans import Spans, core_and_rest
from riskrules.facts.table import FactTable
from riskrules.logs.events import Event
from riskrules.logs.readings import Ints
from riskrules.logs.variables import Floats
from riskrules.science.anthracnose_fruit import fruit_infection_bounds
from riskrules.science.gray_mold_flower import flower_infection_bounds
from riskrules.science.leather_rot import leather_rot_bounds

DAY_S = 86_400
LONGEST_RUN_S = 24 * 3600
"""Overhead water of which no end is written down may have run for this long. [s] (assumption)"""
MODELS: tuple[tuple[str, BoundsOf, tuple[float, float]], ...] = (
    ("flower_index", flower_infection_bounds, (5.0, 30.0)),
    ("fruit_index", fruit_infection_bounds, (4.0, 30.0)),
    ("leather_level", leather_rot_bounds, (6.0, 30.0)),
)
"""Each index of a wet period, with the temperatures for which its model says something. [degC]"""


def wet_truth(
    cells: Cells, states: dict[str, Truth], events: list[Event], shared: Shared
) -> tuple[Truth, Bools]:
    """Return where plants are wet, and in which cells a wetness sensor says so.

    A sensor's word stands, and where it is missing nothing else can say what it would have said.
    Without a sensor, and ahead of 'now', humidity stands in: surely wet from
    ``wet_humidity_sure``, surely dry below ``wet_humidity_possible``, doubtful between
    (assumption). Rain and overhead water wet plants that no film covers.
    """
    felt = cells.ends("surface_wetness")
    has_sensor = ~np.isnan(felt[0])
    low, high = cells.ends("relative_humidity")
    gone = np.isnan(low)
    sure = low >= shared["wet_humidity_sure"]
    maybe = gone | (high >= shared["wet_humidity_possible"])
    doubt = np.full(len(cells), int(Cause.DOUBTFUL_BAND), dtype=np.int64)
    why = np.where(cells.opened("relative_humidity"), cells.why("relative_humidity"), 0)
    cause = np.where(gone, why, doubt | why)
    guess = Truth(sure, maybe, cause) | _watered(cells, states, events, shared)
    felt_sure = felt[0] >= shared["sensor_wet"]
    felt_maybe = felt[1] >= shared["sensor_dry"]
    opened = np.where(cells.opened("surface_wetness"), cells.why("surface_wetness"), 0)
    if "surface_wetness" in cells.values:
        silent = ~has_sensor & ~cells.forecast
        why = np.where(silent, cells.why("surface_wetness"), guess.cause)
        guess = Truth(guess.sure & ~silent, guess.maybe | silent, why)
    truth = Truth(
        np.where(has_sensor, felt_sure, guess.sure),
        np.where(has_sensor, felt_maybe | felt_sure, guess.maybe),
        np.where(has_sensor, doubt | opened, guess.cause),
    )
    return truth, has_sensor


def _watered(cells: Cells, states: dict[str, Truth], events: list[Event], shared: Shared) -> Truth:
    """Return where rain or overhead water reaches the plants.

    Rain that a gauge should have measured and did not may have fallen; where the farm has no
    gauge at all, humidity speaks alone.
    """
    rain = cells.rain()
    raining = np.nan_to_num(rain.step_low) >= shared["rain_wets"]
    gone = np.isnan(rain.step_high) & cells.has_gauge()
    cause = np.where(gone, int(Cause.NO_RAIN), int(Cause.DOUBTFUL_BAND))
    cause |= np.where(gone & cells.forecast, int(Cause.NOT_YET), 0)
    water = Truth(raining, gone | (np.nan_to_num(rain.step_high) > 0), cause)
    return (water | running(cells, events, "overhead")) & ~states["filmed"]


def running(cells: Cells, events: list[Event], method: str) -> Truth:
    """Return when water of one method ran; a run without an end may have gone on for a while."""
    sure = np.zeros(len(cells), dtype=bool)
    maybe = sure.copy()
    for e in events:
        if e.event == "irrigation" and e.what.startswith(method):
            i, j, k = cells.at([e.time, e.end or e.time, e.end or e.time + LONGEST_RUN_S])
            sure[i:j] = maybe[i:k] = True
    return Truth(sure, maybe, np.full(len(cells), int(Cause.NO_JOURNAL), dtype=np.int64))


def wet_periods(c: Context) -> FactTable:
    """Derive wet periods with their infection indices.

    Hours wet are those of the surely wet core at least, and of the whole possibly wet period at
    most. The mean temperature of the wet hours is bounded by adding the coldest or the warmest
    doubtful hours to the core.
    """
    wet = c.truths["wet"]
    start, end, core = core_and_rest(c.cells, wet, c.shared["join_dry_gap"] * 3600)
    b = Builder(c, "wet_period", start, end)
    core_h = core.total(c.cells.hours * wet.sure)
    whole_h = b.spans.total(c.cells.hours * wet.maybe)
    b.put("hours", (core_h, whole_h, b.spans.cause_of(wet)))
    b.put("exists", ((core_h > 0).astype(np.float64), np.ones(len(b)), b.spans.cause_of(wet)))
    temperature = _temperature(c, b, core, core_h, whole_h)
    b.put("temperature", temperature)
    _indices(b, core, temperature[2])
    _surroundings(c, b, core)
    b.table.words["source"] = _sources(c, b)
    b.basis(np.array([s == "estimated" for s in b.table.words["source"]], dtype=bool))
    return b.done()


def _temperature(
    c: Context, b: Builder, core: Spans, core_h: Floats, whole_h: Floats
) -> tuple[Floats, Floats, Ints]:
    wet = c.truths["wet"]
    bounds = []
    ends = c.cells.within("air_temperature", AIR)
    for limit, filled, ufunc in zip(AIR, ends, (np.minimum, np.maximum), strict=True):
        core_sum = core.total(filled * c.cells.hours * wet.sure)
        dry = np.inf if ufunc is np.minimum else -np.inf
        worst = b.spans.reduce(ufunc, np.where(wet.maybe, filled, dry), limit)
        core_mean = np.where(core_h > 0, core_sum / np.maximum(core_h, 1e-9), worst)
        added = ufunc(worst, core_mean)
        total = np.maximum(whole_h, 1e-9)
        bounds.append((core_h * core_mean + (whole_h - core_h) * added) / total)
    cause = b.spans.open_causes("air_temperature") | b.spans.cause_of(wet)
    return bounds[0], bounds[1], cause


def _indices(b: Builder, core: Spans, cause: Ints) -> None:
    """Add the indices: that of the whole period, or what it had reached before."""
    t, c = b.table, b.context
    box = (t.least["temperature"], t.most["temperature"], t.least["hours"], t.most["hours"])
    so_far = moments(c.cells, c.truths["wet"], b.spans, core)
    for name, bounds, tested in MODELS:
        least, most = bounds(*box)
        if so_far is not None:
            before = highest_reached(so_far, bounds, tested)
            least, most = np.maximum(least, before[0]), np.maximum(most, before[1])
        elif len(b):
            most = np.full(len(b), 3.0 if name == "leather_level" else 1.0)
        open_h = t.least["hours"] < t.most["hours"]
        why = np.where(open_h, cause | t.cause["hours"], cause)
        outside = np.where(why == 0, int(Cause.OUT_OF_RANGE), why)
        b.put(name, (least, most, outside))


def _surroundings(c: Context, b: Builder, core: Spans) -> None:
    _, most, cause = c.rain(b.spans)
    b.put("rain", (c.rain(core)[0], most, cause | b.table.cause["hours"]))
    wet = c.truths["wet"]
    for name, state in (("cover_hours", "covered"), ("shut_hours", "shut")):
        both = wet & c.truths[state]
        least = core.total(c.cells.hours * both.sure)
        cause = b.spans.cause_of(both) | b.table.cause["hours"]
        b.put(name, (least, b.spans.total(c.cells.hours * both.maybe), cause))
    b.put("to_next_pick", to_next_pick(c, b.table.end))
    b.put("straw", all_through(b, core, c.truths["straw"]))
    b.put("under_film", all_through(b, core, c.truths["filmed"]))
    splashed = c.truths["splashing"]
    least = core.reduce(np.logical_or, splashed.sure, 0).astype(float)
    most = b.spans.reduce(np.logical_or, splashed.maybe, 0).astype(float)
    cause = b.spans.cause_of(splashed) | b.spans.cause_of(wet)
    b.put("splashed", (least, most, cause))


def _sources(c: Context, b: Builder) -> list[str]:
    felt = b.spans.total(c.cells.hours * (c.truths["wet"].maybe & c.sensor))
    return ["sensor" if f >= h and h > 0 else "estimated"
            for f, h in zip(np.round(felt, 4), b.table.most["hours"], strict=True)]  # fmt: skip


def windows(c: Context, wet: FactTable) -> dict[str, FactTable]:
    """Derive when each infection would show, and when the flowers of that time ripen."""
    shared = c.shared
    pieces = [
        ("gray_mold", "flower_index", "gray_mold_shows_from", "gray_mold_shows_until"),
        ("anthracnose", "fruit_index", "anthracnose_shows_from", "anthracnose_shows_until"),
    ]
    worth = np.flatnonzero(wet.most["hours"] > 0)
    shows = [_window(c, wet, worth, "symptom_window", index, shared[a], shared[z], symptom)
             for symptom, index, a, z in pieces]  # fmt: skip
    ripe = _window(
        c, wet, worth, "ripening_window", "flower_index", shared["ripe_from"], shared["ripe_until"]
    )
    return {"symptom_window": _stacked(shows), "ripening_window": ripe}


def _window(
    c: Context, wet: FactTable, at: Ints, kind: str, index: str, first: float, last: float,
    symptom: str = "",
) -> FactTable:  # fmt: skip
    start = tuple(t[at] + int(first * DAY_S) for t in wet.end)
    end = tuple(np.maximum(t[at] + int(last * DAY_S), s + 1)
                for t, s in zip(wet.start, start, strict=True))  # fmt: skip
    b = Builder(c, kind, (start[0], start[1]), (end[0], end[1]), [symptom] * len(at))
    b.table.stages_sure = wet.stages_sure[at]
    b.table.stages_possible = wet.stages_possible[at]
    for name, source in (("index", index), ("hours", "hours"), ("exists", "exists")):
        b.put(name, (wet.least[source][at], wet.most[source][at], wet.cause[source][at]))
    begun = tuple((s <= c.now).astype(float) for s in start)
    b.put("begun", (begun[1], begun[0], wet.cause["hours"][at] | wet.cause["exists"][at]))
    if symptom:
        b.table.words["symptom"] = [symptom] * len(at)
    return b.done()


def _stacked(tables: list[FactTable]) -> FactTable:
    """Return tables of one kind as one."""
    first = tables[0]
    columns = [f for f in first.least]
    return FactTable(
        first.kind,
        first.block,
        [i for t in tables for i in t.ids],
        tuple(np.concatenate([t.start[k] for t in tables]) for k in (0, 1)),  # type: ignore[arg-type]
        tuple(np.concatenate([t.end[k] for t in tables]) for k in (0, 1)),  # type: ignore[arg-type]
        {n: np.concatenate([t.least[n] for t in tables]) for n in columns},
        {n: np.concatenate([t.most[n] for t in tables]) for n in columns},
        {n: np.concatenate([t.cause[n] for t in tables]) for n in columns},
        {w: [x for t in tables for x in t.words[w]] for w in first.words},
        stages_sure=np.concatenate([t.stages_sure for t in tables]),
        stages_possible=np.concatenate([t.stages_possible for t in tables]),
        forecast=np.concatenate([t.forecast for t in tables]),
    )
