"""What a scout is shown in the rows: the walk of a block, how far it is, what was seen before."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal
from uuid import UUID, uuid4

from riskrules.journal.counts import Estimate, estimate, trend
from riskrules.journal.events import event_of
from riskrules.journal.records import Block, Record, Sighting, Stop
from riskrules.journal.sheet_text import counted_on, walk_of
from riskrules.journal.store import Journal
from riskrules.journal.symptoms import SymptomList
from riskrules.journal.walks import Pattern, Size, plan_walk, size_for_precision, size_to_see
from riskrules.logs.events import Event
from riskrules.view.rows_records import Hand, Key, count_at, key_of, standing

WALK_LASTS_S = 7 * 86_400
"""A walk planned longer ago is not offered to go on with. [s] (assumption)"""
BEFORE = 3
"""Earlier counts that are shown of each symptom. [count] (assumption: a small screen)"""
PER_STOP = 10
"""Plants looked at from a stop where nobody says how many. [count] (assumption)"""
StopState = Literal["done", "begun", "open"]


@dataclass(frozen=True, slots=True)
class Purpose:
    """What a walk is for: ``see`` (is it here?), ``know`` (how many?), or so many ``stops``.

    ``share`` and ``within`` are shares [1]; ``stops`` is a count.
    """

    kind: Literal["see", "know", "stops"] = "see"
    share: float = 0.02
    within: float = 0.05
    stops: int = 20


def open_walks(journal: Journal, block: str, now: int) -> list[Record]:
    """Return the walks of a block that may be gone on with, the newest first."""
    found = journal.records(block, ("walk",), first=now - WALK_LASTS_S)
    mine = [r for r in found if r.block == block]
    return sorted(mine, key=lambda r: (r.time, r.made, r.id.int), reverse=True)


def size_of(about: Block, per_stop: int, purpose: Purpose) -> Size | None:
    """Return how many to look at and why; None where a person said how many stops.

    Raises
    ------
    ValueError
        If a number is outside its range.
    """
    if purpose.kind == "see":
        return size_to_see(about, per_stop, purpose.share)
    if purpose.kind == "know":
        return size_for_precision(about, per_stop, purpose.share, absolute=purpose.within)
    return None


def new_walk(
    block: str,
    about: Block,
    per_stop: int,
    purpose: Purpose,
    pattern: Pattern,
    symptoms: Sequence[str],
    hand: Hand,
    seed: int,
    known: UUID | None = None,
) -> Record:
    """Return the record of a walk as planned; why so many stands in its note.

    Raises
    ------
    ValueError
        If the beds are not known, or have no room for the stops.
    """
    size = size_of(about, per_stop, purpose)
    stops = size.stops if size else purpose.stops
    walk = plan_walk(about, pattern, seed, stops, per_stop, tuple(symptoms))
    return Record(
        id=known or uuid4(), block=block, time=hand.time, body=walk, who=hand.who,
        made=hand.made, note=size.words if size else "", came_by="dashboard",
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class StopShown:
    """One stop on the screen: where it is, and how far its counts are."""

    number: int
    bed: int
    metres: float
    state: StopState


@dataclass(frozen=True, slots=True)
class WalkShown:
    """A walk on the screen: what is counted, its stops, and the counts that stand."""

    walk: Record
    per_stop: int
    planned: tuple[Key, ...]
    keys: tuple[Key, ...]
    stops: tuple[StopShown, ...]
    counts: Mapping[Key, Record]

    @property
    def done(self) -> int:
        """How many stops are counted."""
        return sum(s.state == "done" for s in self.stops)

    def at(self, number: int) -> StopShown:
        """Return a stop by its number; the first that is open where there is no such stop."""
        found = next((s for s in self.stops if s.number == number), None)
        return found or next((s for s in self.stops if s.state != "done"), self.stops[-1])

    def count(self, key: Key, stop: int) -> Stop | None:
        """Return what was counted of a symptom at a stop."""
        return count_at(self.counts.get(key), stop)

    def total(self, key: Key) -> Estimate | None:
        """Return what the counts of a symptom say so far; None where nothing was counted."""
        record = self.counts.get(key)
        body = record.body if record else None
        return estimate(body.stops) if isinstance(body, Sighting) else None


def shown(
    journal: Journal, walk: Record, symptoms: SymptomList, more: Collection[Key] = ()
) -> WalkShown:
    """Return a walk as it stands in the journal.

    Parameters
    ----------
    more : collection of Key
        Symptoms that a scout added to this walk, beside those planned and those counted.
    """
    plan = walk_of(walk)
    planned = counted_on(plan, symptoms)
    counts = standing(journal, walk)
    added = [k for k in more if not symptoms.refusal(k[0]) and k[1] in symptoms.parts]
    keys = tuple(dict.fromkeys([*planned, *counts, *added]))
    stops = tuple(
        StopShown(number, bed, metres, _state(number, planned, counts))
        for number, bed, metres in plan.stops
    )
    return WalkShown(walk, plan.per_stop, planned, keys, stops, counts)


def _state(number: int, planned: Sequence[Key], counts: Mapping[Key, Record]) -> StopState:
    there = [key for key, record in counts.items() if count_at(record, number)]
    if not there:
        return "open"
    return "done" if set(planned) <= set(there) else "begun"


@dataclass(frozen=True, slots=True)
class SeenBefore:
    """An earlier count of a symptom in the block; ``stops`` is 0 where nobody wrote them down."""

    time: int
    who: str
    estimate: Estimate
    stops: int
    in_bed: tuple[int, int] | None


@dataclass(frozen=True, slots=True)
class Before:
    """What was seen here before of one symptom: the last counts, and where they are heading."""

    seen: tuple[SeenBefore, ...]
    counts: int
    trend: str


def seen_before(
    records: Sequence[Record], events: Sequence[Event], block: str, key: Key, until: int,
    walk: UUID | None, bed: int | None = None,
) -> Before:  # fmt: skip
    """Return earlier counts of a symptom in a block, the last first.

    Parameters
    ----------
    records : sequence of Record
        Sightings of the journal that count.
    events : sequence of Event
        What was done and seen, of events files too.
    until : int
        Up to this time, included. [s since 1970 UTC]
    walk : UUID, optional
        The walk on the screen, which is left out.
    bed : int, optional
        Of this bed the counts are told apart.
    """
    found = [
        _of_record(r, bed)
        for r in records
        if isinstance(r.body, Sighting) and r.block == block and key_of(r) == key
        and r.body.walk != (walk or "none") and r.time <= until
    ]  # fmt: skip
    noted = {event_of(r) for r in records}
    found += [
        SeenBefore(e.time, "", _alone(e.affected, e.examined), 0, None)
        for e in events
        if e.event == "sighting" and e.block == block and e.what == f"{key[1]} {key[0]}"
        and e.time <= until and e.examined and e not in noted
    ]  # fmt: skip
    found.sort(key=lambda s: s.time, reverse=True)
    told = trend([(s.time, s.estimate) for s in found]).words if len(found) > 1 else ""
    return Before(tuple(found[:BEFORE]), len(found), told)


def _of_record(record: Record, bed: int | None) -> SeenBefore:
    body = record.body
    assert isinstance(body, Sighting)
    here = [s for s in body.stops if bed is not None and s.bed == bed]
    in_bed = (sum(s.affected for s in here), sum(s.examined for s in here)) if here else None
    found = estimate(body.stops) if body.stops else _alone(body.affected, body.examined)
    return SeenBefore(record.time, record.who, found, len(body.stops), in_bed)


def _alone(affected: int, examined: int) -> Estimate:
    """Return the estimate of a count whose stops nobody wrote down: as if each counts alone."""
    return estimate([Stop(stop=1, affected=affected, examined=examined)], correlation=0.0)


def seed_of(block: str, day: str) -> int:
    """Return the seed of a day's walk in a block: the day, and the block's letters.

    Examples
    --------
    >>> seed_of("a", "2026-06-10") != seed_of("b", "2026-06-10")
    True
    """
    return int(day.replace("-", "")) * 1000 + sum(block.encode()) % 1000
