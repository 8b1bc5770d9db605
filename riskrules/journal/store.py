"""The journal: records kept for good in one SQLite file or on a PostgreSQL server.

Nothing is overwritten or erased; triggers in the database see to it. The current journal is made
of the records that no other replaces.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import TracebackType
from uuid import UUID

from sqlalchemy import func, insert, select

from riskrules.errors import Problem
from riskrules.journal.backup import back_up
from riskrules.journal.clashes import Clash, open_clashes
from riskrules.journal.database import WAIT_S, Database
from riskrules.journal.intake import Intake, Kept, clock
from riskrules.journal.photos import Photo, photo_of
from riskrules.journal.query import (
    Wanted,
    by_id,
    clash_targets,
    descendants,
    losing_among,
    wanted_records,
)
from riskrules.journal.records import RECORD, Block, Record
from riskrules.journal.rows import Stored, row_of
from riskrules.journal.schema import bring_up
from riskrules.journal.tables import differing, photo, record
from riskrules.journal.trouble import JournalError
from riskrules.journal.whole import troubles

__all__ = ["Clash", "Differing", "Journal", "JournalError", "Kept", "Photo", "Stored"]
__all__ += ["open_journal"]


@dataclass(frozen=True, slots=True)
class Differing:
    """A record that came with an identifier that was taken, and other content than that one."""

    received: int
    record: Record


def open_journal(
    url: str | Path, wait_s: float = WAIT_S, clock: Callable[[], int] | None = None
) -> Journal:
    """Open a journal; make it where there is none, migrate it where its schema is older.

    Parameters
    ----------
    url : str or Path
        A SQLite file, or a URL such as ``postgresql+psycopg://user@host/database``.
    wait_s : float
        How long to wait for a turn to write. [s]
    clock : callable, optional
        Gives the time at which records are received [s since 1970 UTC]; by default the clock of
        the server, or of this machine.

    Raises
    ------
    JournalError
        If it cannot be opened, is something else, or was made by a newer version.
    """
    database = Database(url, wait_s)
    try:
        bring_up(database)
    except BaseException:
        database.close()
        raise
    return Journal(database, clock)


class Journal:
    """An open journal. Threads may share it; a forked process opens its own.

    Every method raises `JournalError`, in one sentence, where the database fails.
    """

    def __init__(self, database: Database, clock: Callable[[], int] | None = None) -> None:
        self.database = database
        self._clock = clock

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the journal's connections."""
        self.database.close()

    def add(self, records: Sequence[Record]) -> list[Kept]:
        """Keep records, all or none; once this returns they are on disk.

        A record may be added again at any time: it is kept once. Corrections may come before what
        they correct.

        Raises
        ------
        JournalError
            If nothing was kept, or (a server lost at the last moment) if that is not known.
        """
        rows = [row_of(each) for each in records]
        if not rows:
            return []
        with self.database.writing() as conn:
            kept = Intake(conn, rows, self._clock() if self._clock else None).take()
        return kept

    def records(
        self,
        block: str | None = None,
        kinds: Collection[str] | None = None,
        first: int | None = None,
        last: int | None = None,
        as_known_at: int | None = None,
        all_versions: bool = False,
        up_to: int | None = None,
    ) -> list[Record]:
        """Return records in the order of time, then identifier.

        Parameters
        ----------
        block : str, optional
            Those of this block and those that name none.
        kinds : collection of str, optional
            Those of these kinds. Without it, records that only take another back are left out.
        first, last : int, optional
            Those of times between, both included. [s since 1970 UTC]
        as_known_at, up_to : int, optional
            As the journal was: with what had been received by a time [s], or up to a ``seq``.
        all_versions : bool
            Also those that others replace, and take-backs.
        """
        wanted = Wanted(block, kinds, first, last, as_known_at, up_to, None, all_versions)
        with self.database.reading() as conn:
            return [s.record for s in wanted_records(conn, wanted)]

    def versions(
        self,
        block: str | None = None,
        as_known_at: int | None = None,
        first: int | None = None,
        last: int | None = None,
    ) -> list[Stored]:
        """Return all versions of a block's records, each with what replaced it, by time."""
        wanted = Wanted(block, None, first, last, as_known_at, all_versions=True)
        with self.database.reading() as conn:
            return wanted_records(conn, wanted)

    def counting(
        self,
        block: str | None = None,
        kinds: Collection[str] | None = None,
        as_known_at: int | None = None,
    ) -> list[Record]:
        """Return the records that count now: as `records`, but of a clash the last one alone."""
        wanted = Wanted(block, kinds, as_known_at=as_known_at)
        with self.database.reading() as conn:
            found = wanted_records(conn, wanted)
            out = losing_among(conn, found, wanted)
        return [s.record for s in found if s.record.id not in out]

    def versions_and_losing(
        self,
        block: str | None = None,
        as_known_at: int | None = None,
        first: int | None = None,
        last: int | None = None,
    ) -> tuple[list[Stored], set[UUID]]:
        """Return the same as `versions`, and which records stand but do not count in a clash."""
        wanted = Wanted(block, None, first, last, as_known_at, all_versions=True)
        with self.database.reading() as conn:
            found = wanted_records(conn, wanted)
            return found, losing_among(conn, (s for s in found if s.replaced is None), wanted)

    def history(self, known: UUID | str) -> list[Stored]:
        """Return all versions of a record, in the order received, from any one of them.

        Empty where no record has this identifier.
        """
        start = UUID(str(known))
        with self.database.reading() as conn:
            seen: dict[UUID, Stored] = {}
            while (found := by_id(conn, [start], Wanted())) and start not in seen:
                seen[start] = found[0]
                if found[0].record.replaces is None:
                    break
                start = found[0].record.replaces
            below = descendants(conn, [start], Wanted()) if seen else []
        seen |= {s.record.id: s for s in below}
        return _with_replaced(seen.values())

    def clashes(self, as_known_at: int | None = None) -> list[Clash]:
        """Return where several records replace the same one, until somebody settles it."""
        wanted = Wanted(as_known_at=as_known_at)
        with self.database.reading() as conn:
            targets = clash_targets(conn, wanted)
            return open_clashes(targets, descendants(conn, targets, wanted))

    def differing(self) -> list[Differing]:
        """Return what came with an identifier that was taken, in the order received."""
        query = select(differing).order_by(differing.c.number)
        with self.database.reading() as conn:
            rows = conn.execute(query).all()
        return [Differing(r.received, RECORD.validate_python(json.loads(r.content))) for r in rows]

    def since(self, seq: int = 0) -> list[Stored]:
        """Return all records received after one, in the order received, take-backs too."""
        with self.database.reading() as conn:
            found = wanted_records(conn, Wanted(since=seq, all_versions=True))
        return sorted(found, key=lambda s: s.seq)

    def last(self) -> int:
        """Return the ``seq`` of the record received last, which is how many there are."""
        with self.database.reading() as conn:
            return int(conn.execute(select(func.max(record.c.seq))).scalar() or 0)

    def blocks(self, as_known_at: int | None = None) -> dict[str, Block]:
        """Return each block with what was last said of it."""
        found: dict[str, Block] = {}
        for each in self.counting(kinds=("block",), as_known_at=as_known_at):
            if each.block is not None and isinstance(each.body, Block):
                found[each.block] = each.body
        return found

    def add_photo(self, data: bytes) -> str:
        """Keep a photo once, and return its hash.

        Raises
        ------
        JournalError
            If it is no photo, or larger than `photos.PHOTO_LIMIT`.
        """
        made = photo_of(data)
        with self.database.writing() as conn:
            here = select(photo.c.hash).where(photo.c.hash == made.hash)
            if conn.execute(here).scalar() is None:
                now = self._clock() if self._clock else clock(conn)
                values = {"hash": made.hash, "media_type": made.media_type, "data": made.data}
                conn.execute(insert(photo), values | {"received": now})
        return made.hash

    def photo(self, known: str) -> Photo | None:
        """Return a photo by its hash, or None where it has not come (yet)."""
        with self.database.reading() as conn:
            row = conn.execute(select(photo).where(photo.c.hash == known)).one_or_none()
        return None if row is None else Photo(row.hash, row.media_type, bytes(row.data))

    def photos(self) -> list[str]:
        """Return the hashes of all photos, sorted."""
        with self.database.reading() as conn:
            return sorted(conn.execute(select(photo.c.hash)).scalars())

    def check(self) -> list[Problem]:
        """Return all that is wrong with the journal as it lies on disk; empty: it is whole."""
        return troubles(self.database)

    def backup(self, path: str | Path) -> None:
        """Write the journal as it is now into a new SQLite file, while it stays in use.

        Raises
        ------
        JournalError
            If the file is there already, or the copy is not whole.
        """
        back_up(self.database, Path(path))


def _with_replaced(members: Iterable[Stored]) -> list[Stored]:
    """Return records in the order received, each with the first among them that replaces it."""
    ordered = sorted(members, key=lambda s: s.seq)
    first: dict[UUID | None, int] = {}
    for each in ordered:
        first.setdefault(each.record.replaces, each.seq)
    return [replace(each, replaced=first.get(each.record.id)) for each in ordered]
