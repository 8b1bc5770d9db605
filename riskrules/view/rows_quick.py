"""What is written down with one tap in a block: covers, water, picks, stages, work, limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from riskrules.farm import BlockText
from riskrules.journal.records import STATES, Record
from riskrules.logs.events import Event, of_block
from riskrules.science.stages import GROUPS, STAGES
from riskrules.view.rows_records import Hand

ONE_TAP: tuple[tuple[str, str, Mapping[str, Any]], ...] = (
    ("covers", "row_cover_on", {"kind": "row_cover", "what": "on"}),
    ("covers", "row_cover_off", {"kind": "row_cover", "what": "off"}),
    ("covers", "sides_down", {"kind": "sides", "what": "down"}),
    ("covers", "sides_up", {"kind": "sides", "what": "up"}),
    ("covers", "film_on", {"kind": "film", "what": "on"}),
    ("covers", "film_off", {"kind": "film", "what": "off"}),
    ("covers", "straw_laid", {"kind": "straw", "what": "laid"}),
    ("covers", "straw_removed", {"kind": "straw", "what": "removed"}),
    ("work", "cull", {"kind": "work", "what": "cull"}),
    ("work", "leaves", {"kind": "work", "what": "leaves"}),
    ("work", "stalks", {"kind": "work", "what": "stalks"}),
    ("work", "runners", {"kind": "work", "what": "runners"}),
    ("work", "cooled", {"kind": "work", "what": "cooled"}),
)
"""Part of the page, name of the button, and what the record says."""
WATER = ("drip", "drip_brief", "drip_deep", "overhead", "overhead_frost")
"""Ways of water: the method, and how deep where that matters."""


@dataclass(frozen=True, slots=True)
class Holding:
    """A state as it was said last: which, what, and since when. [s since 1970 UTC]"""

    state: str
    what: str
    since: int


def one_taps(block: BlockText, part: str) -> list[tuple[str, Mapping[str, Any]]]:
    """Return the buttons of a part that a block can have: no sides without a tunnel.

    Examples
    --------
    >>> from riskrules.farm import LogText
    >>> bare = BlockText(block="a", logs=[LogText(file="a.csv")], tunnel="open", row_covers=False)
    >>> [name for name, _ in one_taps(bare, "covers")]
    ['straw_laid', 'straw_removed']
    """
    without = {"row_cover"} if block.row_covers is False else set()
    without |= {"sides", "film"} if block.tunnel == "open" else set()
    return [(name, body) for where, name, body in ONE_TAP
            if where == part and body["kind"] not in without]  # fmt: skip


def water_body(name: str) -> dict[str, Any]:
    """Return what the record of a way of water says.

    Examples
    --------
    >>> water_body("overhead_frost")
    {'kind': 'irrigation', 'method': 'overhead', 'depth': 'frost'}
    """
    method, _, depth = name.partition("_")
    return {"kind": "irrigation", "method": method, "depth": depth or None}


def stage_words() -> dict[int, str]:
    """Return the BBCH codes that can be chosen, with plain words."""
    return {code: STAGES[code] for group in GROUPS.values() for code in sorted(group)}


def holding(events: Sequence[Event], block: str, now: int) -> dict[str, Holding]:
    """Return the states that a block is in by what was said last, up to a time."""
    found: dict[str, Holding] = {}
    for event in of_block([e for e in events if e.time <= now], block):
        if event.event in STATES:
            before = found.get(event.event)
            since = before.since if before and before.what == event.what else event.time
            found[event.event] = Holding(event.event, event.what, since)
    return found


def values_of(
    block: str, body: Mapping[str, Any], hand: Hand, end: int | None = None, note: str = "",
    start: int | None = None,
) -> dict[str, Any]:  # fmt: skip
    """Return the values of a new record; what they say may still be refused."""
    return {
        "id": uuid4(), "block": block, "time": hand.time if start is None else start, "end": end,
        "body": dict(body), "who": hand.who, "made": hand.made, "note": note,
        "came_by": "dashboard",
    }  # fmt: skip


def last_written(records: Sequence[Record], block: str, most: int = 8) -> list[Record]:
    """Return what was written last in a block, the newest first; walks and plans are left out."""
    some = [r for r in records if r.block == block and r.kind not in ("walk", "block", "job")]
    return sorted(some, key=lambda r: (r.made, r.time), reverse=True)[:most]
