"""The morning: what last night did, what to do in order, what is unknown, what to confirm."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime

from riskrules.facts.kinds import Cause
from riskrules.findings.causes import WORDS
from riskrules.findings.model import SEVERITIES, Finding, UnknownFinding
from riskrules.logs.events import Event, of_block
from riskrules.review import BlockReview, Review
from riskrules.show import Style
from riskrules.view.course import words_of
from riskrules.view.marks import NO_MARKS, Mark, Marks
from riskrules.view.reasons import seconds_of
from riskrules.view.same import Asked
from riskrules.worklist.rank import WINDOW_WORDS, BlockJob, WorkItem

QUIET = "Quiet"
NOT_YET = WORDS[Cause.NOT_YET][0]
COMES_TO = {
    "lift_row_cover": ("row_cover", "off"), "uncover_for_bees": ("row_cover", "off"),
    "put_cover_on": ("row_cover", "on"), "open_sides": ("sides", "up"),
    "open_sides_to_dry": ("sides", "up"), "shut_sides": ("sides", "down"),
    "pick_sooner": ("pick", "done"), "cull_ripe_rot": ("cull", ""),
    "clear_old_leaves": ("leaves", ""), "lay_straw": ("straw", "laid"),
}  # fmt: skip
"""What is written down once a job is done, as an events file has it. (assumption: by the words of
both; whether it was this job, people say by a mark)"""
FRESH_S = 2 * 3600
"""How old the last reading of a block may be for its night to be called covered. [s] (assumption,
as for the state of a block in a review)"""


@dataclass(frozen=True, slots=True)
class JournalView:
    """What the morning takes from the journal. ``there`` says whether there is one.

    ``events`` is what was done and seen since the window of the review begins, in time order;
    ``row`` the last measured row of all logs [s since 1970 UTC], by default that of the review.
    """

    there: bool = False
    marks: Marks = NO_MARKS
    asked: tuple[Asked, ...] = ()
    events: tuple[Event, ...] = ()
    row: int | None = None


@dataclass(frozen=True, slots=True)
class Seen:
    """One thing done or seen; ``counted`` where the review knows it.

    ``block`` is '' where it is about all of the farm. Time in s since 1970 UTC.
    """

    block: str
    time: int
    word: str
    counted: bool


@dataclass(frozen=True, slots=True)
class BlockNight:
    """One block: the worst of last night in one sentence, the rest of it, and what is ahead.

    ``severity`` is that of the worst finding, 'Unknown' where not all could be told, or 'Quiet'
    where the log covers the night and no rule fired. ``finding`` is the one whose sentence it is.
    """

    block: str
    severity: str
    sentence: str
    finding: Finding | None
    others: tuple[Finding, ...]
    ahead: tuple[Finding, ...]
    unknowns: int

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings of the block, the one that is told first."""
        return (*((self.finding,) if self.finding else ()), *self.others, *self.ahead)


@dataclass(frozen=True, slots=True)
class JobBlock:
    """A job in one block: the plan fitted to the hours at hand, its mark, and earlier marks.

    ``noted`` is what was noted that may be this very job, done already.
    """

    block: str
    plan: str
    start: int
    end: int
    span: str
    hours: float
    checks: tuple[str, ...]
    severity: str
    certainty: str
    findings: tuple[str, ...]
    mark: Mark | None
    earlier: tuple[Mark, ...]
    noted: Seen | None = None


@dataclass(frozen=True, slots=True)
class MorningJob:
    """A job over the blocks that need it, in the order of the work list."""

    job: str
    words: str
    window: str
    hours_from: str
    cautions: tuple[str, ...]
    evidence: tuple[tuple[str, str], ...]
    blocks: tuple[JobBlock, ...]


@dataclass(frozen=True, slots=True)
class UnknownGroup:
    """What the same causes leave open in several blocks, and what would settle it."""

    causes: tuple[str, ...]
    settle: tuple[str, ...]
    worst: str
    ahead: bool
    unknowns: tuple[UnknownFinding, ...]


