"""Say how old each source of a farm is, and whether the review of the morning has run."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from riskrules.facts.sun import sun_times
from riskrules.farm import Farm
from riskrules.logs.store import LogStore
from riskrules.sources import Source, sources_of

HOUR_S = 3600
EARLY_H = 3
"""A review this long before sunrise is that of the morning. [h] (assumption)"""


@dataclass(frozen=True, slots=True)
class SourceAge:
    """How old the last usable reading of a sensor is; ``block`` is '' for the outside air.

    ``state``: ``fresh``; ``silent`` (older than the farm allows); ``never`` (nothing was read);
    ``ahead`` (its last reading lies in the future: a wrong clock).
    """

    block: str
    sensor: str
    last: int | None
    age_h: float | None
    allowed_h: float
    state: Literal["fresh", "silent", "never", "ahead"]
    sentence: str


@dataclass(frozen=True, slots=True)
class ReviewDue:
    """Whether the dawn review has run: ``done``, ``missing``, or ``not due`` on the first day."""

    day: date
    due: int | None
    last: int | None
    state: Literal["done", "missing", "not due"]
    sentence: str


@dataclass(frozen=True, slots=True)
class Status:
    """The sources, the review, and the files that were set aside."""

    now: int
    sources: tuple[SourceAge, ...]
    review: ReviewDue
    aside: tuple[str, ...]

    @property
    def alarm(self) -> bool:
        """Whether somebody should look: a source is silent, or the review did not run."""
        return self.review.state == "missing" or any(s.state != "fresh" for s in self.sources)


def status(farm: Farm, store: LogStore, now: int) -> Status:
    """Return how the farm's logs and reviews stand.

    Parameters
    ----------
    farm : Farm
        Says how old a source may get (``silent_after``) and when the review is due
        (``review_within`` hours after sunrise).
    store : LogStore
    now : int
        [s since 1970 UTC]
    """
    sources = tuple(_age(farm, s, store, now) for s in sources_of(farm))
    aside = tuple(a.file for a in store.asides())
    return Status(now, sources, _review(farm, store, now), aside)


def _age(farm: Farm, source: Source, store: LogStore, now: int) -> SourceAge:
    allowed = source.silent_after
    where = (source.block, source.sensor)
    name = f"{source.block or 'outside'}, {source.sensor}"
    last = store.last_time(*where)
    if last is None:
        ends = [r.last for r in store.history(*where) if r.last is not None]
        if not ends:
            words = f"{name}: nothing was ever read"
            return SourceAge(*where, None, None, allowed, "never", words)
        return _forecast_age(farm, where, name, max(ends), allowed, now)
    age = (now - last) / HOUR_S
    shown = _moment(farm, last)
    if age < -1:
        words = f"{name}: last reading {shown}, which is still to come: its clock is wrong"
        return SourceAge(*where, last, age, allowed, "ahead", words)
    if age > allowed:
        words = f"{name}: silent for {_hours(age)}, last reading {shown}, {allowed:g} h allowed"
        return SourceAge(*where, last, age, allowed, "silent", words)
    words = f"{name}: last reading {shown}, {_hours(max(age, 0))} ago"
    return SourceAge(*where, last, age, allowed, "fresh", words)


def _forecast_age(
    farm: Farm, where: tuple[str, str], name: str, last: int, allowed: float, now: int
) -> SourceAge:
    """Return the age of a source that has forecasts only: fresh while it still says something."""
    age = (now - last) / HOUR_S
    if last > now:
        words = f"{name}: forecast until {_moment(farm, last)}"
        return SourceAge(*where, last, age, allowed, "fresh", words)
    words = f"{name}: the forecast ended {_moment(farm, last)}, and no reading was measured"
    return SourceAge(*where, last, age, allowed, "silent", words)


def _review(farm: Farm, store: LogStore, now: int) -> ReviewDue:
    """Return whether a review ran since the last dawn at which one was due."""
    place = farm.place
    today = datetime.fromtimestamp(now, farm.zone).date()
    first = today - timedelta(days=2)
    days, rises, _ = sun_times(first, today, place.latitude, place.longitude)
    within = int(farm.text.review_within * HOUR_S)
    past = [(d, int(r)) for d, r in zip(days, rises, strict=True) if 0 <= r and r + within <= now]
    ran = store.last_review()
    last = ran.when if ran else None
    if not past:
        return ReviewDue(today, None, last, "not due", "no sunrise lately: no review is due")
    day, rise = past[-1]
    due = rise + within
    if last is not None and last >= rise - EARLY_H * HOUR_S:
        return ReviewDue(day, due, last, "done", f"reviewed {_moment(farm, last)}")
    before = f"the last one ran {_moment(farm, last)}" if last else "none ever ran"
    words = f"no review since dawn of {day:%a} {day.day} {day:%b}: {before}"
    return ReviewDue(day, due, last, "missing", words)


def _moment(farm: Farm, seconds: int) -> str:
    return datetime.fromtimestamp(seconds, farm.zone).strftime("%a %-d %b %Y %H:%M")


def _hours(age: float) -> str:
    """Return an age in words.

    >>> _hours(0.5), _hours(5.25), _hours(80)
    ('30 min', '5.2 h', '3 days')
    """
    if age < 1:
        return f"{age * 60:.0f} min"
    return f"{age:.1f} h" if age < 48 else f"{age / 24:.0f} days"
