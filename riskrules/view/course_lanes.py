"""Lanes of a block's course that are stretches of time: states, stages, quality, severities."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from riskrules.facts.kinds import Cause
from riskrules.findings.model import SEVERITIES, Finding
from riskrules.journal.stale import limit_of
from riskrules.logs.events import Event
from riskrules.logs.readings import Readings
from riskrules.logs.troubles import Flag, Origin
from riskrules.packs.model import Threshold
from riskrules.view.reasons import seconds_of

Mask = npt.NDArray[np.bool_]
UNKNOWN = "unknown"
QUALITIES = ("missing", "doubted", "filled", "borrowed")
"""What a stretch of a log can be other than well measured; the first that fits is told."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time in a row of a lane, and what holds in it.

    ``word`` is the state, or 'unknown'; ``more`` what else there is to say, in words.
    ``count`` is how many stretches were joined for drawing. Times in s since 1970 UTC.
    """

    row: str
    start: int
    end: int
    word: str
    more: str = ""
    count: int = 1


def state_stretches(
    events: Sequence[Event],
    state: str,
    start: int,
    end: int,
    shared: Mapping[str, Threshold],
    fixed: str = "",
) -> list[Stretch]:
    """Return what a state of a block was, and where nobody had said so for too long.

    Parameters
    ----------
    events : sequence of Event
        Of the block, in time order.
    state : str
        Such as row_cover, sides, film, straw or stages.
    start, end : int
        [s since 1970 UTC]
    shared : mapping
        Thresholds of how old a state may get. [d]
    fixed : str
        What the farm file says once and for all, if it does.
    """
    if fixed:
        return [Stretch(state, start, end, fixed)] if end > start else []
    own = [e for e in events if e.event == state and e.time <= end]
    found, at = [], start
    for i, event in enumerate(own):
        until = own[i + 1].time if i + 1 < len(own) else end
        stale = event.time + int(limit_of(event, shared))
        word = event.what or " ".join(map(str, event.stages))
        found += [
            Stretch(state, at, event.time, UNKNOWN) if not i else None,
            Stretch(state, event.time, min(until, stale), word),
            Stretch(state, stale, until, UNKNOWN, word),
        ]
    if not own:
        found = [Stretch(state, start, end, UNKNOWN)]
    cut = [replace(s, start=max(s.start, start), end=min(s.end, end)) for s in found if s]
    return _joined([s for s in cut if s.end > s.start], 0)


def _joined(found: Sequence[Stretch], gap: float) -> list[Stretch]:
    """Join stretches of one row and word that are no farther apart than a gap. [s]"""
    out: list[Stretch] = []
    for s in found:
        last = out[-1] if out else None
        same = last and (last.row, last.word, last.more) == (s.row, s.word, s.more)
        if last and same and s.start - last.end <= gap:
            out[-1] = replace(last, end=max(s.end, last.end), count=last.count + (gap > 0))
        else:
            out.append(s)
    return out


def quality_stretches(
    rows: Readings | None, name: str, start: int, end: int, apart: float, label: str
) -> list[Stretch]:
    """Return where a variable of one source was missing, doubted, filled or borrowed.

    Steps that no row covers are missing too, from ``start`` on and up to ``end``.

    Parameters
    ----------
    rows : Readings or None
        Judged; None where no source has the variable: then all is missing.
    start, end : int
        ``end`` not after 'now': nobody measures what is to come. [s since 1970 UTC]
    apart : float
        Stretches of one quality closer than this are drawn as one. [s]
    label : str
        Name of the row in the lane.
    """
    if rows is None or name not in rows.values:
        return [Stretch(label, start, end, "missing")] if end > start else []
    keep = ~rows.forecast & (rows.time > start) & (rows.time - rows.step < end)
    time = rows.time[keep]
    found = list(_holes(time, rows.step, start, end, label))
    for word, bad in _bad(rows, name, keep).items():
        edges = np.flatnonzero(np.diff(np.concatenate([[0], bad.astype(np.int8), [0]])))
        for a, z in zip(edges[::2], edges[1::2], strict=True):
            first, last = int(time[a]) - rows.step, int(time[z - 1])
            found.append(Stretch(label, max(first, start), min(last, end), word))
    parts = []
    for word in QUALITIES:
        own = sorted((s for s in found if s.word == word), key=lambda s: s.start)
        parts += _joined(own, apart)
    return sorted(parts, key=lambda s: (s.start, s.end, s.word))


def _holes(time: object, step: int, start: int, end: int, label: str) -> list[Stretch]:
    """Return the steps that no row covers."""
    ends = np.concatenate([[start], np.asarray(time, dtype=np.int64), [end + step]])
    wide = np.flatnonzero(np.diff(ends) > 1.5 * step)
    found = []
    for i in wide:
        a, z = int(ends[i]), min(int(ends[i + 1]) - step, end)
        if z > a:
            found.append(Stretch(label, a, z, "missing"))
    return found


def _bad(rows: Readings, name: str, keep: Mask) -> dict[str, Mask]:
    """Return which rows are of which quality; each row is of one at most."""
    value = rows.values[name][keep]
    flags = rows.flags.get(name)
    origin = rows.origin.get(name)
    cause = rows.cause[name][keep] if name in rows.cause else np.zeros(len(value), np.int64)
    none = np.zeros(len(value), dtype=bool)
    bad = none if flags is None else np.isin(flags[keep], (Flag.SUSPECT, Flag.FAIL))
    bad = bad | (cause & int(Cause.DOUBTED | Cause.STUCK | Cause.DISAGREE) != 0)
    filled = none if origin is None else origin[keep] == Origin.FILLED
    lent = none if origin is None else origin[keep] == Origin.BORROWED
    lent = np.ones(len(value), dtype=bool) if rows.lent else lent
    found = {"doubted": bad, "filled": filled & ~bad, "borrowed": lent & ~bad & ~filled}
    there = np.isfinite(value) | bad
    found["missing"] = ~there
    return {w: m & (there if w != "missing" else ~there) for w, m in found.items()}


@dataclass(frozen=True, slots=True)
class Worst:
    """A stretch in which the same findings of one hazard hold; ``findings`` the worst first."""

    hazard: str
    start: int
    end: int
    findings: tuple[Finding, ...]

    @property
    def severity(self) -> str:
        """That of the worst."""
        return self.findings[0].severity


def worst_stretches(findings: Sequence[Finding], start: int, end: int) -> list[Worst]:
    """Return which findings hold when, one row a hazard: none is hidden under another.

    A finding of a moment is drawn over a quarter of an hour.
    """
    found: list[Worst] = []
    for hazard in sorted({f.hazard for f in findings}):
        own = [f for f in findings if f.hazard == hazard]
        spans = [_span(f, start, end) for f in own]
        cuts = sorted({t for span in spans for t in span})
        for a, z in zip(cuts, cuts[1:], strict=False):
            here = [f for f, (lo, hi) in zip(own, spans, strict=True) if lo <= a and hi >= z]
            if here:
                here.sort(key=lambda f: (SEVERITIES.index(f.severity), f.start, f.id))
                found.append(Worst(hazard, a, z, tuple(here)))
    return found


def _span(f: Finding, start: int, end: int) -> tuple[int, int]:
    first = seconds_of(f.start)
    last = max(seconds_of(f.end), first + 900)
    return max(first, start), min(last, end)
