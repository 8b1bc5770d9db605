"""What a replay found, as a few lines of plain text for a terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from riskrules.tuning.record import NAMES, WHATS, Record
from riskrules.tuning.scores import Estimate, Score
from riskrules.tuning.summary import Summary, missing_of
from riskrules.tuning.sweep import Sweep

MOST = 12
"""Lines of a list that a terminal shows; the record holds all. (assumption)"""
SHOWN = ("detection", "false alarms", "skill")


def lines_of(record: Record) -> Iterator[str]:
    """Yield what an adviser wants to know first: the data, what changes, scores, the sweep."""
    yield from _data(record.summary)
    yield from record.remarks
    names = [p.name for p in record.profiles]
    if len(names) > 1:
        yield from _changes(record.summary, names)
    yield from _scores(record.scores)
    for i, sweep in enumerate(record.sweeps):
        yield from _sweep(sweep)
        yield sweep.said
        yield from (apart.said for apart in record.apart[i : i + 1])
        for summary in record.swept[i : i + 1]:
            yield from _changes(summary, [row.name for row in sweep.rows])


def _data(summary: Summary) -> Iterator[str]:
    covers = summary.covers
    seen = sum(c.sightings for c in covers)
    looked = sum(1 for c in covers if c.sightings)
    yield f"{len(covers)} block-seasons; scouts counted {seen} times, in {looked} of them."
    short = missing_of(covers)
    if short:
        worst = ", ".join(f"{c.block} {c.season} ({c.share:.0%})" for c in short[:MOST])
        more = f" and {len(short) - MOST} more" if len(short) > MOST else ""
        yield f"Logs cover less than nine tenths of: {worst}{more}. The rest is unknown."


def _changes(summary: Summary, names: Sequence[str]) -> Iterator[str]:
    """Yield totals by profile, then the months and rules in which most changed."""
    yield f"Findings against {summary.base}:"
    for name in (n for n in names if n != summary.base):
        counts = ", ".join(f"{summary.changed(name, w)} {w}" for w in WHATS)
        more = summary.hours_of(name) - summary.hours_of(summary.base)
        yield f"  {name}: {counts}; {more:+.1f} crew hours"
    by: Counter[tuple[str, str, str, str]] = Counter()
    for key, n in summary.changes.items():
        by[key[0], key[2], key[3], key[4]] += n
    for (name, month, rule, became), n in sorted(by.items(), key=_most)[:MOST]:
        yield f"    {name}, {month}: {n} {became} of {rule}"
    if len(by) > MOST:
        yield f"    and {len(by) - MOST} more lines; the record has them all, by block too"


def _most(counted: tuple[tuple[str, ...], int]) -> tuple[int, tuple[str, ...]]:
    return -counted[1], counted[0]


def _scores(scores: Sequence[Score]) -> Iterator[str]:
    for s in scores:
        yield f"{s.profile}, {s.hazard.replace('_', ' ')}:"
        for name in SHOWN if s.estimates else ():
            yield f"  {NAMES[name]}: {number(s.estimate(name))}"
        yield from (f"  {note}" for note in s.said)


def _sweep(sweep: Sweep) -> Iterator[str]:
    yield f"Sweep of {' and '.join(a.threshold for a in sweep.axes)}, a block-season:"
    for row in sweep.rows:
        now = " (now)" if row.present else ""
        found = number(row.score.estimate("detection"))
        hours = f"{row.crew_hours:.1f} crew hours"
        yield f"  {row.name}{now}: {row.alarms:.1f} findings, {hours}, foreseen {found}"


def number(e: Estimate) -> str:
    """Return a score as text, with its interval; one that is no guide says so.

    Examples
    --------
    >>> number(Estimate("skill", 0.5, 0.3, 0.7, None, None, 12, 9))
    '0.50 (0.30 to 0.70)'
    """
    if e.value is None:
        return e.said or "no value"
    ends = "" if e.low is None or e.high is None else f" ({e.low:.2f} to {e.high:.2f})"
    return f"{e.value:.2f}{ends}" + (", no guide" if e.said else "")
