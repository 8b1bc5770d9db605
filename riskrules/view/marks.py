"""What became of jobs, as the journal keeps it: marks made with one tap, and taken back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from uuid import UUID, uuid4

from riskrules.journal.records import JobDone, Record, TakenBack
from riskrules.journal.store import Journal

MARKS = ("done", "put_off", "not_here")
"""What can become of a job."""
LOOK_BACK_D = 14
"""How long an earlier mark of the same job and block is still told. [d] (assumption)"""
DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark as it is kept. ``made`` is when it was made. [s since 1970 UTC]"""

    record: UUID
    block: str
    job: str
    what: str
    day: date
    who: str
    made: int
    finding: str = ""


@dataclass(frozen=True, slots=True)
class Marks:
    """The marks of a day by block and job, and the earlier ones, the latest first."""

    today: Mapping[tuple[str, str], Mark]
    earlier: Mapping[tuple[str, str], tuple[Mark, ...]]


NO_MARKS = Marks({}, {})


def mark_of(record: Record) -> Mark | None:
    """Return the mark that a record keeps; None where it keeps none."""
    body = record.body
    if not isinstance(body, JobDone):
        return None
    return Mark(record.id, record.block or "", body.job, body.what, body.day, record.who,
                record.made, body.finding or "")  # fmt: skip


def marks_of(journal: Journal | None, day: date) -> Marks:
    """Return the marks that the journal holds for a day, and those of the days before it.

    Where two people marked the same job, the later record counts.
    """
    return NO_MARKS if journal is None else marks_on(_standing(journal), day)


def marks_on(standing: Iterable[Mark], day: date) -> Marks:
    """Return the marks of a day, and the earlier ones, of all that count."""
    today: dict[tuple[str, str], Mark] = {}
    earlier: dict[tuple[str, str], list[Mark]] = {}
    for mark in sorted(standing, key=lambda m: (m.day, m.made, str(m.record))):
        where = (mark.block, mark.job)
        if mark.day == day:
            today[where] = mark
        elif 0 < (day - mark.day).days <= LOOK_BACK_D:
            earlier.setdefault(where, []).append(mark)
    return Marks(today, {k: tuple(reversed(v)) for k, v in earlier.items()})


def _standing(journal: Journal, block: str | None = None) -> list[Mark]:
    found = (mark_of(r) for r in journal.counting(block, kinds=("job",)))
    return [mark for mark in found if mark is not None]


def mark_job(
    journal: Journal,
    block: str,
    job: str,
    day: date,
    what: str | None,
    who: str,
    time: int,
    made: int,
    finding: str = "",
    undo_why: str = "taken back on the morning page",
    change_why: str = "changed on the morning page",
    standing: Sequence[Mark] | None = None,
) -> list[Record]:
    """Keep a mark at once, change it, or take it back, and return the records that were written.

    Nothing is written where the mark is there already. What stood before is corrected, never
    erased.

    Parameters
    ----------
    what : str or None
        One of `MARKS`; None takes back what stands.
    time, made : int
        When it was done, and when this was said. [s since 1970 UTC]
    standing : sequence of Mark, optional
        The marks of this block, job and day that count, where they are known; else the journal
        is asked.

    Raises
    ------
    ValueError
        If ``what`` is no mark.
    JournalError
        If it could not be kept.
    """
    if what is not None and what not in MARKS:
        raise ValueError(f"mark '{what}'; expected one of {', '.join(MARKS)}")
    known = _standing(journal, block) if standing is None else standing
    standing = [m for m in known if (m.block, m.job, m.day) == (block, job, day)]
    standing.sort(key=lambda m: (m.made, str(m.record)))
    if (standing[-1].what if standing else None) == what:
        return []
    made_by = {"block": block, "time": time, "who": who, "made": made, "came_by": "dashboard"}
    records = [
        Record(id=uuid4(), body=TakenBack(), replaces=m.record, why=undo_why, **made_by)  # type: ignore[arg-type]
        for m in (standing if what is None else standing[:-1])
    ]
    if what is not None:
        body = JobDone(job=job, what=what, day=day, finding=finding[:300] or None)  # type: ignore[arg-type]
        more = {"replaces": standing[-1].record, "why": change_why} if standing else {}
        records.append(Record(id=uuid4(), body=body, **made_by, **more))  # type: ignore[arg-type]
    journal.add(records)
    return records


def moment_of(now: int, clock: int) -> int:
    """Return the time that something said on the morning page is about. [s since 1970 UTC]

    That is the clock's, as long as the data reach to within a day of it; what is said while a
    review of another time is looked at is about that time.

    Examples
    --------
    >>> moment_of(1_000_000, 1_003_600), moment_of(1_000_000, 9_000_000)
    (1003600, 1000000)
    """
    return clock if abs(clock - now) <= DAY_S else now
