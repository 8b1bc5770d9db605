"""The morning page as lines of text in order: what the HTML file and the PDF both print."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from riskrules.findings.model import Finding
from riskrules.show import Style
from riskrules.view.drawn import Say
from riskrules.view.morning import BlockNight, JobBlock, Morning, MorningJob, UnknownGroup
from riskrules.view.reasons import FactLine, reasons_of, seconds_of

LATER_SHOWN = 12
"""Entries since the last reading that are shown one by one. (assumption: what a screen holds)"""
Kind = Literal["title", "part", "head", "said", "fine", "point", "ticks"]


@dataclass(frozen=True, slots=True)
class Line:
    """One paragraph. ``severity`` is drawn before it; ``ticks`` are boxes to tick by hand."""

    kind: Kind
    text: str
    severity: str = ""
    ticks: tuple[str, ...] = ()


def morning_lines(m: Morning, say: Say) -> list[Line]:
    """Return the whole morning page: last night, jobs, unknowns, states to confirm, reasons."""
    lines = [Line("title", say("dawn.print_title", farm=m.farm, moment=m.style.moment(m.now)))]
    lines.append(Line("fine", say("dawn.print_about", span=m.style.span(*m.window),
                                  evaluator=m.evaluator)))  # fmt: skip
    if m.profile:
        lines.append(Line("fine", say("dawn.profile", profile=m.profile)))
    lines += [Line("fine", text) for text in m.assumed]
    lines += later_lines(m, say)
    lines += _nights(m, say)
    lines += _jobs(m, say)
    lines += unknown_lines(m.unknowns, say)
    lines += _asked(m, say)
    lines.append(Line("part", say("dawn.reasons")))
    for night in m.nights:
        for f in night.findings:
            lines.append(Line("head", f"{f.block}: {f.title}", f.severity))
            lines += reason_lines(f, m.style, say)
    return lines


def later_lines(m: Morning, say: Say) -> Iterator[Line]:
    """Give what was noted since the last reading, the latest first, and whether it counts here."""
    if not m.later:
        return
    yield Line("part", say("dawn.later"))
    moments = {"row": m.style.moment(m.row), "now": m.style.moment(m.now)}
    if any(e.counted for e in m.later):
        yield Line("said", say("dawn.later_counted", **moments))
    if not all(e.counted for e in m.later):
        yield Line("said", say("dawn.later_waits", **moments))
    for e in m.later[:LATER_SHOWN]:
        where = e.block or say("dawn.later_everywhere")
        key = "dawn.later_line" if e.counted else "dawn.later_line_waits"
        what = say("dawn.nothing_else") if e.word == "checked" else e.word
        yield Line("point", say(key, moment=m.style.moment(e.time), where=where, what=what))
    if len(m.later) > LATER_SHOWN:
        yield Line("fine", say("dawn.later_more", n=len(m.later) - LATER_SHOWN))


def _nights(m: Morning, say: Say) -> Iterator[Line]:
    yield Line("part", say("dawn.last_night"))
    for night in m.nights:
        yield Line("head", night.block, night.severity)
        yield Line("said", night.sentence)
        for f in night.others:
            yield Line("point", f.sentence, f.severity)
        for f in night.ahead:
            yield Line("point", say("dawn.ahead", sentence=f.sentence), f.severity)
        yield from (Line("fine", text) for text in _open(night, say))


def _open(night: BlockNight, say: Say) -> Iterator[str]:
    if night.unknowns:
        yield say("dawn.open_one" if night.unknowns == 1 else "dawn.open", n=night.unknowns)


def _jobs(m: Morning, say: Say) -> Iterator[Line]:
    yield Line("part", say("dawn.today"))
    yield Line("said", fit_said(m, say))
    for number, job in enumerate(m.jobs, 1):
        yield Line("head", f"{number}. {job.words}")
        yield Line("fine", say("dawn.window", window=job.window, origin=job.hours_from))
        for b in job.blocks:
            ticks = tuple(say(f"dawn.mark_{what}") for what in ("done", "put_off", "not_here"))
            mark = f" {mark_said(b, say, m.style)}" if b.mark else ""
            yield Line("ticks", block_said(b, say) + mark, b.severity, ticks)
            yield from (Line("point", text) for text in noted_said(b, say, m.style))
            yield from (Line("point", check) for check in b.checks)
    yield from care_lines(m, say)


def care_lines(m: Morning, say: Say) -> Iterator[Line]:
    """Give the cautions of all jobs, each once, with the jobs that they belong to by number."""
    found: dict[str, list[int]] = {}
    for number, job in enumerate(m.jobs, 1):
        for caution in job.cautions:
            found.setdefault(caution, []).append(number)
    if found:
        yield Line("part", say("dawn.care"))
    for caution, numbers in found.items():
        jobs = ", ".join(map(str, numbers))
        yield Line("point", say("dawn.care_line", caution=caution, jobs=jobs))


def fit_said(m: Morning, say: Say) -> str:
    """Return how the work fits the hours at hand, in one sentence; what does not fit is named."""
    used = f"{m.planned_hours:g}"
    if not m.jobs:
        return say("dawn.no_jobs")
    if m.crew_hours is None:
        return say("dawn.fit_open", used=used)
    crew = f"{m.crew_hours:g}"
    if not m.undone:
        key = "dawn.fit_enough" if m.planned_hours <= m.crew_hours + 1e-9 else "dawn.fit_over"
        return say(key, used=used, crew=crew)
    undone = "; ".join(f"{j.job.replace('_', ' ')} in {b.block} ({b.hours:g} h)"
                       for j, b in m.undone)  # fmt: skip
    return say("dawn.fit_undone", used=used, crew=crew, undone=undone)


def block_said(b: JobBlock, say: Say) -> str:
    """Return one block of a job in a line: where, when, how long, and what the plan is."""
    plan = say(f"dawn.plan_{b.plan.replace(' ', '_')}")
    return say("dawn.block_line", block=b.block, span=b.span, hours=f"{b.hours:g}", plan=plan)


def mark_said(b: JobBlock, say: Say, style: Style) -> str:
    """Return what the journal keeps of a block's job today; nothing where it keeps none."""
    if b.mark is None:
        return ""
    word = say(f"dawn.mark_{b.mark.what}")
    return say("dawn.kept", mark=word, moment=style.moment(b.mark.made), who=b.mark.who)


