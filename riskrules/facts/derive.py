"""Readings and events of one block in, facts out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from riskrules.facts.build import Context
from riskrules.facts.cells import RAIN, Cells, Truth, build_cells, settle_causes
from riskrules.facts.cold import cold_truth, cold_watch
from riskrules.facts.kinds import Cause
from riskrules.facts.nights import days, nights
from riskrules.facts.picks import end_of, irrigations, pick_gaps, picks
from riskrules.facts.scouting import field_work, limits, log_gaps, sightings, stage_spells
from riskrules.facts.spells import (
    cover_spells,
    heat_spells,
    rain_spells,
    shut_spells,
    warm_spells,
)
from riskrules.facts.state import Setup, stage_columns, state_truths
from riskrules.facts.sun import sun_times
from riskrules.facts.table import Facts
from riskrules.facts.wet import running, wet_periods, wet_truth, windows
from riskrules.logs.events import Event
from riskrules.logs.limits import Limits, load_limits, true_ends
from riskrules.logs.readings import FORECAST_REACH_S, Ints, Readings
from riskrules.logs.ready import make_ready
from riskrules.logs.troubles import Origin
from riskrules.logs.variables import Floats
from riskrules.packs.model import Threshold
from riskrules.science.air import relative_humidity_from_dew_point, vapour_pressure_deficit

HOUR_S = 3600
DEW_POINT = "dew_point_temperature"
MoreFacts = Callable[[Context], Facts]


@dataclass(frozen=True, slots=True)
class Place:
    """Where a farm is: degrees north and east, and its named zone."""

    latitude: float
    longitude: float
    zone: str


def derive(
    block: str,
    sources: Sequence[Readings],
    events: Sequence[Event],
    shared: Mapping[str, Threshold],
    place: Place,
    setup: Setup,
    now: int,
    more: Sequence[MoreFacts] = (),
    limits: Limits | None = None,
) -> Facts:
    """Derive all facts of a block.

    Parameters
    ----------
    block : str
        Its name.
    sources : sequence of Readings
        The block's own logs, then those of the farm's outside station and of a forecast.
    events : sequence of Event
        Of this block, in time order.
    shared : mapping
        Thresholds by which readings become facts.
    place, setup
        Where the farm is, and what never changes in the block.
    now : int
        Where the past ends. [s since 1970 UTC]
    more : sequence of callables
        From plug-ins: each returns further tables.
    limits : Limits, optional
        By which readings that were not judged yet are; by default the shipped ones.

    Returns
    -------
    dict of FactTable
        By kind; a kind without facts has an empty table.
    """
    limits = limits or load_limits()
    ready = make_ready([rows for rows in sources if len(rows)], limits, place)
    context = prepare(block, ready, events, shared, place, setup, now, limits)
    day = days(context)
    wet = wet_periods(context)
    facts: Facts = {"day": day, "night": nights(context), "wet_period": wet}
    facts |= windows(context, wet)
    facts["heat_spell"] = heat_spells(context, day)
    facts["warm_spell"] = warm_spells(context, day)
    for kind, make in _SIMPLE.items():
        facts[kind] = make(context)
    for add in more:
        facts |= add(context)
    return facts


_SIMPLE = {
    "cover_spell": cover_spells,
    "shut_spell": shut_spells,
    "rain_spell": rain_spells,
    "irrigation": irrigations,
    "pick_gap": pick_gaps,
    "pick": picks,
    "sighting": sightings,
    "field_work": field_work,
    "stage_spell": stage_spells,
    "limit": limits,
    "log_gap": log_gaps,
    "cold_watch": cold_watch,
}


def prepare(
    block: str,
    sources: Sequence[Readings],
    events: Sequence[Event],
    shared: Mapping[str, Threshold],
    place: Place,
    setup: Setup,
    now: int,
    limits: Limits,
) -> Context:
    """Cut the block's time into cells and settle every condition over them; see `derive`.

    The readings are judged, and their gaps filled as far as they are to be.
    """
    values = {name: t.value for name, t in shared.items()}
    first = min(int(rows.time[0]) for rows in sources) - HOUR_S
    last = max(int(rows.time[-1]) for rows in sources)
    last = max(last, now + int(values["cold_ahead"] * HOUR_S))
    zone = ZoneInfo(place.zone)
    start_day = datetime.fromtimestamp(first, zone).date() - timedelta(days=1)
    end_day = datetime.fromtimestamp(last, zone).date() + timedelta(days=1)
    day_list, rise, fall = sun_times(start_day, end_day, place.latitude, place.longitude)
    soon = now + FORECAST_REACH_S
    events = [e for e in events if e.time <= now or (e.what == "planned" and e.time <= soon)]
    edges = _edges(events, values, first, last)
    sun = [int(t) for t in np.concatenate([rise, fall]) if t >= 0]
    cells = build_cells(sources, [*edges, *sun, last], now)
    _complete(cells, setup, limits)
    journal = max((e.time for e in events if e.what != "planned"), default=0)
    states = state_truths(cells, events, values, setup)
    wet, sensor = wet_truth(cells, states, list(events), values)
    truths = {**states, "wet": wet, **_conditions(cells, values, rise, fall)}
    truths["splashing"] = _splashing(cells, list(events), states)
    context = Context(
        block, cells, events, values, setup, zone, truths, stage_columns(cells, events, values),
        day_list, rise, fall, journal, sensor,
    )  # fmt: skip
    truths["cold"] = cold_truth(context)
    return context


def _edges(
    events: Sequence[Event], shared: Mapping[str, float], first: int, last: int
) -> list[int]:
    found = {e.time for e in events} | {e.end for e in events if e.end is not None}
    back = int(shared["before_pick"] * HOUR_S)
    for e in events:
        if e.event == "pick":
            found |= {e.time - back, end_of(e)}
    return [t for t in found if first <= t <= last]


def _complete(cells: Cells, setup: Setup, limits: Limits) -> None:
    """Fill in what follows from other variables: open beds see the outside air; humidity."""
    for name in list(cells.values):
        base = name.removesuffix("_outside")
        if base == RAIN:
            continue
        if setup.tunnel is False and setup.row_covers is False:
            other = base if name != base else f"{base}_outside"
            _borrow(cells, other, name, limits)
        elif setup.placed == "outside" and name == base == "air_temperature":
            _borrow(cells, "air_temperature_outside", name, limits)
    for place in ("", "_outside"):
        if f"dew_point_temperature{place}" in cells.values:
            _humidity_of_dew_point(cells, place)
    _deficit(cells)


def _humidity_of_dew_point(cells: Cells, place: str) -> None:
    """Rebuild a humidity that is missing from the dew point of the same sensor."""
    air, dew = (cells.ends(f"{name}{place}") for name in ("air_temperature", DEW_POINT))
    name = f"relative_humidity{place}"
    ends = [
        np.clip(relative_humidity_from_dew_point(t, np.minimum(d, t)), 0, 100)
        for t, d in ((air[1], dew[0]), (air[0], dew[1]))
    ]
    middle = ends[0] if ends[0] is ends[1] else (ends[0] + ends[1]) / 2
    why = cells.why(f"air_temperature{place}") | cells.why(f"{DEW_POINT}{place}")
    _put_where_missing(cells, name, middle, (ends[0], ends[1]), why)


def _deficit(cells: Cells) -> None:
    """Add the vapour pressure deficit: least in the coldest, moistest air there may have been."""
    air, humidity = cells.ends("air_temperature"), cells.ends("relative_humidity")
    name = "vapour_pressure_deficit"
    low = np.maximum(vapour_pressure_deficit(air[0], humidity[1]), 0)
    high = np.maximum(vapour_pressure_deficit(air[1], humidity[0]), 0)
    cells.values[name] = low if (low == high).all() else (low + high) / 2
    why = cells.why("air_temperature") | cells.why("relative_humidity")
    if (low < high).any():
        cells.low[name], cells.high[name] = low, high
    cells.cause[name] = np.where(~(low == high), why, 0)


def _borrow(cells: Cells, name: str, other: str, limits: Limits) -> None:
    """Fill the holes of a variable from another sensor in the same air, at the same farm.

    A block without a sensor of its own takes the other's word (our reading of an open bed); a
    hole of its own sensor is borrowed, and as wide as two places of a farm may differ. Ahead of
    'now' there is no hole: a forecast is for all of the farm.
    """
    low, high = cells.ends(other)
    if name not in cells.values:
        _put_where_missing(cells, name, cells.value(other), (low, high), cells.why(other))
        return
    (least, most), borrowed = true_ends(other), limits.of(other, "outside").borrowed
    width = np.where(cells.forecast, 0.0, borrowed)
    ends = np.maximum(low - width, least), np.minimum(high + width, most)
    gone = np.isnan(cells.value(name)) & ~np.isnan(low) & ~cells.forecast
    origin = cells.origin.get(name, np.zeros(len(cells), dtype=np.uint8))
    cells.origin[name] = np.where(gone, int(Origin.BORROWED), origin).astype(np.uint8)
    cause = cells.why(other) | np.where(gone, int(Cause.BORROWED), 0)
    _put_where_missing(cells, name, cells.value(other), ends, cause)


def _put_where_missing(
    cells: Cells, name: str, value: Floats, ends: tuple[Floats, Floats], why: Ints
) -> None:
    """Give a variable values, with their ends, where it has none."""
    own, own_why = cells.value(name), cells.why(name)
    gone = np.isnan(own)
    if name in cells.low or not np.array_equal(ends[0], ends[1], equal_nan=True):
        low, high = cells.ends(name)
        cells.low[name], cells.high[name] = (
            np.where(gone, end, old) for end, old in zip(ends, (low, high), strict=True)
        )
    cells.values[name] = np.where(gone, value, own)
    cells.cause[name] = np.where(gone & ~np.isnan(value), why, own_why)
    settle_causes(cells, name)


def _conditions(
    cells: Cells, shared: Mapping[str, float], rise: np.ndarray, fall: np.ndarray
) -> dict[str, Truth]:
    found = {
        "humid": cells.compare("relative_humidity", shared["humid"]),
        "saturated": cells.compare("relative_humidity", shared["saturated"]),
        "soil_hot": cells.compare("soil_temperature", shared["soil_hot"]),
        "dry_air": cells.compare("vapour_pressure_deficit", shared["dry_deficit"]),
    }
    for name in ("warm", "hot", "work_hot"):
        found[name] = cells.compare("air_temperature", shared[name])
    ups, downs = np.sort(rise[rise >= 0]), np.sort(fall[fall >= 0])
    risen = np.searchsorted(ups, cells.edges[:-1], side="right")
    fallen = np.searchsorted(downs, cells.edges[:-1], side="right")
    last_rise = np.where(risen > 0, ups[np.maximum(risen - 1, 0)], -1) if len(ups) else -1
    last_fall = np.where(fallen > 0, downs[np.maximum(fallen - 1, 0)], -1) if len(downs) else -1
    dark = np.broadcast_to(np.asarray(last_fall > last_rise), (len(cells),)).copy()
    found["night"] = Truth(dark, dark, np.zeros(len(cells), dtype=np.int64))
    return found


def _splashing(cells: Cells, events: list[Event], states: Mapping[str, Truth]) -> Truth:
    """Return where water drops hit the plants: rain, or overhead water, without film."""
    found = cells.rain()
    cause = np.full(len(cells), int(Cause.NO_RAIN), dtype=np.int64)
    maybe = np.isnan(found.high) | (np.nan_to_num(found.high) > 0)
    rain = Truth(np.nan_to_num(found.low) > 0, maybe, cause)
    return (rain | running(cells, events, "overhead")) & ~states["filmed"]
