"""What adding a file changes: which earlier versions it takes the place of, and whose bytes."""

from __future__ import annotations

import contextlib
import hashlib
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from riskrules.errors import LogError
from riskrules.logs.readings import PER_ROW, PER_VALUE, Readings
from riskrules.logs.store.files import (
    begins_with,
    changed,
    hash_and_size,
    head_of,
    prefix_hashes,
    trouble,
)
from riskrules.logs.store.manifest import original_path
from riskrules.logs.store.types import (
    Contents,
    Incoming,
    Original,
    Outcome,
    State,
    Version,
    check_names,
    table_of,
)


@dataclass(slots=True)
class Plan:
    """The store's contents as they will be, and what has to be written for that.

    ``write`` holds the readings of versions that count and whose parts are not written yet;
    ``sources`` the bytes of originals that are not in the store yet. ``replaced``: some files
    of the store are no longer needed.
    """

    folder: Path
    contents: Contents
    write: dict[str, Readings] = field(default_factory=dict)
    sources: dict[str, bytes | Path] = field(default_factory=dict)
    changed: bool = False
    replaced: bool = False
    _hashes: dict[int, tuple[str, int]] = field(default_factory=dict)
    _chains: dict[tuple[str, str, str], list[str]] = field(default_factory=dict)
    _turn: int = 1

    def __post_init__(self) -> None:
        for version in self.contents.versions.values():
            self._chains.setdefault(version.chain, []).append(version.id)
            self._turn = max(self._turn, version.turn + 1)

    def take(self, item: Incoming) -> Outcome:
        """Plan for one incoming file; LogError where it cannot be stored."""
        check_names(item.block, item.sensor, item.file)
        check_readings(item)
        key = id(item.original)
        if key not in self._hashes:  # the sheets of one workbook come with one original
            self._hashes[key] = hash_and_size(item.original)
        sha256, size = self._hashes[key]
        if item.sha256 and item.sha256 != sha256:
            raise changed(item.original)
        version = version_of(item, sha256, size)._replace(turn=self._turn)
        self._turn += 1
        known = self.contents.versions.get(version.id)
        if known is not None and known.why != "mapping":
            if version.id in self.write:
                _check_same(self.write[version.id], item)
            self._earlier(known, item)
            return Outcome(item.file, sha256, "known", known.rows)
        state = self.place(version, item.original)
        if not self.contents.versions[version.id].superseded_by:
            self.write[version.id] = item.readings
        return Outcome(item.file, sha256, state, version.rows)

    def _earlier(self, known: Version, item: Incoming) -> None:
        """Keep the earliest date at which a file is known to have existed.

        A copy made later must not win over a correction that came between.
        """
        if item.written >= known.written:
            return
        self.changed = self.replaced = True
        self.contents.versions[known.id] = known._replace(written=item.written, parts=())
        if not known.superseded_by:
            self.write[known.id] = item.readings

    def place(self, version: Version, source: bytes | Path) -> State:
        """Put a version among the others of its table, whatever the order in which they come."""
        self.changed = True
        versions = self.contents.versions
        chain = self._chains.setdefault(version.chain, [])
        mates = [versions[i] for i in chain if i != version.id]
        if version.id not in versions:
            chain.append(version.id)
        same = [m.written for m in mates if m.sha256 == version.sha256]
        version = version._replace(written=min([version.written, *same]))
        longer = self._longer(version, source, mates)
        if longer is not None:
            version = version._replace(superseded_by=longer.id, why="grown")
        versions[version.id] = version
        self._keep_original(version, source, longer)
        shorter = self._shorter(version, source, mates)
        self._outdo(version, mates, shorter)
        self._resolve(version.sha256)
        return "grown" if shorter or longer else "new"

    def _outdo(self, version: Version, mates: Sequence[Version], shorter: set[str]) -> None:
        """Let a version take the place of other readings of its file, and of its beginnings."""
        for mate in (m for m in mates if not m.superseded_by):
            if mate.sha256 == version.sha256:
                self._supersede(mate, version, "mapping")
            elif mate.sha256 in shorter:
                self._supersede(mate, version, "grown")
        for sha256 in shorter:
            self._move_original(sha256, version.sha256)

    def _supersede(self, old: Version, new: Version, why: str) -> None:
        self.contents.versions[old.id] = old._replace(superseded_by=new.id, why=why, parts=())
        self.write.pop(old.id, None)
        self.replaced = True

    def _shorter(
        self, version: Version, source: bytes | Path, mates: Sequence[Version]
    ) -> set[str]:  # fmt: skip
        """Return the hashes of those versions with whose bytes this file begins."""
        sizes = {m.size for m in mates if 0 < m.size < version.size}
        if not sizes:
            return set()
        begins = prefix_hashes(source, sizes)
        return {m.sha256 for m in mates if begins.get(m.size) == m.sha256}

    def _longer(
        self, version: Version, source: bytes | Path, mates: Sequence[Version]
    ) -> Version | None:
        """Return the longest version that counts and begins with this file's bytes."""
        larger = [m for m in mates if m.size > version.size > 0 and not m.superseded_by]
        head = head_of(source) if larger else ""
        for mate in sorted(larger, key=lambda m: (m.size, m.sha256), reverse=True):
            if not self.contents.originals[mate.sha256].head.startswith(head):
                continue
            with contextlib.suppress(LogError):  # a lost original is no reason to take nothing in
                if begins_with(self.source_of(mate.sha256), source):
                    return mate
        return None

    def source_of(self, sha256: str) -> bytes | Path:
        """Return the bytes of an original, or the file that begins with them."""
        holder = self.contents.originals[sha256].within or sha256
        return self.sources.get(holder, self.folder / original_path(holder))

    def _keep_original(
        self, version: Version, source: bytes | Path, longer: Version | None
    ) -> None:  # fmt: skip
        originals = self.contents.originals
        if version.sha256 in originals:
            return
        within = "" if longer is None else originals[longer.sha256].within or longer.sha256
        made = Original(version.sha256, version.size, head_of(source), within)
        originals[version.sha256] = made
        if not within:
            self.sources[version.sha256] = source

    def _move_original(self, shorter: str, longer: str) -> None:
        """Keep the bytes of a shorter file as the beginning of the longer one."""
        originals = self.contents.originals
        holder = originals[longer].within or longer
        self.sources.pop(shorter, None)
        for original in list(originals.values()):
            if shorter in (original.sha256, original.within) and original.sha256 != holder:
                originals[original.sha256] = original._replace(within=holder)

    def _resolve(self, sha256: str) -> None:
        for key, aside in self.contents.asides.items():
            if aside.sha256 == sha256 and not aside.resolved:
                self.contents.asides[key] = aside._replace(resolved=True)


