"""The course of a block as tables: the same as the picture, for screen readers and for reading."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime

import numpy as np

from riskrules.findings.model import SEVERITIES
from riskrules.view.course import Course, Curve
from riskrules.view.course_lanes import UNKNOWN, Stretch
from riskrules.view.drawn import Say
from riskrules.view.reasons import seconds_of

Table = list[dict[str, str]]


def course_tables(c: Course, say: Say) -> dict[str, Table]:
    """Return the tables of a course by the key of their title, in the order to read them."""
    return {
        "course.t_findings": list(_findings(c, say)),
        "course.t_unknowns": list(_unknowns(c, say)),
        "course.t_days": _days(c, say),
        "course.t_wet": list(_wet(c, say)),
        "course.t_states": list(_stretches(c, (*c.states, *c.stages), say, False)),
        "course.t_done": list(_done(c, say)),
        "course.t_quality": list(_stretches(c, c.quality, say, True)),
    }


def _findings(c: Course, say: Say) -> Iterator[dict[str, str]]:
    def order(f: object) -> tuple[object, ...]:
        return (f.start, SEVERITIES.index(f.severity), f.id)  # type: ignore[attr-defined]

    for f in sorted(c.findings, key=order):
        start, end = seconds_of(f.start), seconds_of(f.end)
        if start < c.end and end >= c.start:
            yield {
                say("course.t_when"): c.style.span(start, end),
                say("course.t_severity"): say(f"severity.{f.severity}"),
                say("course.t_what"): f.title,
                say("course.t_sentence"): f.sentence,
            }


def _unknowns(c: Course, say: Say) -> Iterator[dict[str, str]]:
    for u in c.unknowns:
        start, end = seconds_of(u.start), seconds_of(u.end)
        if start < c.end and end > c.start:
            yield {
                say("course.t_when"): c.style.span(max(start, c.start), min(end, c.end)),
                say("course.t_what"): u.sentence,
                say("course.t_settle"): " ".join(u.settle),
            }


def _wet(c: Course, say: Say) -> Iterator[dict[str, str]]:
    for w in c.wet:
        key = "course.wet_sure" if w.sure else "course.wet_maybe"
        text = say(key, source=say(f"course.by_{w.source}"), hours=w.hours)
        yield {say("course.t_when"): c.style.span(w.start, w.end), say("course.t_what"): text}


def _stretches(
    c: Course, some: tuple[Stretch, ...], say: Say, quality: bool
) -> Iterator[dict[str, str]]:
    for s in some:
        word = say(f"course.quality_{s.word}") if quality else s.word
        yield {
            say("course.t_when"): c.style.span(s.start, s.end),
            say("course.t_what"): say(f"course.row_{s.row}"),
            say("course.t_sentence"): say("course.t_not_known") if s.word == UNKNOWN else word,
        }


def _done(c: Course, say: Say) -> Iterator[dict[str, str]]:
    for d in c.done:
        when = c.style.span(d.start, d.end) if d.end > d.start else c.style.moment(d.start)
        word = say("course.planned", word=d.word) if d.planned else d.word
        yield {say("course.t_when"): when, say("course.t_what"): word}


def _days(c: Course, say: Say) -> Table:
    """Return the least and the most of each day, of the same readings that are drawn."""
    cells: dict[str, dict[str, str]] = defaultdict(dict)
    wanted = (
        ("temperature", "inside", "course.t_coldest", "least"),
        ("temperature", "inside", "course.t_hottest", "most"),
        ("temperature", "outside", "course.t_out_coldest", "least"),
        ("humidity", "inside", "course.t_humid", "both"),
    )
    for lane, name, key, which in wanted:
        for curve in (k for k in c.curves if (k.lane, k.name) == (lane, name) and not k.lent):
            for day, (low, high) in _by_day(curve, c).items():
                ends = {"least": (low,), "most": (high,), "both": (low, high)}[which]
                text = " – ".join(c.style.value(v, curve.unit) for v in ends)
                if curve.forecast:
                    text = say("course.t_forecast", value=text)
                title = say(key)
                before = cells[day].get(title)
                cells[day][title] = f"{before}; {text}" if before else text
    titles = [say(key) for _, _, key, _ in wanted]
    none = say("course.t_not_known")
    return [
        {say("course.t_day"): datetime.fromisoformat(day).strftime("%a %-d %b %Y")}
        | {t: cells[day].get(t, none) for t in titles}
        for day in _every_day(c)
    ]


def _every_day(c: Course) -> list[str]:
    """Return every day of the span: a day without readings is one that is not known."""
    days = dict.fromkeys(_day(t, c) for t in range(c.start, c.end, 6 * 3600))
    return list(days | {_day(c.end - 1, c): None})


def _day(seconds: int, c: Course) -> str:
    return datetime.fromtimestamp(seconds, c.style.zone).date().isoformat()


def _by_day(curve: Curve, c: Course) -> dict[str, tuple[float, float]]:
    found: dict[str, tuple[float, float]] = {}
    good = np.isfinite(curve.value)
    for t, v in zip(curve.time[good].tolist(), curve.value[good].tolist(), strict=True):
        day = _day(t, c)
        low, high = found.get(day, (v, v))
        found[day] = (min(low, v), max(high, v))
    return found
