"""Logs and events cut into block-seasons: the unit of work, of scoring and of resampling."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from riskrules.blocks import BlockLogs
from riskrules.farm import Farm
from riskrules.logs.events import Event, of_block

DAY_S = 86_400
BEFORE_DAYS = 2
"""Readings of so many days before a season go with it, so that its first night is whole. [d]
(assumption)"""
STATE_DAYS = 800
"""How long before a season a state (film, covers, stages) may have been noted: the longest that
`film_stale` may be. [d] (computed from facts.yaml)"""
SEEN_DAYS = 60
"""How long before a season other events still matter. [d] (assumption)"""
STATES = ("stages", "row_cover", "sides", "film", "straw")


@dataclass(frozen=True, slots=True)
class BlockSeason:
    """One block in one season: all that a replay of it needs.

    ``logs`` are unjudged. ``events`` are of this block, in time order. ``neighbours`` are the
    blocks that it borrows readings of, cut to the same season.
    """

    block: str
    season: str
    first: date
    last: date
    farm: Farm
    logs: BlockLogs
    events: tuple[Event, ...]
    neighbours: tuple[BlockLogs, ...] = ()


def block_seasons(
    farm: Farm,
    blocks: Sequence[BlockLogs],
    events: Sequence[Event],
    years: Collection[int] | None = None,
    months: tuple[int, int] = (1, 12),
) -> list[BlockSeason]:
    """Return every season of every block that has a measured reading, by block and time.

    Parameters
    ----------
    farm : Farm
    blocks : sequence of BlockLogs
        Unjudged; of any length.
    events : sequence of Event
        Of all blocks.
    years : collection of int, optional
        By default all that the logs touch. A season is named by the year in which it begins.
    months : tuple of int
        First and last month of a season in the farm's zone, both included. ``(11, 5)`` is
        November to May.

    Raises
    ------
    ValueError
        If a month is not one.
    """
    if not all(1 <= month <= 12 for month in months):
        raise ValueError(f"months {months}; expected a first and a last one from 1 to 12")
    found = []
    for logs in sorted(blocks, key=lambda b: b.text.block):
        for year in _years(logs, farm.zone):
            if years is None or year in years:
                found.append(_season(farm, blocks, logs, events, year, months))
    return [season for season in found if season is not None]


def span_of_season(year: int, months: tuple[int, int]) -> tuple[date, date]:
    """Return the first and the last day of a season.

    Examples
    --------
    >>> span_of_season(2025, (11, 5))
    (datetime.date(2025, 11, 1), datetime.date(2026, 5, 31))
    """
    first, last = months
    end = year + (1 if last < first else 0)
    after = date(end + last // 12, last % 12 + 1, 1)
    return date(year, first, 1), after - timedelta(days=1)


def label_of(year: int, months: tuple[int, int]) -> str:
    """Return the name of a season: its year, or both where it runs over New Year's Day.

    Examples
    --------
    >>> label_of(2025, (11, 5))
    '2025-26'
    """
    return f"{year}-{(year + 1) % 100:02d}" if months[1] < months[0] else str(year)


def _years(logs: BlockLogs, zone: ZoneInfo) -> range:
    own = [rows.time[~rows.forecast] for rows in logs.own or logs.sources]
    own = [time for time in own if len(time)]
    if not own:
        return range(0)
    first = datetime.fromtimestamp(min(int(t[0]) for t in own), zone).year
    last = datetime.fromtimestamp(max(int(t[-1]) for t in own), zone).year
    return range(first - 1, last + 1)  # a season that began the year before may reach in


def _season(
    farm: Farm,
    blocks: Sequence[BlockLogs],
    logs: BlockLogs,
    events: Sequence[Event],
    year: int,
    months: tuple[int, int],
) -> BlockSeason | None:
    """Return one season of a block; None where the block has no measured reading in it."""
    first, last = span_of_season(year, months)
    start, end = midnight(first, farm.zone), midnight(last + timedelta(days=1), farm.zone)
    own = logs.own or logs.sources
    if not any(((r.time > start) & (r.time <= end) & ~r.forecast).any() for r in own):
        return None
    lent = {loan.of for loan in logs.text.borrow}
    near = tuple(_cut(b, start, end) for b in blocks if b.text.block in lent)
    name = logs.text.block
    kept = tuple(sorted(e for e in of_block(events, name) if _matters(e, start, end)))
    label = label_of(year, months)
    return BlockSeason(name, label, first, last, farm, _cut(logs, start, end), kept, near)


def midnight(day: date, zone: ZoneInfo) -> int:
    """Return when a day begins on a clock. [s since 1970 UTC]"""
    return int(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp())


def _cut(logs: BlockLogs, start: int, end: int) -> BlockLogs:
    cut = [r.only((r.time > start - BEFORE_DAYS * DAY_S) & (r.time <= end)) for r in logs.sources]
    return replace(logs, sources=tuple(cut))


def _matters(event: Event, start: int, end: int) -> bool:
    back = STATE_DAYS if event.event in STATES else SEEN_DAYS
    return start - back * DAY_S <= event.time < end
