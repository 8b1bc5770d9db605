"""What the journal costs: one block's season among few records and among a hundred thousand.

Run with ``python -m benchmarks.journal``, or with the URL of an empty database after it.
"""

from __future__ import annotations

import random
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from uuid import UUID

from benchmarks.timing import Work, in_turns, ratio_of_medians
from riskrules.journal.events import events_of
from riskrules.journal.records import (
    AnyBody,
    Checked,
    Irrigation,
    Note,
    Pick,
    Record,
    RowCover,
    Sides,
    Sighting,
    Stages,
)
from riskrules.journal.store import Journal, open_journal

SEED = 20260610
DAY_S = 86_400
A_SEASON = 200
"""Records of a block in a season: one or two a day for five months. (assumption)"""
CORRECTED = 0.03
"""Share of records that correct another. [1] (assumption)"""
BODIES: tuple[AnyBody, ...] = (
    Pick(weight_kg=180), Irrigation(method="drip", depth="brief"), Note(text="dew until nine"),
    RowCover(what="on"), RowCover(what="off"), Sides(what="up"), Stages(codes=(60, 65, 81)),
    Sighting(symptom="gray_mold", part="flower", affected=2, examined=60),
    Checked(same=("row_cover", "sides")),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Size:
    """How long a farm has kept its journal."""

    seasons: int
    blocks: int

    @property
    def records(self) -> int:
        """How many records that is."""
        return self.seasons * self.blocks * A_SEASON


SIZES = (Size(1, 5), Size(10, 50))
QUICK = (Size(1, 2), Size(2, 5))


def season(year: int) -> tuple[int, int]:
    """Return the first and the last second of a season. [s since 1970 UTC]"""
    first = (year - 1970) * 31_556_952 + 90 * DAY_S
    return first, first + 150 * DAY_S


def invented(size: Size) -> list[Record]:
    """Return invented records of many seasons; the same for the same size."""
    chance = random.Random(SEED)
    found: list[Record] = []
    for year in range(2025 - size.seasons, 2025):
        first, _ = season(year)
        of_year: list[Record] = []
        for day in range(A_SEASON):
            for block in range(size.blocks):
                time = first + day * 150 * DAY_S // A_SEASON + chance.randrange(40_000)
                of_year.append(_record(chance, f"block_{block}", time, of_year[-40:]))
        found += of_year
    return found


def _record(chance: random.Random, block: str, time: int, before: list[Record]) -> Record:
    old = chance.choice(before) if before and chance.random() < CORRECTED else None
    return Record(
        id=UUID(int=chance.getrandbits(128), version=4),
        block=block,
        time=time,
        body=chance.choice(BODIES),
        who="invented",
        made=time,
        replaces=None if old is None else old.id,
        why="" if old is None else "looked again",
    )


def filled(url: str, size: Size) -> Journal:
    """Return a journal with that many records."""
    journal = open_journal(url)
    records = invented(size)
    for i in range(0, len(records), 5000):
        journal.add(records[i : i + 5000])
    return journal


def _works(journal: Journal, first: int, last: int) -> dict[str, Work]:
    """Return what is measured in one journal."""
    plain = iter(r for r in invented(Size(1, 50)) if r.replaces is None)

    def add_one() -> object:
        known = UUID(int=random.getrandbits(128), version=4)
        return journal.add([next(plain).model_copy(update={"id": known})])

    return {
        "events of a block's season": lambda: events_of(journal, "block_1", None, first, last),
        "records of a block's season": lambda: journal.records("block_1", first=first, last=last),
        "one record added": add_one,
        "open clashes": journal.clashes,
    }


def measured(journals: dict[Size, Journal], times: int) -> dict[Size, dict[str, list[float]]]:
    """Return what each thing took in each journal. [s]"""
    first, last = season(2024)
    works: dict[tuple[Size, str], Work] = {}
    for size, journal in journals.items():
        for what, work in _works(journal, first, last).items():
            works[size, what] = work
    took = in_turns({f"{s.records} {what}": work for (s, what), work in works.items()}, times)
    return {
        size: {what: took[f"{size.records} {what}"].cpu for s, what in works if s == size}
        for size in journals
    }


def main(arguments: list[str] | None = None) -> int:
    """Print what it takes, and how it grows with the size of the whole."""
    words = sys.argv[1:] if arguments is None else arguments
    quick = "--quick" in words
    urls = [w for w in words if w != "--quick"]
    sizes = QUICK if quick else SIZES
    with tempfile.TemporaryDirectory() as folder:
        journals: dict[Size, Journal] = {}
        for i, size in enumerate(sizes):
            url = urls[i] if i < len(urls) else str(Path(folder) / f"{size.records}.db")
            journals[size] = filled(url, size)
        found = measured(journals, 3 if quick else 15)
        print("times of this process, without waiting for the disk")
        print(f"{len(events_of(journals[sizes[-1]], 'block_1', None, *season(2024)))} events")
        for what in found[sizes[0]]:
            for size in sizes:
                took = found[size][what]
                growth = ratio_of_medians(took, found[sizes[0]][what])
                print(f"{what:28} {size.records:>8,} records {median(took) * 1e3:8.2f} ms "
                      f"x{growth:.2f}")  # fmt: skip
        for journal in journals.values():
            journal.close()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
