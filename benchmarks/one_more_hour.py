"""3: the cost of one more hour of log, in memory, against a full review."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import partial

from benchmarks.rows import Result, Row, compared
from benchmarks.seasons import book, jobs, typical_year
from benchmarks.timing import Took, once
from riskrules.blocks import BlockLogs
from riskrules.engine.memory import Memory
from riskrules.engine.process import shared_engine
from riskrules.report import dumps
from riskrules.review import Review, review
from riskrules.sources import Gathered

NUMBER = 3
AIM = 1 / 3
"""Share of a full review that one more hour should cost. (assumption)"""
START = 6000
"""Rows of the year that were reviewed before the first hour: it begins in September."""
Days = tuple[date | None, date | None]


@dataclass(slots=True)
class Kept:
    """What a program keeps from one hour to the next."""

    memory: Memory


def one_more(kept: Kept, read: Gathered, blocks: tuple[BlockLogs, ...], days: Days) -> Review:
    """Review a season that was reviewed before and is one row longer now."""
    return _review(read, blocks, days, kept.memory)


def from_scratch(read: Gathered, blocks: tuple[BlockLogs, ...], days: Days) -> Review:
    """Review the same season knowing nothing."""
    return _review(read, blocks, days, None)


def _review(
    read: Gathered, blocks: tuple[BlockLogs, ...], days: Days, memory: Memory | None
) -> Review:
    return review(
        read.farm, blocks, read.events, book(), jobs(), days[0], days[1],
        engine=shared_engine(), memory=memory,
    )  # fmt: skip


def run(quick: bool) -> Result:
    """Compare for reviews of the last night, and of all of the season."""
    hours = 2 if quick else 7
    season = typical_year()
    windows: dict[str, Days] = {
        "the last night": (None, None), "all of the season": (season.first, season.last),
    }  # fmt: skip
    if quick:
        del windows["all of the season"]
    return Result(tuple(_row(what, days, hours) for what, days in windows.items()))


def _row(what: str, days: Days, hours: int) -> Row:
    read = typical_year().gathered()
    kept = Kept(Memory())
    one_more(kept, read, _until(read, START), days)
    hour, full = Took(), Took()
    for n in range(START + 1, START + 1 + hours):
        blocks = _until(read, n)
        found = (
            once(partial(one_more, kept, read, blocks, days), hour, _worker),
            once(partial(from_scratch, read, blocks, days), full, _worker),
        )
        _assert_same(*found)
    return compared(NUMBER, f"one more hour, reviewing {what}", hour, full, "full review", AIM)


def _until(read: Gathered, n: int) -> tuple[BlockLogs, ...]:
    """Return the first rows of each log, as they are in memory."""
    return tuple(
        BlockLogs(b.text, tuple(r.only(r.time <= r.time[n - 1]) for r in b.sources))
        for b in read.blocks
    )


def _worker() -> int | None:
    return shared_engine().pid


def _assert_same(hour: object, full: object) -> None:
    if not (isinstance(hour, Review) and isinstance(full, Review) and dumps(hour) == dumps(full)):
        raise AssertionError("an hour more gives another review than all from scratch")
