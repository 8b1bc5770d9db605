"""The log store: every file that was ever read, its readings by block and year, and their trace."""

from __future__ import annotations

import contextlib
import json
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import TypeVar

from riskrules.errors import LogError, Problem
from riskrules.logs.readings import Readings
from riskrules.logs.store.check import (
    left_over,
    problems_of,
    rebuilt,
    remove,
    remove_empty_folders,
)
from riskrules.logs.store.files import Batch, flush_folder, hash_and_size, hash_of, trouble
from riskrules.logs.store.lock import writing
from riskrules.logs.store.manifest import (
    MANIFEST,
    PREVIOUS,
    aside_path,
    files_of,
    load,
    original_path,
)
from riskrules.logs.store.manifest import replace as replace_manifest
from riskrules.logs.store.parts import encode
from riskrules.logs.store.plan import Plan
from riskrules.logs.store.read import merged, original_bytes, records, traced
from riskrules.logs.store.reviews import all_reviews, write_review
from riskrules.logs.store.types import (
    Aside,
    Contents,
    Incoming,
    Outcome,
    Record,
    Review,
    Traced,
)

T = TypeVar("T")
DAMAGED = "manifest.damaged.jsonl"

__all__ = ["Aside", "Incoming", "LogStore", "Outcome", "Record", "Review", "Traced"]


