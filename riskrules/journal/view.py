"""What a new record is checked against: the blocks, what counts there, the clock and the place."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from zoneinfo import ZoneInfo

from riskrules.journal.records import Block, Record
from riskrules.journal.store import Journal


@dataclass(frozen=True, slots=True)
class View:
    """The journal as a check sees it.

    ``records`` are those that count, in time order; ``blocks`` may be empty where no block is
    known yet: then any is taken. ``now`` in s since 1970 UTC.
    """

    records: Sequence[Record]
    blocks: Mapping[str, Block | None]
    now: int
    zone: ZoneInfo = field(default_factory=lambda: ZoneInfo("UTC"))

    def local(self, time: int) -> datetime:
        """Return a time on the farm's clock."""
        return datetime.fromtimestamp(time, self.zone)

    def shown(self, time: int) -> str:
        """Return a time on the farm's clock as people write it."""
        return self.local(time).strftime("%Y-%m-%d %H:%M")

    def planted(self, block: str | None) -> date | None:
        """Return the day a block was planted; None where nobody said."""
        about = self.blocks.get(block) if block is not None else None
        return about.planted if about is not None else None

    def others(self, record: Record, *kinds: str) -> list[Record]:
        """Return the records of some kinds that count in a record's block.

        Itself and the one that it replaces are left out; a record without block is only beside
        others without.
        """
        out = {record.id, record.replaces}
        return [
            r
            for r in self.records
            if r.kind in kinds and r.id not in out and r.block in (None, record.block)
        ]


def view_of(
    journal: Journal, now: int, zone: ZoneInfo | None = None, blocks: Collection[str] = ()
) -> View:
    """Return a journal as checks see it.

    Parameters
    ----------
    now : int
        [s since 1970 UTC]
    zone : ZoneInfo, optional
        The farm's clock; UTC where it is not known.
    blocks : collection of str
        Blocks of the farm file, beside those that the journal has records of.
    """
    known: dict[str, Block | None] = dict.fromkeys(blocks)
    return View(journal.counting(), known | journal.blocks(), now, zone or ZoneInfo("UTC"))