@dataclass(frozen=True, slots=True)
class Morning:
    """The morning page. ``now`` in s since 1970 UTC, on the clock of ``style``.

    ``row`` is the last measured row, from which ``now`` differs where something was noted since.
    """

    farm: str
    style: Style
    now: int
    row: int
    day: date
    window: tuple[int, int]
    evaluator: str
    profile: str
    assumed: tuple[str, ...]
    blocks: tuple[str, ...]
    nights: tuple[BlockNight, ...]
    jobs: tuple[MorningJob, ...]
    crew_hours: float | None
    planned_hours: float
    unknowns: tuple[UnknownGroup, ...]
    asked: tuple[Asked, ...]
    later: tuple[Seen, ...]
    journal: bool

    @property
    def undone(self) -> tuple[tuple[MorningJob, JobBlock], ...]:
        """What the hours at hand do not reach for."""
        return tuple((j, b) for j in self.jobs for b in j.blocks if b.plan == "left undone")

    def only(self, blocks: Collection[str]) -> Morning:
        """Return the same for some blocks; the plan stays that of the whole farm."""
        jobs = [
            replace(j, blocks=tuple(b for b in j.blocks if b.block in blocks)) for j in self.jobs
        ]
        groups = [
            replace(g, unknowns=tuple(u for u in g.unknowns if u.block in blocks))
            for g in self.unknowns
        ]
        return replace(
            self,
            nights=tuple(n for n in self.nights if n.block in blocks),
            jobs=tuple(j for j in jobs if j.blocks),
            unknowns=tuple(g for g in groups if g.unknowns),
            asked=tuple(a for a in self.asked if a.block in blocks),
            later=tuple(e for e in self.later if not e.block or e.block in blocks),
        )


def morning(
    review: Review, journal_view: JournalView | None = None, crew_hours: float | None = None
) -> Morning:
    """Return the morning page of a review.

    Parameters
    ----------
    review : Review
        Of the farm, by whatever hours at hand.
    journal_view : JournalView, optional
        Marks made, states to confirm and what was noted since the last reading; without it there
        is no journal.
    crew_hours : float, optional
        Hours of work at hand today, to which the work list is fitted. [h]
    """
    seen = journal_view or JournalView()
    row = review.now if seen.row is None else seen.row
    jobs, used = _jobs(review, seen, crew_hours)
    nights = sorted((_night(b, review) for b in review.blocks), key=_worst_first)
    return Morning(
        farm=review.farm.text.farm,
        style=review.style,
        now=review.now,
        row=row,
        day=day_of(review),
        window=review.window,
        evaluator=review.evaluator,
        profile=review.book.profile,
        assumed=review.farm.assumed,
        blocks=tuple(b.text.block for b in review.blocks),
        nights=tuple(nights),
        jobs=jobs,
        crew_hours=crew_hours,
        planned_hours=used,
        unknowns=_groups(review),
        asked=seen.asked,
        later=tuple(_seen(e, review) for e in reversed(seen.events) if e.time > row),
        journal=seen.there,
    )


def day_of(review: Review) -> date:
    """Return the day that a review's 'now' is on, by the farm's clock."""
    return datetime.fromtimestamp(review.now, review.style.zone).date()


def _night(b: BlockReview, review: Review) -> BlockNight:
    """Return what the night did to a block; in the order of the review, the worst told first."""
    own = [f for f in review.findings if f.block == b.text.block]
    past = [f for f in own if seconds_of(f.start) <= review.now]
    ahead = tuple(f for f in own if seconds_of(f.start) > review.now)
    open_now = [u for u in b.unknowns if seconds_of(u.start) <= review.now]
    worst = min(past, key=lambda f: SEVERITIES.index(f.severity), default=None)
    others = tuple(f for f in past if f is not worst)
    if worst is not None:
        severity, sentence = worst.severity, worst.sentence
    elif b.state.state in ("unknown", "not evaluated"):
        severity, sentence = "Unknown", b.state.sentence
    elif b.state.state == "quiet" and not open_now:
        severity, sentence = QUIET, b.state.sentence
    else:  # findings are ahead only: the state's sentence speaks of those
        severity, sentence = _told(b, review, bool(open_now))
    return BlockNight(b.text.block, severity, sentence, worst, others, ahead, len(b.unknowns))


