"""The work list: jobs merged over findings and blocks, ordered by what they save, and fitted.

Order: severity, then certainty, then how soon the window shuts, then fruit at stake.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal

from riskrules.facts.table import Facts
from riskrules.findings.model import CERTAINTIES, SEVERITIES, Finding
from riskrules.show import Style
from riskrules.worklist.guards import GuardAnswer, guard
from riskrules.worklist.jobs import Job, JobBook

HOUR_S = 3600
DAY_S = 86_400
Plan = Literal["do", "left undone", "later", "must wait"]

WINDOW_WORDS = {
    "now": "now",
    "today": "by daylight today",
    "dawn_until_dry": "from dawn until dry",
    "before_heat": "before the heat",
    "at_sunset": "at sunset",
    "before_next_pick": "before the next pick",
    "at_next_pick": "at the next pick",
    "after_next_pick": "after the next pick",
    "coming_weeks": "in the coming weeks",
}


@dataclass(frozen=True, slots=True)
class BlockJob:
    """One job in one block."""

    block: str
    start: int
    end: int
    hours: float
    guard: GuardAnswer
    severity: str
    certainty: str
    at_stake: float
    findings: tuple[str, ...]
    plan: Plan = "do"

    @property
    def order(self) -> tuple[int, int, int, float, str]:
        """Severity, certainty, how soon the window shuts, fruit at stake, name."""
        return (
            SEVERITIES.index(self.severity),
            CERTAINTIES.index(self.certainty),
            self.end,
            -self.at_stake,
            self.block,
        )


@dataclass(frozen=True, slots=True)
class WorkItem:
    """One job over the blocks that need it, the most pressing block first."""

    job: Job
    blocks: tuple[BlockJob, ...]
    hours_from: str
    cautions: tuple[str, ...]

    @property
    def order(self) -> tuple[object, ...]:
        """That of its most pressing block, then the job's name."""
        return (*self.blocks[0].order, self.job.name)


@dataclass(frozen=True, slots=True)
class BlockDay:
    """What ranking needs of a block: its facts, what it has, and when the sun rises and sets.

    ``lacks`` holds what the farm file says the block has not: tunnel, row_covers.
    """

    block: str
    facts: Facts
    at_stake: float
    sunrise: int
    sunset: int
    next_sunrise: int
    lacks: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class WorkList:
    """The jobs in order, and how they fit the crew's hours."""

    items: tuple[WorkItem, ...]
    crew_hours: float | None
    planned_hours: float
    said: str


def work_list(
    findings: Sequence[Finding],
    days: Mapping[str, BlockDay],
    book: JobBook,
    own_hours: Mapping[str, float],
    style: Style,
    now: int,
    lift_margin: float,
    crew_hours: float | None = None,
) -> WorkList:
    """Merge the jobs of findings, order them by what they save, and fit them into the crew's day.

    Findings that are past lead to no job.
    """
    wanted: dict[str, dict[str, list[Finding]]] = {}
    for f in findings:
        for name in f.jobs if f.urgency != "Past" else ():
            if book.jobs[name].needs & days[f.block].lacks:
                continue
            wanted.setdefault(name, {}).setdefault(f.block, []).append(f)
    items = []
    for name, by_block in wanted.items():
        job = book.jobs[name]
        hours = own_hours.get(name, job.hours)
        blocks = [
            _block_job(job, days[b], found, hours, style, now, lift_margin)
            for b, found in by_block.items()
        ]
        blocks.sort(key=lambda b: b.order)
        origin = "your own figure" if name in own_hours else "common practice, no source"
        used = {c for fs in by_block.values() for f in fs for c in f.cautions} & set(book.cautions)
        cautions = tuple(sorted({*job.cautions, *_people(job, used)}))
        items.append(WorkItem(job, tuple(blocks), origin, cautions))
    items.sort(key=lambda item: item.order)
    return _fit(items, crew_hours, _end_of_day(now, style))


def _people(job: Job, cautions: set[str]) -> set[str]:
    """Return a finding's cautions for those of its jobs that send people in."""
    return cautions if "entry" in job.guards else set()


