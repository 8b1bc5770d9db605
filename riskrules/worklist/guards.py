"""No job without its guards: the cold check, and the 'no entry' and 'no pick' times."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from riskrules.facts.kinds import AIR, LONG_H
from riskrules.facts.table import Fact, Facts
from riskrules.show import Style
from riskrules.worklist.jobs import Job

Ready = Literal["ready", "wait", "not before"]
HOUR_S = 3600


@dataclass(frozen=True, slots=True)
class GuardAnswer:
    """Whether a job may start, from when, and what to check first.

    ``until`` is the earliest start [s], or 0 where no time is known.
    """

    ready: Ready
    words: tuple[str, ...]
    until: int = 0


def guard(job: Job, facts: Facts, style: Style, lift_margin: float, now: int) -> GuardAnswer:
    """Return the answer of all of a job's guards for one block.

    Parameters
    ----------
    lift_margin : float
        How far above the critical temperature the air must be. [K]
    now : int
        [s since 1970 UTC]
    """
    answers = []
    if "cold" in job.guards:
        watch = facts["cold_watch"].fact(0)
        answers.append(_cold(watch, style, lift_margin, now, _silent_since(facts, style, now)))
    if "entry" in job.guards:
        answers.append(_limit(facts, "entry", style, now))
    if "pick" in job.guards:
        answers.append(_limit(facts, "pick", style, now))
    words = tuple(w for a in answers for w in a.words)
    until = max((a.until for a in answers), default=0)
    order: tuple[Ready, ...] = ("wait", "not before", "ready")
    ready: Ready = next((r for r in order if any(a.ready == r for a in answers)), "ready")
    return GuardAnswer(ready, words, until)


def _silent_since(facts: Facts, style: Style, now: int) -> str:
    """Return since when the outside sensor has had no usable reading, in words, or nothing."""
    gaps = [f for f in facts.get("log_gap", ()) if f.words["variable"] == "outside"]
    last = max((f for f in gaps if f.end[1] >= now), key=lambda f: f.start, default=None)
    return f" since {style.moment(last.start[0])}" if last else ""


def _cold(watch: Fact, style: Style, lift_margin: float, now: int, silent: str) -> GuardAnswer:
    """Ask whether the outside is warm enough for the part at risk, and stays so.

    A reading or a forecast that is doubted counts at its coldest.
    """
    q = watch.quantities
    needed = q["critical_temperature"].most + lift_margin
    part = watch.words["part"].replace("_", " ")
    reading = style.value(round(needed, 1), "degC")
    name = (
        f"wait until a thermometer outside the cover, at plant height, reads {reading} or more "
        f"({part} is harmed at {style.value(q['critical_temperature'].most, 'degC')} of tissue)"
    )
    outside, wait = q["outside_now"], q["until_safe"]
    if outside.least <= AIR[0]:
        return GuardAnswer("wait", (f"No fresh outside reading{silent}: {name}.",))
    seen = f"{style.bounds(outside)} outside now"
    if wait.least == 0 and wait.most >= LONG_H:
        return GuardAnswer("wait", (f"{seen}, no forecast for the hours ahead: {name}.",))
    if wait.most >= LONG_H:
        return GuardAnswer("wait", (f"{seen}, and too cold ahead by the forecast: {name}.",))
    if wait.most > 0:
        start = now + int(wait.most * HOUR_S)
        words = f"{seen}: {name}, by the forecast about {style.moment(start)}."
        return GuardAnswer("not before", (words,), start)
    if outside.least < needed:
        return GuardAnswer("wait", (f"{seen}, colder than the forecast says: {name}.",))
    lowest = style.value(q["outside_ahead"].least, "degC")
    words = (
        f"Cold check passed up to {style.moment(watch.end[1])}: {seen}, lowest until then "
        f"{lowest}, {reading} is enough for {part}. After that, check again."
    )
    return GuardAnswer("ready", (words,))


def _limit(facts: Facts, which: str, style: Style, now: int) -> GuardAnswer:
    """Ask for times before which nobody may enter, or pick."""
    table = facts["limit"]
    ends = [f.end[1] for f in table if f.words["limits"] == which and f.end[1] > now]
    if ends:
        until = max(ends)
        return GuardAnswer("not before", (f"No {which} before {style.moment(until)}.",), until)
    if any(word == which for word in table.words["limits"]):
        return GuardAnswer("ready", (f"The recorded 'no {which}' time has passed.",))
    words = f"No 'no {which}' time is recorded: check the label and the signs before going in."
    return GuardAnswer("ready", (words,))