def _told(b: BlockReview, review: Review, is_open: bool) -> tuple[str, str]:
    """Return severity and sentence of a night in which nothing fired, with findings ahead."""
    lo, hi = review.window[0], min(review.window[1], review.now)
    begins, ends = seconds_of(b.state.logged_from), seconds_of(b.state.logged_until)
    gaps = [
        f for f in b.facts.get("log_gap", ())
        if f.start[0] < hi and f.end[1] > lo and f.words["variable"] != "outside"
    ]  # fmt: skip
    if is_open or gaps or begins > lo or ends < hi - FRESH_S:
        return "Unknown", "Nothing fired, but not all could be told."
    return QUIET, f"Quiet: the log covers {review.style.span(lo, hi)} and no rule fired."


def _worst_first(night: BlockNight) -> tuple[int, int, str]:
    """Order blocks: by last night, the unknown before the quiet; then by what is ahead."""
    order = (*SEVERITIES, QUIET)
    ahead = min((SEVERITIES.index(f.severity) for f in night.ahead), default=len(SEVERITIES))
    return order.index(night.severity), ahead, night.block


def _jobs(
    review: Review, seen: JournalView, crew_hours: float | None
) -> tuple[tuple[MorningJob, ...], float]:
    """Return the jobs fitted to the hours at hand, and the hours that are planned. [h]

    As in a review, in order and each while it fits. What was put off or is not needed here takes
    no hours; what was done has taken them.
    """
    used, found, marks = 0.0, [], seen.marks
    for item in review.work.items:
        blocks = []
        for b in item.blocks:
            where = (b.block, item.job.name)
            mark = marks.today.get(where)
            plan = "do" if b.plan == "left undone" else str(b.plan)
            counts = plan == "do" and (mark is None or mark.what == "done")
            counts |= mark is not None and mark.what == "done"
            if counts and not mark and crew_hours is not None:
                if used + b.hours > crew_hours + 1e-9:
                    plan, counts = "left undone", False
            used += b.hours if counts else 0.0
            made = _job_block(b, plan, review.style, mark, marks.earlier.get(where, ()))
            done = _done_already(item.job.name, b.block, seen.events)
            blocks.append(replace(made, noted=_seen(done, review) if done else None))
        found.append(_morning_job(item, blocks, review))
    return tuple(found), round(used, 2)


def _done_already(job: str, block: str, events: Sequence[Event]) -> Event | None:
    """Return the last event of a job's kind in a block, where it is what the job comes to."""
    kind, what = COMES_TO.get(job, ("", ""))
    own = [e for e in of_block(events, block) if e.event == kind]
    return own[-1] if own and own[-1].what == what else None


def _seen(event: Event, review: Review) -> Seen:
    return Seen(event.block, event.time, words_of(event), event.time <= review.now)


def _job_block(
    b: BlockJob, plan: str, style: Style, mark: Mark | None, earlier: tuple[Mark, ...]
) -> JobBlock:
    return JobBlock(
        b.block, plan, b.start, b.end, style.span(b.start, b.end), b.hours, tuple(b.guard.words),
        b.severity, b.certainty, b.findings, mark, earlier,
    )  # fmt: skip


def _morning_job(item: WorkItem, blocks: Sequence[JobBlock], review: Review) -> MorningJob:
    return MorningJob(
        item.job.name,
        item.job.words,
        WINDOW_WORDS[item.job.window],
        item.hours_from,
        tuple(review.jobs.cautions[c] for c in item.cautions),
        tuple((s.text, s.tag) for s in item.job.evidence),
        tuple(blocks),
    )


def _groups(review: Review) -> tuple[UnknownGroup, ...]:
    """Return the unknowns by their causes: what is open now first, the worst first."""
    found: dict[tuple[str, ...], list[UnknownFinding]] = {}
    for u in review.unknowns:
        found.setdefault(u.causes, []).append(u)
    groups = []
    for causes, same in found.items():
        settle = tuple(dict.fromkeys(s for u in same for s in u.settle))
        worst = min((u.worst_severity for u in same), key=SEVERITIES.index)
        groups.append(UnknownGroup(causes, settle, worst, causes == (NOT_YET,), tuple(same)))
    return tuple(sorted(groups, key=lambda g: (g.ahead, SEVERITIES.index(g.worst), g.causes)))
