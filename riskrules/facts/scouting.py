"""What people saw, did by hand, and must wait for; and where the log has holes."""

from __future__ import annotations

import numpy as np

from riskrules.facts.build import Builder, Context, sure_times, times
from riskrules.facts.kinds import Cause
from riskrules.facts.spans import stretches
from riskrules.facts.table import FactTable
from riskrules.science.sampling import wilson_interval

HOUR_S = 3600


def sightings(c: Context) -> FactTable:
    """Derive counts of symptoms; the share affected is bounded by its Wilson 95 % interval."""
    seen = [e for e in c.of("sighting") if e.time <= c.now]
    at = times([e.time for e in seen])
    b = Builder(c, "sighting", sure_times(at), sure_times(at + 1), [e.what for e in seen])
    bounds = [wilson_interval(e.affected, e.examined) for e in seen]
    low = np.array([float(x[0]) for x in bounds])
    high = np.array([float(x[1]) for x in bounds])
    b.put("incidence", (low, high, np.full(len(seen), int(Cause.FEW_EXAMINED), dtype=np.int64)))
    b.exact("affected", [e.affected for e in seen])
    b.exact("examined", [e.examined for e in seen])
    b.exact("age", np.maximum(c.now - at, 0) / HOUR_S)
    words = [e.what.split() for e in seen]
    b.table.words["part"] = [w[0] for w in words]
    b.table.words["symptom"] = [w[1] for w in words]
    return b.done()


def field_work(c: Context) -> FactTable:
    """Derive hand work: culls, leaves cleared, straw, flower stalks."""
    names = {"cull": "cull", "leaves": "leaves", "stalks": "stalks"}
    done = [e for e in c.events if e.event in names or e.event == "straw"]
    done = [e for e in done if e.time <= c.now]
    work = [names.get(e.event, f"straw_{e.what}") for e in done]
    at = times([e.time for e in done])
    b = Builder(c, "field_work", sure_times(at), sure_times(at + 1), work)
    b.exact("age", np.maximum(c.now - at, 0) / HOUR_S)
    b.table.words["work"] = work
    return b.done()


def stage_spells(c: Context) -> FactTable:
    """Derive the stretches with one recorded set of stages."""
    records = c.of("stages")
    start = times([e.time for e in records])
    end = np.append(start[1:], max(c.now, int(start[-1]) + 1 if len(start) else 0))[: len(start)]
    end = np.maximum(end, start + 1)
    b = Builder(c, "stage_spell", sure_times(start), sure_times(end))
    b.exact("hours", (end - start) / HOUR_S)
    return b.done()


def limits(c: Context) -> FactTable:
    """Derive the times before which nobody may enter, or pick."""
    set_by = c.of("no_entry") + c.of("no_pick")
    start = times([e.time for e in set_by])
    end = times([e.end or e.time for e in set_by])
    names = ["entry" if e.event == "no_entry" else "pick" for e in set_by]
    b = Builder(c, "limit", sure_times(start), sure_times(end), names)
    b.exact("hours_left", np.maximum(end - c.now, 0) / HOUR_S)
    b.table.words["limits"] = names
    return b.done()


def log_gaps(c: Context) -> FactTable:
    """Derive the stretches of the past in which a variable has no usable reading."""
    names = {
        "air_temperature": "air_temperature",
        "relative_humidity": "relative_humidity",
        "surface_wetness": "surface_wetness",
        "air_temperature_outside": "outside",
    }
    start, end, variable = [], [], []
    logged = (c.cells.edges[:-1] >= c.cells.first) & ~c.cells.forecast
    for name, word in names.items():
        if name not in c.cells.values:
            continue
        a, z = stretches(c.cells, np.isnan(c.cells.value(name)) & logged)
        start += a.tolist()
        end += z.tolist()
        variable += [word] * len(a)
    order = sorted(range(len(start)), key=lambda i: (start[i], variable[i]))
    a, z = times([start[i] for i in order]), times([end[i] for i in order])
    words = [variable[i] for i in order]
    b = Builder(c, "log_gap", sure_times(a), sure_times(z), words)
    b.exact("hours", (z - a) / HOUR_S)
    b.table.words["variable"] = words
    return b.done()