def _block_job(
    job: Job,
    day: BlockDay,
    found: Sequence[Finding],
    hours: float,
    style: Style,
    now: int,
    lift_margin: float,
) -> BlockJob:
    answer = guard(job, day.facts, style, lift_margin, now)
    start, end = window(job, day, now)
    start = max(start, answer.until)
    worst = min((f.severity for f in found), key=SEVERITIES.index)
    surest = min((f.certainty for f in found if f.severity == worst), key=CERTAINTIES.index)
    plan: Plan = "do"
    checked = "cold" not in job.guards or start < day.facts["cold_watch"].end[1][0]
    if answer.ready == "wait" or start >= end or not checked:
        plan = "must wait"
    ids = tuple(sorted(f.id for f in found))
    return BlockJob(
        day.block, start, max(end, start), hours, answer, worst, surest, day.at_stake, ids, plan
    )


def window(job: Job, day: BlockDay, now: int) -> tuple[int, int]:
    """Return when a job is best done. [s since 1970 UTC]

    Lengths that no source gives are ours (assumption): 'dawn until dry' ends 5 h after sunrise,
    'before the heat' 4 h after it, 'now' 3 h from now, 'at sunset' spans an hour before and half
    an hour after.
    """
    light = day.sunrise if now < day.sunset else day.next_sunrise
    dusk = day.sunset if now < day.sunset else day.sunset + DAY_S
    spans = {
        "now": (now, now + 3 * HOUR_S),
        "today": (light, dusk),
        "dawn_until_dry": (light, light + 5 * HOUR_S),
        "before_heat": (light, light + 4 * HOUR_S),
        "at_sunset": (dusk - HOUR_S, dusk + HOUR_S // 2),
        "coming_weeks": (now, now + 28 * DAY_S),
    }
    if job.window in spans:
        start, end = spans[job.window]
        if end <= now:
            start, end = start + DAY_S, end + DAY_S
        return max(start, now), end
    return _pick_window(job.window, day, now)


def _pick_window(name: str, day: BlockDay, now: int) -> tuple[int, int]:
    table = day.facts["pick"]
    ahead = [(f.start[0], f.end[1]) for f in table if f.start[0] >= now]
    start, end = min(ahead, default=(now + 2 * DAY_S, now + 2 * DAY_S))
    if name == "before_next_pick":
        return now, start
    if name == "at_next_pick":
        return start, end + HOUR_S
    return end, end + 10 * HOUR_S


def _end_of_day(now: int, style: Style) -> int:
    midnight = datetime.fromtimestamp(now, style.zone).replace(hour=0, minute=0, second=0)
    return int((midnight + timedelta(days=1)).timestamp())


def _fit(items: list[WorkItem], crew_hours: float | None, end_of_day: int) -> WorkList:
    """Give the crew's hours to jobs in order; what does not fit is said, never dropped."""
    used, left, fitted = 0.0, 0, []
    for item in items:
        blocks = []
        for b in item.blocks:
            plan: Plan = b.plan
            if plan == "do" and b.start >= end_of_day:
                plan = "later"
            if plan == "do" and crew_hours is not None and used + b.hours > crew_hours + 1e-9:
                plan = "left undone"
                left += 1
            if plan == "do":
                used += b.hours
            blocks.append(replace(b, plan=plan))
        fitted.append(replace(item, blocks=tuple(blocks)))
    return WorkList(tuple(fitted), crew_hours, round(used, 2), _said(fitted, crew_hours, used))


def _said(items: Sequence[WorkItem], crew_hours: float | None, used: float) -> str:
    undone = [
        f"{item.job.name.replace('_', ' ')} in {b.block} ({b.hours:g} h)"
        for item in items
        for b in item.blocks
        if b.plan == "left undone"
    ]
    if crew_hours is None:
        return f"{used:g} h of work today."
    if not undone:
        return f"{used:g} h of work today; {crew_hours:g} h at hand are enough."
    return f"{used:g} of {crew_hours:g} h filled. Left undone: {'; '.join(undone)}."
