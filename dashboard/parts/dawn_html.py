"""HTML of the morning page. Every text goes through `escape` or through `lines_html`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from urllib.parse import urlencode

from dashboard import look
from dashboard.words import say
from riskrules.findings.model import Finding
from riskrules.show import Style
from riskrules.view.morning import BlockNight, JobBlock, Morning, MorningJob
from riskrules.view.morning_html import TAGS
from riskrules.view.morning_text import (
    Line,
    block_said,
    evidence_lines,
    mark_said,
    noted_said,
    reason_lines,
    unknown_lines,
)
from riskrules.view.same import Asked


def lines(some: Iterable[Line]) -> str:
    """Return lines of the morning as HTML, severities as they look on the pages."""
    return f'<div class="rr-dawn">{"".join(map(_line, some))}</div>'


def _line(line: Line) -> str:
    tag = TAGS[line.kind]
    chip = look.chip(line.severity) + " " if line.severity else ""
    return f'<{tag} class="{line.kind}">{chip}{escape(line.text)}</{tag}>'


def night_html(night: BlockNight, style: Style, units: str) -> str:
    """Return one block: its worst in one sentence, what is ahead, and the reasons behind taps."""
    chip = look.chip(night.severity)
    found = [f'<h3>{chip} {escape(night.block)}</h3><p class="said">{escape(night.sentence)}</p>']
    found += [
        _line(Line("point", say("dawn.ahead", sentence=f.sentence), f.severity))
        for f in night.ahead[:1]
    ]
    if night.unknowns:
        key = "dawn.open_one" if night.unknowns == 1 else "dawn.open"
        found.append(_line(Line("fine", say(key, n=night.unknowns))))
    if night.findings:
        inner = "".join(_finding(f, style) for f in night.findings)
        label = escape(say("dawn.why", n=len(night.findings)))
        found.append(f"<details><summary>{label}</summary>{inner}</details>")
    where = escape(urlencode({"block": night.block, "u": units}))
    text = escape(say("dawn.see_course", block=night.block))
    found.append(f'<a href="course?{where}" target="_self">{text}</a>')
    return f'<section class="rr-dawn rr-card">{"".join(found)}</section>'


def _finding(f: Finding, style: Style) -> str:
    """Return a finding with how near it was; facts, thresholds and sources one tap further."""
    said = list(reason_lines(f, style, say))
    near = [x for x in said if x.text.startswith(say("dawn.near_word"))]
    rest = [x for x in said[1:] if x not in near]
    head = f"<h3>{look.chip(f.severity)} {escape(f.title)}</h3>"
    body = _line(said[0]) + "".join(map(_line, near))
    more = f"<details><summary>{escape(say('dawn.facts'))}</summary>{''.join(map(_line, rest))}"
    return f'<div class="rr-card">{head}{body}{more}</details></div>'


def asked_html(asked: Sequence[Asked]) -> str:
    """Return the questions about states gone stale."""
    found = [Line("part", say("dawn.stale")), Line("fine", say("dawn.stale_how"))]
    return lines([*found, *(Line("said", a.stale.question) for a in asked)])


def job_html(number: int, job: MorningJob) -> str:
    """Return the head of a job: what to do, when, and what it rests on behind a tap."""
    window = say("dawn.window", window=job.window, origin=job.hours_from)
    rests = "".join(map(_line, evidence_lines(job, say)))
    label = escape(say("dawn.why_job"))
    return (
        f'<section class="rr-dawn rr-card"><h3>{number}. {escape(job.words)}</h3>'
        f'<p class="fine">{escape(window)}</p>'
        f"<details><summary>{label}</summary>{rests}</details></section>"
    )


def block_html(b: JobBlock, style: Style) -> str:
    """Return one block of a job: plan, checks, the mark kept today, and earlier ones."""
    found = [Line("said", block_said(b, say), b.severity)]
    found += [Line("said", text) for text in noted_said(b, say, style)]
    found += [Line("point", check) for check in b.checks]
    if b.mark:
        found.append(Line("said", mark_said(b, say, style)))
    for mark in b.earlier[:2]:
        word = say(f"dawn.mark_{mark.what}")
        day = mark.day.strftime("%a %-d %b")
        found.append(Line("fine", say("dawn.earlier", mark=word, day=day, who=mark.who)))
    return lines(found)


def unknowns_html(m: Morning) -> str:
    """Return what is unknown and what would settle it; each block's sentence behind a tap."""
    found = []
    for line in unknown_lines((), say) if not m.unknowns else ():
        found.append(_line(line))
    if m.unknowns:
        found.append(_line(Line("part", say("dawn.unknown"))))
    for group in m.unknowns:
        head = list(unknown_lines((group,), say))[1:4]
        points = [Line("point", f"{u.block}: {u.sentence}") for u in group.unknowns]
        names = ", ".join(dict.fromkeys(u.block for u in group.unknowns))
        label = escape(say("dawn.unknown_where", blocks=names))
        inner = "".join(map(_line, points))
        body = "".join(map(_line, head))
        found.append(f'<div class="rr-card">{body}<details><summary>{label}</summary>{inner}'
                     "</details></div>")  # fmt: skip
    return f'<section class="rr-dawn">{"".join(found)}</section>'
