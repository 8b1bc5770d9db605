"""Logs written by hand: a start, a step, and lists of numbers with None for what is missing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from riskrules.facts.derive import Place, derive
from riskrules.facts.state import Setup
from riskrules.facts.table import Fact, Facts
from riskrules.logs.events import Event
from riskrules.logs.readings import Readings, missing_cause
from riskrules.review import shipped_rulebook

HOUR = 3600
DAY = 24 * HOUR
NAMES = {
    "t": "air_temperature",
    "rh": "relative_humidity",
    "wet": "surface_wetness",
    "rain": "thickness_of_rainfall_amount",
    "soil": "soil_temperature",
    "dew": "dew_point_temperature",
    "out": "air_temperature_outside",
}
PLACE = Place(40.0, 0.0, "UTC")
"""An invented place on the meridian of its clock: the sun is highest close to noon."""
TUNNEL = Setup(tunnel=True, row_covers=True, ground="plastic")
OPEN_FIELD = Setup(tunnel=False, row_covers=False, ground="bare", placed="outside")
BOOK = shipped_rulebook()

Column = Sequence[float | None]


def at(text: str) -> int:
    """Return seconds since 1970 of a moment in UTC such as '2026-06-10 14:30'."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp())


def log(first: str, step_h: float = 1, forecast: int = 0, **columns: Column) -> Readings:
    """Return readings; each row stands for the step that ends at its time.

    ``first`` is the time of the first row, so its step began ``step_h`` earlier. The last
    ``forecast`` rows are a forecast.
    """
    n = len(next(iter(columns.values())))
    step = int(step_h * HOUR)
    time = at(first) + step * np.arange(n, dtype=np.int64)
    values = {
        NAMES[k]: np.array([np.nan if x is None else x for x in c], dtype=float)
        for k, c in columns.items()
    }
    cause = {
        k: np.where(np.isnan(v), int(missing_cause(k)), 0).astype(np.int64)
        for k, v in values.items()
    }
    return Readings(time, step, values, cause, np.arange(n) >= n - forecast)


def air(n: int, mean: float = 15) -> list[float | None]:
    """Return hourly air temperatures that move a little, so that no sensor seems stuck."""
    return [mean + 0.01 * (i % 3) for i in range(n)]


def facts(
    rows: Readings | Sequence[Readings],
    events: Sequence[Event] = (),
    setup: Setup = TUNNEL,
    now: int | None = None,
    place: Place = PLACE,
    shared: Mapping[str, float] | None = None,
) -> Facts:
    """Return the facts of a block called 'b' (a plain derive, with the shipped thresholds)."""
    sources = [rows] if isinstance(rows, Readings) else list(rows)
    measured = [int(r.time[~r.forecast][-1]) for r in sources if (~r.forecast).any()]
    book = dict(BOOK.shared)
    for name, value in (shared or {}).items():
        book[name] = replace(book[name], value=value)
    moment = now if now is not None else max(measured)
    return derive("b", sources, sorted(events), book, place, setup, moment)


def bounds(fact: Fact, name: str) -> tuple[float, float]:
    """Return the least and the most of a quantity."""
    b = fact.quantities[name]
    return b.least, b.most


def sure(found: Facts, kind: str) -> list[Fact]:
    """Return the facts of a kind that surely happened."""
    return [f for f in found[kind] if f.quantities["exists"].least == 1]


def one(found: Facts, kind: str) -> Fact:
    """Return the only fact of a kind that surely happened."""
    (fact,) = sure(found, kind)
    return fact


def night_to(found: Facts, morning: str) -> Fact:
    """Return the night that ends on the morning of a day."""
    (fact,) = [f for f in found["night"] if f.end[0] // DAY == at(morning) // DAY]
    return fact


def event(time: str, name: str, what: str = "", end: str | None = None, **more: object) -> Event:
    """Return an event of the journal."""
    return Event(at(time), name, what, at(end) if end else None, **more)  # type: ignore[arg-type]