def noted_said(b: JobBlock, say: Say, style: Style) -> Iterator[str]:
    """Give what was noted that may be a block's job, done already, while no mark says so."""
    if b.noted is not None and b.mark is None:
        moment, mark = style.moment(b.noted.time), say("dawn.mark_done")
        yield say("dawn.job_noted", moment=moment, what=b.noted.word, mark=mark)


def evidence_lines(job: MorningJob, say: Say) -> list[Line]:
    """Return what a job rests on, with tags."""
    return [Line("fine", say("dawn.source", source=t, tag=tag)) for t, tag in job.evidence]


def unknown_lines(groups: tuple[UnknownGroup, ...], say: Say) -> Iterator[Line]:
    """Give what is unknown, why, and what would settle it; what lies ahead comes last."""
    yield Line("part", say("dawn.unknown"))
    if not groups:
        yield Line("said", say("dawn.unknown_none"))
    for group in groups:
        yield Line("head", "; ".join(group.causes), "Unknown")
        yield Line("fine", say("dawn.could_be", worst=say(f"severity.{group.worst}")))
        yield Line("said", say("dawn.settle", settle=" ".join(group.settle)))
        yield from (Line("point", f"{u.block}: {u.sentence}") for u in group.unknowns)


def _asked(m: Morning, say: Say) -> Iterator[Line]:
    if m.asked:
        yield Line("part", say("dawn.stale"))
    for asked in m.asked:
        yield Line("ticks", asked.stale.question, "", (say("dawn.tick_same"), say("dawn.tick_no")))


def reason_lines(f: Finding, style: Style, say: Say) -> Iterator[Line]:
    """Give why a finding fired: how near, the thresholds and facts behind it, the sources."""
    why = reasons_of(f, style)
    yield Line("said", f.sentence)
    span = style.span(seconds_of(f.start), seconds_of(f.end))
    yield Line("fine", say("dawn.holds", span=span, urgency=say(f"dawn.urgency_{f.urgency}"),
                           certainty=f.certainty, basis=why.basis))  # fmt: skip
    for condition, seen, limit, beyond in why.near:
        yield Line("point", say("dawn.near", condition=condition, seen=seen, limit=limit,
                                beyond=beyond))  # fmt: skip
    for t in why.thresholds:
        yield Line("point", say("dawn.threshold", name=t.name, value=t.value, means=t.means,
                                source=t.source, tag=t.tag, origin=t.origin))  # fmt: skip
    for fact in why.facts:
        yield Line("point", fact_said(fact, say))
    for source, tag in why.sources:
        yield Line("fine", say("dawn.source", source=source, tag=tag))
    if why.profile:
        yield Line("fine", say("dawn.profile", profile=why.profile))
    if why.deferral:
        yield Line("fine", why.deferral)


def fact_said(fact: FactLine, say: Say) -> str:
    """Return a fact in one paragraph: what, when, its numbers, and why some are open."""
    parts = [
        f"{name} {value}" + (f" ({say('dawn.open_because', why=why)})" if why else "")
        for name, value, why in fact.numbers
    ]
    parts += [f"{name}: {value}" for name, value in fact.words]
    kind = say("dawn.forecast_fact", kind=fact.kind) if fact.forecast else fact.kind
    return say("dawn.fact", kind=kind, when=fact.when, numbers="; ".join(parts))
