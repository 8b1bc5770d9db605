"""The log report as lanes over time: what was measured, doubted, filled, borrowed or missing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from riskrules.blocks import BlockLogs
from riskrules.farm import Farm
from riskrules.logbook.status import HOUR_S
from riskrules.logs.report import (
    ABSENT,
    STATES,
    LogReport,
    Run,
    SourceRows,
    TroubleRows,
    VariableRows,
)
from riskrules.sources import Source, sources_of

Drawn = Literal["good", "doubted", "filled", "borrowed", "missing"]
DRAWN: tuple[Drawn, ...] = ("good", "doubted", "filled", "borrowed", "missing")
"""How values are drawn; a failed value is missing for all rules, and is drawn so."""
DRAWN_AS: dict[str, Drawn] = {
    "suspect": "doubted", "failed": "missing", "missing": "missing", "filled": "filled",
    "borrowed": "borrowed", ABSENT: "missing",
}  # fmt: skip
PIXELS = 1200
"""Columns of a drawing: pieces closer than one are drawn as one. (assumption: a wide screen)"""


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of a lane, from start to end [s since 1970 UTC].

    ``state`` is the word of the log report: ``passed`` for what is drawn as good. ``rows`` is how
    many values it has, None for good ones, which are not counted by stretch.
    """

    start: int
    end: int
    drawn: Drawn
    state: str
    rows: int | None


@dataclass(frozen=True, slots=True)
class Lane:
    """One variable of one sensor over time, with its counts by state.

    ``forecast`` where all rows are forecasts: nothing of it was measured.
    """

    block: str
    sensor: str
    variable: str
    pieces: tuple[Piece, ...]
    counts: dict[str, int]
    forecast: bool = False

    @property
    def known(self) -> float:
        """The share of steps in which there is a value that rules can use. [1]"""
        total = sum(self.counts.values())
        gone = self.counts["missing"] + self.counts["failed"] + self.counts[ABSENT]
        return (total - gone) / total if total else 0.0


def lanes(report: LogReport, block: str) -> list[Lane]:
    """Return the lanes of a block's sensors, in the order of the report.

    A piece shorter than a column of the drawing is not lost: it is joined with its neighbour of
    the same state, never with one of another, so that each doubt stays seen.
    """
    found = []
    for source in report.sources:
        if source.block == block and source.first is not None and source.last is not None:
            found += [_lane(source, v) for v in source.variables]
    return found


