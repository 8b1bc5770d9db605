"""States that nobody confirmed for long, the question to ask, and what a log suggests.

Nothing here enters anything: a person answers, and the answer is a record.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, cast
from uuid import UUID, uuid4

from riskrules.facts.state import DAY_S
from riskrules.journal.events import events_of
from riskrules.journal.records import STATES, Block, Checked, Record
from riskrules.journal.store import Journal
from riskrules.logs.events import Event, of_block
from riskrules.packs.model import Threshold

State = Literal["row_cover", "sides", "film", "straw", "stages"]
UP = {"row_cover": "on", "sides": "down"}
"""What goes stale soon; the other word of the pair holds longer."""
SAID = {
    ("row_cover", "on"): "the row cover is on",
    ("row_cover", "off"): "the row cover is off",
    ("sides", "down"): "the sides are down",
    ("sides", "up"): "the sides are up",
    ("film", "on"): "the tunnel film is on",
    ("film", "off"): "the tunnel film is off",
    ("straw", "laid"): "straw lies under the fruit",
    ("straw", "removed"): "there is no straw under the fruit",
}


@dataclass(frozen=True, slots=True)
class Stale:
    """A state that nobody confirmed for longer than it holds.

    ``block`` is empty for the whole farm; ``said_at`` is when it was last said or confirmed [s];
    ``age_s`` and ``limit_s`` are how old that is, and how old it may get. [s]
    """

    block: str
    state: State
    what: str
    said_at: int
    age_s: int
    limit_s: float

    @property
    def question(self) -> str:
        """What to ask, to be answered by 'yes, the same' or by what it is now."""
        where = f"{self.block}: " if self.block else ""
        days = self.age_s // DAY_S
        what = SAID.get((self.state, self.what), f"stages {self.what} are what is there")
        return f"{where}{what}, the journal says, but nobody confirmed it for {days} days. Still?"

    def same(self, who: str, now: int, known: UUID | None = None) -> Record:
        """Return the record that says 'yes, the same'; it is not entered by this."""
        return Record(
            id=known or uuid4(),
            block=self.block or None,
            time=now,
            body=Checked(same=(self.state,)),
            who=who,
            made=now,
        )


def stale(
    journal: Journal,
    now: int,
    shared: Mapping[str, Threshold],
    block: str | None = None,
) -> list[Stale]:
    """Return the states that rules no longer take for sure, oldest first.

    A state may get as old as its threshold says, to the second; a state that a block cannot have
    (no row covers, no tunnel) is not asked about.

    Parameters
    ----------
    now : int
        [s since 1970 UTC]
    shared : mapping
        Thresholds ``cover_stale``, ``open_stale``, ``film_stale``, ``stage_stale``. [d]
    """
    events = [e for e in events_of(journal, block) if e.event in STATES and e.time <= now]
    about = journal.blocks()
    names = {e.block for e in events if e.block} | about.keys() if block is None else {block}
    found = []
    for name in sorted(names) or [""]:
        own = of_block(events, name)
        for state in STATES:
            last = max((e for e in own if e.event == state), default=None)
            if last is None or not _has(about.get(name), state):
                continue
            limit = limit_of(last, shared)
            age = now - last.time
            if age > limit:
                kind = cast(State, state)
                found.append(Stale(name, kind, last.what, last.time, age, limit))
    return sorted(found, key=lambda s: (s.said_at, s.block, s.state))


def limit_of(event: Event, shared: Mapping[str, Threshold]) -> float:
    """Return how old a state may get before rules take it as uncertain. [s]"""
    if event.event in UP:
        name = "cover_stale" if event.what == UP[event.event] else "open_stale"
    else:
        name = "stage_stale" if event.event == "stages" else "film_stale"
    return shared[name].value * DAY_S


def _has(block: Block | None, state: str) -> bool:
    """Whether a block can have a state; a block of which nothing is said can have all."""
    if block is None:
        return True
    if state == "row_cover":
        return block.row_covers is not False
    return block.tunnel != "open" if state in ("sides", "film") else True


def questions(found: Sequence[Stale]) -> list[str]:
    """Return what to ask about stale states."""
    return [each.question for each in found]
