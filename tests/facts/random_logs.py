"""Random logs of two to four days with random journals, and ways to take readings away.

All numbers are invented for tests. Every value differs from the next, so that no sensor seems
stuck; where a test wants a log without any doubt, humidity and wetness keep out of the doubtful
bands (85 to 95 % and 0.25 to 0.5).
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from hypothesis import settings
from hypothesis import strategies as st

from riskrules.engine.plain import matches
from riskrules.facts.state import Setup
from riskrules.facts.table import Facts
from riskrules.findings.build import Lookup, span_of
from riskrules.logs.events import Event
from riskrules.logs.readings import Readings, missing_cause

from .hand import BOOK, HOUR, NAMES, OPEN_FIELD, PLACE, TUNNEL, at, facts

T, RH, WET, RAIN, SOIL, OUT = (NAMES[k] for k in ("t", "rh", "wet", "rain", "soil", "out"))
BEGIN = at("2026-06-10 00:00")
LIMITS = {T: (-40, 60), OUT: (-40, 60), RH: (0, 100), WET: (0, 1), RAIN: (0, 20), SOIL: (-30, 75)}
STAGES = ((55, 57), (60, 65), (65, 87), (71, 73), (81, 87))
STATES = {
    "row_cover": ("on", "off"),
    "sides": ("down", "up"),
    "film": ("on", "off"),
    "straw": ("laid", "removed"),
}
WATER = ("drip deep", "overhead brief", "overhead deep")
SEEN = ("flower gray_mold", "ripe_fruit gray_mold", "ripe_fruit anthracnose", "picked_fruit mucor")
Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Season:
    """A log with its journal; ``doubt`` says whether values may lie in a doubtful band."""

    seed: int
    rows: Readings
    events: tuple[Event, ...]
    setup: Setup
    now: int
    doubt: bool

    def facts(self, rows: Readings | None = None) -> Facts:
        """Return the facts of the log, or of other readings with the same journal."""
        return facts(rows or self.rows, self.events, self.setup, self.now, PLACE)

    def __repr__(self) -> str:
        """Return what a person needs to make it again."""
        return f"season({self.seed}, doubt={self.doubt}): {len(self.rows)} rows, {self.events}"


def season(seed: int, doubt: bool, forecast: bool = False) -> Season:
    """Return a random season."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(48, 97))
    time = BEGIN + HOUR * np.arange(1, n + 1, dtype=np.int64)
    values = _weather(rng, n, doubt)
    setup = (TUNNEL, TUNNEL, OPEN_FIELD, Setup())[int(rng.integers(4))]
    if setup is OPEN_FIELD:
        del values[OUT]  # one air: there is no second sensor to differ from the first
    ahead = int(rng.integers(6, 24)) if forecast else 0
    if WET in values and ahead:
        values[WET][-ahead:] = np.nan  # no sensor says how wet leaves will be
    cause = {k: np.where(np.isnan(v), int(missing_cause(k)), 0) for k, v in values.items()}
    rows = Readings(time, HOUR, values, cause, np.arange(n) >= n - ahead)
    now = int(time[n - ahead - 1])
    events = _journal(rng, now, doubt)
    return Season(seed, rows, events, setup, now, doubt)