class LogStore:
    """A folder that keeps what was read.

    One manifest is the truth about it. A writer writes all new files first and then puts a new
    manifest in place of the old one, in one step: stopped anywhere, the store is as before or
    as after. Readers never wait. One writer at a time: a second one waits.

    Parameters
    ----------
    folder : Path
        The store's folder.
    create : bool
        Whether to make it where there is none; otherwise that is a LogError.
    wait : float
        How long a writer waits for another one before it gives up with a LogError. [s]
    """

    def __init__(self, folder: Path, create: bool = True, wait: float = 30.0) -> None:
        self.folder = Path(folder)
        self.wait = wait
        self._seen: tuple[int, int, int] | None = None
        self._contents = Contents()
        if not (self.folder / MANIFEST).exists():
            self._start(create)
        self._now()

    def _start(self, create: bool) -> None:
        """Make an empty store, so that a lost manifest is never taken for a new store."""
        if not create:
            raise trouble(self.folder, "no log store; expected a folder that holds one")
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            said = error.strerror or str(error)
            raise trouble(self.folder, f"cannot be made: {said}") from None
        with writing(self.folder, self.wait):
            if (self.folder / MANIFEST).exists():
                return
            if (self.folder / PREVIOUS).exists() or (self.folder / "readings").exists():
                message = (
                    "missing, but the store is not empty. `riskrules logs mend` goes back to the "
                    "one before; with --from-parts it makes a new one from the readings"
                )
                raise trouble(self.folder / MANIFEST, message)
            replace_manifest(self.folder, Contents())
            flush_folder(self.folder)

    def _now(self) -> Contents:
        """Return what the manifest says, read again only where it was replaced."""
        seen = self._stamp()
        if seen != self._seen:
            self._contents, self._seen = load(self.folder), seen
        return self._contents

    def _stamp(self) -> tuple[int, int, int]:
        """Return what tells one manifest from the next without reading it."""
        path = self.folder / MANIFEST
        try:
            stat = path.stat()
        except OSError as error:
            raise trouble(path, f"cannot be read: {error.strerror or error}") from None
        return (stat.st_ino, stat.st_mtime_ns, stat.st_size)

    # --- writing

    def add(self, items: Sequence[Incoming]) -> list[Outcome]:
        """Store files: all of them or, on any error, none. One outcome an item, in order."""
        with self._changing() as (plan, batch):
            outcomes = [plan.take(item) for item in items]
            for sha256, source in plan.sources.items():
                batch.put(original_path(sha256), source, sha256)
            for key, rows in plan.write.items():
                version, parts = plan.contents.versions[key], []
                for part, raw in encode(rows, version):
                    batch.put(part.path, raw, part.sha256)
                    parts.append(part)
                plan.contents.versions[key] = version._replace(parts=tuple(parts))
        return outcomes

    def set_aside(
        self,
        file: str,
        original: bytes | Path,
        problems: Sequence[Problem],
        mapping_hash: str = "",
    ) -> Outcome:
        """Keep a file that cannot be read, beside a JSON report of its problems."""
        sha256, size = hash_and_size(original)
        said = tuple(problems)
        raw = _report(file, sha256, size, said)
        digest, place, key = hash_of(raw), aside_path(sha256), (sha256, mapping_hash)
        with self._changing() as (plan, batch):
            known = plan.contents.asides.get(key)
            if known is None or known.report_sha256 != digest or known.resolved:
                now = int(time.time())
                path = f"{place}.{digest[:16]}.json"
                aside = Aside(file, sha256, size, mapping_hash, now, path, digest, False, said)
                plan.contents.asides[key] = aside
                plan.changed, plan.replaced = True, known is not None
                batch.put(place, original, sha256)
                batch.put(path, raw, digest)
        return Outcome(file, sha256, "aside", 0, said)

    @contextlib.contextmanager
    def _changing(self) -> Iterator[tuple[Plan, Batch]]:
        """Hold the lock, and put a new manifest in place at the end; undo all on any error."""
        with writing(self.folder, self.wait):
            old = self._now()
            plan, batch = Plan(self.folder, _copy(old)), Batch(self.folder)
            try:
                yield plan, batch
                if not plan.changed:
                    return
                batch.flush()
                new = plan.contents
                new.generation = old.generation + 1
                new.dropped = ()
                if plan.replaced:
                    new.dropped = tuple(sorted(files_of(old) - files_of(new)))
                replace_manifest(self.folder, new)
            except BaseException:
                if self._is_still(old):  # an interrupt may come just after the change
                    batch.undo()
                raise
            self._contents, self._seen = new, self._stamp()
            self._confirm()
            if old.dropped:  # what the manifest before the previous one was the last to name
                remove(self.folder, sorted(set(old.dropped) - files_of(old) - files_of(new)))

    def _confirm(self) -> None:
        """Flush the new manifest's name to the disk: it is in place and cannot be taken back."""
        try:
            flush_folder(self.folder)
        except OSError as error:
            said = error.strerror or str(error)
            message = f"the change is in place, but the disk did not confirm it: {said}"
            raise trouble(self.folder, f"{message}. Run check()") from None

    def _is_still(self, old: Contents) -> bool:
        try:
            return load(self.folder).generation == old.generation
        except LogError:
            return False

    def note_review(
        self, when: int, for_day: date, window: tuple[int, int] | None = None
    ) -> None:  # fmt: skip
        """Write down that a review ran at ``when`` [s] for a day, over a span [s]."""
        with writing(self.folder, self.wait):
            write_review(self.folder, Review(when, for_day, window))

    # --- reading

    def asides(self, unresolved: bool = True) -> list[Aside]:
        """Return the files that were set aside, by default without those read since."""
        found = [a for a in self._now().asides.values() if not (unresolved and a.resolved)]
        return sorted(found, key=lambda a: (a.read_at, a.file, a.sha256))

    def knows(self, sha256: str, mapping_hash: str = "") -> bool:
        """Return whether a file with these bytes was read, or set aside, with that mapping.

        Without a mapping: with any. What was read by another mapping since is not known.
        """
        now = self._now()
        read = any(
            v.sha256 == sha256 and v.why != "mapping" and mapping_hash in ("", v.mapping_hash)
            for v in now.versions.values()
        )
        return read or any(
            a.sha256 == sha256 and mapping_hash in ("", a.mapping_hash)
            for a in now.asides.values()
        )  # fmt: skip

    def blocks(self) -> list[str]:
        """Return the blocks that have readings, in order; '' is the farm's outside air."""
        return sorted({v.block for v in self._now().versions.values()})

    def sensors(self, block: str) -> list[str]:
        """Return the sensors of a block that have readings, in order."""
        return sorted({v.sensor for v in self._now().versions.values() if v.block == block})

    def readings(
        self, block: str, sensor: str, first: int | None = None, last: int | None = None
    ) -> Readings:
        """Return a sensor's readings of all its files, from ``first`` to ``last`` [s], both in.

        For one time and variable the file written later wins where it has a usable value or
        says otherwise (a value that it marks as bad); a value that it leaves out stays. Measured
        rows go before forecasts. No rows, without variables, where nothing is stored.
        """
        return self._again(lambda now: merged(self.folder, now, block, sensor, (first, last)))

    def _again(self, read: Callable[[Contents], T]) -> T:
        """Read by one manifest; once more where a writer has taken its parts away meanwhile."""
        while True:
            now = self._now()
            try:
                return read(now)
            except FileNotFoundError as error:
                if self._now() is now:
                    message = "missing; the manifest names it. Put it back from a copy"
                    raise trouble(str(error.filename), message) from None

    def trace(self, block: str, sensor: str, time: int, variable: str) -> list[Traced]:
        """Return where the value of one time comes from, the one that wins first.

        Parameters
        ----------
        time : int
            A row's time. [s since 1970 UTC]
        variable : str
            Its internal name, such as ``air_temperature``.
        """
        return self._again(lambda now: traced(self.folder, now, block, sensor, time, variable))

    def history(self, block: str | None = None, sensor: str | None = None) -> list[Record]:
        """Return every file version ever read, oldest first; asides too unless a block is asked."""
        return records(self._now(), block, sensor)

    def original(self, sha256: str) -> bytes:
        """Return a file as it came; LogError where it is not here or damaged."""
        return self._again(lambda now: original_bytes(self.folder, now, sha256))

    def last_time(self, block: str, sensor: str) -> int | None:
        """Return the time of the last measured row with a usable value [s], None without one."""
        mine = self._now().counting(block, sensor)
        return max((v.last_value for v in mine if v.last_value is not None), default=None)

    def last_review(self) -> Review | None:
        """Return the review that ran last."""
        return next(reversed(all_reviews(self.folder)), None)

    # --- keeping whole

    def check(self) -> list[Problem]:
        """Return what is wrong with the store: hashes, unreadable parts, files nobody knows.

        What a writer is writing at that moment counts as files nobody knows.
        """
        return problems_of(self.folder, self._now())

    def tidy(self) -> list[str]:
        """Remove what an interrupted writer left behind; return the paths below the folder."""
        with writing(self.folder, self.wait):
            gone = remove(self.folder, left_over(self.folder, self._now()))
            remove_empty_folders(self.folder)
        return gone

    @classmethod
    def restore(cls, folder: Path) -> LogStore:
        """Go back to the manifest before this one, and open the store.

        The damaged one is kept as ``manifest.damaged.jsonl``. What the last change added has to
        be read again.
        """
        return cls._mend(folder, lambda: load(folder, PREVIOUS))

    @classmethod
    def rebuild(cls, folder: Path) -> LogStore:
        """Make a new manifest from the parts and originals, and open the store.

        All that counts is found again; the history of what was superseded or set aside is not.
        """
        return cls._mend(folder, lambda: rebuilt(folder))

    @classmethod
    def _mend(cls, folder: Path, find: Callable[[], Contents]) -> LogStore:
        with writing(folder, 30.0):
            contents = find()
            path = folder / MANIFEST
            if path.exists():
                path.replace(folder / DAMAGED)
            contents.dropped = ()
            replace_manifest(folder, contents)
            flush_folder(folder)
        return cls(folder, create=False)


def _report(file: str, sha256: str, size: int, problems: Sequence[Problem]) -> bytes:
    """Return the report beside a file that was set aside."""
    listed = [asdict(p) for p in problems]
    said = {"file": file, "sha256": sha256, "size": size, "problems": listed}
    return (json.dumps(said, indent=1) + "\n").encode("utf-8")


def _copy(contents: Contents) -> Contents:
    return Contents(
        dict(contents.versions),
        dict(contents.originals),
        dict(contents.asides),
        contents.dropped,
        contents.generation,
    )