def _lane(source: SourceRows, variable: VariableRows) -> Lane:
    first = (source.first or 0) - source.step
    last = source.last or 0
    pixel = max(1, (last - first) // PIXELS)
    odd = sorted([*variable.runs, *source.runs], key=lambda r: (r.start, r.state))
    pieces = _joined(odd, pixel)
    counts = {s: variable.of(s) for s in STATES}
    counts[ABSENT] = source.absent
    good = _between(first, last, pieces)
    whole = tuple(sorted([*good, *pieces], key=lambda p: (p.start, p.end)))
    ahead = 0 < source.rows == source.forecast
    return Lane(source.block, source.sensor, variable.variable, whole, counts, ahead)


def _joined(runs: Sequence[Run], pixel: int) -> list[Piece]:
    """Return runs as pieces; those of one state that lie closer than a pixel are joined."""
    found: list[Piece] = []
    last: dict[str, int] = {}
    for run in runs:
        at = last.get(run.state)
        if at is not None and run.start - found[at].end < pixel:
            before = found[at]
            rows = (before.rows or 0) + run.rows
            found[at] = Piece(before.start, run.end, before.drawn, run.state, rows)
            continue
        last[run.state] = len(found)
        found.append(Piece(run.start, run.end, DRAWN_AS[run.state], run.state, run.rows))
    return found


def _between(first: int, last: int, odd: Sequence[Piece]) -> list[Piece]:
    """Return the stretches in which nothing was odd."""
    found, at = [], first
    for run in sorted(odd, key=lambda p: p.start):
        if run.start > at:
            found.append(Piece(at, run.start, "good", "passed", None))
        at = max(at, run.end)
    if at < last:
        found.append(Piece(at, last, "good", "passed", None))
    return found


@dataclass(frozen=True, slots=True)
class Age:
    """How old the last measured reading of a sensor is.

    ``state`` as in `riskrules.logbook.status`: fresh, silent, never, ahead; or ``forecast`` for
    a source that only says what is to come.
    """

    block: str
    sensor: str
    last: int | None
    age_s: int | None
    allowed_h: float
    state: Literal["fresh", "silent", "never", "ahead", "forecast"]


def ages(farm: Farm, logs: Sequence[BlockLogs], now: int) -> list[Age]:
    """Return how old each source of the farm is, those that need a look first.

    The same rules as `riskrules.logbook.status.status`, from readings at hand, so that a farm
    without a store is told too.

    Parameters
    ----------
    now : int
        By this computer's clock. [s since 1970 UTC]
    """
    last: dict[tuple[str, str], tuple[int | None, int | None]] = {}
    for one in logs:
        for r in one.sources:
            outside = any(not s.block and s.sensor == r.sensor for s in sources_of(farm))
            mine = any(s.block == one.text.block and s.sensor == r.sensor for s in sources_of(farm))
            key = ("" if outside and not mine else one.text.block, r.sensor)
            measured = r.time[~r.forecast]
            ends = (int(measured.max()) if len(measured) else None,
                    int(r.time.max()) if len(r) else None)  # fmt: skip
            last[key] = ends
    found = [_age(s, *last.get((s.block, s.sensor), (None, None)), now) for s in sources_of(farm)]
    order = ("never", "silent", "ahead", "forecast", "fresh")
    return sorted(found, key=lambda a: order.index(a.state))


def _age(source: Source, last: int | None, any_last: int | None, now: int) -> Age:
    where, allowed = (source.block, source.sensor), source.silent_after
    if last is None and any_last is None:
        return Age(*where, None, None, allowed, "never")
    if last is None:
        state: Literal["forecast", "silent"] = "forecast" if (any_last or 0) > now else "silent"
        return Age(*where, any_last, now - (any_last or 0), allowed, state)
    age = now - last
    if age < -HOUR_S:
        return Age(*where, last, age, allowed, "ahead")
    return Age(*where, last, age, allowed, "silent" if age > allowed * HOUR_S else "fresh")


def troubles_of(report: LogReport, block: str) -> list[TroubleRows]:
    """Return the troubles of a block, the most frequent first."""
    some = [t for t in report.troubles if t.block == block]
    return sorted(some, key=lambda t: (-t.count, t.sensor, t.variable, t.trouble))


@dataclass(frozen=True, slots=True)
class BlockSum:
    """How much of a block's log can be used: shares of all steps of all its variables. [1]"""

    block: str
    rows: int
    good: float
    doubted: float
    made: float
    missing: float


def sums(report: LogReport) -> list[BlockSum]:
    """Return the blocks of a report with what there is of their logs, the worst first."""
    found = []
    for name in dict.fromkeys(s.block for s in report.sources):
        some = lanes(report, name)
        total = sum(sum(lane.counts.values()) for lane in some)
        counts = {k: sum(lane.counts[k] for lane in some) for k in (*STATES, ABSENT)}
        share = {k: n / total if total else 0.0 for k, n in counts.items()}
        made = share["filled"] + share["borrowed"]
        missing = share["missing"] + share["failed"] + share[ABSENT]
        good = max(0.0, 1 - share["suspect"] - made - missing) if total else 0.0
        rows = sum(s.rows for s in report.sources if s.block == name)
        found.append(BlockSum(name, rows, good, share["suspect"], made, missing))
    return sorted(found, key=lambda b: (b.good, b.block))
