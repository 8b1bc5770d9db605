"""Nights and days: sunset to sunrise, and sunrise to sunset."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from riskrules.facts.build import Builder, Context, sure_times
from riskrules.facts.cold import put_critical
from riskrules.facts.kinds import AIR
from riskrules.facts.table import FactTable
from riskrules.logs.readings import Ints

SOIL = (-30.0, 75.0)


def _kept(c: Context, start: Ints, end: Ints) -> Ints:
    """Return which spans touch what the logs cover, and have both their ends."""
    return np.flatnonzero(
        (start >= 0) & (end >= 0) & (end > c.cells.first) & (start < c.cells.last)
    )


def nights(c: Context) -> FactTable:
    """Derive nights, each named after the day on which it ends."""
    start, end = c.sunset[:-1], c.sunrise[1:]
    at = _kept(c, start, end)
    names = [c.days[i + 1].isoformat() for i in at]
    before = [c.days[i].isoformat() for i in at]
    b = Builder(c, "night", sure_times(start[at]), sure_times(end[at]))
    for name, conditions in (
        ("humid_hours", ["humid"]),
        ("saturated_hours", ["saturated"]),
        ("wet_hours", ["wet"]),
        ("covered_humid_hours", ["humid", "covered"]),
        ("shut_humid_hours", ["humid", "shut"]),
        ("cover_hours", ["covered"]),
        ("shut_hours", ["shut"]),
        ("cold_hours", ["cold"]),
    ):
        b.hours(name, *conditions)
    b.put("lowest_temperature", b.spans.lowest("air_temperature", AIR))
    b.put("lowest_outside", b.spans.lowest("air_temperature_outside", AIR))
    b.put("mean_temperature", b.spans.mean("air_temperature", AIR))
    b.exact("length", (end[at] - start[at]) / 3600)
    b.exact("hours_left", np.maximum(end[at] - np.maximum(start[at], c.now), 0) / 3600)
    put_critical(b, ("margin", "lowest_temperature"), ("outside_margin", "lowest_outside"))
    b.basis()
    b.chain(names, before)
    return b.done()


def days(c: Context) -> FactTable:
    """Derive days with their heat, dryness and shut hours."""
    at = _kept(c, c.sunrise, c.sunset)
    names = [c.days[i].isoformat() for i in at]
    before = [(c.days[i] - timedelta(days=1)).isoformat() for i in at]
    b = Builder(c, "day", sure_times(c.sunrise[at]), sure_times(c.sunset[at]))
    for name, conditions in (
        ("warm_hours", ["warm"]),
        ("hot_hours", ["hot"]),
        ("work_hot_hours", ["work_hot"]),
        ("shut_hours", ["shut"]),
        ("shut_warm_hours", ["warm", "shut"]),
        ("cover_hours", ["covered"]),
        ("humid_hours", ["humid"]),
        ("dry_hours", ["dry_air"]),
        ("soil_hot_hours", ["soil_hot"]),
    ):
        b.hours(name, *conditions)
    b.put("highest_temperature", b.spans.highest("air_temperature", AIR))
    b.put("highest_outside", b.spans.highest("air_temperature_outside", AIR))
    b.put("highest_soil", b.spans.highest("soil_temperature", SOIL))
    b.put("highest_deficit", b.spans.highest("vapour_pressure_deficit", (0.0, 20.0)))
    _degree_hours(c, b)
    b.basis()
    b.chain(names, before)
    return b.done()


def _degree_hours(c: Context, b: Builder) -> None:
    low, high = c.cells.within("air_temperature", AIR)
    least, most = (
        b.spans.total(np.maximum(value - c.shared["hot"], 0) * c.cells.hours)
        for value in (low, high)
    )
    b.put("degree_hours", (least, most, b.spans.open_causes("air_temperature")))
