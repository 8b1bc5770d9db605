"""What a replay found, as plain rows and marks for a page to draw."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from riskrules.packs.load import Rulebook
from riskrules.show import Style
from riskrules.tuning.record import ENOUGH, WHATS, Record
from riskrules.tuning.record_file import read_record
from riskrules.tuning.rows import What
from riskrules.tuning.scores import Estimate, Score
from riskrules.tuning.summary import Cover, Summary, missing_of
from riskrules.tuning.sweep import Axis, Sweep, SweepRow
from riskrules.view.kept import Kept
from riskrules.view.thresholds import exact
from riskrules.worklist.jobs import JobBook

_records = Kept[Record](6)


@dataclass(frozen=True, slots=True)
class Changed:
    """How many findings of a rule came, went or moved in a month, and how many in which block."""

    month: str
    rule: str
    title: str
    counts: dict[What, int]
    blocks: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class JobCost:
    """The crew hours of a job as it is now and as it would be, over all that was replayed. [h]

    ``source`` says whose figure the hours of one time are.
    """

    job: str
    words: str
    before: float
    after: float
    source: str

    @property
    def more(self) -> float:
        """How many hours more it would be. [h]"""
        return round(self.after - self.before, 1)


@dataclass(frozen=True, slots=True)
class Bar:
    """One score to draw: what of, its value and its interval; ``said`` where it is no guide."""

    of: str
    name: str
    value: float | None
    low: float | None
    high: float | None
    least: float | None
    most: float | None
    cases: int
    block_seasons: int
    said: str


@dataclass(frozen=True, slots=True)
class Mark:
    """One setting of a sweep to draw, per block and season.

    ``words`` has the values in the reader's units; ``alarms`` are findings, ``hours`` crew hours
    of the hazard's jobs [h]; detection is None where nothing can be told.
    """

    words: str
    values: tuple[float, ...]
    present: bool
    alarms: float
    hours: float
    detection: float | None
    low: float | None
    high: float | None
    said: str


@dataclass(frozen=True, slots=True)
class AxisWords:
    """A threshold of a sweep in words: its present value with source and tag."""

    threshold: str
    name: str
    unit: str
    values: tuple[str, ...]
    present: str
    source: str
    tag: str
    origin: str


def record_at(path: Path) -> Record:
    """Return the record of a replay, read again when the file changes; RiskRulesError if none."""
    try:
        stamp = path.stat().st_mtime_ns
    except OSError:
        stamp = 0
    return _records.get((str(path), stamp), lambda: read_record(path))


def titles_of(book: Rulebook) -> dict[str, str]:
    """Return the titles of all rules by their keys."""
    return {rule.key: rule.title for rule in book.rules}


def changed(summary: Summary, name: str, titles: dict[str, str]) -> tuple[Changed, ...]:
    """Return what became of findings under a profile or setting, by month and rule."""
    found: dict[tuple[str, str], Counter[What]] = {}
    where: dict[tuple[str, str], Counter[str]] = {}
    for (of, block, month, rule, what), n in summary.changes.items():
        if of == name:
            found.setdefault((month, rule), Counter())[what] += n
            where.setdefault((month, rule), Counter())[block] += n
    return tuple(
        Changed(
            month, rule, titles.get(rule, rule), {w: counts[w] for w in WHATS},
            tuple(sorted(where[month, rule].items())),
        )
        for (month, rule), counts in sorted(found.items())
    )  # fmt: skip


def jobs(summary: Summary, name: str, book: JobBook) -> tuple[JobCost, ...]:
    """Return the crew hours of every job under a profile or setting, beside those of the base."""
    known = sorted({job for of, job in summary.hours if of in (name, summary.base)})
    return tuple(
        JobCost(
            job, book.jobs[job].words if job in book.jobs else job.replace("_", " "),
            round(summary.hours.get((summary.base, job), 0.0), 1),
            round(summary.hours.get((name, job), 0.0), 1), summary.hours_from.get(job, ""),
        )
        for job in known
    )  # fmt: skip


def bars(scores: Sequence[Score], hazard: str) -> tuple[Bar, ...]:
    """Return the scores for a hazard, one bar a profile and kind of score."""
    return tuple(
        Bar(
            s.profile, e.name, e.value, e.low, e.high, e.least, e.most, e.cases, e.block_seasons,
            e.said,
        )
        for s in scores if s.hazard == hazard for e in s.estimates
    )  # fmt: skip


def notes(scores: Sequence[Score], hazard: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """Return what is to be said of the scores for a hazard, each with the profiles it is of."""
    found: dict[str, list[str]] = {}
    for s in scores:
        for note in s.said if s.hazard == hazard else ():
            found.setdefault(note, []).append(s.profile)
    return tuple((note, tuple(names)) for note, names in found.items())


def marks(sweep: Sweep, style: Style) -> tuple[Mark, ...]:
    """Return the settings of a sweep as marks, in their order."""
    return tuple(_mark(row, sweep.axes, style) for row in sweep.rows)


def _mark(row: SweepRow, axes: Sequence[Axis], style: Style) -> Mark:
    e: Estimate = row.score.estimate("detection")
    words = setting(axes, row.values, style)
    return Mark(
        words, row.values, row.present, row.alarms, row.crew_hours, e.value, e.low, e.high, e.said
    )  # fmt: skip


def setting(axes: Sequence[Axis], values: Sequence[float], style: Style) -> str:
    """Return the values of a setting in the reader's units."""
    return ", ".join(exact(v, a.unit, style) for a, v in zip(axes, values, strict=True))


def axes(sweep: Sweep, style: Style) -> tuple[AxisWords, ...]:
    """Return the thresholds of a sweep in words."""
    return tuple(
        AxisWords(
            a.threshold, a.threshold.partition(".")[2].replace("_", " "),
            style.unit(a.unit).strip(), tuple(exact(v, a.unit, style) for v in a.values),
            exact(a.present, a.unit, style), a.source, a.tag, a.origin,
        )
        for a in sweep.axes
    )  # fmt: skip


def short(record: Record) -> list[Cover]:
    """Return the block-seasons whose log covers less than nine tenths, the worst first."""
    return missing_of(record.summary.covers, ENOUGH)


def unknown(record: Record) -> tuple[tuple[str, int], ...]:
    """Return why something could not be told as the packs ship, and how often."""
    return tuple(record.summary.causes_of(record.summary.base))