def version_of(item: Incoming, sha256: str, size: int) -> Version:
    """Return the record of an incoming file, without its parts."""
    rows = item.readings
    table = item.table or table_of(item.file)
    key = "\0".join((item.block, item.sensor, table, sha256, item.mapping_hash))
    usable = np.zeros(len(rows), dtype=bool)
    for value in rows.values.values():
        usable |= ~np.isnan(value)
    last = np.flatnonzero(usable & ~rows.forecast)
    return Version(
        id=hashlib.sha256(key.encode("utf-8", "surrogatepass")).hexdigest()[:24],
        block=item.block, sensor=item.sensor, file=item.file, table=table, sha256=sha256,
        size=size, written=int(item.written), mapping_hash=item.mapping_hash,
        read_at=int(time.time()), rows=len(rows), rows_read=int(rows.rows_read),
        step=int(rows.step),
        first=int(rows.time[0]) if len(rows) else None,
        last=int(rows.time[-1]) if len(rows) else None,
        last_value=int(rows.time[last[-1]]) if len(last) else None,
    )  # fmt: skip


def check_readings(item: Incoming) -> None:
    """Raise LogError where readings could not be kept and given back exactly."""
    rows = item.readings
    if len(rows) > 1 and not (np.diff(rows.time) > 0).all():
        raise trouble(item.file, "times do not rise from row to row; expected one row a time")
    optional = ("line", "source", "spans")
    for name in PER_ROW:
        n = len(getattr(rows, name))
        if n != len(rows) and not (n == 0 and name in optional):
            raise trouble(item.file, f"{n} of {name}; expected {len(rows)}, one a row")
    if len(rows.source) and not (0 <= rows.source.min() <= rows.source.max() < len(rows.files)):
        raise trouble(item.file, f"a source beyond the {len(rows.files)} files")
    for field_name in PER_VALUE:
        for variable, column in getattr(rows, field_name).items():
            if len(column) != len(rows) or variable not in rows.values:
                message = f"{len(column)} of {field_name} of {variable}; expected {len(rows)}"
                raise trouble(item.file, f"{message}, beside the values")
    for variable in rows.values:
        if variable not in rows.cause:
            raise trouble(item.file, f"no causes of {variable}; expected one a value")


def _check_same(known: Readings, item: Incoming) -> None:
    """Refuse two tables of one file that go by one name."""
    if not np.array_equal(known.time, item.readings.time):
        message = "two tables of one file have the same name; expected a name for each"
        raise trouble(item.file, message)