def _weather(rng: Rng, n: int, doubt: bool) -> dict[str, np.ndarray]:
    hour = np.arange(1, n + 1)
    swing = -np.cos((hour - 3) * 2 * np.pi / 24)
    air = rng.uniform(-2, 27) + rng.uniform(2, 9) * swing + rng.normal(0, 0.7, n)
    humid = 84 - 14 * swing + rng.normal(0, 8, n) + rng.uniform(-4, 8)
    values = {T: air, OUT: air + rng.normal(-1, 0.5, n), RH: np.clip(humid, 2, 100)}
    if rng.random() < 0.5:
        wet = np.repeat(rng.random(n // 5 + 1) < 0.45, 5)[:n]
        values[WET] = np.where(wet, rng.uniform(0.5, 1, n), rng.uniform(0, 0.25 - 1e-6, n))
        if doubt:
            values[WET] = np.where(rng.random(n) < 0.1, rng.uniform(0.25, 0.5, n), values[WET])
    if rng.random() < 0.7:
        showers = np.repeat(rng.random(n // 3 + 1) < 0.15, 3)[:n]
        values[RAIN] = np.where(showers, rng.uniform(0.5, 12, n), 0)
    if rng.random() < 0.3:
        values[SOIL] = air + rng.normal(4, 1, n)
    return values if doubt else {k: certain(k, v) for k, v in values.items()}


def certain(name: str, value: np.ndarray) -> np.ndarray:
    """Move values out of the doubtful bands."""
    if name == RH:
        low = np.where(value >= 90, value * 0.05 + 94.99, value)
        return np.where((value >= 85) & (value < 90), value - 6, np.clip(low, 0, 100))
    if name == WET:
        return np.where((value >= 0.25) & (value < 0.5), value + 0.3, value)
    if name == RAIN:
        # An hour may be cut in pieces by events; what falls in each must still be plainly wet.
        return np.where(value > 0, np.maximum(value, 0.5), value)
    return value


def _journal(rng: Rng, now: int, doubt: bool) -> tuple[Event, ...]:
    def moment() -> int:
        return int(BEGIN + rng.integers(0, max((now - BEGIN) // 900, 1)) * 900)

    def stages(time: int) -> Event:
        return Event(time, "stages", stages=STAGES[int(rng.integers(len(STAGES)))])

    found = [stages(BEGIN - HOUR), *(stages(moment()) for _ in range(int(rng.integers(0, 2))))]
    for name, words in STATES.items():
        if not doubt or rng.random() < 0.8:
            found.append(Event(BEGIN - HOUR, name, words[int(rng.integers(2))]))
        for _ in range(int(rng.integers(0, 3))):
            found.append(Event(moment(), name, words[int(rng.integers(2))]))
    for _ in range(int(rng.integers(0, 4))):
        start = moment()
        found.append(Event(start, "pick", "done", start + HOUR * int(rng.integers(1, 4))))
        found.append(Event(start + HOUR * int(rng.integers(1, 30)), "cooled"))
    if rng.random() < 0.4:
        found.append(Event(now + HOUR * int(rng.integers(1, 60)), "pick", "planned"))
    for _ in range(int(rng.integers(0, 2))):
        start, what = moment(), WATER[int(rng.integers(3))]
        found.append(Event(start, "irrigation", what, start + HOUR * int(rng.integers(1, 4))))
    for _ in range(int(rng.integers(0, 3))):
        found.append(Event(moment(), "sighting", SEEN[int(rng.integers(4))], None, 2, 60))
    found.append(Event(now - HOUR * int(rng.integers(0, 40)), "checked"))
    return tuple(sorted(e for e in found if e.time <= now or e.what == "planned"))


def without(rows: Readings, seed: int, names: Sequence[str] | None = None) -> Readings:
    """Return the readings with random stretches of random variables missing, or whole rows."""
    rng = np.random.default_rng(seed)
    values, cause = {}, {}
    for name, column in rows.values.items():
        gone = _holes(rng, len(rows)) if names is None or name in names else _none(len(rows))
        values[name] = np.where(gone, np.nan, column)
        cause[name] = np.where(np.isnan(values[name]), int(missing_cause(name)), 0)
    found = replace(rows, values=values, cause=cause)
    if rng.random() < 0.3:
        keep = ~_holes(rng, len(rows))
        keep[[0, int(np.flatnonzero(~rows.forecast)[-1]), -1]] = True
        found = found.only(keep)
    return found


def trusted(rows: Readings) -> Readings:
    """Return readings that pass as judged, so that whatever fills a hole is believed."""
    return replace(rows, flags={n: np.ones(len(rows), dtype=np.uint8) for n in rows.values})


def _none(n: int) -> np.ndarray:
    return np.zeros(n, dtype=bool)


def _holes(rng: Rng, n: int) -> np.ndarray:
    gone = _none(n)
    for _ in range(int(rng.integers(0, 4))):
        start = int(rng.integers(0, n))
        gone[start : start + int(rng.choice([1, 1, 2, 3, 6, 12, 30]))] = True
    return gone


def completed(rows: Readings, full: Readings, seed: int) -> Readings:
    """Return the readings with every hole filled by something that may have been, plainly."""
    rng = np.random.default_rng(seed)
    values, cause = {}, {}
    there = np.isin(full.time, rows.time)
    for name, column in rows.values.items():
        wide = np.full(len(full), np.nan)
        wide[there] = column
        low, high = LIMITS[name]
        made = rng.uniform(low, high, len(full))
        if rng.random() < 0.5:  # near what it was, or near the limits
            made = np.clip(full.values[name] + rng.normal(0, 2, len(full)), low, high)
        elif rng.random() < 0.5:
            made = np.where(
                rng.random() < 0.5, low + 0.05 * (made - low), high - 0.05 * (high - made)
            )
        if name == RAIN:
            made = np.where(rng.random(len(full)) < 0.5, 0, made)
        values[name] = np.where(np.isnan(wide), certain(name, made), wide)
        cause[name] = np.zeros(len(full), dtype=np.int64)
    return replace(full, values=values, cause=cause)


@dataclass(frozen=True, slots=True, order=True)
class Told:
    """When a rule fires, and whether surely. Times in seconds."""

    rule: str
    start: int
    end: int
    sure: bool

    def touches(self, other: Told) -> bool:
        """Whether both speak of one rule and of some common time."""
        return self.rule == other.rule and self.start < other.end and other.start < self.end


def told(found: Facts) -> list[Told]:
    """Return what every shipped rule says of some facts."""
    lookup, rules = Lookup(found), {rule.key: rule for rule in BOOK.rules}
    spans = []
    for match in matches(found, BOOK.packs):
        start, end = span_of(match, rules[match.rule], lookup)
        spans.append(Told(match.rule, start, max(end, start + 1), match.sure))
    return sorted(set(spans))


seeds = st.integers(0, 1_000_000)
some = settings(max_examples=80 if os.environ.get("RISKRULES_LONG") == "1" else 20)
"""A log of days takes a tenth of a second to judge: few by default."""
